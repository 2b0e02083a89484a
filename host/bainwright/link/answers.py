"""What a board may send, field by field: one schema for each answer, and one for events.

A line with a valid check value can still have wrong fields: from another firmware, a faulty one or a hostile device.
After this module, no code needs to check whether a field is present or what type it has.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

import msgspec
from msgspec import Meta, Struct

from bainboard.framing import MAX_PAYLOAD
from bainboard.wire import VERSION as WIRE
from bainwright.core.bounds import LONGEST_S
from bainwright.core.errors import LinkError

SEGMENT_MOST_BYTES = 1 << 16  # chosen: a segment is closed at 16 KB, and one frame may come after that
GOING_MOST = 1 << 16  # chosen: more segments than any flash holds
PROBES_MOST = 15  # what a board's 1-wire bus lists (bainboard.commands, bus)

Id = Annotated[str, Meta(pattern="^[0-9a-f]{2,64}$")]  # a chip's own number
Count = Annotated[int, Meta(ge=0, le=2**53)]
Figure = Annotated[int, Meta(ge=-(2**53), le=2**53)]  # as on the wire: exact as a float
Moment = Annotated[int, Meta(ge=0, le=round(1000 * LONGEST_S))]  # milliseconds of a hold's time
Number = Annotated[int, Meta(ge=1, lt=2**32)]  # of a frame in the board's log
FaultNumber = Annotated[int, Meta(ge=0, le=255)]
ShortHash = Annotated[str, Meta(pattern="^([0-9a-f]{8})?$")]  # empty: nothing is stored
Piece = Annotated[str, Meta(max_length=160)]  # base64 of 120 bytes


class Nothing(Struct):
    """An answer that only confirms."""


class Hello(Struct):
    """Who answers on a port."""

    version: str
    wire: int
    state: str
    t: Count
    fault: FaultNumber
    settings: ShortHash
    profile: ShortHash
    board: Id
    name: str
    python: str = ""
    hold: Count = 0
    kept: bool = True  # the board could store that this firmware works
    locked: bool = False


class Clocked(Struct):
    """The time of day was taken. Of a hold that ends by itself: how long it runs, and how long it still will, ms."""

    t: Moment = 0
    left: Moment | None = None


class OtherWire(Struct):
    """The hello of a board that speaks another version of the wire."""

    wire: int


class Started(Struct):
    """The figures a hold runs with: thousandths of a °C, s."""

    low: int
    target: int
    high: int
    ceiling: int
    limit: int
    check_s: Count
    short: Count
    boot: Count = 0
    hold: Count = 0


class Sent(Struct):
    """A document is ready to be fetched."""

    size: Annotated[int, Meta(ge=2, le=MAX_PAYLOAD)]
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]


class Chunk(Struct):
    """A piece of a document, received or sent."""

    at: Count
    data: Piece = ""


class Saved(Struct):
    """A chocolate stored on the board."""

    name: str
    profile: ShortHash


class Bus(Struct):
    """How many probes are on the 1-wire bus."""

    kind: str
    count: Annotated[int, Meta(ge=0, le=PROBES_MOST)]


class Probe(Struct):
    """One probe on the bus: its reading in thousandths of a °C, or why there is none."""

    rom: Annotated[str, Meta(pattern="^[0-9a-fA-F-]{1,32}$")]
    temp: Annotated[int, Meta(ge=-300_000, le=1_000_000)] | None
    code: int


class SegmentInfo(Struct):
    """A segment of the board's log."""

    first: Number
    last: Number
    size: Annotated[int, Meta(ge=1, le=SEGMENT_MOST_BYTES)]
    crc: Annotated[str, Meta(pattern="^[0-9a-fA-F]{8}$")]


class Read(Struct):
    """A piece of a segment."""

    at: Count
    data: Piece


class Going(Struct):
    """How many segments the board will delete."""

    going: Annotated[int, Meta(ge=0, le=GOING_MOST)]


class Event(Struct):
    """Something that happened. An event has some of these fields; unknown ones of a later firmware are accepted."""

    event: Annotated[str, Meta(min_length=1)]
    n: Count | None = None
    t: Moment | None = None
    why: str | None = None
    cause: str | None = None
    act: str | None = None
    name: str | None = None
    at: str | None = None
    stage: str | None = None
    verdict: str | None = None
    number: Figure | None = None
    fault: FaultNumber | None = None
    off_s: Count | None = None
    took_s: Count | None = None
    check_s: Count | None = None
    bowl: Figure | None = None
    shift: Figure | None = None
    known: bool | None = None
    latched: bool | None = None
    passed: bool | None = None
    by_itself: bool | None = None
    masked: bool | None = None


class Reported(Event, kw_only=True):
    """An event on the wire: it has its time."""

    t: Moment


class Judged(Reported, kw_only=True):
    """An event on the wire that names a fault."""

    fault: FaultNumber


class Checked(Reported, kw_only=True):
    """The end of a self-test on the wire."""

    masked: bool


_ANSWERS: dict[str, type[Struct]] = {
    "hello": Hello, "clock": Clocked, "start": Started, "send": Sent, "chunk": Chunk, "profiles": Saved, "bus": Bus,
    "segments": SegmentInfo, "read": Read, "forget": Going,
}  # fmt: skip
_EVENTS: dict[str, type[Reported]] = {"trip": Judged, "warn": Judged, "checked": Checked}
# A list ends with an answer that lacks the first field of an entry.
_ENTRY_BEGINS = {"profiles": "name", "segments": "first"}


def check_answer(do: str, fields: Mapping[str, Any], answer: dict[str, Any]) -> dict[str, Any]:
    """Check the answer to a request against its schema; returns it with the defaults of what it leaves out.

    Parameters
    ----------
    do : str
        The request.
    fields : mapping
        The request's fields.
    answer : dict
        What the board answered, accepted by it.

    Raises
    ------
    LinkError
        If a field is missing or is not what it should be.
    """
    try:
        known = msgspec.convert(answer, _schema(do, fields, answer))
    except msgspec.ValidationError as wrong:
        raise LinkError(
            f"the board's answer to '{do}' is not one that this program understands",
            got=str(wrong),
            hint="its firmware may be damaged or of another version: bain install",
        ) from None
    return {**msgspec.structs.asdict(known), **answer}


def _schema(do: str, fields: Mapping[str, Any], answer: dict[str, Any]) -> type[Struct]:
    if do == "bus" and fields.get("at"):
        return Probe
    if do == "hello" and answer.get("wire") != WIRE:
        return OtherWire
    if do in _ENTRY_BEGINS and _ENTRY_BEGINS[do] not in answer:
        return Nothing
    return _ANSWERS.get(do, Nothing)


def reported(message: Mapping[str, Any]) -> dict[str, Any] | None:
    """A message of the wire as an event, as `event_of`; None also where the time of one or its fault is missing."""
    return event_of(message, _EVENTS.get(str(message.get("event")), Reported))


def event_of(message: Mapping[str, Any], kind: type[Event] = Event) -> dict[str, Any] | None:
    """A message as an event, its null and nested fields left out; None for one that does not fit the schema."""
    try:
        msgspec.convert(message, kind)
    except (msgspec.ValidationError, UnicodeEncodeError):  # half a character
        return None
    return {name: value for name, value in message.items() if isinstance(value, (str, int, float))}
