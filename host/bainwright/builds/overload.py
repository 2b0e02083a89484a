"""What a single failure can drive through each part for minutes: the supply's own limit and the fuses bound it."""

from __future__ import annotations

from bainwright.builds import electrical
from bainwright.builds.parts import Build

OVERLOAD = 1.5  # how many times its rating a supply may give before it limits; data sheets, from memory
BLOWS = 1.35  # times its rating opens a blade fuse within ten minutes (ISO 8820-3, from memory); less may never do so
BLOWS_GLASS = 2.1  # the same of a glass fuse, quick, within half an hour (IEC 60127-2, from memory)
SUPPLY_SHARE = 1.5  # of the heater's power, at most: a short in the mat then draws little over twice its power


def limit_a(build: Build) -> float:
    """The most that the supply gives into a short, A."""
    return OVERLOAD * build.supply_a


def all_a(build: Build) -> float:
    """The most that lasts in what carries all mats, behind the main fuse, A."""
    return min(limit_a(build), BLOWS * build.fuse_a)


def mat_a(build: Build) -> float:
    """The same in one mat's own path, A."""
    return min(all_a(build), BLOWS * build.mat_fuse_a) if build.mat_fuse_a else all_a(build)


def guard_a(build: Build) -> float:
    """The same in the guard relay's branch, A."""
    return min(limit_a(build), BLOWS_GLASS * build.guard_fuse_a)


def at_over_voltage_a(build: Build) -> float:
    """Current of the worst heater at the voltage at which the supply shuts itself off, A."""
    return electrical.worst_a(build) * build.supply_off_v / electrical.worst_v()


def mat_carries_a(build: Build) -> float:
    """The least rating in one mat's path, A."""
    if build.relayed:
        return build.plug_a
    return min(build.plug_a, build.on_mat.rated_a, build.on_vessel.rated_a, build.fuse.rated_a)


def cut_outs_a(build: Build) -> float:
    """What lasts in cut-outs and thermal fuses on the mats, A."""
    return guard_a(build) if build.relayed else mat_a(build)


def all_carry_a(build: Build) -> float:
    """The least rating in what carries all mats, A."""
    return min(build.inlet_a, build.hand_switch_a, build.relay_a, electrical.cable_a(build))
