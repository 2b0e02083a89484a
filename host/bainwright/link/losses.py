"""Lines that never arrived, counted from the numbers the board gives its status lines and its events."""

from __future__ import annotations

from collections import deque

KEPT = 600  # lines; chosen: ten minutes, longer than any buffer on the way keeps one


class Losses:
    """Counts missing lines.

    Attributes
    ----------
    lost : int
        How many are missing so far.
    """

    def __init__(self) -> None:
        self.lost = 0
        self._last = {"status": 0, "event": 0}
        self._known = {"status": False, "event": False}
        self._seen: dict[str, deque[int]] = {kind: deque(maxlen=KEPT) for kind in self._last}

    def is_old(self, kind: str, number: int, line: object) -> bool:
        """Did this very line, a ``status`` or an ``event``, arrive before? Then its number shows no restart."""
        mark = hash((number, line))
        if self._known[kind] and number <= self._last[kind] and mark in self._seen[kind]:
            return True
        self._seen[kind].append(mark)
        return False

    def status(self, number: int) -> None:
        """A status line with this number arrived."""
        self._count("status", number)

    def event(self, number: int) -> None:
        """An event with this number arrived."""
        self._count("event", number)

    def _count(self, kind: str, number: int) -> None:
        gap = number - self._last[kind] - 1
        if gap > 0 and self._known[kind]:
            self.lost += gap
        self._last[kind], self._known[kind] = number, True

    def shows_restart(self, number: int) -> bool:
        """Does a status line of this number show that the board has restarted and counts from 1?"""
        return self._known["status"] and number < self._last["status"]

    def restarted(self) -> None:
        """The board has restarted: count from the next numbers."""
        self._known = {"status": False, "event": False}
