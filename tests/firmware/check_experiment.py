"""The experiment: a square wave inside its limits. Oracle: a lumped bath, on the campaign's relatives."""

from bainboard import settings
from bainboard.control.rules import safe_gains
from bainboard.experiment import COAST_K, HALF_K, Experiment

ROOM_C, WORKING_C, TOP_C = 20.0, 32.7, 34.3


def values(**changes):
    """A rig's settings."""
    doc = {}
    for name in changes:
        doc[name.replace("__", ".")] = changes[name]
    checked, why = settings.check(settings.SETTINGS, doc)
    assert why is None, why
    return checked


class Bath:
    """Water behind a heater's and a probe's lag, losing heat to the room."""

    def __init__(self, v, start_c):
        self.v, self.heat_w, self.water_c, self.read_c = v, 0.0, start_c, start_c

    def step(self, duty):
        self.heat_w += (duty * self.v["heater_w"] - self.heat_w) / (self.v["heater_lag_s"] + 1.0)
        lost_w = 1.0 * (self.water_c - ROOM_C)
        self.water_c += (self.heat_w - lost_w) / (self.v["water_l"] * 4180.0)
        self.read_c += (self.water_c - self.read_c) / 11.0


def run(v, seconds, start_c=20.0):
    """(peak, readings at which the heat went off or on, duties) of the wave."""
    bath, x = Bath(v, start_c), Experiment(safe_gains(v), v["heater_lag_s"], WORKING_C, TOP_C, ROOM_C)
    peak_c, turns, duties, last = -99.0, [], [], 0.0
    for _ in range(seconds):
        duty = x.step(bath.read_c)
        if (duty > 0.0) != (last > 0.0):
            turns.append(bath.read_c)
        last = duty
        duties.append(duty)
        bath.step(duty)
        peak_c = max(peak_c, bath.water_c)
    return x, peak_c, turns, duties


def test_the_water_goes_up_at_full_heat_and_then_waves_about_the_working_point():
    x, peak_c, turns, duties = run(values(), 5400)
    assert duties[0] == 1.0
    assert x.mid_c <= WORKING_C + 1e-5
    assert len(turns) >= 6
    for reading_c in turns[1:]:
        assert abs(abs(reading_c - x.mid_c) - HALF_K) <= 0.1
    assert peak_c < TOP_C + 0.2


def test_no_relative_goes_over_the_top_by_more_than_a_fifth():
    for heater_w in (60.0, 150.0, 400.0, 1000.0):
        for litres in (0.8, 2.0, 6.0):
            for lag_s in (5.0, 30.0, 120.0):
                v = values(heater_w=heater_w, water_l=litres, heater_lag_s=lag_s, chocolate_kg=0.9 * litres)
                _, peak_c, _, _ = run(v, 7200)
                assert peak_c < TOP_C + 0.2, (heater_w, litres, lag_s, peak_c)


def test_a_strong_slow_heater_waves_with_a_part_of_its_power():
    v = values(heater_w=400.0, water_l=1.4, heater_lag_s=90.0)
    x, _, _, duties = run(v, 5400)
    assert 0.05 < x.share < 0.6
    assert x.share * x._coast_k >= COAST_K - 1e-6
    assert set(duties) == {0.0, x.share, 1.0}


def test_a_bath_that_starts_warm_only_waves():
    _, _, _, duties = run(values(), 1800, start_c=33.5)
    assert duties[0] == 0.0
    assert max(duties) > 0.0


def test_what_is_no_reading_gives_no_heat_and_changes_nothing():
    x = Experiment(safe_gains(values()), 30.0, WORKING_C, TOP_C, ROOM_C)
    assert x.step(25.0) == 1.0
    for odd in (float("nan"), float("inf"), -1e9, 200.0):
        assert x.step(odd) == 0.0
    assert x.step(25.0) == 1.0
