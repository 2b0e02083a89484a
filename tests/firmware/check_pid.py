"""The PID law: its arithmetic by hand, its filters, its limits, and what must never poison it."""

from bainboard.control.pid import KICK, MAX_DT_S, QUANTUM_C, Pid, clamp, sane

NAN = float("nan")
INF = float("inf")


def near(got, want, tolerance=1e-5):
    return abs(got - want) <= tolerance


def wide(kp, ti_s, td_s=0.0, weight=1.0):
    """A controller whose limits are out of the way."""
    return Pid(kp, ti_s, td_s, weight, -1000.0, 1000.0)


def test_two_steps_worked_by_hand():
    # kp 0.5, ti 10 s, weight 0.6, target 30, 1 s apart.
    # y = 28:   P = 0.5 (18 - 28) = -5;      I = 0.5 * 2 * 1/10 = 0.1;            output -4.9
    # y = 28.5: P = 0.5 (18 - 28.5) = -5.25; I = 0.1 + 0.5 * 1.5 * 1/10 = 0.175;  output -5.075
    pid = wide(0.5, 10.0, weight=0.6)
    assert near(pid.step(30.0, 28.0, 1.0), -4.9)
    assert near(pid.step(30.0, 28.5, 1.0), -5.075)


def test_feed_is_added_to_the_output():
    pid = wide(0.5, 10.0)
    assert near(pid.step(30.0, 30.0, 1.0, 0.3), 0.3)


def test_derivative_of_a_ramp_is_kp_td_times_its_slope():
    # Oracle: the filter of a ramp settles to the ramp's slope after some time constants (here 20 of them).
    pid = wide(0.2, 1e9, 10.0)
    y = 20.0
    for _ in range(200):
        y += 0.125
        got = pid.step(0.0, y, 1.0)
    assert near(-0.2 * y - got, 0.2 * 10.0 * 0.125, 1e-3)


def test_a_calmed_derivative_sees_the_same_ramp_and_less_of_a_quantum():
    # Oracle: a step through two filters in a row gives, at first, what the second passes of what the first does.
    pid = Pid(0.2, 1e9, 40.0, low=-100.0, high=100.0, calm_s=10.0)
    pid.step(0.0, 20.0, 1.0)
    y = 20.0 + QUANTUM_C
    kick = -0.2 * y - pid.step(0.0, y, 1.0)
    assert near(kick, 0.2 * 40.0 * QUANTUM_C / (11.0 * (pid.tf_s + 1.0)), 1e-4)
    for _ in range(400):
        y += 0.125
        got = pid.step(0.0, y, 1.0)
    assert near(-0.2 * y - got, 0.2 * 40.0 * 0.125, 1e-3)


def test_one_quantum_of_the_probe_moves_the_derivative_by_no_more_than_its_share():
    for kp, td_s in ((0.1, 100.0), (0.8, 40.0), (5.0, 60.0)):
        pid = Pid(kp, 1e9, td_s)
        pid.step(30.0, 30.0, 1.0, 0.5)
        before = pid.step(30.0, 30.0, 1.0, 0.5)
        after = pid.step(30.0, 30.0 + QUANTUM_C, 1.0, 0.5)
        assert before - after <= kp * QUANTUM_C + KICK + 1e-5
        assert pid.tf_s >= td_s / 4.0


def test_output_stays_inside_its_limits():
    pid = Pid(5.0, 10.0)
    assert pid.step(40.0, 20.0, 1.0) == 1.0
    assert pid.step(20.0, 40.0, 1.0) == 0.0


def test_an_hour_at_the_rail_does_not_wind_the_integral():
    pid = Pid(0.1, 100.0)
    for _ in range(3600):
        pid.step(40.0, 20.0, 1.0)
    # proportional action alone would give 2.0; 10 K over the target must cut the heat at once
    assert pid.step(20.0, 30.0, 1.0) == 0.0


def test_back_calculation_follows_what_was_really_applied():
    # The law asks for 0.5, nothing is applied: the integral falls until it asks for kp * e * tt / ti, the textbook's
    # equilibrium (Astrom & Hagglund 1995): here 0.05 * 2 * 50 / 100.
    pid = Pid(0.05, 100.0)
    pid.reset(0.4)
    for _ in range(1000):
        got = pid.step(32.0, 30.0, 1.0)
        pid.applied(0.0)
    assert near(pid.tt_s, 50.0)
    assert near(got, 0.05, 0.002)


def test_rest_at_the_low_end_does_not_lift_the_integral():
    # The law itself is the oracle: at zero error it gives its integral, which no hour at rest has taught anything.
    pid = Pid(0.7, 400.0)
    pid.reset(0.02)
    for _ in range(3600):
        pid.applied(pid.step(32.0, 33.5, 1.0))
    assert near(pid.step(32.0, 32.0, 1.0), 0.02, 0.005)


def test_integral_obeys_the_directions_it_is_forbidden():
    pid = wide(1.0, 10.0)
    pid.step(30.0, 20.0, 1.0, 0.0, False, True)
    assert pid.integral == 0.0
    pid.step(30.0, 40.0, 1.0, 0.0, True, False)
    assert pid.integral == 0.0
    pid.step(30.0, 20.0, 1.0, 0.0, True, False)
    assert near(pid.integral, 1.0)


def test_new_gains_do_not_move_the_output():
    pid = Pid(0.2, 100.0, 10.0)
    for y in (29.0, 29.5, 29.75, 29.75):
        before = pid.step(30.0, y, 1.0, 0.3)
    pid.set_gains(0.6, 40.0, 20.0, 0.5)
    assert near(pid.step(30.0, 29.75, 0.0, 0.3), before)


def test_new_gains_at_a_rail_leave_the_integral_alone():
    pid = Pid(1.0, 100.0)
    pid.reset(0.2)
    pid.step(30.0, 20.0, 1.0)
    before = pid.integral
    pid.set_gains(2.0, 100.0, 0.0, 1.0)
    assert pid.integral == before


def test_preset_takes_over_from_another_hand_without_a_bump():
    pid = Pid(0.2, 100.0)
    pid.step(30.0, 29.0, 1.0)
    pid.preset(0.7)
    assert near(pid.step(30.0, 29.0, 0.0), 0.7)


def test_reset_rests_where_it_is_asked_to():
    pid = Pid(0.2, 100.0, weight=0.5)
    pid.reset(0.3, 31.0)
    assert near(pid.step(31.0, 31.0, 1.0), 0.3)
    assert near(pid.at_rest(31.0), 0.3)


def test_what_is_no_number_gives_the_low_limit_and_leaves_no_trace():
    clean, dirty = Pid(0.2, 50.0, 10.0), Pid(0.2, 50.0, 10.0)
    for i in range(60):
        y = 29.0 + 0.02 * i
        for bad in (NAN, INF, -INF, None):
            assert dirty.step(30.0, bad, 1.0) == 0.0
            assert dirty.step(bad, y, 1.0) == 0.0
            assert dirty.step(30.0, y, 1.0, bad) == 0.0
            dirty.applied(bad)
        assert clean.step(30.0, y, 1.0) == dirty.step(30.0, y, 1.0)


def test_a_dt_that_is_none_does_not_integrate():
    pid = Pid(0.2, 50.0, 10.0)
    pid.reset(0.3)
    pid.step(30.0, 29.0, 1.0)
    before = pid.integral
    for dt_s in (0.0, -1.0, NAN, INF, None, MAX_DT_S + 0.1, 1e9):
        got = pid.step(30.0, 29.0, dt_s)
        assert near(got, 0.2 + before)
        assert pid.integral == before


def test_a_proportional_controller_has_no_integral_time():
    pid = wide(2.0, 0.0)
    for _ in range(100):
        assert near(pid.step(30.0, 29.0, 1.0), 2.0)


def test_integral_does_not_stall_in_single_precision():
    # 1e-6 a step is under half the spacing of single floats at 32 (3.8e-6): a plain sum would stay where it is.
    pid = wide(1.0, 3600.0)
    pid.reset(32.0)
    for _ in range(10000):
        pid.step(0.0036, 0.0, 1.0)
    assert near(pid.integral, 32.01, 1e-4)


def test_integrator_settles_to_within_a_tenth_of_a_millikelvin():
    # A lag of 100 s, gain 2, under PI from 32.5: y -> target. Oracle: integral action leaves no error.
    pid = Pid(0.5, 60.0, low=0.0, high=100.0)
    pid.reset(16.25)
    y = 32.5
    for _ in range(3000):
        y += (2.0 * pid.step(32.0, y, 1.0) - y) / 100.0
    assert near(y, 32.0, 1e-4)


def test_sane_and_clamp():
    assert [sane(value) for value in (0.0, -40.0, 99.0)] == [True] * 3
    assert [sane(value) for value in (NAN, INF, -INF, None, 1e30)] == [False] * 5
    assert (clamp(2.0, 0.0, 1.0), clamp(-2.0, 0.0, 1.0), clamp(0.5, 0.0, 1.0)) == (1.0, 0.0, 0.5)


def test_an_error_beyond_its_reach_integrates_as_its_reach():
    """Worked by hand: kp 2, ti 10 s, reach 0.5: 2 * 0.5 / 10 a second, whichever way."""
    for target, move in ((3.0, 0.1), (-3.0, -0.1), (0.25, 0.05)):
        pid = Pid(2.0, 10.0, 0.0, 1.0, -50.0, 50.0, reach=0.5)
        pid.step(target, 0.0, 1.0)
        assert abs(pid.integral - move) < 1e-6


def test_an_hour_at_full_heat_digs_no_deeper_than_a_quarter():
    """A long integral time must not spend an hour filling a hole: DIG, and one step's move at most beyond it."""
    pid = Pid(1.5, 2000.0)
    y = 0.0
    for _ in range(3600):
        assert pid.step(20.0, y, 1.0) == 1.0
    assert -0.3 < pid.integral <= 0.0


def test_gains_that_come_while_the_rails_meet_are_taken():
    pid = Pid(2.0, 100.0, low=20.0, high=33.0)
    pid.low = pid.high = 30.0
    pid.set_gains(3.0, 200.0, 45.0, 1.0)
    assert pid.kp == 3.0
    assert pid.step(31.0, 29.0, 1.0) == 30.0
