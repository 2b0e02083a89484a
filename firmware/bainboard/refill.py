"""A refill on its way: how far the bath leads for it, when it may be poured, when it is not coming. Pure."""

LEAD_MS = 5 * 60 * 1000  # a refill comes this long after it is announced, unless a time is given
LATE_MS = 5 * 60 * 1000  # this late, it is not coming: ten minutes after a press (chosen)
LEAD_K = 0.7  # until it comes the bowl's aim leads by this: enough for all the ceiling allows (chosen, simulated)
POURED_K = 0.3  # a move that shows it was poured: five steps of 1/16 °C (chosen)
EDGE_K = 0.1  # nothing aims closer to the window's ends than this
MIXES_MS = 10 * 60 * 1000  # by then it is stirred in and has melted (chosen)
LED_K = 0.1  # this near to where it waits, the bowl has led as far as it will (chosen)


def led_c(target_c: float, high_c: float, ceiling_c: float, bowl_c: float) -> float:
    """The bowl's aim while a cold refill is coming; the bowl waits just inside its window's end."""
    return max(target_c, min(target_c + LEAD_K, 2.0 * (high_c - EDGE_K) - bowl_c, ceiling_c))


def eased_c(target_c: float, low_c: float) -> float:
    """The same for a refill warmer than the bowl: the bath gives way to it."""
    return min(target_c, max(target_c - LEAD_K, low_c + EDGE_K))


class Refill:
    """The one refill that is announced, or none: then `due_ms` is None."""

    def __init__(self) -> None:
        self.due_ms: int | None = None
        self.may_pour = False
        self._leads = True  # it is colder than the bowl, as far as is known
        self._furthest_c: float | None = None  # the furthest the bowl went since the bath leads
        self._poured_ms: int | None = None

    def announce(self, now_ms: int, in_ms: int | None, leads: bool) -> None:
        """It comes in `in_ms`; None is a press: on its way, and pressed again, not coming after all."""
        if in_ms is not None:
            self.due_ms = now_ms + in_ms
        elif self.due_ms is None:
            self.due_ms = now_ms + LEAD_MS
        else:
            self.due_ms = None
        self.may_pour = False
        self._leads = leads
        self._furthest_c = None

    def pour(self, now_ms: int) -> None:
        """It is in."""
        self.due_ms, self._poured_ms = None, now_ms

    def chills(self, now_ms: int) -> bool:
        """Is a fall of the bowl this refill's? From the time it may come until it has mixed in."""
        if self.due_ms is not None and now_ms >= self.due_ms - LEAD_MS:
            return True
        return self._poured_ms is not None and now_ms - self._poured_ms < MIXES_MS

    def expire(self, now_ms: int) -> bool:
        """Forget one that is too late; true if it was."""
        if self.due_ms is None or now_ms - self.due_ms <= LATE_MS:
            return False
        self.due_ms = None
        return True

    def aim_c(self, now_ms: int, bowl_c: float | None, p) -> float | None:
        """What the bowl is to aim at while the bath leads for this refill; None while it does not.

        `p` has the window's `low_c`, `target_c`, `high_c` and the `ceiling_c`.
        """
        if self.due_ms is None or bowl_c is None or now_ms < self.due_ms - LEAD_MS:
            self._furthest_c = None
            return None
        if self._furthest_c is None:
            self._furthest_c = bowl_c
        self._furthest_c = max(self._furthest_c, bowl_c) if self._leads else min(self._furthest_c, bowl_c)
        if abs(bowl_c - self._furthest_c) > POURED_K:
            self.pour(now_ms)
            return None
        has_led = self._leads and bowl_c >= p.high_c - EDGE_K - LED_K
        self.may_pour = self.may_pour or now_ms >= self.due_ms or has_led
        return led_c(p.target_c, p.high_c, p.ceiling_c, bowl_c) if self._leads else eased_c(p.target_c, p.low_c)
