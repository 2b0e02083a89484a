"""A view of a hold that also feeds the page: everything else it leaves to the view at the terminal."""

from __future__ import annotations

import time
from collections.abc import Callable

from bainwright.alarms.rules import Coming
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.link.messages import Status
from bainwright.page.latest import Latest
from bainwright.page.now import now_of

LEAST_S = 0.5  # chosen: a person sees no more than two moments a second, and each one costs some 50 us


class PageView:
    """Feeds the page from the hold's own thread.

    Parameters
    ----------
    view : View
        What shows the hold at the terminal.
    latest : Latest
        What the page reads.
    coming : Coming
        Whether somebody is on their way to the warmer.
    broke : callable
        Why the server ended by itself; empty while it serves.
    clock_s : callable
        The clock of `latest`.
    """

    def __init__(
        self, view: View, latest: Latest, coming: Coming, broke: Callable[[], str],
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self._view, self._latest, self._coming, self._clock_s = view, latest, coming, clock_s
        self._broke, self._said = broke, ""
        self._scene: Scene | None = None
        self._status: Status | None = None
        self._reported_s = self._next_s = clock_s()

    def __enter__(self) -> PageView:
        self._view.__enter__()
        return self

    def __exit__(self, *details: object) -> None:
        self._view.__exit__(*details)
        if self._scene is not None:
            self._latest.put(now_of(self._scene, over=True), self._reported_s)

    def refresh(self, scene: Scene) -> None:
        """Show the scene, and put it before the page when that is due."""
        self._view.refresh(scene)
        now_s = self._clock_s()
        if scene.status is not self._status:
            self._status, self._reported_s = scene.status, now_s
        if now_s >= self._next_s:
            self._scene, self._next_s = scene, now_s + LEAST_S
            self._say_broken(scene)
            self._latest.put(now_of(scene, coming=self._coming.said(now_s)), self._reported_s)

    def _say_broken(self, scene: Scene) -> None:
        """Say once that there is no page any more; the hold is not affected."""
        why = self._broke()
        if why and not self._said:
            self._said = f"the page is no longer served ({why}); the hold is not affected"
            scene.events.append((scene.t_s, self._said))
            self._view.event(scene.t_s, self._said)

    def event(self, t_s: float, text: str) -> None:
        """Show an event."""
        self._view.event(t_s, text)

    def say(self, text: str) -> None:
        """Print a line."""
        self._view.say(text)
