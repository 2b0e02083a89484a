"""What is round the board, as data: panel, buzzer, probes, display and float; each part once, with its nets.

The drawing, the shopping list and the pin table take their words from here. A net that is named as a pin of the
firmware's map is that pin's. Whole circuit of a build: this, `gate_circuit` and `power_circuit`.
"""

from __future__ import annotations

from gate_circuit import Part, resistor

# Panel lamps forward drop and the pins' usual drive strength, RP2040 (data sheet, from memory).
LAMP_V, PIN_A = 2.0, 0.012


def _button(ref: str, pull_up: str, pin: str) -> tuple[Part, ...]:
    return (resistor(pull_up, 10e3, ("vcc", pin), f"holds the {ref} pin up"),
            Part(ref, "BUTTON", 0.0, (pin, "0"), f"{ref}, large", "push button"))


def _lamp(number: int, pin: str, colour: str) -> tuple[Part, ...]:
    lit = f"lit_{colour}"
    return (resistor(f"R{17 + number}", 330.0, (pin, lit), f"limits the {colour} lamp"),
            Part(f"LED{1 + number}", "LED", 0.0, (lit, "0"), f"LED{1 + number}  {colour}", f"{colour} lamp"))


PANEL = (
    *_button("YES", "R16", "yes"), *_button("NO", "R17", "no"),
    *_lamp(1, "lamp_below", "yellow"), *_lamp(2, "lamp_in", "green"), *_lamp(3, "lamp_above", "red"),
)  # fmt: skip
BUZZER = (
    resistor("R21", 1e3, ("buzzer", "q3_base"), "base current of Q3"),
    resistor("R22", 4.7e3, ("q3_base", "0"), "holds the base down while the pin floats in reset"),
    Part("Q3", "NPN", 0.0, ("sounder", "q3_base", "0"), "Q3  2N3904", "switches the buzzer"),
    Part("BZ1", "BUZZER", 0.0, ("5v", "sounder"), "BZ1 active,\n5 V ≤ 30 mA", "buzzer"),
    Part("D6", "D", 0.0, ("sounder", "5v"), "D6", "takes the buzzer's current"),
)
PROBES = (
    resistor("R23", 4.7e3, ("vcc", "onewire"), "pulls the probe bus up"),
    Part("X2", "PROBE", 0.0, ("vcc", "onewire", "0"), "X2  water probe\nDS18B20, 3-pole", "probe in the water"),
    Part("X3", "PROBE", 0.0, ("vcc", "onewire", "0"), "X3  bowl probe\nDS18B20, 4-pole", "probe in the chocolate"),
)
DISPLAY = (
    Part("X4", "DISPLAY", 0.0, ("vcc", "sda", "scl", "0"), "X4  128 x 64\nSSD1306, I2C\n3.3 V", "display"),
)
FLOAT = (
    Part("S2", "SWITCH", 0.0, ("24v_s", "24v_k"), "S2  float\nclosed when wet", "opens when the water is low"),
    # Two, so that one that is shorted puts no 24 V on the pin.
    resistor("R24a", 18e3, ("24v_k", "float_mid"), "divider, upper part"),
    resistor("R24b", 15e3, ("float_mid", "float"), "divider, the other upper part"),
    resistor("R25", 4.7e3, ("float", "0"), "divider, lower part"),
)
GUARD_LAMP = (
    resistor("R26", 10e3, ("24v_k", "guard_lit"), "limits the guard lamp"),
    Part("LED5", "LED", 0.0, ("guard_lit", "coil"), "LED5\nguard\nlamp,\nred", "lit while the relay is closed"),
)
OPTIONAL = (*DISPLAY, *FLOAT)  # left out, the rest still works; without the float a link takes its place
PARTS = (*PANEL, *BUZZER, *PROBES, *DISPLAY, *FLOAT, *GUARD_LAMP)
BY_REF = {part.ref: part for part in PARTS}
