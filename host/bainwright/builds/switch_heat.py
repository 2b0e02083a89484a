"""How hot Q1 gets when a fault leaves it half on, and when the thermal fuse on its tab opens the guard relay."""

from __future__ import annotations

import math
from typing import NamedTuple

from bainwright.builds import electrical
from bainwright.builds.parts import Build

FUSE_LAG_S = 15.0  # chosen: of a thermal fuse clamped to metal over a layer of tape
NEAR_S = 0.01  # an opening is found to so much


class Opening(NamedTuple):
    """When the fuse opens, and how warm the tab is by then."""

    after_s: float
    tab_c: float


def unfelt_w(build: Build) -> float:
    """The most heat that Q1 takes for good without opening its fuse, W."""
    return (build.on_switch.latest_c - electrical.BOX_C) / build.sink.k_per_w


def opening(build: Build, power_w: float) -> Opening:
    """The fuse's latest opening while Q1 takes a power, from the warmest tab of planned use on.

    Tab and fuse are two lumps in a row: the heat sink's store behind its way to the air, the fuse's lag behind that.

    Returns
    -------
    Opening
        Infinite, and the tab as it settles, where the fuse stays closed.
    """
    start_c, end_c = electrical.junction_c(build), electrical.BOX_C + power_w * build.sink.k_per_w
    slow_s = build.sink.k_per_w * build.sink.j_per_k

    def tab_c(at_s: float) -> float:
        return end_c + (start_c - end_c) * math.exp(-at_s / slow_s)

    def fuse_c(at_s: float) -> float:
        slow, quick = slow_s * math.exp(-at_s / slow_s), FUSE_LAG_S * math.exp(-at_s / FUSE_LAG_S)
        return end_c + (start_c - end_c) * (slow - quick) / (slow_s - FUSE_LAG_S)

    if not end_c > build.on_switch.latest_c:
        return Opening(math.inf, end_c)
    low_s, high_s = 0.0, slow_s
    while fuse_c(high_s) < build.on_switch.latest_c:
        low_s, high_s = high_s, 2.0 * high_s
    while high_s - low_s > NEAR_S:
        middle_s = 0.5 * (low_s + high_s)
        low_s, high_s = (middle_s, high_s) if fuse_c(middle_s) < build.on_switch.latest_c else (low_s, middle_s)
    return Opening(high_s, tab_c(high_s))


def half_on(build: Build) -> Opening:
    """The same with Q1 at the most that it can take."""
    return opening(build, electrical.half_on_w(build))
