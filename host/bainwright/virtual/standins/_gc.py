"""gc, swept less often than the firmware asks for: here a sweep takes longer than the rest of a board's second.

The heap has room for that (see `child.py`). Where a board is played, the time of the sweeps it would make passes.
"""

import gc
from gc import *  # noqa: F403

import _clock

SELDOM = 5  # chosen: a fifth as often as a board
STANDINS_KB = 66  # what the stand-ins and the mounted flash hold
WORD = 2 / 3  # of the size of an object here, about so much on a board
OURS = 3.5 / 9.8  # of the garbage of a tick is the stand-ins' (measured)
LATE = 2  # sweeps that may wait for a pause long enough: a board's firmware chooses its moments

_sweep_us = _sweep_us_per_kb = 0
_swept = 0  # bytes after which a board sweeps; 0: when its heap is full
_seen = 0
_garbage = 0.0  # a board's bytes since its last sweep
swept = 0  # sweeps of the played board


def take_time(sweep_us, sweep_us_per_kb):
    """From now on sweeps take time: of an empty heap, and for each KB in it."""
    global _sweep_us, _sweep_us_per_kb
    _sweep_us, _sweep_us_per_kb = sweep_us, sweep_us_per_kb


def threshold(size=None):
    """Sweep after so many bytes, times `SELDOM`; -1: when the heap is full."""
    global _swept, _seen
    if size is None:
        return gc.threshold()
    _swept, _seen = max(size, 0) // 2, gc.mem_alloc()  # the firmware sweeps by itself after half
    return gc.threshold(size * SELDOM if size > 0 else size)


def collect():
    """Sweep."""
    global _seen, _garbage
    gc.collect()
    _seen, _garbage = gc.mem_alloc(), 0.0
    if _sweep_us:
        _sweep()


def _sweep():
    global swept
    swept += 1
    _clock.charge(_sweep_us + int(_sweep_us_per_kb * max(0, _seen / 1024 - STANDINS_KB) * WORD))


def before_wait(until):
    """Let the time of the sweeps pass that a board would have made since the last wait."""
    global _seen, _garbage
    if not _swept:
        return
    now = gc.mem_alloc()
    if now > _seen:
        _garbage += (now - _seen) * WORD * (1 - OURS)
    _seen = now
    while _garbage >= _swept and (until - _clock.now > 40000 or _garbage >= LATE * _swept):
        _garbage -= _swept
        _sweep()
