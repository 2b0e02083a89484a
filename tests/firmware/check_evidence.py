"""No act takes a verdict out of force or shortens the evidence for one: every act against every kind of evidence.

Oracle: the project's own safety rules: nothing but a seen response, or a bath that cools, clears evidence.
"""

from fake_bath import POT, values_of
from fake_hold import bare

from bainboard import faults, requests_board, settings
from bainboard.plausibility import Surge
from bainboard.rest import BLOCKS, WINDOW_MS, WINDOWS
from bainboard.selftest import RESUME
from bainboard.warmer import HOLD, IDLE, PAUSE, PENDING, TRIP, Warmer

PROFILE, _ = settings.check_profile({})
STEP_S = 3  # the longest pass that is no fault
BLOCK_MS, SETTLE_MS = 102000, 210000  # of the pot: 1.2 K x 12.6 kJ/K / 150 W; 5 lag + 60 s


class Pot:
    """A warmer whose water warms or cools as told, whatever its heater does."""

    def __init__(self, water_c=30.0):
        self.values = values_of(POT)
        self.water_c, self.k_per_s, self.bowl_c = water_c, 0.0, None
        self.now_ms = 0
        self.warmer = Warmer(self.values, 0)
        self.standalone = self.service = self
        self.locked_ms = self.leave = None
        self.run(5)

    def lock_out(self, until_ms):
        self.locked_ms = until_ms

    def run(self, seconds, until=lambda warmer: False):
        """Play; True once `until` holds."""
        for _ in range((seconds + STEP_S - 1) // STEP_S):
            if until(self.warmer):
                return True
            self.now_ms += 1000 * STEP_S
            self.water_c += STEP_S * self.k_per_s
            w = self.warmer
            w.step(self.now_ms, 1000 * STEP_S, self.water_c, 0, self.bowl_c, w.duty * 150.0 * STEP_S)
        return until(self.warmer)

    def warms(self, until):
        """Heat that nobody asked for, 0.012 K/s."""
        self.k_per_s = 0.012
        return self.run(1500, until)


def again(pot):
    """The board restarts, or takes other settings."""
    pot.warmer = Warmer(pot.values, pot.warmer.latch, pot.warmer.evidence)


ACTS = (
    ("start", lambda pot: pot.warmer.start(PROFILE, "work", 0, 20.0, pot.now_ms)),
    ("tune", lambda pot: pot.warmer.start(PROFILE, "tune", 0, 20.0, pot.now_ms)),
    ("cold", lambda pot: requests_board.cold(pot, {"for_ms": 60000}, pot.now_ms)[1]),
    ("maintenance", lambda pot: requests_board.maintenance(pot, {}, pot.now_ms)[1]),
    ("resume", lambda pot: pot.warmer.resume(pot.now_ms)),
    ("confirm", lambda pot: pot.warmer.act("confirm", pot.now_ms)),
    ("pause", lambda pot: pot.warmer.pause(pot.now_ms)),
    ("stop", lambda pot: pot.warmer.stop()),
    ("recessed", lambda pot: pot.warmer.clear(pot.now_ms)),
    ("gains", lambda pot: pot.warmer.set_gains(pot.values)),
    ("restart", again),
)
REFUSED = ("start", "tune", "cold", "maintenance")


def unasked(warmer):
    return warmer.fault == faults.UNASKED_HEAT


def seen(warmer):
    return warmer.supervisor.rest.seen >= PENDING


def test_unasked_heat_stays_in_force_through_every_act_until_the_bath_has_cooled_for_half_an_hour():
    for name, act in ACTS:
        pot = Pot()
        assert pot.warms(unasked), name
        pot.k_per_s = 0.0
        pot.run(3600)  # a bath that stays warm is heated
        assert unasked(pot.warmer), name
        pot.k_per_s = -0.002
        for at in range(WINDOWS * WINDOW_MS // 60000 - 1):
            if name != "restart" or at == 0:
                why = act(pot)
                if name in REFUSED:
                    assert "pull the plug" in why, name
            pot.run(60)
            assert unasked(pot.warmer), (name, at)
            assert pot.warmer.state == IDLE, name
            assert not pot.warmer.duty
            assert not pot.warmer.guard
        # No act restarts its clock either: a window under way when the fall began, and a block to round up.
        assert pot.run((WINDOW_MS + 2 * BLOCK_MS + SETTLE_MS) // 1000, lambda warmer: not unasked(warmer)), name
        assert pot.locked_ms is None
        assert pot.leave is None


def test_weak_heat_that_nobody_asked_for_is_told_within_an_hour():
    # 0.035 K a minute: too little for the quick blocks of 0.3 K in 102 s
    pot = Pot(34.5)
    pot.bowl_c, pot.k_per_s = 33.5, 0.0006
    assert pot.run(3600, unasked)


def test_a_bath_that_heat_has_warmed_and_that_does_not_cool_stays_unasked():
    pot = Pot(30.0)
    assert pot.warms(unasked)
    for k_per_s in (0.0004, 0.0, -0.0003):  # ever slower, as it nears what this heat can do; then a gust
        pot.k_per_s = k_per_s
        pot.run(1500)
        assert unasked(pot.warmer), k_per_s
    pot.k_per_s = -0.0015
    assert pot.run(3000, lambda warmer: not unasked(warmer))


def test_a_bath_at_room_temperature_need_not_fall_to_be_calm():
    pot = Pot(24.0)
    assert pot.warms(unasked)
    pot.k_per_s = -0.05
    assert pot.run(600, lambda warmer: pot.water_c < 24.0)
    pot.k_per_s = 0.0
    assert pot.run(3000, lambda warmer: not unasked(warmer))


def test_no_act_delays_the_verdict_on_heat_that_nobody_asked_for():
    for name, act in ACTS:
        pot = Pot(36.0)
        assert pot.warms(seen), name
        for _ in range(1):
            why = act(pot)
            if name in REFUSED:
                assert "wait" in why or "pull the plug" in why, name
            if name == "restart":  # what the guard's metal holds has to settle again
                pot.run(SETTLE_MS // 1000)
            pot.run(BLOCK_MS // 1000 + STEP_S)
        assert pot.run(BLOCK_MS // 1000, unasked), name


def test_a_water_pause_with_unasked_heat_takes_no_resume_and_no_hold_its_retest():
    pot = Pot()
    pot.k_per_s = 0.0006  # what a hold's self-test takes for its own heat
    assert pot.warmer.start(PROFILE, "work", 0, 20.0, pot.now_ms) is None
    pot.warmer.state, pot.warmer.proved = HOLD, True
    assert pot.warmer.pause(pot.now_ms) is None
    assert pot.warms(unasked)
    assert "pull the plug" in pot.warmer.resume(pot.now_ms)
    assert pot.warmer.state == PAUSE
    pot.warmer.state, pot.warmer.supervisor.retest = HOLD, faults.STRONG_HEATER
    pot.run(2)
    assert pot.warmer.state == HOLD
    assert pot.warmer.supervisor.retest == faults.STRONG_HEATER
    assert unasked(pot.warmer)


def test_heat_that_flows_is_told_over_a_refused_start_and_over_a_latch_that_says_safe():
    for latch, told in ((faults.DISAGREE, True), (faults.NO_LATCH_RECORD, True), (faults.HEAT_AT_REST, False)):
        pot = Pot()
        pot.warmer = Warmer(pot.values, latch)
        pot.run(5)
        assert pot.warmer.state == TRIP
        pot.warms(lambda warmer: warmer.supervisor.rest.unasked)
        pot.run(1)
        assert unasked(pot.warmer) == told
        assert pot.warmer.latch == latch
        pot.run(2000, lambda warmer, was=latch: warmer.latch != was)
        assert pot.warmer.fault == pot.warmer.latch == (faults.OVER_HARD_LIMIT if told else latch)
    pot = Pot()
    pot.warmer.supervisor.refuse_start(faults.NO_HEAT_AT_START)
    assert pot.warms(unasked)


def test_kettles_of_warm_water_are_no_heat_that_nobody_asked_for_and_delay_no_start():
    pot = Pot(22.0)
    pot.run(400)
    for kettle in range(2):  # as a probe with a lag of 30 s shows them
        pot.k_per_s = 0.3
        for _ in range(80):
            pot.k_per_s *= 0.905
            pot.run(STEP_S)
            assert pot.warmer.no_heat is None, kettle
    pot.k_per_s = 0.0
    pot.run(600)
    assert pot.warmer.no_heat is None


def test_self_tests_that_fail_are_counted_like_those_broken_off():
    # Each gives pulses and proves nothing; the water does not move, so each ends without heat seen.
    pot = Pot()
    for at in range(3):
        assert pot.warmer.start(PROFILE, "work", 0, 20.0, pot.now_ms) is None
        assert pot.run(1500, lambda warmer: warmer.state == IDLE), at
        assert pot.warmer.broken_off == at + 1
    assert pot.warmer.start(PROFILE, "work", 0, 20.0, pot.now_ms) is None
    assert not pot.run(1199, lambda warmer: warmer.guard or warmer.duty > 0.0)


# -- in the supervisor: each kind of evidence against each act ---------------------------------------------------------

def rises(s):
    s.rest._rising, s.rest._over = 2, True


EVIDENCE = (
    ("unseen looks", lambda s: setattr(s.account, "unseen", 2), lambda s: s.account.unseen),
    ("unproved heat", lambda s: setattr(s.account, "unproved_j", 9000.0), lambda s: s.account.unproved_j),
    ("suspicions", lambda s: setattr(s, "suspicions", 1), lambda s: s.suspicions),
    ("a doubt", lambda s: setattr(s, "retest", faults.STRONG_HEATER), lambda s: s.retest),
    ("retests", lambda s: setattr(s, "retests", 2), lambda s: s.retests),
    ("bad readings", lambda s: setattr(s, "bad_score", 200), lambda s: s.bad_score > 100),
    ("the bowl's word", lambda s: setattr(s.witness, "must_k", 0.2), lambda s: s.witness.must_k),
    ("the twins", lambda s: setattr(s.twin, "_far_s", 100.0), lambda s: s.twin._far_s),
    ("a first look", lambda s: s.rest._enter(s.rest.OPENED, 2000, 30.0), lambda s: s.rest.opened),
    ("a rise at rest", rises, lambda s: s.rest.seen),
    ("a surge", lambda s: setattr(s.surge, "_base_c", 28.5), lambda s: round(30.0 - s.surge._base_c, 3)),
)


def acts(s, i):
    """Each act, with what a second afterwards brings."""
    yield "another hold", lambda: s.begin(3000)
    yield "a bowl off", lambda: setattr(i, "bowl_away", True)
    yield "a bowl back", lambda: setattr(i, "bowl_away", False)
    yield "a stage", lambda: setattr(i, "stage_limit_c", 45.0)
    yield "a person", lambda: setattr(i, "last_person_ms", 3000)
    for state in ("pause", "check", "idle", "hold"):
        yield state, lambda to=state: (setattr(i, "state", to), setattr(i, "guard_open", to != "hold"))
    yield "a retest", lambda: s.retest == faults.NONE and s.tested(faults.NONE, faults.STRONG_HEATER)


def test_no_act_shortens_the_evidence_for_a_verdict():
    for name, make, measure in EVIDENCE:
        s, i = bare()
        # a bowl warmer than its water, but not where it would explain the rise
        i.given_j, i.bowl_fitted, i.bowl_c = 0.0, True, None if name == "a surge" else 32.0
        i.second_c, i.second_fitted = 34.0, True
        s.step(2000, 1000, i)
        make(s)
        before, now_ms = measure(s), 2000
        for act, does in acts(s, i):
            if act == "a retest" and name == "a surge":
                continue  # that one is its proof
            does()
            now_ms += 1000
            s.step(now_ms, 1000, i)
            assert measure(s) >= before, (name, act)


def test_a_test_after_a_pause_proves_switch_and_guard_and_nothing_else():
    for name, make, measure in EVIDENCE:
        s, _ = bare()
        make(s)
        before = measure(s)
        s.tested(faults.NONE, RESUME)
        cleared = name in ("suspicions", "a first look")
        assert (measure(s) >= before) != cleared, name


def test_what_reads_too_cold_is_as_cold_in_a_new_hold():
    s, i = bare()
    i.water_c, i.room_c, i.given_j = 30.0, 25.0, 100.0
    for at in range(9):
        i.water_c -= 1.2
        s.step(2000 + 1000 * at, 1000, i)
    for at in range(300):
        s.step(20000 + 1000 * at, 1000, i)
    under_s = s.account.under_s
    assert under_s > 0.0
    s.begin(400000)
    s.tested(faults.NONE, faults.NONE)
    s.step(400000, 1000, i)
    assert s.account.under_s >= under_s


def test_what_the_bowl_says_outlives_a_short_rest_and_no_long_one():
    for rest_s, kept in ((500, True), (700, False)):
        s, i = bare()
        s.witness.must_k = 0.2
        i.state, i.bowl_c, i.bowl_fitted = "idle", 32.0, True
        for at in range(rest_s):
            s.step(2000 + 1000 * at, 1000, i)
        assert (s.witness.must_k > 0.0) == kept


def test_a_rise_in_a_pause_is_no_surge_of_the_heater():
    surge = Surge(values_of(POT))
    surge.step(30.0, None, False, 0.0)
    surge.step(31.0, None, False, 0.0)
    for water_c in (31.0, 36.0, 36.0):
        surge.rest(water_c)
    surge.step(36.0, None, False, 0.0)
    assert not surge.surging
    assert abs(36.0 - surge._base_c - 1.0) < 1e-3


def test_evidence_of_unasked_heat_is_counted_up_to_its_verdict():
    for count, is_unasked in ((0, False), (1, False), (BLOCKS - 1, False), (BLOCKS, True), (99, True)):
        w = Warmer(values_of(POT), 0, (0, None, 0, count, None, 0))
        assert w.supervisor.rest.unasked == is_unasked
        assert w.evidence[3] == min(count, BLOCKS)
