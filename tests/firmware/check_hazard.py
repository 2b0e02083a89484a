"""What is told while several things are wrong: the worst of them, in every state, and "safe" of nothing else.

Oracle: the project's own safety rules: a warmer that must be unplugged says so whatever was said before.
"""

from fake_hold import bare

from bainboard import faults
from bainboard.supervisor import safe

STATES = ("idle", "check", "hold", "pause", "trip")
LATCHES = [row[0] for row in faults.FAULTS if row[faults.REACTION] == faults.LATCH] + [
    faults.GUARD_WELDED, faults.SWITCH_SHORTED, faults.SWAPPED]


def hot(s, i):
    i.water_c = 61.0
    s._read_c = s._last[-1] = s._last[-2] = 61.0


def shorted(s, i):
    s.rest.state = s.rest.SHORTED


def unasked(s, i):
    s.rest.unasked = True


def dead(s, i):
    s.account.unseen = 3


def suspected(s, i):
    s.suspicions = 2


def strong(s, i):
    s.retests = 4


WORSE = (
    (hot, faults.OVER_HARD_LIMIT), (shorted, faults.HEAT_AT_REST), (unasked, faults.UNASKED_HEAT),
    (dead, faults.WATER_STUCK), (suspected, faults.SWITCH_SHORTED), (strong, faults.STRONG_HEATER),
)


def test_a_later_cause_that_must_be_unplugged_takes_over_from_one_that_may_be_left():
    for first in LATCHES:
        for state in STATES:
            for happens, worse in WORSE:
                s, i = bare(state)
                s._latch(first)
                assert s.fault == s.cause == first
                happens(s, i)
                s.step(2000, 1000, i)
                at = (first, state, worse)
                takes_over = safe(first)
                assert s.fault == (worse if takes_over else first), at
                assert s.cause == (worse if takes_over and worse != faults.UNASKED_HEAT else first), at
                assert s.latched, at
                assert not s.heat_ok, at
                assert not s.guard_ok, at


def test_what_may_be_left_never_takes_over():
    for first in LATCHES:
        for later in LATCHES:
            if not safe(later):
                continue
            s, i = bare("trip")
            s._latch(first)
            s._latch(later)
            s.step(2000, 1000, i)
            assert s.fault == s.cause == first, (first, later)


def test_a_refused_start_that_must_be_unplugged_is_told_over_a_latch_and_a_trip_that_are_safe():
    for refused, told in ((faults.GUARD_WELDED, faults.GUARD_WELDED), (faults.SWAPPED, faults.NO_LATCH_RECORD)):
        s, i = bare("trip")
        s.refuse_start(refused)
        s._latch(faults.NO_LATCH_RECORD)
        s.step(2000, 1000, i)
        assert s.fault == told
    s, i = bare("idle")
    s.refuse_start(faults.SWAPPED)
    unasked(s, i)
    s.step(2000, 1000, i)
    assert s.fault == faults.UNASKED_HEAT


def test_the_hard_limit_latches_in_every_state():
    for state in STATES:
        s, i = bare(state)
        hot(s, i)
        s.step(2000, 1000, i)
        assert s.cause == s.fault == faults.OVER_HARD_LIMIT, state


def test_a_fault_that_may_be_left_is_called_safe_only_by_a_steady_reading_that_nothing_contradicts():
    left = [row[0] for row in faults.FAULTS[1:] if safe(row[0])]
    assert len(left) > 15
    for fault in left:
        for state in STATES:
            for steady, read in ((True, True), (False, True), (True, False)):
                s, i = bare(state)
                s.refuse_start(fault)
                i.water_c = 30.0 if read else None
                s.rest.step = lambda *_facts, to=steady, s=s: setattr(s.rest, "steady", to)
                s.step(2000, 1000, i)
                known = steady and read and fault != faults.DISAGREE
                assert (s.warn >> faults.UNASKED_HEAT & 1) == (not known), (fault, state, steady, read)
                assert not s.fresh >> faults.UNASKED_HEAT & 1  # no warning of its own


def test_with_no_fault_or_one_that_must_be_unplugged_nothing_is_said_of_steady():
    for fault in [faults.NONE] + [row[0] for row in faults.FAULTS if not safe(row[0])]:
        s, i = bare("idle")
        if fault:
            s.refuse_start(fault)
        s.step(2000, 1000, i)
        assert s.fault == fault
        assert not s.warn >> faults.UNASKED_HEAT & 1
