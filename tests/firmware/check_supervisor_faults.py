"""The supervisor meets each single fault of heater, switch and probes in its stated time.

Oracle: the project's own safety rules, and the bath of fake_bath.py, whose truth the supervisor never sees.
"""

from fake_bath import PLATE, POT, RIGS, Bath, Kitchen, Noise, values_of
from fake_hold import HARD, INF, NAN, bare, calm, held

from bainboard import faults
from bainboard.heat_balance import PROBE_LAG_S, largest_load_j_per_k, smallest_load_j_per_k

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


def test_in_a_melt_water_in_doubt_is_bounded_nearer_to_what_the_chocolate_must_never_meet():
    """Learnt losses: over (50 - 3 + 3) °C; otherwise over 43 °C.

    The account: (50 - 3 + 7.5 - 49) K x 4180 J/K are 153 s of 150 W.
    """
    for never_c, over, full_s in ((50.0, False, 153), (200.0, True, 237)):
        s, i = bare(**{"gains.loss_w_per_k": 1.0})
        i.water_c, i.stage_limit_c, i.never_c, i.state = 49.0, 50.0, never_c, "check"
        s.step(6000, 1000, i)
        s.tested(0, 0)
        s.believed.water_c, i.given_j, i.state, waited_s = 47.5, 150.0, "hold", 0
        while not s.account.full:
            waited_s += 1
            s.step(6000 + 1000 * waited_s, 1000, i)
            assert waited_s > 1 or s.believed.over == over
        assert abs(waited_s - full_s) <= 3, (never_c, waited_s)


def test_a_probe_that_falls_during_the_self_test_is_judged_by_what_it_read_before():
    """Three degrees under the start's 30 °C and the room's 25 °C: no proof, and ten minutes of heat latch."""
    s, i = bare()
    i.room_c, i.state = 25.0, "idle"
    s.step(10000, 1000, i)
    s.begin(10000)
    i.state = "check"
    for n in range(90):
        i.water_c = 30.0 - 0.1 * n
        s.step(11000 + 1000 * n, 1000, i)
    s.tested(0, 0)
    i.state, i.given_j = "hold", 150.0
    for n in range(640):
        s.step(102000 + 1000 * n, 1000, i)
    assert s.fault == faults.PROBE_OUT


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


def test_a_second_probe_that_reads_a_little_over_the_limit_is_no_fault_and_one_far_over_it_is():
    """Two sound probes differ by up to 0.5 K each (DS18B20 data sheet), and by 1.5 K without a word."""
    for second_c, fault in ((36.0, faults.NONE), (36.6, faults.OVER_STAGE)):
        s, i = bare()
        i.second_fitted, i.second_c = True, 34.0
        s.step(1000, 1000, i)
        i.second_c = second_c
        for n in range(2, 100):
            s.step(n * 1000, 1000, i)
        assert s.fault == fault, second_c


def test_a_probe_that_fails_each_third_reading_latches_and_one_glitch_does_not():
    """4 x 3 / (4 - 2) rounds of three: 18 passes. One in five never."""
    for every, latched in ((2, True), (3, True), (4, True), (5, False)):
        s, i = bare()
        for n in range(2, 400):
            i.water_c = None if n % every == 0 else 30.0
            s.step(n * 1000, 1000, i)
        assert s.latched == latched, every


def test_a_plug_that_fails_each_fifth_reading_is_one_warning_until_it_was_good_for_five_minutes():
    s, i = bare()
    said = []
    for n in range(2, 3600):
        loose = n < 1200 or n >= 1900
        i.water_c = None if loose and n % 5 == 0 else 30.0
        s.step(n * 1000, 1000, i)
        if s.fresh >> faults.WATER_PROBE & 1:
            said.append(n)
        assert s.warn >> faults.WATER_PROBE & 1 == (i.water_c is None)
    assert said == [5, 1900]


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
    assert s.warn == 0  # a bowl that was stirred, perhaps
    assert s.bowl_c is None
    for n in range(120):
        s.step(24000 + n * 1000, 1000, i)
    assert s.warn == 1 << faults.BOWL_OUT
    assert s.heat_ok
    i.rebooting = True
    s.step(144000, 1000, i)
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
