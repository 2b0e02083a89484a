"""How warm a mat is over what it heats, how late its heat arrives, and what the vessel's cut-out feels."""

from __future__ import annotations

import math

from bainwright.builds import electrical
from bainwright.builds.parts import SUPPLY_V, Build

RUBBER_M, RUBBER_W_PER_MK = 0.0015, 0.25  # a mat's silicone; from memory
RUBBER_KG_PER_M3, RUBBER_J_PER_KGK = 1200.0, 1300.0  # from memory
GLUE_M2K_PER_W = 0.0026  # 0.5 mm of high-temperature silicone at 0.19 W/m·K, chosen
WATER_FILM_W_PER_M2K = 400.0  # natural convection over a warm base; from memory, see the test's correlation
WALL_M = 0.0008  # a pot's wall, chosen
WALL_CUT_OUT_M = 0.015  # height of the middle of the vessel's cut-out over the base, chosen
CUT_OUT_OHM, CUT_OUT_K_PER_W = 0.02, 5.0  # of a closed bimetal cut-out, under foam; from memory, chosen
LAG_ROOM = 1.6  # chosen: times the computed lag that a rig file may give; with a longer one the board only waits


def flux_w_per_m2(build: Build, worst: bool = False) -> float:
    """Heat through one mat's face; `worst` with the supply at its top and the mat at its least resistance."""
    mat = build.mat
    power_w = electrical.worst_v() * electrical.mat_worst_a(build) if worst else mat.power_w
    return power_w / mat.area_m2


def _inside_m2k_per_w() -> float:
    """From the middle of the mat, where its wire lies, to the metal."""
    return 0.5 * RUBBER_M / RUBBER_W_PER_MK + GLUE_M2K_PER_W


def _film_m2k_per_w(build: Build) -> float:
    """From the metal to the water; a plate is heated itself."""
    return 1.0 / WATER_FILM_W_PER_M2K if build.heats == "water" else 0.0


def mat_over_k(build: Build, worst: bool = False) -> float:
    """How far the mat's wire is over the water or plate at full heat, K."""
    return flux_w_per_m2(build, worst) * (_inside_m2k_per_w() + _film_m2k_per_w(build))


def partly_shorted_over_k(build: Build, current_a: float) -> float:
    """How far a mat's wire is over the water or plate where a part of it is shorted, K.

    What is left takes the current that lasts, on its own area: so its load does not depend on how much is left.
    """
    ohm = build.mat.ohm * (1.0 + electrical.MAT_TOLERANCE)
    return current_a**2 * ohm / build.mat.area_m2 * (_inside_m2k_per_w() + _film_m2k_per_w(build))


def own_heat_k(build: Build) -> float:
    """How much warmer than what it lies on the heater's current makes a cut-out, K; a relay's coil makes it none."""
    return 0.0 if build.relayed else electrical.mat_worst_a(build) ** 2 * CUT_OUT_OHM * CUT_OUT_K_PER_W


def lag_s(build: Build) -> float:
    """How late heat arrives: the mat's store behind all its layers, and the base's behind the film of water, s."""
    rubber = RUBBER_M * RUBBER_KG_PER_M3 * RUBBER_J_PER_KGK
    base = build.base.thick_m * build.base.kg_per_m3 * build.base.j_per_kgk
    film = _film_m2k_per_w(build)
    return rubber * (_inside_m2k_per_w() + film) + base * film


def cut_out_over_k(build: Build) -> float:
    """How far the vessel's cut-out is over the water at full heat, K: the wall is a fin that the water cools.

    exp(-x / sqrt(k t / h)): the fin's decay from the hot base, any text on heat transfer.
    """
    if build.heats == "plate":
        return flux_w_per_m2(build, worst=True) * build.base.thick_m / build.base.w_per_mk
    reach_m = math.sqrt(build.base.w_per_mk * WALL_M / WATER_FILM_W_PER_M2K)
    base_over_k = flux_w_per_m2(build, worst=True) * _film_m2k_per_w(build)
    return base_over_k * math.exp(-WALL_CUT_OUT_M / reach_m)


def load_w_per_cm2(build: Build) -> float:
    """Surface load of a mat at 24 V."""
    return SUPPLY_V**2 / build.mat.ohm / (1e4 * build.mat.area_m2)
