"""A view of a hold that also sends signs of life, so that somebody elsewhere notices when they stop.

A PC that is dead sends no alarm, and a dead board sends none either. Whoever waits for the signs needs neither.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from bainwright.alarms.rules import SILENT_S, Alarm
from bainwright.alarms.sender import Sender
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.link.messages import Status

EACH_S = 300.0  # chosen: three that are missing are a quarter of an hour, and melted stock cools by a few degrees in it


class AliveView:
    """Sends a sign of life every five minutes while the board reports.

    Parameters
    ----------
    view : View
        What shows the hold.
    sender : Sender
        Sends the signs.
    clock_s : callable
        A clock that never goes back.
    """

    def __init__(self, view: View, sender: Sender, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._view, self._sender, self._clock_s = view, sender, clock_s
        self._status: Status | None = None
        self._reported_s = self._next_s = clock_s()
        self._failed = False

    def __enter__(self) -> AliveView:
        self._view.__enter__()
        return self

    def __exit__(self, *details: object) -> None:
        self._view.__exit__(*details)

    def refresh(self, scene: Scene) -> None:
        """Show the scene, and send a sign when that is due."""
        now_s = self._clock_s()
        if scene.status != self._status:
            self._status, self._reported_s = scene.status, now_s
        if now_s >= self._next_s and now_s - self._reported_s < SILENT_S and scene.status is not None:
            self._next_s = now_s + EACH_S
            self._sender.send(Alarm("alive", False, "bainwright: the warmer reports", ""))
        self._show_failures(scene)
        self._view.refresh(scene)

    def _show_failures(self, scene: Scene) -> None:
        """Show the first sign of several that did not arrive."""
        for text in self._sender.results():
            failed = " NOT " in text
            if failed and not self._failed:
                scene.events.append((scene.t_s, text))
                self._view.event(scene.t_s, text)
            self._failed = failed

    def event(self, t_s: float, text: str) -> None:
        """Show an event."""
        self._view.event(t_s, text)

    def say(self, text: str) -> None:
        """Print a line."""
        self._view.say(text)
