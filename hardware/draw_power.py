"""The power side of a build's drawing: supply, fuses, hand switch, guard contact, cut-outs, mats and heater switch."""

from __future__ import annotations

from power_circuit import parts
from schemdraw import elements as elm
from sheet import Sheet, pin_text

from bainwright.builds.parts import Build

TOP, BACK, LOW = 30.0, 25.5, 22.0  # of the lowest mat: its lead, its return, and 0 V
ROW = 7.0  # from one mat's lead to the next one's
KEPT_X = 14.4  # behind the guard contact
COILS = "24 V C"  # what feeds both relays' coils, by cut-outs and thermal fuses
RELAY_X = 3.8  # as much wider is the box with a second relay's contact in the lead


def power(s: Sheet, build: Build) -> float:
    """Draw it; returns the height of what is above it."""
    top = TOP + ROW * (build.mat_count - 1)
    start = _heat_x(build)
    s.frame((-1.0, LOW - 1.2), (start + 5.8, top + 2.2), "1  Power: in the box, above the water; PS1 stands outside")
    on_it = f"2  On the {build.vessel}, under its insulation"
    s.frame((start + 7.8, BACK - 1.2), (37.4, top + 2.2), on_it, colour="firebrick")
    _supply(s, build)
    _switch(s, build)
    for row, ref in enumerate(reversed(build.refs)):
        _mat(s, build, ref, TOP + ROW * row)
    return top + 2.2


def _heat_x(build: Build) -> float:
    """Where the lead is behind every relay's contact."""
    return KEPT_X + (RELAY_X if build.relayed else 0.0)


def _labels(build: Build) -> dict[str, str]:
    """What the drawing writes at each part, from the power stage's own table."""
    return {part.ref: part.label for part in parts(build)}


def _supply(s: Sheet, build: Build) -> None:
    """Supply, main fuse, hand switch, guard contact and the heat lamp."""
    label = _labels(build)
    s.box((-0.5, 24.3), (3.1, 27.3), label["PS1"])
    s.wire((1.3, 27.3), (1.3, TOP), (3.0, TOP))
    s.words((0.7, 27.7), "+")
    s.joint((1.3, 28.6), (1.3, 23.0))
    s.words((1.6, 28.4), label["X0"].replace("\n", "  ", 1))
    s.words((0.7, 23.9), "-")
    s.part(elm.Fuse(), (3.0, TOP), (5.8, TOP), label["F1"])
    s.test_point((1.3, TOP), "TP1", (-1.0, 0.42))
    s.part(elm.Switch(), (6.4, TOP), (9.4, TOP), label["S1"])
    s.wire((5.8, TOP), (6.4, TOP))
    s.wire((9.4, TOP), (11.4, TOP))
    s.dot((10.2, TOP))
    s.part(elm.Fuse(), (10.2, TOP), (10.2, TOP - 1.6), label["F3"].replace("  ", "\n"), "top")
    s.part(elm.FuseIEC(), (10.2, TOP - 1.6), (10.2, TOP - 3.4), label["TF2"].replace("  ", "\n"), "top")
    s.wire((10.2, TOP - 3.4), (10.6, TOP - 3.4))
    s.tag((10.6, TOP - 3.4), COILS if build.relayed else "24 V S", leftward=False)
    if not build.relayed:
        s.test_point((10.2, TOP - 3.4), "TP3", (-1.0, 0.0))
    s.part(elm.Switch(), (11.4, TOP), (KEPT_X, TOP), label["K1"])
    x = _heat_x(build)
    if build.relayed:
        s.part(elm.Switch(), (x - 3.0, TOP), (x, TOP), label["K2"])
        s.wire((KEPT_X, TOP), (x - 3.0, TOP))
    lamp_x = x + 0.8
    s.wire((x, TOP), (x + 2.2, TOP))
    s.part(elm.ResistorIEC(), (lamp_x, TOP), (lamp_x, TOP - 1.4), label["R13a"], "bottom")
    s.part(elm.LED(), (lamp_x, TOP - 1.4), (lamp_x, BACK + 1.4), label["LED1"], "bottom")
    s.part(elm.ResistorIEC(), (lamp_x, BACK + 1.4), (lamp_x, BACK), label["R13b"], "bottom")
    s.dot((lamp_x, TOP), (lamp_x, BACK))
    s.test_point((x + 1.5, TOP), "TP4", (-0.2, 0.5))


def _switch(s: Sheet, build: Build) -> None:
    """Q1 in the negative lead, and what holds its gate down."""
    label = _labels(build)
    gate, source = s.mosfet((13.0, BACK))
    s.wire((13.0, BACK), (_heat_x(build) + 4.2, BACK))
    s.wire(source, (13.0, LOW), (1.3, LOW), (1.3, 24.3))
    s.words((13.6, gate[1]), label["Q1"])
    s.wire(gate, (11.0, gate[1]))
    s.part(elm.ResistorIEC(), (11.0, gate[1]), (11.0, LOW), label["R15"], "bottom")
    s.part(elm.ResistorIEC(), (8.6, gate[1]), (11.0, gate[1]), label["R14"])
    s.dot((11.0, gate[1]), (11.0, LOW), (7.0, LOW))
    s.tag((8.6, gate[1]), pin_text("heater"))
    s.ground((7.0, LOW))
    s.test_point((11.0, LOW), "TP2", (0.2, -0.5))
    s.test_point((13.8, BACK), "TP5", (-0.2, 0.5))
    s.test_point((11.0, gate[1]), "TP6", (-0.1, 0.5))


def _mat(s: Sheet, build: Build, ref: str, y: float) -> None:
    """One mat with its fuse (if it has one), plug, cut-outs and thermal fuse."""
    back, label = y - (TOP - BACK), _labels(build)
    split_x = _heat_x(build) + 2.2
    join_x, plug_x, on_it_x = split_x + 2.0, split_x + 4.6, split_x + 6.6
    if y > TOP:
        s.wire((split_x, TOP), (split_x, y))
        s.dot((split_x, TOP))
        s.wire((join_x, back), (join_x, BACK))
        s.dot((join_x, BACK))
    if build.mat_fuse_a:
        s.part(elm.Fuse(), (split_x, y), (split_x + 1.6, y), label[f"F2{ref}"])
    else:
        s.wire((split_x, y), (split_x + 1.6, y))
    s.wire((split_x + 1.6, y), (on_it_x, y))
    s.joint((plug_x, y), (plug_x, back))
    s.words((plug_x, (y + back) / 2), label[f"X1{ref}"], middle=True)
    if build.relayed:
        s.wire((on_it_x, y), (34.2, y), (34.2, y - 0.8))
        s.words((on_it_x + 0.2, y + 0.5), "no cut-out in this lead: block 10")
    else:
        s.part(elm.Breaker(), (on_it_x, y), (on_it_x + 3.0, y), label[f"TCO2{ref}"])
        s.part(elm.Breaker(), (on_it_x + 4.0, y), (on_it_x + 7.0, y), label[f"TCO1{ref}"])
        s.part(elm.FuseIEC(), (on_it_x + 7.6, y), (on_it_x + 10.6, y), label[f"TF1{ref}"])
        s.wire((on_it_x + 3.0, y), (on_it_x + 4.0, y))
        s.wire((on_it_x + 7.0, y), (on_it_x + 7.6, y))
        s.wire((on_it_x + 10.6, y), (34.2, y), (34.2, y - 0.8))
    s.part(elm.ResistorIEC(), (34.2, y - 0.8), (34.2, back + 0.8), label[f"RH{ref}"], "bottom")
    s.wire((34.2, back + 0.8), (34.2, back), (join_x, back))
    s.words((on_it_x + 0.2, back + 0.5), f"2 x {build.wire_mm2:g} mm², silicone, {build.run_m:g} m; drip loop")
