"""The plan's bands against warmers that share no code with the product; see `own_warmer` for the oracles."""

from __future__ import annotations

import numpy as np
import pytest
from own_warmer import drawn, foamed, melting_s, on_a_plate

from bainwright.core.masses import Shown
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.planner import make_plan

WARMERS = 40


BUILT = {"pot": lambda rng, warmer: warmer, "mat": foamed, "plate": on_a_plate}


@pytest.mark.parametrize(
    ("rig", "profile", "total", "melt"),
    [("pot", "dark", "1.8kg", None), ("pot", "milk", "1kg", None), ("pot", "white", "2kg", None),
     ("mat", "dark", "1kg", None), ("mat", "milk", "800g", None), ("plate", "dark", "1.2kg", "36.5"),
     ("plate", "milk", "1kg", "38")],
)  # fmt: skip
def test_nine_melts_in_ten_end_inside_their_band(rig, profile, total, melt):
    """Forty homemade warmers from the same litres, kilograms and watts: at least 36 end between the ends said."""
    near, wide = (0.25, 3.6) if rig == "plate" else (0.2, 2.2)  # a plate heats through its air gap, which nobody knows
    plan = make_plan(batch_request(PlanOptions(profile, total=total, rig=rig, melt=melt), Shown()))
    settings, band = plan.request.rig.settings, plan.melt.took
    rng = np.random.default_rng(20)
    found_s = np.array([
        melting_s(
            BUILT[rig](rng, drawn(rng, settings["heater_w"], settings["water_l"], settings["bowl_kg"],
                                  plan.melt.solid_kg, settings["chocolate_kg"])),
            plan.melt.water_c, plan.melt.to_c)
        for _ in range(WARMERS)
    ])  # fmt: skip
    most_s = np.inf if band.high_s is None else band.high_s  # None is shown as "or much longer"
    inside = (found_s >= band.low_s) & (found_s <= most_s)
    assert inside.sum() >= 0.9 * WARMERS, (np.sort(found_s) / 60, band)
    assert np.median(found_s) == pytest.approx(band.likely_s, rel=near)  # and the likely time is among them
    assert band.high_s is None or band.high_s < wide * band.low_s  # a band that says something
