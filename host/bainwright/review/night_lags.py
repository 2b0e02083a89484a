"""How late a night's heat reached its bath, and how well the bath gave heat to a bowl that warmed up; with intervals.

A quiet night shows neither: the lag shows where the heat changes fast, the coupling where the bowl is far from its
bath. So both are NaN for a night that began warm. The lag is that of heater, wall and a bath that mixes, together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bainwright.happenings import robust
from bainwright.happenings.balance import NOISE_K, STEP_S, Paced, lagged
from bainwright.tuning.model import Model

Floats = NDArray[np.float64]

SPAN_S = 60.0  # changes over this long are compared: longer ones hide a lag, shorter ones are noise; chosen
PRIOR = (0.3, 0.7, 0.7, 0.7)  # spread of the logarithms of rise, coupling (settled, warming) and loss; chosen, wide
LAG_TIMES = 2.0  # spread of the lag about the one that was tried, as a multiple of it; chosen, so wide that it is none
BEGINS_S = (15.0, 60.0, 180.0)  # lags to begin with: from one alone the fit may not come to another; chosen
LEAST_LAG_S, MOST_TIMES = 1.0, 6.0  # what a step of the fit may make of a lag; chosen
TRIES, ROUNDS = 4, 5  # of the lag; and of each fit, with less weight on what the last one missed
SURE = 0.35  # a spread of more than this share says nothing, so the figure is not shown; chosen


@dataclass(frozen=True)
class Lags:
    """Lag of the heat, s, and coupling of bath and bowl, W/K, with their standard deviations; NaN: not identified."""

    lag_s: float
    lag_sd_s: float
    coupling_w_per_k: float
    coupling_sd_w_per_k: float


UNKNOWN = Lags(np.nan, np.nan, np.nan, np.nan)


def lags_of(rows: Paced, calm: NDArray[np.bool_], model: Model) -> Lags:
    """The two of a night.

    Parameters
    ----------
    rows : Paced
        Its readings and its heat.
    calm : ndarray of bool, shape (n,)
        Where nothing happened that the balance does not know.
    model : Model
        The guess from litres, kilograms and watts; the lag does not trust it.
    """
    span = round(SPAN_S / STEP_S)
    if len(calm) <= span:
        return UNKNOWN
    calm = calm & np.isfinite(rows.water_c)
    whole = np.cumsum(calm)
    known = (whole[span:] - whole[:-span] == span) & calm[:-span]
    moved = (rows.water_c[span:] - rows.water_c[:-span])[known]
    lead_k = np.nan_to_num(rows.water_c - rows.bowl_c)
    flows = np.stack([-np.where(rows.settled, lead_k, 0.0), -np.where(rows.settled, 0.0, lead_k),
                      -np.nan_to_num(rows.water_c - rows.room_c)])  # fmt: skip
    likely = np.array([1.0, model.coupling_w_per_k, model.coupling_w_per_k, model.bath_loss_w_per_k]) / (
        model.water_j_per_k)
    ends = np.cumsum(flows, axis=1) * STEP_S

    def tried(lag_s: float) -> tuple[float, Lags]:
        """The fit's error and figures, from a lag to begin with."""
        for _ in range(TRIES):
            heat_w = _middle(lagged(_middle(lagged(rows.power_w, lag_s)), model.water_lag_s))
            sums = _middle(np.concatenate([np.cumsum(heat_w)[None] * STEP_S, ends]))
            drawn = (sums[:, span:] - sums[:, :-span])[:, known] * likely[:, None]
            # What a second more of the lag would change: the derivative of a lag is a lag twice, turned round.
            twice_w = _middle(lagged(heat_w, lag_s))
            later = -(twice_w[span:] - twice_w[:-span])[known] / model.water_j_per_k
            spreads = np.array([*PRIOR, LAG_TIMES * lag_s])
            x, covariance, error = _fitted(moved, np.concatenate([drawn, later[None]]), spreads, span)
            if not x[0] > 0.0:
                return np.inf, UNKNOWN
            lag_s = float(np.clip(lag_s + x[4] / x[0], LEAST_LAG_S, MOST_TIMES * lag_s))
        spread = np.sqrt(np.diag(covariance)) / x[0]
        spread[4] = np.hypot(spread[4], STEP_S / 2.0)  # means over a step do not place heat better
        coupling = np.array([x[2] / x[0], spread[2]]) * model.coupling_w_per_k
        return error, Lags(*_sure(lag_s, float(spread[4])), *_sure(*coupling.tolist()))

    return min(map(tried, BEGINS_S), key=lambda each: each[0])[1]


def _middle(ends: Floats) -> Floats:
    """Values at the middle of each step, where its mean is, from those at its end."""
    before = np.concatenate([ends[..., :1], ends[..., :-1]], axis=-1)
    return np.asarray((before + ends) / 2.0)


def _sure(value: float, spread: float) -> tuple[float, float]:
    return (value, spread) if spread < SURE * value else (np.nan, np.nan)


def _fitted(moved: Floats, drawn: Floats, spreads: Floats, span: int) -> tuple[Floats, Floats, float]:
    """The factors that explain the changes, robustly, about 1 (the lag's about 0), their covariance, and the error."""
    prior = np.diag(1.0 / spreads**2)
    aim = np.append(np.diag(prior)[:-1], 0.0)
    x, normal, missed = robust.fitted(moved, drawn, prior, aim, noise=NOISE_K, shared=span, rounds=ROUNDS)
    error = float(np.log1p((missed / (2.0 * NOISE_K)) ** 2).sum())
    return x, np.asarray(np.linalg.inv(normal), dtype=float), error
