"""Lines that never arrived, counted from the numbers the board gives its status lines and its events."""

from __future__ import annotations

from collections import deque

AHEAD = 0  # a status line's place: after the last one
STRAY = 1  # before it, and alone: whatever is between kept it, perhaps from before this program listened
RESTART = 2  # before it, and the next ones count on from there: the board has restarted and counts from 1
FEW = 10  # lines; chosen: as many may be lost between two that count on
SLACK_MS = 10_000  # chosen: a board that writes to its flash may skip some seconds
BEGINS_MS = 10_000  # chosen: by then the first line of a new hold has come
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
        self._last_ms = 0
        self._strays: list[int] = []  # the numbers of those since the last line ahead that count on from each other
        self._seen: dict[str, deque[int]] = {kind: deque(maxlen=KEPT) for kind in self._last}

    def is_old(self, kind: str, number: int, line: object) -> bool:
        """Did this very line, a ``status`` or an ``event``, arrive before? Then its number shows no restart."""
        mark = hash((number, line))
        if self._known[kind] and number <= self._last[kind] and mark in self._seen[kind]:
            return True
        self._seen[kind].append(mark)
        return False

    def status(self, number: int, t_ms: int = 0) -> None:
        """A status line with this number, of this moment of the hold, arrived."""
        self._last_ms = t_ms
        self._count("status", number)

    def event(self, number: int) -> None:
        """An event with this number arrived."""
        self._count("event", number)

    def _count(self, kind: str, number: int) -> None:
        gap = number - self._last[kind] - 1
        if gap > 0 and self._known[kind]:
            self.lost += gap
        self._last[kind], self._known[kind] = number, True

    def place(self, number: int, needed: int = 2) -> int:
        """What a status line's number means: `AHEAD`, `STRAY`, or `RESTART` once so many lines continue from it."""
        if not self._known["status"] or number >= self._last["status"]:
            self._strays = []
            return AHEAD
        counts_on = bool(self._strays) and self._strays[-1] < number <= self._strays[-1] + FEW
        self._strays = [*self._strays, number] if counts_on else [number]
        return RESTART if len(self._strays) >= needed else STRAY

    def fits(self, number: int, t_ms: int) -> bool:
        """Do number and time of a status line advance together from the last one? A board writes one in 1 to 2 s."""
        if not self._known["status"]:
            return t_ms <= BEGINS_MS
        lines = number - self._last["status"]
        return lines * 900 - SLACK_MS <= t_ms - self._last_ms <= lines * 2200 + SLACK_MS

    def forget_strays(self) -> None:
        """They were another board's."""
        self._strays = []

    def follows(self, number: int) -> bool:
        """Does this number continue from the last one?"""
        return self._known["status"] and self._last["status"] < number <= self._last["status"] + FEW

    def is_next(self, number: int) -> bool:
        """Is a status line of this number the very next one?"""
        return self._known["status"] and number == self._last["status"] + 1

    def missed(self, number: int) -> bool:
        """Was an event of this number passed over, so that it comes late?"""
        return self._known["event"] and number < self._last["event"]

    def restarted(self) -> None:
        """The board has restarted: count from the next numbers."""
        self._known = {"status": False, "event": False}
