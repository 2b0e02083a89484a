"""The supervisor: everyday acts trip nothing, each single fault is met in its stated time, nothing adds heat.

Oracle: the project's own safety rules, and the bath of fake_bath.py, whose truth the supervisor never sees.
"""

from fake_bath import MAT, PLATE, POT, RIGS, Bath, Kitchen, Noise, values_of

from bainboard import faults
from bainboard.heat_balance import PROBE_LAG_S, largest_load_j_per_k, smallest_load_j_per_k
from bainboard.supervisor import BACK, CHECKS, LATCH, OFF, OPEN, RETEST, WAIT, WARN, Inputs, Supervisor

HARD = (("pot", POT), ("plate", PLATE))  # the usual one, and the slowest with the strongest heater
NAN, INF = float("nan"), float("inf")


def held(rig, water_c=33.0, bowl_c=31.5, target_c=33.0, limit_c=35.0, bowl_probe=True, settle_s=600, **bath):
    """A hold that is under way and quiet."""
    kitchen = Kitchen(Bath(rig, water_c, bowl_c, **bath), values_of(rig), target_c, limit_c, bowl_probe)
    kitchen.run(settle_s)
    assert kitchen.faults == []
    return kitchen


def calm(kitchen):
    """Nothing tripped; a warning is allowed, heat may have waited."""
    assert kitchen.faults == [], [faults.row(each)[faults.NAME] for each in kitchen.faults]
    assert not kitchen.supervisor.latched


def bare(state="hold", **more):
    """A supervisor with plain inputs, one good pass behind it."""
    s, i = Supervisor(values_of(POT, **more), 0), Inputs()
    i.state, i.water_c, i.stage_limit_c, i.duty_zero = state, 30.0, 35.0, False
    s.begin(0)
    s.step(1000, 1000, i)
    s.tested(faults.NONE, faults.NONE)
    s.step(1000, 1000, i)
    return s, i


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
            calm(kitchen.run(5400))
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
        calm(kitchen.run(3600))


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
        for _ in range(2 * 3600):
            kitchen.tick()
            lowest_c = min(lowest_c, bath.water_c)
        calm(kitchen)
        assert lowest_c > 41.0, name  # a look at the probe costs a dip of some minutes, deepest on the plate


def test_losses_as_large_as_the_heater_trip_nothing_and_warn_of_nothing():
    """A mat too weak for an open pan: full heat and no rise, and a probe that answers each look."""
    for loss_w in (50.0, 60.0, 80.0):
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
        for mains in (0.81, 1.0, 1.21):
            kitchen = Kitchen(Bath(rig, 12.0, 20.0, mains=mains), values_of(rig), 33.0, 36.0, False)
            calm(kitchen.run(5400))


def test_a_quiet_night_trips_nothing_and_withholds_no_heat():
    kitchen = held(POT)
    kitchen.run(2 * 3600)
    calm(kitchen)
    assert "guard" not in kitchen.at_ms


# -- single faults, each in its stated time ------------------------------------------------------------------------


def dead_s(values, duty_w):
    """Beside `probe_dead`: account to LOOK_AT, and three answers of a look at two blocks each, with their waits."""
    block_s = 4 * max(90.0, 1.2 * (values["heater_lag_s"] + PROBE_LAG_S))
    budget_s = 0.45 * 9.0 * smallest_load_j_per_k(values) / duty_w
    return budget_s + 3 * 2 * 1.5 * block_s + 720.0


def test_a_probe_stuck_while_heating_up_latches_in_its_time_and_the_water_stays_in_its_bound():
    for name, rig in RIGS:
        kitchen = held(rig, 25.0, 25.0, 26.0, 40.0, bowl_probe=False)
        kitchen.target_c = 70.0  # full heat
        kitchen.bath.stuck_c = kitchen.bath.reading_c()
        start_ms = kitchen.now_ms
        kitchen.run(2 * 3600)
        assert kitchen.faults == [faults.WATER_STUCK], name
        assert (kitchen.now_ms - start_ms) / 1000 < dead_s(kitchen.values, rig[0]), name
        assert kitchen.peak_c < 40.0 + 10.0, name


def test_a_probe_stuck_under_its_target_in_a_working_hold_latches_and_the_water_stays_in_its_bound():
    for name, rig in HARD:
        for bowl_probe in (True, False):
            kitchen = held(rig, bowl_probe=bowl_probe)
            kitchen.bath.stuck_c = 32.5
            kitchen.run(2 * 3600)
            assert kitchen.faults == [faults.WATER_STUCK], name
            assert kitchen.peak_c < 35.0 + 10.0, name


def test_half_the_water_and_no_bowl_under_a_stuck_probe_stay_in_the_bound():
    """The smallest load there may be: it is the one the account counts with."""
    for name, rig in HARD:
        for loss in (0.7, 2.0):
            kitchen = held(rig, bowl_probe=False)
            bath = kitchen.bath
            bath.water_j, bath.bowl_in, bath.loss = 0.5 * bath.water_j, False, loss
            bath.stuck_c = 32.0
            kitchen.run(2 * 3600)
            assert kitchen.peak_c < 35.0 + 10.0, (name, kitchen.peak_c)
            assert kitchen.faults == [faults.WATER_STUCK], name


def air(bath):
    """The water probe lies on the table from now on."""
    step = bath.step

    def beside(duty, guard):
        probe_c = bath.probe_c
        step(duty, guard)
        bath.probe_c = probe_c + (bath.room_c - probe_c) / bath.probe_lag_s

    bath.step = beside


def test_a_water_probe_out_of_the_water_gets_three_kelvin_of_heat_and_latches():
    for name, rig in HARD:
        for bowl_probe in (True, False):
            kitchen = held(rig, bowl_probe=bowl_probe)
            air(kitchen.bath)
            start_c = kitchen.bath.water_c
            kitchen.run(3 * 3600)
            assert kitchen.faults in ([faults.WATER_STUCK], [faults.DISAGREE]), name
            assert kitchen.peak_c - start_c < 5.0, name


def test_a_heater_lost_in_a_hold_latches():
    for name, rig in RIGS:
        kitchen = held(rig)
        kitchen.bath.open = True
        kitchen.run(2 * 3600)
        assert kitchen.faults == [faults.WATER_STUCK], name


def drifting(kitchen, k_per_min, most_k=30.0):
    """The water probe reads lower and lower from now on."""
    reading, start_ms = kitchen.bath.reading_c, kitchen.now_ms
    kitchen.reading = lambda: reading() - min(most_k, k_per_min * (kitchen.now_ms - start_ms) / 60000)


def test_a_probe_that_drifts_low_under_a_bowl_probe_stays_in_the_bound_and_the_probes_disagree():
    for name, rig in HARD:
        for k_per_min in (0.1, 0.3, 1.0, 3.0):
            kitchen = held(rig)
            kitchen.inputs.bowl_limit_c = 33.0
            drifting(kitchen, k_per_min)
            kitchen.run(2 * 3600)
            assert kitchen.peak_c < 45.0, (name, k_per_min, kitchen.peak_c)
            assert kitchen.bath.bowl_c < 36.0, (name, k_per_min)
            assert kitchen.faults in ([faults.DISAGREE], [faults.WATER_STUCK]), (name, k_per_min)


def test_a_probe_that_drifts_low_is_caught_by_the_learnt_losses_where_there_is_no_bowl_probe():
    """T <= room + 1.3 x (learnt / true) x (limit + 3 - room): 43.4 °C."""
    for name, rig in HARD:
        kitchen = Kitchen(Bath(rig, 33.0, 31.5), values_of(rig, **{"gains.loss_w_per_k": rig[5]}), bowl_probe=False)
        kitchen.run(600)
        drifting(kitchen, 0.4)
        kitchen.run(3 * 3600)
        assert kitchen.peak_c < 44.4, (name, kitchen.peak_c)
        assert kitchen.warned & 1 << faults.HEAT_CAPPED or kitchen.supervisor.latched, name


def lying(kitchen, lie):
    """A reading of the first probe that is wrong in one way; the second one is as it should be."""
    bath, start_ms = kitchen.bath, kitchen.now_ms
    fall_k_per_s = {"stuck": 0.0, "slow": 0.1 / 60.0, "fast": 2.0 / 60.0, "air": 0.05}[lie]

    def reading():
        kitchen.inputs.second_c = bath.water_c
        if lie == "stuck":
            return 32.5
        return max(21.0, bath.reading_c() - fall_k_per_s * (kitchen.now_ms - start_ms) / 1000)

    return reading


def test_a_second_water_probe_catches_any_of_the_first_one_s_lies():
    for name, rig in HARD:
        for lie in ("stuck", "slow", "fast", "air"):
            kitchen = held(rig, bowl_probe=False)
            kitchen.inputs.second_fitted = True
            kitchen.reading = lying(kitchen, lie)
            kitchen.run(2 * 3600)
            assert kitchen.peak_c < 38.5, (name, lie, kitchen.peak_c)
            assert kitchen.supervisor.latched, (name, lie)


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


# -- more single faults ------------------------------------------------------------------------------------------------


def test_a_probe_that_fails_each_third_reading_latches_and_one_glitch_does_not():
    """4 x 3 / (4 - 2) rounds of three: 18 passes. One in five never."""
    for every, latched in ((2, True), (3, True), (4, True), (5, False)):
        s, i = bare()
        for n in range(2, 400):
            i.water_c = None if n % every == 0 else 30.0
            s.step(n * 1000, 1000, i)
        assert s.latched == latched, every


def test_spikes_of_a_reading_are_no_strong_heater_and_no_rise():
    for name, rig in HARD:
        kitchen, noise = held(rig), Noise(3)
        bath = kitchen.bath
        kitchen.reading = lambda bath=bath, noise=noise: bath.reading_c() + (4.0 if noise.next() < 0.04 else 0.0)
        kitchen.run(3600)
        assert kitchen.retests == [], name
        assert faults.STRONG_HEATER not in kitchen.faults, name
        assert faults.HEAT_AT_REST not in kitchen.faults, name


def test_no_heat_while_the_chocolate_reads_over_its_limit_and_no_word():
    s, i = bare()
    i.bowl_fitted, i.bowl_limit_c = True, 33.0
    for n, bowl_c, heats in ((2, 32.9, True), (3, 33.0, False), (4, 34.0, False), (5, 32.9, True)):
        i.bowl_c = bowl_c
        s.step(n * 1000, 1000, i)
        assert s.heat_ok == heats
        assert s.warn == s.fault == 0
    i.bowl_c, i.bowl_away = 40.0, True
    s.step(6000, 1000, i)
    assert s.heat_ok


def test_heat_that_nobody_asked_for_is_called_unplug_in_every_state():
    """Its time: to explained + 1 K, and three blocks of max(30 s, 1.2 K x C / P)."""
    for state in ("idle", "pause", "trip"):
        for name, rig in HARD:
            bath = Bath(rig, 33.0, 31.5)
            kitchen = Kitchen(bath, values_of(rig), bowl_probe=state == "pause")
            kitchen.inputs.state, kitchen.inputs.bowl_away = state, state != "pause"
            kitchen.run(60)
            assert kitchen.faults == [], (state, name)
            bath.shorted = bath.welded = True
            kitchen.run(3600)
            assert kitchen.faults[0] == faults.UNASKED_HEAT, (state, name)
            most_c = 42.0 if state != "pause" else 36.0
            block_s = max(30.0, 1.2 * largest_load_j_per_k(kitchen.values) / rig[0])
            rise_s = (most_c - 33.0) * (bath.water_j + bath.bowl_j) / (rig[0] - rig[5] * 22.0)
            assert kitchen.at_ms[faults.UNASKED_HEAT] / 1000 < 120 + rise_s + 4 * block_s + 5 * rig[1], (state, name)
            assert faults.OVER_HARD_LIMIT in kitchen.faults or kitchen.peak_c < 60.0


def test_a_kettle_and_a_warm_bowl_at_rest_are_no_heat_that_nobody_asked_for():
    for name, rig in HARD:
        for bowl_probe in (True, False):
            kitchen = Kitchen(Bath(rig, 25.0, 45.0), values_of(rig), bowl_probe=bowl_probe)
            kitchen.inputs.state = "idle"
            kitchen.run(1800)
            kitchen.bath.pour(0.15, 80.0)
            kitchen.run(1800)
            assert kitchen.faults == [], name
            assert kitchen.warned == 0, name


def test_a_bath_run_dry_under_full_heat_is_doubted_in_a_minute_and_latches_when_it_comes_back():
    kitchen = Kitchen(Bath(POT, 25.0, 25.0), values_of(POT), 70.0, 70.0, False).run(60)
    kitchen.bath.water_j *= 0.1
    kitchen.run(3000)
    assert kitchen.at_ms["guard"] < 120000
    assert kitchen.faults == [faults.STRONG_HEATER]


def test_what_a_doubt_withholds_it_withholds_in_that_very_pass_and_says_nothing_yet():
    s, i = bare()
    s.surge.surging, s.surge.step = True, lambda *facts: None
    s.step(2000, 1000, i)
    assert s.retest == faults.STRONG_HEATER
    assert not s.heat_ok
    assert not s.guard_ok
    assert s.warn == s.fault == 0


def test_the_fourth_doubt_in_an_hour_latches_and_an_hour_later_it_counts_again():
    for apart_ms, latched in ((600000, True), (2000000, False)):
        s, i = bare()
        for n in range(1, 5):
            now_ms = n * apart_ms
            s.surge.surging, s.surge.step = True, lambda *facts: None
            s.step(now_ms, 1000, i)
            s.surge.begin()
            s.tested(faults.NONE, faults.STRONG_HEATER)
            s.step(now_ms + 2000, 1000, i)
        assert s.latched == latched
        assert s.fault == (faults.STRONG_HEATER if latched else faults.NONE)


def test_a_bowl_probe_in_the_air_warns_and_a_reboot_loop_latches():
    s, i = bare()
    i.bowl_fitted = True
    for n, bowl_c in enumerate((31.5, 29.0, 26.0, 24.0)):
        i.bowl_c = bowl_c
        s.step(20000 + n * 1000, 1000, i)
    assert s.warn == 1 << faults.BOWL_OUT
    assert s.heat_ok
    i.rebooting = True
    s.step(24000, 1000, i)
    assert s.fault == faults.REBOOT_LOOP
    assert s.latched


def test_a_switch_shorted_in_a_hold_opens_the_guard_in_its_time_and_then_latches():
    for name, rig in RIGS:
        for bowl_probe in (True, False):
            kitchen = held(rig, limit_c=60.0, bowl_probe=bowl_probe)
            kitchen.bath.shorted = True
            start_ms, start_c = kitchen.now_ms, kitchen.bath.water_c
            kitchen.run(7200)
            values = kitchen.values
            assert kitchen.faults == [faults.HEAT_AT_REST], name
            load, power_w = largest_load_j_per_k(values), values["heater_w"]
            rise_s = load / (power_w - 3.2 * 14.0)
            opened_s = 2 * rise_s + 2 * (values["heater_lag_s"] + PROBE_LAG_S)
            assert (kitchen.at_ms["guard"] - start_ms) / 1000 < opened_s, name
            latched_s = opened_s + 6 * values["heater_lag_s"] + 240 + 0.6 * rise_s
            assert (kitchen.now_ms - start_ms) / 1000 < latched_s, name
            assert kitchen.peak_c - start_c < (9.0 if rig is PLATE else 5.0), name


def test_a_shorted_switch_with_no_guard_fitted_latches_when_nobody_touched_it():
    bath = Bath(POT, 33.0, 31.5)
    kitchen = Kitchen(bath, values_of(POT, guard=False), 33.0, 60.0, False).run(1800)
    bath.shorted = True
    assert kitchen.run(1800).faults == [faults.HEAT_AT_REST]


def test_a_shorted_switch_with_no_guard_latches_a_quarter_of_an_hour_after_the_person():
    bath = Bath(POT, 33.0, 31.5)
    kitchen = Kitchen(bath, values_of(POT, guard=False), 33.0, 60.0, False)
    bath.shorted = True
    assert kitchen.run(2400).faults == [faults.HEAT_AT_REST]


def test_with_no_guard_what_a_person_just_did_explains_a_rise():
    kitchen = Kitchen(Bath(POT, 25.0, 45.0), values_of(POT, guard=False), 25.0, 50.0, False)
    kitchen.inputs.last_person_ms = 0  # set the bowl in, and said so
    calm(kitchen.run(890))
    assert kitchen.warned == 0


def test_a_sum_of_heat_that_cannot_be_reads_as_full_heat():
    """12 K x 4180 J/K at 150 W: 335 s to a full account."""
    for given_j in (NAN, INF, -1.0, 1e9):
        s, i = bare()
        i.water_c, i.given_j = 30.0, given_j
        for n in range(2, 400):
            s.step(n * 1000, 1000, i)
        assert s.account.full, given_j


def test_a_stove_under_a_hold_is_called_heat_that_nobody_asked_for():
    kitchen = held(POT, limit_c=60.0)
    kitchen.bath.outside_w = 200.0
    kitchen.run(3600)
    assert kitchen.faults[0] == faults.UNASKED_HEAT


def test_an_invalid_reading_turns_heat_off_in_that_very_pass_and_three_latch():
    for bad in (None, NAN, INF, -INF, 85.0e9, -55.0):
        s, i = bare()
        assert s.heat_ok
        i.water_c = bad
        for n in range(1, 4):
            s.step(1000 + n * 1000, 1000, i)
            assert not s.heat_ok
            assert s.limit(0.5) == 0.0
            assert s.latched == (n == 3)
        assert s.fault == faults.WATER_PROBE
        assert not s.guard_ok


def test_a_first_reading_outside_of_all_weather_is_none():
    for bad in (None, NAN, INF, -INF, 125.0, -55.0):
        s, i = Supervisor(values_of(POT), 0), Inputs()
        i.state, i.water_c, i.stage_limit_c = "hold", bad, 35.0
        s.step(1000, 1000, i)
        assert not s.heat_ok
        assert s.warn >> faults.WATER_PROBE & 1


def test_a_code_beside_a_plausible_number_is_no_reading():
    s, i = bare()
    i.water_code = 2
    s.step(2000, 1000, i)
    assert not s.heat_ok


def test_one_bad_reading_heats_again_on_the_next_and_trips_nothing():
    s, i = bare()
    i.water_c = None
    s.step(2000, 1000, i)
    assert s.fault == faults.NONE
    assert s.fresh == 1 << faults.WATER_PROBE
    i.water_c = 30.0
    s.step(3000, 1000, i)
    assert s.heat_ok
    assert s.warn == 0


def test_a_jump_of_20_k_latches_though_each_reading_is_plausible():
    s, i = bare()
    i.water_c = 50.0
    for n in range(2, 5):
        s.step(n * 1000, 1000, i)
    assert s.latched
    assert s.fault == faults.WATER_PROBE


def test_a_missing_probe_at_idle_keeps_heat_off_and_latches_nothing():
    s, i = bare("idle")
    i.water_c = None
    for n in range(2, 20):
        s.step(n * 1000, 1000, i)
    assert not s.heat_ok
    assert not s.latched


def test_over_the_stage_limit_for_a_minute_is_off_until_back_under():
    s, i = bare()
    i.stage_limit_c = 31.0
    s.step(2000, 1000, i)
    i.water_c = 31.5
    now_ms = 2000
    for n in range(1, 61):
        now_ms += 1000
        s.step(now_ms, 1000, i)
        assert s.heat_ok == (n < 60), n
    assert s.fault == faults.OVER_STAGE
    assert not s.latched
    i.water_c = 30.9
    s.step(now_ms + 1000, 1000, i)
    assert s.heat_ok
    assert s.fault == faults.NONE


def test_where_nothing_may_heat_the_guard_is_open_so_that_a_shorted_switch_heats_nothing():
    s, i = bare()
    i.water_c, i.stage_limit_c = 31.0, 30.5
    s.step(2000, 1000, i)
    assert not s.guard_ok


def test_neither_a_pause_nor_a_self_test_forgets_how_long_the_water_was_over_its_stage():
    s, i = bare()
    i.stage_limit_c = 31.0
    s.step(2000, 1000, i)
    i.water_c, now_ms = 31.5, 2000
    for n in range(80):
        now_ms += 1000
        i.state = "pause" if 20 <= n < 30 else "check" if 30 <= n < 40 else "hold"
        s.step(now_ms, 1000, i)
        assert (s.fault == faults.OVER_STAGE) == (n >= 79), n


def test_water_warmer_than_the_stage_at_its_start_gets_no_heat_and_no_fault():
    s, i = bare()
    i.water_c, i.stage_limit_c = 31.0, 30.5
    for n in range(2, 200):
        s.step(n * 1000, 1000, i)
        assert not s.heat_ok
        assert s.fault == faults.NONE
    i.water_c = 30.0
    s.step(200000, 1000, i)
    assert s.heat_ok


def test_the_hard_limit_latches_in_every_state_but_not_a_probe_that_a_person_has_in_hand():
    for state in ("hold", "off", "idle", "check", "pause", "in hand"):
        latched = state != "in hand"
        s, i = bare("idle" if state == "in hand" else state)
        i.stage_limit_c, i.in_hand = 70.0, not latched
        now_ms = 1000
        while i.water_c < 66.0:
            i.water_c += 2.0
            now_ms += 1000
            s.step(now_ms, 1000, i)
        assert s.latched == latched, state
        assert not s.heat_ok
        assert (s.fault == faults.OVER_HARD_LIMIT) == latched


def test_boiling_water_round_a_probe_in_somebody_s_hand_is_no_unasked_heat_afterwards():
    s, i = bare("idle")
    now_ms = 1000
    for in_hand, rises_k in ((True, 0.05), (False, 0.0)):
        i.in_hand = in_hand
        for _ in range(900):
            i.water_c = min(99.0, i.water_c + rises_k) if in_hand else 40.0
            now_ms += 1000
            s.step(now_ms, 1000, i)
            assert not s.latched
            assert s.fault != faults.UNASKED_HEAT


def test_a_late_or_backward_pass_gives_no_heat():
    for dt_ms in (3001, 100000, 199, 0, -5):
        s, i = bare()
        s.step(2000, dt_ms, i)
        assert not s.heat_ok
        assert s.fault == faults.NONE
        s.step(3000, 1000, i)
        assert s.heat_ok


def test_the_run_timer_warns_half_an_hour_before_and_stays_off_until_a_person_acts():
    s, i = bare()
    hour_ms = 3600000
    s.step(14 * hour_ms - 30 * 60000 - 1000, 1000, i)
    assert s.heat_ok
    assert not s.warn
    s.step(14 * hour_ms - 30 * 60000, 1000, i)
    assert s.heat_ok
    assert s.warn == 1 << faults.RUN_TIMER
    for hours in (14, 20, 60):
        s.step(hours * hour_ms, 1000, i)
        assert not s.heat_ok
        assert s.fault == faults.RUN_TIMER
        assert not s.latched
    i.last_person_ms = 60 * hour_ms + 1000
    s.step(60 * hour_ms + 2000, 1000, i)
    assert s.heat_ok
    assert s.fault == faults.NONE


def test_damaged_settings_or_a_crash_give_no_heat():
    for field, value, fault in (
        ("settings_bad", True, faults.BAD_SETTINGS), ("ended", faults.CRASHED, faults.CRASHED),
        ("ended", faults.RESTARTED, faults.RESTARTED), ("ended", faults.MEMORY, faults.MEMORY),
    ):
        s, i = bare()
        setattr(i, field, value)
        s.step(2000, 1000, i)
        assert not s.heat_ok
        assert s.fault == fault


def test_of_two_causes_the_first_of_the_table_is_named():
    s, i = bare()
    i.settings_bad, i.ended = True, faults.CRASHED
    s.step(2000, 1000, i)
    assert s.fault == faults.BAD_SETTINGS


# -- the table itself ----------------------------------------------------------------------------------------------


class Says:
    """A part of the supervisor that has found just this."""

    def __init__(self, name, value):
        setattr(self, name, value)

    def __getattr__(self, name):
        return False

    def begin(self):
        """Nothing to forget."""

    def step(self, *_facts):
        """Nothing arrived."""
        return 0.0


NO_HEAT, NO_GUARD, NAMED, WORD, LATCHED, DOUBTED = "no heat", "no guard", "named", "word", "latched", "doubted"
FOUND = (
    ("rest", "opened", True, NO_GUARD, faults.NONE),
    ("rest", "closed", True, NO_HEAT, faults.NONE),
    ("rest", "shorted", True, LATCHED, faults.HEAT_AT_REST),
    ("rest", "unasked", True, NAMED, faults.UNASKED_HEAT),
    ("account", "unseen", 1, "", faults.NONE),
    ("account", "unseen", 2, WORD, faults.WATER_STUCK),
    ("account", "dead", True, LATCHED, faults.WATER_STUCK),
    ("account", "under_s", 599.0, "", faults.NONE),
    ("account", "under_s", 600.0, LATCHED, faults.PROBE_OUT),
    ("witness", "false", True, NO_HEAT, faults.NONE),
    ("witness", "surely", True, LATCHED, faults.DISAGREE),
    ("twin", "apart", True, WORD, faults.DISAGREE),
    ("twin", "far", True, LATCHED, faults.DISAGREE),
    ("believed", "over", True, NO_HEAT, faults.NONE),
    ("believed", "long", True, WORD, faults.HEAT_CAPPED),
    ("pace", "fast", True, WORD, faults.STRONG_HEATER),
    ("surge", "surging", True, DOUBTED, faults.STRONG_HEATER),
    ("bowl_out", "out", True, WORD, faults.BOWL_OUT),
)


def test_what_a_part_has_found_has_its_own_fault_and_reaction():
    for part, name, value, then, fault in FOUND:
        s, i = bare()
        setattr(s, part, Says(name, value))
        s.step(2000, 1000, i)
        at = (part, name, value)
        assert s.heat_ok == (then in ("", WORD)), at
        assert s.guard_ok == (then in ("", WORD, NO_HEAT)), at
        assert s.latched == (then == LATCHED), at
        assert s.fault == (fault if then in (NAMED, LATCHED) else faults.NONE), at
        assert s.warn == (1 << fault if then == WORD else 0), at
        assert s.retest == (fault if then == DOUBTED else faults.NONE), at


# -- latches -------------------------------------------------------------------------------------------------------


def test_there_is_nothing_to_clear_where_nothing_is_latched():
    s, _ = bare()
    s.retests = 2
    assert "no trip is latched" in s.clear(3000)
    assert s.retests == 2


def test_no_latch_record_starts_latched_and_only_clear_ends_it():
    s, i = Supervisor(values_of(POT), faults.NO_LATCH_RECORD), Inputs()
    i.water_c = 20.0
    for n in range(1, 50):
        s.step(n * 1000, 1000, i)
        s.begin(n * 1000)
        assert s.latched
        assert not s.heat_ok
        assert not s.guard_ok
    assert s.clear(50000) is None
    s.step(51000, 1000, i)
    assert s.heat_ok
    assert s.fault == faults.NONE


def test_the_first_cause_stays():
    s, i = bare()
    i.water_c = None
    for n in range(2, 6):
        s.step(n * 1000, 1000, i)
    i.water_c, i.ended = 70.0, faults.CRASHED
    s.step(60000, 1000, i)
    assert s.fault == faults.WATER_PROBE


def test_a_latch_is_not_cleared_while_its_cause_is_there():
    s, i = bare()
    i.water_c = None
    for n in range(2, 6):
        s.step(n * 1000, 1000, i)
    assert "probe" in s.clear(6000)
    assert s.latched
    i.water_c, i.state = 62.0, "trip"
    s.step(60000, 1000, i)
    assert "hard limit" in s.clear(61000)
    assert s.latched
    i.water_c = 55.0
    s.step(120000, 1000, i)
    assert s.clear(121000) is None


def test_a_refused_start_keeps_its_reason_until_the_next():
    s, i = bare("check")
    s.refuse_start(faults.GUARD_WELDED)
    i.state = "idle"
    s.step(2000, 1000, i)
    assert s.fault == faults.GUARD_WELDED
    assert not s.heat_ok
    assert not s.guard_ok
    assert not s.latched
    s.begin(3000)
    s.step(3000, 1000, i)
    assert s.fault == faults.NONE
    assert s.heat_ok


# -- what it can never do ------------------------------------------------------------------------------------------


def test_before_its_first_pass_nothing_is_allowed():
    s = Supervisor(values_of(POT), 0)
    assert s.limit(1.0) == 0.0
    assert not s.guard_ok


def test_the_duty_is_finite_in_0_to_1_never_raised_and_0_while_the_water_is_unread():
    noise = Noise(7)
    duties = (NAN, INF, -INF, -0.1, 1.0001, 1e30, 0.0, 1.0, 0.3)
    waters = (None, NAN, INF, -40.0, 0.0, 29.0, 30.0, 31.0, 59.9, 60.0, 150.0)
    states = ("idle", "check", "hold", "pause", "trip", "something new")
    s, i = bare()
    now_ms = 1000
    for n in range(3000):
        if n % 40 == 0:
            s, i = bare()
            now_ms = 1000
        dt_ms = int(noise.next() * 4000) if noise.next() < 0.1 else 1000
        now_ms += dt_ms
        i.state = states[int(noise.next() * len(states))]
        i.water_c = waters[int(noise.next() * len(waters))] if noise.next() < 0.3 else 30.0
        i.bowl_c = waters[int(noise.next() * len(waters))]
        i.given_j = duties[int(noise.next() * len(duties))] * 150.0
        i.water_code = 1 if noise.next() < 0.05 else 0
        i.bowl_fitted, i.duty_zero = noise.next() < 0.5, noise.next() < 0.5
        s.step(now_ms, dt_ms, i)
        duty = duties[int(noise.next() * len(duties))] if noise.next() < 0.5 else noise.next()
        given = s.limit(duty)
        assert 0.0 <= given <= 1.0
        assert given == 0.0 or abs(given - duty) < 1e-6
        unread = i.water_code or i.water_c is None or not -20.0 < i.water_c < 120.0
        assert given == 0.0 or not (unread or s.latched or i.water_c >= 60.0)


def test_every_row_of_the_table_names_a_known_fault_and_a_reaction_that_adds_no_heat():
    for fault, seen, reaction in CHECKS:
        assert faults.FAULTS[fault][faults.NUMBER] == fault
        assert fault != faults.NONE or reaction == BACK
        assert reaction in (WARN, WAIT, BACK, OPEN, RETEST, OFF, LATCH)
        assert callable(seen)


NO_ROW = (
    faults.NONE, faults.NO_LATCH_RECORD, faults.GUARD_WELDED, faults.NO_HEAT_AT_START, faults.HOT_BEFORE_START,
    faults.SWAPPED,  # the self-test's
    faults.HEAT_FROM_OUTSIDE, faults.HEATER_LOST,  # reserved
)
STRONGEST = ((RETEST, faults.RETEST), (LATCH, faults.LATCH), (OFF, faults.OFF), (WAIT, faults.OFF), (WARN, faults.WARN))


def test_the_table_of_faults_promises_what_the_supervisor_does():
    """A fault's own reaction is the strongest of its rows; where a retest decides, a failed one latches."""
    for fault, name, promised, _ in faults.FAULTS:
        found = [reaction for number, _, reaction in CHECKS if number == fault]
        if fault in NO_ROW:
            assert found in ([], [BACK]), name
        elif promised == faults.NO_START:
            assert found == [LATCH], name  # a self-test broken off twice
        else:
            assert promised == next(means for reaction, means in STRONGEST if reaction in found), name
