"""The board's own log, read: segments to holds. Pure; the formats are `bainboard.flashlog`'s."""

from __future__ import annotations

import json
import struct
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, ClassVar

from bainboard import flashlog, framing
from bainwright.link.messages import Status

_STATUS_BYTES = struct.calcsize(flashlog.STATUS_BODY)
_EVENT_BYTES = struct.calcsize(flashlog.EVENT_BODY)


@dataclass
class Frame:
    """One sync of the board: its sequence number and what it holds."""

    seq: int
    entries: list[tuple[int, bytes]]


@dataclass
class BoardHold:
    """One hold as the board remembers it.

    Attributes
    ----------
    boot, hold : int
        The board's counters: which start of the board, which hold since its log began.
    asked : dict
        What was asked for (`stage`, `for_ms`, `room`, the profile in thousandths of a °C); empty when that is lost.
    rows : list of Status
        As they came; ``on`` is the on-time in ms a second, over the row's own span.
    events : list of dict
        ``event``, ``t`` and its fields.
    gaps : list of int
        How many syncs are missing, for each gap within it.
    through : int
        Sequence number of the last frame with something of it.
    started_s : float or None
        When it began, s since 1970; None when nobody had told the board the time.
    closed : bool
        The board itself said that it is over.
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
        """The last moment known of it."""
        return self.rows[-1].t if self.rows else 0


def read_segment(data: bytes) -> tuple[list[Frame], list[str]]:
    """The whole frames of a segment, and what is wrong with the rest of it in words."""
    found, end, damaged = framing.scan(data)
    frames = [Frame(seq, flashlog.entries(payload)) for kind, seq, payload, _ in found if kind == flashlog.KIND]
    notes = [f"{stop - start} damaged bytes at {start}" for start, stop in damaged]
    if end < len(data):
        notes.append(f"the last {len(data) - end} bytes were cut short")
    return frames, notes


def read_holds(frames: Iterable[Frame]) -> tuple[list[BoardHold], list[tuple[int, str]]]:
    """Every hold in frames of rising sequence, and notes on what is missing.

    Parameters
    ----------
    frames : iterable of Frame
        Of one board's log, in order; a number that comes twice is taken once.

    Returns
    -------
    tuple
        The holds in the board's own order, which a clock set back does not change; notes, each with the sequence
        number it came up at.
    """
    reader = _Reader()
    for frame in frames:
        reader.take(frame)
    return reader.finish()


class _Reader:
    """Follows a log entry by entry."""

    def __init__(self) -> None:
        self.holds: list[BoardHold] = []
        self.notes: list[tuple[int, str]] = []
        self._seq: int | None = None
        self._boot = self._hold = self._up_ms = 0
        self._current: BoardHold | None = None
        self._clocks: dict[int, list[tuple[int, int]]] = {}  # boot: (up_ms, wall_s) as they were told

    def take(self, frame: Frame) -> None:
        if self._seq is not None:
            if frame.seq <= self._seq:
                return
            self._gap(frame.seq - self._seq - 1)
        self._seq = frame.seq
        for kind, body in frame.entries:
            known = self._TAKE.get(kind)  # a kind of a later firmware is passed over
            if known:
                known(self, body)

    def finish(self) -> tuple[list[BoardHold], list[tuple[int, str]]]:
        for hold in self.holds:
            hold.started_s = self._wall_s(hold.boot, hold.start_up_ms)
        self._look_for_clocks_set_back()
        return self.holds, self.notes

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
        """The hold that entries belong to now; one whose beginning is lost starts here."""
        if self._current is None:
            self._begin({})
        assert self._current is not None
        assert self._seq is not None
        self._current.through = self._seq
        return self._current

    def _begin(self, asked: dict[str, Any]) -> None:
        self._current = BoardHold(self._boot, asked.get("hold", self._hold), asked, start_up_ms=self._up_ms)
        self.holds.append(self._current)

    def _origin(self, body: bytes) -> None:
        boot, self._hold, self._up_ms, wall_s, who = struct.unpack(flashlog.ORIGIN_BODY, body)
        if boot != self._boot:
            self._boot, self._current = boot, self._current if self._current and not self._current.closed else None
        if who != flashlog.NOBODY:
            self._clocks.setdefault(boot, []).append((self._up_ms, wall_s))

    def _asked(self, body: bytes) -> None:
        self._begin(json.loads(body))
        self._touch()

    def _status(self, body: bytes) -> None:
        up_ms, t_ms, state, stage, *temps, duty, on_ms, fault, warn, estimated = struct.unpack_from(
            flashlog.STATUS_BODY, body
        )
        if self._current and self._current.boot != self._boot:
            self._current = None  # the board started anew and holds again
        hold = self._touch()
        if not hold.start_up_ms or not hold.asked:
            hold.start_up_ms = up_ms - t_ms
        water, bowl, target, water_target = map(_milli, temps)
        span_ms = max(1, t_ms - hold.end_ms)
        hold.rows.append(
            Status(
                len(hold.rows) + 1, t_ms, _name(flashlog.STATES, state), _name(flashlog.STAGES, stage), water, bowl,
                estimated, target, water_target, duty, round(1000 * on_ms / span_ms), fault, warn,
                body[_STATUS_BYTES:].decode("ascii", "replace"), 0,
            )
        )  # fmt: skip

    def _event(self, body: bytes) -> None:
        _, t_ms = struct.unpack_from(flashlog.EVENT_BODY, body)
        event: dict[str, Any] = json.loads(body[_EVENT_BYTES:])
        if self._current is None:
            return  # of a board at rest
        hold = self._touch()
        # A board that has started anew, or has just ended, stamps with 0: the hold's last moment is meant.
        hold.events.append({**event, "t": max(t_ms, hold.end_ms)})
        if event["event"] in ("ended", "boot"):
            hold.closed, self._current = True, None

    _TAKE: ClassVar = {
        flashlog.ORIGIN: _origin,
        flashlog.HOLD: _asked,
        flashlog.STATUS: _status,
        flashlog.EVENT: _event,
    }

    # -- the time of day ----------------------------------------------------------------------------------------------

    def _wall_s(self, boot: int, up_ms: int) -> float | None:
        """By the last time told before it, else the first after it, in the same boot."""
        told = self._clocks.get(boot)
        if not told:
            return None
        before = [clock for clock in told if clock[0] <= up_ms]
        at_ms, wall_s = before[-1] if before else told[0]
        return wall_s + (up_ms - at_ms) / 1000

    def _look_for_clocks_set_back(self) -> None:
        last_s = 0.0
        for hold in self.holds:
            if hold.started_s is None:
                continue
            if hold.started_s < last_s:
                text = f"before hold {hold.hold} the clock was set back; the order is the board's own"
                self.notes.append((hold.through, text))
            last_s = hold.started_s + hold.end_ms / 1000


def _milli(code: int) -> int | None:
    return None if code == flashlog.NO_TEMP else code * flashlog.TEMP_STEP + flashlog.TEMP_LOW


def _name(names: tuple[str, ...], number: int) -> str:
    return names[number] if number < len(names) else "?"
