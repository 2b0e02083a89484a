"""A night's own figures, found again from its record, each with its spread: to compare one night with the next.

Three figures say most about a warmer. The heat it needs per degree over the room tells of losses, the rise of its bath
per joule tells of heater and water, and the bath's lead over the bowl tells of probes and contact. All three trust the
heater's stated watts and the stated room, so that a wrong one shows as drift when it changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.core.units import ROOM_HIGH_C, ROOM_LOW_C
from bainwright.happenings import robust
from bainwright.happenings.balance import ENDLESS, NOISE_K, SPAN_S, STEP_S, Paced, lagged, paced
from bainwright.happenings.kinds import Happening
from bainwright.record.reader import HoldLog
from bainwright.review.night_lags import UNKNOWN, Lags, lags_of
from bainwright.tuning.model import Model, guess

Floats = NDArray[np.float64]

LEAST_QUIET_S = 3600.0  # chosen: a shorter hold has not settled well enough to speak for a night
BLOCK_S = 1800.0  # means over this long are taken as independent; chosen, longer than the loop's own waves
BEFORE_S, AFTER_S = 300.0, 1800.0  # left out about what happened; chosen, the time a refill is felt
PLAUSIBLE = 10.0  # chosen: a need further from the guess by litres and watts is a damaged record, not a warmer
LEAST_OVER_ROOM_K = 3.0  # chosen: nearer to the room, a loss per degree means nothing
PRIOR = (1.0, 0.7, 0.7, 0.7)  # spread of the logarithm of each guess: wide, it only settles what no row shows (chosen)
ROUNDS = 5  # of the fit, each with less weight on what the last one missed


@dataclass(frozen=True)
class NightFigures:
    """What one night says about its warmer.

    Attributes
    ----------
    need_w_per_k, need_sd : float
        Heat that held the bath, for each degree of bath over room, and its relative spread.
    rise_k_per_j, rise_sd : float
        Rise of the bath for each joule of stated heat, and its relative spread; NaN where no row shows it.
    lead_k, lead_sd : float
        Bath minus bowl, °C; NaN without a bowl probe.
    water_c, room_c : float
        Mean of the bath, and the stated room, °C.
    quiet_s : float
        How long the hold was settled and undisturbed.
    lags : Lags
        How late its heat came, and its coupling.
    """

    need_w_per_k: float
    need_sd: float
    rise_k_per_j: float
    rise_sd: float
    lead_k: float
    lead_sd: float
    water_c: float
    room_c: float
    quiet_s: float
    lags: Lags = UNKNOWN


def night_figures(
    log: HoldLog, settings: Mapping[str, Any], happened: Sequence[Happening] = (),
    without: Sequence[tuple[float, float]] = (),
) -> NightFigures | None:
    """The figures of a hold's log.

    Parameters
    ----------
    log : HoldLog
        The log.
    settings : mapping
        The rig's litres, kilograms and watts.
    happened : sequence of Happening
        What was found in it; the time about each is left out.
    without : sequence of (float, float)
        Begin and end of more that is left out, s.

    Returns
    -------
    NightFigures or None
        None where less than an hour was quiet, the bath was hardly warmer than the room, or room or heat cannot be.
    """
    model = guess(settings)
    rows = paced(log, settings)
    heat_w = lagged(lagged(rows.power_w, model.heater_lag_s), model.water_lag_s)
    calm = _calm(rows.t_s, happened) & np.isfinite(rows.water_c)
    for from_s, to_s in without:
        calm &= (rows.t_s < from_s - BEFORE_S) | (rows.t_s > to_s + AFTER_S)
    quiet = calm & rows.settled
    over_k = rows.water_c - rows.room_c
    quiet_s = STEP_S * float(np.count_nonzero(quiet))
    if not ROOM_LOW_C <= rows.room_c <= ROOM_HIGH_C:
        return None
    if quiet_s < LEAST_QUIET_S or not np.mean(over_k[quiet]) > LEAST_OVER_ROOM_K:
        return None
    rise, rise_sd = _rise(rows, heat_w, calm, model)
    needs = _blocks(heat_w - model.water_j_per_k * _slope(rows.water_c), quiet)
    mean_over_k = float(np.mean(over_k[quiet]))
    lead_k, lead_sd = _mean(_blocks(rows.water_c - rows.bowl_c, quiet & np.isfinite(rows.bowl_c)))
    need_w, need_sd_w = _mean(needs)
    guessed_w_per_k = model.bath_loss_w_per_k + model.bowl_loss_w_per_k
    if not 1.0 / PLAUSIBLE < need_w / mean_over_k / guessed_w_per_k < PLAUSIBLE:
        return None
    return NightFigures(
        need_w / mean_over_k, need_sd_w / need_w, rise, rise_sd, lead_k, lead_sd,
        float(np.mean(rows.water_c[quiet])), rows.room_c, quiet_s, lags_of(rows, calm, model),
    )


def _calm(t_s: Floats, happened: Sequence[Happening]) -> NDArray[np.bool_]:
    calm = np.ones(len(t_s), dtype=bool)
    for each in happened:
        end_s = each.at_s if each.lasted_s == ENDLESS else each.at_s + each.lasted_s
        calm &= (t_s < each.at_s - BEFORE_S) | (t_s > end_s + AFTER_S)
    return calm


def _slope(water_c: Floats) -> Floats:
    """Change of a reading, °C/s; 0 across a missing row."""
    return np.nan_to_num(np.gradient(water_c, STEP_S)) if len(water_c) > 1 else np.zeros(len(water_c))


def _blocks(values: Floats, where: NDArray[np.bool_]) -> Floats:
    """Means of the chosen rows over blocks of `BLOCK_S`, whole ones only."""
    chosen, rows = values[where], round(BLOCK_S / STEP_S)
    whole = len(chosen) // rows
    return np.asarray(chosen[: whole * rows].reshape(whole, rows).mean(axis=1))


def _mean(blocks: Floats) -> tuple[float, float]:
    """Mean of independent blocks and its spread; NaN with fewer than two."""
    if len(blocks) < 2:
        return np.nan, np.nan
    return float(blocks.mean()), float(blocks.std(ddof=1) / np.sqrt(len(blocks)))


def _rise(rows: Paced, heat_w: Floats, calm: NDArray[np.bool_], model: Model) -> tuple[float, float]:
    """Rise of the bath per joule and its relative spread, from changes over `SPAN_S` of every calm stretch.

    Heat to a bowl that melts or warms up is fitted apart from that of a bowl that holds, as its film is another.
    """
    span = round(SPAN_S / STEP_S)
    lead_k = np.nan_to_num(rows.water_c - rows.bowl_c)
    parts = np.stack([
        heat_w, -np.where(rows.settled, lead_k, 0.0), -np.where(rows.settled, 0.0, lead_k),
        -np.nan_to_num(rows.water_c - rows.room_c),
    ])  # fmt: skip
    sums = np.cumsum(parts, axis=1) * STEP_S
    whole = np.cumsum(calm)
    if len(calm) <= span:
        return np.nan, np.nan
    known = (whole[span:] - whole[:-span] == span) & calm[:-span]
    moved, drawn = (rows.water_c[span:] - rows.water_c[:-span])[known], (sums[:, span:] - sums[:, :-span])[:, known]
    if len(moved) < 2 * span:
        return np.nan, np.nan
    store = model.water_j_per_k
    likely = np.array([1.0, model.coupling_w_per_k, model.coupling_w_per_k, model.bath_loss_w_per_k]) / store
    drawn = drawn * likely[:, None]
    prior = np.diag(1.0 / np.array(PRIOR) ** 2)
    x, normal, _ = robust.fitted(moved, drawn, prior, prior.sum(axis=1), noise=NOISE_K, shared=span, rounds=ROUNDS)
    if not x[0] > 0.0:
        return np.nan, np.nan
    return float(x[0] * likely[0]), float(np.sqrt(np.linalg.inv(normal)[0, 0]) / x[0])
