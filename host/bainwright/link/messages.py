"""Lines from a board: a status, an event or an answer, accepted only when whole.

The firmware's own codec (`bainboard.wire`) is the reference. A fast virtual board sends thousands of status lines a
second, so those have a fast path: a line in exactly the board's own spelling is read at once, and every other line goes
to the reference.
"""

from __future__ import annotations

import binascii
import re
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from bainboard import wire
from bainwright.core.bounds import COLDEST_C, HOTTEST_C
from bainwright.core.terminal import visible_values
from bainwright.link.answers import Count, FaultNumber, Moment, reported

Temp = Annotated[int, Meta(ge=round(1000 * COLDEST_C), le=round(1000 * HOTTEST_C))]
WarningMask = Annotated[int, Meta(ge=0, le=2**30 - 1)]  # a bit a fault; a small integer on every board
Flag = Annotated[int, Meta(ge=0, le=1)]
Duty = Annotated[int, Meta(ge=0, le=10_000)]
OnTime = Annotated[int, Meta(ge=0, le=65_535)]  # as many ms as the board's own log has room for


class Status(msgspec.Struct, frozen=True, gc=False):
    """The types of `wire.STATUS`; temperatures in thousandths of a °C, duty in 1/10000, times in ms.

    A line with a figure outside these bounds is as damaged as one that fails its check value.
    """

    status: Count
    t: Moment
    state: str
    stage: str
    water: Temp | None
    bowl: Temp | None
    est: Flag
    target: Temp | None
    water_target: Temp | None
    duty: Duty
    on: OnTime
    fault: FaultNumber
    warn: WarningMask
    ask: str
    drops: Count


Message = Status | dict[str, Any]

_read_status = msgspec.json.Decoder(Status).decode

# What a board writes, letter for letter. For a line of this shape msgspec and the reference agree. Any other line (a
# name twice, a fraction, an escape, another order) is for the reference.
_WHOLE, _TEXT = rb"(?:0|-?[1-9][0-9]{0,14})", rb'"[ !#-\[\]-~]*"'


def _shape(annotation: str) -> bytes:
    if annotation == "str":
        return _TEXT
    return _WHOLE + b"|null" if "None" in annotation else _WHOLE


_plain_status = re.compile(
    rb"\{"
    + b",".join(b'"%s":(?:%s)' % (name.encode(), _shape(Status.__annotations__[name])) for name, _ in wire.STATUS)
    + rb"\}"
).fullmatch


def bounds(field: str) -> tuple[int, int]:
    """The least and the most of a number in a status line."""
    struct = msgspec.inspect.type_info(Status)
    assert isinstance(struct, msgspec.inspect.StructType)
    (kind,) = (each.type for each in struct.fields if each.name == field)
    (number,) = (each for each in getattr(kind, "types", (kind,)) if isinstance(each, msgspec.inspect.IntType))
    assert number.ge is not None
    assert number.le is not None
    return number.ge, number.le


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
