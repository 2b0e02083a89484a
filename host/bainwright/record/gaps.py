"""How far apart the rows of a record may be before what was between them is unknown."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard.flashlog import TRIP_SLOWER
from bainwright.files.score import LONGEST_STEP_ROWS
from bainwright.record.reader import HoldLog

TRIP_ROWS = 1.5 * TRIP_SLOWER  # chosen: after a trip a board that is alone writes a row in ten


def row_s_of(log: HoldLog) -> float:
    """The time from row to row, s: as the record has it, or as most of its rows are."""
    stored, t_s = log.facts.get("row_s"), np.asarray(log["t_s"], dtype=float)
    if isinstance(stored, int | float) and not isinstance(stored, bool) and 0 < stored < np.inf:
        return float(stored)
    return float(np.median(np.diff(t_s))) if len(t_s) > 1 else 1.0


def longest_steps_s(states: NDArray[Any], row_s: float) -> NDArray[np.float64]:
    """How far from the row before each row may be, s; farther, and there is a gap between them.

    Parameters
    ----------
    states : ndarray of str, shape (n,)
        The board's state in each row.
    row_s : float
        Time from row to row.
    """
    return np.where(states == "trip", TRIP_ROWS, LONGEST_STEP_ROWS) * row_s
