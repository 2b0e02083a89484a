"""Signs in the readings that no bath, bowl or heater of this warmer makes when it is sound. Pure.

Each sign only raises a doubt; what follows is the supervisor's table: a warning, a bounded amount of heat, a retest.
"""

from math import exp

from bainboard.heat_balance import LEAST_FILL, largest_load_j_per_k, smallest_load_j_per_k

PER_MIN = 1.0 / 60.0


class Fall:
    """A reading that fell by `fell_k` more than `k_per_min` explains. `from_c` is where it came from."""

    def __init__(self, k_per_min: float, fell_k: float) -> None:
        self._k_per_s, self._fell_k = k_per_min * PER_MIN, fell_k
        self.from_c: float | None = None

    def begin(self) -> None:
        """Forget."""
        self.from_c = None

    def step(self, dt_s: float, temp_c: float, more_k_per_s: float = 0.0) -> bool:
        """One reading, and what more than the usual explains: has it fallen?"""
        down_k = (self._k_per_s + more_k_per_s) * dt_s
        if self.from_c is None or not temp_c < self.from_c - down_k:
            self.from_c = temp_c
        else:
            self.from_c -= down_k
        return not self.from_c - temp_c < self._fell_k


class Poured:
    """Warm water is being poured in: a rise that no heat of this warmer makes in half of its water.

    It shows through the probe's lag, and what is still to come after the fast part is over in three lags. A rise that
    goes on so for longer is no kettle.
    """

    WINDOW_S, LEAST_K = 10.0, 0.5
    REST_S, MOST_S = 90.0, 120.0  # 3 x the slowest probe's lag; (chosen: two kettles)

    def __init__(self, values: dict) -> None:
        self._fast_k = max(self.LEAST_K, self.WINDOW_S * values["heater_w"] / smallest_load_j_per_k(values))
        self._from_c: float | None = None
        self._window_s = self._fast_s = self._rest_s = 0.0

    def step(self, dt_s: float, water_c: float) -> bool:
        """One valid reading: does a pour show, or its end?"""
        if self._from_c is None:
            self._from_c = water_c
        self._window_s += dt_s
        self._rest_s = max(0.0, self._rest_s - dt_s)
        if self._window_s >= self.WINDOW_S:
            if water_c - self._from_c >= self._fast_k:
                self._fast_s += self._window_s
                self._rest_s = self.REST_S if self._fast_s <= self.MOST_S else 0.0
            else:
                self._fast_s = 0.0
            self._from_c, self._window_s = water_c, 0.0
        return self._rest_s > 0.0


class BowlProbeOut:
    """A fall colder than any refill makes: the bowl's probe is not in the chocolate, until it reads as before.

    `out` is the sign; while it holds, the reading is not the bowl's. A half-melted bowl that is stirred falls as fast,
    and stays then where no air is: while it melts, ROOM_K over the room, for STAYS_S within STAYS_K.
    """

    BACK_K = 2.0  # reads as before: a refill's own fall (chosen)
    LEAST_TAU_S = 60.0  # a bowl a tenth full follows colder water no faster (as rules.safe_gains, rounded down)
    STAYS_S, STAYS_K = 120.0, 0.5  # four of the slowest probe's lags; steps and noise (chosen)
    ROOM_K = 8.0  # the air over a bath is no warmer (chosen: as a room is known, and 3 K)

    def __init__(self, values: dict) -> None:
        self._fall = Fall(1.0, values["trip.bowl_fall_k"])  # 1 K/min: over what a bowl on the bench loses (computed)
        self._from_c = self._stays_c = 0.0
        self.begin()

    def begin(self) -> None:
        """Forget."""
        self.out = False
        self.out_s = self._stays_s = 0.0
        self._fall.begin()

    def step(self, dt_s: float, bowl_c: float, water_c: float, room_c: float, melts: bool, explained: bool) -> None:
        """One valid reading; `explained`: a refill is on its way, or a person's act may just have set it right."""
        if explained or (self.out and bowl_c >= self._from_c - self.BACK_K):
            self.begin()
        if self.out:
            self.out_s += dt_s
            self._stays_s += dt_s
            stays = melts and bowl_c >= room_c + self.ROOM_K
            if not (stays and -self.STAYS_K <= bowl_c - self._stays_c <= self.STAYS_K):
                self._stays_c, self._stays_s = bowl_c, 0.0
            elif self._stays_s >= self.STAYS_S:
                self.begin()
            return
        cooled_k_per_s = max(0.0, bowl_c - water_c) / self.LEAST_TAU_S
        if self._fall.step(dt_s, bowl_c, cooled_k_per_s):
            self.out, self._from_c, self._stays_c = True, self._fall.from_c, bowl_c


class Surge:
    """The water rises faster than 1.5 times what all the heat could do to a half-empty bath."""

    SHARE = 1.5  # 150 % of the model's rise

    def __init__(self, values: dict) -> None:
        small = smallest_load_j_per_k(values)
        self._j_per_k = max(small, values["gains.water_j_per_k"])
        self._rise_k = values["trip.surge_k"]
        self.begin()

    def begin(self) -> None:
        """Forget."""
        self.surging = False
        self._base_c: float | None = None
        self._last_c = 0.0

    def rest(self, water_c: float) -> None:
        """A reading out of a hold: a rise there is not this heat's, and what is held against it stays as it was."""
        if self._base_c is not None:
            self._base_c = min(water_c, self._base_c + max(0.0, water_c - self._last_c))
        self._last_c = water_c

    def step(self, water_c: float, bowl_c: float | None, duty_zero: bool, arrived_j: float) -> None:
        """One valid reading; a bowl warmer than its bath explains any rise, and at rest it is `Rest` that looks."""
        self._last_c = water_c
        if self._base_c is None or duty_zero or (bowl_c is not None and bowl_c > water_c):
            self._base_c = water_c
            return
        self._base_c = min(water_c, self._base_c + self.SHARE * arrived_j / self._j_per_k)
        self.surging = not water_c - self._base_c < self._rise_k


class Pace:
    """Water that rises faster than all of what is stated allows: more watts, or much less water.

    All the stated water, and nothing else, rises by arrived heat / its load. Sound warmers rose up to 1.5 times as fast
    (layers of water), nine in ten at most 1.1 times; with 2.5 times the stated watts 1.2 to 3.2 times (simulated).
    """

    RISE_K = 2.0
    SHARE = 1.75

    def __init__(self, values: dict) -> None:
        self._water_j_per_k = smallest_load_j_per_k(values) / LEAST_FILL
        self.begin()

    def begin(self) -> None:
        """Forget."""
        self.fast = False
        self._low_c: float | None = None
        self._arrived_j = 0.0

    def step(self, water_c: float, bowl_c: float | None, duty_zero: bool, arrived_j: float, poured: bool) -> None:
        """One valid reading; `fast` stays until a self-test has passed."""
        explained = duty_zero or poured or (bowl_c is not None and bowl_c > water_c)
        if self._low_c is None or explained or water_c < self._low_c:
            self._low_c, self._arrived_j = water_c, 0.0
            return
        self._arrived_j += arrived_j
        if water_c - self._low_c >= self.RISE_K:
            most_k = self.SHARE * self._arrived_j / self._water_j_per_k
            self.fast = self.fast or not water_c - self._low_c < most_k
            self._low_c, self._arrived_j = water_c, 0.0


class BowlWitness:
    """Does the water read far below a bowl that does not cool as it then must? Then it is warmer than it reads.

    A bowl over colder water cools by (bowl - water) / tau. Only half of that is asked, of a bowl twice as slow as
    stated, and of half a degree less: a setting chocolate gives heat of its own. `must_k` is what it must have fallen,
    `false` says that it fell by less than half. Chocolate poured in warmer makes a rise no bath makes: the count begins
    again.
    """

    GAP_K = 1.0  # water this far under its bowl (chosen: twice a probe's error)
    SOAK_S = 600.0  # cold needs so long to cross 2 cm of chocolate at rest (d²/(pi² a) x 1.5, a 1e-7 m²/s: computed)
    ERROR_K = 0.5  # of the two probes together
    SHARE = 0.5
    WAIT_K, LATCH_K = 0.25, 1.0  # falls that must have come: then heat waits; then it is a fault (chosen)
    POURED_K = 0.3  # over its own mean of ten seconds; a bowl ten degrees under its water is 0.15 K over (computed)

    def __init__(self, values: dict) -> None:
        from bainboard.control.rules import given_gains  # loaded for this, and dropped again: see heap_reserve

        gains = given_gains(values)
        self.tau_s = 2.0 * gains.bowl_tau_s
        self.begin()

    def begin(self) -> None:
        """Forget."""
        self.must_k = self.seen_s = 0.0
        self._from_c: float | None = None
        self._mean_c: float | None = None
        self.false = False

    def step(self, dt_s: float, water_c: float, bowl_c: float) -> None:
        """One valid reading of each."""
        gap_k = bowl_c - water_c
        if self._from_c is None or gap_k < self.GAP_K or bowl_c - self._mean_c > self.POURED_K:
            self.begin()
            self._from_c = self._mean_c = bowl_c
        self._mean_c += 0.1 * (bowl_c - self._mean_c)
        self.seen_s += dt_s
        self.must_k += max(0.0, gap_k - self.ERROR_K) * dt_s / self.tau_s
        self.false = self.must_k >= self.WAIT_K and self._from_c - bowl_c < self.SHARE * self.must_k

    @property
    def surely(self) -> bool:
        """A fault, and no chocolate that is slow to follow."""
        return self.false and self.must_k >= self.LATCH_K and self.seen_s >= self.SOAK_S


class Twin:
    """A second water probe: the two agree, or one of them is wrong.

    Two corners of a pot differ while it is stirred or filled, so only a difference that stays counts.
    """

    WARN_K, LATCH_K = 1.5, 3.0
    WARN_S, LATCH_S = 1200.0, 300.0  # chosen: a filled pot, or one heated hard, has mixed by then

    def __init__(self) -> None:
        self.begin()

    def begin(self) -> None:
        """Forget."""
        self._apart_s = self._far_s = 0.0

    @property
    def apart(self) -> bool:
        """A warning: they differ."""
        return self._apart_s >= self.WARN_S

    @property
    def far(self) -> bool:
        """A fault: they differ too far."""
        return self._far_s >= self.LATCH_S

    def step(self, dt_s: float, water_c: float, other_c: float) -> None:
        """One valid reading of each."""
        apart_k = abs(water_c - other_c)
        self._apart_s = self._apart_s + dt_s if apart_k >= self.WARN_K else 0.0
        self._far_s = self._far_s + dt_s if apart_k >= self.LATCH_K else 0.0


class Believed:
    """The bath as heat and the learnt loss have it, with no probe: what catches a probe that drifts, alone.

    1.3 times the learnt loss is taken off, so a sound bath is always warmer than this. Heat waits where it is at M:
    T <= room + 1.3 x g x (learnt / true loss) x (M - room), and g is 1 + 0.02 x (M - 33 °C), but 1 at the least. M is
    the stage's limit + OVER_K at most, and less where T could pass the stage's limit + BOUND_K, or the hard limit +
    OVER_HARD_K: the formula solved for M. Not in the first hours in which chocolate melts: the way up takes more.

    A power cut must not wipe it out: `stored_c` is what to store, in whole degrees, and `from_c` what was stored. So it
    is with the quarter hours of melts, or a chain of cuts would be a way up without an end; they begin again once the
    bath, in another stage, reads as warm as it is believed.
    """

    MORE_LOSS = 1.3  # a door, a lid half off (chosen)
    LEARNT_C, GROWS_PER_K = 33.0, 0.02  # losses are learnt near it; W/K grow 25-40 % up to 50 °C (computed)
    OVER_K = 3.0
    # No kitchen is held to be colder than the first, and under the second only what was read so cold: a room told too
    # cold is a loss believed too large (chosen).
    LEAST_ROOM_C, COOL_ROOM_C = 15.0, 18.0
    STATED = 1.15  # times the stated litres a sound probe learns of the water at the most (chosen)
    OVER_HARD_K = 2.0  # of the 3 K that are promised (chosen)
    # Of the 10 K that are promised; the rest is for a loss learnt too large, a warmer room (chosen). All of it where
    # a bowl probe reads: it says the same, later.
    BOUND_K, WITNESSED_K = 7.0, 10.0
    WARN_S = 1800.0  # heat held back so long is worth a word
    WAY_UP_S, QUARTER_S = 14400.0, 900.0  # what the slowest sound melt takes, and half again (simulated)
    STORED_K = 3.0  # what was stored is too warm by this much at most, or it would be written all the time (chosen)

    def __init__(self, values: dict, from_c: float | None = None, quarters: int = 0) -> None:
        # A probe that shows but a share of each change learns the water's load too large by as much as the loss.
        stated_j_per_k = self.STATED * smallest_load_j_per_k(values) / LEAST_FILL
        too_large = max(1.0, values["gains.water_j_per_k"] / stated_j_per_k)
        self._loss_w_per_k = self.MORE_LOSS * values["gains.loss_w_per_k"] / too_large
        self._hard_c = values["hard_limit_c"]
        # The water, and as much of the bowl as follows it within minutes: half (chosen: between none and all of it).
        self._load_j_per_k = 0.5 * largest_load_j_per_k(values) + smallest_load_j_per_k(values)
        self.water_c: float | None = None
        self.stored_c = from_c
        self._melted_s = quarters * self.QUARTER_S
        self.over = self.long = False
        self._coldest_c = self.COOL_ROOM_C
        self.over_s = 0.0  # how long it was; it comes and goes while the heat does

    def step(self, dt_s: float, water_c: float, room_c: float, given_j: float, limit_c: float,
             melts: bool, bowl_reads: bool) -> None:
        """One second of heat; begins at the first reading."""
        if not self._loss_w_per_k > 0.0:
            return
        self._coldest_c = min(self._coldest_c, water_c)
        room_c = max(room_c, self.LEAST_ROOM_C, self._coldest_c)
        if self.water_c is None:
            self.water_c = water_c if self.stored_c is None else max(water_c, self.stored_c)
        lost_j = self._growth(self.water_c) * self._loss_w_per_k * (self.water_c - room_c) * dt_s
        self.water_c += (given_j - lost_j) / self._load_j_per_k
        if self.stored_c is None or not self.stored_c - self.STORED_K <= self.water_c <= self.stored_c:
            self.stored_c = int(self.water_c) + 1.0
        most_c = limit_c + self.OVER_K
        if melts:
            self._melted_s += dt_s
        elif self.water_c <= water_c:
            self._melted_s = 0.0
        if not (melts and self._melted_s < self.WAY_UP_S):
            over_k = self.WITNESSED_K if bowl_reads else self.BOUND_K
            bound_c = min(limit_c + over_k, self._hard_c + self.OVER_HARD_K)
            flat_k = max(0.0, bound_c - room_c) / self.MORE_LOSS
            least_k = flat_k / self._growth(room_c + flat_k)  # once more, and the middle: within 0.3 K
            most_c = min(most_c, room_c + 0.5 * (least_k + flat_k / self._growth(room_c + least_k)))
        self.over = not self.water_c < most_c
        held_back = self.over and water_c < limit_c  # not a bath that is cooling down to its next stage
        self.over_s = min(self.WARN_S, max(0.0, self.over_s + (dt_s if held_back else -0.1 * dt_s)))
        self.long = not self.over_s < (1.0 if self.long else self.WARN_S)  # one word, however often it comes and goes

    @property
    def quarters(self) -> int:
        """Quarter hours of melts, each that was begun."""
        return min(99, int(-(-self._melted_s // self.QUARTER_S)))

    def _growth(self, water_c: float) -> float:
        """How much more is lost per kelvin than where it was learnt."""
        return 1.0 + self.GROWS_PER_K * max(0.0, water_c - self.LEARNT_C)

    def cool(self, off_s: float, water_c: float, room_c: float) -> None:
        """Nothing heated for so long; `water_c` is what is read now."""
        if self.water_c is not None and self.water_c > room_c:
            share = exp(-self._loss_w_per_k * off_s / self._load_j_per_k)
            self.water_c = max(water_c, room_c + (self.water_c - room_c) * share)
