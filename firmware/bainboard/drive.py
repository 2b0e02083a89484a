"""Duty to heat: on-time within a period for a switch, a level for PWM. Both count the on-time that really was."""

NEVER_MS = 3600000  # from now: nothing to do until the next tick


def _valid(duty: float) -> float:
    """The duty, or 0.0 for whatever is no duty (NaN included)."""
    return duty if 0.0 <= duty <= 1.0 else 0.0


class TimeProportioned:
    """A switch closed for duty * period_ms of each period, in whole steps; what rounding and lateness leave is carried.

    `poll` says the level the switch must have now; call it at `deadline_ms` or before. A period takes the duty set last
    before it begins; zero takes effect at once through `off`.
    """

    def __init__(self, period_ms: int, step_ms: int, now_ms: int) -> None:
        self.period_ms, self.step_ms = period_ms, step_ms
        self.duty = 0.0
        self.level = 0
        self.on_ms_total = 0
        self._taken_ms = 0
        self._given_ms = 0  # on-time of the present period up to _counted_ms
        self._wanted_ms = 0.0
        self._counted_ms = now_ms
        self._off_ms = self._next_ms = now_ms

    @property
    def deadline_ms(self) -> int:
        """When the level changes next, or may change."""
        return self._off_ms if self.level and self._off_ms < self._next_ms else self._next_ms

    @property
    def resting(self) -> bool:
        """Is the switch off until the deadline? Then a flash that erases delays nothing."""
        return not self.level

    def set(self, duty: float) -> None:
        """The duty from the next period on; out of rest a period begins at the next poll."""
        duty = _valid(duty)
        if self.duty == 0.0 and duty > 0.0:
            self._next_ms = self._counted_ms
        self.duty = duty

    def off(self, now_ms: int) -> None:
        """Zero at once; nothing is carried over."""
        self._count(now_ms)
        self.duty = 0.0
        self.level = 0
        self._wanted_ms = 0.0
        self._given_ms = 0

    def poll(self, now_ms: int) -> float:
        """The level of the switch now, 0 or 1."""
        self._count(now_ms)
        if now_ms >= self._next_ms:
            self._begin(now_ms)
        self.level = 1 if now_ms < self._off_ms and self.duty > 0.0 else 0
        return self.level

    def take_on_ms(self, now_ms: int) -> float:
        """Measured on-time since this was asked last."""
        self._count(now_ms)
        on_ms = self.on_ms_total - self._taken_ms
        self._taken_ms = self.on_ms_total
        return on_ms

    def _count(self, now_ms: int) -> None:
        if self.level:
            self.on_ms_total += now_ms - self._counted_ms
            self._given_ms += now_ms - self._counted_ms
        self._counted_ms = now_ms

    def _begin(self, now_ms: int) -> None:
        """A new period, with what the last one is owed or had too much of."""
        owed_ms = self._wanted_ms - self._given_ms
        if not -self.period_ms <= owed_ms <= self.period_ms:
            owed_ms = 0.0  # the loop stood still: lost heat is not made up for
        late_ms = now_ms - self._next_ms
        start_ms = self._next_ms if late_ms < self.period_ms else now_ms
        self._next_ms = start_ms + self.period_ms
        self._given_ms = 0
        self._wanted_ms = self.duty * self.period_ms + owed_ms
        steps = int(self._wanted_ms / self.step_ms + 0.5) if self._wanted_ms > 0.0 else 0
        self._off_ms = now_ms + min(steps * self.step_ms, self.period_ms)


class Pwm:
    """A switch fast enough for pulse-width modulation: `poll` gives the duty itself, which holds until the next."""

    def __init__(self, now_ms: int) -> None:
        self.duty = 0.0
        self.on_ms_total = 0
        self._taken_ms = 0
        self._part_ms = 0.0  # on-time too short to have been counted yet
        self._counted_ms = self._polled_ms = now_ms

    @property
    def deadline_ms(self) -> int:
        """No edge is ours to make."""
        return self._polled_ms + NEVER_MS

    @property
    def resting(self) -> bool:
        """The hardware makes the edges, so nothing we do delays one."""
        return True

    def set(self, duty: float) -> None:
        """The duty from the next poll on; what was given before is counted up to the last one."""
        self._count(self._polled_ms)
        self.duty = _valid(duty)

    def off(self, now_ms: int) -> None:
        """Zero at once."""
        self._count(now_ms)
        self.duty = 0.0

    def poll(self, now_ms: int) -> float:
        """The level of the switch now, 0.0 to 1.0. It is not counted here: each count makes 48 bytes of garbage."""
        self._polled_ms = now_ms
        return self.duty

    def take_on_ms(self, now_ms: int) -> float:
        """On-time since this was asked last, as duty times time."""
        self._count(now_ms)
        on_ms = self.on_ms_total - self._taken_ms
        self._taken_ms = self.on_ms_total
        return on_ms

    def _count(self, now_ms: int) -> None:
        self._part_ms += self.duty * (now_ms - self._counted_ms)
        whole_ms = int(self._part_ms)
        self._part_ms -= whole_ms
        self.on_ms_total += whole_ms
        self._counted_ms = self._polled_ms = now_ms
