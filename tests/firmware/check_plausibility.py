"""Signs that readings give: each alone, on plain numbers. Oracle: the project's safety rules."""

from fake_bath import POT, values_of

from bainboard.lone_probe import Alone, Lifted
from bainboard.plausibility import Believed, BowlProbeOut, BowlWitness, Fall, Pace, Poured, Surge, Twin


def test_a_fall_at_the_allowed_rate_is_none_and_twice_that_is_met_when_it_is_a_kelvin_deep():
    fall, fast = Fall(2.0, 1.0), Fall(2.0, 1.0)
    for n in range(600):
        assert not fall.step(1.0, 40.0 - n / 30.0)
    met = [n for n in range(60) if fast.step(1.0, 40.0 - n / 15.0)]
    assert 28 <= met[0] <= 31  # 4 K/min less 2 K/min for half a minute


def test_a_bowl_probe_in_the_air_is_out_until_it_reads_as_before_or_a_person_acts():
    for back_c, explained in ((30.0, False), (21.0, True)):
        probe = BowlProbeOut(values_of(POT))
        for c in (31.5, 30.0, 28.6):
            probe.step(1.0, c, 33.0, 20.0, False, False)
            assert not probe.out
        probe.step(1.0, 27.0, 33.0, 20.0, False, False)
        assert probe.out
        probe.step(1.0, 24.0, 33.0, 20.0, False, False)
        probe.step(1.0, back_c, 33.0, 20.0, False, explained)
        assert not probe.out


def test_a_half_melted_bowl_that_was_stirred_is_back_once_it_stays_well_over_the_room():
    for stays_c, k_per_s, melts, out_s in ((34.0, 0.0, True, 121), (34.0, 0.0, False, None), (27.5, 0.0, True, None),
                                           (40.0, -0.02, True, None)):
        probe, met = BowlProbeOut(values_of(POT)), None
        probe.step(1.0, 46.0, 50.0, 20.0, melts, False)
        for n in range(400):
            probe.step(1.0, stays_c + k_per_s * n, 50.0, 20.0, melts, False)
            if n and met is None and not probe.out:
                met = n
        assert (met is None) == (out_s is None), (stays_c, k_per_s, melts)
        assert met is None or abs(met - out_s) <= 2


def test_a_refill_of_a_fifth_and_a_warm_bowl_in_cold_water_are_no_probe_in_the_air():
    probe = BowlProbeOut(values_of(POT))
    for c in (31.5, 30.0, 29.0, 28.5, 28.5):
        probe.step(1.0, c, 33.0, 20.0, False, False)
    assert not probe.out
    probe, c = BowlProbeOut(values_of(POT)), 45.0
    for _ in range(3000):
        c += (25.0 - c) / 80.0  # nearly empty
        probe.step(1.0, c, 25.0, 20.0, False, False)
        assert not probe.out


def lifted_at(bowl_of, water_of, seconds, room_c=20.0, melts=False):
    """(the sign at the end, when it first said that the bowl is away, s, or None); tau is 1101 s for the pot."""
    lifted, met = Lifted(1101.0), None
    for n in range(seconds):
        lifted.step(1.0, bowl_of(n), water_of(n), room_c, melts)
        if lifted.away and met is None:
            met = n
    return lifted.away, met


def bench_c(n):
    """2 kg on a bench at 20 °C, time constant 45 min."""
    return 20.0 + 11.5 * 0.999629 ** n


def test_a_bowl_that_cools_under_warm_water_is_out_of_it_until_it_warms_again():
    """31.5 °C has lost 1.25 K after 311 s (by hand)."""
    away, met = lifted_at(bench_c, lambda n: 33.5, 9000)
    assert away
    assert 311 <= met <= 311 + 70  # to the minute, and ten seconds of the mean
    assert lifted_at(bench_c, lambda n: 33.5 - max(0, n - 900) / 300.0, 9000)[0]  # a drift brings the reading down
    for back in (lambda n: bench_c(2000) + max(0, n - 2000) / 1200.0, lambda n: max(bench_c(n), 29.7)):
        assert not lifted_at(back, lambda n: 33.5, 4200)[0]  # it warms, or stays near where it was
    for bench in (lambda n: max(bench_c(n), 27.0), lambda n: bench_c(n) + 3.0 * (n > 2000) * 0.999 ** max(0, n - 2000)):
        assert lifted_at(bench, lambda n: 33.5, 4000)[0]  # a warm kitchen; warm chocolate poured in


def test_warm_chocolate_poured_in_is_no_warming_and_hides_no_cooling():
    """On the bench it loses 0.15 K/min and more (11.5 K / 45 min x e^-12/45); each 12 minutes that is poured in again.

    Of 1.6 K, less what a bowl 1.5 K under its water may fall (1.5 K x 2 / 18 min at the most), so within three pours.
    """
    away, met = lifted_at(lambda n: bench_c(n % 720), lambda n: 32.0, 9000)
    assert away
    assert met < 3 * 720
    slowly = Lifted(1101.0)
    c = 31.5
    for n in range(9000):  # and through a lag of 30 s
        c += (bench_c(n % 720) - c) / 30.0
        slowly.step(1.0, c, 32.0, 20.0, False)
    assert slowly.away


def test_pours_do_not_bring_a_bowl_back_into_its_bath():
    small, left, c = Lifted(400.0), False, 31.5  # a small bowl warms fast
    for n in range(9000):
        c += (31.5 - 3.0 * (1.0 - 0.9985 ** (n % 720)) - c) / 30.0
        small.step(1.0, c, 34.5, 20.0, False)
        left = left or small.away
        assert small.away == left, n
    assert left
    # At the room, and filled up with warm chocolate just before each twenty minutes are over.
    assert lifted_at(lambda n: 20.0 + 2.0 * 0.999 ** ((n + 100) % 1200), lambda n: 33.0, 1210)[0]


def test_a_bowl_told_off_and_on_again_and_again_is_still_seen_to_cool():
    lifted = Lifted(1101.0)
    for n in range(3600):
        if n % 300 < 200:
            lifted.step(1.0, bench_c(n), 33.0, 20.0, False)
        else:
            lifted.blind()
    assert lifted.away
    refills = Lifted(1101.0)
    for n in range(9000):  # off for a refill each 20 min, 2 K colder each time, and warm again in its bath
        if n % 1200 >= 60:
            refills.step(1.0, 31.5 - 2.0 * 0.9991 ** (n % 1200 - 60), 33.0, 20.0, False)
            assert not refills.away
        else:
            refills.blind()


def test_a_bowl_that_was_away_as_the_power_failed_is_away_until_it_warms_or_stays():
    for bowl_of, away in ((bench_c, True), (lambda n: 31.5, False), (lambda n: 28.0 + n / 900.0, False)):
        lifted = Lifted(1101.0, True)
        assert lifted.away
        for n in range(2000):
            lifted.step(1.0, bowl_of(n), 33.0, 20.0, False)
        assert lifted.away == away


def test_a_cold_bowl_that_does_not_warm_under_warm_water_is_out_of_it():
    """In 20 min at 33 °C a bowl of 20 °C must warm by (13 - 4) K x 1200 s / (8 x 1101 s) = 1.2 K (by hand)."""
    for rises_k, met in ((0.0, 1199), (1.1, 1199), (1.4, None)):
        assert lifted_at(lambda n, k=rises_k: 20.0 + k * n / 1200.0, lambda n: 33.0, 1210) == (met is not None, met)
    assert lifted_at(lambda n: 26.2, lambda n: 33.0, 1210) == (False, None)  # not stirred, in a cold room
    assert lifted_at(lambda n: 20.0, lambda n: 33.0, 1210, melts=True) == (True, 1199)  # on the bench
    assert lifted_at(lambda n: 28.0, lambda n: 50.0, 2410, melts=True) == (False, None)  # a block that melts
    # A cold block in a bath that warms with it, its middle half an hour late.
    away, _ = lifted_at(lambda n: 20.0 + max(0, n - 1200) / 240.0, lambda n: min(50.0, 20.0 + n / 120.0), 3000,
                        melts=True)
    assert not away


def test_a_bowl_that_cools_with_its_water_or_stays_under_it_is_in_it():
    for bowl_of, water_of, melts in (
            (lambda n: 45.0 - n / 600.0, lambda n: 45.5 - n / 590.0, False),  # it cools to its next stage
            (lambda n: 29.0 - n / 1200.0, lambda n: 33.0, False),  # a draught: 1 K in twenty minutes
            (lambda n: 20.0 + n / 900.0, lambda n: 50.0, True),
            # Stirred each half hour, a middle that is cooled from above falls back after it.
            (lambda n: 29.0 + 1.5 * 0.9985 ** (n % 1800) * (n >= 1800), lambda n: 45.0, True)):
        assert lifted_at(bowl_of, water_of, 3000, melts=melts) == (False, None)


def test_a_rise_beyond_half_again_of_all_that_heat_can_do_surges():
    values = values_of(POT)
    for times, surges in ((1.4, False), (4.0, True)):
        sign = Surge(values)
        for n in range(200):
            sign.step(25.0 + times * 150.0 / 4180.0 * n, 24.0, False, 150.0)
        assert sign.surging == surges, times


def test_a_rise_of_two_degrees_far_faster_than_the_stated_water_allows_is_too_fast():
    """All of 2 L and nothing else takes 8360 J/K (by hand): 150 W lift it by 1 K in 56 s."""
    for times, fast in ((1.6, False), (1.9, True)):
        pace = Pace(values_of(POT))
        for n in range(300):
            pace.step(25.0 + times * 150.0 / 8360.0 * n, 24.0, False, 150.0, False)
            assert not (pace.fast and times * 150.0 / 8360.0 * n < 2.0)
        assert pace.fast == fast, times
    explained = Pace(values_of(POT))
    for n in range(300):
        explained.step(25.0 + n / 20.0, 50.0, False, 150.0, False)  # a warmer bowl
        explained.step(25.0 + n / 20.0, None, True, 150.0, False)  # the switch at rest
    assert not explained.fast


def test_a_warmer_bowl_or_a_switch_at_rest_explains_any_rise():
    for bowl_c, at_rest in ((60.0, False), (None, True)):
        sign = Surge(values_of(POT))
        for n in range(100):
            sign.step(25.0 + 0.2 * n, bowl_c, at_rest, 0.0)
        assert not sign.surging


def contradicted_s(water_c, bowl_c, slope_k_per_s, most_s=7200):
    """(seconds until heat waits, until it is a fault) for a bowl that moves evenly; None for never."""
    sign, waits = BowlWitness(values_of(POT)), None
    for n in range(most_s):
        sign.step(1.0, water_c, bowl_c + slope_k_per_s * n)
        if sign.false and waits is None:
            waits = n
        if sign.false and sign.must_k >= sign.LATCH_K:
            return waits, n
    return waits, None


def test_a_bowl_that_stays_over_colder_water_is_a_fault_in_its_stated_time():
    """tau of the pot's bowl: (2.2 kg x 1590 + 0.6 kg x 500) J/K over 60 W/m2K x 0.0575 m2 (by hand): 1101 s."""
    for gap_k in (1.5, 3.0, 8.0):
        waits, fault = contradicted_s(31.5 - gap_k, 31.5, 0.0)
        assert abs(waits - 2 * 1101 * 0.25 / (gap_k - 0.5)) < 15, gap_k
        assert abs(fault - 2 * 1101 * 1.0 / (gap_k - 0.5)) < 60, gap_k


def test_a_bowl_that_cools_as_it_must_and_water_near_its_bowl_are_no_fault():
    assert contradicted_s(28.5, 31.5, -3.0 / 4000.0, 1800) == (None, None)  # tau four times the stated
    assert contradicted_s(30.7, 31.5, 0.0) == (None, None)
    assert contradicted_s(33.0, 31.5, 0.001, 2400) == (None, None)


def test_hot_chocolate_poured_into_a_bowl_over_cold_water_begins_the_count_again():
    sign = BowlWitness(values_of(POT))
    for _ in range(400):
        sign.step(1.0, 28.0, 31.5)
    assert sign.must_k > 0.2
    for n in range(30):
        sign.step(1.0, 28.0, 31.5 + 0.07 * n)
    assert sign.must_k < 0.1


def test_two_water_probes_that_differ_for_long_warn_and_far_ones_are_a_fault():
    for apart_k, apart_s, far_s in ((1.4, None, None), (1.6, 1200, None), (3.1, 1200, 300)):
        for sign_of in (1.0, -1.0):
            twin, seen = Twin(), {}
            for n in range(1, 1500):
                twin.step(1.0, 33.0, 33.0 + sign_of * apart_k)
                for name in ("apart", "far"):
                    if getattr(twin, name):
                        seen.setdefault(name, n)
            assert (seen.get("apart"), seen.get("far")) == (apart_s, far_s), apart_k
    for _ in range(100):
        twin.step(1.0, 33.0, 37.0)
    twin.step(1.0, 33.0, 34.0)  # a filled pot mixes
    twin.step(1.0, 33.0, 37.0)
    assert not twin.far


def test_water_believed_from_heat_and_the_learnt_loss_ends_where_its_formula_says():
    """1.3 x 2 W/K, 2 % more for each degree over 33: 38 °C in a room of 20 lose 2.6 x 1.1 x 18 = 51.5 W (by hand)."""

    class Melting(Believed):
        WAY_UP_S = 1e9

    for power_w, over in ((60.0, True), (53.0, True), (50.0, False)):
        believed = Melting(values_of(POT, **{"gains.loss_w_per_k": 2.0}))
        for _ in range(10000):
            believed.step(4.0, 33.0, 20.0, 4.0 * power_w, 35.0, True, False)
        c = believed.water_c
        assert abs(2.6 * (1.0 + 0.02 * (c - 33.0)) * (c - 20.0) - power_w) < 0.1
        assert (believed.over_s > 0.0) == over
    unlearnt = Believed(values_of(POT))
    unlearnt.step(1.0, 33.0, 20.0, 1e6, 35.0, True, False)
    assert unlearnt.water_c is None


def test_a_melt_has_one_way_up_of_four_hours_however_often_the_power_fails():
    """After it M for 45 °C in a room of 20 °C is 20 + 32 / (1.3 x 1.2) = 40 °C or so (by hand), before it 48 °C."""
    values, over = values_of(POT, **{"gains.loss_w_per_k": 2.0}), []
    believed = Believed(values)
    for _ in range(16):
        over.append(believed.over)
        for _second in range(900):
            believed.step(1.0, 45.0, 20.0, 2.6 * 1.24 * 25.0, 45.0, True, False)
        believed = Believed(values, believed.stored_c, believed.quarters)
    believed.step(1.0, 45.0, 20.0, 0.0, 45.0, True, False)
    assert not any(over)
    assert believed.over
    believed.step(1.0, 50.0, 20.0, 0.0, 35.0, False, False)  # it reads as warm as it is believed
    assert believed.quarters == 0


def test_what_is_stored_of_the_water_is_never_colder_than_believed_and_no_cut_lifts_it():
    values = values_of(POT, **{"gains.loss_w_per_k": 2.0})
    believed, stored = Believed(values), set()
    for power_w in (150.0, 0.0):
        for _ in range(3000):
            believed.step(1.0, 20.0, 20.0, power_w, 35.0, True, False)
            assert believed.water_c <= believed.stored_c <= believed.water_c + believed.STORED_K
            stored.add(believed.stored_c)
    assert 10 < len(stored) < 50  # a record is written so often in these hours
    stored_c = believed.stored_c
    for _ in range(10):
        believed = Believed(values, believed.stored_c)
        believed.step(1.0, 15.0, 20.0, 0.0, 35.0, True, False)
        assert believed.stored_c == stored_c
    assert Believed(values_of(POT)).stored_c is None


def test_water_known_to_have_been_left_alone_is_believed_cooler_but_no_cooler_than_it_reads():
    """2.6 W/K on half of the load, and half of the water again: tau 3600 s or so, so two hours leave e^-2 (by hand)."""
    values = values_of(POT, **{"gains.loss_w_per_k": 2.0})
    load_j_per_k = 0.5 * (2.0 * 4180.0 + 0.6 * 900.0 + 2.2 * 1670.0) + 4180.0
    for reads_c, ends_c in ((15.0, 20.0 + 15.0 / 2.718281828**2), (30.0, 30.0)):
        believed = Believed(values, 35.0)
        believed.step(0.0, reads_c, 20.0, 0.0, 35.0, True, False)
        believed.cool(2.0 * load_j_per_k / 2.6, reads_c, 20.0)
        assert abs(believed.water_c - ends_c) < 0.01


def believed_over(reads_c, seconds, limits_c, believed=None):
    """(the observer, warnings) while 30 W flow and the limit changes each minute."""
    believed = believed or Believed(values_of(POT, **{"gains.loss_w_per_k": 1.0}))
    warnings, before = 0, believed.long
    for second in range(seconds):
        believed.step(1.0, reads_c, 20.0, 30.0, limits_c[second // 60 % len(limits_c)], True, False)
        warnings += believed.long and not before
        before = believed.long
    return believed, warnings


def test_heat_held_back_is_one_warning_however_often_it_comes_and_goes():
    believed, warnings = believed_over(30.0, 6 * 3600, (33.0, 50.0))
    assert warnings == 1, warnings
    believed, _ = believed_over(30.0, 6 * 3600, (50.0,), believed)
    assert not believed.long


def test_a_bath_that_cools_to_its_next_stage_has_no_heat_held_back():
    assert believed_over(36.0, 6 * 3600, (33.0,))[1] == 0
    assert believed_over(30.0, 6 * 3600, (33.0,))[1] == 1


def test_in_every_room_and_at_every_limit_learnt_losses_keep_a_drifting_probe_under_what_is_promised():
    """At rest the true loss x (T - room) is the heat that is allowed: T <= limit + 7 K, and under the hard limit."""
    for room_c, limit_c in ((10.0, 35.0), (14.0, 35.0), (20.0, 35.0), (25.0, 35.0), (28.0, 35.0), (20.0, 55.0)):
        believed = Believed(values_of(POT, **{"gains.loss_w_per_k": 1.0}))
        believed.step(4.0, room_c, room_c, 0.0, limit_c, False, False)  # its water has stood there
        power_w = 0.0
        for _ in range(6000):
            believed.step(4.0, 30.0, room_c, 4.0 * power_w, limit_c, False, False)
            power_w = 0.0 if believed.over else 150.0
        c = believed.water_c
        allowed_w = 1.3 * (1.0 + 0.02 * max(0.0, c - 33.0)) * (c - max(15.0, room_c))  # no kitchen is colder
        assert room_c + allowed_w <= min(limit_c + 7.0, 60.0 + 2.0) + 0.5, room_c
        assert room_c + allowed_w > limit_c + 1.0, room_c  # a draught has its room, too


def test_a_loss_learnt_with_a_load_too_large_for_the_stated_litres_is_taken_as_much_smaller():
    """A probe that shows half of each change learns twice the load and twice the loss (by hand): 2 L are 8360 J/K."""
    for load_j_per_k, loss_w_per_k in ((0.0, 2.0), (9600.0, 2.0), (13000.0, 2.0 * 1.15 * 8360.0 / 13000.0)):
        gains = {"gains.loss_w_per_k": 2.0, "gains.water_j_per_k": load_j_per_k}
        believed = Believed(values_of(POT, **gains))
        for _ in range(10000):
            believed.step(4.0, 30.0, 20.0, 4.0 * 24.0, 45.0, False, False)
        c = believed.water_c
        lost_w = 1.3 * loss_w_per_k * (1.0 + 0.02 * max(0.0, c - 33.0)) * (c - 20.0)
        assert abs(lost_w - 24.0) < 0.05, load_j_per_k


def test_chocolate_that_melts_has_the_way_up_to_go():
    for melts, over in ((True, False), (False, True)):
        believed = Believed(values_of(POT, **{"gains.loss_w_per_k": 1.0}))
        believed.step(1.0, 48.0, 20.0, 0.0, 47.0, melts, False)
        assert believed.over == over


def test_a_room_told_colder_than_anything_that_was_read_counts_no_colder_than_18():
    """1.3 x 1 W/K over the room that counts: 18 W hold the believed water 13.85 K over it (by hand)."""
    for told_c, read_c, counts_c in ((5.0, 30.0, 18.0), (5.0, 16.0, 16.0), (5.0, 10.0, 15.0), (24.0, 10.0, 24.0)):
        believed = Believed(values_of(POT, **{"gains.loss_w_per_k": 1.0}))
        believed.step(1.0, read_c, told_c, 0.0, 35.0, False, False)
        for _ in range(15000):
            believed.step(4.0, 30.0, told_c, 4.0 * 18.0, 35.0, False, False)
        assert abs(1.3 * (1.0 + 0.02 * max(0.0, believed.water_c - 33.0)) * (believed.water_c - counts_c) - 18.0) < 0.05


def alone():
    """2 L, of which 7.5 K over the limit are 8360 J/K."""
    return Alone(values_of(POT), 7.5, 0.5)


def test_heat_with_the_bowl_out_lifts_all_the_stated_water_to_its_bound_and_no_further():
    a = alone()
    a.step(1.0, False, 33.0, 20.0, 0.0, 35.0)
    seconds = 0
    while not a.over:
        a.step(1.0, True, 33.0 - 0.003 * seconds, 20.0, 100.0, 35.0)  # it reads 0.2 K/min less, and is followed
        seconds += 1
    assert abs(seconds - (35.0 + 7.5 - 33.0) * 8360.0 / 100.0) < 2.0
    for _ in range(1800):
        a.step(1.0, True, 30.0, 20.0, 0.0, 35.0)
    assert a.spent_j >= 9.5 * 8360.0 - 0.5 * 10.0 * 1800.0 - 100.0  # it may only give what the least loss took
    a.step(1.0, False, 30.0, 20.0, 0.0, 35.0)
    assert not a.over  # a bowl is in its bath
    a.step(1.0, True, 30.0, 20.0, 5e4, 35.0)
    assert a.over  # a minute later it is out again, and nothing was forgotten
    for _ in range(1700):
        a.step(1.0, False, 30.0, 20.0, 0.0, 35.0)
    a.step(1.0, True, 30.0, 20.0, 100.0, 35.0)
    assert a.over  # not long enough in its bath to tell what the water is
    for _ in range(1800):
        a.step(1.0, False, 30.0, 20.0, 0.0, 35.0)
    a.step(1.0, True, 30.0, 20.0, 100.0, 35.0)
    assert not a.over


def test_a_bowl_that_is_out_from_the_first_reading_has_no_more_to_spend():
    a = alone()
    a.step(1.0, True, 33.0, 20.0, 9.0 * 8360.0, 35.0)
    assert not a.over
    a.step(1.0, True, 33.0, 20.0, 1.0 * 8360.0, 35.0)
    assert a.over


def test_a_power_cut_leaves_what_heat_with_the_bowl_out_may_have_made_of_the_water():
    a = alone()
    a.step(1.0, False, 33.0, 20.0, 0.0, 35.0)
    a.step(1.0, True, 33.0, 20.0, 0.9 * 8360.0, 35.0)
    assert a.stored_c is None  # a lift for a refill
    a.step(1.0, True, 32.0, 20.0, 5.0 * 8360.0, 35.0)
    assert a.stored_c == 39
    again = Alone(values_of(POT), 7.5, 0.5, a.stored_c)
    assert again.stored_c == 40
    again.step(1.0, True, 31.0, 20.0, 3.0 * 8360.0, 35.0)
    assert not again.over
    again.step(1.0, True, 31.0, 20.0, 1.0 * 8360.0, 35.0)
    assert again.over
    for _ in range(1801):
        again.step(1.0, False, 31.0, 20.0, 0.0, 35.0)
    assert again.stored_c is None


def test_a_bath_that_cools_with_the_bowl_out_gets_back_what_it_loses_at_least():
    """0.5 W/K over 20 K for an hour are 36 kJ, 4.3 K of 8360 J/K (by hand); but not more than it reads."""
    for ends_c in (41.0, 37.7):
        a = alone()
        a.step(1.0, False, 42.0, 20.0, 0.0, 35.0)
        for n in range(3600):
            a.step(1.0, True, max(ends_c, 42.0 - n / 300.0), 20.0, 0.0, 35.0)
        assert abs(a.from_c + a.spent_j / 8360.0 - max(ends_c, 42.0 - 0.5 * 19.5 * 3600.0 / 8360.0)) < 0.3


def test_cold_water_after_a_bath_that_cooled_is_counted_once():
    a = alone()
    a.step(1.0, False, 42.0, 20.0, 0.0, 35.0)
    for second in range(3660):
        a.step(1.0, True, 41.0 - 0.2 * max(0, second - 3600), 20.0, 0.0, 35.0)
    assert a.from_c + a.spent_j / 8360.0 >= 41.0 - 0.2 * 60.0


def test_heat_that_nobody_wants_does_not_wait():
    a = alone()
    for _ in range(4000):
        a.step(1.0, True, 45.0, 20.0, 0.0, 35.0)  # a bath that cools to its next stage
    assert a.over
    assert not a.long


def test_cold_water_poured_in_while_the_bowl_is_out_may_be_warmed():
    a = alone()
    a.step(1.0, False, 48.0, 20.0, 0.0, 35.0)
    a.step(1.0, True, 48.0, 20.0, 100.0, 35.0)
    assert a.over
    for second in range(60):
        a.step(1.0, True, 48.0 - 0.4 * second, 20.0, 0.0, 35.0)
    assert not a.over
    a.step(1.0, True, 24.4, 20.0, 18.0 * 8360.0, 35.0)
    assert not a.over
    a.step(1.0, True, 24.4, 20.0, 2.0 * 8360.0, 35.0)
    assert a.over


def test_heat_that_waits_for_its_bowl_gets_a_word_after_half_an_hour():
    a = alone()
    a.step(1.0, False, 33.0, 20.0, 0.0, 35.0)
    for second in range(1801):
        assert not a.long or second == 1800
        a.step(1.0, True, 33.0, 20.0, 1e5, 35.0)
    assert a.long


def test_a_kettle_is_no_strong_heater_and_a_rise_that_goes_on_is_no_kettle():
    for seconds, fast in ((40, False), (400, True)):
        pace, pour = Pace(values_of(POT)), Poured(values_of(POT))
        for n in range(600):
            water_c = 25.0 + 0.1 * min(n, seconds)
            pace.step(water_c, None, False, 150.0, pour.step(1.0, water_c))
        assert pace.fast == fast, seconds


def test_what_the_heater_does_in_half_its_water_is_no_pour():
    pour = Poured(values_of(POT))
    for n in range(600):
        assert not pour.step(1.0, 25.0 + 150.0 / 4180.0 * n)
