"""What heat must do to water, and how much heat may be given before the water probe has shown that it does. Pure.

The bound on the true water rests on three figures only: the last reading that was proved, the heat given since, and
the smallest load the heat can meet. No loss, no learnt figure and no model of the warmer is in it.
"""

WATER_J_PER_LK = 4180.0  # one litre, 4178 J/kg·K x 0.995 kg/L at 33 °C (IAPWS-IF97), rounded up
BOWL_J_PER_KGK = 900.0  # aluminium, the most a bowl's metal or glass stores (from memory)
CHOCOLATE_J_PER_KGK = 1670.0  # liquid, 40-60 °C (Beckett, constants table)
PROBE_LAG_S = 30.0  # the slowest water probe supported (chosen: a steel sleeve in still water)
LEAST_FILL = 0.5  # the least of the stated water still in the bath (chosen: the bowl's foot dry)
# The least a bath with its bowl loses, W/K for one litre, growing with its surface. Half of what the reference bath
# loses covered (1-1.5 W/K for 2 L: computed). It only ends a wait; while heat flows nothing is forgiven.
LEAST_LOSS_W_PER_K_AT_1L = 0.5

MOVED_K = 0.3  # a fall or rise that no probe's noise makes: five steps of 1/16 K
PROMISED_K = 0.6  # what a look must promise, so that half of it is proof
SMOOTHING = 0.2  # share of each new reading in the judged one: steps of 1/16 K down to a third, 4 s late

OVER_LIMIT_K = 7.5  # the account is full when the water could be this far over the stage's limit (chosen)
MOST_K = 9.5  # that much over the proved reading there may always be (chosen: what a settled hold has)
PULSES_K = 2.0  # and so much more may the pulses of a look add, in the smallest load (chosen)


def largest_load_j_per_k(values: dict) -> float:
    """Heat that lifts the full water, bowl and chocolate by 1 K: the *slowest* rise that heat can promise."""
    return (values["water_l"] * WATER_J_PER_LK + values["bowl_kg"] * BOWL_J_PER_KGK
            + values["chocolate_kg"] * CHOCOLATE_J_PER_KGK)


def smallest_load_j_per_k(values: dict) -> float:
    """Heat that lifts a half-dry bath with no bowl in it by 1 K: the *fastest* rise that heat can explain."""
    return values["water_l"] * WATER_J_PER_LK * LEAST_FILL


class HeatOnItsWay:
    """Heat given but not yet seen by the probe: it waits in the heater's metal and in the probe's sleeve."""

    def __init__(self, values: dict) -> None:
        self._lag_s = values["heater_lag_s"] + PROBE_LAG_S
        self.stored_j = 0.0

    def step(self, given_j: float, dt_s: float) -> float:
        """Heat that arrives in this step, J."""
        self.stored_j += given_j
        arrived_j = self.stored_j * min(1.0, dt_s / self._lag_s)
        self.stored_j -= arrived_j
        return arrived_j


class Look:
    """Does the reading follow the heat? A small balanced pattern on the duty asks, and adds no heat of its own.

    A block is four phases `+ - - +` or `- + + -`. Its sign is drawn for each block, so that a probe which drives the
    duty cannot fake the answer. The balance leaves out a steady loss, a steady drift, and a drift that grows steadily.
    Each half phase gives two steps: the reading's, and the one that the arrived heat promises the largest load. `gain`
    is the reading's share along the pattern over the promised share; `error` is how far to trust it, from what is left
    of the steps. Blocks add up until the gain is sure. A block takes
    4 x max(90 s, 1.2 (lag + 30 s)), and 4 x max(50 s, 0.7 (lag + 30 s)) where much heat flows.
    """

    SHAPE = (1, 1, -1, -1, -1, -1, 1, 1)
    LEAST_K, MOST_K = 0.2, 0.5  # peak to peak in the largest load (chosen: a bowl sees a twentieth of it)
    NOISE_K = 0.014  # the least scatter of a half phase's step that is believed: a quarter of a step of 1/16 K
    LEAST_PROMISE_K = 0.0025  # under half of what the shortest block promises along the pattern; less asks nothing
    LAGS = 0.3  # (chosen: lags half or twice the stated ones leave 0.1 to 0.4)
    FREE = 4.0  # half phases, less what is fitted: the steps' mean, their trend, the gain and how quick the warmer is

    def __init__(self, values: dict) -> None:
        self._large_j_per_k = largest_load_j_per_k(values)
        self._lag_s = values["heater_lag_s"] + PROBE_LAG_S
        self._heater_w = values["heater_w"]
        # How long a block takes: usually, and where so much heat flows that the account would be full before.
        self.block_s = 4.0 * max(90.0, 1.2 * self._lag_s)
        self.short_s = 4.0 * max(50.0, 0.7 * self._lag_s)
        self.block_j = 2.0 * self.LEAST_K * self._large_j_per_k  # of its pulses, each from 0 to 2 `least`
        self._seed = 1
        self.echo_k = self._stored_j = self._added = 0.0  # what the pattern itself does to the largest load
        self.begin()

    def begin(self) -> None:
        """No look; what was gathered is forgotten."""
        self.at: int | None = None  # the half phase it is in; None: no look
        self.blocks = 0
        self.gain = self.error = self._seen_k = self._promised_k = self._left_k2 = 0.0

    def ask(self, now_ms: int, water_c: float, block_s: float) -> None:
        """Begin a block of this length."""
        self._half_ms = int(1000 * block_s / 8.0)
        self.least = min(0.25, self.LEAST_K * self._large_j_per_k * 2.0 / block_s / self._heater_w)
        self.most = min(0.5, self.least * self.MOST_K / self.LEAST_K)
        self._seed = (self._seed * 75 + 74 + (now_ms & 255) + int(water_c * 64)) % 65537
        self._sign = 1 if self._seed & 16 else -1
        self.at, self._since_ms, self._from_c = 0, now_ms, water_c
        self._arrived_j = self._ideal = self._ideal_sum = 0.0
        self._read: list = []
        self._due: list = []
        self._weights: list = []

    @property
    def up(self) -> bool:
        """Is this a half phase of more heat?"""
        return self.at is not None and self.SHAPE[self.at] * self._sign > 0

    def shape(self, duty: float) -> float:
        """The duty asked, with the pattern on it; where nothing is asked, nothing is given."""
        if self.at is None or not duty > 0.0:
            self._added = 0.0
            return duty
        swing = min(self.most, max(self.least, min(duty, 1.0 - duty)))
        middle = min(max(duty, swing), 1.0 - swing)
        self._added = swing if self.up else -swing
        return middle + self._added

    def fade(self, dt_s: float) -> None:
        """The control is to see the reading less `echo_k`, or it would undo the pattern that it cannot know of."""
        self._stored_j += self._added * self._heater_w * dt_s
        arrived_j = self._stored_j * min(1.0, dt_s / self._lag_s)
        self._stored_j -= arrived_j
        self.echo_k += arrived_j / self._large_j_per_k - self.echo_k * dt_s / self.block_s

    def step(self, now_ms: int, dt_s: float, water_c: float, arrived_j: float) -> bool:
        """One smoothed reading, and the heat that arrived since the last: has a block just ended?"""
        self._arrived_j += arrived_j
        # The pattern as a warmer three times as slow would show it: between the quickest warmer and one of two zones.
        self._ideal += ((1.0 if self.up else -1.0) - self._ideal) * dt_s / (3.0 * self._lag_s)
        self._ideal_sum += self._ideal * dt_s
        if now_ms - self._since_ms < self._half_ms:
            return False
        self._read.append(water_c - self._from_c)
        self._due.append(self._arrived_j / self._large_j_per_k)
        self._weights.append(self._ideal_sum / self._lag_s)
        self._since_ms, self._from_c = now_ms, water_c
        self._arrived_j = self._ideal_sum = 0.0
        self.at += 1
        if self.at < len(self.SHAPE):
            return False
        self.at = None
        self._weigh(_untrended(self._read), _untrended(self._due), _untrended(self._weights))
        return True

    def _weigh(self, read: list, due: list, weights: list) -> None:
        """Add a block to what was gathered."""
        seen_k, promised_k = _along(weights, read), _along(weights, due)
        if not promised_k > self.LEAST_PROMISE_K:
            return  # heat was held back all the time, or a person's act turned it round: nothing was asked
        gain = seen_k / promised_k
        left = [read[n] - gain * due[n] for n in range(len(read))]
        sharp = _along(left, self.SHAPE) / 8.0  # a warmer that answers at once is no noise
        left = [left[n] - sharp * self.SHAPE[n] for n in range(len(left))]
        # A share of what the gain explains is no noise: the lags are not the stated ones.
        left_k2 = (_along(left, left) - self.LAGS * gain * gain * _along(due, due)) / self.FREE
        left_k2 = max(self.NOISE_K ** 2, left_k2) * _along(weights, weights)
        if not left_k2 < promised_k ** 2:
            return  # something else moved the water by as much
        self.blocks += 1
        self._seen_k += seen_k
        self._promised_k += promised_k
        self._left_k2 += left_k2
        self.gain = self._seen_k / self._promised_k
        self.error = self._left_k2 ** 0.5 / self._promised_k


def _along(weights: list, steps: tuple | list) -> float:
    """One column's share along another."""
    return sum([weight * steps[n] for n, weight in enumerate(weights)])


def _untrended(steps: list) -> list:
    """Eight steps less their mean and their trend."""
    mean = sum(steps) / 8.0
    trend = sum([(2 * n - 7) * step for n, step in enumerate(steps)]) / 168.0
    return [step - mean - trend * (2 * n - 7) for n, step in enumerate(steps)]


class Account:
    """Heat that no reading has proved yet, J, and the look that proves it.

    The true water is at most `proved_c` + `unproved_j` / smallest load, plus the error of the proved reading. The
    account is full when that would be OVER_LIMIT_K over the limit, or at the hard limit; a reading that was higher
    before gives no more room than it did, or MOST_K. Then heat waits, but for the pulses of a look, of which PULSES_K
    may be spent. Three things clear it: a look that was seen, a passed self-test, and a rise that only this much heat
    makes. After a look without an answer it takes two. No pause, act, message, stage or new hold does.
    """

    LOOK_AT = 0.45  # share of the account at which a look begins, at the latest (chosen)
    APART_MS = 720 * 1000  # five an hour, unless one is unsure or so much heat flows (chosen)
    MEAN_S = 300.0
    SEEN, SURE, WILD = 0.5, 0.1, 6.0  # gains: a living bath's is 1 to 3, for its load is the largest or less
    UNSEEN = 3  # blocks in a row after which the probe is dead (chosen)
    MOST_BLOCKS = 4  # so many are added up before an unsure gain is asked for afresh (chosen)
    RISING = 0.7  # share of the account that a rise under way may take before a look begins (chosen)
    UNDER_K = 3.0  # a heated bath reads no further under the room and its own start (chosen: the room's error)
    MOST_HEAT = 1.5  # times what such a rise of the largest load takes; a probe that shows half passes at 2 (chosen)
    OLD_MS = 3600 * 1000  # a rise over old ground counts so seldom (chosen: a bath is topped up once an hour)
    RISE_K = 0.8  # a rise in the heat's own proportion, and on ground not risen over before, is proof too (chosen)

    def __init__(self, values: dict) -> None:
        self._small_j_per_k = smallest_load_j_per_k(values)
        self._large_j_per_k = largest_load_j_per_k(values)
        self._hard_c = values["hard_limit_c"]
        self.least_loss_w_per_k = LEAST_LOSS_W_PER_K_AT_1L * values["water_l"] ** 0.667
        self._heat = HeatOnItsWay(values)
        self.look = Look(values)
        self.looks = 0  # blocks looked at
        self.unseen = 0
        self.proved_c: float | None = None  # nothing was ever shown
        self.unproved_j = 0.0
        self.full = True
        self.under_s = 0.0  # so long has it read under all that a heated bath can be: no proof
        self._began_c: float | None = None  # what was read as the last self-test of a start began, or passed
        self._highest_c = -200.0  # what was read since, at the most
        self._top_c = -200.0  # the highest reading that was proved since
        self._old_ms = -self.OLD_MS  # when a rise over old ground was last taken for proof
        self.may_look = True  # heat may be given just now
        self.witnessed = False  # a probe reads in the bowl, and the bowl is in its bath
        self._silent = False  # a look was not answered since the last proof
        self._full_j = 0.0
        self._mean_w = values["heater_w"]
        self._asked_ms = -self.APART_MS
        self._c: float | None = None

    @property
    def dead(self) -> bool:
        """The probe did not follow the heat, again and again."""
        return self.unseen >= self.UNSEEN

    def began(self, water_c: float, from_c: float) -> None:
        """The self-test of a start has passed; before it the reading was `from_c`."""
        if not self.under_s:  # else it is as far under what it was as before, in the same hold or in a new one
            self._began_c = max(from_c, water_c)
        self._highest_c = self._top_c = max(from_c, water_c)
        self.proved(water_c)

    def proved(self, water_c: float) -> None:
        """The probe follows the heat: what it reads is the water's, and only heat on its way is still to come."""
        self.proved_c = self._c = water_c
        self.unproved_j = self._heat.stored_j
        self.unseen, self.full, self._silent = 0, False, False
        self._risen = False  # a rise over old ground was taken for proof since the last look
        self._low_c = self._near_c = water_c
        self._top_c = max(self._top_c, water_c)
        self._rise_j = 0.0
        self.look.begin()

    def _proved_weakly(self) -> None:
        """By a sign that a dead probe may give by chance: from here on no proof of this hold buys more than MOST_K."""
        self.proved(self._c)
        self._highest_c = max(self._highest_c, self._cap_c - MOST_K)

    def doubt(self, budget_k: float) -> None:
        """The reading fell as no bath does: little more heat until it is proved."""
        if self.proved_c is not None:
            self.unproved_j = max(self.unproved_j, self._room_j() - budget_k * self._small_j_per_k)

    def _room_j(self) -> float:
        """How much heat may go unproved, J."""
        most_k = max(MOST_K, self._cap_c - self._highest_c)
        return min(self._cap_c - self.proved_c, most_k) * self._small_j_per_k

    def step(self, now_ms: int, dt_s: float, read: bool, water_c: float, given_j: float, limit_c: float,
             room_c: float) -> float:
        """One pass: a reading, if `read`, and the heat given since the last; what of it arrived, J."""
        arrived_j = self._heat.step(given_j, dt_s)
        self._cap_c = min(limit_c + OVER_LIMIT_K, self._hard_c)
        self.unproved_j += given_j
        if self.proved_c is None or not read:
            return arrived_j
        self._c += SMOOTHING * (water_c - self._c)
        self._highest_c = max(self._highest_c, self._c)
        if not self._c < min(room_c, self._began_c) - self.UNDER_K:
            self.under_s = 0.0
        elif given_j > 0.0:  # a draught may cool a bath at rest so far
            self.under_s += dt_s
        self._watch_rise(now_ms, arrived_j)
        look = self.look
        if look.at is not None and look.step(now_ms, dt_s, self._c, arrived_j):
            self._judge()
        room_j = self._room_j()
        if not self.unproved_j < room_j:
            self._full_j = self._full_j if self.full else self.unproved_j
            over_k = self.proved_c + self.unproved_j / self._small_j_per_k - room_c
            if not given_j > 0.0:  # it cools, at least this fast: another pulse will fit in
                self.unproved_j = max(room_j, self.unproved_j - self.least_loss_w_per_k * max(0.0, over_k) * dt_s)
        self.full = not self.unproved_j < room_j
        look.fade(dt_s)
        self._mean_w += (given_j / max(dt_s, 0.1) - self._mean_w) * dt_s / self.MEAN_S
        if look.at is None and self.may_look:
            hurried = not 1.6 * self._mean_w * look.block_s < room_j
            block_s = look.short_s if hurried else look.block_s
            if self._is_due(now_ms, room_j, block_s):
                look.ask(now_ms, self._c, block_s)
                self._asked_ms = now_ms
        return arrived_j

    def _is_due(self, now_ms: int, room_j: float, block_s: float) -> bool:
        """Is a look to begin? In time to be over before the account is full; at once where one was unsure."""
        if self.full:
            return self._left_j() > 0.0
        if self.look.blocks or self.unseen:
            return True
        risen_k = self._c - self._low_c
        counts = self.witnessed or self._low_c >= self._top_c - MOVED_K or now_ms - self._old_ms >= self.OLD_MS
        if counts and risen_k >= MOVED_K and 0.5 * self._rise_j <= risen_k * self._large_j_per_k:
            return not self.unproved_j < self.RISING * room_j  # a rise that is its own proof is under way
        needed_j = self._mean_w * block_s
        if now_ms - self._asked_ms < self.APART_MS:
            return not self.unproved_j < room_j - 1.1 * needed_j
        return not self.unproved_j < min(self.LOOK_AT * room_j, room_j - 1.1 * needed_j)

    def _left_j(self) -> float:
        """What a full account may still spend on pulses, after one more block of them."""
        return self._full_j + PULSES_K * self._small_j_per_k - self.unproved_j - self.look.block_j

    def most(self) -> float:
        """The most duty there may be: all, or that of a look's pulses while the account is full."""
        if not self.full:
            return 1.0
        spent = not self.unproved_j < self._full_j + PULSES_K * self._small_j_per_k
        return 0.0 if spent or not self.look.up else 2.0 * self.look.least

    def _judge(self) -> None:
        look = self.look
        self.looks += 1
        if not look.blocks:
            return
        if self.under_s:
            look.begin()
        elif self.SEEN <= look.gain < self.WILD and look.gain - 2.0 * look.error >= self.SURE:
            self._silent = self._silent or self.unseen > 0
            self.unseen = 0
            if not self._silent:
                self.proved(self._c)
            elif look.blocks > 1:  # one that was silent has to answer twice
                self._proved_weakly()
        elif look.gain + 2.0 * look.error < self.SEEN:
            self.unseen += 1
            look.begin()
        elif look.blocks >= self.MOST_BLOCKS:
            look.begin()

    def _watch_rise(self, now_ms: int, arrived_j: float) -> None:
        """Count a rise as proof: RISE_K or more, two thirds of what the largest load would show for the heat given,
        and no more than the smallest could show. It has to end RISE_K over all that was proved in this hold; on old
        ground it counts once an hour, because a reading that swings about a stuck value rises again and again. Beside
        a bowl that would show warmer water it counts once after each look: each stirring cools a melt's bath.
        """
        self._rise_j += arrived_j
        risen_k = self._c - self._low_c
        stale = self._rise_j > 2.0 * self.RISE_K * self._large_j_per_k and risen_k < self.RISE_K
        if self.under_s or risen_k <= 0.0 or stale:
            self._low_c, self._rise_j = self._c, 0.0
        elif risen_k >= self.RISE_K and self._small_j_per_k * risen_k <= 1.5 * self._rise_j:
            if self._rise_j > self.MOST_HEAT * risen_k * self._large_j_per_k:
                self._low_c, self._rise_j = self._c, 0.0
            elif self._c > self._top_c + self.RISE_K:
                self.proved(self._c)
            elif self.witnessed and (self._c > self._near_c + self.RISE_K or not self._risen):
                risen, near_c = self._risen or not self._c > self._near_c, max(self._c, self._near_c)
                self.proved(self._c)
                self._risen, self._near_c = risen, near_c
            elif now_ms - self._old_ms >= self.OLD_MS:
                self._old_ms = now_ms
                self._proved_weakly()
