"""One warmer: what it is doing, and what this second's readings make it do. Pure: readings in, duty and guard out."""

from bainboard import faults, sensing
from bainboard.control.cascade import Cascade
from bainboard.control.rules import safe_gains
from bainboard.programme import Programme
from bainboard.selftest import SelfTest
from bainboard.supervisor import Inputs, Supervisor

IDLE, CHECK, HOLD, PAUSE, TRIP = "idle", "check", "hold", "pause", "trip"
HEATING = (CHECK, HOLD)  # states in which the guard may close
UNDRILLED = "its cut-offs are not proved, so not overnight: bain drill does; bain hold --undrilled overrides"
UNDER_HARD_LIMIT_K = 2.0  # no bath is meant to be warmer than that: room for the element's overshoot (chosen)


class Warmer:
    """The states of a hold, around the self-test, the programme, the control and the supervisor.

    A tick is `step`; its results are `duty`, `guard`, and `events`, a list of (name, pairs) that the caller empties.
    """

    def __init__(self, values, latch_fault):
        self.values = values
        self.state = TRIP if latch_fault else IDLE
        self.supervisor = Supervisor(values, latch_fault)
        self.cascade = Cascade(safe_gains(values), values["bowl_offset_c"])
        self.programme = None
        self.experiment = None
        self.selftest = None
        self.inputs = Inputs()
        self.events = []
        self.duty = 0.0
        self.guard = 0
        self.room_c = values["room_c"]
        self.started_ms = 0
        self.fault = self.supervisor.fault
        self.warn = 0
        self.bowl_fitted = values["probe.bowl.kind"] != "none"
        self.bowl_away = False
        self.bowl_c = None  # the bowl's reading, if it is the bowl's
        self._person_ms = 0

    # -- what a person or the host asks ---------------------------------------------------------------------------

    def start(self, profile, stage, for_ms, room_c, now_ms):
        """Begin a hold with its self-test: None, or why not."""
        if self.state != IDLE:
            return "the warmer is in state " + self.state + "; a hold starts from idle"
        if self.inputs.water_code:
            return "the water probe gives no valid reading: " + sensing.text(self.inputs.water_code)
        if self._undrilled(stage):
            return UNDRILLED
        most_c = self.values["hard_limit_c"] - UNDER_HARD_LIMIT_K
        self.programme = p = Programme(profile, stage, now_ms, for_ms, most_c)
        self.experiment = None
        if stage == "tune":
            from bainboard.experiment import Experiment  # here: an evening that does not tune has no memory for it

            working_c = p.target_c + self.values["bowl_offset_c"]
            top_c = self.cascade.water_ceiling(p.ceiling_c)
            self.experiment = Experiment(self.cascade.gains, self.values["heater_lag_s"], working_c, top_c, room_c)
        self.selftest = SelfTest(self.values, now_ms)
        self.supervisor.begin(now_ms)
        self.cascade.reset(self.inputs.water_c, self.inputs.bowl_c)
        self.room_c = room_c
        self.bowl_away = False
        self.started_ms = self._person_ms = now_ms
        self.state = CHECK
        self.tell("started", [("stage", stage), ("check_s", self.selftest.left_s(now_ms))])
        return None

    def _undrilled(self, stage):
        """Would this be a night on a warmer whose cut-offs nobody proved? Asked of presses and messages alike."""
        return stage == "melted" and self.values["drill"] == "open"

    def stop(self):
        """End the hold, whatever it is doing; a latch stays."""
        if self.state in (CHECK, HOLD, PAUSE):
            self._rest("stopped")

    def pause(self, now_ms):
        """Hands go into the water: off and guard open until resumed."""
        if self.state != HOLD:
            return "nothing to pause in state " + self.state
        self._person_ms = now_ms
        self.state = PAUSE
        self.tell("paused", [])
        return None

    def resume(self, now_ms):
        """Hands are out of the water again."""
        if self.state != PAUSE:
            return "not paused but in state " + self.state
        self._person_ms = now_ms
        self.state = HOLD
        self.supervisor.begin(now_ms)
        self.tell("resumed", [])
        return None

    def act(self, name, now_ms, **details):
        """An act of the person, one of `programme.ACTS`: None, or why not."""
        if self.state not in (CHECK, HOLD, PAUSE):
            return "no hold is running"
        if self._undrilled("melted" if name == "thicker" and self.programme.no_keeps else name):
            return UNDRILLED
        ok, why = self.programme.act(name, now_ms, **details)
        if not ok:
            return why
        self._person_ms = now_ms
        self.bowl_away = self.programme.bowl_away
        return None

    def change(self, profile, now_ms):
        """Another bowl comes, of another chocolate: None, or why not."""
        if self.state not in (HOLD, PAUSE) or self.experiment is not None:
            return "no hold is running"
        if profile["kind"] == "melted":
            return "melted stock is no bowl to dip from; finish keeps it"
        self._person_ms = now_ms
        self.programme.change(profile, now_ms)
        self.tell("changed", [("name", profile["name"])])
        return None

    def clear(self, now_ms):
        """The recessed button was held: end the hold, or clear the latch if its cause is gone. None, or why not."""
        if self.state in (CHECK, HOLD, PAUSE):
            self._rest("stopped")
            return None
        self.inputs.rebooting = False
        why = self.supervisor.clear(now_ms)
        if why is None:
            self.state = IDLE
            self.tell("cleared", [])
        return why

    def set_gains(self, values):
        """Take the gains of these settings, without a bump."""
        self.values = values
        self.cascade.set_gains(safe_gains(values))

    # -- a tick -----------------------------------------------------------------------------------------------------

    def step(self, now_ms, dt_ms, water_c, water_code, bowl_c, given_j):
        """One tick: readings (°C or None), heat given since the last (J)."""
        i = self.inputs
        i.state, i.water_c, i.water_code, i.bowl_c, i.given_j = self.state, water_c, water_code, bowl_c, given_j
        i.bowl_fitted, i.bowl_away, i.last_person_ms = self.bowl_fitted, self.bowl_away, self._person_ms
        i.duty_zero = not self.duty > 0.0
        i.room_c = self.room_c
        i.stage_limit_c = self._stage_limit_c()
        self.supervisor.step(now_ms, dt_ms, i)
        self.bowl_c = None if self.supervisor.bowl_out.out else bowl_c
        self._report()
        if self.supervisor.retest != faults.NONE and self.state == HOLD:
            self.selftest = SelfTest(self.values, now_ms, self.supervisor.retest)
            self.state = CHECK
        self.duty, self.guard = 0.0, 0
        if self.state == CHECK:
            self._check(now_ms)
        elif self.state == HOLD:
            self._hold(now_ms, dt_ms)
        self.duty = self.supervisor.limit(self.duty)
        self.cascade.applied(self.duty)
        if not self.supervisor.guard_ok:
            self.guard = 0

    def _stage_limit_c(self):
        """The water's limit in this stage; it comes down, and the supervisor waits for it, once a bowl is warm."""
        p = self.programme
        if p is None:
            return self.values["hard_limit_c"]
        return p.limit_c + self.cascade.over_k if p.walled else p.limit_c

    def _report(self):
        """Turn the supervisor's verdict into state and events, on its edges only."""
        s = self.supervisor
        self.warn = s.warn
        if s.fresh:
            for number in range(1, len(faults.FAULTS)):
                if s.fresh >> number & 1:
                    self.tell("warn", [("fault", number)])
        if s.fault != self.fault:
            self.fault = s.fault
            if s.fault != faults.NONE:
                self.tell("trip", [("fault", s.fault), ("latched", s.latched)])
        if s.latched:
            self.state = TRIP

    def _check(self, now_ms):
        """The self-test drives switch and guard by its own bounded pulses."""
        if self.inputs.water_c is None:
            return  # the supervisor decides whether this is a glitch or a dead probe
        test, s = self.selftest, self.supervisor
        switch, self.guard = test.step(now_ms, self.inputs.water_c, self.inputs.bowl_c)
        self.duty = float(switch)
        if not test.done:
            return
        self.duty = 0.0
        if s.retest != faults.NONE:
            self.state = HOLD
            self.tell("retested", [("fault", s.retest), ("passed", test.fault == faults.NONE)])
            s.tested(test.fault, now_ms)  # where it failed, the next pass latches
        elif test.fault != faults.NONE:
            s.refuse_start(test.fault)
            self._report()
            self._rest("no start")
        else:
            self.state = HOLD
            self.cascade.reset(self.inputs.water_c, self.inputs.bowl_c)
            s.tested(test.fault, now_ms)
            skipped = [("skipped", test.skipped)] if test.skipped else []
            self.tell("checked", [("masked", test.masked)] + skipped)

    def _hold(self, now_ms, dt_ms):
        """Programme, then control."""
        i, p = self.inputs, self.programme
        bowl_c = None if self.bowl_away else self.bowl_c
        p.duty_zero = i.duty_zero
        p.step(now_ms, i.water_c, self.cascade.bowl_est_c if bowl_c is None else bowl_c)
        for name in p.take_events():
            self.tell(name, p.details(name))
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
            self.duty = self.cascade.step(
                i.water_c, bowl_c, p.aim_c, p.ceiling_c, self.room_c, dt_ms / 1000, away, p.walled)

    def _rest(self, why):
        self.state = IDLE
        self.duty, self.guard = 0.0, 0
        self.programme = self.selftest = None
        self.tell("ended", [("why", why)])

    @property
    def stage_under_way(self):
        """The stage of a hold that would be missed if the power failed, or None."""
        running = self.state in (CHECK, HOLD, PAUSE) and self.experiment is None
        return self.programme.stage if running else None

    @property
    def shown_state(self):
        """The state as a person is told it: a hold whose heat is held back says off."""
        heats = self.supervisor.heat_ok and (self.programme is None or self.programme.heats)
        return "off" if self.state == HOLD and not heats else self.state

    def tell(self, name, pairs):
        """Queue an event for the log and the host."""
        self.events.append((name, pairs))
