"""A hold in which nothing but one probe sees the water: when it is one, and how much heat there may be. Pure."""

from bainboard.heat_balance import LEAST_FILL, smallest_load_j_per_k
from bainboard.plausibility import Fall


class Lifted:
    """Is the bowl out of the water that is read, whatever was said? It cools there, or does not warm as it must.

    What counts is what the bowl does by itself: each minute its reading rises by no more than a full bowl does in the
    water that is read, or chocolate was poured in, and the time in which its reading is not the bowl's is left out.
    `away` from a fall of FELL_K in twenty minutes, over what a bowl less than UNDER_K under its water may fall; or
    where a bowl far under its water warms in that time by less than one of eight times the stated time constant would.
    It ends when the bowl warms by that, or by WARMED_K for longer than a pour shows, or stays for so long near where it
    was. What the water's probe reads meanwhile ends nothing: a drift brings it down to the bowl.
    """

    MINUTE_S, WINDOW_S, STAYS_K = 60.0, 1200.0, 0.3
    # (chosen: a bowl of 2 kg on the bench falls by 4 K in that time: computed; a melt falls back as it is stirred)
    FELL_K, MELTS_K, UNDER_K = 1.25, 1.6, 1.5
    WARMED_K, POUR_MINUTES, NOISE_K = 0.5, 2, 0.05  # (chosen: a pour through the slowest probe's lag)
    # A middle that rises was stirred, and falls back from there; in a melt by more, and from the first (chosen).
    STIRRED_K, MELT_STIRRED_K = 0.5, 3.0
    NEAR_K = 2.0  # (as BowlProbeOut.BACK_K)
    ROOM_K = 5.0  # a room is known this well (as `rest`); a melt that is stirred stays that far over it
    GAP_K, SLOW, LEAST_K = 4.0, 8.0, 0.3  # (chosen: twice what cold needs to cross the chocolate)
    MELT_K = 1.0  # more is asked of no cold block (chosen: one of 2 kg, not stirred, warms by 5 K: computed)
    SHARE = 0.45  # of what its water is over the room, the least that a bowl at rest is (simulated: 0.5, not stirred)

    def __init__(self, tau_s: float, away: bool = False) -> None:
        self._tau_s = tau_s
        self.away = away
        # The bowl's reading, ten seconds' mean: now, a minute ago, as it left, and at the most since it last stayed.
        self._mean_c: float | None = None
        self._was_c = 0.0
        self._left_c: float | None = None
        # How far it came by itself since it was first seen; what falls, stays and warmings are counted from.
        self._own_k = self._top_k = self._window_k = self._risen_k = self._warms_from_k = 0.0
        self._minutes = 0  # so long without a fall
        self._s = self._since_s = self._warms_s = self._must_k = 0.0

    def blind(self) -> None:
        """The reading is not the bowl's, or none: what it does meanwhile is not its own doing."""
        self._mean_c = None

    def step(self, dt_s: float, bowl_c: float, water_c: float, room_c: float, melts: bool) -> None:
        """One valid reading of each."""
        if self._mean_c is None:
            self._mean_c = self._was_c = bowl_c
            self._s = 0.0
            if self._left_c is None:
                self._left_c = water_c
        self._mean_c += 0.1 * (bowl_c - self._mean_c)
        self._s += dt_s
        if self._s < self.MINUTE_S:
            return
        bowl_c, own_k = self._mean_c, self._mean_c - self._was_c
        if not melts:
            own_k = min(own_k, max(0.0, water_c - bowl_c) * self._s / self._tau_s)
        self._own_k += own_k
        self._minutes = 0 if own_k < -self.NOISE_K else self._minutes + 1
        self._risen_k = self._risen_k + own_k if self._minutes > self.POUR_MINUTES else 0.0
        self._watch_warming(bowl_c, water_c, room_c, melts)
        self._watch_fall(bowl_c, water_c, room_c, melts)
        self._was_c, self._s = bowl_c, 0.0

    def _watch_fall(self, bowl_c: float, water_c: float, room_c: float, melts: bool) -> None:
        may_fall_k = 2.0 * max(0.0, bowl_c - water_c + self.UNDER_K) * self._s / self._tau_s
        stirred_k = self.MELT_STIRRED_K if melts else self.STIRRED_K
        self._top_k = max(self._own_k - stirred_k, self._top_k - may_fall_k)
        if self._risen_k >= self.WARMED_K:
            self.away = False
        self._since_s += self._s
        fell_k = self._top_k - self._own_k
        if not fell_k < (self.MELTS_K if melts else self.FELL_K) and bowl_c < water_c:
            self._leave(min(bowl_c + fell_k, water_c))
            self._begin_window(self._own_k)
        elif self._since_s >= self.WINDOW_S:
            stays = self._window_k - self._own_k < self.STAYS_K
            if stays and bowl_c >= (room_c + self.ROOM_K if melts else self._left_c - self.NEAR_K):
                self.away = False
            self._begin_window(min(self._own_k, self._top_k + self.STIRRED_K))

    def _begin_window(self, top_k: float) -> None:
        self._top_k, self._window_k, self._since_s = top_k, self._own_k, 0.0

    def _leave(self, from_c: float) -> None:
        """It is out; it may have been for long, and only the first sign says from where."""
        if not self.away:
            self.away, self._left_c = True, from_c
            self._risen_k, self._minutes = 0.0, 0

    def _watch_warming(self, bowl_c: float, water_c: float, room_c: float, melts: bool) -> None:
        self._warms_s += self._s
        # Chocolate that melts stays where it melts, well over the room.
        if bowl_c < room_c + (self.ROOM_K if melts else self.SHARE * (water_c - room_c)):
            self._must_k += max(0.0, water_c - bowl_c - self.GAP_K) * self._s / (self.SLOW * self._tau_s)
        if self._warms_s >= self.WINDOW_S:
            if not self._must_k < self.LEAST_K:
                must_k = min(self._must_k, self.MELT_K) if melts else self._must_k
                if self._own_k - self._warms_from_k < must_k:
                    self._leave(water_c)  # it was never near: only warming brings it back
                else:
                    self.away = False
            self._warms_from_k, self._warms_s, self._must_k = self._own_k, 0.0, 0.0


class Alone:
    """Heat while the bowl, the only witness, is out of its bath, and nothing but one probe sees the water.

    It may lift all the stated water to `over_k` over the stage's limit from what was read as the bowl left, or from
    what cold water poured in since has left, and no further: no look and no rise adds to that. While nothing heats, it
    loses at least what the account's does. The bowl is a witness again once it has soaked, and what was spent is
    forgotten then. A power cut must not wipe it out: `stored_c` is how warm the water may be, in whole degrees.
    """

    # In so long a bowl that came back 4 K colder shows water 5 K warmer than it reads, at a time constant of 30 min; in
    # the 10 min that cold needs to cross the chocolate only 15 K (computed).
    BACK_S = 1800.0
    WARN_S = 1800.0  # heat held back so long is worth a word (as Believed)
    # K/min and K: a fall that no bath makes, not read by a probe that drifts either (0.36 K/min of 2 L losing 70 W:
    # computed; and as much again).
    POURED = (1.0, 2.0)
    STORED_K = 1.0  # a lift for a refill spends less, and is not worth a write (chosen)

    def __init__(self, values: dict, over_k: float, least_loss_w_per_k: float, from_c: int | None = None) -> None:
        self._j_per_k = smallest_load_j_per_k(values) / LEAST_FILL
        self._over_k, self._loss_w_per_k = over_k, least_loss_w_per_k
        self._fall = Fall(*self.POURED)
        self._back_s = self.BACK_S if from_c is None else 0.0
        self._begin(from_c)
        if from_c is not None:
            self.from_c, self.spent_j = from_c - self.STORED_K, self.STORED_K * self._j_per_k

    def _begin(self, water_c: float | None) -> None:
        self.from_c, self.spent_j, self.waited_s = water_c, 0.0, 0.0
        self.over = False
        self._fall.begin()

    @property
    def stored_c(self) -> int | None:
        """What is to be stored; None while the bowl is a witness, or almost nothing was spent."""
        if self._back_s >= self.BACK_S or self.spent_j < self.STORED_K * self._j_per_k:
            return None
        return int(self.from_c + self.spent_j / self._j_per_k) + 1

    @property
    def long(self) -> bool:
        """Heat has waited for long."""
        return self.waited_s >= self.WARN_S

    def step(self, dt_s: float, away: bool, water_c: float, room_c: float, given_j: float, limit_c: float) -> None:
        """One valid reading of a hold."""
        if not away:
            self._back_s += dt_s
            if self._back_s >= self.BACK_S:
                self._begin(water_c)
            self.over = False
            return
        self._back_s = 0.0
        if self.from_c is None:  # it is away since the first reading
            self._begin(water_c)
        if self._fall.step(dt_s, water_c):
            self.from_c, self.spent_j = min(self.from_c, water_c), max(0.0, self.spent_j)
        most_j = max(0.0, limit_c + self._over_k - self.from_c) * self._j_per_k
        self.spent_j += given_j
        self.over = not self.spent_j < most_j
        if self.over and water_c < limit_c:
            self.waited_s += dt_s
        if not given_j > 0.0:  # it cools at least this fast, but is no colder than it reads
            cooled_j = max(0.0, self._loss_w_per_k * (water_c - room_c) * dt_s)
            least_j = min(0.0, water_c - self.from_c) * self._j_per_k
            self.spent_j = max(min(least_j, self.spent_j), self.spent_j - cooled_j)
