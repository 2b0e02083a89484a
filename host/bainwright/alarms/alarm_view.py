"""A view of a hold that also calls a person; everything else it leaves to the view behind it."""

from __future__ import annotations

import time
from collections.abc import Callable

from bainwright.alarms.rules import Rules
from bainwright.alarms.sender import Sender
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.link.messages import Status

LOOK_S = 1.0  # how often the rules are asked


class AlarmView:
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
        self._view, self._rules, self._sender, self._clock_s = view, rules, sender, clock_s
        self._status: Status | None = None
        self._reported_s = self._next_s = clock_s()

    def __enter__(self) -> AlarmView:
        self._view.__enter__()
        return self

    def __exit__(self, *details: object) -> None:
        self._view.__exit__(*details)

    def refresh(self, scene: Scene) -> None:
        """Show the scene; call a person when that is due, and show how earlier calls went."""
        now_s = self._clock_s()
        if scene.status != self._status:
            self._status, self._reported_s = scene.status, now_s
        if now_s >= self._next_s:
            self._next_s = now_s + LOOK_S
            alarm = self._rules.due(scene, now_s - self._reported_s, now_s)
            if alarm is not None:
                self._sender.send(alarm)
            for text in self._sender.results():
                scene.events.append((scene.t_s, text))
                self._view.event(scene.t_s, text)
        self._view.refresh(scene)

    def event(self, t_s: float, text: str) -> None:
        """Show an event."""
        self._view.event(t_s, text)

    def say(self, text: str) -> None:
        """Print a line."""
        self._view.say(text)
