"""The parts of a hold's page that change, drawn once for all phones that watch it."""

from __future__ import annotations

from typing import Any

from bainwright.live.latest import Shown
from bainwright.page import site


class Drawn:
    """The parts of one hold."""

    def __init__(self) -> None:
        self._frame: tuple[object, dict[str, Any]] | None = None
        self._charts: tuple[object, str] | None = None

    def frame(self, shown: Shown) -> tuple[object, dict[str, Any]]:
        """A moment's parts by name, and what distinguishes it from others."""
        key = key_of(shown)
        if self._frame is None or self._frame[0] != key:
            self._frame = key, {
                "readings": site.readings(shown), "buttons": site.buttons(shown), "charts": self.charts(shown),
            }  # fmt: skip
        return self._frame

    def charts(self, shown: Shown) -> str:
        """Drawn again only when there is a new sample or event."""
        now = shown.now
        key = (now.hour[-1:], len(now.events), now.events[-1:], now.low_c, now.high_c, now.ceiling_c)
        if self._charts is None or self._charts[0] != key:
            self._charts = key, site.charts(now)
        return self._charts[1]


def key_of(shown: Shown) -> object:
    """Tells one moment from the next: one that gets old is a new one every second."""
    return shown.number, int(shown.age_s) if shown.old else 0
