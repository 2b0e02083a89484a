"""A view of a hold that also sends signs of life, so that somebody elsewhere notices when they stop.

A PC that is dead sends no alarm, and a dead board sends none either. Whoever waits for the signs needs neither.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from bainwright.alarms.rules import SIGN, SILENT_S
from bainwright.alarms.sender import Sender
from bainwright.display.scene import Scene
from bainwright.display.view import View, ViewInFront

EACH_S = 300.0  # chosen: three that are missing are a quarter of an hour, and melted stock cools by a few degrees in it


class AliveView(ViewInFront):
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
        super().__init__(view, clock_s)
        self._sender = sender
        self._failed = False

    def refresh(self, scene: Scene) -> None:
        """Show the scene, and send a sign when that is due."""
        now_s = self._now_s(scene)
        if now_s >= self._next_s and now_s - self._reported_s < SILENT_S and scene.status is not None:
            self._next_s = now_s + EACH_S
            self._sender.send(SIGN.of(scene))
        self._show_failures(scene)
        self._view.refresh(scene)

    def _show_failures(self, scene: Scene) -> None:
        """Show the first sign of several that did not arrive."""
        for each in self._sender.results():
            if not each.arrived and not self._failed:
                self._add(scene, each.words)
            self._failed = not each.arrived
