"""Requests about the board's log. See `requests_hold`."""

from bainboard.chunks import CHUNK, base64_text

_UNREADABLE = "the flash cannot be read just now"


def clock(app, args: dict, now_ms: int) -> tuple:
    """The time of day; the answer has the time gone and left of a hold that ends by itself."""
    app.log.set_clock(now_ms, args["wall_s"])
    p = app.warmer.programme
    if p is None or not p.for_ms:
        return [], None
    return [("t", app.hold_ms(now_ms)), ("left", p.outline(now_ms)[2])], None


def segments(app, args: dict, now_ms: int) -> tuple:
    """The first segment after a number."""
    try:
        found = app.log.segment(args["after"])
    except (OSError, MemoryError):  # no reason to stop the heat
        return None, _UNREADABLE
    if found is None:
        return [("left", 0)], None
    first, last, size, crc, following = found
    return [("first", first), ("last", last), ("size", size), ("crc", f"{crc:08x}"), ("left", following)], None


def read(app, args: dict, now_ms: int) -> tuple:
    """A piece of a segment."""
    try:
        piece = app.log.read(args["segment"], args["at"], CHUNK)
    except (OSError, MemoryError):  # no reason to stop the heat
        return None, _UNREADABLE
    if not piece:
        return None, "no such segment, or nothing at this offset; ask for the segments"
    return [("at", args["at"]), ("data", base64_text(piece))], None


def forget(app, args: dict, now_ms: int) -> tuple:
    """These segments are safe on the PC: the board may delete them."""
    return [("going", app.log.forget(args["through"], now_ms))], None
