"""The supervisor: last in the chain, separate from the control, and able only to lower the duty. Pure.

Each pass reads top to bottom through `CHECKS`: a fault's number, a predicate that says whether it is there *now*, and
what happens then. Detection times stand beside each predicate, as formulas of the rig; P is `heater_w`, C the largest
load (full water, bowl and chocolate, J/K), L the believed losses (W), `lag` the heater's lag. The loop passes each 1 s.
"""

from bainboard import faults
from bainboard.heat_balance import HeatOnItsWay, Losses, Response, Rest
from bainboard.plausibility import BowlHeat, BowlProbeOut, Failing, Surge, WaterProbeOut

# Reactions. None of them adds heat.
WARN = "warn"  # a bit in `warn`
WAIT = "wait"  # the same, and heat off while it lasts
OPEN = "open"  # the same, and the guard open as well
RETEST = "retest"  # the same at once, then a self-test (`retest` says of what): passed, it goes on with a warning
OFF = "off"  # heat off while it lasts, named in `fault`
LATCH = "latch"  # off and guard open until a person clears it; the first cause stays

COLD_STATES = ("idle", "pause", "trip")  # heat is not wanted; any state not named here counts as heating
CHECK = "check"

COLDEST_C, HOTTEST_C = -20.0, 120.0  # no water reads outside these (chosen, wide of steam and winter)
DT_LOW_MS, DT_HIGH_MS = 200, 3000  # a pass is a second; outside these the clock or the loop is wrong (chosen)
RUN_WARN_MS = 30 * 60 * 1000
RETESTS = 3  # so many in an hour pass, and the next is a latch (chosen: a kettle is used twice)
RETESTS_MS = 3600 * 1000
ACTED_MS = 5000  # what a person does shows in a probe by then (chosen)


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
        self.ended = faults.NONE  # why the board restarted, until a person starts a hold
        self.rebooting = False  # it restarted too often with too little time between


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
    """Listening takes 3 lag + 60 s + 0.6 K x C / (0.7 d P) more, d P the mean heat of the time looked at."""
    return s.response.deaf


def water_fell(s, i):
    """A fall of F K to the room: probe lag x ln(F / (F - D)) + two passes; D is 1 K + 0.3 x (water - 15 °C), a top-up.

    If F is under D: half of the next row's heat. The fall is met, and the heat counted, when it is 1 K over 2 K/min.
    """
    return s.out.told and s.out.state == s.out.DOUBT


def water_probe_out(s, i):
    """Heat for 3 K of the smallest load after that: 3 K x C/2 / (d P - L) + lag + 30 s, if it lies in still air."""
    return s.out.state == s.out.OUT


def failing(s, i):
    """2 x (lag + 30 s + `trip.judge_k` x C / (d P - L - B)), B what the bowl may take (W), once d P is over L + B.

    The water must have fallen by 0.3 K in each half of it, which may take longer: C x 0.3 K / (L + B as they are).
    """
    return s.failing.failing


def weak(s, i):
    """As `listening` and `deaf`, for a reading that rose by 0.3 to 1 K where 3 K were promised."""
    return s.response.weak


def surging(s, i):
    """lag + 30 s + `trip.surge_k` / (d P / C' - 1.5 d P / Cw) in a bath of C' J/K; unseen unless C' < Cw / 1.5.

    Cw is half of the stated water's, or the tuned figure.
    """
    return s.surge.surging


def too_many_retests(s, i):
    """At the fourth in an hour."""
    return s.retests > RETESTS


def condemned(s, i):
    """The retest takes 40 s + C/2P + 3 x (lag + 15 s), three times that beside a bowl of another temperature."""
    return s.condemned != faults.NONE


def bowl_fell(s, i):
    """A fall of F K to the room: probe lag x ln(F / (F - 4)) + one pass; with a room less than 4 K colder, never."""
    return s.bowl_out.out


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
    """The first pass after the restart."""
    return i.ended == faults.CRASHED


def hung(s, i):
    """`trip.watchdog_ms`, the restart, one pass."""
    return i.ended == faults.RESTARTED


def short_of_memory(s, i):
    """A minute at most, the restart, one pass; an allocation that fails: the restart and one pass."""
    return i.ended == faults.MEMORY


def reboot_loop(s, i):
    """The third abnormal restart with under 10 min of healthy running between; its first pass."""
    return i.rebooting


DOUBTED = -1  # in the table: the fault that the last retest was about

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
    (faults.PROBE_OUT, water_fell, WARN),
    (faults.PROBE_OUT, water_probe_out, LATCH),
    (faults.HEATER_LOST, failing, RETEST),
    (faults.HEATER_LOST, weak, RETEST),
    (faults.STRONG_HEATER, surging, RETEST),
    (DOUBTED, too_many_retests, LATCH),
    (DOUBTED, condemned, LATCH),
    (faults.REBOOT_LOOP, reboot_loop, LATCH),
    (faults.HOT_BEFORE_START, too_hot_to_start, WAIT),
    (faults.OVER_STAGE, over_stage, OFF),
    (faults.OVER_STAGE, over_stage_from_before, WAIT),
    (faults.RUN_TIMER, nobody_here, OFF),
    (faults.RUN_TIMER, nobody_here_soon, WARN),
    (faults.BAD_SETTINGS, settings_bad, OFF),
    (faults.CRASHED, crashed, OFF),
    (faults.RESTARTED, hung, OFF),
    (faults.MEMORY, short_of_memory, OFF),
    (faults.LATE_LOOP, pass_too_long, WAIT),
    (faults.BAD_CLOCK, pass_too_short, WAIT),
    (faults.BOWL_PROBE, bowl_unread, WARN),
    (faults.BOWL_OUT, bowl_fell, WARN),
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
        self.losses = Losses(values)
        self.response = Response(values, self.losses)
        self.rest = Rest(values)
        self.out = WaterProbeOut(values)
        self.bowl_out = BowlProbeOut(values)
        self.failing = Failing(values)
        self.surge = Surge(values)
        self._bowl_heat = BowlHeat(values)
        self._on_its_way = HeatOnItsWay(values)
        self._read_c = None
        self._read_ms = 0
        self.begin(0)

    def begin(self, now_ms):
        """A hold starts, or goes on after a pause: evidence from before says nothing."""
        self._refused = self.retest = self.doubted = self.condemned = faults.NONE
        self.retests, self._retest_ms = 0, None
        self._doubted_ms = now_ms
        self._stage_limit_c = None
        self.stage_binds = False
        self.over_stage_ms = 0
        self.losses.begin(now_ms)
        self._forget(now_ms)

    def _forget(self, now_ms):
        self.response.begin(now_ms)
        self.rest.begin(now_ms)
        self.out.begin()
        self.bowl_out.begin()
        self.failing.begin()
        self.surge.begin()

    def tested(self, fault, now_ms):
        """The self-test of a start or a retest is over: 0 goes on, with a warning after a retest; a fault latches."""
        if self.retest == faults.NONE:
            self.begin(now_ms)
        elif fault != faults.NONE:
            self.condemned = self.doubted
        elif self.retest == faults.HEATER_LOST:  # heat arrives, so the losses took it
            self.losses.prove(now_ms, self._doubted_w, self._over_room_k)
        self.retest = faults.NONE

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
            opened = opened or reaction in (OPEN, RETEST)
            if fault == DOUBTED:
                fault = self.doubted
            if reaction == RETEST:
                self._doubt(now_ms, fault)
            if reaction == LATCH and not self.latched:
                self.latched, self.fault = True, fault
            elif reaction == OFF:
                named = named or fault
            elif reaction != LATCH:
                warn |= 1 << fault
        if self.doubted != faults.NONE and self._doubted_ms >= i.last_person_ms:
            warn |= 1 << self.doubted  # until a person has been here
        if not self.latched:
            self.fault = named
        self.heat_ok = not (off or self.latched)
        self.guard_ok = not (opened or self.latched)
        self.fresh, self.warn = warn & ~self.warn, warn

    def _doubt(self, now_ms, fault):
        """Ask for a retest; heat is off and the guard open from this pass on."""
        if self.retest != faults.NONE:
            return
        self.retest = self.doubted = fault
        self._doubted_ms = now_ms
        if self._retest_ms is None or now_ms - self._retest_ms > RETESTS_MS:
            self._retest_ms, self.retests = now_ms, 0
        self.retests += 1
        self._doubted_w = self.failing.mean_w if self.failing.failing else self.response.mean_w

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
        self._over_room_k = (i.water_c - i.room_c) if self.water_ok else 0.0
        if not self.holding:
            self._forget(now_ms)
        elif self.water_ok:
            self._weigh(now_ms, dt_s, i, arrived_j)

    def _weigh(self, now_ms, dt_s, i, arrived_j):
        """The heat that arrived against what was read, in a hold and with a valid reading."""
        bowl_c = None if i.bowl_away else i.bowl_c
        if bowl_c is None:
            self.bowl_out.begin()
        else:
            self.bowl_out.step(dt_s, bowl_c, i.water_c, now_ms - i.last_person_ms < ACTED_MS)
            bowl_c = None if self.bowl_out.out else bowl_c
        lost_w = self.losses.watts(now_ms, self._over_room_k)
        taken_w = self._bowl_heat.watts(i.water_c, bowl_c)
        self.response.step(now_ms, dt_s, i.water_c, lost_w, taken_w, arrived_j, self._over_room_k)
        self.rest.step(now_ms, i.water_c, bowl_c, i.duty_zero, arrived_j, i.last_person_ms)
        self.out.step(dt_s, i.water_c, lost_w, arrived_j)
        if self.heat_ok:
            self.failing.step(now_ms, dt_s, i.water_c, lost_w, taken_w, arrived_j)
        else:  # what was withheld cannot fail
            self.failing.begin()
        self.surge.step(i.water_c, bowl_c, i.duty_zero, arrived_j)
