"""What a record gives to every replay: the evening second by second, and warmers that fit it, or why it gives nothing.

The warmer is identified from the parts of the record in which nothing happened. A record that the control did not
decide alone, or that shows too little, is refused in words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard import settings as board
from bainboard.control.cascade import Cascade
from bainboard.control.rules import safe_gains
from bainboard.refill import LATE_MS, LEAD_MS
from bainwright.core.errors import FileError
from bainwright.files.chocolate import Profile, window_at
from bainwright.files.score import Window
from bainwright.happenings.balance import ENDLESS, HELD
from bainwright.happenings.kinds import COLD_REFILL, LIFTED, WARM_REFILL, Happening
from bainwright.record.reader import HoldLog
from bainwright.tuning.dataset import LEAST_PIECE_S, Piece, Record, record_of
from bainwright.tuning.model import NAMES, Findings, Model
from bainwright.what_if.outcome import STEP_S, Outcome, outcome
from bainwright.what_if.replay import AS_RECORDED, EASES, FOLLOWED, FREE, LEADS, Evening

Floats = NDArray[np.float64]

LEAD_S, LATE_S = LEAD_MS / 1000.0, LATE_MS / 1000.0
WARMERS = 60  # that fit the record; chosen: the ends of the interval then vary by a tenth of its width
STORES_SD = 0.15  # of a bowl that fills and empties and of a film that is stirred, which no model has; chosen
LONGEST_S = 72 * 3600.0  # chosen: a hold lasts 48 h at most
LEAST_FREE_S = 3600.0  # chosen: a shorter hold is mostly its first quarter of an hour
MOST_MISSING_S = 120.0  # of readings while the control decides; chosen, a bowl drifts a tenth of a degree in that time
# For the fit the record is cut about what happened in it, and into pieces no longer than this: each has its own start
# and its own outside heat, so that what nobody saw stays in its piece. Chosen.
LONGEST_PIECE_S, BEFORE_S, AFTER_S = 5400, 120.0, 240.0
NEEDED = "water_j_per_k"  # without it nobody knows what other heat does to the bath; the interval has the rest
OFF_C, OFF_SHARE = 0.03, 0.25  # by how much the bowl played as it was may miss the recorded one; chosen
ANOTHER = "choose another hold"
BEFORE_WORK = ("settle", "test")  # the control runs in these with the bowl in its bath


@dataclass(frozen=True)
class Recorded:
    """What a record gives to every choice: the evening, its settings and window, and warmers that fit it.

    Attributes
    ----------
    evening : Evening
        Second by second.
    values : mapping
        The settings that the board ran on.
    window : Window
        Of the hold.
    from_start : bool
        Whether the hold began by what is replayed, so that its warm-up counts.
    refills : list of Happening
        Those that were found.
    models : list of Model
        Warmers that fit.
    as_it_was : Outcome
        The evening played again on each with nothing changed.
    """

    evening: Evening
    values: Mapping[str, Any]
    window: Window
    from_start: bool
    refills: list[Happening]
    models: list[Model]
    as_it_was: Outcome


def recorded(log: HoldLog, happened: Sequence[Happening], seed: int = 0) -> Recorded:
    """Read a record for replays.

    Parameters
    ----------
    log : HoldLog
        The hold's log.
    happened : sequence of Happening
        What was found in it.
    seed : int
        Random seed of the warmers that are drawn.

    Raises
    ------
    FileError
        When the record cannot carry an answer; the error says why.
    """
    if log["t_s"][-1] - log["t_s"][0] > LONGEST_S:
        raise FileError("the record is longer than any hold, so one of its times is wrong", hint=ANOTHER)
    _refuse_broken(log)
    values, window, stage = setup(log)
    evening = evening_of(log, happened, values, window, stage)
    models = _drawn(_identified(log, happened, values), seed)
    as_it_was = outcome(evening, law_of(values), models, window)
    _refuse_unlike(evening, as_it_was)
    refills = [each for each in happened if each.kind in (COLD_REFILL, WARM_REFILL)]
    return Recorded(evening, values, window, str(log["stage"][0]) in ("", stage), refills, models, as_it_was)


def _refuse_broken(log: HoldLog) -> None:
    """Refuse a hold whose course another choice could have changed in ways that no replay knows."""
    names = [event.get("event") for event in log.events]
    if "trip" in names:
        raise FileError("the hold tripped, and with other heat it may not have", hint="choose a hold without a trip")
    if "changed" in names:
        raise FileError("another chocolate came into the bath during the hold", hint="choose a hold of one chocolate")
    if "boot" in names or "power_back" in names:
        raise FileError("the board restarted during the hold", hint="choose a hold without a restart")


def setup(log: HoldLog) -> tuple[dict[str, Any], Window, str]:
    """The settings that the board ran on, the window, and the stage that is replayed."""
    rig, gains = log.facts.get("rig"), log.facts.get("gains")
    given = {**(rig if isinstance(rig, dict) else {}), **(gains if isinstance(gains, dict) else {})}
    values, why = board.check(board.SETTINGS, given)
    if not given or values is None:
        raise FileError("the record does not have the warmer's settings", got=why or None, hint=ANOTHER)
    try:
        profile = Profile(**(log.facts.get("profile") or {}))
    except TypeError:
        raise FileError("the record does not have the chocolate's window", hint=ANOTHER) from None
    held = log["stage"][(log["state"] == "hold") & np.isin(log["stage"], HELD)]
    if not len(held):
        raise FileError("the record has no step that holds the chocolate at its target",
                        hint="choose a hold in which somebody dipped, or one of melted stock")
    stage = "melted" if profile.kind == "melted" or not (held != "melted").any() else "work"
    window = window_at(profile, stage)
    return {**board.defaults(board.SETTINGS), **values}, window, stage


def evening_of(log: HoldLog, happened: Sequence[Happening], values: Mapping[str, Any], window: Window, stage: str
             ) -> Evening:
    """The record second by second, and where the control decides."""
    t_s = np.asarray(log["t_s"], dtype=float)
    at_s = _t_s(log, int(np.ceil(t_s[-1] - t_s[0])) + 1)
    row = np.clip(np.searchsorted(t_s, at_s, side="right") - 1, 0, len(t_s) - 1)
    water_c, bowl_c = (_each_second(at_s, t_s, np.asarray(log[name], dtype=float)) for name in ("water_c", "bowl_c"))
    bowl_c[np.nan_to_num(log["bowl_estimated"])[row] > 0] = np.nan
    own = np.isin(log["stage"], ("", stage))[row]
    free = (log["state"] == "hold")[row] & own
    first = int(np.argmax(free))
    mode = np.where(free, FREE, AS_RECORDED)
    before = ((log["state"] == "hold") & np.isin(log["stage"], BEFORE_WORK))[row]
    mode[:first][before[:first]] = FOLLOWED
    away = _away(log, at_s)
    _refuse_blind(water_c, np.where(away > 0, window.target_c, bowl_c), mode)
    out = away.copy()
    for each in happened:
        if each.kind == LIFTED:
            out[(at_s >= each.at_s) & (at_s < each.at_s + each.lasted_s)] = 1.0
    target_c = _filled(np.asarray(log["target_c"], dtype=float), window.target_c)[row]
    room_c = log.facts.get("room_c")
    return Evening(
        at_s, water_c, bowl_c, np.nan_to_num(np.asarray(log["duty"], dtype=float))[row], target_c,
        _announced(log, happened, at_s), away, out, mode.astype(np.int64), own, window.low_c, window.high_c,
        window.ceiling_c, float(values["room_c"] if room_c is None else room_c), float(values["heater_w"]),
        window.tempered,
    )  # fmt: skip


def _t_s(log: HoldLog, count: int) -> Floats:
    return float(log["t_s"][0]) + np.arange(count, dtype=float)


def _each_second(at_s: Floats, t_s: Floats, read_c: Floats) -> Floats:
    """Readings in between as a straight line, where no more than `MOST_MISSING_S` lies between two."""
    known = np.isfinite(read_c)
    if not known.any():
        return np.full(len(at_s), np.nan)
    known_s = t_s[known]
    after = np.clip(np.searchsorted(known_s, at_s), 1, len(known_s) - 1) if len(known_s) > 1 else np.zeros(1, dtype=int)
    out = np.interp(at_s, known_s, read_c[known])
    out[known_s[after] - known_s[np.maximum(after - 1, 0)] > MOST_MISSING_S] = np.nan
    return out


def _filled(values: Floats, otherwise: float) -> Floats:
    return np.where(np.isfinite(values), values, otherwise)


def _away(log: HoldLog, at_s: Floats) -> Floats:
    """1 while the board knew that the bowl was off the warmer."""
    out = np.zeros(len(at_s))
    for event in log.events:
        if event.get("event") in ("bowl_off", "bowl_on"):
            out[at_s >= float(event["t_s"])] = float(event["event"] == "bowl_off")
    return out


def _announced(log: HoldLog, happened: Sequence[Happening], at_s: Floats) -> Floats:
    """Where the board led for a refill that somebody had announced: from the press until it came, or was late."""
    out = np.zeros(len(at_s))
    for event in log.events:
        if event.get("event") == "announced":
            begin_s = float(event["t_s"])
            end_s = begin_s + LEAD_S + LATE_S
            came = next((each for each in happened if each.kind in (COLD_REFILL, WARM_REFILL)
                         and begin_s <= each.at_s <= end_s), None)  # fmt: skip
            leads = EASES if came is not None and came.kind == WARM_REFILL else LEADS
            out[(at_s >= begin_s) & (at_s < (end_s if came is None else came.at_s))] = leads
        elif event.get("event") in ("no_refill", "refill"):
            out[at_s >= float(event["t_s"])] = 0.0
    return out


def _refuse_blind(water_c: Floats, bowl_c: Floats, mode: NDArray[Any]) -> None:
    free = mode == FREE
    if np.count_nonzero(free) < LEAST_FREE_S:
        raise FileError("the hold is too short to be played again", got=f"{np.count_nonzero(free) / 60:.0f} min",
                        wanted=f"{LEAST_FREE_S / 60:.0f} min or more at its target")  # fmt: skip
    if not np.isfinite(bowl_c[free]).any():
        raise FileError("no probe was in the chocolate, so the record does not show what became of it",
                        hint="choose a hold with a chocolate probe")
    missing = np.count_nonzero(~(np.isfinite(water_c) & np.isfinite(bowl_c)) & free)
    if missing > MOST_MISSING_S:
        raise FileError("too many readings are missing for the control to be played again",
                        got=f"{missing / 60:.0f} min without them",
                        wanted=f"{MOST_MISSING_S / 60:.0f} min at most")  # fmt: skip


def law_of(values: Mapping[str, Any]) -> Cascade:
    return Cascade(safe_gains(values), float(values["bowl_offset_c"]))


def _identified(log: HoldLog, happened: Sequence[Happening], values: Mapping[str, Any]) -> Findings:
    from bainwright.tuning.identify import fitted_warmer  # brings SciPy

    record = record_of(log, values)
    pieces = [part for each in record.pieces for part in _undisturbed(each, happened)]
    if not pieces:
        raise FileError("so much happened in the hold that the record does not show the warmer alone",
                        hint="choose a quieter hold")
    findings = fitted_warmer(Record(pieces, record.room_c, record.notes), values)
    if NEEDED in findings.unidentified:
        raise FileError("the record shows too little of the warmer to say what other heat would have done",
                        hint="a hold that begins with its warm-up shows more")  # fmt: skip
    return findings


def _undisturbed(piece: Piece, happened: Sequence[Happening]) -> list[Piece]:
    """The parts of a piece in which nothing happened, none longer than `LONGEST_PIECE_S`."""
    at_s = piece.start_s + np.arange(len(piece))
    calm = np.ones(len(piece), dtype=bool)
    for each in happened:
        end_s = each.at_s if each.lasted_s == ENDLESS else each.at_s + each.lasted_s
        calm &= (at_s < each.at_s - BEFORE_S) | (at_s > end_s + AFTER_S)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], calm.astype(np.int8), [0]])))
    parts = []
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        count = -(-(end - begin) // LONGEST_PIECE_S)
        bounds = np.linspace(begin, end, count + 1).astype(int)
        parts += [slice(low, high) for low, high in pairwise(bounds) if high - low >= LEAST_PIECE_S]
    return [Piece(float(at_s[part.start]), piece.power_w[part], piece.water_c[part], piece.bowl_c[part])
            for part in parts]


def _drawn(findings: Findings, seed: int) -> list[Model]:
    """Warmers that fit the record, each with a bowl and a film as an evening may have made them."""
    rng = np.random.default_rng(seed)
    picked = findings.samples[rng.integers(0, len(findings.samples), WARMERS)].copy()
    for name in ("bowl_j_per_k", "coupling_w_per_k"):
        picked[:, NAMES.index(name)] *= np.exp(STORES_SD * rng.standard_normal(WARMERS))
    return [findings.model.with_vector(each) for each in picked]


def _refuse_unlike(evening: Evening, as_it_was: Outcome) -> None:
    """Refuse where the evening played as it was is not the recorded one: then something else decided the heat."""
    free = evening.mode == FREE
    missed_c = np.sqrt(np.nanmean(np.median(as_it_was.shift_c, axis=0)[free[::STEP_S]] ** 2))
    error_c = np.sqrt(np.nanmean((evening.bowl_c - evening.target_c)[free] ** 2))
    if not missed_c < max(OFF_C, OFF_SHARE * error_c):
        raise FileError("played again as it was, the hold does not match the record: something besides the gains "
                        "decided the heat", got=f"{missed_c:.2f} °C between the two",
                        wanted=f"less than {max(OFF_C, OFF_SHARE * error_c):.2f} °C")  # fmt: skip
