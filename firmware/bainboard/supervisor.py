"""The supervisor: last in the chain, separate from the control, and able only to lower the duty. Pure.

Each pass reads top to bottom through `CHECKS`: a fault's number, a predicate that says whether it is there *now*, and
what happens then. Detection times stand beside each predicate, as formulas of the rig; P is `heater_w`, d the duty, C
the largest load (full water, bowl and chocolate, J/K), Cs the smallest (half of the water), `lag` the heater's lag.
The loop passes each 1 s. SAFETY-RULES.md derives the bound on the true water from them.
"""

from bainboard import faults
from bainboard.heat_balance import OVER_LIMIT_K, Account
from bainboard.lone_probe import Alone, Lifted
from bainboard.plausibility import Believed, BowlProbeOut, BowlWitness, Fall, Pace, Poured, Surge, Twin
from bainboard.rest import Rest

# Reactions. None of them adds heat.
WARN = "warn"  # a bit in `warn`
WAIT = "wait"  # the same, and heat off while it lasts
BACK = "back"  # heat off while it lasts, and no word: a look, or what a person's own act explains
OPEN = "open"  # the same, and the guard open as well
RETEST = "retest"  # the same at once, then a self-test (`retest` says of what): it passes, or it latches
OFF = "off"  # heat off and guard open while it lasts, named in `fault`
LATCH = "latch"  # off and guard open until a person clears it; a cause stays until a worse one comes

COLD_STATES = ("idle", "pause", "trip")  # the switch is off and the guard open; any state not named here may heat
CHECK = "check"

COLDEST_C, HOTTEST_C = -20.0, 120.0  # no water reads outside these (chosen, wide of steam and winter)
DT_LOW_MS, DT_HIGH_MS = 200, 3000  # a pass is a second; outside these the clock or the loop is wrong (chosen)
RUN_WARN_MS = 30 * 60 * 1000
RETESTS = 3  # so many in an hour pass, and the next is a latch (chosen: a kettle is used twice)
RETESTS_MS = 3600 * 1000
UNDER_S = 600.0  # a cold top-up is warm again by then (chosen)
SUSPICIONS = 2  # (chosen)
EPISODE_MS = 300 * 1000  # a warning that comes and goes is one, until it was gone for so long (chosen)
ACTED_MS = 5000  # what a person does shows in a probe by then (chosen)
WITNESS_S = 600.0  # (chosen: the bowl is lifted out and cold water poured in within it)
UNDER_NEVER_K = 3.0  # water in doubt is bounded from here while chocolate melts: the wall nears its water (chosen)
MELTED_C = 40.0  # chocolate that may be warmer is melted stock, not stirred, far under its bath (chosen)
CALM_READINGS = 9  # evidence is the middle one of so many: spikes are not, up to one reading in ten (computed)
BAD_WEIGHT = 4  # good samples that make up for a bad one: a probe that fails each third reading latches (chosen)


def safe(fault: int) -> bool:
    """May a warmer with this fault be left plugged in?"""
    return not faults.TO_UNPLUG >> fault & 1


class Inputs:
    """What the supervisor is given each pass. The caller keeps one and fills it in."""

    def __init__(self) -> None:
        self.state = "idle"  # idle, check, hold, pause, trip
        self.water_c: float | None = None  # calibrated, or None
        self.water_code = 0  # why it is None
        self.second_c: float | None = None  # a second water probe
        self.second_fitted = False
        self.bowl_c: float | None = None
        self.bowl_fitted = False
        self.bowl_away = False  # lifted, by button, message or detection
        self.chilled = False  # an announced refill explains a fall of the bowl
        self.bowl_limit_c = HOTTEST_C  # no heat while the chocolate reads over this
        self.stage_limit_c = 0.0  # water's limit in this stage
        self.never_c = HOTTEST_C  # what this chocolate must never meet, while it melts; else no reading is as warm
        self.room_c = 20.0
        self.given_j = 0.0  # heat given since the last pass, from the measured on-time
        self.duty_zero = True  # the duty given since the last pass was 0
        self.guard_open = True  # since the last pass
        self.last_person_ms = 0  # when a person last acted
        self.in_hand = False  # at rest, a person has the probes in ice or boiling water
        self.settings_bad = False  # both copies damaged: these are the defaults
        self.ended = faults.NONE  # why the board restarted, until a person starts a hold
        self.rebooting = False  # it restarted too often with too little time between


# -- the predicates: `s` is the supervisor with the facts of this pass, `i` the inputs -----------------------------


def water_unread(s, i: Inputs) -> bool:
    """One pass."""
    return not s.water_ok


def water_unread_for_long(s, i: Inputs) -> bool:
    """`trip.bad_samples` (n) bad in a row: n passes. One bad in m: about 4 n m / (5 - m) passes, never for m over 4.

    At rest a missing probe only keeps the warmer from starting.
    """
    return s.heating and s.bad_score >= BAD_WEIGHT * s.values["trip.bad_samples"]


def second_unread(s, i: Inputs) -> bool:
    """One pass."""
    return i.second_fitted and not s.second_ok


def bowl_unread(s, i: Inputs) -> bool:
    """One pass; a bowl that was lifted is no fault."""
    return i.bowl_fitted and not i.bowl_away and not _readable(i.bowl_c)


def over_hard_limit(s, i: Inputs) -> bool:
    """Two passes and the probe's lag, in every state; at P the water is over by P x (lag + probe lag) / C."""
    return not i.in_hand and s.water_ok and not s.hot_c < s.values["hard_limit_c"]


def near_hard_limit(s, i: Inputs) -> bool:
    """One pass: no heat at a reading that may be a glitch."""
    return s.water_ok and not i.water_c < s.values["hard_limit_c"]


def over_stage(s, i: Inputs) -> bool:
    """`trip.over_stage_s` after the reading passes the limit; binding only once the water was below it.

    A second water probe counts from 1.5 K over the limit: so much two sound ones may differ.
    """
    return s.over_stage_ms >= s.values["trip.over_stage_s"] * 1000


def over_stage_from_before(s, i: Inputs) -> bool:
    """Water that came warmer than the stage allows: no heat until it has cooled, and no fault."""
    return s.holding and s.water_ok and not s.stage_binds


def chocolate_over(s, i: Inputs) -> bool:
    """One pass, and the bowl probe's lag. Hot chocolate poured in does it too, so it is no fault."""
    return s.holding and s.bowl_c is not None and not s.bowl_c < i.bowl_limit_c


def bowl_contradicts(s, i: Inputs) -> bool:
    """Water that reads g K under its bowl: 2 tau x 0.25 K / (g - 0.5 K), tau the full bowl's time constant."""
    return s.holding and s.witness.false


def bowl_contradicts_long(s, i: Inputs) -> bool:
    """2 tau x 1 K / (g - 0.5 K), and ten minutes at the least."""
    return s.heating and s.witness.surely


def twins_apart(s, i: Inputs) -> bool:
    """Twenty minutes of 1.5 K between the water probes."""
    return s.twin.apart


def twins_far(s, i: Inputs) -> bool:
    """Five minutes of 3 K between the water probes."""
    return s.heating and s.twin.far


def heat_capped(s, i: Inputs) -> bool:
    """Where losses are learnt: as the water passes room + 1.3 g x (learnt / true loss) x (M - room).

    M is limit + 3 K, or less where that would pass limit + 7 K (10 K beside a bowl probe) or hard limit + 2 K; g is
    1 + 0.02 x (M - 33 °C), 1 at the least; C / (1.3 x the learnt loss) is the time constant. In the first four
    hours of a melt M is what the chocolate must never meet.
    """
    return s.holding and s.believed.over and not s.second_ok


def unwitnessed(s, i: Inputs) -> bool:
    """The bowl is out or unread, and no other witness: Cw x (limit + 7.5 K - reading as it left) / (d P).

    Cw is all of the stated water. Out without a word: once it has cooled by 1.25 K under its water.
    """
    return s.holding and s.alone.over


def heat_capped_long(s, i: Inputs) -> bool:
    """Half an hour of that; once, until it has long been over."""
    return s.holding and (s.alone.long or (s.believed.long and not s.second_ok))


def look_failed(s, i: Inputs) -> bool:
    """Two blocks of a look without an answer; a block takes 4 x max(60 s, 1.5 (lag + 30 s))."""
    return s.account.unseen >= 2


def probe_dead(s, i: Inputs) -> bool:
    """Account to LOOK_AT: 0.45 x (limit + 7.5 K - proved reading) x Cs / (d P), or less after a higher one; then three
    blocks of a look.

    An answer that is unsure asks for more blocks; meanwhile heat waits at the full account.
    """
    return s.account.dead


def reads_too_cold(s, i: Inputs) -> bool:
    """Ten minutes of heat at 3 K under the room and under the start's reading. Meanwhile nothing counts as proof."""
    return s.holding and s.account.under_s >= UNDER_S


def surging(s, i: Inputs) -> bool:
    """lag + 30 s + `trip.surge_k` / (d P / C' - 1.5 d P / Cw) in a bath of C' J/K; unseen unless C' < Cw / 1.5.

    Cw is half of the stated water's, or the tuned figure.
    """
    return s.surge.surging


def heats_too_fast(s, i: Inputs) -> bool:
    """2 K x Cw / (1.75 d P), and the lag: a rise of 2 K at over 1.75 times what the stated water, Cw, allows."""
    return s.pace.fast


def too_many_retests(s, i: Inputs) -> bool:
    """At the fourth in an hour."""
    return s.retests > RETESTS


def bowl_fell(s, i: Inputs) -> bool:
    """A fall of F K to the room: probe lag x ln(F / (F - 4)) + two minutes; with a room less than 4 K colder, never.

    From the first pass on it is no witness. Not from five minutes before an announced refill until it has mixed in.
    """
    return s.bowl_out.out and s.bowl_out.out_s >= s.bowl_out.STAYS_S


def rises_at_rest(s, i: Inputs) -> bool:
    """2 x `trip.idle_rise_k` x C / (P - loss) + 2 (lag + 30 s) after the switch shorted in a hold: the guard opens.

    Half of it is the control's, until it asks for nothing. A switch that shorts while heat is wanted harms nothing yet.
    """
    return s.rest.opened


def looks_again(s, i: Inputs) -> bool:
    """5 lag + 180 s after that, or a fall of 0.3 K if sooner, the guard closes for the second look."""
    return s.rest.closed


def switch_shorted(s, i: Inputs) -> bool:
    """The second look takes lag + 60 s + 0.6 K x C / (P - loss). Beside a warmer bowl: three rounds of `over_stage`.

    With no guard there are no looks: at once, but a person's act explains a rise for the quarter hour after it.
    """
    return s.rest.shorted


def suspected_again(s, i: Inputs) -> bool:
    """At the second self-test in a row that a pause or a stop broke off while it suspected the switch or the guard."""
    return s.suspicions >= SUSPICIONS


def rises_unasked(s, i: Inputs) -> bool:
    """Guard open, switch off, any state: 5 lag + 60 s, then 3 x max(30 s, 1.2 K x C / P), and over what explains it.

    That is 1 K over a warmer bowl, over where a bowl of 50 °C would bring half the water, or over room + 5 K. Heat of
    U watts that is slower: (0.6 K x C + heat on its way x C / Cs) / (U - loss + k x (water - room - 8 K)), k the least
    loss, 0.5 W/K x litres^(2/3); so any U that would hold it over room + 8.6 K and 35.6 °C, also where it only stays.
    """
    return s.rest.unasked


def nobody_here(s, i: Inputs) -> bool:
    """`trip.run_h` after the last act; only another act ends it."""
    return s.heating and not s.alone_ms < s.run_ms


def nobody_here_soon(s, i: Inputs) -> bool:
    """Half an hour before."""
    return s.heating and not s.alone_ms < s.run_ms - RUN_WARN_MS


def pass_too_long(s, i: Inputs) -> bool:
    """One pass."""
    return s.dt_ms > DT_HIGH_MS


def pass_too_short(s, i: Inputs) -> bool:
    """One pass; a clock that ran backwards reads as this."""
    return s.dt_ms < DT_LOW_MS


def settings_bad(s, i: Inputs) -> bool:
    """One pass."""
    return i.settings_bad


def crashed(s, i: Inputs) -> bool:
    """The first pass after the restart."""
    return i.ended == faults.CRASHED


def hung(s, i: Inputs) -> bool:
    """`trip.watchdog_ms`, the restart, one pass."""
    return i.ended == faults.RESTARTED


def short_of_memory(s, i: Inputs) -> bool:
    """A minute at most, the restart, one pass; an allocation that fails: the restart and one pass."""
    return i.ended == faults.MEMORY


def reboot_loop(s, i: Inputs) -> bool:
    """The third abnormal restart with under 10 min of healthy running between; its first pass."""
    return i.rebooting


def _readable(temp_c: float | None) -> bool:
    """A number that water or chocolate may read; None and NaN are not."""
    return temp_c is not None and COLDEST_C < temp_c < HOTTEST_C


# A new check is a predicate above and a row here. Order matters twice: the first OFF or LATCH found names `fault`, and
# a latch that is set keeps its cause until one of a worse hazard comes.
CHECKS = (
    (faults.WATER_PROBE, water_unread, WAIT),
    (faults.WATER_PROBE, water_unread_for_long, LATCH),
    (faults.OVER_HARD_LIMIT, over_hard_limit, LATCH),
    (faults.HEAT_AT_REST, rises_at_rest, OPEN),
    (faults.HEAT_AT_REST, looks_again, BACK),
    (faults.HEAT_AT_REST, switch_shorted, LATCH),
    (faults.SWITCH_SHORTED, suspected_again, LATCH),
    (faults.WATER_STUCK, look_failed, WARN),
    (faults.WATER_STUCK, probe_dead, LATCH),
    (faults.PROBE_OUT, reads_too_cold, LATCH),
    (faults.DISAGREE, bowl_contradicts, BACK),
    (faults.DISAGREE, bowl_contradicts_long, LATCH),
    (faults.DISAGREE, twins_apart, WARN),
    (faults.DISAGREE, twins_far, LATCH),
    (faults.STRONG_HEATER, heats_too_fast, WARN),
    (faults.STRONG_HEATER, surging, RETEST),
    (faults.STRONG_HEATER, too_many_retests, LATCH),
    (faults.REBOOT_LOOP, reboot_loop, LATCH),
    (faults.UNASKED_HEAT, rises_unasked, OFF),
    (faults.OVER_HARD_LIMIT, near_hard_limit, BACK),
    (faults.OVER_STAGE, over_stage, OFF),
    (faults.OVER_STAGE, over_stage_from_before, OPEN),
    (faults.NONE, chocolate_over, BACK),
    (faults.HEAT_CAPPED, heat_capped, BACK),
    (faults.HEAT_CAPPED, unwitnessed, BACK),
    (faults.HEAT_CAPPED, heat_capped_long, WARN),
    (faults.RUN_TIMER, nobody_here, OFF),
    (faults.RUN_TIMER, nobody_here_soon, WARN),
    (faults.BAD_SETTINGS, settings_bad, OFF),
    (faults.CRASHED, crashed, OFF),
    (faults.RESTARTED, hung, OFF),
    (faults.MEMORY, short_of_memory, OFF),
    (faults.LATE_LOOP, pass_too_long, WAIT),
    (faults.BAD_CLOCK, pass_too_short, WAIT),
    (faults.SECOND_PROBE, second_unread, WARN),
    (faults.BOWL_PROBE, bowl_unread, WARN),
    (faults.BOWL_OUT, bowl_fell, WARN),
)


class Supervisor:
    """Looks each pass, then bounds the duty.

    Results of `step`: `heat_ok`, `guard_ok`, `fault` (number in force), `latched`, `cause` (a latch's), `warn`
    (bit 1 << number for each fault that is seen but not in force), `fresh` (the bits that begin an episode).
    The bit of UNASKED_HEAT beside a fault that is safe means: that the water does not rise is not known yet.
    `believed_c` is what a hold believed of its water as the power failed, `alone_c` what its heat may have made of it
    since the bowl left its bath, `quarters` for how long it melted, `unasked` what `Rest` had seen.
    """

    def __init__(self, values: dict, latch_fault: int, believed_c: float | None = None, suspicions: int = 0,
                 unasked: int = 0, alone_c: int | None = None, quarters: int = 0) -> None:
        self.values = values
        self.fault = self.cause = latch_fault
        self.latched = latch_fault != faults.NONE
        self.heat_ok = self.guard_ok = False  # nothing was read yet
        self.warn = self.fresh = 0
        self._said = self._lately = self._lately_ms = 0  # bits seen in the last EPISODE_MS, in those under way
        self.water_ok = self.second_ok = False
        self.water_c: float | None = None
        self.bowl_c: float | None = None
        self.calm_c = self.hot_c = 0.0  # of no use before a reading
        self.bad_score = 0
        self.run_ms = int(values["trip.run_h"] * 3600000)
        self.account = Account(values)
        self.rest = Rest(values, unasked)
        self.bowl_out = BowlProbeOut(values)
        self.witness = BowlWitness(values)
        self.lifted = Lifted(0.5 * self.witness.tau_s, alone_c is not None)
        self.twin = Twin()
        self.believed = Believed(values, believed_c, quarters)
        self.alone = Alone(values, OVER_LIMIT_K, self.account.least_loss_w_per_k, alone_c)
        self.surge = Surge(values)
        self.pace = Pace(values)
        self._pour = Poured(values)
        self._fall = Fall(values["trip.fall_k_per_min"], values["trip.fall_k"])
        self._read_c: float | None = None
        self._read_ms = 0
        self._last: list = []  # the last readings
        self._rest_s = 0.0  # since a hold ended
        self.retest = faults.NONE
        self.retests = 0
        self._retest_ms: int | None = None
        self.suspicions = suspicions  # self-tests broken off since one passed, each with a suspicion
        self.begin(0)

    def begin(self, now_ms: int) -> None:
        """A hold is to start. What was seen before counts until its self-test has passed."""
        self._refused = faults.NONE
        self._start_c = -200.0 if self.water_c is None else self.water_c
        self._stage_limit_c: float | None = None
        self.stage_binds = False
        self.over_stage_ms = 0

    def tested(self, fault: int, doubt: int) -> None:
        """A self-test is over, a start's (`doubt` 0) or one of a doubt: 0 goes on, a fault latches at once."""
        if doubt == self.retest:  # not one after a pause, which leaves a doubt as it was
            self.retest = faults.NONE
        if fault != faults.NONE:
            self._latch(faults.OVER_HARD_LIMIT if fault == faults.HOT_BEFORE_START else fault)
            return
        if doubt == faults.STRONG_HEATER:  # it asked nothing of switch and guard
            self.surge.begin()
            return
        self.suspicions = 0
        self.rest.proved()
        if doubt == faults.NONE and self.water_ok:  # the water followed its heat
            self.account.began(self.water_c, self._start_c)
            self.surge.begin()
            self.pace.begin()
            self._fall.begin()

    def refuse_start(self, fault: int) -> None:
        """The self-test of a start failed: heat stays off, and `fault` says why, until the next start."""
        self._refused = fault
        self.heat_ok = self.guard_ok = False
        self._name(fault)

    def clear(self, now_ms: int) -> str | None:
        """The recessed button was held for its 3 s: None, or why the latch stays."""
        if not self.latched:
            return "nothing to clear: no trip is latched"
        if not self.water_ok:
            return "the water probe still gives no valid reading"
        limit_c = self.values["hard_limit_c"]
        if not self.water_c < limit_c:
            return f"the water is at {self.water_c:.1f} °C, wanted under the hard limit of {limit_c:g} °C"
        # A shorted switch or a dead probe cannot be seen cold; the self-test of the next start looks for both.
        self.latched = False
        self.cause = self.retest = faults.NONE
        self._name(faults.NONE)
        self.retests = self.bad_score = self.account.unseen = self.suspicions = 0
        self.rest.forget_looks()
        self.surge.begin()
        self.twin.begin()
        self.witness.begin()
        self.begin(now_ms)
        return None

    def limit(self, duty: float) -> float:
        """The duty, or less: nothing passes that is not a number from 0 to 1, and nothing while heat is not allowed."""
        return min(duty, self.account.most()) if self.heat_ok and 0.0 <= duty <= 1.0 else 0.0

    def limit_pulse(self, duty: float) -> float:
        """The same for a self-test, which brings the proof that the account waits for."""
        return duty if self.heat_ok and 0.0 <= duty <= 1.0 else 0.0

    def step(self, now_ms: int, dt_ms: int, i: Inputs) -> None:
        """One pass over the table."""
        self._see(now_ms, dt_ms, i)
        off = opened = self._refused != faults.NONE
        named, warn = self._refused, 0
        for fault, seen, reaction in CHECKS:
            if not seen(self, i):
                continue
            off = off or reaction != WARN
            opened = opened or reaction in (OPEN, RETEST, OFF)
            if reaction == RETEST:
                self._doubt(now_ms, fault)
            elif reaction == LATCH:
                self._latch(fault)
            elif reaction == OFF:
                named = named or fault
            elif reaction in (WARN, WAIT):
                warn |= 1 << fault
        self._name(named)
        self.heat_ok = not (off or self.latched)
        self.guard_ok = not (opened or self.latched)
        if now_ms - self._lately_ms >= EPISODE_MS:
            self._said, self._lately, self._lately_ms = self._lately, 0, now_ms
        self.fresh, self.warn = warn & ~(self._said | self._lately), warn
        self._lately |= warn
        if self.fault != faults.NONE and safe(self.fault) and not self._known_steady():
            self.warn |= 1 << faults.UNASKED_HEAT

    def _known_steady(self) -> bool:
        """The water reads, by a probe that nothing contradicts, and with all cut off it does not rise."""
        return self.water_ok and self.rest.steady and self.fault != faults.DISAGREE

    def _latch(self, fault: int) -> None:
        """Off until a person clears it, from this very moment: no act comes between a verdict and its latch.

        A later cause takes over only where the first one says that the warmer may be left, and it must not be.
        """
        if not self.latched or (safe(self.cause) and not safe(fault)):
            self.latched, self.cause = True, fault
            self._name(fault)
        self.heat_ok = self.guard_ok = False

    def _name(self, named: int) -> None:
        """What is told: the latch before the rest, and what must be unplugged before all that is safe."""
        unasked = faults.UNASKED_HEAT if self.rest.unasked else faults.NONE
        self.fault = self.cause or named
        for worse in (named, unasked):
            if safe(self.fault) and not safe(worse):
                self.fault = worse

    def _doubt(self, now_ms: int, fault: int) -> None:
        """Ask for a retest; heat is off and the guard open from this pass on."""
        if self.retest != faults.NONE:
            return
        self.retest = fault
        if self._retest_ms is None or now_ms - self._retest_ms > RETESTS_MS:
            self._retest_ms, self.retests = now_ms, 0
        self.retests += 1

    # -- this pass's facts ------------------------------------------------------------------------------------------

    def _see(self, now_ms: int, dt_ms: int, i: Inputs) -> None:
        self.dt_ms = dt_ms
        self.heating = i.state not in COLD_STATES
        self.holding = self.heating and i.state != CHECK
        self.alone_ms = now_ms - i.last_person_ms
        self._see_water(now_ms, i)
        self._see_stage(dt_ms, i)
        self._see_bowl(now_ms, max(0, dt_ms) / 1000, i)
        self._see_heat(now_ms, max(0, dt_ms) / 1000, i)

    def _see_water(self, now_ms: int, i: Inputs) -> None:
        c = i.water_c
        ok = i.water_code == 0 and _readable(c)
        if ok and self._read_c is not None:
            # From the last good reading, so that a step stays bad until its probe could have got there: 20 K at
            # 5 K/s is four samples, and three latch.
            reach_k = self.values["trip.jump_c_per_s"] * (now_ms - self._read_ms) / 1000
            ok = abs(c - self._read_c) <= reach_k
        self.second_ok = i.second_fitted and _readable(i.second_c)
        if ok:
            self._last = self._last[1:] + [c] if self._last else [c] * CALM_READINGS
            self.calm_c = sorted(self._last)[CALM_READINGS // 2]
            self.hot_c = min(self._last[-2:])
            if self.second_ok:
                self.hot_c = max(self.hot_c, i.second_c)
            self._read_c, self._read_ms = c, now_ms
        self.water_ok = ok
        self.water_c = c
        self.bad_score = max(0, self.bad_score - 1) if ok else self.bad_score + BAD_WEIGHT

    def _see_stage(self, dt_ms: int, i: Inputs) -> None:
        if i.stage_limit_c != self._stage_limit_c:
            self._stage_limit_c = i.stage_limit_c
            self.stage_binds = False
        if not self.heating or not self.water_ok:
            return  # a pause, a look or a lost reading is no cooler water
        # The control looks at the first probe alone, and the two may differ by so much without a word.
        second_over = self.second_ok and not i.second_c < i.stage_limit_c + Twin.WARN_K
        if i.water_c < i.stage_limit_c and not second_over:
            self.stage_binds = True
            self.over_stage_ms = 0
        elif self.stage_binds and self.holding:
            self.over_stage_ms += max(0, dt_ms)

    def _see_bowl(self, now_ms: int, dt_s: float, i: Inputs) -> None:
        """What the bowl says of its water."""
        bowl_c = i.bowl_c if _readable(i.bowl_c) and not i.bowl_away else None
        if bowl_c is None or not self.water_ok:
            self.bowl_out.begin()
        else:
            explained = i.chilled or now_ms - i.last_person_ms < ACTED_MS
            self.bowl_out.step(dt_s, bowl_c, self.calm_c, i.room_c, i.bowl_limit_c > MELTED_C, explained)
        self.bowl_c = None if self.bowl_out.out else bowl_c
        if self.holding and self.bowl_c is not None and self.water_ok:
            self.lifted.step(dt_s, self.bowl_c, self.calm_c, i.room_c, i.bowl_limit_c > MELTED_C)
        else:
            self.lifted.blind()
        # At rest the bowl may be on the bench; for a while it counts as where it was, so that no new hold is an escape.
        self._rest_s = 0.0 if self.heating or i.state == "pause" else min(WITNESS_S, self._rest_s + dt_s)
        if self._rest_s >= WITNESS_S:
            self.witness.begin()
        elif self._rest_s == 0.0 and i.state != CHECK and self.bowl_c is not None and self.water_ok:
            self.witness.step(dt_s, self.calm_c, self.bowl_c)
        if self.second_ok and self.water_ok:
            self.twin.step(dt_s, self.calm_c, i.second_c)

    def _see_heat(self, now_ms: int, dt_s: float, i: Inputs) -> None:
        """The heat that was given against what was read."""
        full_j = self.values["heater_w"] * dt_s
        given_j = i.given_j if 0.0 <= i.given_j <= 2.0 * full_j else full_j  # a sum that cannot be reads as full heat
        limit_c = min(i.stage_limit_c, i.never_c - UNDER_NEVER_K)
        self.account.may_look = self.holding and self.heat_ok
        witnessed = self.bowl_c is not None and not self.lifted.away
        self.account.witnessed = witnessed
        arrived_j = self.account.step(now_ms, dt_s, self.water_ok, i.water_c, given_j, limit_c, i.room_c)
        if not self.water_ok:
            self.rest.steady = False
            return
        self.believed.step(dt_s, i.water_c, i.room_c, given_j, limit_c, i.never_c < HOTTEST_C,
                           self.bowl_c is not None)
        if self.holding:
            other = self.second_ok or self.values["gains.loss_w_per_k"] > 0.0
            away = i.bowl_fitted and not (witnessed or other)
            self.alone.step(dt_s, away, self.calm_c, i.room_c, given_j, limit_c)
        if self._fall.step(dt_s, self.calm_c):
            self._fall.begin()
            self.account.doubt(self.values["trip.out_budget_k"])
        if i.in_hand:  # ice and boiling water are no rise of the bath
            self.rest.blind()
            return
        poured = self._pour.step(dt_s, self.calm_c)
        self.rest.step(now_ms, self.calm_c, self.bowl_c, i.room_c, i.duty_zero, arrived_j, i.guard_open,
                       self.holding, poured)
        if i.state == CHECK:
            self.surge.rest(self.calm_c)
            return  # the self-test looks for itself
        self.rest.look(now_ms, self.calm_c, self.bowl_c, i.duty_zero, arrived_j, self.holding, i.last_person_ms)
        if not self.holding:
            self.surge.rest(self.calm_c)
        else:
            self.surge.step(self.calm_c, self.bowl_c, i.duty_zero, arrived_j)
            self.pace.step(self.calm_c, self.bowl_c, i.duty_zero, arrived_j, poured)
