"""A warm-up on a heater that is stronger than the board's control: the target rises slowly, and the bath trails it."""

from __future__ import annotations

import math

from bainboard.control.cascade import Cascade
from bainboard.control.rules import safe_gains
from bainwright.plan.setup import Setup

THERE_K = 0.3  # a bath counts as warm so near its aim; chosen: a bowl does not notice it


def controlled_s(setup: Setup, rise_k: float, full_heat_s: float) -> float:
    """Time for a rise on the board, s, from the time that full heat would take.

    The target rises by `gains.slew_c_per_min`. A heater that is slower gives all it has. With a stronger one the bath
    trails the target by a fixed time. So as the ramp ends it is short by the slope times that time, and then settles
    with the same time constant.
    """
    gains = safe_gains(dict(setup.settings))
    slope_k_per_s = gains.slew_c_per_min / 60.0
    ramp_s = rise_k / slope_k_per_s
    if not full_heat_s < ramp_s:
        return full_heat_s
    follow_s = Cascade(gains, 0.0).follow_s
    short_k = min(rise_k, slope_k_per_s * follow_s)
    return float(ramp_s + follow_s * math.log(max(1.0, short_k / THERE_K)))
