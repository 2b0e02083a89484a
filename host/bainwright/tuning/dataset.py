"""A record to identify a warmer from: heat and temperatures once a second, in pieces without disturbances."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.core.errors import FileError
from bainwright.physics.materials import CP_LIQUID, WATER_J_PER_LK
from bainwright.record.reader import HoldLog

Floats = NDArray[np.float64]

LONGEST_S = 72 * 3600.0  # chosen: a hold lasts 48 h at most
USED_S = 8 * 3600  # chosen: a fit of more takes minutes, and the same water hardly stays as it was for longer
LEAST_S = 900  # a shorter record shows no time constant of the chocolate; chosen
LEAST_PIECE_S = 300  # shorter pieces between gaps and refills are left out; chosen
LEAST_MOVE_K = 0.5  # water must move by this: eight steps of 1/16 K; chosen
LEAST_HEAT_K = 1.0  # heat must vary by what warms the water by this; chosen
MOST_MISSING = 0.3  # a record with a larger share missing is refused; chosen
JUMP_K, JUMP_S = 0.4, 60  # a bowl that moves this far in this time had something poured in; chosen
SEEN_AFTER_S = 10  # a fall has lasted this long when it is detected; chosen
FLAT_S = 240  # a reading that is constant for this long while the heat changes is clipped; chosen


@dataclass(frozen=True)
class Piece:
    """Evenly sampled seconds: power over the second before each reading (W), readings (°C, NaN where none)."""

    start_s: float
    power_w: Floats
    water_c: Floats
    bowl_c: Floats

    def __len__(self) -> int:
        return len(self.power_w)


@dataclass(frozen=True)
class Record:
    """All pieces of a log."""

    pieces: list[Piece]
    room_c: float
    notes: list[str]

    @property
    def seconds(self) -> int:
        """Seconds of data."""
        return sum(map(len, self.pieces))


def record_of(log: HoldLog, settings: Mapping[str, Any]) -> Record:
    """The pieces of a hold's log that a warmer can be identified from.

    Raises
    ------
    FileError
        If it is too short, too quiet, clipped or mostly missing.
    """
    room_c = log.facts.get("room_c")
    room_c = float(settings["room_c"] if room_c is None else room_c)
    time_s = np.asarray(log["t_s"], dtype=float)
    if time_s[-1] - time_s[0] > LONGEST_S:
        raise FileError("the record has an impossible time", got=f"{(time_s[-1] - time_s[0]) / 3600:.0f} h",
                        wanted=f"at most {LONGEST_S / 3600:.0f} h", hint="use another log")
    row_s = float(log.facts.get("row_s", 1.0))  # a board's own log has a row every few seconds
    power_w = settings["heater_w"] * np.nan_to_num(log["on_ms"]) / 1000.0
    bowl_c = np.where(np.nan_to_num(log["bowl_estimated"]) > 0, np.nan, log["bowl_c"])
    columns = [power_w, np.asarray(log["water_c"], dtype=float), np.asarray(bowl_c, dtype=float)]
    states = np.asarray(log["state"])
    if row_s > 1.0:
        time_s, columns, states = _each_second(time_s, columns, states, row_s)
    power_w, water_c, bowl_c = columns
    return record(time_s, power_w, water_c, bowl_c, room_c, settings, states=states)


def _each_second(time_s: Floats, columns: list[Floats], states: NDArray[Any], row_s: float
                 ) -> tuple[Floats, list[Floats], NDArray[Any]]:
    """Turn rows every few seconds into rows every second: heat is spread over a row, readings are interpolated.

    Missing rows stay missing.
    """
    seconds = np.arange(np.ceil(time_s[0] - row_s) + 1.0, np.floor(time_s[-1]) + 1.0)
    row = np.minimum(np.searchsorted(time_s, seconds), len(time_s) - 1)
    there = time_s[row] - seconds < row_s
    power_w, water_c, bowl_c = columns
    filled = [power_w[row], np.interp(seconds, time_s, water_c), np.interp(seconds, time_s, bowl_c)]
    return seconds[there], [each[there] for each in filled], states[row][there]


def record(time_s: Floats, power_w: Floats, water_c: Floats, bowl_c: Floats, room_c: float,
           settings: Mapping[str, Any], states: NDArray[Any] | None = None) -> Record:
    """Check a record and cut it where something other than the heater acted.

    Parameters
    ----------
    time_s, power_w, water_c, bowl_c : array, shape (n,)
        Board time; mean power of the second before; readings, NaN where missing.
    room_c : float
        The room.
    settings : mapping
        The rig's.
    states : array of str, optional
        The board's state; seconds in pause or trip are cut out.
    """
    notes: list[str] = []
    got_s = time_s[-1] - time_s[0] + 1.0 if len(time_s) > 1 else 0.0
    if got_s < LEAST_S:
        raise FileError("the record is too short to identify a warmer", got=f"{got_s / 60:.0f} min",
                        wanted=f"{LEAST_S // 60} min or more", hint="an hour from cold is best")
    good = np.isfinite(water_c)
    if states is not None:
        good &= np.isin(states, ["check", "hold"])
    missing = 1.0 - good.sum() / max(1.0, round(time_s[-1] - time_s[0]) + 1)
    if missing > MOST_MISSING:
        raise FileError(f"{100 * missing:.0f} % of the record is missing or was not heated by the warmer",
                        wanted=f"under {100 * MOST_MISSING:.0f} %", hint="use another log")
    cuts = _cuts(time_s, good, bowl_c, notes)
    pieces = [_piece(time_s, power_w, water_c, bowl_c, low, high) for low, high in cuts if high - low >= LEAST_PIECE_S]
    found = Record(_first(pieces, notes), room_c, notes)
    if found.seconds < LEAST_S:
        raise FileError("too little of the record lies between its gaps and refills",
                        got=f"{found.seconds / 60:.0f} min in pieces of at least {LEAST_PIECE_S // 60}",
                        wanted=f"{LEAST_S // 60} min")
    _unclipped(found, settings)  # first: a reading that is clipped all the time looks quiet too
    _lively(found, settings)
    return found


def _first(pieces: list[Piece], notes: list[str]) -> list[Piece]:
    """The pieces up to `USED_S` of data, from the beginning: the warm-up shows most."""
    used: list[Piece] = []
    left = USED_S
    for piece in pieces:
        if left >= LEAST_PIECE_S:
            used.append(Piece(piece.start_s, piece.power_w[:left], piece.water_c[:left], piece.bowl_c[:left]))
        left -= len(piece)
    if left < 0:
        notes.append(f"the record is long: its first {USED_S // 3600} h of data are used")
    return used


def _cuts(time_s: Floats, good: NDArray[np.bool_], bowl_c: Floats, notes: list[str]) -> list[tuple[int, int]]:
    """Ranges of rows without a gap and without anything poured in."""
    step_s = np.diff(time_s)
    breaks = {int(at) + 1 for at in np.flatnonzero((step_s > 1.5) | (step_s <= 0.0))}
    if breaks:
        notes.append(f"the record has {len(breaks)} gap(s); the pieces between them are used")
    edges = {int(at) + 1 for at in np.flatnonzero(np.diff(good.astype(int)))}
    poured = _poured(bowl_c)
    for at in poured:
        notes.append(f"something was poured into the bowl at {time_s[at] / 60:.0f} min; the record was cut there")
    bounds = sorted({0, len(time_s), *breaks, *edges, *poured, *(at + 2 * JUMP_S for at in poured)})
    pairs = pairwise(bounds)
    return [(a, b) for a, b in pairs if good[a:b].all() and not any(at <= a < at + 2 * JUMP_S for at in poured)]


def _poured(bowl_c: Floats) -> list[int]:
    """Rows at which the bowl began to move faster than the water can move it."""
    if len(bowl_c) <= JUMP_S or not np.isfinite(bowl_c).any():
        return []
    smooth = np.convolve(bowl_c, np.ones(5) / 5.0, mode="same")
    smooth[:3], smooth[-3:] = smooth[3], smooth[-4]
    moved = smooth[JUMP_S:] - smooth[:-JUMP_S]
    usual = np.concatenate([np.full(2 * JUMP_S, moved[0]), moved])[: len(moved)]  # its movement two minutes before
    fast = np.flatnonzero(np.abs(moved - usual) > JUMP_K)
    starts: list[int] = []
    for at in fast:
        if not starts or at - starts[-1] > 5 * JUMP_S:
            starts.append(int(at))
    # the begin of a warm-up is no refill: take only a fall, or a rise that water cannot cause
    return [at + JUMP_S - SEEN_AFTER_S for at in starts if moved[at] < 0.0 or moved[at] > 3.0]


def _piece(time_s: Floats, power_w: Floats, water_c: Floats, bowl_c: Floats, low: int, high: int) -> Piece:
    return Piece(float(time_s[low]), power_w[low:high], water_c[low:high], bowl_c[low:high])


def _lively(found: Record, settings: Mapping[str, Any]) -> None:
    water = np.concatenate([each.water_c for each in found.pieces])
    moved_k = float(np.percentile(water, 99) - np.percentile(water, 1))
    store = settings["water_l"] * WATER_J_PER_LK
    swing_j = max(float(np.ptp(np.cumsum(each.power_w - each.power_w.mean()))) for each in found.pieces)
    if moved_k < LEAST_MOVE_K or swing_j / store < LEAST_HEAT_K / 2.0:
        raise FileError("the record is too quiet to identify a warmer: water and heat hardly changed",
                        got=f"water moved by {moved_k:.2f} °C, the heat is worth {swing_j / store:.2f} °C",
                        wanted=f"{LEAST_MOVE_K:g} °C or more", hint="use a log with its warm-up, or run bain tune")


def _unclipped(found: Record, settings: Mapping[str, Any]) -> None:
    """Refuse a reading that is constant at its highest or lowest value while the heat would move it by a degree."""
    store = settings["water_l"] * WATER_J_PER_LK + settings["chocolate_kg"] * CP_LIQUID.value
    for piece in found.pieces:
        changes = np.flatnonzero(np.diff(piece.water_c)) + 1
        bounds = np.concatenate([[0], changes, [len(piece)]])
        for low, high in pairwise(bounds):
            if high - low < FLAT_S:
                continue
            at_end = piece.water_c[low] in (piece.water_c.max(), piece.water_c.min())
            heat_k = float(np.ptp(np.cumsum(piece.power_w[low:high] - piece.power_w.mean()))) / store
            if at_end and heat_k > LEAST_HEAT_K:
                raise FileError(
                    f"the water reading is clipped: it shows {piece.water_c[low]:.2f} °C for "
                    f"{(high - low) / 60:.0f} min while the heat alone would move it by {heat_k:.1f} °C",
                    hint="check the probe and its range, and record again")
