"""The heat balance of a recorded hold: what the readings did beyond what heater, bowl and room explain.

Two stores, as in `bainwright.tuning.model`. Their figures are fitted to the record itself, with the guess from litres,
kilograms and watts as one soft observation each, so that a quiet night stays near it. What remains is summed up over
time and given in °C: a straight line while nothing happens, a step where heat came or went at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.happenings import robust
from bainwright.record.reader import HoldLog
from bainwright.tuning.model import Model, guess

Floats = NDArray[np.float64]

ENDLESS = float("inf")
HELD = ("work", "melted", "")  # steps of the evening that only hold; a log from before there were steps names none
NEAR_TARGET_K, SETTLED_S = 1.0, 600.0  # chosen
ASTRAY_K = 4.0  # chosen: so far from its target chocolate takes up heat by melting, or gives some off by setting
ENDING_S = 60.0  # chosen: and up to a minute before it holds no longer
STEP_S = 10.0  # pace of the balance: a board's own log has a row each ten seconds
SPAN_S = 300.0  # changes over this long are compared in the fit; chosen, many times the probes' lags
LAG_S = 30.0  # of probe and wall together, chosen: as tuning.model has it
SPREAD = (0.1, 0.5, 0.6, 0.5, 0.5)  # of the logarithm of each guess, chosen: as in tuning.model, the water's store less
NOISE_K = 0.03  # of a reading's mean over a step; chosen: a sixteenth of a degree has a spread of 0.018
FIRST_K = 0.1  # spread that the first round assumes; chosen
ROUNDS = 8  # of the fit, each with less weight on what the last one missed
LEAST_SHARE = 0.05  # of a guess that a figure keeps, chosen: a store or a loss of nothing is a damaged record


@dataclass(frozen=True)
class Paced:
    """A log as means over each `STEP_S`.

    Attributes
    ----------
    t_s, water_c, bowl_c, power_w : ndarray, shape (n,)
        Times and means; power is 0 and readings are NaN where no row is.
    settled : ndarray of bool, shape (n,)
        Where the warmer held, with its bowl near its target for ten minutes.
    room_c : float
        The stated room.
    """

    t_s: Floats
    water_c: Floats
    bowl_c: Floats
    power_w: Floats
    settled: NDArray[np.bool_]
    room_c: float


@dataclass(frozen=True)
class Balance:
    """The balance, at a row each `STEP_S`.

    Attributes
    ----------
    t_s, water_c, bowl_c : ndarray, shape (n,)
        Times and mean readings; NaN where there is no row, or the hold was not settled.
    water_k, bowl_k : ndarray, shape (n,)
        What is not explained, summed up from the start, °C.
    heat_k, flow_k, bowl_flow_k : ndarray, shape (n,)
        What the heater gave the water, what the bowl took from it and what that gave the bowl, summed up, °C.
    figures : ndarray, shape (5,)
        Water's rise per joule (K/J); coupling and loss of the bath, by its store (1/s); the same of the bowl.
    model : Model
        The guess from litres, kilograms and watts.
    """

    t_s: Floats
    water_c: Floats
    bowl_c: Floats
    water_k: Floats
    bowl_k: Floats
    heat_k: Floats
    flow_k: Floats
    bowl_flow_k: Floats
    figures: Floats
    model: Model


def balance_of(
    log: HoldLog, settings: Mapping[str, Any], known: Sequence[tuple[float, float]] = (),
    without: Sequence[tuple[float, float]] = (),
) -> Balance:
    """The balance of a hold's log.

    Parameters
    ----------
    log : HoldLog
        The log.
    settings : mapping
        The rig's litres, kilograms and watts.
    known : sequence of (float, float)
        Begin and length, s, of what is known to have happened; its size is fitted too.
    without : sequence of (float, float)
        Begin and end, s, of what is left out.
    """
    model = guess(settings)
    rows = paced(log, settings)
    t_s, water_c, bowl_c, room_c = rows.t_s, rows.water_c, rows.bowl_c, rows.room_c
    heat_w = lagged(lagged(rows.power_w, model.heater_lag_s), model.water_lag_s)
    drop_c = _filled(water_c - bowl_c)
    parts_water = np.stack([heat_w, -drop_c, -_filled(water_c - room_c)])
    parts_bowl = np.stack([drop_c, -_filled(bowl_c - room_c)])
    sums_water, sums_bowl = (np.cumsum(parts, axis=1) * STEP_S for parts in (parts_water, parts_bowl))
    likely = np.array([
        1.0 / model.water_j_per_k, model.coupling_w_per_k / model.water_j_per_k,
        model.bath_loss_w_per_k / model.water_j_per_k, model.coupling_w_per_k / model.bowl_j_per_k,
        model.bowl_loss_w_per_k / model.bowl_j_per_k,
    ])
    courses = np.array([course(t_s, at_s, length_s) for at_s, length_s in known]).reshape(len(known), len(t_s))
    settled = rows.settled.copy()
    for from_s, to_s in without:
        settled &= (t_s < from_s - STEP_S) | (t_s > to_s + SETTLED_S)
    water_c, bowl_c = np.where(settled, water_c, np.nan), np.where(settled, bowl_c, np.nan)
    figures = np.concatenate([
        _fitted(water_c, sums_water, courses, likely[:3], np.array(SPREAD[:3])),
        _fitted(bowl_c, sums_bowl, courses, likely[3:], np.array(SPREAD[3:])),
    ])
    return Balance(
        t_s, water_c, bowl_c, water_c - figures[:3] @ sums_water, bowl_c - figures[3:] @ sums_bowl,
        figures[0] * sums_water[0], figures[1] * sums_water[1], figures[3] * sums_bowl[0], figures, model,
    )


def paced(log: HoldLog, settings: Mapping[str, Any]) -> Paced:
    """Means over each `STEP_S`, with the heat of the rig's heater.

    Parameters
    ----------
    log : HoldLog
        The log.
    settings : mapping
        The rig's watts, and its room where the hold has none.
    """
    t_s = np.asarray(log["t_s"], dtype=float)
    count = int(np.ceil((t_s[-1] - t_s[0] + 1.0) / STEP_S))
    at = np.minimum(((t_s - t_s[0]) / STEP_S).astype(int), count - 1)
    bowl_c = np.where(np.nan_to_num(log["bowl_estimated"]) > 0, np.nan, log["bowl_c"])

    def mean(values: Floats) -> Floats:
        known = np.isfinite(values)
        total = np.bincount(at[known], values[known], count)
        number = np.bincount(at[known], minlength=count)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(total / number)

    power_w = mean(float(settings["heater_w"]) * np.nan_to_num(np.asarray(log["duty"], dtype=float)))
    room_c = log.facts.get("room_c")
    every_s = t_s[0] + STEP_S * np.arange(count)
    return Paced(
        every_s, mean(np.asarray(log["water_c"], dtype=float)), mean(bowl_c), np.nan_to_num(power_w),
        _settled(log, every_s), float(settings["room_c"] if room_c is None else room_c),
    )


def _settled(log: HoldLog, t_s: Floats) -> NDArray[np.bool_]:
    """Where the warmer held: in work or with melted stock, from ten minutes after the bowl came near its target.

    Melting, seeding and warming up have heat of their own, which this balance does not know; neither does it know that
    of a bowl so far from its target that it sets, or melts again.
    """
    log_t_s = np.asarray(log["t_s"], dtype=float)
    holding = (log["state"] == "hold") & np.isin(log["stage"], HELD)
    with np.errstate(invalid="ignore"):
        off_k = np.abs(log["bowl_c"] - log["target_c"])
        far, astray = off_k > NEAR_TARGET_K, off_k > ASTRAY_K
    out = np.zeros(len(log_t_s), dtype=bool)
    stages = np.unique(log["stage"], return_inverse=True)[1] + 1
    edges = np.flatnonzero(np.diff(np.where(holding, stages, 0), prepend=0, append=0))
    for begin, end in pairwise(edges.tolist()):
        if not holding[begin]:
            continue
        out[begin:end] = _near_for(log_t_s[begin:end], far[begin:end], astray[begin:end])
        if end < len(log_t_s):  # what ended it was on its way already, such as too warm a refill
            out[begin:end] &= log_t_s[begin:end] <= log_t_s[end] - ENDING_S
    rows = np.clip(np.searchsorted(log_t_s, t_s, side="right") - 1, 0, len(log_t_s) - 1)
    return np.asarray(out[rows])


def _near_for(t_s: Floats, far: NDArray[np.bool_], astray: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where the bowl came near its target `SETTLED_S` ago or longer, and was not astray since.

    It need not have stayed near: a warmer too weak for its target holds the bowl below it all evening. One that never
    came near has settled where it is, unless that is astray.
    """
    out, near_s = np.zeros(len(t_s), dtype=bool), np.inf
    far = astray if far.all() else far
    code = far.astype(np.int8) + astray
    starts = [0, *(np.flatnonzero(np.diff(code)) + 1).tolist()]
    for begin, end in pairwise([*starts, len(code)]):
        if astray[begin]:
            near_s = np.inf
        elif not far[begin]:
            near_s = min(near_s, float(t_s[begin]))
        out[begin:end] = t_s[begin:end] >= near_s + SETTLED_S
    return out


def lagged(values: Floats, lag_s: float) -> Floats:
    """Values behind a lag of the first order, at a step of `STEP_S`, begun in balance.

    Not by SciPy's filter: loading that takes longer than all of a review.
    """
    share = 1.0 - float(np.exp(-STEP_S / max(lag_s, 0.1)))
    behind = accumulate(values.tolist(), lambda last, value: last + share * (value - last))
    return np.fromiter(behind, dtype=float, count=len(values))


def _filled(values: Floats) -> Floats:
    """Missing values drawn as a straight line from the last to the next; a column without any is 0."""
    known = np.isfinite(values)
    if not known.any():
        return np.zeros(len(values))
    return np.interp(np.arange(len(values)), np.flatnonzero(known), values[known])


def course(t_s: Floats, at_s: float | Floats, length_s: float | Floats) -> Floats:
    """The course of a happening of size 1, as a probe with its lag shows it.

    A step of 1 °C (length 0), a ramp that ends at 1 °C, or one of 1 °C an hour without an end (`ENDLESS`). Columns of
    begins and of lengths over 0 give a row for each.
    """
    at_once = np.ndim(length_s) == 0 and length_s == 0.0

    def past(since_s: Floats) -> Floats:
        since_s = np.maximum(since_s, 0.0)
        gone = 1.0 - np.exp(-since_s / LAG_S)
        return np.asarray(gone if at_once else since_s - LAG_S * gone)

    whole = past(t_s - at_s)
    if at_once:
        return whole
    endless = np.ndim(length_s) == 0 and length_s == ENDLESS
    return whole / 3600.0 if endless else (whole - past(t_s - at_s - length_s)) / length_s


def _fitted(read_c: Floats, sums: Floats, courses: Floats, likely: Floats, spread: Floats) -> Floats:
    """The factors of `sums` that explain the changes of a reading over `SPAN_S`, robustly, about the guess."""
    span, wanted = round(SPAN_S / STEP_S), len(likely)
    moved = read_c[span:] - read_c[:-span]
    known = np.isfinite(moved)
    if np.count_nonzero(known) < 2 * span:
        return likely
    parts = np.concatenate([sums * likely[:, None], courses])
    moved, drawn = moved[known], (parts[:, span:] - parts[:, :-span])[:, known]
    prior = np.diag(np.concatenate([1.0 / spread**2, np.full(len(courses), 1e-2)]))  # a happening may be 10 °C
    aim = prior[:, :wanted].sum(axis=1)
    x = robust.fitted(moved, drawn, prior, aim, noise=NOISE_K, shared=span, rounds=ROUNDS, first=FIRST_K).factors
    return np.asarray(np.maximum(x[:wanted], LEAST_SHARE) * likely)
