"""One warmer: what it is doing, and what this second's readings make it do. Pure: readings in, duty and guard out."""

from bainboard import faults, sensing
from bainboard.control.cascade import Cascade
from bainboard.programme import Programme
from bainboard.selftest import RESUME, SelfTest
from bainboard.supervisor import HOTTEST_C, Inputs, Supervisor

IDLE, CHECK, HOLD, PAUSE, TRIP = "idle", "check", "hold", "pause", "trip"
HEATING = (CHECK, HOLD)  # states in which the guard may close
NOTHING_SEEN = (0, None, 0, 0, None, 0)  # the `evidence` of a warmer that is new
PENDING = 2  # blocks of an unexplained rise after which nothing starts: one may be water that still mixes (chosen)
RISES = "the water warms or stays warm with the heater off: pull the plug, let it cool half an hour"
RISING = "the water still warms with the heater off: look at it, and wait 5 minutes"
NO_GUARD = "no guard relay is fitted, so not overnight: a switch that fails closed would heat all night"
NO_WITNESS = ("nothing but one probe would see the water, so not overnight: fit a chocolate probe or a second water "
              "probe, or learn this warmer (bain tune)")
UNDRILLED = "its cut-offs are not proved, so not overnight: bain drill does; bain hold --undrilled overrides"
NEAR_LIMIT_K = 0.8  # (chosen: what a look may add, and a probe's noise)
BOWL_OVER_K = 0.6  # no heat while the chocolate reads so far over its window (chosen: its probe's error)
UNDER_HARD_LIMIT_K = 2.0  # no bath is meant to be warmer than that: room for the element's overshoot (chosen)


class Warmer:
    """The states of a hold, around the self-test, the programme, the control and the supervisor.

    A tick is `step`; its results are `duty`, `guard`, and `events`, a list of (name, pairs) that the caller empties.
    `evidence` is what no power cut may wipe out: the caller stores it, and the warmer of the next start gets it.
    """

    def __init__(self, values: dict, latch_fault: int, evidence: tuple = NOTHING_SEEN) -> None:
        from bainboard.control.rules import safe_gains  # loaded for this, and dropped again: see heap_reserve

        self.values = values
        self.state = TRIP if latch_fault else IDLE
        # Self-tests that gave pulses and did not pass, since one did; no start forgets them.
        self.broken_off, believed_c, suspicions, unasked, alone_c, quarters = evidence
        self._unended = believed_c is not None or alone_c is not None  # the last hold: no person ended it
        self.supervisor = Supervisor(values, latch_fault, believed_c, suspicions, unasked, alone_c, quarters)
        self.cascade = Cascade(safe_gains(values), values["bowl_offset_c"])
        self.programme: Programme | None = None
        self.experiment: Experiment | None = None  # type: ignore[name-defined]  # noqa: F821 - see `start`
        self.selftest: SelfTest | None = None
        self.inputs = Inputs()
        self.events: list = []
        self.duty = 0.0
        self.guard = 0
        self.room_c = values["room_c"]
        self.started_ms = 0
        self.fault = self.supervisor.fault
        self.warn = 0
        self.bowl_fitted = values["probe.bowl.kind"] != "none"
        self.second_fitted = values["probe.water2.kind"] != "none"
        self.proved = False
        self.bowl_away = False
        self.bowl_c: float | None = None  # the bowl's reading, if it is the bowl's
        self._person_ms = 0

    # -- what a person or the host asks ---------------------------------------------------------------------------

    def start(self, profile: dict, stage: str, for_ms: int, room_c: float, now_ms: int) -> str | None:
        """Begin a hold with its self-test: None, or why not."""
        if self.state != IDLE:
            return "the warmer is in state " + self.state + "; a hold starts from idle"
        if self.inputs.water_code:
            return "the water probe gives no valid reading: " + sensing.text(self.inputs.water_code)
        why = self.no_heat or self._no_night(stage)
        if why:
            return why
        most_c = self.values["hard_limit_c"] - UNDER_HARD_LIMIT_K
        p = Programme(profile, stage, now_ms, for_ms, most_c)
        experiment = None
        if stage == "tune":
            from bainboard.experiment import Experiment  # here: an evening that does not tune has no memory for it

            working_c = p.target_c + self.values["bowl_offset_c"]
            top_c = self.cascade.water_ceiling(p.ceiling_c)
            experiment = Experiment(self.cascade.gains, self.values["heater_lag_s"], working_c, top_c, room_c)
        # Made before any is taken: a start that finds no memory changes nothing.
        self.selftest = SelfTest(self.values, now_ms, faults.NONE, self.broken_off)
        self.programme, self.experiment = p, experiment
        self.proved = False  # by the self-test of this hold
        self.supervisor.begin(now_ms)
        self.cascade.reset(self.inputs.water_c, self.inputs.bowl_c)
        self.room_c = room_c
        self.bowl_away = False
        self.started_ms = self._person_ms = now_ms
        self._unended = True
        self.state = CHECK
        self.report("started", [("stage", stage), ("check_s", self.selftest.left_s(now_ms))])
        return None

    @property
    def no_heat(self) -> str | None:
        """Why neither a start nor a self-test is taken: heat that nobody asked for is seen, or may be. Or None."""
        rest = self.supervisor.rest
        return RISES if rest.unasked else RISING if rest.seen >= PENDING else None

    def _no_night(self, stage: str) -> str | None:
        """Why this stage may not run unattended on this warmer, or None. Presses and messages alike ask it."""
        v = self.values
        if stage != "melted":
            return None
        if not v["guard"]:
            return NO_GUARD
        if not (self.bowl_fitted or self.second_fitted or v["gains.loss_w_per_k"] > 0.0):
            return NO_WITNESS
        return UNDRILLED if v["drill"] == "open" else None

    def stop(self) -> None:
        """End the hold, whatever it is doing; a latch stays."""
        if self.state in (CHECK, HOLD, PAUSE):
            self._rest("stopped")

    def pause(self, now_ms: int) -> str | None:
        """Hands go into the water: off and guard open until resumed. A self-test under way begins again after it."""
        if self.state not in HEATING:
            return "nothing to pause in state " + self.state
        self._person_ms = now_ms
        self._break_off()
        self.state = PAUSE
        self.duty, self.guard = 0.0, 0
        self.report("paused", [])
        return None

    def _break_off(self) -> None:
        """A self-test under way ends without a verdict; what it suspected is remembered."""
        if self.state != CHECK:
            return
        if self.selftest.pulsed:
            self.broken_off += 1
        if self.selftest.suspects:
            self.supervisor.suspicions += 1

    def resume(self, now_ms: int) -> str | None:
        """Hands are out of the water again: switch and guard are proved before there is heat."""
        if self.state != PAUSE:
            return "not paused but in state " + self.state
        if self.no_heat:
            return self.no_heat
        self._person_ms = now_ms
        self.selftest = SelfTest(self.values, now_ms, RESUME if self.proved else faults.NONE, self.broken_off)
        self.state = CHECK
        self.report("resumed", [])
        return None

    def act(self, name: str, now_ms: int, **details) -> str | None:
        """An act of the person, one of `programme.ACTS`: None, or why not."""
        if self.state not in (CHECK, HOLD, PAUSE):
            return "no hold is running"
        why = self._no_night("melted" if name == "thicker" and self.programme.no_keeps else name)
        if why:
            return why
        ok, why = self.programme.act(name, now_ms, **details)
        if not ok:
            return why
        self._person_ms = now_ms
        self.bowl_away = self.programme.bowl_away
        return None

    def change(self, profile: dict, now_ms: int) -> str | None:
        """Another bowl comes, of another chocolate: None, or why not."""
        if self.state not in (HOLD, PAUSE) or self.experiment is not None:
            return "no hold is running"
        if profile["kind"] == "melted":
            return "melted stock is no bowl to dip from; finish keeps it"
        self._person_ms = now_ms
        self.programme.change(profile, now_ms)
        self.report("changed", [("name", profile["name"])])
        return None

    def clear(self, now_ms: int) -> str | None:
        """The recessed button was held: end the hold, or clear the latch if its cause is gone. None, or why not."""
        if self.state in (CHECK, HOLD, PAUSE):
            self._rest("stopped")
            return None
        self.inputs.rebooting = False
        why = self.supervisor.clear(now_ms)
        if why is None:
            self.state = IDLE
            self.report("cleared", [])
        return why

    def set_gains(self, values: dict) -> None:
        """Take the gains of these settings, without a bump."""
        from bainboard.control.rules import safe_gains

        gains = safe_gains(values)  # before anything is taken: there may be no memory for it
        self.values = values
        self.cascade.set_gains(gains)

    # -- a tick -----------------------------------------------------------------------------------------------------

    def step(self, now_ms: int, dt_ms: int, water_c: float | None, water_code: int, bowl_c: float | None,
             given_j: float, second_c: float | None = None) -> None:
        """One tick: readings (°C or None), heat given since the last (J)."""
        i, s = self.inputs, self.supervisor
        i.state, i.water_c, i.water_code, i.bowl_c, i.given_j = self.state, water_c, water_code, bowl_c, given_j
        i.second_c, i.second_fitted = second_c, self.second_fitted
        i.bowl_fitted, i.bowl_away, i.last_person_ms = self.bowl_fitted, self.bowl_away, self._person_ms
        i.duty_zero = not (self.duty > 0.0 or given_j > 0.0)
        i.guard_open = not self.guard
        i.room_c = self.room_c
        self._take_programme(i, now_ms)
        s.step(now_ms, dt_ms, i)
        self.bowl_c = None if s.bowl_out.out else bowl_c
        self._take_verdict()
        if s.retest != faults.NONE and self.state == HOLD and not self.no_heat:
            self.selftest = SelfTest(self.values, now_ms, s.retest)
            self.state = CHECK
        self.duty, self.guard = 0.0, 0
        asked = 0.0
        if self.state == CHECK:
            self._check(now_ms)
            self.duty = s.limit_pulse(self.duty)
        elif self.state == HOLD:
            self._hold(now_ms, dt_ms)
            asked, shaped = self.duty, s.account.look.shape(self.duty)
            self.duty = s.limit(shaped)
            if self.duty < shaped:  # withheld; else the control hears that it got what it asked, or a look would
                asked = min(asked, self.duty)  # drag its integral about
        self.cascade.applied(asked)
        if not s.guard_ok:
            self.guard = 0

    def _take_programme(self, i: Inputs, now_ms: int) -> None:
        """The stage's limits, and a refill that chills the bowl. The water's limit comes down, and the supervisor waits
        for it, once a bowl is warm.
        """
        p = self.programme
        i.chilled = p is not None and p.refill.chills(now_ms)
        if p is None:
            i.stage_limit_c, i.bowl_limit_c, i.never_c = self.values["hard_limit_c"], HOTTEST_C, HOTTEST_C
            return
        i.stage_limit_c = p.limit_c + self.cascade.over_k if p.walled else p.limit_c
        i.bowl_limit_c, i.never_c = p.high_c + BOWL_OVER_K, p.never_c

    def _take_verdict(self) -> None:
        """Turn the supervisor's verdict into state and events, on its edges only."""
        s = self.supervisor
        self.warn = s.warn
        if s.fresh:
            for number in range(1, faults.COUNT):
                if s.fresh >> number & 1:
                    self.report("warn", [("fault", number)])
        if s.fault != self.fault:
            self.fault = s.fault
            if s.fault != faults.NONE:
                self.report("trip", [("fault", s.fault), ("latched", s.fault == s.cause)])
        if s.latched:
            self.state = TRIP

    def _check(self, now_ms: int) -> None:
        """The self-test drives switch and guard by its own bounded pulses."""
        if self.inputs.water_c is None:
            return  # the supervisor decides whether this is a glitch or a dead probe
        test, s = self.selftest, self.supervisor
        switch, self.guard = test.step(now_ms, self.inputs.water_c, self.inputs.bowl_c)
        self.duty = float(switch)
        if not test.done:
            return
        self.duty = 0.0
        passed = test.fault == faults.NONE
        if passed:
            self.broken_off = 0
        elif test.pulsed:
            self.broken_off += 1
        if self.proved:
            self.state = HOLD
            if test.doubt != RESUME:
                self.report("retested", [("fault", test.doubt), ("passed", passed)])
            elif passed:
                self.report("checked", [("masked", test.masked)])
            s.tested(test.fault, test.doubt)
            self._take_verdict()
        elif not passed:
            s.refuse_start(test.fault)
            self._take_verdict()
            self._rest("no start")
        else:
            self.state, self.proved = HOLD, True
            self.cascade.reset(self.inputs.water_c, self.inputs.bowl_c)
            s.tested(test.fault, test.doubt)
            skipped = [("skipped", test.skipped)] if test.skipped else []
            self.report("checked", [("masked", test.masked)] + skipped)

    def _hold(self, now_ms: int, dt_ms: int) -> None:
        """Programme, then control."""
        i, p = self.inputs, self.programme
        bowl_c = None if self.bowl_away else self.bowl_c
        p.duty_zero, p.table_c = i.duty_zero, self.bowl_c
        p.step(now_ms, i.water_c, self.cascade.bowl_est_c if bowl_c is None else bowl_c)
        for name, pairs in p.take_events():
            self.report(name, pairs)
            if p.bath_only and name in ("stage", "bath_ready"):  # what was learnt was of a far warmer bath
                self.cascade.reset(p.target_c + self.cascade.bowl_offset_c, None)
        if p.done:
            self._rest("finished" if p.finished else "done")
            return
        if not p.heats:
            return
        self.guard = 1
        away = self.bowl_away or p.bath_only
        if i.water_c is not None and self.experiment is not None:
            self.duty = self.experiment.step(i.water_c)
        elif i.water_c is not None:
            # The control does not see what a look does to the water, except near the limit.
            spare_k = self.cascade.over_k - self.cascade.drop_k if p.walled else 0.0
            near = not i.water_c < i.stage_limit_c - spare_k - NEAR_LIMIT_K
            water_c = i.water_c if near else i.water_c - self.supervisor.account.look.echo_k
            self.duty = self.cascade.step(
                water_c, bowl_c, p.aim_c, p.ceiling_c, self.room_c, dt_ms / 1000, away, p.walled)

    def _rest(self, why: str) -> None:
        if why != "no start":
            self._break_off()
            self._unended = False
        self.state = IDLE
        self.duty, self.guard = 0.0, 0
        self.programme = self.selftest = None
        self.report("ended", [("why", why)])

    @property
    def evidence(self) -> tuple:
        """What is to outlive a power cut, as `NOTHING_SEEN` has it.

        Self-tests that did not pass, with one under way; how warm a hold under way believes its water to be, or None;
        how many of those tests suspected switch or guard; blocks of a rise that nobody asked for; how warm its water
        may be since the bowl left it, or None; quarter hours of melts in a hold under way.
        """
        s = self.supervisor
        broken_off = self.broken_off + 1 if self.state == CHECK else self.broken_off
        believed_c, alone_c, quarters = None, None, 0
        if self._unended:
            believed_c, alone_c, quarters = s.believed.stored_c, s.alone.stored_c, s.believed.quarters
        return broken_off, believed_c, s.suspicions, s.rest.seen, alone_c, quarters

    @property
    def latch(self) -> int:
        """The fault that is latched: the first, or one of a worse hazard that came after it; or none."""
        return self.supervisor.cause

    @property
    def sure(self) -> bool:
        """With the heat off for a fault: is it known that the water does not rise?"""
        return not self.warn >> faults.UNASKED_HEAT & 1

    def was_off(self, off_s: int) -> None:
        """The power is known to have been off for so long, s; given once."""
        self.supervisor.believed.cool(off_s, self.inputs.water_c, self.room_c)

    @property
    def stage_under_way(self) -> str | None:
        """The stage of a hold that would be missed if the power failed, or None."""
        running = self.state in (CHECK, HOLD, PAUSE) and self.experiment is None
        return self.programme.stage if running else None

    @property
    def shown_state(self) -> str:
        """The state as a person sees it: a hold whose heat is held back says off."""
        heats = self.supervisor.heat_ok and (self.programme is None or self.programme.heats)
        return "off" if self.state == HOLD and not heats else self.state

    def report(self, name: str, pairs: list) -> None:
        """Queue an event for the log and the host."""
        self.events.append((name, pairs))
