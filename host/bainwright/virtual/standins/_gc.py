"""gc, swept less often than the firmware asks for: here a sweep takes longer than the rest of a board's second.

The heap has room for that (see `child.py`).
"""

import gc
from gc import *  # noqa: F403

SELDOM = 20  # chosen: a sweep each quarter of a minute of a hold, where a board has one a second


def threshold(size=None):
    """Sweep after so many bytes, times `SELDOM`; -1: when the heap is full."""
    if size is None:
        return gc.threshold()
    return gc.threshold(size * SELDOM if size > 0 else size)
