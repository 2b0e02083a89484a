"""What to buy for the box, counted from the circuits' tables, so that no part is drawn and never bought."""

from __future__ import annotations

from collections import defaultdict

import box_circuit
import gate_circuit
import power_circuit
from gate_circuit import Part
from stripboard import COLUMNS, FILM_LEGS_MM, FILM_THICK_MM, ROWS
from tables import table

from bainwright.builds.catalogue import MAT

# What a part is bought as; a resistor and a capacitor by their values.
BOUGHT_AS = {
    "PNP": "PNP transistor, 2N3906", "NPN": "NPN transistor, 2N3904",
    "BUTTON": "push button, large, one contact that closes", "BUZZER": "active buzzer, 5 V, at most 30 mA",
    "PROBE": "DS18B20 in a food-safe steel tube, 3 m of cable", "COMPARATOR": "dual comparator TLC393, DIP-8",
    "DISPLAY": "display module 128 x 64, SSD1306, I2C, 3.3 V, if wanted",
    "SWITCH": "float switch, food-safe, 24 V DC, 50 mA or more, if wanted", "LINK": "2-pin header and its jumper",
}  # fmt: skip
# A green one of 3 V, as the newer ones are, would hardly light on 3.3 V.
LAMP = "LED, {}, 3 or 5 mm, about 2 V at 4 mA"
COLOURS = ("yellow", "green", "red")
DIODES = {"D5": "1N4007", "D6": "1N4007"}  # the rest is 1N4148
WITH_THE_BUILD = ("NMOS", "COIL")  # Q2 and K1 stand in each build's own list

# What no circuit shows.
BESIDE = (
    ("1", "board with header pins: Raspberry Pi Pico, or another RP2040 or RP2350 board of its pinout", "block 4"),
    ("1", "USB cable for it, and a 5 V charger of 1 A for evenings without the PC", "block 4"),
    ("1", f"strip-board, 2.54 mm, {len(ROWS)} strips of {COLUMNS} holes", "block 3"),
    ("1", "piece of strip-board, 24 strips of 20 holes or more, cut between the board's two rows of pins",
     "blocks 4 to 9"),
    ("1", "piece of strip-board of glass fibre, 6 x 4 cm", "Q1 and its heat sink"),
    ("2", "DIP-8 socket", "IC1, IC2"),
    ("2", "socket strip, 2.54 mm, 20 holes in a row, to plug the board in", "block 4"),
    ("1", "pair of 3-pole plug and socket", "X2"),
    ("1", "pair of 4-pole plug and socket", "X3"),
    ("1", "pair of 2-pole plug and socket, unlike X0 and X1, where a float is fitted", "S2"),
    ("1", "closed box, splash-proof, about 20 x 15 x 10 cm, with a cable gland for each cable", "all blocks"),
    ("1", "test link: 20 cm of red wire as thick as the heater's, a clip at each end", "`bain drill`"),
    ("1", f"glass fuse 5 x 20 mm, {MAT.guard_fuse_a:g} A, quick, 32 V DC or more, in an in-line holder", "F3"),
    ("4", "spare fuse, two like F1 and two like F3", "F1, F3"),
    ("24", "ring and push-on terminal, crimped, for the heater's wire and for S1, F1, K1, X0 as bought", "block 1"),
    ("1", "bulb 24 V, 10 to 21 W, in a holder with two leads", "first power-up"),
    ("1", "one more pair of X1, each half with two leads: for the bulb, for feeding the mat, for the ammeter between",
     "first power-up"),
    ("2", "in-line holder with a fuse like F1, one with clips, for a mat whose cut-outs are in its lead",
     "first power-up"),
    ("5 m", "thin stranded wire, 0.25 mm², for signals", "blocks 3 to 9"),
)  # fmt: skip


def signal_parts() -> list[Part]:
    """Every part of the box that carries signals; of the power side its resistors and its lamp."""
    power = [Part(each.ref, each.kind, each.ohm, each.nets, each.label.partition("\n")[2], "")
             for each in power_circuit.parts(MAT) if each.kind in ("R", "LED")]
    return [*gate_circuit.PARTS, *gate_circuit.BESIDE, *box_circuit.PARTS, *power]


def _bought_as(part: Part) -> str:
    if part.kind == "R":
        return f"resistor {part.label}, {'metal film' if '%' in part.label else '5 %'}, 0.25 W"
    if part.kind == "C":
        value = part.label.removeprefix(part.ref).strip()
        if "film" in value:
            return (f"capacitor {value}, 50 V or more, legs {FILM_LEGS_MM:g} mm apart, at most {FILM_THICK_MM:g} mm "
                    "thick")
        return f"capacitor {value.replace('n', ' nF')}, ceramic"
    if part.kind == "LED":
        return LAMP.format(next(colour for colour in COLOURS if colour in part.label))
    if part.kind == "D":
        return f"diode {DIODES.get(part.ref, '1N4148')}"
    return BOUGHT_AS[part.kind]


def shopping_rows() -> list[tuple[str, str, str]]:
    """How many, of what, and for which parts."""
    wanted: dict[str, list[str]] = defaultdict(list)
    for part in signal_parts():
        if part.kind in WITH_THE_BUILD:
            continue
        ref = part.ref[:3] if part.kind == "COMPARATOR" else part.ref
        if ref not in wanted[_bought_as(part)]:
            wanted[_bought_as(part)].append(ref)
    counted = [(str(len(refs)), what, ", ".join(sorted(refs))) for what, refs in wanted.items()]
    return [*sorted(counted, key=lambda row: row[1]), *BESIDE]


def shopping_block() -> str:
    """The list as a table."""
    return table(("how many", "what", "for"), shopping_rows())
