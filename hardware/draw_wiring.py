"""Draws the wiring of each build from the firmware's pin map, the gate's table and the build's own ratings.

    python hardware/draw_wiring.py
"""

from __future__ import annotations

import re
from pathlib import Path

import power_circuit
from box_circuit import BY_REF as BOX
from draw_power import COILS, power
from gate_circuit import BY_REF as GATE
from schemdraw import elements as elm
from sheet import PINS, SMALL, Point, Sheet, pin_text
from stripboard import PIN_OF

from bainwright.builds.catalogue import BUILDS, MAT, MAT_BY_RELAY
from bainwright.builds.parts import Build

NOT_FITTED = ("adc_water", "adc_bowl", "sck", "mosi", "miso", "cs_water", "cs_bowl")  # the builds' probes are digital
RAIL_3V3_PIN, VBUS_PIN = 36, 40
CAUTION = "A hobby build, not certified. Read SAFETY.md first; local electrical codes override this."
GATE_UNDER_DRAIN = 7 / 6  # how schemdraw draws a MOSFET, in its units


def label(ref: str) -> str:
    """A part as the drawing writes it, from the circuits' own tables: its name, then what it is."""
    text = (GATE.get(ref) or BOX[ref]).label
    return text if text.startswith(ref) else f"{ref}\n{text}"


def pump(s: Sheet, start: Point, refs: tuple[str, str, str, str, str], store_x: float) -> None:
    """One charge pump: series resistor, two capacitors, a diode from 0 V and one onward."""
    x, y = start
    resistor, first, second, reset, feed = refs
    s.part(elm.ResistorIEC(), (x, y), (x + 2.0, y), label(resistor))
    for at, ref in ((2.0, first), (4.2, second)):
        words = label(ref).replace("  ", "\n").replace(" film", "\nfilm")
        s.part(elm.Capacitor(), (x + at, y), (x + at + 2.2, y), words)
    s.part(elm.Diode(), (x + 6.4, y - 2.0), (x + 6.4, y), label(reset), "bottom")
    s.ground((x + 6.4, y - 2.0))
    s.dot((x + 6.4, y))
    s.part(elm.Diode(), (x + 6.4, y), (x + 8.6, y), label(feed))
    s.wire((x + 8.6, y), (store_x, y))


def heartbeat(s: Sheet) -> None:
    """Every edge of the heartbeat pin charges one of two pumps; two comparators let go when the edges stop."""
    s.frame((-1.0, 4.9), (42.0, 19.9), "3  Heartbeat gate and guard relay: in the box")
    upper, store_x = 17.4, 18.6
    s.tag((4.6, upper), pin_text("heartbeat"))
    s.wire((4.6, upper), (9.0, upper))
    s.joint((5.0, upper), (6.0, upper))
    s.words((4.5, upper + 0.9), f"{label('J1')} heartbeat\njumper, fitted in use")
    s.part(elm.ResistorIEC(), (6.8, upper), (6.8, upper - 2.4), label("R2a"), "top")
    s.wire((6.8, upper - 2.4), (6.8, 12.6))
    s.part(elm.ResistorIEC(), (6.8, 12.6), (6.8, 10.2), label("R2b"), "top")
    s.ground((6.8, 10.2))
    pump(s, (9.0, upper), ("R1a", "C1a", "C1b", "D1", "D2"), store_x)
    inverter = s.drawing.add(elm.Opamp(leads=True).theta(0).anchor("in1").at((9.0, 12.6)))
    s.wire((6.8, 12.6), (9.0, 12.6))
    _comparator(s, inverter, "IC1A")
    s.tag(tuple(inverter.in2), "REF 1")
    out = tuple(inverter.out)
    pump_x = out[0] - 1.4
    s.part(elm.ResistorIEC(), (out[0], out[1] + 2.2), out, label("R3"), "top")
    s.rail((out[0], out[1] + 2.2), "3.3 V")
    s.dot((6.8, upper), (6.8, 12.6), out)
    pump(s, (pump_x + 1.4, out[1]), ("R4", "C1c", "C1d", "D3", "D4"), max(store_x, pump_x + 10.0))
    joint_x = max(store_x, pump_x + 10.0)
    s.wire((joint_x, out[1]), (joint_x, upper))
    s.part(elm.Capacitor(), (joint_x, out[1]), (joint_x, out[1] - 2.4), label("C2").replace("  ", "\n"), "top")
    s.dot((joint_x, out[1]), (joint_x, upper))
    s.ground((joint_x, out[1] - 2.4))
    s.wire((store_x, upper), (24.8, upper))
    s.test_point((20.6, upper), "TP8")
    channel(s, (23.2, upper), ("R5a", "R5b", "IC1B", "R10a", "R10b", "Q4"), "REF 1")
    s.wire((24.8, upper), (24.8, 12.0))
    s.dot((23.2, upper))
    channel(s, (24.8, 12.0), ("R6a", "R6b", "IC2A", "R11a", "R11b", "Q5"), "REF 2")
    reference(s, 1.0, "R7a", "R7b", "REF 1")
    reference(s, 4.8, "R8a", "R8b", "REF 2")
    s.words((0.2, 5.5), "IC1, IC2 = TLC393, open drain: 3.3 V on pin 8, 0 V on pin 4, 100n across each.  "
            "IC2B is not used: its inputs, pins 5 and 6, to 0 V.  D1-D4 = 1N4148, D5 and D6 = 1N4007.")
    s.words((9.4, 8.2), "Edges every 1 s hold the guard relay. It opens within 2 s\nof the last one. Each comparator "
            "must pull its transistor\non: one that is dead, unplugged or unsoldered opens the relay.")
    relay(s)


def _comparator(s: Sheet, drawn: elm.Opamp, ref: str) -> None:
    """Its name, and the package's number at each pin."""
    s.words((drawn.center[0] - 0.1, drawn.center[1]), label(ref), middle=True)
    of_package = PIN_OF[ref[-1]]
    for anchor, pin, aside in ((drawn.in1, 1, 0.35), (drawn.in2, 0, 0.35), (drawn.out, 2, -0.55)):
        s.words((anchor[0] + aside, anchor[1] + 0.22), str(of_package[pin]), SMALL)


def channel(s: Sheet, top: Point, refs: tuple[str, str, str, str, str, str], against: str) -> None:
    """A resistor pair, its comparator, and the transistor that it must pull on."""
    upper, lower, comparator, base, off, transistor = refs
    x, y = top
    s.part(elm.ResistorIEC(), (x, y), (x, y - 2.2), label(upper), "top")
    s.part(elm.ResistorIEC(), (x, y - 2.6), (x, y - 4.6), label(lower), "top")
    s.wire((x, y - 2.2), (x, y - 2.6))
    s.ground((x, y - 4.6))
    middle = (x, y - 2.4)
    s.dot(middle)
    gatekeeper = s.drawing.add(elm.Opamp(leads=True).theta(0).anchor("in1").at((27.3, middle[1])))
    s.wire(middle, (27.3, middle[1]))
    _comparator(s, gatekeeper, comparator)
    s.tag(tuple(gatekeeper.in2), against)
    out = tuple(gatekeeper.out)
    s.part(elm.ResistorIEC(), out, (31.6, out[1]))
    s.words(((out[0] + 31.6) / 2, out[1] - 0.85), label(base), middle=True)
    pnp = s.drawing.add(elm.BjtPnp().theta(0).anchor("base").at((32.6, out[1])))
    s.wire((31.6, out[1]), (32.6, out[1]))
    emitter, collector = tuple(pnp.emitter), tuple(pnp.collector)
    s.words((emitter[0] + 0.2, out[1]), label(transistor))
    s.part(elm.ResistorIEC(), (31.8, out[1] + 2.2), (31.8, out[1]), label(off), "bottom")
    s.wire((31.8, out[1] + 2.2), (emitter[0], out[1] + 2.2), emitter)
    s.dot((31.8, out[1]), (emitter[0], out[1] + 2.2))
    if against == "REF 1":
        s.tag((30.4, 18.4), pin_text("guard"))
        s.wire((30.4, 18.4), (emitter[0], 18.4), (emitter[0], out[1] + 2.2))
        s.part(elm.ResistorIEC(), (31.0, 18.4), (31.0, 16.4), label("R9"), "top")
        s.ground((31.0, 16.4))
        s.dot((31.0, 18.4))
        s.wire(collector, (collector[0], 11.2))
    else:
        s.wire((emitter[0], out[1] + 2.2), (emitter[0], 11.2))
        s.wire(collector, (collector[0], 7.8), (34.2, 7.8))


def relay(s: Sheet) -> None:
    """The MOSFET's gate with its two pull-downs, the relay's coil, its diode and the guard lamp."""
    y = 7.8
    s.part(elm.ResistorIEC(), (33.8, y), (33.8, y - 1.8), label("R12a"), "top")
    s.part(elm.ResistorIEC(), (34.2, y), (36.2, y), label("R12b"))
    s.part(elm.ResistorIEC(), (36.4, y), (36.4, y - 1.8), label("R12c"), "top")
    s.ground((33.8, y - 1.8), (36.4, y - 1.8))
    gate, source = s.mosfet((37.6, y + GATE_UNDER_DRAIN))
    s.wire((36.2, y), gate)
    s.dot((33.8, y), (36.4, y))
    s.wire(source, (source[0], 6.0))
    s.ground((source[0], 6.0))
    s.words((37.8, gate[1] - 0.5), label("Q2"))
    s.test_point((36.4, y), "TP7", (-0.3, 0.5))
    x, low, top = 37.6, y + GATE_UNDER_DRAIN, 16.6
    s.rail((x, top), "24 V K")
    s.part(elm.RBox(), (x, top), (x, low), label("K1"), "top")
    s.part(elm.Diode(), (39.2, low), (39.2, top), "D5", "bottom")
    s.part(elm.ResistorIEC(), (40.6, top), (40.6, 14.0), label("R26"), "top")
    s.part(elm.LED(), (40.6, 14.0), (40.6, low), label("LED5"), "top")
    s.wire((x, top), (40.6, top))
    s.wire((x, low), (40.6, low))
    s.dot((x, top), (39.2, top), (x, low), (39.2, low))


def reference(s: Sheet, x: float, upper: str, lower: str, name: str) -> None:
    """A comparator's threshold."""
    s.rail((x, 10.6), "3.3 V")
    s.part(elm.ResistorIEC(), (x, 10.6), (x, 8.6), label(upper), "top")
    s.part(elm.ResistorIEC(), (x, 8.6), (x, 6.6), label(lower), "top")
    s.wire((x, 8.6), (x + 0.8, 8.6))
    s.dot((x, 8.6))
    s.ground((x, 6.6))
    s.tag((x + 0.8, 8.6), name, leftward=False)
    s.words((x + 0.5, 7.8), "0.50 V")
    s.test_point((x, 8.6), {"REF 1": "TP9", "REF 2": "TP10"}[name], (0.25, 0.7))


def board(s: Sheet) -> None:
    """The board: what it is fed by and where each pin goes."""
    s.frame((-1.0, -12.4), (11.9, 4.0), "4  The board: in the box")
    s.box((2.4, -11.0), (6.6, 3.4), "")
    s.words((4.5, 2.5), "microcontroller\nboard (Raspberry\nPi Pico)", middle=True)
    fitted = [name for name in sorted(PINS, key=lambda name: PINS[name]) if name not in NOT_FITTED]
    for row, name in enumerate(fitted):
        s.tag((6.6, 1.0 - 11.0 * row / (len(fitted) - 1)), pin_text(name), leftward=False)
    for y, name, pin in ((1.0, "5 V", VBUS_PIN), (-0.6, "3.3 V", RAIL_3V3_PIN)):
        s.wire((1.6, y), (2.4, y))
        s.rail((1.6, y), name)
        s.words((2.6, y), f"{'VBUS' if name == '5 V' else '3V3'} pin {pin}", SMALL)
    s.test_point((1.9, -0.6), "TP11", (-0.6, -0.45))
    s.wire((1.6, -2.2), (2.4, -2.2))
    s.ground((1.6, -2.2))
    s.words((2.6, -2.2), "GND pin 38", SMALL)
    s.words((-0.6, -4.4), "fed by USB\nonly: a PC or\na 5 V charger", SMALL)
    wires = "\n".join(f"{ref}: {between}".replace(" to ", "\nto ") for ref, _, between in power_circuit.ZERO_WIRES)
    s.words((-0.6, -7.6), f"0 V:\n{wires}", SMALL)
    free = [f"GP{PINS[name]} {name}" for name in NOT_FITTED]
    s.words((-0.6, -11.7), f"free: {', '.join(free[:2])},\n{', '.join(free[2:5])},\n{', '.join(free[5:])}", SMALL)


def _probe(build: Build, ref: str) -> str:
    """A probe's words, one under the other; a plate has one in its metal."""
    words = label(ref).replace("  ", "\n").replace(", ", "\n").replace(" ", "\n")
    return words if build.heats == "water" else words.replace("water", build.heats)


def probes(s: Sheet, build: Build) -> None:
    """Two digital probes on one bus."""
    s.frame((12.8, -5.0), (23.4, 4.0), "5  Probes, keyed plugs")
    red, data, black = 18.8, 19.4, 20.0
    s.rail((17.9, 2.9), "3.3 V")
    s.wire((17.9, 2.9), (17.9, 2.6), (red, 2.6))
    s.part(elm.ResistorIEC(), (17.9, 2.6), (17.9, 0.4), label("R23"), "top")
    s.dot((17.9, 2.6), (17.9, 0.4))
    s.wire((17.6, 0.4), (data, 0.4))
    s.tag((17.6, 0.4), pin_text("onewire"))
    s.wire((red, 2.6), (red, -2.0))
    s.wire((data, 1.8), (data, -2.8))
    s.wire((black, 1.0), (black, -4.0))
    s.ground((black, -4.0))
    for top, ref in ((2.6, "X2"), (-2.0, "X3")):
        s.box((20.5, top - 2.1), (23.1, top + 0.5), "")
        s.words((22.15, top - 0.8), _probe(build, ref), SMALL, middle=True)
        for x, y, pin in ((red, top, "VDD"), (data, top - 0.8, "DQ"), (black, top - 1.6, "GND")):
            s.wire((x, y), (20.5, y))
            s.words((20.6, y), pin, SMALL)
    s.dot((red, 2.6), (data, 0.4))


def panel(s: Sheet) -> None:
    """Buttons, lamps and buzzer."""
    s.frame((24.4, -11.2), (35.0, 4.0), "6  Panel")
    for name, pull_up, y in (("yes", "R16", 1.3), ("no", "R17", -1.9)):
        s.rail((29.2, y + 1.6), "3.3 V")
        s.part(elm.ResistorIEC(), (29.2, y + 1.6), (29.2, y), label(pull_up), "top")
        s.tag((29.0, y), pin_text(name))
        s.wire((29.0, y), (30.6, y))
        s.part(elm.Button(), (30.6, y), (33.2, y), label(name.upper()))
        s.ground((33.2, y))
        s.dot((29.2, y))
    for row, name in enumerate(("lamp_below", "lamp_in", "lamp_above")):
        y = -4.6 - 2.4 * row
        s.tag((29.6, y), pin_text(name))
        s.part(elm.ResistorIEC(), (29.6, y), (31.6, y), label(f"R{18 + row}"))
        s.part(elm.LED(), (31.6, y), (33.8, y), label(f"LED{2 + row}"))
        s.ground((33.8, y))


def buzzer(s: Sheet) -> None:
    """An active buzzer on 5 V, switched by a small transistor."""
    s.frame((12.8, -11.2), (23.4, -6.0), "7  Buzzer")
    s.tag((17.3, -9.4), pin_text("buzzer"))
    s.part(elm.ResistorIEC(), (17.3, -9.4), (19.3, -9.4), label("R21"))
    s.part(elm.ResistorIEC(), (19.3, -9.4), (19.3, -10.5))
    s.words((17.9, -10.3), label("R22"))
    s.ground((19.3, -10.5))
    s.dot((19.3, -9.4))
    s.wire((19.3, -9.4), (19.9, -9.4))
    transistor = s.drawing.add(elm.BjtNpn().theta(0).anchor("base").at((19.9, -9.4)))
    collector, emitter = tuple(transistor.collector), tuple(transistor.emitter)
    s.words((collector[0] + 0.2, -9.4), label("Q3"))
    s.ground(emitter)
    top = -6.8
    s.rail((collector[0], top), "")
    s.words((collector[0] - 1.0, top + 0.1), "5 V")
    s.part(elm.RBox(), (collector[0], top), collector, label("BZ1"), "top")
    s.part(elm.Diode(), (collector[0] + 1.4, collector[1]), (collector[0] + 1.4, top), "D6", "bottom")
    s.wire(collector, (collector[0] + 1.4, collector[1]))
    s.wire((collector[0], top), (collector[0] + 1.4, top))
    s.dot(collector, (collector[0], top))


def display(s: Sheet) -> None:
    """The display, a module with its own pull-ups."""
    s.frame((12.8, -17.2), (23.4, -12.0), "8  Display, if fitted")
    s.box((19.4, -16.0), (23.1, -12.8), "")
    s.words((21.9, -14.4), label("X4").replace("  ", "\n"), SMALL, middle=True)
    for x, y, pin in ((19.5, -13.4, "VCC"), (19.5, -14.2, "SDA"), (19.5, -15.4, "SCL"), (20.9, -15.7, "GND")):
        s.words((x, y), pin, SMALL)
    for y, name in ((-14.2, "sda"), (-15.4, "scl")):
        s.tag((17.6, y), pin_text(name))
        s.wire((17.6, y), (19.4, y))
    s.rail((18.8, -13.1), "3.3 V")
    s.wire((18.8, -13.1), (18.8, -13.4), (19.4, -13.4))
    s.ground((21.2, -16.0))


def float_switch(s: Sheet, build: Build) -> None:
    """The float in the coil's supply, and the divider by which the board sees it."""
    fitted = "Float, if fitted; else a link"
    if build.heats == "plate":
        fitted = "A plate has no float"
    s.frame((24.4, -19.2), (35.0, -12.0), f"9  {fitted}")
    y, node = -13.6, 31.0
    s.tag((27.4, y), "24 V S")
    if build.heats == "plate":
        s.part(elm.Line(), (27.4, y), (30.4, y), "link")
    else:
        s.part(elm.Switch(), (27.4, y), (30.4, y), label("S2"))
    s.wire((30.4, y), (32.2, y))
    s.tag((32.2, y), "24 V K", leftward=False)
    low, end = -16.8, -18.3
    if build.heats == "plate":
        s.tag((30.6, low), pin_text("float"))
        s.words((27.6, low - 1.0), "not connected: R24a, R24b, R25 are left out", SMALL)
        return
    s.part(elm.ResistorIEC(), (node, y), (node, -15.2), label("R24a"), "bottom")
    s.part(elm.ResistorIEC(), (node, -15.2), (node, low), label("R24b"), "bottom")
    s.part(elm.ResistorIEC(), (node, low), (node, end), label("R25"), "bottom")
    s.tag((30.6, low), pin_text("float"))
    s.wire((30.6, low), (node, low))
    s.dot((node, y), (node, low))
    s.ground((node, end))


def by_relay(s: Sheet, build: Build) -> None:
    """The cut-outs and thermal fuses in the supplies of two relays' coils: so built, or as the mat may be."""
    parts = {part.ref: part for part in power_circuit.parts(MAT_BY_RELAY if build is MAT else build)}
    title = (f"10  Cut-outs, thermal fuses: on the {build.vessel}; K2, D7 in the box" if build.relayed
             else "10  Only if cut-outs and fuses may not switch the heater's current")
    s.frame((-1.0, -21.0), (11.9, -13.2), title)
    y, x, low = -15.1, 9.2, -17.0

    def row(y: float, plug: str, refs: tuple[str, ...], element: type[elm.Element2Term]) -> None:
        if build.relayed:
            s.tag((1.2, y), COILS)
        else:
            s.words((-0.7, y + 0.45), "from TF2", SMALL)
        s.wire((1.2 if build.relayed else -0.7, y), (2.4, y))
        s.joint((2.0, y), (8.6, y))
        s.words((1.7, y + 0.5), plug, SMALL)
        for start, ref in zip((2.4, 5.4), refs, strict=False):
            s.part(element(), (start, y), (start + 2.6, y))
            first = parts[ref + build.refs[0]]
            marked = first.label.partition("  ")[2].partition(" °C")[0]
            s.words((start + 1.3, y + 0.95), ", ".join(f"{ref}{each}" for each in build.refs) + "\n"
                    f"{marked} °C, {first.rated_a:g} A DC", SMALL, middle=True)
        s.wire((2.4 + 3.0 * len(refs) - 0.4, y), (8.9, y))

    row(y, "X5", ("TCO2", "TCO1"), elm.Breaker)
    s.wire((5.0, y), (5.4, y))
    s.wire((8.9, y), (10.6, y))
    s.part(elm.RBox(), (x, y), (x, low), "K2 coil\nas K1", "top")
    s.part(elm.Diode(), (10.6, low), (10.6, y), "D7", "bottom")
    s.wire((x, low), (10.6, low))
    s.ground((x, low))
    s.words((x + 0.4, low - 0.45), "X0's minus", SMALL)
    s.dot((x, y), (x, low))
    row(low - 1.2, "X6", ("TF1",), elm.FuseIEC)
    s.tag((8.9, low - 1.2), "24 V S", leftward=False)
    if build.relayed:
        s.test_point((8.9, low - 1.2), "TP3", (-0.4, -0.55))
        s.words((-0.7, -19.6), "Thin wire, in glass-fibre sleeve. K2's contact: block 1.\nOne open cut-out opens K2, "
                "an open thermal fuse opens K1.", SMALL)
        return
    contact = -19.9
    s.words((-0.7, contact - 0.5), "from K1", SMALL)
    s.part(elm.Switch(), (0.6, contact), (3.6, contact), parts["K2"].label)
    s.wire((-0.7, contact), (0.6, contact))
    s.wire((3.6, contact), (4.4, contact))
    plugs, mats = (", ".join(f"{name}{each}" for each in build.refs) for name in ("X1", "RH"))
    s.words((4.6, contact), f"to R13a and {plugs},\nfrom there to {mats}", SMALL)


def sheet_path(build: Build) -> Path:
    """Where a build's drawing is stored."""
    return Path(__file__).with_name(f"{build.name}-wiring.svg")


def _on_a3(size: re.Match[str]) -> str:
    """The sheet's size in print: A3 (ISO 216, 297 x 420 mm) with a margin of a centimetre."""
    high, wide = float(size[1]), float(size[2])
    scale_mm = min(277.0 / wide, 400.0 / high)
    return f' height="{scale_mm * high:.1f}mm" width="{scale_mm * wide:.1f}mm"'


def _on_white(box: re.Match[str]) -> str:
    """Paper under the lines: a viewer with a dark page would show black on black."""
    x, y, wide, high = box.groups()
    return f'{box[0]}<rect x="{x}" y="{y}" width="{wide}" height="{high}" fill="white"/>'


def draw(build: Build) -> str:
    """The whole sheet of one build as SVG text."""
    s = Sheet()
    top = power(s, build)
    s.words((-1.0, top + 2.0), f"{build.title}: wiring, A3", 15)
    s.words((-1.0, top + 1.0), CAUTION)
    for block in (heartbeat, board, panel, buzzer, display):
        block(s)
    by_relay(s, build)
    probes(s, build)
    float_switch(s, build)
    svg = s.drawing.get_imagedata("svg").decode()
    svg = re.sub(r' height="([\d.]+)pt" width="([\d.]+)pt"', _on_a3, svg, count=1)
    svg = re.sub(r'viewBox="(\S+) (\S+) (\S+) (\S+)">', _on_white, svg, count=1)
    # The last digits of a sine differ between machines' libraries; two decimals of a point do not.
    return re.sub(r"-?\d+\.\d{3,}", lambda number: f"{float(number[0]):.2f}".rstrip("0").rstrip("."), svg) + "\n"


if __name__ == "__main__":
    for each in BUILDS:
        sheet_path(each).write_text(draw(each), encoding="utf-8")
