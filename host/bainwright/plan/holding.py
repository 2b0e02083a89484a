"""Holding the bowl: the water and power it takes, and how the bath comes down to it after melting."""

from __future__ import annotations

import math
from dataclasses import replace

from bainwright.physics import heating
from bainwright.plan.parts import Hold, Need, Swap
from bainwright.plan.setup import Setup

COVERED = 0.9  # of the ring under a cover cut in two halves, chosen: the halves leave gaps
TOP_UP_SHARE = 0.1  # of the water gone when it is topped up, chosen: the probe stays under and the tuning still fits


def plan_hold(setup: Setup) -> Hold:
    """The last stage: its water, and how far the bowl may be emptied."""
    request, target_c = setup.request, setup.profile.target_c
    measured = "bowl_offset_c" in request.rig.written
    water_c = heating.steady(setup.body, target_c, setup.working).water_c
    if measured and request.tempered:
        water_c = target_c + setup.settings["bowl_offset_c"]
    least_kg = heating.least_kg(setup.body, target_c, setup.working, setup.water_most_c)
    possible = math.isfinite(least_kg) and water_c <= setup.water_most_c
    return Hold(water_c, setup.water_most_c, measured, least_kg if possible else None)


def plan_needs(setup: Setup) -> tuple[Need, ...]:
    """Melt and last stage, uncovered and covered."""
    stages = [("melt", setup.request.melt_c), ("work", setup.profile.target_c)]
    if not setup.request.tempered:
        stages = [("melted", setup.profile.target_c)]
    return tuple(_need(setup, stage, temp_c, covered) for stage, temp_c in stages for covered in (False, True))


def _need(setup: Setup, stage: str, chocolate_c: float, covered: bool) -> Need:
    """Covered means the ring of water; the bowl has a lid only when nobody dips from it."""
    around = replace(
        setup.around,
        ring_cover=COVERED if covered else 0.0,
        lid=covered and stage != "work",
        stirred=1.0 if stage == "work" else 0.0,
    )
    found = heating.steady(setup.body, chocolate_c, around)
    reserve = setup.heater_w / found.need_w if found.need_w > 0.0 else None
    vapour = found.vapour_kg_per_h
    top_up_h = TOP_UP_SHARE * setup.body.water_kg / vapour if vapour > 0.0 else None
    return Need(stage, covered, chocolate_c, found.water_c, max(0.0, found.need_w), reserve, vapour, top_up_h)


def plan_swap(setup: Setup, hold: Hold) -> Swap:
    """How the bath comes down from the melt to the hold: a heater cannot cool it."""
    from_c, to_c, cold_c = setup.melt_water_c, min(hold.water_c, setup.water_most_c), setup.request.cold_c
    out_l = heating.swap_l(setup.body, from_c, to_c, cold_c) if setup.body.is_bath else math.inf
    alone_s = heating.cool_down_s(setup.body, from_c, to_c, setup.around)
    bath_l = float(setup.settings["water_l"])
    return Swap(
        from_c,
        to_c,
        cold_c,
        out_l if out_l <= bath_l else None,
        bath_l,
        alone_s if math.isfinite(alone_s) else None,
    )
