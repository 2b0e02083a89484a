"""Heat that nobody asked for: does the water rise although the heater is switched off? Pure.

In a hold the guard opens for a first look and closes for a second. Only a shorted switch makes the rise stop with the
guard and come back with it. In every other state the guard is open already, so a rise there is heat that the board
cannot stop.
"""

from bainboard.heat_balance import (
    BOWL_J_PER_KGK,
    CHOCOLATE_J_PER_KGK,
    MOVED_K,
    PROBE_LAG_S,
    PROMISED_K,
    largest_load_j_per_k,
    smallest_load_j_per_k,
)

OBSERVE_MS = 120 * 1000  # a slope to 0.0005 K/s from a 1/16 K reading
LEAST_MS = 30 * 1000  # a block of a rise is no shorter than the slowest probe's lag
BLOCKS = 3  # so many blocks of rise in a row are heat: what is poured in shows and is over (chosen)
CALM_MS = 600 * 1000  # a rise is over when nothing rose for ten minutes (chosen)
PERSON_MS = 900 * 1000  # what a person just did explains a rise where there is no guard to ask (chosen)
ROOM_K = 5.0  # cold water warms to the room by itself, and a room is known this well (chosen)
BOWL_C = 50.0  # the warmest bowl set into a bath, where no probe says how warm it is (dark melts at 45-50: T)


class Rest:
    """Step it with each valid reading, in every state but a self-test.

    `opened`: first look, heat off and guard open. `closed`: second look, heat off and guard closed. `shorted`: the
    rise stopped with the guard open and came back with it closed. `unasked`: it rises with the guard open.
    """

    WATCH, OPENED, CLOSED, SHORTED = range(4)

    def __init__(self, values: dict) -> None:
        self._rise_k = values["trip.idle_rise_k"]
        self._small_j_per_k = smallest_load_j_per_k(values)
        bowl_j_per_k = values["bowl_kg"] * BOWL_J_PER_KGK + values["chocolate_kg"] * CHOCOLATE_J_PER_KGK
        self._bowl_share = bowl_j_per_k / (bowl_j_per_k + self._small_j_per_k)
        self._guard_fitted = values["guard"]
        promised_ms = int(1000 * PROMISED_K * largest_load_j_per_k(values) / values["heater_w"])
        self._settle_ms = int(1000 * (5 * values["heater_lag_s"] + 2 * PROBE_LAG_S))
        self._again_ms = self._settle_ms + promised_ms
        self._block_ms = max(LEAST_MS, 2 * promised_ms)
        self.begin()

    def begin(self) -> None:
        """The switch was proved: forget the looks."""
        self.unasked = False
        self._ground_c: float | None = None
        self._base_c: float | None = None
        self._open_ms: int | None = None
        self._enter(self.WATCH, 0, 0.0)

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
             guard_open: bool, last_person_ms: int) -> None:
        """One valid reading; `bowl_c` None when unknown, `guard_open` in any state that does not heat."""
        if not (guard_open or self.opened):
            self._open_ms = None
        elif self._open_ms is None:
            self._open_ms = now_ms
        if self._ground_c is None or not duty_zero:
            self._begin_blocks(now_ms, water_c)
        else:
            # What a shorted switch left in the heater's metal still comes for a while after the guard has opened.
            cut_off = self._open_ms is not None and now_ms - self._open_ms >= self._settle_ms
            self._watch_unasked(now_ms, water_c, bowl_c, room_c, arrived_j, cut_off)
        if self.state == self.OPENED:
            self._look(now_ms, water_c)
        elif self.state == self.CLOSED:
            if guard_open:  # a pause: the self-test after it asks the same question, and more surely
                self._rest_again(now_ms, water_c)
            else:
                self._look_again(now_ms, water_c)
        elif self.state == self.WATCH and not guard_open:
            self._watch(now_ms, water_c, bowl_c, duty_zero, arrived_j, last_person_ms)

    # -- heat that no part of this board lets through ------------------------------------------------------------------

    def _begin_blocks(self, now_ms: int, water_c: float) -> None:
        self.unasked = False
        self._ground_c = self._block_c = water_c
        self._block_since_ms = now_ms
        self._rising = 0  # blocks of rise in a row; negative: blocks without one
        self._last_k = 0.0

    def _watch_unasked(self, now_ms: int, water_c: float, bowl_c: float | None, room_c: float, arrived_j: float,
                       cut_off: bool) -> None:
        """With the switch off, a rise over all that explains it, steady for BLOCKS blocks with the guard open."""
        self._ground_c = explained_c = min(water_c, self._ground_c + arrived_j / self._small_j_per_k)
        if bowl_c is None:
            explained_c += self._bowl_share * max(0.0, BOWL_C - explained_c)
        elif bowl_c > water_c:
            explained_c = bowl_c
        if now_ms - self._block_since_ms < self._block_ms:
            return
        rose_k = water_c - self._block_c
        # What was poured in shows through the probe's lag, less in each block. Heat that flows shows as much again.
        if cut_off and rose_k >= max(MOVED_K, 0.5 * self._last_k):
            self._rising = max(0, self._rising) + 1
        else:
            self._rising = min(0, self._rising) - 1
        self._block_c, self._block_since_ms, self._last_k = water_c, now_ms, rose_k
        if self._rising >= BLOCKS and not water_c - max(explained_c, room_c + ROOM_K) < self._rise_k:
            self.unasked = True
        elif -self._rising * self._block_ms >= CALM_MS:
            self._begin_blocks(now_ms, water_c)

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

    def _look_again(self, now_ms: int, water_c: float) -> None:
        """Guard closed, switch still off: more rise than with the guard open is the switch's."""
        explained_c = self._from_c + self._slope_k_per_ms * (now_ms - self._since_ms)
        self._from_c = min(self._from_c, water_c)
        if not water_c - explained_c < MOVED_K:
            self._enter(self.SHORTED, now_ms, water_c)
        elif water_c <= self._top_c - MOVED_K or now_ms - self._since_ms >= self._again_ms:
            self._rest_again(now_ms, water_c)

    def _rest_again(self, now_ms: int, water_c: float) -> None:
        self._enter(self.WATCH, now_ms, water_c)
        self._base_c = None
