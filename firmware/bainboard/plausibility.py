"""Signs in the readings that no bath, bowl or heater of this warmer makes when it is sound. Pure.

Each sign only raises a doubt; what follows is the supervisor's table: a warning, a bounded amount of heat, a retest.
"""

from bainboard.control.rules import FILM_W_PER_M2K, wetted_m2
from bainboard.heat_balance import MOVED_K, largest_load_j_per_k, smallest_load_j_per_k

PER_MIN = 1.0 / 60.0


class Fall:
    """A reading that fell by `fell_k` more than `k_per_min` explains. `from_c` is where it came from."""

    def __init__(self, k_per_min, fell_k):
        self._k_per_s, self._fell_k = k_per_min * PER_MIN, fell_k
        self.from_c = None

    def begin(self):
        """Forget."""
        self.from_c = None

    def step(self, dt_s, temp_c, more_k_per_s=0.0):
        """One reading, and what more than the usual explains: has it fallen?"""
        down_k = (self._k_per_s + more_k_per_s) * dt_s
        if self.from_c is None or not temp_c < self.from_c - down_k:
            self.from_c = temp_c
        else:
            self.from_c -= down_k
        return not self.from_c - temp_c < self._fell_k


class WaterProbeOut:
    """A fall faster than a bath's: cold water, or the probe lies on the table. Then heat has a budget.

    It may spend what lifts the smallest load by `trip.out_budget_k`, above the losses believed. Water shows a rise by
    then; air does not. `told` at a fall deeper than a top-up makes, or with half of that spent and no rise.
    """

    IN, DOUBT, OUT = range(3)
    SHARE, COLD_C = 0.3, 15.0  # a top-up: a fifth of the full water into two thirds of it, from a cold tap (chosen)

    def __init__(self, values):
        self._fall_k = values["trip.fall_k"]
        self._fall = Fall(values["trip.fall_k_per_min"], self._fall_k)
        self._budget_j = values["trip.out_budget_k"] * smallest_load_j_per_k(values)
        self.begin()

    def begin(self):
        """Forget."""
        self.state = self.IN
        self.told = False
        self._fall.begin()

    def step(self, dt_s, water_c, lost_w, arrived_j):
        """One valid reading, and the heat that arrived since the last."""
        if self.state == self.IN:
            if self._fall.step(dt_s, water_c):
                self.state, self._low_c, self._spent_j = self.DOUBT, water_c, 0.0
                from_c = self._fall.from_c
                self._from_c = from_c - self._fall_k - self.SHARE * max(0.0, from_c - self.COLD_C)
        elif self.state == self.DOUBT:
            self._low_c = min(self._low_c, water_c)
            self._spent_j = max(0.0, self._spent_j + arrived_j - lost_w * dt_s)
            self.told = self.told or water_c < self._from_c or self._spent_j >= 0.5 * self._budget_j
            if water_c >= self._low_c + MOVED_K:
                self.begin()
            elif self._spent_j >= self._budget_j:
                self.state = self.OUT


class BowlProbeOut:
    """A fall colder than any refill makes: the bowl's probe is not in the chocolate, until it reads as before.

    `out` is the sign; while it holds, the reading is not the bowl's.
    """

    BACK_K = 2.0  # reads as before: a refill's own fall (chosen)
    LEAST_TAU_S = 60.0  # a bowl a tenth full follows colder water no faster (as rules.safe_gains, rounded down)

    def __init__(self, values):
        self._fall = Fall(1.0, values["trip.bowl_fall_k"])  # 1 K/min: over what a bowl on the bench loses (computed)
        self.begin()

    def begin(self):
        """Forget."""
        self.out = False
        self._fall.begin()

    def step(self, dt_s, bowl_c, water_c, acted):
        """One valid reading; `acted`: a person has just done something, and may have set it right."""
        if acted or (self.out and bowl_c >= self._from_c - self.BACK_K):
            self.begin()
        cooled_k_per_s = max(0.0, bowl_c - water_c) / self.LEAST_TAU_S
        if not self.out and self._fall.step(dt_s, bowl_c, cooled_k_per_s):
            self.out, self._from_c = True, self._fall.from_c


class Failing:
    """The water falls although heat for 1 K, above all that may leave, was given, twice: the heat does not arrive.

    Twice, because a cold element takes its share first. Only a fall counts here. A reading that stays is `Response`'s
    to look at, and cold water poured in falls faster than losses can.
    """

    PATIENCE = 4.0  # so much more heat may a slow fall take to show (chosen: 0.3 K of an insulated bath)

    def __init__(self, values):
        self._promise_j = values["trip.judge_k"] * largest_load_j_per_k(values)
        self._small_j_per_k = smallest_load_j_per_k(values)
        self.begin()

    def begin(self):
        """Forget."""
        self.failing = False
        self._base_c = None
        self._fell = False  # in the window before this one

    def step(self, now_ms, dt_s, water_c, lost_w, taken_w, arrived_j):
        """One valid reading; what losses and bowl may take of the heat that arrived."""
        away_j = (lost_w + max(0.0, taken_w)) * dt_s
        if self._base_c is not None:
            self._spare_j += arrived_j - away_j
            self._given_j += arrived_j
            self._may_fall_k += away_j / self._small_j_per_k
        fell_k = 0.0 if self._base_c is None else self._base_c - water_c
        if self._base_c is None or not self._spare_j > 0.0 or not -MOVED_K < fell_k < MOVED_K + self._may_fall_k:
            self._open_window(now_ms, water_c, False)
        elif self._spare_j >= (1.0 if fell_k >= MOVED_K else self.PATIENCE) * self._promise_j:
            fell = fell_k >= MOVED_K
            self.failing = fell and self._fell
            self.mean_w = 1000.0 * self._given_j / max(1, now_ms - self._start_ms)
            self._open_window(now_ms, water_c, fell)

    def _open_window(self, now_ms, water_c, fell):
        self._base_c, self._start_ms, self._fell = water_c, now_ms, fell
        self._spare_j = self._given_j = self._may_fall_k = 0.0


class Surge:
    """The water rises faster than 1.5 times what all the heat could do to a half-empty bath."""

    SHARE = 1.5  # 150 % of the model's rise

    def __init__(self, values):
        small = smallest_load_j_per_k(values)
        self._j_per_k = max(small, values["gains.water_j_per_k"])
        self._rise_k = values["trip.surge_k"]
        self.begin()

    def begin(self):
        """Forget."""
        self.surging = False
        self._base_c = None

    def step(self, water_c, bowl_c, duty_zero, arrived_j):
        """One valid reading; a bowl warmer than its bath explains any rise, and at rest it is `Rest` that looks."""
        if self._base_c is None or duty_zero or (bowl_c is not None and bowl_c > water_c):
            self._base_c = water_c
            return
        self._base_c = min(water_c, self._base_c + self.SHARE * arrived_j / self._j_per_k)
        self.surging = not water_c - self._base_c < self._rise_k


class BowlHeat:
    """Heat the bowl takes from the water: as tuned, or by the wall that its chocolate touches."""

    def __init__(self, values):
        by_size = FILM_W_PER_M2K * wetted_m2(values["chocolate_kg"])
        self._w_per_k = values["gains.bowl_w_per_k"] or by_size

    def watts(self, water_c, bowl_c):
        """Taken up now, negative when the bowl gives; 0 when it is not known."""
        return 0.0 if bowl_c is None else self._w_per_k * (water_c - bowl_c)
