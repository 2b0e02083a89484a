"""Reads the board's own log: segments to holds. Pure; the formats are `bainboard.flashlog`'s.

A frame with a valid check value can still have an entry that makes no sense. Each entry is read alone; one that cannot
be read is reported and left out.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Annotated, Any, ClassVar

import msgspec
from msgspec import Meta, Struct

from bainboard import flashlog, framing, wire
from bainwright.core.terminal import one_line, visible_values
from bainwright.link.answers import event_of
from bainwright.link.messages import Status, bounds

_STATUS_BYTES = struct.calcsize(flashlog.STATUS_BODY)
_EVENT_BYTES = struct.calcsize(flashlog.EVENT_BODY)
_ENTRY_BYTES = struct.calcsize(flashlog.ENTRY)
_ORIGIN_BYTES = struct.calcsize(flashlog.ORIGIN_BODY)
_T_MOST, _DUTY_MOST, _ON_MOST = (bounds(field)[1] for field in ("t", "duty", "on"))
TORN = -1  # the kind of an entry that is cut short by the end of its frame
NAMED_ENTRIES = 5  # chosen: up to this many unreadable entries are reported one by one
ENTRIES_MOST = 400  # of one frame; chosen: four times as many rows as fit one
ROWS_MOST = 48 * 3600  # of one hold: a row a second in the longest that a board runs (settings: trip.run_h)
EVENTS_MOST = 50_000  # of one hold, as many as are read back from its record

Milli = Annotated[int, Meta(ge=-100_000, le=400_000)]  # thousandths of a °C


class _Asked(Struct):
    """The options a hold was started with; unknown ones of other versions are accepted."""

    stage: str
    for_ms: Annotated[int, Meta(ge=0, le=10**9)]
    room: Milli
    name: Annotated[str, Meta(min_length=1)]
    kind: str
    low_c: Milli
    target_c: Milli
    high_c: Milli
    ceiling_c: Milli
    never_above_c: Milli
    melt_c: Milli = 0
    keep_c: Milli = 0
    cool_c: Milli = 0
    set_min: Milli = 0
    fail_min: Milli = 0
    warmer: str = ""
    settings: str = ""
    hold: Annotated[int, Meta(ge=0)] = 0


class _EntryError(ValueError):
    """An entry that cannot be read."""


@dataclass
class Frame:
    """One sync of the board: its sequence number and payload."""

    seq: int
    entries: list[tuple[int, bytes]]


@dataclass
class BoardHold:
    """One hold as the board logged it.

    Attributes
    ----------
    boot, hold : int
        The board's counters: which start of the board, which hold since its log began.
    asked : dict
        Its options (`stage`, `for_ms`, `room`, the profile in thousandths of a °C); empty if they are lost.
    rows : list of Status
        In order of arrival; ``on`` is the on-time in ms a second, over the row's own span.
    events : list of dict
        ``event``, ``t`` and its fields.
    gaps : list of int
        How many syncs are missing, for each gap within it.
    through : int
        Sequence number of the last frame with an entry of it.
    started_s : float or None
        When it began, s since 1970; None when the board did not know the time.
    closed : bool
        Whether the board itself logged its end.
    """

    boot: int
    hold: int
    asked: dict[str, Any] = field(default_factory=dict)
    rows: list[Status] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)
    gaps: list[int] = field(default_factory=list)
    through: int = 0
    start_up_ms: int = 0
    started_s: float | None = None
    closed: bool = False

    @property
    def end_ms(self) -> int:
        """The time of its last entry."""
        return self.rows[-1].t if self.rows else 0


def read_segment(data: bytes) -> tuple[list[Frame], list[str]]:
    """The whole frames of a segment, and what is wrong with the rest of it in words."""
    found, end, damaged = framing.scan(data)
    frames = [Frame(seq, entries(payload)) for kind, seq, payload, _ in found if kind == flashlog.KIND]
    notes = [f"{stop - start} damaged bytes at {start}" for start, stop in damaged]
    if end < len(data):
        notes.append(f"the last {len(data) - end} bytes were cut short")
    return frames, notes


def entries(payload: bytes) -> list[tuple[int, bytes]]:
    """(kind, body) of each entry of a frame's payload; one that is longer than its frame has the kind `TORN`."""
    found: list[tuple[int, bytes]] = []
    at = 0
    while at < len(payload):
        if len(found) >= ENTRIES_MOST:
            return [*found, (TORN, payload[at:])]
        kind, length = struct.unpack_from(flashlog.ENTRY, payload, at) if at + _ENTRY_BYTES <= len(payload) else (0, -1)
        end = at + _ENTRY_BYTES + length
        if length < 0 or end > len(payload):
            return [*found, (TORN, payload[at:])]
        found.append((kind, payload[at + _ENTRY_BYTES : end]))
        at = end
    return found


def read_holds(frames: Callable[[], Iterable[Frame]], notes: list[tuple[int, str]]) -> Iterator[BoardHold]:
    """Every hold in frames of rising sequence, each once it is over, so that a log of years is never in memory whole.

    Parameters
    ----------
    frames : callable
        Gives the frames of one board's log, in order; it is called twice. A number that comes twice is taken once.
    notes : list
        Takes what is missing, each note with the sequence number it belongs to; complete after the last hold.

    Yields
    ------
    BoardHold
        In the board's own order, which a clock set back does not change.
    """
    reader = _Reader(_clocks(frames()), notes)
    for frame in frames():
        reader.take(frame)
        yield from reader.over()
    yield from reader.finish()


Clocks = dict[int, list[tuple[int, int]]]  # boot: (up_ms, wall_s) as the board received them


def _clocks(frames: Iterable[Frame]) -> Clocks:
    """When the board learnt the time, in each boot: a hold's start may be known only by what came after it."""
    found: Clocks = {}
    for frame in frames:
        for kind, body in frame.entries:
            if kind != flashlog.ORIGIN or len(body) != _ORIGIN_BYTES:
                continue
            boot, _, up_ms, wall_s, who = struct.unpack(flashlog.ORIGIN_BODY, body)
            known = found.setdefault(boot, [])
            if who != flashlog.NOBODY and not (known and abs(_began_s(*known[-1]) - _began_s(up_ms, wall_s)) < 1.0):
                known.append((up_ms, wall_s))
    return found


def _began_s(up_ms: int, wall_s: int) -> float:
    return wall_s - up_ms / 1000


class _Reader:
    """Follows a log entry by entry."""

    def __init__(self, clocks: Clocks, notes: list[tuple[int, str]]) -> None:
        self.notes = notes
        self._clocks = clocks
        self._holds: list[BoardHold] = []  # not given out yet
        self._unreadable = 0
        self._last_s = 0.0  # when the hold before ended
        self._seq: int | None = None
        self._boot = self._hold = self._up_ms = 0
        self._current: BoardHold | None = None

    def take(self, frame: Frame) -> None:
        if self._seq is not None:
            if frame.seq <= self._seq:
                return
            self._gap(frame.seq - self._seq - 1)
        self._seq = frame.seq
        for kind, body in frame.entries:
            read = self._READ.get(kind)  # a kind of a later firmware is skipped
            if read:
                self._read(read, body)

    def _read(self, read: Callable[[_Reader, bytes], None], body: bytes) -> None:
        assert self._seq is not None
        try:
            read(self, body)
        except (_EntryError, struct.error) as failed:
            self._note_unreadable("it is too short" if isinstance(failed, struct.error) else str(failed))

    def _note_unreadable(self, why: str) -> None:
        assert self._seq is not None
        self._unreadable += 1
        if self._unreadable <= NAMED_ENTRIES:
            self.notes.append((self._seq, f"record {self._seq}: an entry cannot be read: {why}"))

    def over(self) -> Iterator[BoardHold]:
        """The holds that nothing more can come to."""
        over = [hold for hold in self._holds if hold is not self._current]
        self._holds = [hold for hold in self._holds if hold is self._current]
        for hold in over:
            self._date(hold)
            yield hold

    def finish(self) -> Iterator[BoardHold]:
        """The others, at the end of the log."""
        self._current = None
        yield from self.over()
        if self._unreadable > NAMED_ENTRIES:
            assert self._seq is not None
            self.notes.append((self._seq, f"{self._unreadable - NAMED_ENTRIES} more entries cannot be read"))

    def _torn(self, body: bytes) -> None:
        raise _EntryError("it is longer than its frame, or there are far too many")

    def _gap(self, missing: int) -> None:
        if not missing:
            return
        assert self._seq is not None
        self.notes.append((self._seq + missing, f"{missing} records are missing after number {self._seq}"))
        if self._current:
            self._current.gaps.append(missing)
            t_ms = self._current.end_ms
            self._current.events.append({"event": "gap", "t": t_ms, "records": missing})

    def _touch(self) -> BoardHold:
        """The hold that entries belong to now; a hold whose beginning is lost starts here."""
        if self._current is None:
            self._begin({})
        assert self._current is not None
        assert self._seq is not None
        self._current.through = self._seq
        return self._current

    def _begin(self, asked: dict[str, Any]) -> None:
        self._current = BoardHold(self._boot, asked.get("hold", self._hold), asked, start_up_ms=self._up_ms)
        self._holds.append(self._current)

    def _origin(self, body: bytes) -> None:
        boot, self._hold, self._up_ms, _, _ = struct.unpack(flashlog.ORIGIN_BODY, body)
        if boot != self._boot:
            self._boot, self._current = boot, self._current if self._current and not self._current.closed else None

    def _asked(self, body: bytes) -> None:
        asked = _flat(body)
        try:
            msgspec.convert(asked, _Asked)
        except msgspec.ValidationError as failed:
            raise _EntryError(str(failed)) from failed
        self._begin(asked)
        self._touch()

    def _status(self, body: bytes) -> None:
        up_ms, t_ms, state, stage, *temps, duty, on_ms, fault, warn, estimated = struct.unpack_from(
            flashlog.STATUS_BODY, body
        )
        if self._current and self._current.boot != self._boot:
            self._current = None  # the board restarted and a new hold runs
        if t_ms > _T_MOST or duty > _DUTY_MOST:
            raise _EntryError("it has an impossible figure")
        rows = self._current.rows if self._current else []
        if rows and t_ms < rows[-1].t:
            if len(rows) > 1 and t_ms < rows[-2].t:
                raise _EntryError("its time is before the row before it")
            rows.pop()  # its time had jumped
            self._note_unreadable("its time is after the row after it")
        hold = self._touch()
        if len(hold.rows) >= ROWS_MOST:
            raise _EntryError(f"its hold has over {ROWS_MOST} rows")
        if not hold.start_up_ms or not hold.asked:
            hold.start_up_ms = up_ms - t_ms
        water, bowl, target, water_target = map(_milli, temps)
        on = min(_ON_MOST, round(1000 * on_ms / max(1, t_ms - hold.end_ms)))
        hold.rows.append(
            Status(
                status=len(hold.rows) + 1, t=t_ms, state=_name(flashlog.STATES, state),
                stage=_name(flashlog.STAGES, stage), water=water, bowl=bowl, est=estimated, target=target,
                water_target=water_target, duty=duty, on=on, fault=fault, warn=warn,
                ask=one_line(body[_STATUS_BYTES:].decode("ascii", "replace")), drops=0,
            )
        )  # fmt: skip

    def _event(self, body: bytes) -> None:
        _, t_ms = struct.unpack_from(flashlog.EVENT_BODY, body)
        event = event_of(_flat(body[_EVENT_BYTES:]))
        if event is None:
            raise _EntryError("it is not an event of this program")
        if self._current is None:
            return  # an event while no hold ran
        hold = self._touch()
        if len(hold.events) >= EVENTS_MOST:
            raise _EntryError(f"its hold has over {EVENTS_MOST} events")
        # A board that has restarted, or has just ended its hold, gives the time as 0: take the hold's last moment.
        hold.events.append({**event, "t": max(t_ms, hold.end_ms)})
        if event["event"] in ("ended", "boot"):
            hold.closed, self._current = True, None

    _READ: ClassVar[dict[int, Callable[[_Reader, bytes], None]]] = {
        TORN: _torn,
        flashlog.ORIGIN: _origin,
        flashlog.HOLD: _asked,
        flashlog.STATUS: _status,
        flashlog.EVENT: _event,
    }

    # -- the time of day ----------------------------------------------------------------------------------------------

    def _wall_s(self, boot: int, up_ms: int) -> float | None:
        """By the last clock reading before it, else the first after it, in the same boot."""
        clocks = self._clocks.get(boot)
        if not clocks:
            return None
        before = [clock for clock in clocks if clock[0] <= up_ms]
        at_ms, wall_s = before[-1] if before else clocks[0]
        return wall_s + (up_ms - at_ms) / 1000

    def _date(self, hold: BoardHold) -> None:
        hold.started_s = self._wall_s(hold.boot, hold.start_up_ms)
        if hold.started_s is None:
            return
        if hold.started_s < self._last_s:
            text = f"before hold {hold.hold} the clock was set back; the order is the board's own"
            self.notes.append((hold.through, text))
        self._last_s = hold.started_s + hold.end_ms / 1000


def _flat(body: bytes) -> dict[str, Any]:
    """A flat JSON object, by the board's own reader."""
    values, why = wire.parse(body)
    if values is None:
        raise _EntryError(why)
    return visible_values(values)


def _milli(code: int) -> int | None:
    return None if code == flashlog.NO_TEMP else code * flashlog.TEMP_STEP + flashlog.TEMP_LOW


def _name(names: tuple[str, ...], number: int) -> str:
    return names[number] if number < len(names) else "?"
