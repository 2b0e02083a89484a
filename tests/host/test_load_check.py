"""Telling another pot from the one that gains were learnt on, by its water's heat balance.

Oracle: warmers simulated by `scipy.signal`, exactly, a second at a time (`heated`), whose stores are known.
"""

from __future__ import annotations

import pytest
from heated import heated, settings_of

from bainwright.tuning.load_check import LoadCheck

POT = settings_of(heater_w=150.0, water_l=2.0, chocolate_kg=2.2, bowl_kg=0.6, heater_lag_s=30.0)
TRUTH = {
    "water_j_per_k": 9300.0, "bowl_j_per_k": 3900.0, "coupling_w_per_k": 4.2, "bath_loss_w_per_k": 0.9,
    "bowl_loss_w_per_k": 0.6, "heater_lag_s": 28.0, "water_lag_s": 8.0, "bowl_lag_s": 28.0, "dead_s": 2.5,
}
LEARNT = {**POT, "gains.water_j_per_k": 9300.0, "gains.bowl_w_per_k": 4.2, "gains.loss_w_per_k": 1.5}


def judged(truth, values=None, start_c=20.0, **changes):
    """Every message about a warm-up."""
    made = heated(POT, truth, 1800, start_c=start_c)
    pot = LoadCheck(LEARNT if values is None else values, 20.0)
    told = []
    for at, t_s in enumerate(made.time_s):
        row = {"water_c": made.water_c[at], "bowl_c": made.bowl_c[at]} | {k: f(t_s) for k, f in changes.items()}
        told.append(pot.step(float(t_s), float(made.power_w[at]) / 150.0, row["water_c"], row["bowl_c"]))
    return [each for each in told if each is not None]


@pytest.mark.parametrize("times", [0.75, 1.0, 1.33])
def test_the_same_pot_gets_no_note(times: float):
    assert judged({**TRUTH, "water_j_per_k": times * 9300.0}) == []


@pytest.mark.parametrize("times", [0.4, 2.0, 3.0])
def test_another_pot_is_reported_once_and_by_how_much(times: float):
    (share,) = judged({**TRUTH, "water_j_per_k": times * 9300.0})
    assert share == pytest.approx(times, rel=0.12)


def test_a_warm_up_without_a_bowl_s_reading_says_nothing():
    assert judged({**TRUTH, "water_j_per_k": 18600.0}, bowl_c=lambda t_s: None) == []


def test_gains_without_a_model_are_of_no_pot():
    assert judged({**TRUTH, "water_j_per_k": 18600.0}, {**LEARNT, "gains.water_j_per_k": 0.0}) == []


def test_hot_water_poured_in_is_no_warm_up():
    """Four kelvins from a kettle in one second would be a pot that takes no heat at all."""
    pot = LoadCheck(LEARNT, 20.0)
    told = [pot.step(float(t_s), 0.1, 24.0 if t_s < 60 else 29.0, 22.0) for t_s in range(1, 600)]
    assert set(told) == {None}
