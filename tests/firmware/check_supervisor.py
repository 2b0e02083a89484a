"""The supervisor pass by pass: readings, limits, times, its table and its latches; nothing adds heat.

Oracle: the project's own safety rules.
"""

from fake_bath import POT, Noise, values_of
from fake_hold import INF, NAN, bare

from bainboard import faults
from bainboard.supervisor import BACK, CHECKS, LATCH, OFF, OPEN, RETEST, WAIT, WARN, Inputs, Supervisor, safe

# -- readings, limits and times ------------------------------------------------------------------------------------


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

    look = rest = step


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
    ("alone", "over", True, NO_HEAT, faults.NONE),
    ("alone", "long", True, WORD, faults.HEAT_CAPPED),
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
        unsure = then == LATCHED and safe(fault)
        assert s.warn == (1 << fault if then == WORD else unsure << faults.UNASKED_HEAT), at
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
