"""Which 24 V supply a heater of so many watts needs: enough for the worst heater, and little more."""

from __future__ import annotations

import math

from bainwright.builds import electrical, overload, rules
from bainwright.builds.overload import BLOWS, OVERLOAD, SUPPLY_SHARE
from bainwright.builds.parts import SUPPLY_V, Build
from bainwright.builds.rules import MOST_W

# 24 V supplies as sold with their mains side closed, no terminal to wire; from memory. The kinds in a metal cage, with
# terminals, come in other sizes. Above 10 A a short draws more than the builds' parts carry.
SOLD_A = (1.0, 1.5, 1.67, 2.0, 2.5, 2.7, 3.0, 3.75, 5.0, 6.25, 6.67, 7.5, 8.33, 9.2, 10.0)


def supply_a(heater_w: float) -> float | None:
    """The smallest supply sold that carries the heater, A; None where the supply rule allows none.

    It carries the heater at its least resistance and at the supply's upper end. It is rated for at most one and a
    half times the heater's power, so that a short in the mat draws little more than twice it.
    """
    if not heater_w <= MOST_W:
        return None
    worst_a = heater_w / SUPPLY_V * electrical.SUPPLY_TOP / (1.0 - electrical.MAT_TOLERANCE)
    most_a = SUPPLY_SHARE * heater_w / SUPPLY_V
    return next((sold_a for sold_a in SOLD_A if worst_a <= sold_a <= most_a), None)


def nearest_w(heater_w: float) -> float | None:
    """The least heater of at least so many watts, in steps of 5, that some supply carries; None above them all."""
    stepped_w = 5.0 * -(-heater_w // 5.0)
    while stepped_w <= MOST_W:
        if supply_a(stepped_w) is not None:
            return stepped_w
        stepped_w += 5.0
    return None


def most_supply_w(build: Build) -> float:
    """The largest supply that a build may be fed by, whole W: by its heater's power, by what its parts carry, and by
    how hot a partly shorted mat may get.
    """
    most_a = overload.all_carry_a(build)
    for one_mat_a in (overload.mat_carries_a(build), rules.partly_shorted_may_a(build)):
        if BLOWS * (build.mat_fuse_a or build.fuse_a) > one_mat_a:  # then only the supply bounds a mat's path
            most_a = min(most_a, one_mat_a)
    return math.floor(min(SUPPLY_SHARE * build.heater_w, SUPPLY_V * most_a / OVERLOAD) + 1e-9)
