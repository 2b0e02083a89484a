"""Where the chocolate is going: out of its window, back, or never into it."""

from __future__ import annotations

from bainwright.display.scene import Scene
from bainwright.evening.falling import Falling, Unwarmed
from bainwright.evening.held_back import HeatWaits, HeldBack, LongPause
from bainwright.evening.reach import Reach
from bainwright.evening.window_news import WindowNews
from bainwright.link.messages import Status


class CourseNews:
    """Follows a hold's status lines, and puts into its scene what concerns the person.

    Parameters
    ----------
    bath : str
        What is under the bowl: ``water`` or ``plate``.
    """

    def __init__(self, bath: str) -> None:
        self._news, self._reach, self._held_back = WindowNews(), Reach(bath), HeldBack(bath)
        self._falling, self._unwarmed, self._pause = Falling(bath), Unwarmed(bath), LongPause()
        self._waits = HeatWaits(bath)
        self._concern = ""  # that the chocolate will not reach its window

    def see(self, status: Status, scene: Scene, *, asked: bool) -> list[str]:
        """What a status line adds, in words; `asked`: the screen asks for an answer."""
        forgotten = self._pause.see(status)
        scene.calling = bool(status.fault or status.state == "trip" or asked or self._pause.calls)
        falls = self._falling.see(status, away=scene.bowl_away)
        cold = self._unwarmed.see(status, away=scene.bowl_away)
        scene.falls = self._unwarmed.words or self._falling.words
        waits, scene.waits = self._waits.see(status, away=scene.bowl_away), self._waits.words
        said = [forgotten, waits]
        if not scene.bowl_away:
            news = self._news.see(status, scene.window)
            warning, held = self._reach.see(status, scene.window), self._held_back.see(status)
            self._concern = warning or (self._concern if self._reach.reported else "")
            scene.concern = self._concern or self._held_back.words
            said += [news, cold or falls, warning, held]
        return [text for text in said if text]
