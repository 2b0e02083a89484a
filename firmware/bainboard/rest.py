"""Heat that nobody asked for: does the water rise although the heater is switched off? Pure.

In a hold the guard opens for a first look and closes for a second. Only a shorted switch makes the rise stop with the
guard and come back with it. In every other state the guard is open already, so a rise there is heat that the board
cannot stop, and so is a bath that ought to cool and does not.
"""

from bainboard.heat_balance import (
    LEAST_LOSS_W_PER_K_AT_1L,
    MOVED_K,
    PROBE_LAG_S,
    PROMISED_K,
    WATER_J_PER_LK,
    largest_load_j_per_k,
    smallest_load_j_per_k,
)

OBSERVE_MS = 120 * 1000  # a slope to 0.0005 K/s from a 1/16 K reading
LEAST_MS = 30 * 1000  # a block of a rise is no shorter than the slowest probe's lag
BLOCKS = 3  # so many blocks of rise in a row are heat: what is poured in shows and is over (chosen)
CALM_MS = 600 * 1000  # water that rose is where it was at rest when nothing rose for ten minutes (chosen)
APART_MS = 10 * 1000  # readings this far apart have a self-test between them (chosen)
PERSON_MS = 900 * 1000  # what a person just did explains a rise where there is no guard to ask (chosen)
ROOM_K = 5.0  # cold water warms to the room by itself, and a room is known this well (chosen)
SUN_K = 3.0  # and a room warms by so much in a day (chosen)
BOWL_C = 50.0  # the warmest bowl set into a bath, where no probe says how warm it is (dark melts at 45-50: T)
KITCHEN_C = 35.0  # no kitchen is warmer, whatever was told, and slow warmth under it harms nobody (chosen)
STAYS_K = 0.6  # a bath so far over what it can be by itself is heated (chosen: twice what a probe's noise makes)
WARMER_K = 1.0  # a bowl that reads so far over its water gives it heat (chosen: the error of two probes)
POUR_MS, POURS_MS = 1800 * 1000, 3600 * 1000  # a rise as heat makes it is no pour in half of each hour (chosen)
WINDOW_MS = 600 * 1000  # what is poured or set in is mixed and seen by then (chosen)
ROUNDS = 3  # (chosen: a bowl that is stirred may make one)
FALL_K = 0.1  # the least fall in such a window that is one (chosen: steps of 1/16 K, nine to a reading)
WINDOWS = 3  # so many windows of a fall in a row, and nothing heats the bath (chosen)


class Ceiling:
    """How warm a bath that nothing heats can be at the most, and whether this one cools as such a bath does.

    It falls towards the room as the best kept bath of this size would, and with the reading once that has been lower
    for a whole window. Heat on its way lifts it by what that lifts half of the water, a warmer bowl as far as the water
    follows; and so does what is poured in, which shows as a rise that this heater could not make, or is soon over.
    """

    def __init__(self, values: dict) -> None:
        large_j_per_k = largest_load_j_per_k(values)
        self._small_j_per_k = smallest_load_j_per_k(values)
        self._fall_per_s = LEAST_LOSS_W_PER_K_AT_1L * values["water_l"] ** 0.667 / large_j_per_k
        bowl_j_per_k = large_j_per_k - values["water_l"] * WATER_J_PER_LK
        self._bowl_share = bowl_j_per_k / (bowl_j_per_k + self._small_j_per_k)
        self._pour_ms: int | None = None
        self.c: float | None = None

    def with_bowl(self, c: float) -> float:
        """Where the warmest bowl would bring half of the water, if no probe says how warm it is."""
        return c + self._bowl_share * max(0.0, BOWL_C - c)

    def begin(self, now_ms: int, water_c: float, bowl_c: float | None) -> None:
        """Heat is given: the bath is as warm as it is."""
        self.c = water_c
        self.look_afresh(now_ms, water_c, bowl_c)

    def look_afresh(self, now_ms: int, water_c: float, bowl_c: float | None) -> None:
        """What was seen so far is no fall."""
        self._falls = 0  # windows in a row
        self._begin_window(now_ms, water_c, bowl_c)

    def _begin_window(self, now_ms: int, water_c: float, bowl_c: float | None) -> None:
        self._step_ms = self._since_ms = now_ms
        self._from_c = self._top_c = water_c
        self._bowl_c = bowl_c

    def step(self, now_ms: int, water_c: float, bowl_c: float | None, room_c: float, arrived_j: float) -> None:
        """One reading."""
        dt_s = (now_ms - self._step_ms) / 1000
        self._step_ms = now_ms
        self._room_c = room_c + ROOM_K
        self.c += arrived_j / self._small_j_per_k
        self.c -= max(0.0, self.c - self._room_c - SUN_K) * min(1.0, self._fall_per_s * dt_s)
        if bowl_c is not None and bowl_c > water_c + WARMER_K:
            self.c = max(self.c, water_c)
        self._top_c = max(self._top_c, water_c)
        if now_ms - self._since_ms >= WINDOW_MS:
            self.c = min(self.c, self._top_c)
            self._falls = self._falls + 1 if self._fell(water_c, bowl_c) else 0
            self._begin_window(now_ms, water_c, bowl_c)

    def _fell(self, water_c: float, bowl_c: float | None) -> bool:
        """Has it cooled as the best kept bath does? Near the room it need not; what a colder bowl took is no loss."""
        if bowl_c is not None and self._bowl_c is not None and bowl_c > self._bowl_c + MOVED_K:
            return False
        over_k = water_c - self._room_c
        must_k = max(FALL_K, over_k * self._fall_per_s * WINDOW_MS / 1000) if over_k > 0.0 else -FALL_K
        return water_c <= self._from_c - must_k

    def poured(self, water_c: float) -> None:
        """Water comes in, as no heat of this warmer shows."""
        self.c = max(self.c, water_c)

    def rose(self, now_ms: int, water_c: float) -> None:
        """The water rose, and it may have been poured in."""
        if self._pour_ms is None or now_ms - self._pour_ms >= POURS_MS:
            self._pour_ms = now_ms
        if now_ms - self._pour_ms < POUR_MS:
            self.poured(water_c)

    def passed(self, water_c: float, bowl_c: float | None) -> bool:
        """Is the bath warmer than it can be by itself?"""
        most_c = max(self.c, self._room_c + SUN_K)
        return not water_c - max(KITCHEN_C, self.with_bowl(most_c) if bowl_c is None else most_c) < STAYS_K

    @property
    def cools(self) -> bool:
        """It has cooled for long enough, as a bath does that nothing heats."""
        return self._falls >= WINDOWS


class Rest:
    """Step it with each valid reading, in every state.

    `opened`: first look, heat off and guard open. `closed`: second look, heat off and guard closed. `shorted`: the
    rise stopped with the guard open and came back with it closed. `unasked`: it rises with the guard open, or does not
    cool; only a bath that cools ends that. `steady`: with the guard open it has cooled, or not risen for long enough.
    `seen` is what is known of it, 0 to BLOCKS: what outlives a restart.
    """

    WATCH, OPENED, CLOSED, SHORTED = range(4)

    def __init__(self, values: dict, seen: int = 0) -> None:
        self._rise_k = values["trip.idle_rise_k"]
        self._small_j_per_k = smallest_load_j_per_k(values)
        self._ceiling = Ceiling(values)
        self._guard_fitted = values["guard"]
        promised_ms = int(1000 * PROMISED_K * largest_load_j_per_k(values) / values["heater_w"])
        self._settle_ms = int(1000 * (5 * values["heater_lag_s"] + 2 * PROBE_LAG_S))
        self._again_ms = self._settle_ms + promised_ms
        self._block_ms = max(LEAST_MS, 2 * promised_ms)
        self._rising = min(BLOCKS, max(0, seen))  # blocks of rise in a row; negative: blocks without one
        self._over = seen > 0  # a rise that nothing explains
        self.unasked = seen >= BLOCKS
        self._ground_c: float | None = None
        self._poured = False
        self._open_ms: int | None = None
        self._looked_ms = 0
        self.steady = self._passed = False
        self._rose_ms, self._rose_c, self._low_c = 0, 0.0, 0.0
        self.forget_looks()

    def forget_looks(self) -> None:
        """The switch was proved, or a person has cleared the latch; what rose with the guard open is as true as it was.
        """
        self._base_c: float | None = None
        self._begin_rounds()
        self._enter(self.WATCH, 0, 0.0)

    def proved(self) -> None:
        """A self-test has shown that guard and switch cut the heat; an even rise from before it began it cannot see."""
        self.forget_looks()
        if not self._over:
            self._rising = min(0, self._rising)

    def blind(self) -> None:
        """The probe is in somebody's hand, or unread: nothing is seen, and nothing is forgotten."""
        self._ground_c = self._base_c = None
        self.steady = False

    @property
    def seen(self) -> int:
        """Blocks of a rise that nothing explains, with the guard open, 0 to BLOCKS; before the last no hold starts."""
        if self.unasked:
            return BLOCKS
        return min(BLOCKS - 1, max(0, self._rising)) if self._over else 0

    def _enter(self, state: int, now_ms: int, water_c: float) -> None:
        self.state = state
        self._since_ms, self._top_c, self._from_c = now_ms, water_c, water_c

    @property
    def opened(self) -> bool:
        """First look: heat off and guard open."""
        return self.state == self.OPENED

    @property
    def closed(self) -> bool:
        """Second look: heat off, guard closed."""
        return self.state == self.CLOSED

    @property
    def shorted(self) -> bool:
        """The rise stopped with the guard open and came back with it closed."""
        return self.state == self.SHORTED

    def step(self, now_ms: int, water_c: float, bowl_c: float | None, room_c: float, duty_zero: bool, arrived_j: float,
             guard_open: bool, holding: bool, poured: bool) -> None:
        """One valid reading, in any state; `bowl_c` None when unknown. The last five are since the one before it;
        `poured`: it rises because water comes in.
        """
        self._poured = poured
        seen_before = self._ground_c is not None
        if not guard_open:
            self._open_ms = None
        elif self._open_ms is None:
            self._open_ms = now_ms
        self._watch_steady(now_ms, water_c, seen_before and guard_open and duty_zero)
        if self._ceiling.c is None or (holding and not guard_open):
            self._ceiling.begin(now_ms, water_c, bowl_c)
        elif not seen_before:
            self._ceiling.look_afresh(now_ms, water_c, bowl_c)
        self._ceiling.step(now_ms, water_c, bowl_c, room_c, arrived_j)
        if self._ground_c is None or not duty_zero:
            self._ground_c = water_c
            self._begin_block(now_ms, water_c)
        else:
            # What a shorted switch left in the heater's metal still comes for a while after the guard has opened.
            cut_off = self._open_ms is not None and now_ms - self._open_ms >= self._settle_ms
            if poured:
                self._begin_block(now_ms, water_c)
                self._ceiling.poured(water_c)
            self._watch_unasked(now_ms, water_c, bowl_c, room_c, arrived_j, cut_off)

    def _watch_steady(self, now_ms: int, water_c: float, off: bool) -> None:
        """Does it not rise, as far as it is known? Long enough is what heat on its way takes."""
        if not off or not water_c - self._low_c < MOVED_K:
            self._rose_ms, self._rose_c, self._low_c = now_ms, water_c, water_c
        self._low_c = min(self._low_c, water_c)
        self.steady = water_c <= self._rose_c - MOVED_K or now_ms - self._rose_ms >= self._settle_ms

    def look(self, now_ms: int, water_c: float, bowl_c: float | None, duty_zero: bool, arrived_j: float, holding: bool,
             last_person_ms: int) -> None:
        """The same reading after `step`, but in a self-test, which moves switch and guard itself."""
        tested = now_ms - self._looked_ms > APART_MS
        self._looked_ms = now_ms
        if holding:
            self._count_rounds(now_ms, water_c, duty_zero, last_person_ms)
        if tested and self.state in (self.OPENED, self.CLOSED):
            self._enter(self.OPENED, now_ms, water_c)  # what a test poured in between is no part of a slope
        if self.state == self.OPENED:
            self._look(now_ms, water_c)
        elif self.state == self.CLOSED:
            if holding:
                self._look_again(now_ms, water_c, bowl_c)
            else:  # a pause: the self-test after it asks the same question, and more surely
                self._rest_again(now_ms, water_c)
        elif self.state == self.WATCH and holding:
            self._watch(now_ms, water_c, bowl_c, duty_zero, arrived_j, last_person_ms)

    # -- heat that no part of this board lets through ------------------------------------------------------------------

    def _begin_block(self, now_ms: int, water_c: float) -> None:
        """A block begins; one that heat, a closed guard or a hand broke off says nothing, either way."""
        self._block_c, self._block_since_ms, self._last_k = water_c, now_ms, 0.0

    def _watch_unasked(self, now_ms: int, water_c: float, bowl_c: float | None, room_c: float, arrived_j: float,
                       cut_off: bool) -> None:
        """With the switch off, a rise over all that explains it, steady for BLOCKS blocks with the guard open."""
        self._ground_c = explained_c = min(water_c, self._ground_c + arrived_j / self._small_j_per_k)
        if bowl_c is None:
            explained_c = self._ceiling.with_bowl(explained_c)
        elif bowl_c > water_c:
            explained_c = bowl_c
        if now_ms - self._block_since_ms >= self._block_ms:
            was_over = self._over
            self._end_block(now_ms, water_c, bowl_c, cut_off)
            over = not water_c - max(explained_c, room_c + ROOM_K) < self._rise_k
            self._over = self._rising > 0 and (was_over or over)
            # A bowl's rise that a kettle takes over all that explains it is one block over, and then none.
            if self._rising >= BLOCKS and was_over and over:
                self.unasked = True
        if -self._rising * self._block_ms >= CALM_MS and (not self.unasked or self._ceiling.cools):
            self.unasked, self._rising, self._ground_c = False, 0, water_c

    def _end_block(self, now_ms: int, water_c: float, bowl_c: float | None, cut_off: bool) -> None:
        rose_k, last_k = water_c - self._block_c, self._last_k
        self._begin_block(now_ms, water_c)
        if not rose_k < MOVED_K:
            self._ceiling.rose(now_ms, water_c)
        if not cut_off:
            return
        self._last_k = rose_k
        # What was poured in shows through the probe's lag, less in each block. Heat that flows shows as much again.
        if rose_k >= max(MOVED_K, 0.5 * last_k):
            self._rising = max(0, self._rising) + 1
        else:
            self._rising = min(0, self._rising) - 1
        passed = self._ceiling.passed(water_c, bowl_c)
        if passed and (self._passed or rose_k < MOVED_K):  # a steep rise may be a kettle's first seconds
            self.unasked = True
        self._passed = passed

    # -- a switch that does not open -----------------------------------------------------------------------------------

    def _watch(self, now_ms: int, water_c: float, bowl_c: float | None, duty_zero: bool, arrived_j: float,
               last_person_ms: int) -> None:
        # Heat that is meant sets a new base, and so does a bowl warmer than the water, which explains any rise.
        if not duty_zero or self._base_c is None or (bowl_c is not None and bowl_c > water_c):
            self._base_c = water_c
            return
        # What is still on its way may lift the base, by as much as a half-dry bath would rise, and no further than
        # the water itself: no slack is saved up.
        self._base_c = min(water_c, self._base_c + arrived_j / self._small_j_per_k)
        if water_c - self._base_c < self._rise_k:
            return
        if self._guard_fitted:
            self._enter(self.OPENED, now_ms, water_c)
        elif now_ms - last_person_ms >= PERSON_MS:
            self._enter(self.SHORTED, now_ms, water_c)

    def _begin_rounds(self) -> None:
        self._rounds = 0
        self._round_low_c: float | None = None
        self._round_top_c: float | None = None

    def _count_rounds(self, now_ms: int, water_c: float, duty_zero: bool, last_person_ms: int) -> None:
        """The guard closes and the water rises; it opens, for whatever reason, and the water falls; again and again.

        A bowl warmer than its bath, which hides a shorted switch from the looks, goes on warming it with the guard
        open. Water that falls until heat is asked for, with the guard closed, has no such switch.
        """
        if not duty_zero:
            self._begin_rounds()
        elif self._open_ms is None:
            self._round_top_c = None
            if self._round_low_c is None:
                self._round_low_c, self._round_ms = water_c, now_ms
            self._round_low_c = min(self._round_low_c, water_c)
        else:
            if self._round_low_c is not None and self._round_ms > last_person_ms:
                self._round_top_c = water_c if water_c - self._round_low_c >= MOVED_K else None
            self._round_low_c = None
            if self._round_top_c is not None:
                self._round_top_c = max(self._round_top_c, water_c)
                if water_c <= self._round_top_c - MOVED_K:
                    self._rounds += 1
                    self._round_top_c = None
        if self._rounds >= ROUNDS:
            self._enter(self.SHORTED, now_ms, water_c)

    def _look(self, now_ms: int, water_c: float) -> None:
        """Guard open: after the heater's own heat is spent, how fast does the water still rise?"""
        self._top_c = max(self._top_c, water_c)
        waited_ms = now_ms - self._since_ms
        if water_c <= self._top_c - MOVED_K:
            self._slope_k_per_ms = 0.0
            self._enter(self.CLOSED, now_ms, water_c)
        elif waited_ms <= self._settle_ms:
            self._from_c = water_c
        elif self.unasked or (self._rising > 0 and waited_ms < self._settle_ms + (BLOCKS + 2) * self._block_ms):
            return  # it goes on with the guard open: look on until it is sure what this is
        elif waited_ms >= self._settle_ms + OBSERVE_MS:
            self._slope_k_per_ms = max(0.0, water_c - self._from_c) / (waited_ms - self._settle_ms)
            self._enter(self.CLOSED, now_ms, water_c)

    def _look_again(self, now_ms: int, water_c: float, bowl_c: float | None) -> None:
        """Guard closed, switch still off: more rise than with the guard open is the switch's."""
        explained_c = self._from_c + self._slope_k_per_ms * (now_ms - self._since_ms)
        self._from_c = min(self._from_c, water_c)
        if self._poured or (bowl_c is not None and bowl_c > water_c):
            # A second kettle, or the next bowl, set in warm: nothing is seen, and the next rise is looked at afresh.
            self._rest_again(now_ms, water_c)
        elif not water_c - explained_c < MOVED_K:
            self._enter(self.SHORTED, now_ms, water_c)
        elif water_c <= self._top_c - MOVED_K or now_ms - self._since_ms >= self._again_ms:
            self._rest_again(now_ms, water_c)

    def _rest_again(self, now_ms: int, water_c: float) -> None:
        self._enter(self.WATCH, now_ms, water_c)
        self._base_c = None
