"""The account of unproved heat and its looks. Oracle: energy counted by hand, and the bath of fake_bath.py."""

from fake_bath import MAT, PLATE, POT, RIGS, Bath, Kitchen, Noise, values_of

from bainboard import faults
from bainboard.heat_balance import (
    MOST_K,
    OVER_LIMIT_K,
    PULSES_K,
    Account,
    HeatOnItsWay,
    Look,
    largest_load_j_per_k,
    smallest_load_j_per_k,
)


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


# -- the account -----------------------------------------------------------------------------------------------------


def account_of(rig, water_c=33.0):
    """An account that a self-test has just cleared."""
    account = Account(values_of(rig))
    account.step(0, 1.0, True, water_c, 0.0, 35.0, 20.0)
    account.began(water_c, water_c)
    return account


def dead_s(account, power_w, limit_c=35.0, water_c=33.0):
    """Seconds of this heat, the reading as it was, until the account is full; its pattern is left out."""
    for n in range(1, 100000):
        account.step(n * 1000, 1.0, True, water_c, power_w, limit_c, 20.0)
        if account.full:
            return n
    return None


def test_the_account_is_full_when_half_the_water_could_be_seven_and_a_half_kelvin_over_the_limit():
    """(35 + 7.5 - 34) K x 4180 J/K (half of 2 L) are 35530 J (by hand): at 150 W, 237 s."""
    assert smallest_load_j_per_k(values_of(POT)) == 4180.0
    assert abs(dead_s(account_of(POT, 34.0), 150.0, water_c=34.0) - 237) <= 1


def test_a_reading_that_was_higher_before_gives_no_more_room_for_reading_lower_now():
    """At 150 W and 4180 J/K, by hand: 42.5 - 25 K take 488 s; once 31 °C was read 11.5 K, 320 s; once 40 °C 9.5 K."""
    for highest_c, full_s in ((25.0, 488), (31.0, 320), (40.0, 265)):
        account = account_of(POT, 25.0)
        account.began(25.0, highest_c)
        assert abs(dead_s(account, 150.0, 35.0, 25.0) - full_s) <= 1, highest_c
    account = account_of(POT, 25.0)
    for n in range(200):
        account.step(n, 1.0, True, 31.0, 0.0, 35.0, 20.0)
    account.proved(25.0)
    assert abs(dead_s(account, 150.0, 35.0, 25.0) - 320) <= 1


def test_no_limit_of_a_stage_lets_the_account_pass_the_hard_limit():
    """(60 - 55) K x 4180 J/K at 150 W: 139 s."""
    assert abs(dead_s(account_of(POT, 55.0), 150.0, 58.0, 55.0) - 139) <= 1


def test_heat_that_was_given_while_the_reading_was_missing_counts_too():
    account = account_of(POT)
    for n in range(1, 300):
        account.step(n * 1000, 1.0, False, None, 150.0, 35.0, 20.0)
    account.step(300000, 1.0, True, 33.0, 0.0, 35.0, 20.0)
    assert account.full


def test_before_anything_was_proved_there_is_no_heat():
    account = Account(values_of(POT))
    assert account.full
    assert account.most() == 0.0


def test_a_full_account_lets_only_a_look_s_pulses_through_and_no_more_of_them_than_its_share():
    """A dead probe at full demand: from the last proof on at most (9.5 + 2) K x Cs, and the least loss."""
    for _, rig in RIGS:
        account, given_j, power_w = account_of(rig), 0.0, rig[0]
        values = values_of(rig)
        for n in range(1, 7200):
            duty = min(account.look.shape(1.0), account.most())
            account.step(n * 1000, 1.0, True, 33.0, duty * power_w, 35.0, 20.0)
            given_j += duty * power_w
            if account.dead:
                break
        assert account.dead
        small = smallest_load_j_per_k(values)
        least_loss_j = 0.5 * values["water_l"] ** 0.667 * 25.0 * n
        assert given_j <= (35.0 + OVER_LIMIT_K - 33.0 + PULSES_K) * small + least_loss_j + 2 * power_w


def test_a_fall_that_no_bath_makes_leaves_three_kelvin_of_heat():
    """3 K x 4180 J/K at 150 W: 84 s."""
    account = account_of(POT)
    account.doubt(3.0)
    assert abs(dead_s(account, 150.0) - 84) <= 2


def test_a_rise_in_the_heat_s_proportion_clears_it_and_faster_or_slower_ones_do_not():
    """RISE_K of 0.8: full heat lifts 12574 J/K at 12 mK/s; half of that, to 1.5 times 150 W / 4180 J/K, is proof."""
    for k_per_s, cleared in ((0.004, False), (0.007, True), (0.012, True), (0.036, True), (0.2, False)):
        account = account_of(POT)
        before_j, proved = 0.0, False
        for n in range(1, 240):
            account.step(n * 1000, 1.0, True, 33.0 + k_per_s * n, 150.0, 60.0, 20.0)
            proved = proved or account.unproved_j < before_j
            before_j = account.unproved_j
        assert proved == cleared, k_per_s


def test_a_reading_that_swings_about_a_stuck_value_clears_it_by_a_rise_only_once():
    account = account_of(POT)
    cleared, before_j = 0, 0.0
    for n in range(1, 3600):
        swing_k = 0.9 * abs(n % 240 - 120) / 120.0
        account.step(n * 1000, 1.0, True, 32.0 + swing_k, 150.0, 60.0, 20.0)
        cleared += account.unproved_j < before_j
        before_j = account.unproved_j
    assert cleared <= 1


def test_a_rise_over_old_ground_counts_once_an_hour_and_no_look_makes_it_new():
    """Down by 1.6 K and up again each 20 minutes, as full heat lifts the largest load; a look proves in between."""
    account, cleared, before_j = account_of(POT), 0, 0.0
    for n in range(1, 3 * 3600):
        at_s = n % 1200
        water_c = 33.0 - 1.6 * (at_s / 1000.0 if at_s < 1000 else (1200 - at_s) / 200.0)
        if at_s == 1000:
            account.proved(water_c)
            before_j = account.unproved_j
        account.step(n * 1000, 1.0, True, water_c, 150.0 if at_s >= 1000 else 0.0, 60.0, 20.0)
        account.look.begin()
        cleared += account.unproved_j < before_j - 1.0
        before_j = account.unproved_j
    assert cleared == 3, cleared


# -- looks -----------------------------------------------------------------------------------------------------------


class Gains:
    """Gains of the blocks of a kitchen's looks."""

    def __init__(self, kitchen):
        self.found, look = [], kitchen.supervisor.account.look
        step = look.step

        def reporting(*facts):
            ended = step(*facts)
            if ended and look.blocks:
                self.found.append((look.gain, look.error))
            return ended

        look.step = reporting


def test_a_living_bath_s_gain_is_its_load_s_and_a_dead_probe_s_is_none():
    """The gain is the largest load over the bath's: 12574 / 8360 to 12574 / (8360 + 4180) J/K for the pot: 1.0 to 1.5.

    The lags err by a third at most (computed on these three warmers), and a look by two of its errors.
    """
    for name, rig in RIGS:
        kitchen = Kitchen(Bath(rig, 33.0, 31.5), values_of(rig))
        gains = Gains(kitchen)
        kitchen.run(2 * 3600)
        values = values_of(rig)
        most = largest_load_j_per_k(values) / (4180.0 * rig[2])
        assert kitchen.faults == []
        assert len(gains.found) >= 4, name
        for gain, error in gains.found:
            assert gain + 2.0 * error > 0.6, (name, gain)
            assert gain - 2.0 * error < 1.5 * most + 0.3, (name, gain)
        kitchen = Kitchen(Bath(rig, 33.0, 31.5), values_of(rig))
        gains = Gains(kitchen)
        kitchen.bath.stuck_c = 32.5
        kitchen.run(7200)
        assert kitchen.faults == [faults.WATER_STUCK], name
        for gain, _ in gains.found:
            assert gain < 0.3, (name, gain)


def test_a_rise_of_half_of_what_the_heat_does_is_no_proof_and_one_of_four_fifths_is():
    values = values_of(POT)
    for share, proved in ((0.55, False), (0.8, True)):
        account = Account(values)
        account.step(0, 1.0, True, 25.0, 0.0, 50.0, 20.0)
        account.began(25.0, 25.0)
        account.may_look = False
        read_c = 25.0
        for n in range(400):
            arrived_j = account.step(1000 * n, 1.0, True, read_c, 150.0, 50.0, 20.0)
            read_c += share * arrived_j / largest_load_j_per_k(values)
        assert (account.proved_c > 25.0) == proved, share


def test_looks_are_silent_few_and_move_the_bath_little():
    for name, rig in RIGS:
        kitchen = Kitchen(Bath(rig, 33.0, 31.5), values_of(rig))
        kitchen.run(1800)
        low_c = high_c = kitchen.bath.bowl_c
        for _ in range(2 * 3600):
            kitchen.tick()
            low_c, high_c = min(low_c, kitchen.bath.bowl_c), max(high_c, kitchen.bath.bowl_c)
        assert kitchen.warned == 0, name
        assert kitchen.supervisor.account.looks <= 5 * 2.5 + 1, name
        assert high_c - low_c < (0.6 if rig is PLATE else 0.25), name


def test_the_pattern_is_balanced_and_asks_nothing_where_nothing_is_asked():
    look = Look(values_of(POT))
    look.ask(0, 33.0, look.block_s)
    total = n = 0
    while look.at is not None:
        n += 1
        total += look.shape(0.4) - 0.4
        assert look.shape(0.0) == 0.0
        assert 0.0 <= look.shape(0.01) <= 1.0
        assert 0.0 <= look.shape(1.0) <= 1.0
        look.step(n * 1000, 1.0, 33.0, 0.0)
    assert abs(total) < 1e-3
    assert n == look.block_s


def test_the_sign_of_a_block_cannot_be_foreseen_from_the_last():
    look, signs = Look(values_of(MAT)), ""
    for n in range(200):
        look.at = None
        look.ask(n * 1000 * 977, 33.0, look.block_s)
        signs += "+" if look.up else "-"
    assert 70 < signs.count("+") < 130
    assert len({signs[n:n + 4] for n in range(196)}) == 16


def test_a_probe_that_drives_the_duty_by_a_slow_swing_is_not_taken_for_a_living_one_for_long():
    """Stuck, and swinging by 0.3 K in three minutes: whatever clears by chance, the true water stays in its bound."""
    for rig in (POT, PLATE):
        kitchen = Kitchen(Bath(rig, 33.0, 31.5), values_of(rig), bowl_probe=False)
        noise = Noise(5)
        kitchen.run(600)
        state = [0.0]

        def reading(state=state, noise=noise):
            state[0] += (noise.next() - 0.5) * 0.08 - state[0] / 90.0
            return int((32.4 + state[0]) * 16 + 0.5) / 16

        kitchen.reading = reading
        kitchen.run(2 * 3600)
        assert kitchen.peak_c < 35.0 + 10.0, kitchen.peak_c


def test_a_probe_that_was_silent_has_to_answer_twice():
    account = account_of(POT, 23.0)
    for unseen, blocks, proved in ((0, 1, True), (1, 1, False), (2, 1, False), (1, 2, True)):
        account.unseen, account.unproved_j = unseen, 9000.0
        look = account.look
        look.blocks, look.gain, look.error = blocks, 1.2, 0.1
        account._judge()
        assert account.unseen == 0, (unseen, blocks)
        assert (account.unproved_j < 9000.0) == proved, (unseen, blocks)
        weakly = account._highest_c >= 42.5 - MOST_K  # nothing more is earned by reading low
        assert weakly == (blocks > 1)


def test_a_heated_bath_that_reads_under_the_room_and_its_start_proves_nothing_and_a_resting_one_may():
    """Started at 22 °C in a room of 20: 16.9 °C is no bath that heat goes into; a draught cools one at rest so far."""
    for power_w, reads_c, under_s in ((150.0, 16.9, 100.0), (0.0, 16.9, 0.0), (150.0, 17.1, 0.0)):
        account = account_of(POT, 22.0)
        for n in range(1, 201):
            account.step(n * 1000, 1.0, True, reads_c, power_w, 35.0, 20.0)
            if n == 100:
                account.under_s = 0.0  # the smoothed reading has come down by now
        assert account.under_s == under_s, (power_w, reads_c)
