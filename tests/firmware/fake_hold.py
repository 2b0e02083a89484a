"""A hold under way on a fake bath, and a supervisor alone: where the checks of the supervisor begin."""

from fake_bath import POT, RIGS, Bath, Kitchen, values_of

from bainboard import faults
from bainboard.supervisor import COLD_STATES, Inputs, Supervisor

HARD = tuple(rig for rig in RIGS if rig[0] != "mat")  # the usual one, and the slowest with the strongest heater
NAN, INF = float("nan"), float("inf")


def held(rig, water_c=33.0, bowl_c=31.5, target_c=33.0, limit_c=35.0, bowl_probe=True, settle_s=600, **bath):
    """A hold that is under way and quiet."""
    kitchen = Kitchen(Bath(rig, water_c, bowl_c, **bath), values_of(rig), target_c, limit_c, bowl_probe)
    kitchen.run(settle_s)
    assert kitchen.faults == []
    return kitchen


def calm(kitchen):
    """Nothing tripped; a warning is allowed, heat may have waited."""
    assert kitchen.faults == [], [faults.row(each)[faults.NAME] for each in kitchen.faults]
    assert not kitchen.supervisor.latched


def bare(state="hold", **more):
    """A supervisor with plain inputs, one good pass behind it."""
    s, i = Supervisor(values_of(POT, **more), 0), Inputs()
    i.state, i.water_c, i.stage_limit_c, i.duty_zero = state, 30.0, 35.0, False
    i.guard_open = state in COLD_STATES
    s.begin(0)
    s.step(1000, 1000, i)
    s.tested(faults.NONE, faults.NONE)
    s.step(1000, 1000, i)
    return s, i
