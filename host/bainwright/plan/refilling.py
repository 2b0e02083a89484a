"""Refills: those a large total needs, the largest for a temperature, and one that somebody asks about."""

from __future__ import annotations

import math
from dataclasses import replace

from bainwright.physics.refills import (
    Bowl,
    check_fits,
    largest_kg,
    largest_solid_kg,
    mixed_c,
    mixed_solid_c,
    solid_enough,
    temps_for_c,
)
from bainwright.plan.parts import RefillAnswer, RefillRow, Refills
from bainwright.plan.setup import Setup

REFILL_SHARE = 1 / 3  # of a full bowl, for the refills a large total needs; chosen
WARM_REFILLS_C, COLD_REFILLS_C = (34.0, 36.0, 40.0, 45.0), (28.0, 26.0, 24.0)
EDGE_C = 1e-9  # so that a refill on the window's edge, as computed, counts as in it


def plan_refills(setup: Setup) -> Refills | None:
    """The refills; None for melted stock, which has no window to leave."""
    request, profile = setup.request, setup.profile
    if not request.tempered:
        return None
    more_kg = request.total_kg - request.batch_kg
    count = math.ceil(more_kg / (REFILL_SHARE * request.full_kg) - 1e-9)
    each_kg = more_kg / count if count else REFILL_SHARE * request.batch_kg
    bowl = Bowl(request.batch_kg - each_kg, profile.target_c, profile.low_c, profile.high_c)
    coldest_c, warmest_c = temps_for_c(bowl, each_kg)
    unit = replace(bowl, in_bowl_kg=1.0)
    return Refills(
        count,
        each_kg,
        bowl.in_bowl_kg,
        max(coldest_c, profile.cool_low_c),  # colder chocolate has set, and is no liquid refill
        min(warmest_c, profile.never_above_c),
        _rows(unit, [temp_c for temp_c in WARM_REFILLS_C if temp_c > profile.high_c]),
        _rows(unit, [temp_c for temp_c in COLD_REFILLS_C if profile.cool_low_c <= temp_c < profile.low_c]),
        _solid(setup, unit),
        _asked(setup, bowl),
    )


def _rows(unit: Bowl, temps_c: list[float]) -> tuple[RefillRow, ...]:
    return tuple(RefillRow(temp_c, largest_kg(unit, temp_c)) for temp_c in temps_c)


def _solid(setup: Setup, unit: Bowl) -> RefillRow | None:
    solid_c = setup.request.seed_c
    if not solid_enough(solid_c, setup.chocolate):
        return None
    share = largest_solid_kg(unit, solid_c, setup.chocolate)
    return RefillRow(solid_c, share) if math.isfinite(share) else None


def _asked(setup: Setup, bowl: Bowl) -> RefillAnswer | None:
    asked = setup.request.refill
    if asked is None:
        return None
    check_fits(asked.mass_kg, asked.in_bowl_kg, setup.request.full_kg)
    bowl = replace(bowl, in_bowl_kg=asked.in_bowl_kg)
    solid = asked.temp_c < setup.profile.cool_low_c  # colder chocolate has set
    if solid:
        ends_c = mixed_solid_c(bowl, asked.mass_kg, asked.temp_c, setup.chocolate)
        most_kg = largest_solid_kg(bowl, asked.temp_c, setup.chocolate)
    else:
        ends_c = mixed_c(asked.in_bowl_kg, bowl.temp_c, asked.mass_kg, asked.temp_c)
        most_kg = largest_kg(bowl, asked.temp_c)
    return RefillAnswer(
        asked.mass_kg,
        asked.temp_c,
        asked.in_bowl_kg,
        ends_c,
        most_kg if math.isfinite(most_kg) else None,
        bowl.low_c - EDGE_C <= ends_c <= bowl.high_c + EDGE_C,
        solid,
    )
