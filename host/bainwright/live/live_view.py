"""A view of a hold that also feeds whoever watches: everything else it leaves to the view at the terminal."""

from __future__ import annotations

import time
from collections.abc import Callable

from bainwright.display.scene import Scene
from bainwright.display.view import View, ViewInFront
from bainwright.live.live_hold import LiveHold

LEAST_S = 0.5  # chosen: a person sees no more than two moments a second, and each one costs some 50 us


class LiveView(ViewInFront):
    """Feeds a live hold from the hold's own thread.

    Parameters
    ----------
    view : View
        What shows the hold at the terminal.
    hold : LiveHold
        What watchers read.
    clock_s : callable
        A clock that never goes back.
    """

    def __init__(self, view: View, hold: LiveHold, clock_s: Callable[[], float] = time.monotonic) -> None:
        super().__init__(view, clock_s)
        self._hold = hold
        self._said: set[str] = set()
        self._scene: Scene | None = None

    def __exit__(self, *details: object) -> None:
        super().__exit__(*details)
        if self._scene is not None:
            self._hold.put(self._scene, self._reported_s, self._clock_s(), over=True)

    def refresh(self, scene: Scene) -> None:
        """Show the scene, and put it before the watchers when that is due."""
        self._view.refresh(scene)
        self._scene, now_s = scene, self._now_s(scene)
        if now_s >= self._next_s:
            self._next_s = now_s + LEAST_S
            self._say_troubles(scene)
            self._hold.put(scene, self._reported_s, now_s)

    def _say_troubles(self, scene: Scene) -> None:
        """Say that a way to watch is gone, once each time; the hold is not affected."""
        there = [text for trouble in self._hold.troubles if (text := trouble())]
        for text in there:
            if text not in self._said:
                self._add(scene, text)
        self._said = set(there)
