"""The self-test before every hold: does the guard cut, does the switch cut, does the heater heat? Pure.

A pulse is the energy that lifts the *largest* load by half a degree, so a working heater shows at least that. The
guard's pulse (switch on, guard open) and the switch's (guard closed, switch off) run one after the other and share one
wait in which nothing may rise. A rise is looked at again close up, each alone, before anything is blamed. Then both are
on, and the water must rise; a chocolate probe that rises first is in the water, and the water's in the chocolate. That
too, and a rise that is too easy, is looked at again: a person may just have stirred, or poured in cold water.

After a pause only switch and guard are proved again, by smaller pulses. In a hold a pulse looks again at a doubt: does
the heater warm far more than it should?

A bowl at another temperature than its bath moves the water too, but only towards rest: without heat the reading stays
between where it was and where its slope was taking it. So heat is blamed for a rise above both, and missed only when
the reading stays under both. Beside a very warm or cold bowl a welded guard can therefore pass unseen (`masked`); a
shorted switch is still seen later, at rest.
"""

from bainboard import faults
from bainboard.heat_balance import largest_load_j_per_k, smallest_load_j_per_k
from bainboard.plausibility import Poured

PROMISE_K = 0.5  # what a working heater shows, at least
SEEN_K = 0.25  # half of it is proof: four steps of 1/16 K
SUSPECT_K = 0.19  # enough to look close up: three steps of 1/16 K
ENOUGH_K = 0.4  # ends the last phase early; over SEEN_K by what a slope to 0.001 K/s errs in its time
LOOK_S = 40.0  # before a pulse, at least: a slope to about 0.001 K/s from a 1/16 K reading
LOOK_LAGS = 1.2  # and longer for a slow heater, or the slope it is carried along errs by a pulse (chosen)
PROBE_S = 15.0  # a usual water probe's lag (chosen: bare steel sleeve in moving to still water, 8-30 s)
CALM_SHARE = 0.5  # a fall slower than this share of the heater's own rise is taken to go on (losses, mostly)
CALM_K_PER_S = 0.006  # and no open bath cools faster than this by itself (2 L at 45 °C losing 70 W: computed)
POURED_K, MOST_WAITS = 0.5, 2  # under the line of before; then it waits for so many drains (chosen)
MOST_POURS = 3  # so many looks that a kettle spoiled are looked at again (chosen: two kettles, and one late)
SLOWS_S = 1200.0  # a fall is half as fast after half of this: a bowl and its bath meet (chosen)
HOT_MARGIN_K = 2.0  # room for the pulses under the hard limit
# A test broken off after its pulses has heated and proved nothing. After so many in a row the next one waits first: a
# pulse of half a degree each twenty minutes is less than any bath loses at rest (4.6 kJ of 2 L over 1200 s: 4 W).
MOST_BROKEN_OFF, WAIT_MS = 3, 1200000
SMOOTHING = 0.25  # share of each new reading in the judged one: noise down by 2.6, 3 s late

# A step is (length, switch, guard, judge at its end). Lengths: LOOK and DRAIN are read for the slope, PULSE is energy.
LOOK, PULSE, DRAIN = "look", "pulse", "drain"
SUSPECT, WARMED = "suspect", "warmed"
SMALL = "small"  # a pulse that lifts half of the water by SMALL_K
SMALL_K = 0.3
STRONG_K = 0.5  # over 150 % of what that half would show, and a look's error (0.0005 K/s x lag + 15 s)

_LOOK = (LOOK, 0, 0, None)
_GUARD_PULSE = (PULSE, 1, 0, None)
_SWITCH_PULSE = (PULSE, 0, 1, None)
_OFF = (DRAIN, 0, 0, None)

QUICK: tuple = (_LOOK, _GUARD_PULSE, _SWITCH_PULSE, (DRAIN, 0, 0, SUSPECT))
QUICK_NO_GUARD: tuple = (_LOOK, _SWITCH_PULSE, (DRAIN, 0, 1, SUSPECT))
CLOSE: tuple = (
    _OFF, _LOOK, _SWITCH_PULSE, (DRAIN, 0, 0, None), (DRAIN, 0, 0, faults.SWITCH_SHORTED),
    _OFF, _LOOK, _GUARD_PULSE, (DRAIN, 0, 0, None), (DRAIN, 0, 0, faults.GUARD_WELDED),
)
CLOSE_NO_GUARD: tuple = (_OFF, _LOOK, _SWITCH_PULSE, (DRAIN, 0, 1, None), (DRAIN, 0, 1, faults.SWITCH_SHORTED))
WARM = ((PULSE, 1, 1, None), _OFF, _OFF, (DRAIN, 0, 0, WARMED))
RESUME = -1  # instead of a doubt: after a pause
RESUME_K = 0.4  # as short as it can be: the least that shows over SUSPECT_K (chosen)
STRONG = (_OFF, _OFF, _LOOK, (SMALL, 1, 1, None), (DRAIN, 0, 0, faults.STRONG_HEATER))  # too much? Calm first.


class Line:
    """A straight line through readings as they come, by least squares; its level is where it ends."""

    def __init__(self) -> None:
        self.begin(0, 0.0)

    def begin(self, now_ms: int, water_c: float) -> None:
        """Start again; times and readings are counted from here, so that single precision is enough."""
        self._start_ms, self._start_c = now_ms, water_c
        self._n = 0
        self._t = self._c = self._tt = self._tc = 0.0

    def add(self, now_ms: int, water_c: float) -> None:
        """One more reading."""
        t, c = (now_ms - self._start_ms) / 1000, water_c - self._start_c
        self._n += 1
        self._t += t
        self._c += c
        self._tt += t * t
        self._tc += t * c

    def ends(self, now_ms: int) -> tuple:
        """(level in °C at `now_ms`, slope in K/s); too few readings have no slope."""
        n = max(1, self._n)
        spread = self._tt - self._t * self._t / n
        slope = (self._tc - self._t * self._c / n) / spread if spread > 0.0 else 0.0
        ahead_s = (now_ms - self._start_ms) / 1000 - self._t / n
        return self._start_c + self._c / n + slope * ahead_s, slope


class SelfTest:
    """Step it each pass; `switch` and `guard` are what it returns. `done` ends it, `fault` is its verdict.

    `doubt` is the fault to look at again in a hold, RESUME, or none for the whole test of a start. `broken_off` is how
    many tests before it gave pulses and no verdict.
    """

    def __init__(self, values: dict, now_ms: int, doubt: int = faults.NONE, broken_off: int = 0) -> None:
        load_j_per_k = largest_load_j_per_k(values)
        self.done = False
        self.fault = faults.NONE
        self.skipped = "" if values["guard"] else "no guard relay is fitted, so none was tested; no nights"
        self.masked = False  # the water moved too much by itself for the guard's and switch's verdict to be sure
        self._hot_c = values["hard_limit_c"] - HOT_MARGIN_K
        if doubt == RESUME:
            self._hot_c = 1e3  # its pulses heat nothing, and the supervisor watches the limit
        promise_k = RESUME_K if doubt == RESUME else PROMISE_K
        self._calm_look_ms = int(1000 * max(LOOK_S, LOOK_LAGS * values["heater_lag_s"]))
        self._length_ms = {
            LOOK: int(1000 * LOOK_S) if doubt == RESUME else self._calm_look_ms,
            PULSE: int(1000 * promise_k * load_j_per_k / values["heater_w"]),
            SMALL: int(1000 * SMALL_K * smallest_load_j_per_k(values) / values["heater_w"]),
            DRAIN: int(1000 * (values["heater_lag_s"] + PROBE_S)),
        }
        self._calm_k_per_s = min(CALM_SHARE * values["heater_w"] / load_j_per_k, CALM_K_PER_S)
        self._quick, self._close = (QUICK, CLOSE) if values["guard"] else (QUICK_NO_GUARD, CLOSE_NO_GUARD)
        self._warm = () if doubt == RESUME else WARM
        if doubt == faults.STRONG_HEATER:
            self._quick = STRONG
        self.doubt = doubt
        self._line, self._bowl_line = Line(), Line()
        self._c: float | None = None
        self._bowl_c: float | None = None
        self._bowl_level_c = self._bowl_slope = self._bowl_most_k = 0.0
        self._tries = 0
        self._bowl_first = self._bowl_led = False  # the bowl's reading rose, and the water's did not: now; or in a try
        self._eased = False  # the first rise was too easy
        self._waits = 0  # for water that was poured in
        self._pour, self._poured, self._pours = Poured(values), False, 0  # warm water: in this look, and looks so far
        self._level_c = self._slope = 0.0
        self._level_ms = now_ms
        self._most_k = 0.0
        self._plan, self._at = self._quick, 0
        self._since_ms = self._now_ms = self._read_ms = now_ms
        if broken_off >= MOST_BROKEN_OFF:
            self._since_ms += WAIT_MS
        self._small_j_per_k = smallest_load_j_per_k(values)
        self._heater_w = values["heater_w"]

    @property
    def pulsed(self) -> bool:
        """May it have heated? Its first step is a look."""
        return self._plan is not self._quick or self._at > 0

    @property
    def suspects(self) -> bool:
        """Is heat suspected that no one asked for? Broken off now, the suspicion is not cleared."""
        if self._plan is self._quick:
            return self.pulsed and self._unexplained_k(self._now_ms) >= SUSPECT_K
        return self._plan is self._close

    def left_s(self, now_ms: int) -> int:
        """The most this can still take, if nothing is suspected."""
        if self.done:
            return 0
        ahead = self._plan[self._at:]
        if self.doubt != faults.STRONG_HEATER and self._plan is not self._warm:
            ahead += self._warm
        left_ms = sum([self._length_ms[step[0]] for step in ahead]) - (now_ms - self._since_ms)
        return max(0, (left_ms + 999) // 1000)

    def step(self, now_ms: int, water_c: float | None, bowl_c: float | None = None) -> tuple:
        """One reading; what switch and guard are to be until the next. An invalid reading of the water rests both."""
        if self.done or water_c is None:
            return 0, 0
        if not water_c < self._hot_c:
            return self._end(faults.HOT_BEFORE_START)
        if now_ms < self._since_ms:  # still waiting, and nothing is learnt from a bath so long before
            return 0, 0
        self._now_ms = now_ms
        self._read(now_ms, water_c, bowl_c)
        if self._plan is self._warm:
            self._most_k = max(self._most_k, self._risen_k(now_ms))
            if bowl_c is not None:
                self._bowl_most_k = max(self._bowl_most_k, self._bowl_risen_k(now_ms, self._bowl_slope))
                risen_k = self._bowl_risen_k(now_ms, max(0.0, self._bowl_slope))
                if risen_k >= ENOUGH_K and risen_k > 2.0 * self._most_k:
                    self._bowl_first = self._bowl_led = True
            if self._most_k >= ENOUGH_K and not self._bowl_first:
                if self._eased or not self._too_easy(now_ms):
                    return self._end(faults.NONE)
                self._eased = True
                self._plan, self._at, self._since_ms = STRONG, 0, now_ms
        if now_ms - self._since_ms >= self._length_ms[self._plan[self._at][0]]:
            self._finish_step(now_ms)
        if self.done:
            return 0, 0
        _, switch, guard, _ = self._plan[self._at]
        return switch, guard

    def _too_easy(self, now_ms: int) -> bool:
        """Has less heat done this than half of the stated water needs? Then there is far less of it than was stated."""
        pulses = self._tries if self._at == 0 else self._tries + 1
        heated_ms = pulses * self._length_ms[PULSE] + (now_ms - self._since_ms if self._at == 0 else 0)
        return self._heater_w * heated_ms / 1000 < ENOUGH_K * self._small_j_per_k

    def _read(self, now_ms: int, water_c: float, bowl_c: float | None) -> None:
        if self._c is None:
            self._c = water_c
            self._line.begin(now_ms, water_c)
        self._c += SMOOTHING * (water_c - self._c)
        self._line.add(now_ms, water_c)
        self._poured = self._pour.step((now_ms - self._read_ms) / 1000, water_c) or self._poured
        self._read_ms = now_ms
        if bowl_c is None:
            return
        if self._bowl_c is None:
            self._bowl_c = bowl_c
            self._bowl_line.begin(now_ms, bowl_c)
        self._bowl_c += SMOOTHING * (bowl_c - self._bowl_c)
        self._bowl_line.add(now_ms, bowl_c)

    def _finish_step(self, now_ms: int) -> None:
        length, _, _, judge = self._plan[self._at]
        seen_k = self._unexplained_k(now_ms)
        self._at += 1
        self._since_ms = now_ms
        if judge == WARMED:
            self._judge_heat(now_ms)
        elif judge == SUSPECT and seen_k >= SUSPECT_K:
            self._plan, self._at, self._poured = self._close, 0, False
            self._length_ms[LOOK] = self._calm_look_ms
        elif judge not in (None, SUSPECT) and seen_k >= (STRONG_K if judge == faults.STRONG_HEATER else SEEN_K):
            if not self._poured or self._pours >= MOST_POURS:
                self._end(judge)
            else:  # no part of this warmer heats so fast: from its first step again
                self._pours += 1
                self._at, self._poured = 0, False
        elif self._at == len(self._plan) and (self.doubt == faults.STRONG_HEATER or not self._warm):
            self._end(faults.NONE)
        elif self._at == len(self._plan) and self._plan is self._quick and self._stirs(now_ms):
            self._waits += 1
            self._at -= 1
            self._begin_lines(now_ms)
        elif self._at == len(self._plan):
            self._begin_warm(now_ms)
        elif length == LOOK:
            self._take_slope(now_ms)
            self.masked = self.masked or not -self._calm_k_per_s < self._slope < self._calm_k_per_s
        if not self.done and (self._plan is self._warm or self._plan[self._at][0] == LOOK):
            self._begin_lines(now_ms)

    def _begin_lines(self, now_ms: int) -> None:
        self._line.begin(now_ms, self._c)
        self._bowl_line.begin(now_ms, self._bowl_c or 0.0)

    def _stirs(self, now_ms: int) -> bool:
        """Was cold water poured in? The end of such a fall would look like a rise."""
        fell_k = self._level_c + self._slope * (now_ms - self._level_ms) / 1000 - self._c
        return self._waits < MOST_WAITS and fell_k >= POURED_K

    def _judge_heat(self, now_ms: int) -> None:
        if self._most_k >= SEEN_K and not self._bowl_first:
            self._end(faults.NONE)
        elif self._tries > (1 if (self.masked and not self._bowl_first) or self._nearly() else 0):
            swapped = self._bowl_most_k >= SEEN_K and self._bowl_most_k > 2.0 * self._most_k
            self._end(faults.SWAPPED if swapped or self._bowl_led else faults.NO_HEAT_AT_START)
        else:  # once more, on the newest slope: a warm bowl's own turn can hide the first pulse, a hot one's the second
            self._tries += 1
            if self._nearly():  # a base that heats for minutes shows less, and so more is asked
                self._length_ms[PULSE] *= 2
            self._begin_warm(now_ms)

    def _nearly(self) -> bool:
        """Was there almost a rise, and of the water's probe alone?"""
        return self._most_k >= SUSPECT_K and (self._bowl_c is None or self._bowl_c < self._bowl_level_c)

    def _begin_warm(self, now_ms: int) -> None:
        """Heat, and see whether the water rises from here."""
        self._take_slope(now_ms)
        self._level_c = max(self._level_c, self._c)  # cold water that mixes again is no rise
        self._most_k = self._bowl_most_k = 0.0
        self._bowl_first = False
        self._plan, self._at = self._warm, 0

    def _bowl_risen_k(self, now_ms: int, slope: float) -> float:
        """Rise of the bowl's reading above its line; what it does of itself, warmed by its bath, is in the slope."""
        return self._bowl_c - self._bowl_level_c - slope * (now_ms - self._level_ms) / 1000

    def _take_slope(self, now_ms: int) -> None:
        self._level_c, self._slope = self._line.ends(now_ms)
        self._bowl_level_c, self._bowl_slope = self._bowl_line.ends(now_ms)
        if self._bowl_c is not None:  # a bowl that falls ever slower is over the end of its line
            self._bowl_level_c = max(self._bowl_level_c, self._bowl_c)
        self._level_ms = now_ms

    def _unexplained_k(self, now_ms: int) -> float:
        """Rise that no bowl explains: above the old slope, or above a fall that slows down.

        If it fell faster than a bath does, above the old level. A bath nearly dry does; in STRONG the slope counts.
        """
        slope = self._slope if self._slope > -self._calm_k_per_s or self._plan is STRONG else 0.0
        t_s = (now_ms - self._level_ms) / 1000
        if slope < 0.0 and self._plan is self._close:
            t_s /= 1.0 + t_s / SLOWS_S
        return self._c - self._level_c - slope * t_s

    def _risen_k(self, now_ms: int) -> float:
        """Rise that heat may be given credit for: above the old level, or if that fell, above the old slope."""
        return self._c - self._level_c - min(0.0, self._slope) * (now_ms - self._level_ms) / 1000

    def _end(self, fault: int) -> tuple:
        self.fault = fault
        self.done = True
        return 0, 0
