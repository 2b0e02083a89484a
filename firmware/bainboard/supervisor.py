"""The supervisor: last in the chain, separate from the control, and able only to lower the duty. Pure.

Each pass reads top to bottom through `CHECKS`: a fault's number, a predicate that says whether it is there *now*, and
what happens then. Detection times stand beside each predicate, as formulas of the rig; P is `heater_w`, C the largest
load (full water, bowl and chocolate, J/K), L the believed losses (W), `lag` the heater's lag. The loop passes each 1 s.
"""

from bainboard import faults
from bainboard.evidence import HeatOnItsWay, Response, Rest

# Reactions. None of them adds heat.
WARN = "warn"  # a bit in `warn`
WAIT = "wait"  # the same, and heat off while it lasts
OPEN = "open"  # the same, and the guard open as well
OFF = "off"  # heat off while it lasts, named in `fault`
LATCH = "latch"  # off and guard open until a person clears it; the first cause stays

COLD_STATES = ("idle", "pause", "trip")  # heat is not wanted; any state not named here counts as heating
CHECK = "check"

COLDEST_C, HOTTEST_C = -20.0, 120.0  # no water reads outside these (chosen, wide of steam and winter)
DT_LOW_MS, DT_HIGH_MS = 200, 3000  # a pass is a second; outside these the clock or the loop is wrong (chosen)
RUN_WARN_MS = 30 * 60 * 1000


class Inputs:
    """What the supervisor is told each pass. The caller keeps one and fills it in."""

    def __init__(self):
        self.state = "idle"  # idle, check, hold, pause, trip
        self.water_c = None  # calibrated, or None
        self.water_code = 0  # why it is None
        self.bowl_c = None
        self.bowl_fitted = False
        self.bowl_away = False  # lifted, by button, message or detection
        self.stage_limit_c = 0.0  # water's limit in this stage
        self.room_c = 20.0
        self.given_j = 0.0  # heat given since the last pass, from the measured on-time
        self.duty_zero = True  # the duty given since the last pass was 0
        self.last_person_ms = 0  # when a person last acted
        self.settings_bad = False  # both copies damaged: these are the defaults
        self.crashed = False  # an error was met since a person last started a hold


# -- the predicates: `s` is the supervisor with the facts of this pass, `i` the inputs -----------------------------


def water_unread(s, i):
    """One pass."""
    return not s.water_ok


def water_unread_for_long(s, i):
    """`trip.bad_samples` passes. At rest a missing probe only keeps the warmer from starting."""
    return s.heating and s.bad_samples >= s.values["trip.bad_samples"]


def bowl_unread(s, i):
    """One pass; a bowl that was lifted is no fault."""
    return i.bowl_fitted and not i.bowl_away and (i.bowl_c is None or not COLDEST_C < i.bowl_c < HOTTEST_C)


def over_hard_limit(s, i):
    """One pass and the probe's lag; at P the water is then over the limit by P x (lag + probe lag) / C."""
    return s.holding and s.water_ok and not i.water_c < s.values["hard_limit_c"]


def too_hot_to_start(s, i):
    """One pass. Water poured in too hot is the person's, not the heater's: it keeps heat off and latches nothing."""
    return not s.holding and s.water_ok and not i.water_c < s.values["hard_limit_c"]


def over_stage(s, i):
    """`trip.over_stage_s` after the reading passes the limit; binding only once the water was below it."""
    return s.over_stage_ms >= s.values["trip.over_stage_s"] * 1000


def over_stage_from_before(s, i):
    """Water that came warmer than the stage allows: no heat until it has cooled, and no fault."""
    return s.holding and s.water_ok and not s.stage_binds


def listening(s, i):
    """At duty d: lag + 30 s + `trip.no_response_expect_k` x C / (d P - L) after the probe stuck."""
    return s.response.listening


def deaf(s, i):
    """Listening takes 3 lag + 60 s + 0.6 K x C / (0.7 d P) more; a stuck probe under d P < L is not seen."""
    return s.response.deaf


def rises_at_rest(s, i):
    """2 x `trip.idle_rise_k` x C / (P - L) + 2 (lag + 30 s) after the switch shorted in a hold: the guard opens.

    Half of it is the control's, until it asks for nothing. A switch that shorts while heat is wanted harms nothing yet.
    """
    return s.rest.opened


def looks_again(s, i):
    """5 lag + 180 s after that, or a fall of 0.3 K if sooner, the guard closes for the second look."""
    return s.rest.closed


def switch_shorted(s, i):
    """The second look takes lag + 60 s + 0.6 K x C / (P - L).

    With no guard there are no looks: at once, but a person's act explains a rise for the quarter hour after it.
    """
    return s.rest.shorted


def heat_from_outside(s, i):
    """When both looks have passed; at most 10 lag + 240 s + 0.6 K x C / P after the guard opened."""
    return s.rest.outside


def nobody_here(s, i):
    """`trip.run_h` after the last act; only another act ends it."""
    return s.heating and not s.alone_ms < s.run_ms


def nobody_here_soon(s, i):
    """Half an hour before."""
    return s.heating and not s.alone_ms < s.run_ms - RUN_WARN_MS


def pass_too_long(s, i):
    """One pass."""
    return s.dt_ms > DT_HIGH_MS


def pass_too_short(s, i):
    """One pass; a clock that ran backwards reads as this."""
    return s.dt_ms < DT_LOW_MS


def settings_bad(s, i):
    """One pass."""
    return i.settings_bad


def crashed(s, i):
    """One pass."""
    return i.crashed


# A new check is a predicate above and a row here. Order matters twice: the first OFF or LATCH found names `fault`, and
# a latch that is set keeps the cause that set it.
CHECKS = (
    (faults.WATER_PROBE, water_unread, WAIT),
    (faults.WATER_PROBE, water_unread_for_long, LATCH),
    (faults.OVER_HARD_LIMIT, over_hard_limit, LATCH),
    (faults.HEAT_AT_REST, rises_at_rest, OPEN),
    (faults.HEAT_AT_REST, looks_again, WAIT),
    (faults.HEAT_AT_REST, switch_shorted, LATCH),
    (faults.WATER_STUCK, listening, OPEN),
    (faults.WATER_STUCK, deaf, LATCH),
    (faults.HOT_BEFORE_START, too_hot_to_start, WAIT),
    (faults.OVER_STAGE, over_stage, OFF),
    (faults.OVER_STAGE, over_stage_from_before, WAIT),
    (faults.RUN_TIMER, nobody_here, OFF),
    (faults.RUN_TIMER, nobody_here_soon, WARN),
    (faults.BAD_SETTINGS, settings_bad, OFF),
    (faults.CRASHED, crashed, OFF),
    (faults.LATE_LOOP, pass_too_long, WAIT),
    (faults.BAD_CLOCK, pass_too_short, WAIT),
    (faults.BOWL_PROBE, bowl_unread, WARN),
    (faults.HEAT_FROM_OUTSIDE, heat_from_outside, WARN),
)


class Supervisor:
    """Looks each pass, then bounds the duty.

    Results of `step`: `heat_ok`, `guard_ok`, `fault` (number in force, a latch's first cause), `latched`, `warn` (bit
    1 << number for each fault that is seen but not in force), `fresh` (the bits that were not set a pass ago).
    """

    def __init__(self, values, latch_fault):
        self.values = values
        self.fault = latch_fault
        self.latched = latch_fault != faults.NONE
        self.heat_ok = self.guard_ok = False  # nothing was read yet
        self.warn = self.fresh = 0
        self.late_passes = 0
        self.water_ok = False
        self.water_c = None
        self.bad_samples = 0
        self.run_ms = int(values["trip.run_h"] * 3600000)
        self.response = Response(values)
        self.rest = Rest(values)
        self._on_its_way = HeatOnItsWay(values)
        self._read_c = None
        self._read_ms = 0
        self.begin(0)

    def begin(self, now_ms):
        """A hold starts, or goes on after its self-test or a pause: evidence from before says nothing."""
        self._refused = faults.NONE
        self._stage_limit_c = None
        self.stage_binds = False
        self.over_stage_ms = 0
        self.response.begin(now_ms)
        self.rest.begin(now_ms)

    def refuse_start(self, fault):
        """The self-test failed: heat stays off, and `fault` says why, until the next start."""
        self._refused = fault
        self.heat_ok = self.guard_ok = False
        if not self.latched:
            self.fault = fault

    def clear(self, now_ms):
        """The recessed button was held for its 3 s: None, or why the latch stays."""
        if not self.latched:
            return "nothing to clear: no trip is latched"
        if not self.water_ok:
            return "the water probe still gives no valid reading"
        limit_c = self.values["hard_limit_c"]
        if not self.water_c < limit_c:
            return f"the water is at {self.water_c:.1f} °C, wanted under the hard limit of {limit_c:g} °C"
        # A shorted switch or a stuck probe cannot be seen cold; the self-test of the next start looks for both.
        self.latched = False
        self.fault = faults.NONE
        self.begin(now_ms)
        return None

    def limit(self, duty):
        """The duty, or 0: nothing passes that is not a number from 0 to 1, and nothing while heat is not allowed."""
        return duty if self.heat_ok and 0.0 <= duty <= 1.0 else 0.0

    def step(self, now_ms, dt_ms, i):
        """One pass over the table."""
        self._see(now_ms, dt_ms, i)
        off = opened = self._refused != faults.NONE
        named, warn = self._refused, 0
        for fault, seen, reaction in CHECKS:
            if not seen(self, i):
                continue
            off = off or reaction != WARN
            opened = opened or reaction == OPEN
            if reaction == LATCH and not self.latched:
                self.latched, self.fault = True, fault
            elif reaction == OFF:
                named = named or fault
            elif reaction != LATCH:
                warn |= 1 << fault
        if not self.latched:
            self.fault = named
        self.heat_ok = not (off or self.latched)
        self.guard_ok = not (opened or self.latched)
        self.fresh, self.warn = warn & ~self.warn, warn

    # -- this pass's facts ------------------------------------------------------------------------------------------

    def _see(self, now_ms, dt_ms, i):
        self.dt_ms = dt_ms
        self.heating = i.state not in COLD_STATES
        self.holding = self.heating and i.state != CHECK
        self.alone_ms = now_ms - i.last_person_ms
        if not DT_LOW_MS <= dt_ms <= DT_HIGH_MS:
            self.late_passes += 1
        self._see_water(now_ms, i)
        self._see_stage(dt_ms, i)
        self._see_heat(now_ms, max(0, dt_ms) / 1000, i)

    def _see_water(self, now_ms, i):
        c = i.water_c
        ok = c is not None and i.water_code == 0 and COLDEST_C < c < HOTTEST_C
        if ok and self._read_c is not None:
            # From the last good reading, so that a step stays bad until its probe could have got there: 20 K at
            # 5 K/s is four samples, and three latch.
            reach_k = self.values["trip.jump_c_per_s"] * (now_ms - self._read_ms) / 1000
            ok = abs(c - self._read_c) <= reach_k
        if ok:
            self._read_c, self._read_ms = c, now_ms
        self.water_ok = ok
        self.water_c = c
        self.bad_samples = 0 if ok else self.bad_samples + 1

    def _see_stage(self, dt_ms, i):
        if i.stage_limit_c != self._stage_limit_c:
            self._stage_limit_c = i.stage_limit_c
            self.stage_binds = False
        if not self.holding or not self.water_ok:
            self.over_stage_ms = 0
        elif i.water_c < i.stage_limit_c:
            self.stage_binds = True
            self.over_stage_ms = 0
        elif self.stage_binds:
            self.over_stage_ms += max(0, dt_ms)

    def _see_heat(self, now_ms, dt_s, i):
        full_j = self.values["heater_w"] * dt_s
        given_j = i.given_j if 0.0 <= i.given_j <= 2.0 * full_j else full_j  # a sum that cannot be reads as full heat
        arrived_j = self._on_its_way.step(given_j, dt_s)
        if not self.holding:
            self.response.begin(now_ms)
            self.rest.begin(now_ms)
        elif self.water_ok:
            bowl_c = None if i.bowl_away else i.bowl_c
            self.response.step(now_ms, dt_s, i.water_c, i.room_c, arrived_j)
            self.rest.step(now_ms, i.water_c, bowl_c, i.duty_zero, arrived_j, i.last_person_ms)
