"""A bath that ought to cool and does not is heated, at any watts; and what ends that, and what is no such thing.

Oracle: Newton's law of cooling, in closed form beside each check; the rest is the project's own safety rules.
"""

import math

from fake_bath import POT, RIGS, Bath, values_of

from bainboard.heat_balance import LEAST_LOSS_W_PER_K_AT_1L, largest_load_j_per_k
from bainboard.plausibility import Poured
from bainboard.rest import KITCHEN_C, ROOM_K, STAYS_K, SUN_K, WINDOW_MS, WINDOWS, Rest

ROOM_C = 20.0
FLOOR_C = ROOM_C + ROOM_K + SUN_K  # to where the best kept bath cools
STEP_S = 5


class Table:
    """A bath on the table with switch off and guard open, and what looks at it."""

    def __init__(self, rig=POT, water_c=ROOM_C, bowl_c=None, room_c=ROOM_C, bowl_probe=True):
        self.values = values_of(rig)
        self.bath = Bath(rig, water_c, water_c if bowl_c is None else bowl_c, room_c)
        self.rest, self.pour = Rest(self.values), Poured(self.values)
        self.bowl_probe = bowl_probe
        self.now_s = 0
        self.told_s = None
        self.run(STEP_S)

    def run(self, seconds, until=None):
        """Play for so long, or until the verdict is this."""
        for _ in range(seconds // STEP_S):
            if until is not None and self.rest.unasked == until:
                return True
            for _ in range(STEP_S):
                self.bath.step(0.0, False)
            self.see(self.bath.probe_c, self.bath.bowl_c if self.bowl_probe else None)
        return until is not None and self.rest.unasked == until

    def see(self, water_c, bowl_c, arrived_j=0.0):
        """A reading in steps of 1/16 K."""
        self.now_s += STEP_S
        self.rest.step(1000 * self.now_s, int(water_c * 16 + 0.5) / 16, bowl_c, ROOM_C, True, arrived_j, True, False,
                       self.pour.step(STEP_S, water_c))
        if self.rest.unasked and self.told_s is None:
            self.told_s = self.now_s


def fall_s(values, from_c, to_c):
    """How long the best kept bath takes: C / loss x ln(from / to), over the warmest room."""
    loss_w_per_k = LEAST_LOSS_W_PER_K_AT_1L * values["water_l"] ** 0.667
    return largest_load_j_per_k(values) / loss_w_per_k * math.log((from_c - FLOOR_C) / (to_c - FLOOR_C))


def test_any_watts_that_bring_a_cold_bath_over_the_warmest_kitchen_are_told_before_it_is_a_kelvin_over():
    for _, rig in RIGS:
        loss_w_per_k = rig[5]
        least_w = loss_w_per_k * (KITCHEN_C - ROOM_C + STAYS_K + 0.4)
        for outside_w in (least_w, 1.5 * least_w, 0.25 * rig[0], 0.5 * rig[0], rig[0]):
            if outside_w < least_w:
                continue
            at = Table(rig)
            at.bath.outside_w = outside_w
            assert at.run(12 * 3600, until=True), outside_w
            # two blocks of 1.2 K x C / P at this rate, and the probe's lag
            late_k = outside_w / at.bath.water_j * (2.4 * largest_load_j_per_k(at.values) / rig[0] + 300.0)
            assert at.bath.water_c < KITCHEN_C + STAYS_K + 0.4 + late_k, outside_w


def test_water_that_stays_where_it_is_is_told_as_soon_as_the_best_kept_bath_would_have_cooled():
    for stays_c in (36.0, 38.0, 41.0, 50.0):
        at = Table(water_c=stays_c)
        told_s = fall_s(at.values, stays_c, stays_c - STAYS_K)
        while at.told_s is None:
            at.see(stays_c, stays_c)
            assert at.now_s < 20000
        assert told_s <= at.told_s <= told_s + 120


def test_the_best_kept_bath_that_cools_is_never_told():
    for from_c in (26.0, 35.0, 55.0):
        at = Table(water_c=from_c)
        values = at.values
        loss_w_per_k = LEAST_LOSS_W_PER_K_AT_1L * values["water_l"] ** 0.667
        for _ in range(12 * 3600 // STEP_S):
            gone = math.exp(-loss_w_per_k / largest_load_j_per_k(values) * at.now_s)
            water_c = FLOOR_C + (from_c - FLOOR_C) * gone if from_c > FLOOR_C else from_c
            at.see(water_c, water_c)
        assert at.told_s is None


def heated(outside_w=45.0):
    at = Table()
    at.bath.outside_w = outside_w
    assert at.run(12 * 3600, until=True)
    return at


def test_what_was_told_stays_told_while_the_heat_flows():
    at = heated()
    assert not at.run(6 * 3600, until=False)  # to where its losses are as large
    at.bath.pour(0.2, 15.0)  # falls once, and warms again
    assert not at.run(2 * 3600, until=False)


def test_a_cold_bowl_that_takes_the_heat_is_no_end_of_it():
    at = heated()
    at.run(3600)
    at.bath.bowl_c = 15.0
    assert not at.run(3600, until=False)


def test_a_bath_that_cools_for_half_an_hour_ends_it_and_is_not_told_again():
    at = heated()
    at.run(3600)
    at.bath.outside_w, since_s = 0.0, at.now_s
    assert at.run(3 * 3600, until=False)
    took_ms = 1000 * (at.now_s - since_s)
    assert (WINDOWS - 1) * WINDOW_MS < took_ms <= (WINDOWS + 1) * WINDOW_MS  # one may be under way, or spoilt
    assert not at.run(8 * 3600, until=True)


def test_what_warms_by_itself_is_no_heat():
    cold = Table(water_c=10.0, room_c=KITCHEN_C)  # to the warmest kitchen, told as 20 °C
    assert not cold.run(24 * 3600, until=True)
    for bowl_probe in (True, False):
        warm_bowl = Table(water_c=25.0, bowl_c=50.0, bowl_probe=bowl_probe)
        assert not warm_bowl.run(8 * 3600, until=True)
    sunny = Table(water_c=36.0)
    sunny.bath.room_c = 23.0
    assert not sunny.run(12 * 3600, until=True)


def test_a_bath_filled_by_the_kettle_is_no_heat():
    at = Table(water_c=22.0)
    at.run(1200)
    for _ in range(3):  # a large bath takes three, in half an hour
        at.bath.pour(0.15, 90.0)
        assert not at.run(600, until=True)
    assert not at.run(8 * 3600, until=True)
    for _ in range(30):  # and again hours later, long before and just before a block ends
        at.bath.pour(0.15, 70.0)
        assert not at.run(995, until=True)


def test_heat_that_comes_and_goes_is_no_kettle():
    at = Table(water_c=36.0)
    for _ in range(12 * 4):
        at.bath.outside_w = 300.0  # for 100 s of each 600
        if at.run(100, until=True):
            break
        at.bath.outside_w = 0.0
        if at.run(500, until=True):
            break
    assert at.told_s < 2 * 3600


def creeps(at, water_c, over_k, bowl_over_k, arrived_j=0.0):
    """Up by so much in an hour, in steps that no kettle makes; was it told?"""
    steps = 3600 // STEP_S
    for n in range(steps):
        now_c = water_c + over_k * n / steps
        at.see(now_c, now_c + bowl_over_k, arrived_j)
    return at.told_s is not None


def test_a_slow_rise_is_explained_by_a_bowl_a_kelvin_warmer_and_by_heat_on_its_way_and_by_nothing_less():
    for bowl_over_k, arrived_k, told in ((0.0, 0.0, True), (0.8, 0.0, True), (1.2, 0.0, False), (0.0, 4.0, False)):
        at = Table(water_c=36.0)
        arrived_j = arrived_k * 4180.0 * STEP_S / 3600  # into half of two litres
        assert creeps(at, 36.0, 1.5, bowl_over_k, arrived_j) == told, (bowl_over_k, arrived_k)


def test_a_bath_that_has_cooled_may_not_warm_to_where_it_was():
    at = Table(water_c=50.0)
    for n in range(3600 // STEP_S):
        at.see(50.0 - 14.0 * n * STEP_S / 3600, 30.0)
    assert at.told_s is None
    assert creeps(at, 36.0, 1.5, 0.0)


def test_a_dip_of_some_minutes_is_no_cooler_bath():
    at = Table(water_c=45.0)
    for n in range(7200 // STEP_S):
        dip_k = 2.0 * max(0.0, 1.0 - abs(n * STEP_S - 3600) / 300)  # water poured in cold, and mixed
        at.see(45.0 - 10.0 * n * STEP_S / 7200 - dip_k, 30.0)
    assert at.told_s is None


def test_only_windows_in_a_row_of_a_fall_that_no_bowl_took_end_it():
    window_s = WINDOW_MS // 1000
    for name, k_per_window, bowl_k_per_window, ends in (
        ("falls", (-1.5,), -1.0, True), ("falls and stays", (-1.5, 0.0), -1.0, False),
        ("falls too little", (-0.2,), -0.2, False), ("into the bowl", (-1.5,), 1.0, False),
    ):
        at = heated()
        water_c, bowl_c = at.bath.probe_c, at.bath.bowl_c
        for n in range(6 * window_s // STEP_S):
            water_c += k_per_window[n * STEP_S // window_s % len(k_per_window)] * STEP_S / window_s
            bowl_c += bowl_k_per_window * STEP_S / window_s
            at.see(max(30.0, water_c), bowl_c)
        assert at.rest.unasked != ends, name


def test_where_no_probe_says_how_warm_the_bowl_is_a_warm_one_explains_a_slow_rise():
    at = Table(water_c=36.0, bowl_probe=False)
    for n in range(3600 // STEP_S):
        at.see(36.0 + 1.5 * n * STEP_S / 3600, None)
    assert at.told_s is None


def test_warm_water_poured_slowly_is_believed_once_it_is_over():
    at = Table(water_c=40.0)
    for n in range(7200 // STEP_S):
        at.see(40.0 + min(2.0, 0.05 * n) - 7.0 * n * STEP_S / 7200, 30.0)
    assert at.told_s is None


def test_a_hold_that_heats_sets_a_new_ceiling():
    at = Table(water_c=36.0)
    for n in range(200):
        at.now_s += STEP_S
        poured = at.pour.step(STEP_S, 36.0 + 0.02 * n)
        at.rest.step(1000 * at.now_s, 36.0 + 0.02 * n, 30.0, ROOM_C, n % 2 > 0, 0.0, False, True, poured)
    for n in range(3600 // STEP_S):
        at.see(40.0 - 3.0 * n * STEP_S / 3600, 30.0)
    assert at.told_s is None


# -- what is known not to rise -----------------------------------------------------------------------------------------


def test_steady_is_known_once_it_fell_or_stayed_for_as_long_as_heat_on_its_way_takes_and_not_before():
    values = values_of(POT)
    settle_s = 5 * values["heater_lag_s"] + 60
    known = ((0.0, settle_s, settle_s + 5), (-0.01, 30, 40), (0.002, None, None), (0.3, None, None))
    for k_per_s, from_s, to_s in known:
        at = Table(water_c=34.0)
        known_s = None
        for n in range(200):
            if known_s is None and at.rest.steady:
                known_s = at.now_s - STEP_S
            at.see(34.0 + k_per_s * STEP_S * n, None)
        assert (known_s is None) == (from_s is None), k_per_s
        assert known_s is None or from_s <= known_s <= to_s, (k_per_s, known_s)


def test_what_rises_again_is_not_steady_any_more_and_neither_is_what_is_not_seen_or_heated():
    def steady():
        at = Table(water_c=34.0)
        for _ in range(60):
            at.see(34.0, None)
        assert at.rest.steady
        return at

    at = steady()
    at.see(34.4, None)
    assert not at.rest.steady
    at = steady()
    at.rest.blind()
    assert not at.rest.steady
    at.see(34.0, None)
    assert not at.rest.steady
    for duty_zero, guard_open in ((False, True), (True, False)):
        at = steady()
        at.rest.step(1000 * at.now_s + 1000, 34.0, None, ROOM_C, duty_zero, 0.0, guard_open, True, False)
        assert not at.rest.steady


def shorted_after(rounds, fall_k=0.8, asks=False, acts=False, rise_k=0.8):
    """Is the switch called shorted after so many rounds beside a warm bowl: closed, it rises; open, it falls?"""
    rest, now_ms, water_c, last_person_ms = Rest(values_of(POT)), 0, 34.0, -1
    for _ in range(rounds):
        for open_, k_per_s in ((False, rise_k / 80.0), (True, -fall_k / 80.0)):
            for second in range(80):
                now_ms, water_c = now_ms + 1000, water_c + k_per_s
                if acts and second == 40:
                    last_person_ms = now_ms
                zero = not (asks and not open_ and second < 5)
                rest.step(now_ms, water_c, 46.0, ROOM_C, zero, 0.0, open_, True, False)
                rest.look(now_ms, water_c, 46.0, zero, 0.0, True, last_person_ms)
    return rest.shorted


def test_a_rise_that_comes_and_goes_with_the_guard_three_times_is_a_shorted_switch_s_whatever_the_bowl():
    """A warm bowl hides the switch from the looks; it does not stop warming its bath when the guard opens."""
    assert not shorted_after(2)
    assert shorted_after(3)
    assert not shorted_after(5, fall_k=0.2)  # the bowl's heat
    assert not shorted_after(5, fall_k=-0.8)
    assert not shorted_after(5, rise_k=0.2)
    assert not shorted_after(5, asks=True)  # it is this heat
    assert not shorted_after(5, acts=True)  # a kettle each time


def test_a_second_kettle_or_a_warmer_bowl_while_a_rise_is_looked_at_again_is_no_shorted_switch():
    looks = ((False, None, True), (False, 34.0, True), (True, None, False), (False, 38.0, False))
    for poured, bowl_c, shorted in looks:
        rest = Rest(values_of(POT))
        rest.step(1000, 34.0, None, ROOM_C, True, 0.0, True, True, False)
        rest.look(1000, 34.0, None, True, 0.0, True, -1)
        rest._slope_k_per_ms = 0.0
        rest._enter(rest.CLOSED, 1000, 34.0)
        rest.step(2000, 34.5, bowl_c, ROOM_C, True, 0.0, False, True, poured)
        rest.look(2000, 34.5, bowl_c, True, 0.0, True, -1)
        assert rest.shorted == shorted
        assert not rest.closed
