"""What heat must do to water, in bounds: the evidence that two of the supervisor's checks weigh. Pure."""

WATER_J_PER_LK = 4180.0  # one litre, 4178 J/kg·K x 0.995 kg/L at 33 °C (IAPWS-IF97), rounded up
BOWL_J_PER_KGK = 900.0  # aluminium, the most a bowl's metal or glass stores (from memory)
CHOCOLATE_J_PER_KGK = 1670.0  # liquid, 40-60 °C (Beckett, constants table)
PROBE_LAG_S = 30.0  # the slowest water probe supported (chosen: a steel sleeve in still water)
LEAST_FILL = 0.5  # the least of the stated water still in the bath (chosen: the bowl's foot dry)

# Losses of an uncovered bath with its bowl: 2 W/K for one litre, growing with its surface. About 1.5 times what the
# reference bowl and bath lose (0.93 W/K of bowl, 1-1.5 W/K of bath: computed, natural convection and evaporation).
LOSS_W_PER_K_AT_1L = 2.0
DRAUGHT = 2.0  # draughts and stirring may double a measured loss (computed for the reference bowl)

MOVED_K = 0.3  # a fall or rise that no probe's noise makes: five steps of 1/16 K
PROMISED_K = 0.6  # what a look must promise, so that half of it is proof


def largest_load_j_per_k(values):
    """Heat that lifts the full water, bowl and chocolate by 1 K: the *slowest* rise that heat can promise."""
    return (values["water_l"] * WATER_J_PER_LK + values["bowl_kg"] * BOWL_J_PER_KGK
            + values["chocolate_kg"] * CHOCOLATE_J_PER_KGK)


def smallest_load_j_per_k(values):
    """Heat that lifts a half-dry bath with no bowl in it by 1 K: the *fastest* rise that heat can explain."""
    return values["water_l"] * WATER_J_PER_LK * LEAST_FILL


def believed_loss_w_per_k(values):
    """Upper bound of the losses before any was proved: twice the tuned loss, or by size; never over the setting's."""
    tuned = values["gains.loss_w_per_k"]
    by_size = LOSS_W_PER_K_AT_1L * values["water_l"] ** 0.667
    return min(DRAUGHT * tuned if tuned > 0.0 else by_size, values["trip.loss_bound_w_per_k"])


class HeatOnItsWay:
    """Heat given but not yet seen by the probe: it waits in the heater's metal and in the probe's sleeve."""

    def __init__(self, values):
        self._lag_s = values["heater_lag_s"] + PROBE_LAG_S
        self._stored_j = 0.0

    def step(self, given_j, dt_s):
        """Heat that arrives in this step, J."""
        self._stored_j += given_j
        arrived_j = self._stored_j * min(1.0, dt_s / self._lag_s)
        self._stored_j -= arrived_j
        return arrived_j


class Losses:
    """Heat that must be believed to leave, W/K: the bound of before, or for an hour what was proved to be more."""

    PROVED_FOR_MS = 3600 * 1000  # chosen: melting and open lids pass

    def __init__(self, values):
        self._bound_w_per_k = believed_loss_w_per_k(values)
        self.begin(0)

    def begin(self, now_ms):
        """Nothing is proved."""
        self._proved_w_per_k = 0.0
        self._until_ms = now_ms

    def prove(self, now_ms, mean_w, over_room_k):
        """So much heat did not lift the reading, and both heater and probe are sound: it was lost."""
        self._proved_w_per_k = 1.25 * mean_w / max(1.0, over_room_k)
        self._until_ms = now_ms + self.PROVED_FOR_MS

    def watts(self, now_ms, over_room_k):
        """The most that leaves."""
        proved = self._proved_w_per_k if now_ms < self._until_ms else 0.0
        return max(self._bound_w_per_k, proved) * max(0.0, over_room_k)


class Response:
    """Does the probe answer to heat? If it does not, heat is withheld: real water must then fall.

    A steady reading under heat has two causes, a stuck probe and losses as large as the heat, and no bound on losses
    tells them apart on every rig. Taking the heat away does: losses that large cool the water, a stuck probe stays.
    A reading that does not move by its last digit while the heat changes is looked at in the same way.
    """

    WATCH, LISTEN, DEAF, WEAK = range(4)
    STILL_K = 0.03  # under a step of 1/16 K, over one of the converter's
    CHANGED_K = 1.0  # a change of heat that would have lifted the largest load by this leaves no reading as it is

    def __init__(self, values, losses):
        # The largest load, because the promise must hold for the fullest bowl: with the smallest, a full bowl that
        # rises as slowly as it should is a false trip. The price: a nearly empty bath rises by largest/smallest times
        # the promise before it is judged, and that ratio is what keeps it under the 5 K allowed.
        self._load_j_per_k = largest_load_j_per_k(values)
        self._promise_j = values["trip.no_response_expect_k"] * self._load_j_per_k
        self._seen_k = values["trip.no_response_seen_k"]
        self._losses = losses
        self._lags_ms = int(1000 * (3 * values["heater_lag_s"] + 2 * PROBE_LAG_S))
        self.begin(0)

    @property
    def listening(self):
        """Heat is withheld to see whether the reading falls."""
        return self.state == self.LISTEN

    @property
    def deaf(self):
        """The reading moved neither with heat nor without it."""
        return self.state == self.DEAF

    @property
    def weak(self):
        """The reading lives and rose with heat, by far less than was promised: little heat arrives."""
        return self.state == self.WEAK

    def begin(self, now_ms):
        """Forget everything; a new hold."""
        self.mean_w = 0.0
        self._open_window(now_ms, None)

    def step(self, now_ms, dt_s, water_c, lost_w, taken_w, arrived_j, over_room_k):
        """One valid reading, the heat that arrived since the last, and what losses and bowl may take of it."""
        if self.state == self.WATCH:
            self._watch(now_ms, dt_s, water_c, lost_w, taken_w, arrived_j)
        elif self.state == self.LISTEN:
            self._listen(now_ms, water_c, over_room_k)

    def _open_window(self, now_ms, water_c):
        self.state = self.WATCH
        self._base_c = water_c
        self._start_ms = now_ms
        self._given_j = self._spare_j = 0.0
        self._still_c = None

    def _watch(self, now_ms, dt_s, water_c, lost_w, taken_w, arrived_j):
        self._watch_still(now_ms, dt_s, water_c, taken_w, arrived_j)
        self._given_j += arrived_j
        self._spare_j += arrived_j - lost_w * dt_s
        base_c = self._base_c
        if self.state == self.LISTEN:
            return
        # A fall opens a new window: cold water, a cold bowl, a lid taken off. So does a rise, the answer waited for.
        if base_c is None or not self._spare_j > 0.0 or not base_c - MOVED_K < water_c < base_c + self._seen_k:
            self._base_c, self._start_ms = water_c, now_ms
            self._given_j = self._spare_j = 0.0
        elif self._spare_j >= self._promise_j:
            self.mean_w = 1000.0 * self._given_j / max(1, now_ms - self._start_ms)
            self._withhold(now_ms, water_c, water_c >= base_c + MOVED_K)

    def _watch_still(self, now_ms, dt_s, water_c, taken_w, arrived_j):
        """While the reading is the same to the digit: how much has the heat changed since it began to be?"""
        net_j = arrived_j - taken_w * dt_s
        if self._still_c is None or not -self.STILL_K < water_c - self._still_c < self.STILL_K:
            self._still_c, self._still_ms = water_c, now_ms
            self._still_w = net_j / dt_s if dt_s > 0.0 else 0.0
            self._still_j = self._still_given_j = 0.0
            return
        self._still_j += net_j - self._still_w * dt_s
        self._still_given_j += arrived_j
        changed_j = abs(self._still_j)
        if changed_j >= self.CHANGED_K * self._load_j_per_k:
            self.mean_w = 1000.0 * max(self._still_given_j, changed_j) / max(1, now_ms - self._still_ms)
            self._withhold(now_ms, water_c, False)

    def _withhold(self, now_ms, water_c, moved):
        self.state = self.LISTEN
        self._base_c, self._moved, self._stirred = water_c, moved, False
        # The losses are at least 0.7 of the mean heat, or the reading would have risen by `seen_k`.
        fall_s = PROMISED_K * self._load_j_per_k / (0.7 * self.mean_w)
        self._until_ms = now_ms + self._lags_ms + int(1000 * fall_s)

    def _listen(self, now_ms, water_c, over_room_k):
        if water_c <= self._base_c - MOVED_K:
            self._losses.prove(now_ms, self.mean_w, over_room_k)
            self._open_window(now_ms, water_c)
            return
        self._stirred = self._stirred or not -self.STILL_K < water_c - self._base_c < self.STILL_K
        if now_ms >= self._until_ms:
            self.state = self.WEAK if self._moved and self._stirred else self.DEAF


class Rest:
    """Does the water rise while the switch is off? Then look with the guard open, and again with it closed.

    Only a shorted switch makes the rise stop with the guard and come back with it. A kettle's water, a warm bowl, the
    sun or a stove do not care about the guard, and what happens once does not happen twice.
    """

    WATCH, OPENED, CLOSED, OUTSIDE, SHORTED = range(5)
    OBSERVE_MS = 120 * 1000  # a slope to 0.0005 K/s from a 1/16 K reading
    CALM_MS = 600 * 1000  # outside heat is over when nothing rose for ten minutes (chosen)
    MORE_K = 3.0  # outside heat that goes on this far is looked at again (chosen: inside the 5 K allowed)
    PERSON_MS = 900 * 1000  # what a person just did explains a rise where there is no guard to ask (chosen)

    def __init__(self, values):
        self._rise_k = values["trip.idle_rise_k"]
        self._small_j_per_k = smallest_load_j_per_k(values)
        self._guard_fitted = values["guard"]
        self._settle_ms = int(1000 * (5 * values["heater_lag_s"] + 2 * PROBE_LAG_S))
        self._again_ms = self._settle_ms + int(
            1000 * PROMISED_K * largest_load_j_per_k(values) / values["heater_w"])
        self.begin(0)

    @property
    def opened(self):
        """First look: heat off and guard open."""
        return self.state == self.OPENED

    @property
    def closed(self):
        """Second look: heat off, guard closed."""
        return self.state == self.CLOSED

    @property
    def outside(self):
        """The rise went on without the guard: not this heater."""
        return self.state == self.OUTSIDE

    @property
    def shorted(self):
        """The rise stopped with the guard open and came back with it closed."""
        return self.state == self.SHORTED

    def begin(self, now_ms):
        """Forget everything; a new hold."""
        self._enter(self.WATCH, now_ms, None)

    def step(self, now_ms, water_c, bowl_c, duty_zero, arrived_j, last_person_ms):
        """One valid reading; `bowl_c` None when unknown."""
        if self.state == self.WATCH:
            self._watch(now_ms, water_c, bowl_c, duty_zero, arrived_j, last_person_ms)
        elif self.state == self.OPENED:
            self._look(now_ms, water_c)
        elif self.state == self.CLOSED:
            self._look_again(now_ms, water_c)
        elif self.state == self.OUTSIDE:
            self._wait_for_calm(now_ms, water_c)

    def _enter(self, state, now_ms, water_c):
        self.state = state
        self._since_ms = now_ms
        self._base_c = self._top_c = water_c
        self._mark_ms = now_ms
        self._mark_c = None

    def _watch(self, now_ms, water_c, bowl_c, duty_zero, arrived_j, last_person_ms):
        # Sets the base anew: heat that is meant, and a bowl warmer than the water, which explains any rise.
        if not duty_zero or self._base_c is None or (bowl_c is not None and bowl_c > water_c):
            self._base_c = water_c
            return
        # What is still on its way may lift the base, by as much as a half-dry bath would rise, and no further than
        # the water itself: no slack is saved up.
        self._base_c = min(water_c, self._base_c + arrived_j / self._small_j_per_k)
        if not water_c - self._base_c < self._rise_k:
            if self._guard_fitted:
                self._enter(self.OPENED, now_ms, water_c)
            elif now_ms - last_person_ms < self.PERSON_MS:
                self._enter(self.OUTSIDE, now_ms, water_c)
            else:
                self._enter(self.SHORTED, now_ms, water_c)

    def _look(self, now_ms, water_c):
        """Guard open: after the heater's own heat is spent, how fast does the water still rise?"""
        self._top_c = max(self._top_c, water_c)
        waited_ms = now_ms - self._since_ms
        if self._mark_c is None and waited_ms >= self._settle_ms:
            self._mark_c, self._mark_ms = water_c, now_ms
        if water_c <= self._top_c - MOVED_K:
            self._slope_k_per_ms = 0.0
            self._enter(self.CLOSED, now_ms, water_c)
        elif waited_ms >= self._settle_ms + self.OBSERVE_MS:
            self._slope_k_per_ms = max(0.0, (water_c - self._mark_c) / (now_ms - self._mark_ms))
            self._enter(self.CLOSED, now_ms, water_c)

    def _look_again(self, now_ms, water_c):
        """Guard closed, switch still off: more rise than with the guard open is the switch's."""
        explained_c = self._base_c + self._slope_k_per_ms * (now_ms - self._since_ms)
        self._base_c = min(self._base_c, water_c)
        if not water_c - explained_c < MOVED_K:
            self._enter(self.SHORTED, now_ms, water_c)
        elif water_c <= self._top_c - MOVED_K:
            self._enter(self.WATCH, now_ms, None)
        elif now_ms - self._since_ms >= self._again_ms:
            self._enter(self.OUTSIDE if self._slope_k_per_ms > 0.0 else self.WATCH, now_ms, water_c)

    def _wait_for_calm(self, now_ms, water_c):
        if water_c > self._top_c:
            self._top_c, self._mark_ms = water_c, now_ms
        if self._guard_fitted and water_c - self._base_c >= self.MORE_K:
            self._enter(self.OPENED, now_ms, water_c)
        elif now_ms - self._mark_ms >= self.CALM_MS or (
                not self._guard_fitted and now_ms - self._since_ms >= self.PERSON_MS):
            self._enter(self.WATCH, now_ms, None)
