"""Lines from a board: a status, an event or an answer, accepted only when whole.

The firmware's own codec (`bainboard.wire`) is the reference. A fast virtual board sends thousands of status lines a
second, so those have a fast path: a line in exactly the board's own spelling is read at once, and every other line goes
to the reference.
"""

from __future__ import annotations

import binascii
import re
from typing import Any

import msgspec

from bainboard import wire
from bainwright.core.terminal import visible_values
from bainwright.link.answers import Moment, reported


class Status(msgspec.Struct, frozen=True, gc=False):
    """The types of `wire.STATUS`; temperatures in thousandths of a °C, duty in 1/10000, times in ms."""

    status: int
    t: Moment
    state: str
    stage: str
    water: int | None
    bowl: int | None
    est: int
    target: int | None
    water_target: int | None
    duty: int
    on: int
    fault: int
    warn: int
    ask: str
    drops: int


Message = Status | dict[str, Any]

_read_status = msgspec.json.Decoder(Status).decode

# What a board writes, letter for letter. For a line of this shape msgspec and the reference agree. Any other line (a
# name twice, a fraction, an escape, another order) is for the reference.
_WHOLE, _TEXT = rb"(?:0|-?[1-9][0-9]{0,14})", rb'"[ !#-\[\]-~]*"'
_SHAPES = {"int": _WHOLE, "Moment": _WHOLE, "int | None": _WHOLE + b"|null", "str": _TEXT}
_plain_status = re.compile(
    rb"\{"
    + b",".join(b'"%s":(?:%s)' % (name.encode(), _SHAPES[Status.__annotations__[name]]) for name, _ in wire.STATUS)
    + rb"\}"
).fullmatch


def decode(line: bytes) -> Message | None:
    """One line without its newline: a status, another message, or None for a line that fails any check."""
    body, crc = line[: -wire.TAIL], line[-wire.TAIL :]
    if _plain_status(body):
        whole = len(line) < wire.LIMIT and crc == b"*%08X" % binascii.crc32(body)
        try:
            return _read_status(body) if whole else None
        except msgspec.ValidationError:  # a figure that cannot be
            return None
    return reference(line)


def reference(line: bytes) -> Message | None:
    """The same, with the firmware's own codec."""
    message, why = wire.decode(line)
    if why:
        return None
    message = visible_values(message)
    if "status" not in message:
        return reported(message) if "event" in message else message
    try:
        return msgspec.convert(message, Status)
    except msgspec.ValidationError:
        return None  # a status of another version of the wire
