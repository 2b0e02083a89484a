"""How long a warm-up takes on the board, where its target's rise and not the heater is what counts."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest

from bainboard.control.cascade import Cascade
from bainboard.control.rules import safe_gains
from bainwright.files.rig import load_rig
from bainwright.plan.ramp import THERE_K, controlled_s


def settings_of(name, **changes):
    return SimpleNamespace(settings=load_rig(name).with_settings(changes).settings)


def on_the_board_s(values, aim_c):
    """Oracle: the firmware's own control on a lump of metal behind a lag, which shares nothing with the plan."""
    cascade = Cascade(safe_gains(values), values["bowl_offset_c"])
    store_j_per_k = values["water_l"] * 4180.0
    water_c, arriving_w, read_c = 20.0, 0.0, 20.0
    for second in range(3600):
        if read_c > aim_c - THERE_K:
            return float(second)
        duty = cascade.step(read_c, 29.0, 31.5, aim_c + values["gains.ceiling_margin_c"], 20.0, 1.0)
        cascade.applied(duty)
        arriving_w += (duty * values["heater_w"] - arriving_w) / values["heater_lag_s"]
        water_c += (arriving_w - 1.5 * (water_c - 20.0) - 5.0 * (water_c - 29.0)) / store_j_per_k
        read_c += (water_c - read_c) / 12.0
    return math.inf


def test_a_slow_heater_takes_what_full_heat_takes():
    assert controlled_s(settings_of("pot24"), 13.0, 1000.0) == 1000.0
    assert controlled_s(settings_of("pot24"), 13.0, math.inf) == math.inf
    assert controlled_s(settings_of("plate24"), 0.0, 0.0) == 0.0


@pytest.mark.parametrize("changes", [{}, {"heater_w": 150.0}, {"water_l": 0.9}, {"gains.slew_c_per_min": 2.0}])
def test_a_strong_heater_takes_what_the_firmware_s_control_takes(changes):
    setup = settings_of("plate24", **changes)
    board_s = on_the_board_s(dict(setup.settings), 33.9)
    assert controlled_s(setup, 13.9, 200.0) == pytest.approx(board_s, rel=0.2)
