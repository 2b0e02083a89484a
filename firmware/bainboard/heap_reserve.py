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

# A sweep takes 26 to 31 ms on a board, so it waits for a quiet moment and for so much garbage; it comes at any moment
# after twice as much. On a 32-bit heap of 201 KB, in two hours of a hold (tests/bench/long_hold.py), sweeps each 4 KB
# left 22 KB in one piece and came 133 times a minute; these leave 23 KB and come 37 times.
SWEPT_BYTES = 8192

# Modules that only the start, some requests and some presses need. Nothing of the safety core is among them.
ON_DEMAND = ("settings", "pin_check", "fitting", "starting", "commands", "transfer", "requests_hold",
             "requests_documents", "requests_log", "requests_board", "display_words", "probe_words",
             "control.rules")

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
    """From now on the heap is swept at any moment too, but rarely."""
    if hasattr(gc, "threshold"):
        gc.threshold(2 * SWEPT_BYTES)


def sweep(idle: bool) -> None:
    """Sweep now, at a quiet moment, if there is enough to find; where the service is idle, `ON_DEMAND` is dropped too.

    Until then a request finds the modules of the one before it still loaded.
    """
    if hasattr(gc, "mem_free") and gc.mem_alloc() - _live > gc.threshold() // 2:
        if idle:
            unload()
        sweep_now()


def sweep_now() -> None:
    """Sweep before something is made that lasts: above garbage it would lie in the middle of what is free."""
    global _live
    gc.collect()
    if hasattr(gc, "mem_free"):
        _live = gc.mem_alloc()


def unload() -> None:
    """Forget the modules in `ON_DEMAND`; the next import loads them again."""
    if not hasattr(gc, "mem_free"):
        return  # a PC has the memory, and others there hold on to them
    for name in ON_DEMAND:
        if sys.modules.pop("bainboard." + name, None) is not None:
            package, _, last = ("bainboard." + name).rpartition(".")
            delattr(sys.modules[package], last)


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
