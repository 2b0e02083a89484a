"""A view of a hold that also calls a person; everything else it leaves to the view behind it."""

from __future__ import annotations

import time
from collections.abc import Callable

from bainwright.alarms.rules import Rules, last_call
from bainwright.alarms.sender import Sender
from bainwright.display.scene import Scene
from bainwright.display.view import View, ViewInFront

LOOK_S = 0.25  # how often the rules are asked: a board reports each second, and no report may be missed


class AlarmView(ViewInFront):
    """Asks the rules in the hold's own thread, and hands what is due to the sender.

    Parameters
    ----------
    view : View
        What shows the hold.
    rules : Rules
        What is due.
    sender : Sender
        Sends it.
    clock_s : callable
        A clock that never goes back.
    """

    def __init__(self, view: View, rules: Rules, sender: Sender, clock_s: Callable[[], float] = time.monotonic) -> None:
        super().__init__(view, clock_s)
        self._rules, self._sender = rules, sender
        self._scene: Scene | None = None

    def __exit__(self, *details: object) -> None:
        """A hold whose board is lost, or whose alarm nobody answered, calls once more: from now on nobody would."""
        if self._scene is not None and (last := last_call(self._scene)) is not None:
            self._sender.send(last)
            if self._sender.has_ways:
                self._add(self._scene, f"the last call goes out: {last.title}")
        super().__exit__(*details)

    def refresh(self, scene: Scene) -> None:
        """Show the scene; call a person when that is due, and show how earlier calls went."""
        self._scene, now_s = scene, self._now_s(scene)
        if now_s >= self._next_s:
            self._next_s = now_s + LOOK_S
            alarm = self._rules.due(scene, now_s - self._reported_s, now_s)
            if alarm is not None:
                self._sender.send(alarm)
            for each in self._sender.results():
                if each.arrived:
                    self._rules.arrived(each.alarm)
                self._add(scene, each.words)
        self._view.refresh(scene)
