"""Why the board last ended, and what it offers then. Oracle: the project's safety rules."""

from bainboard import faults, settings, wire
from bainboard.control.rules import safe_gains
from bainboard.powerup import CLEAN, CRASH, HEALTHY_MS, HUNG, MEMORY, NEW, POWER, RESET, RUNNING, WRITE_MS, PowerUp
from bainboard.warmer import NOTHING_SEEN

HOLD = (("stage", "work"), ("name", "dark"), ("for_ms", 7200000), ("left_ms", 3600000), ("room", 20000),
        ("water", 33000), ("wall_s", 0))


def record(end=RUNNING, hold=HOLD, bad=0, resumes=0, **more):
    """A record as the board writes it, with changes."""
    pairs = {"end": end, "bad": bad, "resumes": resumes}
    pairs.update(hold)
    pairs.update(more)
    return wire.text(list(pairs.items())).encode()


def again(power, end, cause, hold=None):
    """The start after this run ended so."""
    return PowerUp(power.record(end, hold), cause)


def test_each_way_to_end_is_recognised():
    for end, cause, why, fault in (
        (RUNNING, "PWRON_RESET", POWER, faults.NONE), (RUNNING, "WDT_RESET", HUNG, faults.RESTARTED),
        (RUNNING, "HARD_RESET", RESET, faults.NONE), (CRASH, "WDT_RESET", CRASH, faults.CRASHED),
        (MEMORY, "WDT_RESET", MEMORY, faults.MEMORY), (CLEAN, "WDT_RESET", CLEAN, faults.NONE),
        (CLEAN, "PWRON_RESET", CLEAN, faults.NONE),
    ):
        power = PowerUp(record(end), cause)
        assert (power.why, power.ended) == (why, fault)
        assert (power.offer is None) == (end == CLEAN)


def test_a_record_that_is_none_says_new_and_offers_nothing():
    for payload in (None, b"", b"rubbish", b"[]", b'{"end":7}', b'{"stage":"work"}'):
        power = PowerUp(payload, "PWRON_RESET")
        assert (power.why, power.ended, power.offer, power.rebooting) == (NEW, faults.NONE, None, False)


def test_a_hold_without_all_of_its_figures_is_not_offered():
    for name, _ in HOLD:
        assert PowerUp(record(hold=[pair for pair in HOLD if pair[0] != name]), "PWRON_RESET").offer is None
        assert PowerUp(record(**{name: -1}), "PWRON_RESET").offer is None
        assert PowerUp(record(**{name: True}), "PWRON_RESET").offer is None


def test_a_hold_that_was_nearly_over_is_not_offered_and_one_without_an_end_is():
    assert PowerUp(record(left_ms=59000), "PWRON_RESET").offer is None
    assert PowerUp(record(for_ms=0, left_ms=0), "PWRON_RESET").offer is not None


def test_the_third_abnormal_restart_latches_and_power_cuts_do_not_count():
    power = PowerUp(None, "PWRON_RESET")
    for end, cause, rebooting in (
        (CRASH, "WDT_RESET", False), (RUNNING, "PWRON_RESET", False), (RUNNING, "WDT_RESET", False),
        (RUNNING, "PWRON_RESET", False), (MEMORY, "WDT_RESET", True), (RUNNING, "WDT_RESET", True),
    ):
        power = again(power, end, cause)
        assert power.rebooting == rebooting, (end, cause)


def test_ten_healthy_minutes_or_a_person_begin_the_count_again():
    for heal in (lambda power: power.due(HEALTHY_MS, None, False, NOTHING_SEEN), lambda power: power.cleared()):
        power = PowerUp(record(CRASH, (), bad=1), "WDT_RESET")
        heal(power)
        power = again(again(power, CRASH, "WDT_RESET"), CRASH, "WDT_RESET")
        assert not power.rebooting
        assert again(power, CRASH, "WDT_RESET").rebooting


def test_it_is_written_at_the_start_at_each_change_and_each_ten_minutes_of_a_hold():
    power = PowerUp(None, "PWRON_RESET")
    written_ms = []
    for now_ms in range(1000, 3000000, 1000):
        stage = None if now_ms < 100000 else "settle" if now_ms < 200000 else "work"
        if power.due(now_ms, stage, False, NOTHING_SEEN):
            power.record(RUNNING, list(HOLD))
            written_ms.append(now_ms)
    assert written_ms[:3] == [1000, 100000, 200000]
    for n in range(3, len(written_ms)):
        assert written_ms[n] - written_ms[n - 1] >= WRITE_MS
    assert 3000000 - written_ms[-1] <= WRITE_MS + 1000


def test_at_rest_it_is_not_written_again():
    power = PowerUp(None, "PWRON_RESET")
    due = []
    for now_ms in range(1000, 3000000, 1000):
        if power.due(now_ms, None, True, NOTHING_SEEN):
            due.append(now_ms)
            power.record(RUNNING, None)
    assert due == [1000]


def test_what_the_warmer_had_seen_is_written_when_it_changes_and_outlives_every_cut():
    power = PowerUp(None, "PWRON_RESET")
    assert power.evidence == NOTHING_SEEN
    assert power.due(1000, None, False, NOTHING_SEEN)
    power = again(power, RUNNING, "PWRON_RESET")
    assert power.evidence == NOTHING_SEEN
    power.record(RUNNING, None)
    assert power.due(2000, None, False, (1, 34.0, 1, 3, 41, 5))
    power = again(power, RUNNING, "PWRON_RESET")  # in the same second, and again before anything happened
    power = again(power, RUNNING, "WDT_RESET")
    assert power.evidence == (1, 34.0, 1, 3, 41, 5)
    power.record(RUNNING, None)
    assert not power.due(3000, None, False, (1, 34.0, 1, 3, 41, 5))


def test_evidence_that_is_no_number_is_none():
    damaged = record(broken_off="many", believed=-1, suspicions=None, unasked=2.5, alone=True, quarters="few")
    assert PowerUp(damaged, "PWRON_RESET").evidence == NOTHING_SEEN


def test_an_offer_outlives_further_power_cuts_until_it_is_taken_or_declined():
    power = PowerUp(record(), "PWRON_RESET")
    power = again(power, RUNNING, "PWRON_RESET")
    assert power.offer["left_ms"] == 3600000
    power.drop()
    assert again(power, RUNNING, "PWRON_RESET").offer is None
    power = PowerUp(record(CRASH), "WDT_RESET")
    power.started(False)
    assert (power.offer, power.ended) == (None, faults.NONE)


def test_it_resumes_by_itself_only_when_everything_is_known_and_near():
    def may(wanted=True, off_s=300, water_c=31.0, cause="PWRON_RESET", **more):
        return PowerUp(record(**more), cause).may_resume(wanted, off_s, water_c)

    assert may()
    assert not may(wanted=False)
    assert not may(off_s=None)
    assert not may(off_s=600)
    assert not may(water_c=27.9)
    assert not may(water_c=float("nan"))
    assert not may(cause="WDT_RESET")
    assert not may(end=CRASH)
    assert not may(resumes=2)


def test_twice_by_itself_and_a_person_begins_the_count_again():
    power = PowerUp(record(), "PWRON_RESET")
    for count in (1, 2):
        power.started(True)
        power = again(power, RUNNING, "PWRON_RESET", list(HOLD))
        assert power.resumes == count
    assert not power.may_resume(True, 10, 33.0)
    power.started(False)
    assert again(power, RUNNING, "PWRON_RESET", list(HOLD)).resumes == 0


def test_the_outage_is_known_only_when_the_time_of_day_was_known_on_both_sides():
    power = PowerUp(record(wall_s=1800000000), "PWRON_RESET")
    assert power.off_s(1800000400, 100) == 300
    assert power.off_s(0, 100) is None
    assert PowerUp(record(), "PWRON_RESET").off_s(1800000400, 100) is None


def test_the_outage_is_not_known_when_the_clock_was_set_back():
    power = PowerUp(record(wall_s=1800000000), "PWRON_RESET")
    assert power.off_s(1799999990, 2) == 0
    assert power.off_s(1799996400, 2) is None


def test_how_long_it_was_off_follows_from_how_far_the_water_cooled():
    """Newton's cooling: with C = 12 kJ/K and 2 W/K, tau is 6000 s; from 13 K over the room to 13/e K takes one tau."""
    doc = {"gains.water_j_per_k": 8000.0, "gains.bowl_w_per_k": 8.0, "gains.bowl_tau_s": 500.0,
           "gains.loss_w_per_k": 2.0}
    gains = safe_gains(settings.check(settings.SETTINGS, doc)[0])
    power = PowerUp(record(), "PWRON_RESET")
    assert abs(power.cooled_s(20.0 + 13.0 / 2.718282, gains) - 6000) < 5
    assert power.cooled_s(34.0, gains) == 0
    assert power.cooled_s(20.0, gains) == power.cooled_s(19.0, gains) > 3 * 6000
