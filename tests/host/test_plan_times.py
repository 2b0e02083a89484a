"""The plan's bands against warmers that share no code with the product; see `own_warmer` for the oracles."""

from __future__ import annotations

import numpy as np
import pytest
from own_warmer import drawn, melting_s

from bainwright.core.masses import Shown
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.planner import make_plan

WARMERS = 40


@pytest.mark.parametrize(
    ("rig", "profile", "total"), [("pot", "dark", "1.8kg"), ("pot", "milk", "1kg"), ("pot", "white", "2kg")]
)
def test_nine_melts_in_ten_end_inside_their_band(rig, profile, total):
    """Forty homemade warmers from the same litres, kilograms and watts: at least 36 end between the ends said."""
    plan = make_plan(batch_request(PlanOptions(profile, total=total, rig=rig), Shown()))
    settings, band = plan.request.rig.settings, plan.melt.took
    rng = np.random.default_rng(20)
    found_s = np.array([
        melting_s(
            drawn(rng, settings["heater_w"], settings["water_l"], settings["bowl_kg"], plan.melt.solid_kg,
                  settings["chocolate_kg"]),
            plan.melt.water_c, plan.melt.to_c)
        for _ in range(WARMERS)
    ])  # fmt: skip
    inside = (found_s >= band.low_s) & (found_s <= band.high_s)
    assert inside.sum() >= 0.9 * WARMERS, (np.sort(found_s) / 60, band)
    assert np.median(found_s) == pytest.approx(band.likely_s, rel=0.2)  # and the likely time is among them
    assert band.high_s < 2.2 * band.low_s  # a band that says something
