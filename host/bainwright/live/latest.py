"""The latest moment of a hold, between the thread that runs the hold and the thread that serves the page.

The hold puts moments in and never waits. Each reader takes the latest when it is ready: a slow phone misses moments,
and nothing queues up for it.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import NamedTuple

from bainwright.alarms.rules import SILENT_S
from bainwright.live.now import Now

# Ends of a hold that call until somebody answers.
UNKNOWN_TO_ANYBODY = ("lost", "unanswered", "restarted", "resumed", "other", "not_off")
BOARD, PROGRAM = "the board", "the program that runs the hold"
STALE_S = 5.0  # a live board reports every second; after five missed reports no figure is shown as present


class Shown(NamedTuple):
    """A moment, its number, how long ago the board last reported, in seconds, and whose words are missing while it is
    old.
    """

    now: Now
    number: int
    age_s: float
    silent: str = BOARD

    @property
    def old(self) -> bool:
        """Is it too old to be the present?"""
        return not self.age_s <= STALE_S

    @property
    def calls(self) -> bool:
        """Does the warmer need somebody: it asks, or a board that may be dead reports nothing?"""
        if self.now.over:
            return self.now.unwatched in UNKNOWN_TO_ANYBODY
        return self.now.calling or not self.age_s < SILENT_S


class Latest:
    """Holds one moment.

    Parameters
    ----------
    clock_s : callable
        A clock that never goes back, in seconds.
    """

    def __init__(self, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._clock_s = clock_s
        self._held: tuple[Now, int, float] | None = None  # replaced whole, so no reader sees half of it

    def put(self, now: Now, reported_s: float) -> None:
        """Replace the moment; `reported_s` is when the board last reported, on the clock given."""
        number = self._held[1] + 1 if self._held else 1
        self._held = (now, number, reported_s)

    def get(self) -> Shown | None:
        """The latest moment; None before the first."""
        if self._held is None:
            return None
        now, number, reported_s = self._held
        return Shown(now, number, max(0.0, self._clock_s() - reported_s))
