"""The supervisor: everyday acts trip nothing, each single fault is met in its stated time, nothing adds heat.

Oracle: the project's own safety rules, and the bath of fake_bath.py, whose truth the supervisor never sees.
"""

from fake_bath import MAT, PLATE, POT, RIGS, Bath, Kitchen, Noise, values_of

from bainboard import faults
from bainboard.heat_balance import PROBE_LAG_S, HeatOnItsWay, believed_loss_w_per_k, largest_load_j_per_k
from bainboard.supervisor import CHECKS, DOUBTED, LATCH, OFF, OPEN, RETEST, WAIT, WARN, Inputs, Supervisor

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
    return s, i


# -- everyday acts that must not trip ------------------------------------------------------------------------------


def test_a_cold_top_up_of_a_fifth_at_15_trips_nothing():
    for _, rig in RIGS:
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
    for _, rig in RIGS:
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
        bath.loss = 0.72 * rig[0] / 25.0  # steady at duty 0.72, no rise
        kitchen = Kitchen(bath, values_of(rig), 45.0, 50.0, False)
        kitchen.i_duty = 0.72
        lowest_c = 45.0
        for _ in range(2 * 3600):
            kitchen.tick()
            lowest_c = min(lowest_c, bath.water_c)
        calm(kitchen)
        assert lowest_c > 41.0, name  # a look at the probe costs a dip of some minutes, deepest on the plate


def test_losses_as_large_as_the_heater_trip_nothing():
    """A mat too weak for an open pan: full heat, no rise. Heat is withheld, the water falls, the probe is believed."""
    bath = Bath(MAT, 38.0, 37.0)
    bath.loss = 60.0 / 18.0
    kitchen = Kitchen(bath, values_of(MAT), 45.0, 50.0, False).run(2 * 3600)
    calm(kitchen)
    assert kitchen.warned & 1 << faults.WATER_STUCK


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
    kitchen.run(6 * 3600)
    calm(kitchen)
    assert "guard" not in kitchen.at_ms


# -- single faults, each in its stated time ------------------------------------------------------------------------


def stuck_time_s(values, duty, water_c, room_c=20.0):
    """The two formulas beside `listening` and `deaf`, and the heat's own lag."""
    load, lag_s = largest_load_j_per_k(values), values["heater_lag_s"]
    power_w = duty * values["heater_w"]
    spare_w = power_w - believed_loss_w_per_k(values) * (water_c - room_c)
    return (3.0 * load / spare_w + 3 * lag_s + 2 * PROBE_LAG_S + 0.6 * load / (0.7 * power_w)
            + lag_s + PROBE_LAG_S)


def test_a_probe_stuck_while_heating_up_latches_in_its_time_and_within_5_k():
    for name, rig in RIGS:
        kitchen = held(rig, 25.0, 25.0, 26.0, 40.0, bowl_probe=False)
        kitchen.target_c = 70.0  # full heat
        kitchen.bath.stuck_c = kitchen.bath.reading_c()
        start_ms, start_c = kitchen.now_ms, kitchen.bath.water_c
        kitchen.run(7200)
        assert kitchen.faults == [faults.WATER_STUCK], name
        assert (kitchen.now_ms - start_ms) / 1000 < 1.2 * stuck_time_s(kitchen.values, 1.0, 26.0), name
        assert kitchen.peak_c - start_c < (9.0 if rig is PLATE else 5.0), name  # the plate stores 3-4 K itself


def test_a_probe_stuck_under_its_target_in_a_working_hold_latches_before_the_hard_limit():
    kitchen = held(POT, bowl_probe=False)
    kitchen.bath.stuck_c = 32.5
    start_c = kitchen.bath.water_c
    kitchen.run(7200)
    assert kitchen.faults == [faults.WATER_STUCK]
    assert kitchen.peak_c - start_c < 6.0


def air(bath):
    """The water probe lies on the table from now on."""
    step = bath.step

    def beside(duty, guard):
        probe_c = bath.probe_c
        step(duty, guard)
        bath.probe_c = probe_c + (bath.room_c - probe_c) / bath.probe_lag_s

    bath.step = beside


def test_a_probe_stuck_in_a_quiet_hold_is_listened_to_when_the_heat_has_changed_and_the_water_stays_within_5_k():
    for name, rig in RIGS:
        for bowl_probe in (True, False):
            kitchen = held(rig, bowl_probe=bowl_probe)
            kitchen.bath.stuck_c = kitchen.bath.reading_c()
            start_c = kitchen.bath.water_c
            kitchen.run(9000)
            assert kitchen.faults == [faults.WATER_STUCK], name
            assert kitchen.peak_c - start_c < 5.0, name


def test_a_water_probe_out_of_the_water_warns_and_latches_when_its_budget_is_spent():
    for name, rig in RIGS:
        for bowl_probe in (True, False):
            kitchen = held(rig, bowl_probe=bowl_probe)
            air(kitchen.bath)
            start_ms, start_c = kitchen.now_ms, kitchen.bath.water_c
            kitchen.run(10)
            assert kitchen.supervisor.warn == 1 << faults.PROBE_OUT, name
            kitchen.run(1200)
            assert kitchen.faults == [faults.PROBE_OUT], name
            values = kitchen.values
            budget_s = 3.0 * 4180.0 * 0.5 * values["water_l"] / (values["heater_w"] - 0.0)
            assert (kitchen.now_ms - start_ms) / 1000 < 10 + budget_s + 2 * (values["heater_lag_s"] + PROBE_LAG_S), name
            assert kitchen.peak_c - start_c < 5.0, name


def test_a_heater_lost_in_a_hold_is_retested_and_latches():
    for name, rig in RIGS:
        kitchen = held(rig)
        kitchen.bath.open = True
        kitchen.run(3600)
        assert kitchen.retests == [(faults.HEATER_LOST, faults.NO_HEAT_AT_START)], name
        assert kitchen.faults == [faults.HEATER_LOST], name


def test_a_bowl_set_in_cold_costs_a_retest_at_most_and_the_doubt_is_told_until_a_person_acts():
    bath = Bath(MAT, 38.0, 37.0)
    bath.loss = 80.0 / 18.0  # more than the mat can give
    kitchen = Kitchen(bath, values_of(MAT), 45.0, 50.0, False).run(3600)
    calm(kitchen)
    assert kitchen.retests == [(faults.HEATER_LOST, faults.NONE)]
    assert kitchen.supervisor.warn >> faults.HEATER_LOST & 1
    kitchen.inputs.last_person_ms = kitchen.now_ms
    kitchen.tick()
    assert not kitchen.supervisor.warn >> faults.HEATER_LOST & 1


def test_a_bath_run_dry_under_full_heat_is_doubted_in_a_minute_and_latches_when_it_comes_back():
    kitchen = Kitchen(Bath(POT, 25.0, 25.0), values_of(POT), 70.0, 70.0, False).run(60)
    kitchen.bath.water_j *= 0.1
    kitchen.run(3000)
    assert kitchen.at_ms["guard"] < 120000
    assert kitchen.faults == [faults.STRONG_HEATER]


def test_what_a_doubt_withholds_it_withholds_in_that_very_pass():
    s, i = bare()
    s.failing.failing, s.failing.mean_w = True, 100.0
    s.failing.step = lambda *facts: None
    s.step(2000, 1000, i)
    assert s.retest == faults.HEATER_LOST
    assert not s.heat_ok
    assert not s.guard_ok
    assert s.warn == 1 << faults.HEATER_LOST


def test_the_fourth_doubt_in_an_hour_latches_and_an_hour_later_it_counts_anew():
    for apart_ms, latched in ((600000, True), (2000000, False)):
        s, i = bare()
        for n in range(1, 5):
            now_ms = n * apart_ms
            s.surge.surging, s.surge.step = True, lambda *facts: None
            s.step(now_ms, 1000, i)
            s.surge.begin()
            s.tested(faults.NONE, now_ms + 1000)
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
            rise_s = load / (power_w - believed_loss_w_per_k(values) * 14.0)
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
    calm(kitchen.run(900))
    assert kitchen.warned == 1 << faults.HEAT_FROM_OUTSIDE


def test_a_sum_of_heat_that_cannot_be_reads_as_full_heat():
    for given_j in (NAN, INF, -1.0, 1e9):
        s, i = bare()
        i.water_c, i.given_j = 30.0, given_j
        warned = 0
        for n in range(2, 500):
            s.step(n * 1000, 1000, i)
            warned |= s.warn
        assert warned == 1 << faults.WATER_STUCK, given_j
        assert s.fault == faults.WATER_STUCK


def test_heat_from_outside_warns_and_the_guard_closes_again():
    kitchen = held(POT, limit_c=60.0, bowl_probe=False)
    kitchen.bath.outside_w = 120.0
    kitchen.run(1100)
    calm(kitchen)
    assert kitchen.warned & 1 << faults.HEAT_FROM_OUTSIDE
    assert kitchen.supervisor.guard_ok


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


def test_the_hard_limit_latches_in_a_hold_and_only_waits_before_one():
    for state, latched in (("hold", True), ("off", True), ("idle", False), ("check", False), ("pause", False)):
        s, i = bare(state)
        i.stage_limit_c = 70.0
        now_ms = 1000
        while i.water_c < 60.0:
            i.water_c += 2.0
            now_ms += 1000
            s.step(now_ms, 1000, i)
        assert s.latched == latched, state
        assert not s.heat_ok
        assert (s.fault == faults.OVER_HARD_LIMIT) == latched


def test_a_late_or_backward_pass_gives_no_heat_and_is_counted():
    for dt_ms in (3001, 100000, 199, 0, -5):
        s, i = bare()
        s.step(2000, dt_ms, i)
        assert not s.heat_ok
        assert s.late_passes == 1
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


# -- the evidence -----------------------------------------------------------------------------------------------------


def test_heat_on_its_way_arrives_whole_and_late():
    """A first-order lag of 30 + 30 s: 1 - 1/e of a burst has arrived after 60 s (0.632; 1 % for the 1 s steps)."""
    heat = HeatOnItsWay(values_of(POT))
    arrived_j = heat.step(600.0, 1.0)
    for _ in range(59):
        arrived_j += heat.step(0.0, 1.0)
    assert abs(arrived_j / 600.0 - 0.632) < 0.01
    for _ in range(600):
        arrived_j += heat.step(0.0, 1.0)
    assert abs(arrived_j - 600.0) < 0.1


def test_a_tuned_loss_is_believed_doubled_and_never_over_the_setting():
    assert believed_loss_w_per_k(values_of(POT, **{"gains.loss_w_per_k": 1.5})) == 3.0
    assert believed_loss_w_per_k(values_of(POT, **{"gains.loss_w_per_k": 50.0})) == 12.0


# -- latches -------------------------------------------------------------------------------------------------------


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
        assert fault == DOUBTED or faults.FAULTS[fault][faults.NUMBER] == fault != faults.NONE
        assert reaction in (WARN, WAIT, OPEN, RETEST, OFF, LATCH)
        assert callable(seen)


def test_a_reading_that_moved_a_little_under_heat_asks_for_a_retest():
    s, i = bare()
    s.response.state = s.response.WEAK
    s.response.step = lambda *facts: None
    s.step(2000, 1000, i)
    assert s.retest == faults.HEATER_LOST
    assert not s.heat_ok
