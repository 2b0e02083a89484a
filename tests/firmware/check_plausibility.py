"""Signs that readings give: each alone, on plain numbers. Oracle: the project's safety rules."""

from fake_bath import POT, values_of

from bainboard.heat_balance import Losses, Response, largest_load_j_per_k
from bainboard.plausibility import BowlHeat, BowlProbeOut, Failing, Fall, Surge, WaterProbeOut


def test_a_fall_at_the_allowed_rate_is_none_and_twice_that_is_met_when_it_is_a_kelvin_deep():
    fall, fast = Fall(2.0, 1.0), Fall(2.0, 1.0)
    for n in range(600):
        assert not fall.step(1.0, 40.0 - n / 30.0)
    met = [n for n in range(60) if fast.step(1.0, 40.0 - n / 15.0)]
    assert 28 <= met[0] <= 31  # 4 K/min less 2 K/min for half a minute


def out_of_the_water(heat_w, rise_k_per_s=0.0):
    """(seconds to the doubt, seconds from there to its end, its end) of a probe that cools to the room in 20 s."""
    probe, c, n = WaterProbeOut(values_of(POT)), 33.0, 0
    for _ in range(600):
        probe.step(1.0, c, 0.0, 0.0)
    while probe.state == probe.IN:
        n += 1
        c += (20.0 - c) / 20.0
        probe.step(1.0, c, 0.0, heat_w)
    doubted_s = n
    while probe.state == probe.DOUBT and n < 5000:
        n += 1
        c += (20.0 - c) / 20.0 + rise_k_per_s
        probe.step(1.0, c, 0.0, heat_w)
    return doubted_s, n - doubted_s, probe.state


def test_a_water_probe_in_the_air_is_doubted_in_seconds_and_given_up_when_its_heat_is_spent():
    """Doubt: 20 s x ln(13 / 12) is 2 s. Budget: 3 K x 4180 J/K at 150 W are 84 s."""
    doubted_s, spent_s, state = out_of_the_water(150.0)
    assert doubted_s <= 4
    assert 83 <= spent_s <= 85
    assert state == WaterProbeOut.OUT


def told_after(litres_of_ten, heat_w):
    """Seconds until it is told that the probe reads so many tenths of 15 °C water in 33 °C, with its lag of 20 s."""
    probe, c, end_c = WaterProbeOut(values_of(POT)), 33.0, 33.0 - 1.8 * litres_of_ten
    for n in range(300):
        probe.step(1.0, c, 0.0, heat_w)
        if probe.told:
            return n
        c += (end_c - c) / 20.0
    return None


def test_a_cold_top_up_is_not_told_and_air_is_at_once_and_a_shallow_fall_when_heat_does_not_lift_it():
    """Told at 1 + 0.3 x 18 = 6.4 K below: of a fall of 13 K in 20 s x ln(13 / 6.6) = 14 s. Half the budget: 42 s."""
    assert told_after(2, 0.0) is None
    assert 12 <= told_after(13 / 1.8, 0.0) <= 17
    assert 42 <= told_after(2, 150.0) <= 60


def test_without_heat_the_doubt_stays_a_doubt():
    assert out_of_the_water(0.0)[2] == WaterProbeOut.DOUBT


def test_water_that_warms_by_a_third_of_a_kelvin_ends_the_doubt():
    probe = WaterProbeOut(values_of(POT))
    for c in (33.0, 32.0, 31.0, 30.0, 29.5, 29.5, 29.6, 29.7):
        probe.step(1.0, c, 40.0, 150.0)
    assert probe.state == probe.DOUBT
    probe.step(1.0, 29.82, 40.0, 150.0)
    assert probe.state == probe.IN


def test_a_bowl_probe_in_the_air_is_out_until_it_reads_as_before_or_a_person_acts():
    for back_c, acted in ((30.0, False), (21.0, True)):
        probe = BowlProbeOut(values_of(POT))
        for c in (31.5, 30.0, 28.6):
            probe.step(1.0, c, 33.0, False)
            assert not probe.out
        probe.step(1.0, 27.0, 33.0, False)
        assert probe.out
        probe.step(1.0, 24.0, 33.0, False)
        probe.step(1.0, back_c, 33.0, acted)
        assert not probe.out


def test_a_refill_of_a_fifth_and_a_warm_bowl_in_cold_water_are_no_probe_in_the_air():
    probe = BowlProbeOut(values_of(POT))
    for c in (31.5, 30.0, 29.0, 28.5, 28.5):
        probe.step(1.0, c, 33.0, False)
    assert not probe.out
    probe, c = BowlProbeOut(values_of(POT)), 45.0
    for _ in range(3000):
        c += (25.0 - c) / 80.0  # nearly empty
        probe.step(1.0, c, 25.0, False)
        assert not probe.out


def fails(fall_k_per_s, power_w, lost_w=0.0, taken_w=0.0):
    """Seconds until the heat is said to fail, or None in an hour."""
    sign = Failing(values_of(POT))
    for n in range(3600):
        sign.step(n * 1000, 1.0, 33.0 - fall_k_per_s * n, lost_w, taken_w, power_w)
        if sign.failing:
            return n
    return None


def test_a_bath_that_falls_under_full_heat_fails_after_heat_for_twice_a_kelvin():
    load = largest_load_j_per_k(values_of(POT))
    wanted_s = 2 * load / (150.0 - 40.0 - 13.0)
    assert wanted_s <= fails(0.003, 150.0, 40.0, 13.0) <= wanted_s + 3


def test_losses_and_a_cold_bowl_explain_a_fall_and_a_steady_bath_is_none():
    assert fails(0.003, 150.0, 100.0, 50.0) is None
    assert fails(0.0, 150.0) is None
    assert fails(-0.003, 150.0) is None
    assert fails(0.08, 150.0) is None  # cold water poured in


def test_a_rise_beyond_half_again_of_all_that_heat_can_do_surges():
    values = values_of(POT)
    for times, surges in ((1.4, False), (4.0, True)):
        sign = Surge(values)
        for n in range(200):
            sign.step(25.0 + times * 150.0 / 4180.0 * n, 24.0, False, 150.0)
        assert sign.surging == surges, times


def test_a_warmer_bowl_or_a_switch_at_rest_explains_any_rise():
    for bowl_c, at_rest in ((60.0, False), (None, True)):
        sign = Surge(values_of(POT))
        for n in range(100):
            sign.step(25.0 + 0.2 * n, bowl_c, at_rest, 0.0)
        assert not sign.surging


def test_what_the_bowl_takes_is_as_tuned_or_by_its_size_and_nothing_when_it_is_not_read():
    """2.2 kg wet 0.0575 m2 of a half-round bowl at 1200 kg/m3 (worked by hand); 60 W/m2K make 3.4 W/K of it."""
    assert abs(BowlHeat(values_of(POT)).watts(33.0, 32.0) - 3.45) < 0.1
    assert BowlHeat(values_of(POT, **{"gains.bowl_w_per_k": 9.0})).watts(33.0, 31.0) == 18.0
    assert BowlHeat(values_of(POT)).watts(33.0, None) == 0.0


def still(power_w, changes_at, change_w, taken_w=0.0):
    """Seconds from a change of heat until a reading that stays to the digit is listened to, or None in an hour."""
    values = values_of(POT)
    response = Response(values, Losses(values))
    for n in range(3600):
        arrived_j = power_w + (change_w if n >= changes_at else 0.0)
        response.step(n * 1000, 1.0, 33.0, 1000.0, taken_w if n >= changes_at else 0.0, arrived_j, 13.0)
        if response.listening:
            return n - changes_at
    return None


def test_a_reading_that_stays_to_the_digit_while_the_heat_changes_is_listened_to():
    """1 K of the largest load, 12574 J/K (worked by hand), at 60 W of change: 210 s."""
    assert 209 <= still(30.0, 100, 60.0) <= 211
    assert 209 <= still(80.0, 100, -60.0) <= 211


def test_a_reading_that_stays_under_constant_heat_or_heat_that_the_bowl_takes_is_not():
    assert still(30.0, 100, 0.0) is None
    assert still(30.0, 100, 40.0, 40.0) is None
