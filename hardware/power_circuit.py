"""The power stage of a build as data: each part once, with its nets; made from the build's ratings.

The drawing takes its words from here, and `power_faults.py` simulates each single failure of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from gate_circuit import ohm_text

from bainwright.builds import electrical
from bainwright.builds.parts import SUPPLY_V, Build

LAMP_OHM = 4.7e3  # at each end of the heat lamp's leads, which are thin; chosen: 2 mA
# 0 V of the 24 V side is "0", at X0's minus; of the gate's strip-board and of the board, as these thin wires join them.
GATE_0, BOARD_0 = "0_gate", "0_board"
ZERO_WIRES = (("W1", (GATE_0, "0"), "gate's 0 V to X0's minus"), ("W2", (BOARD_0, "0"), "pin 38 to X0's minus"),
              ("W3", (GATE_0, BOARD_0), "gate's 0 V to pin 38"))
INLET, ALL, GUARD = "inlet", "all", "guard"
MAT_PATH = "mat"  # and the end of the mat's ref


class PowerPart(NamedTuple):
    """One part of the power stage.

    Attributes
    ----------
    ref : str
        Its name in drawing and parts list.
    kind : str
        ``SUPPLY``, ``FUSE``, ``SWITCH``, ``CONTACT``, ``CUTOUT``, ``PLUG``, ``R``, ``MAT``, ``D``, ``LED``, ``NMOS`` or
        ``WIRE``, which can only break.
    ohm : float
        Resistance when whole and closed; 0 where it does not matter.
    nets : tuple of str
        Both ends, the positive one first; NMOS: drain, gate, source.
    label : str
        As the drawing writes it.
    guards : bool
        Is it there for safety only, so that an evening does not miss it once it has failed closed?
    path : str
        Whose current runs through it: `INLET`, all mats' (`ALL`), the guard relay's branch (`GUARD`), one mat's by its
        ref's end, or nothing where it carries a signal.
    rated_a : float
        What it may carry and switch; infinite where the heater's current does not run, and for fuses, which may blow.
    """

    ref: str
    kind: str
    ohm: float
    nets: tuple[str, ...]
    label: str
    guards: bool = False
    path: str = ""
    rated_a: float = math.inf


def parts(build: Build) -> tuple[PowerPart, ...]:
    """Every part of a build's power stage."""
    chain = _chain(build) if build.relayed else ()
    return (*_box(build), *chain, *(part for ref in build.refs for part in _mat(build, ref)))


def _box(build: Build) -> Iterator[PowerPart]:
    yield PowerPart("PS1", "SUPPLY", 0.0, ("24v_in", "0"), f"PS1\nisolated\n{SUPPLY_V:g} V DC, {build.supply_a:g} A\n"
                    f"({build.supply_w:.0f} W)", path=INLET)
    yield PowerPart("X0", "PLUG", 0.0, ("24v_in", "24v"), f"X0\n2-pole\n≥ {build.inlet_a:g} A", path=INLET,
                    rated_a=build.inlet_a)
    yield PowerPart("F1", "FUSE", 0.0, ("24v", "fused"), f"F1  {build.fuse_a:g} A\n32 V DC blade", guards=True,
                    path=ALL)
    yield PowerPart("S1", "SWITCH", 0.0, ("fused", "switched"),
                    f"S1  hand switch\n≥ {build.hand_switch_a:g} A 30 V DC", path=ALL, rated_a=build.hand_switch_a)
    yield PowerPart("F3", "FUSE", 0.0, ("switched", "guard_fed"), f"F3  {build.guard_fuse_a:g} A", guards=True,
                    path=GUARD)
    yield PowerPart("TF2", "FUSE", 0.0, ("guard_fed", "coils" if build.relayed else "24v_s"),
                    f"TF2  {build.on_switch.marked_c:g} °C\non Q1's tab", guards=True, path=GUARD,
                    rated_a=build.on_switch.rated_a)
    yield PowerPart("K1", "CONTACT", 0.0, ("switched", "kept" if build.relayed else "guarded"),
                    f"K1 contact\n{build.relay_a:g} A 30 V DC, n.o.", path=ALL, rated_a=build.relay_a)
    yield PowerPart("R13a", "R", LAMP_OHM, ("guarded", "lamp"), f"R13a\n{ohm_text(LAMP_OHM)}")
    yield PowerPart("LED1", "LED", 0.0, ("lamp", "lamp_back"), "LED1\nheat\nlamp,\nred")
    yield PowerPart("R13b", "R", LAMP_OHM, ("lamp_back", "drain"), f"R13b\n{ohm_text(LAMP_OHM)}")
    yield PowerPart("Q1", "NMOS", 0.0, ("drain", "q1_gate", "0"), f"Q1  {build.switch.kind}\nheater switch, logic\n"
                    f"level, ≥ {build.switch.drain_v:g} V\nlegs G D S, tab D")
    yield PowerPart("R14", "R", electrical.GATE_SERIES_OHM, ("heater", "q1_gate"),
                    f"R14\n{ohm_text(electrical.GATE_SERIES_OHM)}")
    yield PowerPart("R15", "R", electrical.GATE_PULL_OHM, ("q1_gate", "0"),
                    f"R15\n{ohm_text(electrical.GATE_PULL_OHM)}")
    for ref, nets, between in ZERO_WIRES:
        yield PowerPart(ref, "WIRE", 0.0, nets, f"{ref}: {between}", guards=True)


def _mat(build: Build, ref: str) -> Iterator[PowerPart]:
    """One mat with its own fuse (if it has one), plug, cut-outs and thermal fuse."""
    mat = build.mat
    fed, path = "guarded", MAT_PATH + ref
    if build.mat_fuse_a:
        fed = f"fed{ref}"
        yield PowerPart(f"F2{ref}", "FUSE", 0.0, ("guarded", fed), f"F2{ref}\n{build.mat_fuse_a:g} A", guards=True,
                        path=path)
    plus = f"hot{ref}" if build.relayed else f"plus{ref}"
    yield PowerPart(f"X1{ref}", "PLUG", 0.0, (fed, plus), f"plug X1{ref}\n2-pole", path=path,
                    rated_a=build.plug_a)
    if not build.relayed:
        yield from _cut_outs(build, ref, f"plus{ref}", path)
        yield _thermal_fuse(build, ref, (f"back{ref}", f"hot{ref}"), path)
    yield PowerPart(f"RH{ref}", "MAT", mat.ohm, (f"hot{ref}", "drain"),
                    f"RH{ref}  mat\n{mat.power_w:g} W\n{mat.ohm:.2f} Ω")


def _cut_outs(build: Build, ref: str, start: str, path: str) -> Iterator[PowerPart]:
    """Both cut-outs of one mat, from a net on."""
    wall = f"on the {build.vessel}'s wall" if build.heats == "water" else "between the mats"
    yield PowerPart(f"TCO2{ref}", "CUTOUT", 0.0, (start, f"wall{ref}"),
                    f"TCO2{ref}  {build.on_vessel.opens_c:g} °C bimetal\nmanual reset, {build.on_vessel.rated_a:g} A,\n"
                    + wall, guards=True, path=path, rated_a=build.on_vessel.rated_a)
    yield PowerPart(f"TCO1{ref}", "CUTOUT", 0.0, (f"wall{ref}", f"back{ref}"),
                    f"TCO1{ref}  {build.on_mat.opens_c:g} °C bimetal\nmanual reset, {build.on_mat.rated_a:g} A,\n"
                    "on the mat", guards=True, path=path, rated_a=build.on_mat.rated_a)


def _thermal_fuse(build: Build, ref: str, nets: tuple[str, str], path: str) -> PowerPart:
    return PowerPart(f"TF1{ref}", "FUSE", 0.0, nets, f"TF1{ref}  {build.fuse.marked_c:g} °C, {build.fuse.rated_a:g} A\n"
                     "thermal fuse\none-shot, crimped", guards=True, path=path, rated_a=build.fuse.rated_a)


def chain_end(build: Build) -> str:
    """The net of K2's coil: behind the last cut-out of the row."""
    return f"back{build.refs[-1]}"


def _chain(build: Build) -> Iterator[PowerPart]:
    """K2, whose coil every cut-out feeds; K1's coil by every thermal fuse."""
    yield PowerPart("K2", "CONTACT", 0.0, ("kept", "guarded"), f"K2 contact\n{build.relay_a:g} A 30 V DC, n.o.",
                    guards=True, path=ALL, rated_a=build.relay_a)
    for plug, net in (("X5", "chain"), ("X6", "fuses")):
        yield PowerPart(plug, "PLUG", 0.0, ("coils", net), f"plug {plug}\n2-pole", path=GUARD,
                        rated_a=build.on_mat.rated_a)
    start, held = "chain", "fuses"
    for ref in build.refs:
        yield from _cut_outs(build, ref, start, GUARD)
        start = f"back{ref}"
        fused = "24v_s" if ref == build.refs[-1] else f"held{ref}"
        yield _thermal_fuse(build, ref, (held, fused), GUARD)
        held = fused
    yield PowerPart("D7", "D", 0.0, ("0", chain_end(build)), "D7")
