"""A hold in which nothing but one probe sees the water: when it is one, and how much heat there may be. Pure."""

from bainboard.heat_balance import LEAST_FILL, smallest_load_j_per_k
from bainboard.plausibility import Fall


class Lifted:
    """Is the bowl out of the water that is read, whatever was said? It cools there, or does not warm as it must.

    `away` from a fall of FELL_K in twenty minutes at UNDER_K under the water; or where a bowl far under its water warms
    in that time by less than one of eight times the stated time constant would. It ends when the bowl warms by that,
    or by WARMED_K, or stays for so long near where it was. What is poured in warm is no warming. What the water's
    probe reads meanwhile ends nothing: a drift brings it down to the bowl.
    """

    WINDOW_S, STAYS_K = 1200.0, 0.3
    FELL_K, UNDER_K = 1.6, 1.5  # (chosen: a bowl of 2 kg on the bench falls by 4 K in that time: computed)
    WARMED_K = 0.5  # (chosen)
    STIRRED_K = 0.5  # a middle that rose by more in a window was stirred, and falls back from there (chosen)
    NEAR_K = 2.0  # (as BowlProbeOut.BACK_K)
    ROOM_K = 5.0  # a room is known this well (as `rest`); a melt that is stirred stays that far over it
    WARMS_S, GAP_K, SLOW, LEAST_K = 1200.0, 4.0, 4.0, 0.3  # (chosen: twice what cold needs to cross the chocolate)
    SHARE = 0.45  # of what its water is over the room, the least that a bowl at rest is (simulated: 0.5, not stirred)
    POURED_K = 0.3  # over its own mean of ten seconds (as BowlWitness)

    def __init__(self, tau_s: float) -> None:
        self._tau_s = self.SLOW * tau_s
        self.begin()

    def begin(self) -> None:
        """Forget."""
        self.away = False
        self._from_c: float | None = None
        self._low_c = self._since_s = 0.0
        self._mean_c = self._left_c = self._warms_from_c = self._warms_s = self._must_k = 0.0

    def step(self, dt_s: float, bowl_c: float, water_c: float, room_c: float, melts: bool) -> None:
        """One valid reading of each."""
        if self._from_c is None:
            self._from_c = self._low_c = self._mean_c = self._left_c = self._warms_from_c = bowl_c
        poured_k = bowl_c - self._mean_c
        self._mean_c += 0.1 * poured_k
        if poured_k > self.POURED_K:
            self._mean_c = bowl_c
            self._low_c += poured_k
            self._warms_from_c += poured_k
        self._low_c = min(self._low_c, bowl_c)
        self._watch_warming(dt_s, bowl_c, water_c, room_c, melts)
        if not (self.away or bowl_c < water_c - self.UNDER_K):
            self._from_c = self._low_c = bowl_c
            self._since_s = 0.0
            return
        if bowl_c >= self._low_c + self.WARMED_K:
            self.away, self._low_c = False, bowl_c
        self._since_s += dt_s
        fell_k = self._from_c - bowl_c
        if not fell_k < self.FELL_K:
            self._left_c = self._left_c if self.away else self._from_c
            self.away = True
            self._from_c, self._since_s = bowl_c, 0.0
        elif self._since_s >= self.WINDOW_S:
            if fell_k < self.STAYS_K and bowl_c >= (room_c + self.ROOM_K if melts else self._left_c - self.NEAR_K):
                self.away = False
            self._from_c, self._since_s = min(bowl_c, self._from_c + self.STIRRED_K), 0.0

    def _watch_warming(self, dt_s: float, bowl_c: float, water_c: float, room_c: float, melts: bool) -> None:
        self._warms_s += dt_s
        if not melts and bowl_c < room_c + self.SHARE * (water_c - room_c):
            self._must_k += max(0.0, water_c - bowl_c - self.GAP_K) * dt_s / self._tau_s
        if self._warms_s >= self.WARMS_S:
            if not self._must_k < self.LEAST_K:
                away = bowl_c - self._warms_from_c < self._must_k
                if away and not self.away:
                    self._left_c = water_c  # it was never near: only warming brings it back
                self.away = away
            self._warms_from_c, self._warms_s, self._must_k = bowl_c, 0.0, 0.0


class Alone:
    """Heat while the bowl, the only witness, is out of its bath, and nothing but one probe sees the water.

    It may lift all the stated water to `over_k` over the stage's limit from what was read as the bowl left, or from
    what cold water poured in since has left, and no further: no look and no rise adds to that. Heat that waits loses at
    least what the account's does. The bowl is a witness again once it has soaked, and what was spent is forgotten then.
    """

    # In so long a bowl that came back 4 K colder shows water 5 K warmer than it reads, at a time constant of 30 min; in
    # the 10 min that cold needs to cross the chocolate only 15 K (computed).
    BACK_S = 1800.0
    WARN_S = 1800.0  # heat held back so long is worth a word (as Believed)
    # K/min and K: a fall that no bath makes, not read by a probe that drifts either (0.36 K/min of 2 L losing 70 W:
    # computed; and as much again).
    POURED = (1.0, 2.0)

    def __init__(self, values: dict, over_k: float, least_loss_w_per_k: float) -> None:
        self._j_per_k = smallest_load_j_per_k(values) / LEAST_FILL
        self._over_k, self._loss_w_per_k = over_k, least_loss_w_per_k
        self._fall = Fall(*self.POURED)
        self._back_s = self.BACK_S
        self._begin(None)

    def _begin(self, water_c: float | None) -> None:
        self.from_c, self.spent_j, self.waited_s = water_c, 0.0, 0.0
        self.over = False
        self._fall.begin()

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
            self.from_c = min(self.from_c, water_c)
        most_j = max(0.0, limit_c + self._over_k - self.from_c) * self._j_per_k
        self.spent_j += given_j
        self.over = not self.spent_j < most_j
        if self.over:
            self.waited_s += dt_s
            if not given_j > 0.0:
                self.spent_j = max(0.0, self.spent_j - self._loss_w_per_k * max(0.0, water_c - room_c) * dt_s)
