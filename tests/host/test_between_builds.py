"""A heater between the builds: its parts and its mat pass the builds' rules, and the next smaller ones do not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bainwright.builds import between, overload, rules
from bainwright.builds.catalogue import MAT, PLATE, POT
from bainwright.builds.supply import supply_a

WATTS = [watts for watts in range(20, 206, 5) if supply_a(float(watts)) is not None]
# What belongs to the guide's vessel, not to the power side.
VESSEL = {"mats, share of what they are glued to", "heater lag in the rig file, over the computed",
          "strip between the mats, for the vessel's cut-outs"}


def like(guide, watts):
    return between.like(guide, float(watts), supply_a(float(watts)))


def broken(build):
    return {words.partition(":")[0] for words in rules.broken(build)}


GUIDES = [*between.UNDER_WATER, *between.UNDER_PLATE]


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
def test_every_heater_that_some_supply_carries_passes_the_rules_with_its_parts(guide):
    assert len(WATTS) > 35
    for watts in WATTS:
        assert broken(like(guide, watts)) - VESSEL == set(), watts


@pytest.mark.parametrize("watts", [60, 90, 150, 200])
def test_the_next_smaller_part_or_mat_breaks_a_rule(watts):
    for guide in GUIDES:
        build = like(guide, watts)
        fuses, carries = between.FUSES_A, between.CARRIES_A
        less = {
            "fuse_a": fuses[fuses.index(build.fuse_a) - 1],
            "inlet_a": carries[carries.index(build.inlet_a) - 1],
            "mat": replace(build.mat, sides_m=tuple(0.99 * side_m for side_m in build.mat.sides_m)),
        }
        for name, value in less.items():
            assert broken(replace(build, **{name: value})) - broken(build), (guide.name, name)


def test_ninety_and_two_hundred_watts_by_hand():
    """90 W: 3.75 A, at worst 4.375 A, / 0.75 = 5.8, so 7.5 A; 5 A of supply give 7.5 A into a short, so parts for 8 A
    and 0.75 mm² (12 A; 3 m x 26 mΩ/m on 6.4 Ω is 1.2 %). 200 W: at worst 9.72 A, / 0.75 = 13; 10 A give 15 A, and
    1 mm² (15 A) would drop 3 m x 19.5 mΩ/m on 2.88 Ω = 2.03 %, so 1.5 mm². As the mat's, a load of 60 W on 314 cm² at
    most: 471 and 1047 cm², less what the mat has to spare.
    """
    side = between.power_side(90.0, 5.0, 0.12)
    assert (side.fuse_a, side.wire_mm2, side.carries_a) == (7.5, 0.75, 8.0)
    assert side.mats[0].least_cm2 == pytest.approx(471, rel=0.005)
    side = between.power_side(200.0, 10.0, 0.12)
    assert (side.fuse_a, side.wire_mm2, side.carries_a) == (15.0, 1.5, 15.0)
    assert side.mats[0].least_cm2 == pytest.approx(1047, rel=0.005)
    assert [(mat.cut_out_c, mat.fuse_c) for mat in side.mats] == [(80.0, 110.0), (95.0, 128.0)]


def test_cut_outs_are_in_the_heater_s_lead_up_to_what_is_sold_for_dc_and_carry_coils_above():
    """A supply of 3 A gives 4.5 A into a short: parts for 5 A, cut-outs too. One of 4 A gives 6: a relay's coil."""
    small, large = between.power_side(60.0, 3.0, 0.12), between.power_side(75.0, 4.0, 0.12)
    assert (small.relayed, small.carries_a, small.cut_out_a) == (False, 5.0, 5.0)
    assert (large.relayed, large.carries_a, large.cut_out_a) == (True, 8.0, 2.0)


def test_a_plate_takes_two_mats_of_half_the_watts_with_a_fuse_each_by_hand():
    """200 W on 10 A: each mat 100 W, at worst 4.86 A, / 0.75 = 6.5, so F2 of 7.5 A; both 9.72 / 0.75 = 13, F1 15 A."""
    side = between.plate_power_side(200.0, 10.0)
    assert (side.mat_count, side.mat_w, side.mat_fuse_a, side.fuse_a) == (2, 100.0, 7.5, 15.0)
    assert side.relayed
    assert side.mats[0].least_cm2 <= 1e4 * PLATE.mat.area_m2


def test_a_mat_that_does_not_fit_under_the_vessel_is_not_named():
    """A pot of 26 cm has 531 cm², of which mats cover at most 95 %: 504."""
    assert [mat.cut_out_c for mat in between.power_side(115.0, 6.25, 0.0531).mats] == [95.0]
    assert between.power_side(115.0, 6.25, 0.03).mats == ()


def test_the_guides_own_parts_are_those_or_larger():
    for guide in (MAT, POT, PLATE):
        chosen = between.like(guide, guide.heater_w, guide.supply_a)
        assert (guide.fuse_a, guide.inlet_a) == (chosen.fuse_a, chosen.inlet_a)
        assert guide.wire_mm2 >= chosen.wire_mm2
        assert guide.mat.area_m2 >= 0.999 * chosen.mat.area_m2
        assert overload.limit_a(guide) <= chosen.inlet_a
