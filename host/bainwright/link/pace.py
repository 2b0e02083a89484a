"""A time limit for every loop that a board feeds, whatever the board says about how much is still to come."""

from __future__ import annotations

import time
from collections.abc import Callable

from bainwright.core.errors import LinkError

GRACE_S = 20.0  # chosen: one deaf spell of a board that erases flash, several times over


class Pace:
    """Fails once a board is slower than the slowest honest one.

    Parameters
    ----------
    what : str
        Words for what the board sends, for the error.
    each_s : float
        The longest that one unit may take, on average and after `GRACE_S`.
    clock : callable
        Monotonic seconds.
    """

    def __init__(self, what: str, each_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._what, self._each_s, self._clock = what, each_s, clock
        self._until_s = clock() + GRACE_S

    def add(self, units: int = 1) -> None:
        """Count units that arrived.

        Raises
        ------
        LinkError
            If they took too long.
        """
        self._until_s += units * self._each_s
        if self._clock() > self._until_s:
            raise LinkError(f"the board sends {self._what} too slowly", hint="look at the cable and try again")
