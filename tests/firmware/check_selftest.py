"""The self-test: a sound warmer passes, each single fault is named, and its pulses stay bounded.

Oracle: the project's own safety rules, and the bath of fake_bath.py, whose truth the self-test never sees.
"""

from fake_bath import MAT, PLATE, POT, RIGS, Bath, values_of

from bainboard import faults
from bainboard.heat_balance import largest_load_j_per_k
from bainboard.selftest import CLOSE, QUICK, RESUME, WARM, Line, SelfTest


def tested(bath, values, doubt=faults.NONE, swapped=None):  # noqa: PT028 - a helper, no test
    """Run one to its end: (the test, seconds, highest water, passes with both on); `swapped`: with a bowl probe."""
    test, now_ms, peak_c, switch, guard = SelfTest(values, 0, doubt), 0, bath.water_c, 0, 0
    both = 0
    while not test.done:
        now_ms += 1000
        bath.step(float(switch), guard)
        peak_c = max(peak_c, bath.water_c)
        water_c, bowl_c = bath.reading_c(), None if swapped is None else bath.bowl_c
        switch, guard = test.step(now_ms, *((bowl_c, water_c) if swapped else (water_c, bowl_c)))
        both += switch and guard
        assert now_ms < 3600000
    assert (switch, guard) == (0, 0)
    return test, now_ms // 1000, peak_c, both


STARTS = ((20.0, 20.0), (12.0, 20.0), (33.0, 31.5), (25.0, 29.0), (25.0, 45.0), (33.0, 20.0), (40.0, 38.0))


def test_a_sound_warmer_passes_from_any_everyday_start():
    for name, rig in RIGS:
        for water_c, bowl_c in STARTS:
            for seed in (1, 2, 3):
                test, _, _, _ = tested(Bath(rig, water_c, bowl_c, seed=seed), values_of(rig))
                assert test.fault == faults.NONE, (name, water_c, bowl_c, seed)


def test_a_sound_warmer_passes_on_weak_and_strong_mains_full_and_nearly_empty():
    for name, rig in RIGS:
        for mains in (0.81, 1.21):
            for fill in (0.2, 1.0):
                test, _, _, _ = tested(Bath(rig, 20.0, 20.0, mains=mains, fill=fill), values_of(rig))
                assert test.fault == faults.NONE, (name, mains, fill)


def test_a_hot_bowl_on_weak_mains_is_tried_again_before_the_heater_is_blamed():
    for name, rig in RIGS:
        for coupling in (4.0, 12.0):
            for fill in (0.2, 1.0):
                for water_c in (20.0, 33.0):
                    bath = Bath(rig, water_c, water_c + 20.0, mains=0.81, fill=fill)
                    bath.coupling, bath.probe_lag_s = coupling, 30.0
                    test, _, _, _ = tested(bath, values_of(rig))
                    assert test.fault == faults.NONE, (name, coupling, fill, water_c)


def test_a_weak_heater_under_a_thick_base_is_asked_for_more_heat_before_it_is_blamed_and_a_dead_one_is_not():
    """183 s of lag: half of what a pulse gives is lost before it shows, 0.19 to 0.24 K of the 0.25 K that are proof."""
    base = (198.0, 183.0, 2.0, 0.35, 0.8, 2.0, 5.0, 12.0)
    for mains, fault in ((0.4, faults.NONE), (0.45, faults.NONE), (0.55, faults.NONE), (0.0, faults.NO_HEAT_AT_START)):
        bath = Bath(base, 26.3, 29.3, mains=mains)
        assert tested(bath, values_of(base), swapped=False)[0].fault == fault, mains


def test_it_takes_under_four_minutes_on_the_pot_and_never_longer_than_it_said():
    for rig, most_s in ((POT, 240), (MAT, 360), (PLATE, 320)):  # a plate's 90 s of lag ask for a longer look
        values = values_of(rig)
        said_s = SelfTest(values, 0).left_s(0)
        _, took_s, _, _ = tested(Bath(rig, 20.0, 20.0), values)
        assert took_s <= min(most_s, said_s), (took_s, said_s)


def test_the_time_left_only_falls_and_ends_at_nothing():
    test, before = SelfTest(values_of(POT), 0), 10**6
    bath, switch, guard = Bath(POT), 0, 0
    for n in range(1, 400):
        bath.step(float(switch), guard)
        switch, guard = test.step(n * 1000, bath.reading_c())
        assert test.left_s(n * 1000) <= before
        before = test.left_s(n * 1000)
    assert test.done
    assert before == 0


def test_the_water_rises_by_about_a_kelvin_at_most():
    for name, rig in RIGS:
        bath = Bath(rig, 20.0, 20.0, mains=1.21, fill=0.2)
        _, _, peak_c, _ = tested(bath, values_of(rig))
        for _ in range(300):
            bath.step(0.0, 0)
            peak_c = max(peak_c, bath.water_c)
        assert peak_c - 20.0 < 1.2, name


def test_a_welded_guard_is_named():
    for _, rig in RIGS:
        for start_c in (20.0, 33.0):
            bath = Bath(rig, start_c, start_c)
            bath.welded = True
            test, _, peak_c, both = tested(bath, values_of(rig))
            assert test.fault == faults.GUARD_WELDED
            assert not both
            assert peak_c - start_c < 2.0


def test_a_shorted_switch_is_named():
    for _, rig in RIGS:
        for start_c in (20.0, 33.0):
            bath = Bath(rig, start_c, start_c)
            bath.shorted = True
            test, _, peak_c, both = tested(bath, values_of(rig))
            assert test.fault == faults.SWITCH_SHORTED
            assert not both
            assert peak_c - start_c < 2.0


def test_a_heater_that_does_not_heat_is_named():
    for _, rig in RIGS:
        bath = Bath(rig, 20.0, 20.0)
        bath.open = True
        assert tested(bath, values_of(rig))[0].fault == faults.NO_HEAT_AT_START


def test_probes_that_hang_in_each_others_place_are_named_and_a_bowl_that_warms_of_itself_is_no_swap():
    for name, rig in RIGS:
        for water_c, bowl_c in ((20.0, 20.0), (31.0, 31.0)):
            assert tested(Bath(rig, water_c, bowl_c), values_of(rig), swapped=True)[0].fault == faults.SWAPPED, name
        for water_c, bowl_c in STARTS + ((45.0, 30.0), (36.0, 30.0), (30.0, 26.0)):  # noqa: RUF005 - MicroPython has none
            for fill in (0.2, 1.0):
                test = tested(Bath(rig, water_c, bowl_c, fill=fill), values_of(rig), swapped=False)[0]
                assert test.fault == faults.NONE, (name, water_c, bowl_c, fill)


def disturbed(rig, act, plan, at, **parts):
    """The verdict where a person does something, once, as the test comes to this step of this plan."""
    bath, test, now_ms = Bath(rig, 33.0, 31.5), SelfTest(values_of(rig), 0), 0
    for name in parts:
        setattr(bath, name, parts[name])
    switch = guard = 0
    done = False
    while not test.done:
        now_ms += 1000
        if not done and test._plan is plan and test._at == at:
            act(bath)
            done = True
        bath.step(switch, guard)
        switch, guard = test.step(now_ms, bath.reading_c(), bath.bowl_c)
    assert done
    return test.fault


def test_a_bowl_stirred_or_filled_while_the_heat_is_awaited_is_no_swap():
    def stir(bath):
        bath.bowl_c += 1.0

    for name, rig in RIGS:
        assert disturbed(rig, stir, WARM, 1) == faults.NONE, name
    # Even so a heater that does not heat has no start.
    assert disturbed(POT, stir, WARM, 1, open=True) in (faults.NO_HEAT_AT_START, faults.SWAPPED)


def test_cold_water_poured_in_is_no_strong_heater_and_no_heat():
    def pour(bath):
        bath.water_c -= 2.0

    for name, rig in RIGS:
        assert disturbed(rig, pour, QUICK, 3) == faults.NONE, name
    assert disturbed(POT, pour, QUICK, 3, open=True, coupling=0.0) == faults.NO_HEAT_AT_START


def test_a_kettle_and_another_one_while_the_first_is_looked_at_are_no_shorted_switch():
    def kettles(left):
        def pour(bath):
            bath.water_c += 4.0

        bath, test, now_ms, switch, guard, last_ms = Bath(POT, 33.0, 31.5), SelfTest(values_of(POT), 0), 0, 0, 0, -10**9
        while not test.done:
            now_ms += 1000
            if test._plan in (QUICK, CLOSE) and test._at in (3, 4) and left and now_ms > last_ms + 200000:
                pour(bath)
                left, last_ms = left - 1, now_ms
            bath.step(switch, guard)
            switch, guard = test.step(now_ms, bath.reading_c(), bath.bowl_c)
        return test.fault

    for count in (1, 2, 3):
        assert kettles(count) == faults.NONE, count

def test_after_a_pause_switch_and_guard_are_proved_in_two_small_pulses():
    """Its time, as a formula: 40 s + 2 x 0.4 K x C / P + lag + 15 s; nothing heats in it."""
    for name, rig in RIGS:
        for failed, fault in ((None, faults.NONE), ("shorted", faults.SWITCH_SHORTED), ("welded", faults.GUARD_WELDED)):
            bath = Bath(rig, 33.0, 31.5)
            if failed:
                setattr(bath, failed, True)
            test, took_s, peak_c, _ = tested(bath, values_of(rig), RESUME)
            assert test.fault == fault, (name, failed)
            if not failed:
                most_s = 40 + 0.8 * largest_load_j_per_k(values_of(rig)) / rig[0] + rig[1] + 15
                assert took_s <= most_s + 2, name
                assert peak_c - 33.0 < 0.1, name


def test_a_warmer_with_a_tenth_of_the_stated_water_does_not_start():
    """20 L stated: half of them need 16.7 kJ for 0.4 K. A 2 L pot shows it after 10 kJ, its heater's lag included."""
    values = values_of(POT, water_l=20.0, chocolate_kg=20.0)
    assert tested(Bath(POT, 25.0, 25.0), values)[0].fault == faults.STRONG_HEATER
    assert tested(Bath(POT, 25.0, 25.0, fill=0.2), values_of(POT))[0].fault == faults.NONE


def test_broken_off_it_says_whether_it_suspects():
    for shorted in (False, True):
        bath, values = Bath(POT, 33.0, 31.5), values_of(POT)
        bath.shorted = shorted
        test, switch, guard, found = SelfTest(values, 0, RESUME), 0, 0, False
        for n in range(1, 200):
            bath.step(float(switch), guard)
            switch, guard = test.step(n * 1000, bath.reading_c(), bath.bowl_c)
            found = found or test.suspects
        assert found == shorted


def test_a_retest_of_too_much_heat_warms_a_sound_bath_by_a_quarter_of_a_kelvin_at_most_and_passes():
    for name, rig in RIGS:
        for fill in (0.2, 1.0):
            test, _, peak_c, _ = tested(Bath(rig, 33.0, 33.0, fill=fill), values_of(rig), faults.STRONG_HEATER)
            assert test.fault == faults.NONE, name
            assert peak_c - 33.0 < 0.25, name


def test_a_retest_of_too_much_heat_passes_a_bath_with_two_fifths_of_its_water():
    """Its pulse lifts half of it by 0.3 K (by definition), so this by 0.37: others blame 0.25 K, this test 0.5 K."""
    for name, rig in RIGS:
        bath = Bath(rig, 25.0, 25.0, room_c=25.0)
        bath.water_j *= 0.4
        bath.coupling = bath.loss = 0.0
        test, _, peak_c, _ = tested(bath, values_of(rig), faults.STRONG_HEATER)
        assert 25.3 < peak_c < 25.4, name
        assert test.fault == faults.NONE, name


def test_a_retest_of_too_much_heat_fails_a_bath_that_is_nearly_dry():
    bath = Bath(POT, 33.0, 33.0)
    bath.water_j *= 0.1
    bath.bowl_in = False
    assert tested(bath, values_of(POT), faults.STRONG_HEATER)[0].fault == faults.STRONG_HEATER


def test_with_no_guard_its_phase_is_skipped_and_said_and_a_sound_warmer_passes():
    for name, rig in RIGS:
        bath, values = Bath(rig, 20.0, 20.0), values_of(rig, guard=False)
        bath.welded = True  # a wire where the guard would be
        test, _, _, _ = tested(bath, values)
        assert test.fault == faults.NONE, name
        assert "guard" in test.skipped


def test_with_no_guard_a_shorted_switch_heats_all_along_and_the_verdict_says_it_is_unsure():
    """It warms the water before, in and after each phase, as a warm bowl would; only a guard could tell them apart."""
    bath = Bath(POT, 20.0, 20.0)
    bath.welded = bath.shorted = True
    for _ in range(300):
        bath.step(0.0, 0)
    assert tested(bath, values_of(POT, guard=False))[0].masked


def test_a_shorted_switch_is_named_where_the_settings_do_not_know_of_the_guard_that_is_there():
    bath = Bath(POT, 20.0, 20.0)
    bath.shorted = True
    assert tested(bath, values_of(POT, guard=False))[0].fault == faults.SWITCH_SHORTED


def test_water_near_the_hard_limit_gets_no_pulse():
    test = SelfTest(values_of(POT), 0)
    assert test.step(1000, 58.5) == (0, 0)
    assert test.done
    assert test.fault == faults.HOT_BEFORE_START


def test_an_invalid_reading_rests_both_outputs_and_nan_ends_the_test():
    test = SelfTest(values_of(POT), 0)
    for n in range(1, 60):
        test.step(n * 1000, 20.0)
    assert test.step(60000, 20.0) == (1, 0)
    assert test.step(61000, None) == (0, 0)
    assert test.step(62000, 20.0) == (1, 0)
    assert test.step(63000, float("nan")) == (0, 0)
    assert test.done
    assert test.fault != faults.NONE


def test_a_line_through_readings_gives_their_level_and_slope():
    """Worked by hand: c = 20 + 0.01 t at t = 0..40 s ends at 20.4 with 0.01 K/s."""
    line = Line()
    line.begin(1000, 20.0)
    for t in range(41):
        line.add(1000 + t * 1000, 20.0 + 0.01 * t)
    level_c, slope = line.ends(41000)
    assert abs(level_c - 20.4) < 1e-4
    assert abs(slope - 0.01) < 1e-5
