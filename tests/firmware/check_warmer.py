"""One warmer through its states: what pauses and stops may not make it forget."""

from fake_bath import POT, Bath, values_of

from bainboard import faults, settings
from bainboard.selftest import MOST_BROKEN_OFF, WAIT_MS
from bainboard.warmer import CHECK, HOLD, IDLE, NOTHING_SEEN, PAUSE, Warmer

PROFILE, _ = settings.check_profile({})


class Kitchen:
    """A warmer on a small bath, a second at a time."""

    def __init__(self, bath, values):
        self.bath, self.now_ms, self.values = bath, 0, values
        self.warmer = Warmer(values, 0)
        self.run(3)

    def cut(self):
        """The power fails and comes back."""
        self.warmer = Warmer(self.values, 0, self.warmer.evidence)
        self.run(3)

    def run(self, seconds, until=lambda warmer: False):
        """Play; True once `until` holds."""
        warmer, bath = self.warmer, self.bath
        for _ in range(seconds):
            if until(warmer):
                return True
            given_j = warmer.duty * bath.heater_w
            bath.step(warmer.duty, warmer.guard)
            self.now_ms += 1000
            warmer.step(self.now_ms, 1000, bath.reading_c(), 0, bath.bowl_c, given_j)
        return until(warmer)

    def start(self):
        return self.warmer.start(PROFILE, "work", 0, 20.0, self.now_ms)


def pulsed(warmer):
    return warmer.state == CHECK and warmer.selftest.pulsed


def test_the_supervisor_knows_what_the_chocolate_of_a_melt_must_never_meet():
    for kind, never_c in (("dark", 55.0), ("milk", 50.0)):
        profile, why = settings.check_profile({"kind": kind, "never_above_c": never_c, "melt_c": 45.0})
        assert why is None
        kitchen = Kitchen(Bath(POT, 30.0, 31.0), values_of(POT))
        assert kitchen.warmer.start(profile, "melt", 0, 20.0, kitchen.now_ms) is None
        kitchen.run(1)
        assert kitchen.warmer.inputs.never_c == never_c
        kitchen.warmer.programme._go("melted")  # far under it: an open pan needs its looks to be long
        kitchen.run(1)
        assert kitchen.warmer.inputs.never_c >= 120.0  # no reading is as warm
        kitchen.warmer.stop()
        kitchen.run(1)
        assert kitchen.warmer.inputs.never_c >= 120.0  # no reading is as warm


def test_a_self_test_broken_off_again_and_again_waits_before_its_next_pulse():
    # Broken off right behind its first pulse, six times: three tests at once, then one in twenty minutes.
    kitchen = Kitchen(Bath(POT, 30.0, 31.0), values_of(POT))
    assert kitchen.start() is None
    at_ms = []
    for _ in range(6):
        assert kitchen.run(3000, pulsed)
        at_ms.append(kitchen.now_ms)
        assert kitchen.warmer.pause(kitchen.now_ms) is None
        assert kitchen.run(1) is False
        assert kitchen.warmer.state == PAUSE
        assert kitchen.warmer.resume(kitchen.now_ms) is None
    gaps_ms = [at_ms[n + 1] - at_ms[n] for n in range(5)]
    assert max(gaps_ms[: MOST_BROKEN_OFF - 1]) < WAIT_MS / 4
    assert min(gaps_ms[MOST_BROKEN_OFF - 1 :]) >= WAIT_MS


def test_neither_a_stop_nor_a_start_forgets_tests_that_were_broken_off_and_a_pass_does():
    kitchen = Kitchen(Bath(POT, 30.0, 31.0), values_of(POT))
    for n in range(MOST_BROKEN_OFF):
        assert kitchen.start() is None
        assert kitchen.run(400, pulsed)
        kitchen.warmer.stop()
        assert kitchen.warmer.state == IDLE
        assert kitchen.warmer.broken_off == n + 1
        kitchen.run(1)
    assert kitchen.start() is None
    assert kitchen.warmer.selftest.left_s(kitchen.now_ms) > WAIT_MS // 1000
    assert not kitchen.run(WAIT_MS // 1000, lambda warmer: warmer.guard or warmer.duty > 0.0)
    assert kitchen.run(600, lambda warmer: warmer.state == HOLD)
    assert kitchen.warmer.broken_off == 0


def test_a_test_paused_before_its_first_pulse_is_not_counted():
    kitchen = Kitchen(Bath(POT, 30.0, 31.0), values_of(POT))
    assert kitchen.start() is None
    for _ in range(5):
        kitchen.run(10)
        kitchen.warmer.pause(kitchen.now_ms)
        kitchen.warmer.resume(kitchen.now_ms)
    assert kitchen.warmer.broken_off == 0


def test_a_self_test_that_the_power_cut_short_is_counted_and_so_are_those_before_it():
    kitchen = Kitchen(Bath(POT, 30.0, 31.0), values_of(POT))
    for n in range(MOST_BROKEN_OFF):
        assert kitchen.start() is None
        assert kitchen.run(400, pulsed)
        kitchen.cut()
        assert kitchen.warmer.evidence[:2] == (n + 1, None)
    assert kitchen.start() is None
    assert not kitchen.run(WAIT_MS // 1000, lambda warmer: warmer.guard or warmer.duty > 0.0)
    assert kitchen.run(600, lambda warmer: warmer.state == HOLD)
    assert kitchen.warmer.evidence == NOTHING_SEEN


def test_no_power_cut_forgets_how_warm_the_water_may_be_and_an_end_of_the_hold_does():
    # A probe that reads a degree less after each cut, as one that drifts does.
    values = values_of(POT, **{"gains.loss_w_per_k": 2.0})
    kitchen = Kitchen(Bath(POT, 30.0, 30.0), values)
    assert kitchen.start() is None
    assert kitchen.run(900, lambda warmer: warmer.state == HOLD)
    kitchen.run(300)
    for _ in range(3):
        before_c = kitchen.warmer.supervisor.believed.water_c
        kitchen.bath.water_c -= 1.0
        kitchen.cut()
        assert before_c - 0.1 < kitchen.warmer.supervisor.believed.water_c < before_c + 3.0
    assert kitchen.start() is None
    kitchen.warmer.stop()
    assert kitchen.warmer.evidence == NOTHING_SEEN


def test_no_power_cut_forgets_that_the_bowl_is_out_and_what_heat_has_come_since():
    kitchen = Kitchen(Bath(POT, 30.0, 31.5), values_of(POT, **{"probe.bowl.kind": "onewire"}))
    assert kitchen.start() is None
    assert kitchen.run(1500, lambda warmer: warmer.state == HOLD)
    kitchen.bath.bowl_in = False
    assert kitchen.warmer.act("bowl_off", kitchen.now_ms) is None
    assert kitchen.run(3600, lambda warmer: warmer.supervisor.alone.stored_c is not None)
    stored_c = kitchen.warmer.supervisor.alone.stored_c
    for cuts in range(1, 4):
        kitchen.cut()
        assert kitchen.warmer.supervisor.lifted.away
        assert stored_c <= kitchen.warmer.supervisor.alone.stored_c <= stored_c + cuts  # rounded up each time
    assert kitchen.start() is None
    kitchen.warmer.stop()
    assert kitchen.warmer.evidence == NOTHING_SEEN


def test_a_fall_that_an_announced_refill_makes_is_no_probe_out_of_its_bowl():
    """0.45 kg at 20 °C in 1 kg at 31.5 °C: 27.9 °C by the mixture of equal heats; what melts in it takes 2 K more."""
    for announced in (True, False):
        kitchen = Kitchen(Bath(POT, 33.0, 31.5), values_of(POT, **{"probe.bowl.kind": "onewire"}))
        assert kitchen.start() is None
        assert kitchen.run(1500, until=lambda warmer: warmer.state == HOLD)
        kitchen.run(60)
        if announced:
            assert kitchen.warmer.act("announce", kitchen.now_ms) is None
        kitchen.run(240)
        for _ in range(30):
            kitchen.bath.bowl_c -= 0.2
            kitchen.run(1)
        kitchen.run(300)
        said = [dict(pairs)["fault"] for name, pairs in kitchen.warmer.events if name == "warn"]
        assert said == ([] if announced else [faults.BOWL_OUT])
        assert (kitchen.warmer.bowl_c is None) != announced
