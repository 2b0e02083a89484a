"""The power side of a heater between the builds: the smallest parts, as sold, that the builds' own rules allow."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from bainwright.builds import electrical, overload, rules, warmth
from bainwright.builds.catalogue import COIL_CUT_OUT_A, MAT, PLATE, POT
from bainwright.builds.parts import Build

FUSES_A = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0)  # blade fuses, ISO 8820-3, from memory
CARRIES_A = (3.0, 5.0, 8.0, 10.0, 15.0)  # at 24 V DC: plugs, switches, relays and cut-outs as sold, from memory
UNDER_WATER = (MAT, POT)  # whose cut-out and thermal fuse on the mat another mat may take
UNDER_PLATE = (PLATE,)


@dataclass(frozen=True)
class MatSize:
    """The least area of a mat, cm², with which a cut-out and a thermal fuse of these marks fit, °C."""

    least_cm2: int
    cut_out_c: float
    fuse_c: float


@dataclass(frozen=True)
class PowerSide:
    """What a heater needs between its supply and its mats.

    Attributes
    ----------
    fuse_a : float
        F1.
    mat_fuse_a : float or None
        F2, for each of several mats.
    wire_mm2 : float
        Cable of each mat, as long as the builds' own.
    carries_a : float
        At 24 V DC, at least: X0, S1, K1, X1, and K2 where there is one.
    relayed : bool
        Whether the cut-outs and thermal fuses carry the coils of two relays.
    cut_out_a : float
        What each cut-out and thermal fuse on a mat switches at 24 V DC, at least.
    mat_count : int
        As many alike.
    mat_w : float
        Each of them at 24 V.
    mats : tuple of MatSize
        Each mat, for the marks of each guide; those that do not fit are left out.
    """

    fuse_a: float
    mat_fuse_a: float | None
    wire_mm2: float
    carries_a: float
    relayed: bool
    cut_out_a: float
    mat_count: int
    mat_w: float
    mats: tuple[MatSize, ...]


def power_side(heater_w: float, supply_a: float, bottom_m2: float) -> PowerSide:
    """Choose the parts for one mat of so many watts under a bottom, on a supply that `supply.supply_a` gives for it."""
    return _side([like(guide, heater_w, supply_a) for guide in UNDER_WATER], bottom_m2)


def plate_power_side(heater_w: float, supply_a: float) -> PowerSide:
    """The same for two mats side by side under a plate of the guide's size."""
    return _side([like(guide, heater_w, supply_a) for guide in UNDER_PLATE], PLATE.base_m2)


def _side(built: list[Build], bottom_m2: float) -> PowerSide:
    first = built[0]
    mats = tuple(MatSize(round(1e4 * build.mat.area_m2), build.on_mat.opens_c, build.fuse.marked_c) for build in built
                 if build.mat_count * build.mat.area_m2 <= rules.ON_BASE * bottom_m2)
    return PowerSide(first.fuse_a, first.mat_fuse_a, first.wire_mm2, first.inlet_a, first.relayed, first.fuse.rated_a,
                     first.mat_count, first.mat.power_w, mats)


def like(guide: Build, heater_w: float, supply_a: float) -> Build:
    """A guide's build with mats of other watts, its parts chosen for them; the vessel stays the guide's."""
    mat = replace(guide.mat, power_w=heater_w / guide.mat_count)
    build = replace(guide, mat=mat, supply_a=supply_a)
    carries_a = _sold_a(CARRIES_A, overload.limit_a(build))
    relayed = carries_a > rules.DIRECT_A
    cut_out_a = COIL_CUT_OUT_A if relayed else carries_a
    build = replace(
        build, fuse_a=_sold_a(FUSES_A, electrical.worst_a(build) / rules.FUSE_LOAD), inlet_a=carries_a,
        plug_a=carries_a, hand_switch_a=carries_a, relay_a=carries_a, relayed=relayed,
        mat_fuse_a=_sold_a(FUSES_A, electrical.mat_worst_a(build) / rules.FUSE_LOAD) if guide.mat_count > 1 else None,
        on_mat=replace(guide.on_mat, rated_a=cut_out_a), on_vessel=replace(guide.on_vessel, rated_a=cut_out_a),
        fuse=replace(guide.fuse, rated_a=cut_out_a),
    )  # fmt: skip
    build = replace(build, wire_mm2=_wire_mm2(build, max(build.fuse_a, overload.limit_a(build))))
    mat = replace(mat, lead_mm2=build.wire_mm2)
    side_m = math.sqrt(1e-4 * math.ceil(1e4 * _least_mat_m2(build)))
    return replace(build, mat=replace(mat, sides_m=(side_m, side_m)))


def _sold_a(sold: tuple[float, ...], least_a: float) -> float:
    """The smallest rating as sold that is enough."""
    return next(each_a for each_a in sold if least_a <= each_a)


def _wire_mm2(build: Build, carries_a: float) -> float:
    """The thinner cable of the guides that carries the current and takes little of the voltage."""
    return next(mm2 for mm2 in sorted(guide.wire_mm2 for guide in UNDER_WATER)
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
