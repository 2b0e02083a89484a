"""A small bath for the checks: heater, water, bowl and probe as lumps, with the faults a heater or probe can have.

Two lumps and two lags, Newton's losses: enough to tell a rise from a fall. The values are chosen, round figures of the
three reference warmers; no claim about any real one.
"""

import sys

from bainboard import settings
from bainboard.selftest import SelfTest
from bainboard.supervisor import Inputs, Supervisor

# heater W, heater lag s, water L, bowl kg, chocolate kg, loss W/K, bath to bowl W/K, probe lag s
POT = (150.0, 30.0, 2.0, 0.6, 2.2, 2.0, 9.0, 12.0)
MAT = (60.0, 40.0, 1.5, 0.4, 1.2, 1.6, 7.0, 12.0)
PLATE = (400.0, 90.0, 1.4, 0.7, 2.0, 3.0, 4.0, 12.0)
RIGS = (("pot", POT), ("mat", MAT), ("plate", PLATE))
if sys.implementation.name == "micropython":  # it proves the language; the figures of all three come from CPython
    RIGS = RIGS[:1]


def values_of(rig, **more):
    """Settings of a rig, checked, with changes named as in the table but with _ for the dots."""
    heater_w, lag_s, water_l, bowl_kg, chocolate_kg = rig[:5]
    doc = {"heater_w": heater_w, "heater_lag_s": lag_s, "water_l": water_l,
           "bowl_kg": bowl_kg, "chocolate_kg": chocolate_kg}
    doc.update(more)
    values, why = settings.check(settings.SETTINGS, doc)
    assert why is None, why
    return values


class Noise:
    """Uniform noise from a small generator: the same on every interpreter."""

    def __init__(self, seed):
        self._state = seed

    def next(self):
        """From 0 up to 1."""
        self._state = (self._state * 75 + 74) % 65537  # a full-period generator of 16 bits, small integers only
        return self._state / 65537


class Bath:
    """Water, bowl and probe; `step` is a second."""

    def __init__(self, rig, water_c=20.0, bowl_c=20.0, room_c=20.0, fill=1.0, mains=1.0, seed=1):
        self.heater_w, self.lag_s, water_l, bowl_kg, chocolate_kg, self.loss, self.coupling, self.probe_lag_s = rig
        self.water_j = 4180.0 * water_l
        self.bowl_j = 500.0 * bowl_kg + 1600.0 * chocolate_kg * fill
        self.water_c, self.bowl_c, self.room_c = water_c, bowl_c, room_c
        self.probe_c = water_c
        self.mains = mains
        self.heat_w = 0.0
        self.bowl_in = True
        self.stuck_c = None
        self.shorted = self.welded = self.open = False
        self.outside_w = 0.0
        self._noise = Noise(seed)

    def step(self, duty, guard):
        """One second."""
        on = 1.0 if self.shorted else duty
        if self.open or not (guard or self.welded):
            on = 0.0
        for _ in range(4):
            self.heat_w += (on * self.heater_w * self.mains - self.heat_w) * 0.25 / self.lag_s
            to_bowl_w = self.coupling * (self.water_c - self.bowl_c) if self.bowl_in else 0.0
            lost_w = self.loss * (self.water_c - self.room_c)
            self.water_c += (self.heat_w + self.outside_w - lost_w - to_bowl_w) * 0.25 / self.water_j
            self.bowl_c += to_bowl_w * 0.25 / self.bowl_j
            self.probe_c += (self.water_c - self.probe_c) * 0.25 / self.probe_lag_s

    def reading_c(self):
        """What the water probe says: lagging, noisy, in steps of 1/16 K; or stuck."""
        if self.stuck_c is not None:
            return self.stuck_c
        return int((self.probe_c + 0.1 * (self._noise.next() - 0.5)) * 16 + 0.5) / 16

    def pour(self, share, at_c):
        """Swap in a share of the water at another temperature."""
        self.water_c += share * (at_c - self.water_c)


class Kitchen:
    """A bath held by a plain controller under the real supervisor."""

    def __init__(self, bath, values, target_c=33.0, limit_c=35.0, bowl_probe=True):
        self.bath, self.values = bath, values
        self.target_c = target_c
        self.supervisor = Supervisor(values, 0)
        self.inputs = i = Inputs()
        i.state, i.stage_limit_c, i.bowl_fitted, i.room_c = "hold", limit_c, bowl_probe, bath.room_c
        self.now_ms = 0
        self.duty = self.total = 0.0
        self.guard = 1
        self.faults = []  # every fault that came into force, in order
        self.warned = 0
        self.at_ms = {}  # fault or "guard" -> when first seen
        self.peak_c = bath.water_c
        self.i_duty = 0.0
        self.test = None
        self.retests = []  # (fault doubted, verdict)
        self.supervisor.begin(0)
        self.reading = self.bath.reading_c  # a check may put a faulty probe here
        self.proven = False

    def tick(self):
        """One second of bath, reading, supervision and control."""
        self.now_ms += 1000
        self.bath.step(self.duty, self.guard)
        i, s = self.inputs, self.supervisor
        i.water_c = self.reading()
        i.bowl_c = self.bath.bowl_c if i.bowl_fitted and not i.bowl_away else None
        i.given_j = self.duty * self.guard * self.values["heater_w"]
        i.duty_zero, i.guard_open = not self.duty > 0.0, not self.guard
        s.step(self.now_ms, 1000, i)
        if not self.proven:  # as after the self-test of a start
            self.proven = True
            s.tested(0, 0)
        if s.fault and s.fault not in self.faults:
            self.faults.append(s.fault)
            self.at_ms[s.fault] = self.now_ms
        if not s.guard_ok and "guard" not in self.at_ms:
            self.at_ms["guard"] = self.now_ms
        self.warned |= s.warn
        self.peak_c = max(self.peak_c, self.bath.water_c)
        if self.test is None and s.retest:
            self.test, i.state = SelfTest(self.values, self.now_ms, s.retest), "check"
        if self.test is not None:
            self._retest(i, s)
        else:
            self.guard = 1 if s.guard_ok and i.state == "hold" else 0
            look = s.account.look
            asked = look.shape(self._control(i.water_c - look.echo_k))
            self.duty = s.limit(asked) if i.state == "hold" else 0.0

    def _retest(self, i, s):
        switch, guard = self.test.step(self.now_ms, i.water_c, i.bowl_c)
        self.guard, self.duty = guard if s.guard_ok else 0, s.limit_pulse(float(switch))
        if self.test.done:
            self.retests.append((s.retest, self.test.fault))
            s.tested(self.test.fault, s.retest)
            if s.latched:
                self.faults.append(s.fault)
            self.test, i.state = None, "hold"

    def _control(self, water_c):
        """Proportional and integral, slow enough for its lags (half the gain that just damps), unwound far away."""
        bath, error_k = self.bath, self.target_c - water_c
        lags_s = bath.lag_s + bath.probe_lag_s
        gain = bath.water_j / (bath.heater_w * 4 * lags_s)
        if -1.0 < error_k < 1.0:
            self.i_duty = max(0.0, min(1.0, self.i_duty + error_k * gain / (16 * lags_s)))
        return max(0.0, min(1.0, self.i_duty + error_k * gain))

    def run(self, seconds):
        """Some time; stops at a latch. Returns itself."""
        for _ in range(seconds):
            if self.supervisor.latched:
                break
            self.tick()
        return self
