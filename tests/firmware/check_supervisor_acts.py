"""The supervisor and what people do: everyday acts trip nothing, and no act clears the evidence against a warmer.

Oracle: the project's own safety rules, and the bath of fake_bath.py, whose truth the supervisor never sees.
"""

from fake_bath import MAT, PLATE, POT, RIGS, Bath, Kitchen, values_of
from fake_hold import HARD, bare, calm, held

from bainboard import faults

# -- everyday acts that must not trip ------------------------------------------------------------------------------


def test_a_cold_top_up_of_a_fifth_at_15_trips_nothing():
    for _, rig in HARD:
        for bowl_probe in (True, False):
            kitchen = held(rig, bowl_probe=bowl_probe)
            kitchen.bath.pour(0.2, 15.0)
            calm(kitchen.run(2400))


def test_a_kettle_fill_trips_nothing():
    for _, rig in RIGS:
        kitchen = held(rig, 42.0, 40.0, 42.0, 50.0, bowl_probe=False)
        kitchen.bath.pour(0.1, 80.0)
        calm(kitchen.run(2400))


def test_a_45_degree_bowl_set_into_25_degree_water_trips_nothing():
    for _, rig in HARD:
        for bowl_probe in (True, False):
            kitchen = Kitchen(Bath(rig, 25.0, 45.0), values_of(rig), 25.0, 50.0, bowl_probe)
            calm(kitchen.run(3600))
            assert not (bowl_probe and "guard" in kitchen.at_ms)  # a bowl seen to be warmer explains it at once


def test_a_bowl_lifted_ten_minutes_trips_nothing():
    for _, rig in RIGS:
        kitchen = held(rig)
        kitchen.bath.bowl_in, kitchen.inputs.bowl_away = False, True
        calm(kitchen.run(600))
        kitchen.bath.bowl_in, kitchen.inputs.bowl_away, kitchen.bath.bowl_c = True, False, 28.0
        calm(kitchen.run(1800))


def test_a_cold_bowl_set_in_trips_nothing():
    for _, rig in RIGS:
        kitchen = held(rig, bowl_probe=False)
        kitchen.bath.bowl_c = 18.0
        calm(kitchen.run(3600))


def test_the_lid_put_on_or_taken_off_trips_nothing():
    for _, rig in RIGS:
        kitchen = held(rig)
        kitchen.bath.loss *= 0.5
        calm(kitchen.run(1800))
        kitchen.bath.loss *= 4.0
        calm(kitchen.run(2400))


def test_a_door_opened_trips_nothing():
    kitchen = held(POT)
    kitchen.bath.room_c = 12.0
    calm(kitchen.run(1800))


def test_the_bowl_probe_pulled_to_be_washed_only_warns():
    s, i = bare()
    i.bowl_fitted, i.bowl_c = True, None
    s.step(2000, 1000, i)
    assert s.heat_ok
    assert s.fault == faults.NONE
    assert s.warn == s.fresh == 1 << faults.BOWL_PROBE
    s.step(3000, 1000, i)
    assert s.warn
    assert not s.fresh


def test_an_uncovered_45_degree_hold_trips_nothing():
    for name, rig in RIGS:
        bath = Bath(rig, 45.0, 43.5)
        # Steady at duty 0.72, no rise. The plate cannot be proved so fast: its smallest load and its lag allow 40 W.
        power_w = 40.0 if rig is PLATE else 0.72 * rig[0]
        bath.loss = power_w / 25.0
        kitchen = Kitchen(bath, values_of(rig), 45.0, 50.0, False)
        kitchen.i_duty = power_w / rig[0]
        lowest_c = 45.0
        for _ in range(3600):
            kitchen.tick()
            lowest_c = min(lowest_c, bath.water_c)
        calm(kitchen)
        assert lowest_c > 41.0, name  # a look at the probe costs a dip of some minutes, deepest on the plate


def test_losses_as_large_as_the_heater_trip_nothing_and_warn_of_nothing():
    """A mat too weak for an open pan: full heat and no rise, and a probe that answers each look."""
    for loss_w in (50.0, 80.0):
        bath = Bath(MAT, 38.0, 37.0)
        bath.loss = loss_w / 18.0
        kitchen = Kitchen(bath, values_of(MAT), 45.0, 50.0, False).run(2 * 3600)
        calm(kitchen)
        assert kitchen.warned == 0, loss_w
        assert bath.water_c > 20.0 + 0.8 * 60.0 / bath.loss, loss_w


def test_a_slow_pot_climbing_after_full_heat_trips_nothing():
    for _, rig in RIGS:
        kitchen = Kitchen(Bath(rig, 20.0, 20.0), values_of(rig), 70.0, 60.0, False)
        while kitchen.bath.water_c < 30.0:
            kitchen.tick()
        kitchen.target_c = 0.0  # heat off at full speed
        kitchen.i_duty = 0.0
        calm(kitchen.run(1800))
        assert "guard" not in kitchen.at_ms  # what was on its way explains the climb


def test_cold_water_and_a_cold_bowl_at_the_start_trip_nothing_whatever_the_mains():
    for _, rig in RIGS:
        for mains in (0.81, 1.21):
            kitchen = Kitchen(Bath(rig, 12.0, 20.0, mains=mains), values_of(rig), 33.0, 36.0, False)
            calm(kitchen.run(3600))


def test_a_quiet_night_trips_nothing_and_withholds_no_heat():
    kitchen = held(POT)
    kitchen.run(2 * 3600)
    calm(kitchen)
    assert "guard" not in kitchen.at_ms


# -- acts do not talk it out of its evidence ---------------------------------------------------------------------------


def paused(kitchen, every_s, for_s, seconds):
    """A hold with a water pause now and then, as the warmer makes it: guard open, no heat."""
    for n in range(seconds):
        if kitchen.supervisor.latched:
            break
        if kitchen.test is None:
            kitchen.inputs.state = "pause" if n % every_s < for_s else "hold"
        kitchen.tick()
    return kitchen


def test_pauses_neither_clear_the_account_nor_keep_a_dead_probe_from_its_latch():
    for name, rig in HARD:
        for every_s in (180, 900):
            kitchen = held(rig, bowl_probe=False)
            kitchen.bath.stuck_c = 32.5
            paused(kitchen, every_s, 10, 3 * 3600)
            assert kitchen.peak_c < 45.0, (name, every_s, kitchen.peak_c)
            if every_s == 900:
                assert kitchen.faults == [faults.WATER_STUCK], (name, every_s)


def test_neither_a_stage_nor_a_bowl_nor_another_hold_clears_the_account():
    s, i = bare()
    i.given_j = 150.0
    for n in range(2, 200):
        s.step(n * 1000, 1000, i)
    unproved_j = s.account.unproved_j
    i.given_j = 0.0
    for change in ({"stage_limit_c": 45.0}, {"stage_limit_c": 35.0}, {"bowl_away": True}, {"bowl_away": False},
                   {"state": "pause"}, {"state": "idle"}, {"state": "hold"}, {"last_person_ms": 200000}):
        for name, value in change.items():
            setattr(i, name, value)
        s.begin(200000)
        s.step(200000, 1000, i)
        assert s.account.unproved_j >= unproved_j, change
    s.tested(faults.NONE, -1)  # after a pause only switch and guard were proved
    assert s.account.unproved_j >= unproved_j
    s.tested(faults.NONE, faults.NONE)
    assert s.account.unproved_j < unproved_j


def test_a_verdict_latches_in_the_moment_it_falls_so_that_no_act_comes_between():
    for retest, fault in ((faults.STRONG_HEATER, faults.STRONG_HEATER), (faults.NONE, faults.SWITCH_SHORTED)):
        s, _ = bare()
        s.retest = retest
        s.tested(fault, retest or -1)
        assert s.latched
        assert s.fault == fault
        assert not s.heat_ok
        assert not s.guard_ok
        assert s.limit(1.0) == s.limit_pulse(1.0) == 0.0
        s.begin(3000)
        assert s.latched


def test_two_self_tests_broken_off_in_suspicion_latch_and_one_that_passes_forgets_them():
    s, i = bare()
    s.suspicions = 1
    s.step(2000, 1000, i)
    assert not s.latched
    s.tested(faults.NONE, -1)
    assert s.suspicions == 0
    s.suspicions = 2
    i.state = "pause"
    s.step(3000, 1000, i)
    assert s.latched
    assert s.fault == faults.SWITCH_SHORTED


def test_a_doubt_outlives_a_pause():
    s, i = bare()
    s.surge.surging, s.surge.step = True, lambda *facts: None
    s.step(2000, 1000, i)
    assert s.retest == faults.STRONG_HEATER
    i.state = "pause"
    s.step(3000, 1000, i)
    s.tested(faults.NONE, -1)
    assert s.retest == faults.STRONG_HEATER
