"""What keeps a small heap usable: a long piece held in reserve, sweeps at quiet moments, modules dropped after use.

A heap that has run for an hour has much free memory and no long piece of it: small objects that live on lie everywhere.
So one long piece is taken before the first layer is loaded, given up just before a file is opened or a document comes,
and taken back. It lies at the far end of the heap, because small objects go to the near end.
"""

import gc
import sys

BYTES = 12288  # chosen: a document of 2 KB as text, as the frame that is written and as what is read back
LEAST_BYTES = 2048  # a file that is open holds 1.3 KB
STEP_BYTES = 2048  # how finely the far end is felt for

# Swept after so much was allocated, so that what is thrown away is found before what lasts lies among it. Tried on a
# 32-bit heap: with no sweeps in a hold its longest free piece shrank to 1 KB, with sweeps each 4 KB to 6 KB and more.
SWEPT_BYTES = 4096

# Modules that only the start, some requests and some presses need. Nothing of the safety core is among them.
ON_DEMAND = ("settings", "pin_check", "fitting", "starting", "transfer", "requests_hold", "requests_documents",
             "requests_log", "requests_board", "display_words")

_held: list = []  # the reserve, or nothing
_live = 0  # bytes left by the last sweep at a quiet moment


def take(size: int = BYTES) -> None:
    """Take the reserve, behind as much of the heap as can be filled for a moment."""
    gc.collect()
    below = gc.mem_free() - size if hasattr(gc, "mem_free") else 1  # a PC has no such heap, and checks this too
    while below > 0 and not _held:
        try:
            near = bytearray(below)
            _held.append(bytearray(size))
        except MemoryError:
            below -= STEP_BYTES
        near = None  # noqa: F841 - let go again
    gc.collect()


def release() -> bool:
    """Give the reserve up: the next long piece that is asked for finds its place. Was it there?"""
    was_held = bool(_held)
    _held.clear()
    return was_held


def retake(size: int = BYTES) -> None:
    """Take the reserve back, or what is left of it; where that fails, the next call tries again."""
    while not _held and size >= LEAST_BYTES:
        try:
            _held.append(bytearray(size))
        except MemoryError:
            size //= 2


def sweep_often() -> None:
    """From now on the heap is swept whenever `SWEPT_BYTES` were allocated."""
    if hasattr(gc, "threshold"):
        gc.threshold(SWEPT_BYTES)


def sweep() -> None:
    """Sweep now, at a quiet moment, if it would be due before long; at an edge of the switch its 25 ms would show."""
    global _live
    if hasattr(gc, "mem_free") and gc.mem_alloc() - _live > gc.threshold() // 2:
        gc.collect()
        _live = gc.mem_alloc()


def unload() -> None:
    """Forget the modules in `ON_DEMAND`; the next import loads them again."""
    if not hasattr(gc, "mem_free"):
        return  # a PC has the memory, and others there hold on to them
    package = sys.modules["bainboard"]
    for name in ON_DEMAND:
        if hasattr(package, name):
            sys.modules.pop("bainboard." + name, None)
            delattr(package, name)


def _with(make, *wanted):
    try:
        return make(*wanted)
    except MemoryError:
        if not release():
            raise
        return make(*wanted)


def opened(path: str, mode: str):
    """`open`, with the reserve given up where no other run is long enough for a file."""
    return _with(open, path, mode)


def write(path: str, mode: str, data: bytes) -> None:
    """Into a file, and the reserve taken back: out here, where nothing holds on to the file any more."""
    _write(path, mode, data)
    retake()


def _write(path: str, mode: str, data: bytes) -> None:
    with opened(path, mode) as file:
        file.write(data)
