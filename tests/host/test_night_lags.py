"""A night's lag and coupling, found again in a warmer of two stores that is stepped here with known figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bainboard import settings
from bainwright.happenings.balance import Paced
from bainwright.review.night_lags import lags_of
from bainwright.tuning.model import guess

GUESS = guess({**settings.defaults(settings.SETTINGS), "heater_w": 150.0, "water_l": 2.0})
ROOM_C, COUPLING = 20.0, 3.0


def night(bath_c: float, bowl_c: float, lag_s: float = 70.0) -> Paced:
    """Three hours at full heat up to 44 °C and then on and off; means of ten steps of a second."""
    water_j_per_k, bowl_j_per_k, loss = 1.1 * GUESS.water_j_per_k, GUESS.bowl_j_per_k, GUESS.bath_loss_w_per_k
    rows, heat_w, read_c = [], 0.0, bath_c
    for _ in range(3 * 3600):
        power_w = 150.0 if read_c < 44.0 else 0.0
        heat_w += (power_w - heat_w) / lag_s
        flow_w = COUPLING * (bath_c - bowl_c)
        bath_c += (heat_w - flow_w - loss * (bath_c - ROOM_C)) / water_j_per_k
        bowl_c += flow_w / bowl_j_per_k
        read_c += (bath_c - read_c) / max(GUESS.water_lag_s, 1.0)
        rows.append((read_c, bowl_c, power_w))
    means = np.array(rows).reshape(-1, 10, 3).mean(axis=1)
    noise = 0.015 * np.random.default_rng(1).standard_normal((len(means), 2))
    water_c, bowls_c = (means[:, :2] + noise).T
    return Paced(10.0 * np.arange(len(means)), water_c, bowls_c, means[:, 2], water_c - bowls_c < 1.0, ROOM_C)


@pytest.mark.parametrize(("lag_s", "believed_s"), [(40.0, 200.0), (70.0, 10.0), (150.0, 30.0)])
def test_lag_and_coupling_of_a_cold_start_are_found_whatever_is_believed(lag_s: float, believed_s: float) -> None:
    """Oracle: the figures that the warmer was stepped with."""
    rows = night(20.0, 20.0, lag_s)
    found = lags_of(rows, np.ones(len(rows.t_s), dtype=bool), replace(GUESS, heater_lag_s=believed_s))
    assert abs(found.lag_s - lag_s) < 3.0 * found.lag_sd_s < 0.6 * lag_s
    assert abs(found.coupling_w_per_k - COUPLING) < 3.0 * found.coupling_sd_w_per_k < 0.6 * COUPLING


def test_a_night_that_began_warm_does_not_make_up_a_coupling() -> None:
    rows = night(44.0, 43.5)
    assert np.isnan(lags_of(rows, np.ones(len(rows.t_s), dtype=bool), GUESS).coupling_w_per_k)
