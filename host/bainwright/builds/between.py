"""The power side of a heater between the builds: the smallest parts, as sold, that the builds' own rules allow."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from bainwright.builds import electrical, overload, rules, warmth
from bainwright.builds.catalogue import MAT, POT
from bainwright.builds.parts import Build

FUSES_A = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0)  # blade fuses, ISO 8820-3, from memory
CARRIES_A = (3.0, 5.0, 8.0, 10.0, 15.0)  # at 24 V DC: plugs, switches, relays and cut-outs as sold, from memory
TEMPERATURES = (MAT, POT)  # whose cut-out and thermal fuse on the mat another mat may take


@dataclass(frozen=True)
class MatSize:
    """The least area of a mat, cm², with which a cut-out and a thermal fuse of these marks fit, °C."""

    least_cm2: int
    cut_out_c: float
    fuse_c: float


@dataclass(frozen=True)
class PowerSide:
    """What a heater needs between its supply and its mat.

    Attributes
    ----------
    fuse_a : float
        F1.
    wire_mm2 : float
        Cable of the mat, as long as the builds' own.
    carries_a : float
        At 24 V DC, at least: X0, S1, K1, X1, both cut-outs and the thermal fuse.
    mats : tuple of MatSize
        Its mat, for the marks of each guide; those that do not fit under the vessel are left out.
    """

    fuse_a: float
    wire_mm2: float
    carries_a: float
    mats: tuple[MatSize, ...]


def power_side(heater_w: float, supply_a: float, bottom_m2: float) -> PowerSide:
    """Choose the parts for one mat of so many watts under a bottom, on a supply that `supply.supply_a` gives for it."""
    built = [like(guide, heater_w, supply_a) for guide in TEMPERATURES]
    mats = tuple(MatSize(round(1e4 * build.mat.area_m2), build.on_mat.opens_c, build.fuse.marked_c) for build in built
                 if build.mat.area_m2 <= rules.ON_BASE * bottom_m2)
    return PowerSide(built[0].fuse_a, built[0].wire_mm2, built[0].inlet_a, mats)


def like(guide: Build, heater_w: float, supply_a: float) -> Build:
    """A guide's build with one mat of other watts, its parts chosen for it; the vessel stays the guide's."""
    mat = replace(guide.mat, power_w=heater_w)
    build = replace(guide, mat=mat, mat_count=1, mat_fuse_a=None, supply_a=supply_a)
    worst_a, limit_a = electrical.worst_a(build), overload.limit_a(build)
    fuse_a = next(sold_a for sold_a in FUSES_A if worst_a <= rules.FUSE_LOAD * sold_a)
    carries_a = next(sold_a for sold_a in CARRIES_A if limit_a <= sold_a)
    build = replace(
        build, fuse_a=fuse_a, wire_mm2=_wire_mm2(build, max(fuse_a, limit_a)), inlet_a=carries_a, plug_a=carries_a,
        hand_switch_a=carries_a, relay_a=carries_a, on_mat=replace(guide.on_mat, rated_a=carries_a),
        on_vessel=replace(guide.on_vessel, rated_a=carries_a), fuse=replace(guide.fuse, rated_a=carries_a),
    )  # fmt: skip
    mat = replace(mat, lead_mm2=build.wire_mm2)
    side_m = math.sqrt(1e-4 * math.ceil(1e4 * _least_mat_m2(build)))
    return replace(build, mat=replace(mat, sides_m=(side_m, side_m)))


def _wire_mm2(build: Build, carries_a: float) -> float:
    """The thinner cable of the guides that carries the current and takes little of the voltage."""
    return next(mm2 for mm2 in sorted(guide.wire_mm2 for guide in TEMPERATURES)
                if electrical.CABLE_A[mm2] >= carries_a
                and electrical.cable_drop_share(replace(build, wire_mm2=mm2)) <= rules.CABLE_DROP)


def _least_mat_m2(build: Build) -> float:
    """The least area under which no rule on a mat's temperature breaks: all of them go with the load per area."""
    full_k = warmth.mat_over_k(build, worst=True)
    earliest_c = build.on_mat.earliest_c
    cooler_k = min(earliest_c - rules.CLEAR_K - rules.WARMEST_BATH_C, earliest_c - build.hard_limit_c,
                   build.fuse.holds_c - rules.WARMEST_BATH_C)  # fmt: skip
    room_k = rules.rated_c(build) - build.on_vessel.latest_c
    shares = (full_k / cooler_k,
              warmth.partly_shorted_over_k(build, overload.mat_a(build)) / room_k,
              (rules.mat_at_over_voltage_c(build) - build.on_vessel.latest_c) / room_k,
              warmth.load_w_per_cm2(build) / rules.LOAD_W_PER_CM2)  # fmt: skip
    return build.mat.area_m2 * max(shares)
