"""How hot Q1 gets when a fault leaves it half on, and when the thermal fuse on its tab opens the guard relay."""

from __future__ import annotations

import math
from typing import NamedTuple

from bainwright.builds import electrical
from bainwright.builds.parts import Build

FUSE_LAG_S = 15.0  # chosen: of a thermal fuse clamped to metal over a layer of tape
COOL_C = 20.0  # a box that was just switched on, chosen
NEAR_S = 0.01  # an opening is found to so much


class Opening(NamedTuple):
    """When the fuse opens at the latest, in a cool box, and how warm the tab gets at most, in a warm one."""

    after_s: float
    tab_c: float


def unfelt_w(build: Build) -> float:
    """The most heat that Q1 may take for good without opening its fuse, W: in a cool box."""
    return (build.on_switch.latest_c - COOL_C) / build.sink.k_per_w


def opening(build: Build, power_w: float) -> Opening:
    """The fuse's latest opening while Q1 takes a power.

    Returns
    -------
    Opening
        Infinite where the fuse may stay closed; the tab as it settles where it surely does.
    """
    after_s, _ = _crossing(build, power_w, COOL_C, COOL_C)
    _, tab_c = _crossing(build, power_w, electrical.BOX_C, electrical.junction_c(build))
    return Opening(after_s, tab_c)


def _crossing(build: Build, power_w: float, box_c: float, start_c: float) -> Opening:
    """Tab and fuse as two lumps in a row: the heat sink's store behind its way to the air, the fuse's lag behind it."""
    end_c, slow_s = box_c + power_w * build.sink.k_per_w, build.sink.k_per_w * build.sink.j_per_k
    opens_c = build.on_switch.latest_c

    def fuse_c(at_s: float) -> float:
        slow, quick = slow_s * math.exp(-at_s / slow_s), FUSE_LAG_S * math.exp(-at_s / FUSE_LAG_S)
        return end_c + (start_c - end_c) * (slow - quick) / (slow_s - FUSE_LAG_S)

    if not end_c > opens_c:
        return Opening(math.inf, end_c)
    low_s, high_s = 0.0, slow_s
    while fuse_c(high_s) < opens_c:
        low_s, high_s = high_s, 2.0 * high_s
    while high_s - low_s > NEAR_S:
        middle_s = 0.5 * (low_s + high_s)
        low_s, high_s = (middle_s, high_s) if fuse_c(middle_s) < opens_c else (low_s, middle_s)
    return Opening(high_s, end_c + (start_c - end_c) * math.exp(-high_s / slow_s))


def half_on(build: Build) -> Opening:
    """The same with Q1 at the most that it can take."""
    return opening(build, electrical.half_on_w(build))
