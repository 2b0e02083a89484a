"""Sizes of what stands on a mat: the vessel and the bowl in it, and how high the water reaches."""

from __future__ import annotations

import math

from bainwright.builds.parts import Build, area_m2
from bainwright.builds.warmth import WALL_CUT_OUT_M
from bainwright.files.rig import PlantTable
from bainwright.physics.geometry import BOWL_ASPECT, BOWL_DIAMETER_M, BOWL_KG

STEEL_KG_PER_M3 = 7900.0  # stainless steel, from memory
IMMERSED = PlantTable().immersion  # share of the bowl's height under water
LOW_WATER = 0.5  # a bath that has lost half; chosen
EDGE_M = 0.005  # chosen: from a mat to a plate's edge
CLIPS = 5  # round the rim; chosen: with one of three or four open, the rest lie on one side of the middle, and it tips
CUT_OUT_M, INSULATION_M = 0.025, 0.010  # a manual-reset cut-out with its button and blades (from memory); chosen
PROBE_ROOM_M = 0.015  # chosen: a probe of 6 mm beside the bowl, touching neither


def bowl_m(build: Build) -> float:
    """Width of the bowl: that of the simulated warmer, for the same chocolate."""
    return BOWL_DIAMETER_M * float((build.chocolate_kg / BOWL_KG) ** (1.0 / 3.0))


def bowl_height_m(build: Build) -> float:
    """Its height."""
    return BOWL_ASPECT * bowl_m(build)


def bowl_steel_mm(build: Build) -> float:
    """How thick its steel is, by its weight."""
    steel_m2 = math.pi * bowl_m(build) * (bowl_m(build) / 4.0 + bowl_height_m(build))
    return 1000.0 * build.bowl_kg / (STEEL_KG_PER_M3 * steel_m2)


def disc_m(build: Build) -> float:
    """Width of a disc of the vessel's or plate's area."""
    return math.sqrt(4.0 * build.base_m2 / math.pi)


def filled_m(build: Build) -> float:
    """Height of the water with the bowl in it; 0 on a plate."""
    if build.heats == "plate":
        return 0.0
    return (build.water_l + displaced_l(build)) / 1000.0 / build.base_m2


def displaced_l(build: Build) -> float:
    """Water whose place the bowl takes, held down to its share: a lighter bowl floats."""
    return 1000.0 * math.pi / 4.0 * bowl_m(build) ** 2 * bowl_height_m(build) * IMMERSED


def held_down_kg(build: Build) -> float:
    """What holds an empty bowl down, level, with one clip open: its weight and the other clips.

    The two beside the open one take their full pull, the two others what balances them about the middle.
    """
    beside, across = math.cos(2.0 * math.pi / CLIPS), -math.cos(4.0 * math.pi / CLIPS)
    return build.bowl_kg + 2.0 * (1.0 + beside / across) * (build.clip_kg or 0.0)


def button_clear_m(build: Build) -> float:
    """Between a cut-out's button, which reaches through the tray, and the table."""
    return build.feet_m - (CUT_OUT_M - INSULATION_M)


def ring_m(build: Build) -> float:
    """How high the bowl stands over the vessel's bottom, so that the simulated warmer's share of it is in the water."""
    return filled_m(build) - IMMERSED * bowl_height_m(build)


def rim_over_wall_m(build: Build) -> float:
    """Bowl's rim over the vessel's: a clip from outside pulls it down only while it is the higher of the two."""
    return ring_m(build) + bowl_height_m(build) - (build.wall_m or 0.0)


def wall_over_water_m(build: Build) -> float:
    """Vessel's rim over the water, the bowl clipped down."""
    return (build.wall_m or 0.0) - filled_m(build)


def mark_per_ring(build: Build) -> float:
    """How far the mark moves for each bit of the ring's height: only the gap round the bowl fills."""
    bowl_m2 = math.pi / 4.0 * bowl_m(build) ** 2
    return bowl_m2 / (build.base_m2 - bowl_m2)


def low_water_over_cut_out_m(build: Build) -> float:
    """How far a bath that lost half covers the vessel's cut-out, the bowl lifted out."""
    return LOW_WATER * build.water_l / 1000.0 / build.base_m2 - WALL_CUT_OUT_M


def lagged_m2(build: Build) -> float:
    """Outside of the insulation: under the base and round the wall, or a plate's edges."""
    under_m = [side_m + 2.0 * INSULATION_M for side_m in build.base_sides_m]
    high_m = (build.wall_m or build.base.thick_m) + INSULATION_M
    round_m = math.pi * under_m[0] if build.heats == "water" else 2.0 * sum(under_m)
    return area_m2(tuple(under_m)) + round_m * high_m


def strip_m(build: Build) -> float:
    """How wide a strip the mats leave under a plate between them, for the vessel's cut-outs; they lie side by side."""
    return build.base_sides_m[0] - build.mat_count * build.mat.sides_m[0] - 2.0 * EDGE_M


def room_for_probe_m(build: Build) -> float:
    """Between the bowl and the vessel's wall, or the plate's edge."""
    return 0.5 * (disc_m(build) - bowl_m(build))
