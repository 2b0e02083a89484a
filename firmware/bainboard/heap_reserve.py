"""A long run of memory kept whole, for the moments that need one.

A heap that has run for an hour has much free memory and no long piece of it: small things that live on lie everywhere.
One piece is held from before the first layer is loaded, and given up just before a file is opened or a document comes.
It lies at the heap's far end, because what is small goes to the near one: so it is whole again when it is taken back.
"""

import gc

BYTES = 12288  # chosen: a document of 2 KB as text, as the frame that is written and as what is read back
LEAST_BYTES = 2048  # a file that is open holds 1.3 KB
OFTEN_BYTES = 8192  # chosen: two ticks' garbage
STEP_BYTES = 2048  # how finely the far end is felt for

_held = []  # the piece, or nothing


def take(size=BYTES):
    """Take it, behind as much of the heap as can be filled for a moment."""
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


def release():
    """Give it up: the next long piece that is asked for finds its place. Was it there?"""
    kept = bool(_held)
    _held.clear()
    return kept


def retake(size=BYTES):
    """Take it back, or what is left of it; where that fails just now, the next call tries again."""
    while not _held and size >= LEAST_BYTES:
        try:
            _held.append(bytearray(size))
        except MemoryError:
            size //= 2


def sweep(often):
    """Often, where nothing else wants the time: then what is small stays at the near end, and documents find room."""
    if hasattr(gc, "threshold"):
        gc.threshold(OFTEN_BYTES if often else -1)


def _with(make, *wanted):
    try:
        return make(*wanted)
    except MemoryError:
        if not release():
            raise
        return make(*wanted)


def opened(path, mode):
    """`open`, with the reserve given up where no other run is long enough for a file."""
    return _with(open, path, mode)


def write(path, mode, data):
    """Into a file, and the reserve taken back: out here, where nothing holds on to the file any more."""
    _write(path, mode, data)
    retake()


def _write(path, mode, data):
    with opened(path, mode) as file:
        file.write(data)


def piece(size):
    """Bytes to fill, with the reserve given up where no other run is long enough."""
    return _with(bytearray, size)
