"""Duty to on-time: exact in the mean, bounded in each period, zero at once."""

from bainboard.drive import Pwm, TimeProportioned


def run(drive, periods, duty, now_ms=0, late_ms=0):
    """Call the drive at its deadlines (plus `late_ms`); (measured on-time, elapsed)."""
    start_ms, on_ms, level, last_ms = now_ms, 0, 0, now_ms
    end_ms = start_ms + periods * drive.period_ms
    drive.set(duty)
    while now_ms < end_ms:
        on_ms += level * (now_ms - last_ms)
        last_ms = now_ms
        level = drive.poll(now_ms)
        now_ms = max(drive.deadline_ms + late_ms, now_ms + 1)
    return on_ms + level * (end_ms - last_ms), end_ms - start_ms


def test_mean_duty_of_a_thousand_periods_is_within_a_ten_thousandth():
    for period_ms, step_ms in ((1000, 10), (1000, 20), (2000, 20)):
        for duty in (0.0, 0.0003, 0.00512, 0.1234, 0.3333, 0.5, 0.987, 0.9999, 1.0):
            on_ms, all_ms = run(TimeProportioned(period_ms, step_ms, 0), 1000, duty)
            assert abs(on_ms / all_ms - duty) <= 1e-4, (period_ms, step_ms, duty, on_ms)


def test_mean_duty_holds_when_every_edge_is_late():
    for late_ms in (1, 7, 13):
        on_ms, all_ms = run(TimeProportioned(1000, 20, 0), 1000, 0.1234, late_ms=late_ms)
        assert abs(on_ms / all_ms - 0.1234) <= 1e-4, (late_ms, on_ms)


def test_what_the_drive_measured_is_what_the_switch_did():
    drive = TimeProportioned(1000, 20, 0)
    on_ms, all_ms = run(drive, 100, 0.37, late_ms=5)
    assert abs(drive.take_on_ms(all_ms) - on_ms) <= 5
    assert drive.take_on_ms(all_ms) == 0


def test_on_time_comes_in_whole_steps():
    drive = TimeProportioned(1000, 20, 0)
    drive.set(0.0333)
    edges = []
    for now_ms in range(10000):
        level = drive.poll(now_ms)
        if not edges or edges[-1][1] != level:
            edges.append((now_ms, level))
    on = [edges[i + 1][0] - edges[i][0] for i in range(len(edges) - 1) if edges[i][1]]
    assert len(on) == 10
    assert all(length in (20, 40) for length in on)


def test_off_is_at_once_and_carries_nothing_over():
    drive = TimeProportioned(1000, 20, 0)
    drive.set(0.8)
    assert drive.poll(0) == 1
    drive.off(100)
    assert drive.level == 0
    assert [drive.poll(now_ms) for now_ms in range(100, 5000, 10)] == [0] * 490
    assert drive.take_on_ms(5000) == 100


def test_set_zero_opens_the_switch_at_the_next_poll():
    drive = TimeProportioned(1000, 20, 0)
    drive.set(0.8)
    assert drive.poll(0) == 1
    drive.set(0.0)
    assert drive.poll(1) == 0


def test_out_of_rest_heat_begins_at_the_next_poll():
    drive = TimeProportioned(2000, 20, 0)
    for now_ms in range(0, 5000, 1000):
        assert drive.poll(now_ms) == 0
    drive.set(0.5)
    assert drive.poll(5000) == 1
    assert drive.deadline_ms == 6000


def test_full_duty_never_opens_the_switch():
    drive = TimeProportioned(1000, 10, 0)
    drive.set(1.0)
    assert all(drive.poll(now_ms) == 1 for now_ms in range(0, 20000, 7))


def test_what_is_no_duty_is_zero():
    for drive in (TimeProportioned(1000, 20, 0), Pwm(0)):
        for duty in (float("nan"), float("inf"), -0.1, 1.1):
            drive.set(0.5)
            drive.set(duty)
            assert drive.duty == 0.0
            assert drive.poll(1) == 0


def test_a_loop_that_stood_still_does_not_make_up_for_it():
    drive = TimeProportioned(1000, 20, 0)
    drive.set(1.0)
    drive.poll(0)
    drive.set(0.1)
    drive.poll(60000)  # closed for a minute instead of a second
    on_ms, all_ms = run(drive, 10, 0.1, now_ms=60000)
    assert abs(on_ms / all_ms - 0.1) <= 0.02


def test_deadline_is_the_next_edge():
    drive = TimeProportioned(1000, 20, 0)
    drive.set(0.3)
    drive.poll(0)
    assert drive.deadline_ms == 300
    drive.poll(300)
    assert drive.deadline_ms == 1000


def test_ripple_on_a_first_order_lag_is_the_textbook_s():
    # Peak to peak K_rise D (1 - D) T_w / tau. Check value (computed): 50 K, 1046 s, D 0.13, 10 s: 54 mK.
    rise_c, tau_s, duty, period_s = 50.0, 1046.0, 0.13, 10.0
    formula_c = rise_c * duty * (1.0 - duty) * period_s / tau_s
    assert abs(formula_c - 0.054) <= 0.0005
    drive = TimeProportioned(10000, 10, 0)
    drive.set(duty)
    temp_c, low_c, high_c = rise_c * duty - formula_c / 2.0, 1e9, -1e9
    for now_ms in range(0, 100000, 100):
        temp_c += (rise_c * drive.poll(now_ms) - temp_c) * 0.1 / tau_s
        if now_ms >= 90000:  # one whole period
            low_c, high_c = min(low_c, temp_c), max(high_c, temp_c)
    assert abs(high_c - low_c - formula_c) <= 0.02 * formula_c


def test_pwm_gives_its_duty_and_counts_it_as_on_time():
    drive = Pwm(0)
    drive.set(0.3333)
    for now_ms in range(0, 100001, 100):
        assert drive.poll(now_ms) == drive.duty
    assert abs(drive.take_on_ms(100000) - 33330) <= 2
    drive.off(100000)
    assert drive.poll(100001) == 0.0
    assert drive.deadline_ms > 100001
    assert drive.take_on_ms(200000) == 0
