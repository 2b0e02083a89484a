"""The power side of a build's drawing: supply, fuses, hand switch, guard contact, cut-outs, mats and heater switch."""

from __future__ import annotations

from schemdraw import elements as elm
from sheet import Sheet, pin_text

from bainwright.builds.parts import Build

TOP, BACK, LOW = 30.0, 25.5, 22.0  # of the lowest mat: its lead, its return, and 0 V
ROW = 7.0  # from one mat's lead to the next one's
JOIN_X, SPLIT_X = 18.6, 16.6  # where the returns of the mats meet, and where their leads part


def power(s: Sheet, build: Build) -> float:
    """Draw it; returns the height of what is above it."""
    top = TOP + ROW * (len(build.mats) - 1)
    s.frame((-1.0, LOW - 1.2), (20.2, top + 2.2), "1  Power: in the box, above the water")
    on_it = f"2  On the {build.vessel}, under its insulation"
    s.frame((22.2, BACK - 1.2), (37.4, top + 2.2), on_it, colour="firebrick")
    _supply(s, build)
    _switch(s, build)
    for row, ref in enumerate(reversed(build.refs)):
        _mat(s, build, ref, TOP + ROW * row)
    return top + 2.2


def _supply(s: Sheet, build: Build) -> None:
    """Supply, main fuse, hand switch, guard contact and the heat lamp."""
    s.box((-0.5, 24.3), (3.1, 27.3), f"PS1\nisolated\n24 V DC, {build.supply_a:g} A\n({build.supply_w:.0f} W)")
    s.wire((1.3, 27.3), (1.3, TOP), (3.0, TOP))
    s.words((1.5, 27.8), "+")
    s.words((1.5, 23.8), "-")
    s.part(elm.Fuse(), (3.0, TOP), (5.8, TOP), f"F1  {build.fuse_a:g} A\n32 V DC blade")
    s.part(elm.Switch(), (6.4, TOP), (9.4, TOP), f"S1  hand switch\n≥ {build.hand_switch_a:g} A 30 V DC")
    s.wire((5.8, TOP), (6.4, TOP))
    s.wire((9.4, TOP), (11.4, TOP))
    s.dot((10.2, TOP))
    s.wire((10.2, TOP), (10.2, TOP - 1.2), (10.6, TOP - 1.2))
    s.tag((10.6, TOP - 1.2), "24 V S", leftward=False)
    s.part(elm.Switch(), (11.4, TOP), (14.4, TOP), f"K1 contact\n{build.relay_a:g} A 30 V DC, n.o.")
    s.wire((14.4, TOP), (SPLIT_X, TOP))
    s.part(elm.ResistorIEC(), (15.2, TOP), (15.2, TOP - 2.4), "10k", "bottom")
    s.part(elm.LED(), (15.2, TOP - 2.4), (15.2, BACK), "heat\nlamp", "bottom")
    s.dot((15.2, TOP), (15.2, BACK))


def _switch(s: Sheet, build: Build) -> None:
    """Q1 in the negative lead, and what holds its gate down."""
    gate, source = s.mosfet((13.0, BACK))
    s.wire((13.0, BACK), (JOIN_X, BACK))
    s.wire(source, (13.0, LOW), (1.3, LOW), (1.3, 24.3))
    s.words((13.6, gate[1]), f"Q1  {build.switch.kind}\nheater switch, ≥ {build.switch.drain_v:g} V")
    s.wire(gate, (11.0, gate[1]))
    s.part(elm.ResistorIEC(), (11.0, gate[1]), (11.0, LOW), "4.7k", "bottom")
    s.part(elm.ResistorIEC(), (8.6, gate[1]), (11.0, gate[1]), "100 Ω")
    s.dot((11.0, gate[1]), (11.0, LOW), (7.0, LOW))
    s.tag((8.6, gate[1]), pin_text("heater"))
    s.ground((7.0, LOW))


def _mat(s: Sheet, build: Build, ref: str, y: float) -> None:
    """One mat with its fuse (if it has one), plug, cut-outs and thermal fuse."""
    back, mat = y - (TOP - BACK), build.mats[0]
    if y > TOP:
        s.wire((SPLIT_X, TOP), (SPLIT_X, y))
        s.dot((SPLIT_X, TOP))
        s.wire((JOIN_X, back), (JOIN_X, BACK))
        s.dot((JOIN_X, BACK))
    if build.mat_fuse_a:
        s.part(elm.Fuse(), (SPLIT_X, y), (18.2, y), f"F2{ref}\n{build.mat_fuse_a:g} A")
    else:
        s.wire((SPLIT_X, y), (18.2, y))
    s.wire((18.2, y), (23.2, y))
    s.joint((21.2, y), (21.2, back))
    s.words((21.2, (y + back) / 2), f"plug X1{ref}\n2-pole", middle=True)
    wall = f"{build.vessel}'s {'wall' if build.heats == 'water' else 'edge'}"
    s.part(elm.Breaker(), (23.2, y), (26.2, y),
           f"TCO2{ref}  {build.on_vessel.opens_c:g} °C bimetal\nmanual reset,\non the {wall}")  # fmt: skip
    s.part(elm.Breaker(), (26.6, y), (29.6, y),
           f"TCO1{ref}  {build.on_mat.opens_c:g} °C bimetal\nmanual reset,\non the mat")  # fmt: skip
    s.part(elm.FuseIEC(), (30.0, y), (33.2, y),
           f"TF1{ref}  {build.fuse.marked_c:g} °C\nthermal fuse\none-shot, crimped")  # fmt: skip
    s.wire((26.2, y), (26.6, y))
    s.wire((29.6, y), (30.0, y))
    s.wire((33.2, y), (34.2, y), (34.2, y - 0.8))
    s.part(elm.ResistorIEC(), (34.2, y - 0.8), (34.2, back + 0.8),
           f"RH{ref}  mat\n{mat.power_w:g} W\n{mat.ohm:.2f} Ω", "bottom")  # fmt: skip
    s.wire((34.2, back + 0.8), (34.2, back), (JOIN_X, back))
    s.words((23.4, back + 0.5), f"2 x {build.wire_mm2:g} mm², silicone, {build.run_m:g} m; drip loop")
