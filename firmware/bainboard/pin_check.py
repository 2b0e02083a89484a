"""Where a rig moves pins to, and whether they can do their jobs there. Loaded only where a rig moves any.

The setting `pins` is a text such as "yes=9 no=8": one row and one value in a board's memory instead of sixteen.
"""

from bainboard import pins

# Heater, guard and heartbeat stay where a board has them: main.py makes the heater pin safe before any file is read,
# and settings that could move it could leave a heater on that nobody switches off.
FIXED = ("heater", "guard", "heartbeat")
PANEL = ("yes", "no", "lamp_below", "lamp_in", "lamp_above", "buzzer")
MOVABLE = ("onewire", "adc_water", "adc_bowl") + PANEL + (
    "sck", "mosi", "miso", "cs_water", "cs_bowl", "sda", "scl", "float")

# What comes out on the edge of these boards (their pinouts, from memory).
_RP2_PINS = tuple(range(23)) + (26, 27, 28)
_RP2_ADC = (26, 27, 28)
# Not 6-11, the flash; 0, 2, 12, 15, read at the start; 1, 3, the port to the PC (data sheet of the chip, from memory).
_ESP32_PINS = (4, 5, 13, 14, 16, 17, 18, 19, 21, 22, 23, 25, 26, 27, 32, 33)
_ESP32_ADC = (32, 33, 34, 35, 36, 39)  # the first converter; 34 to 39 only read, and have no pull-up


def moved(text: str) -> tuple:
    """The pins a rig moves: ({name: GPIO}, None), or (None, reason)."""
    found = {}
    for word in text.split():
        name, _, gpio = word.partition("=")
        if name in FIXED:
            return None, f"pins.{name}: it stays where the board has it, so that it is safe before any file is read"
        if name not in MOVABLE:
            return None, f"pins.{name}: no such pin, wanted one of " + ", ".join(MOVABLE)
        if not gpio.isdigit() or len(gpio) > 2 or name in found:
            return None, f"pins.{name}: got {gpio}, wanted one GPIO number"
        found[name] = int(gpio)
    return found, None


def able(kind: str, name: str) -> tuple:
    """The GPIOs of a kind of board that can do a job."""
    esp32 = kind == "esp32"
    if name.startswith("adc_"):
        return _ESP32_ADC if esp32 else _RP2_ADC
    if name in ("sda", "scl") and not esp32:
        return tuple([gpio for gpio in _RP2_PINS if gpio % 2 == (name == "scl")])  # data sheet, 1.4.3
    if not esp32:
        return _RP2_PINS
    return _ESP32_PINS + _ESP32_ADC[2:] if name in ("miso", "float") else _ESP32_PINS


def used(values) -> list:
    """The jobs that a warmer with these settings has for pins."""
    kinds = [values["probe." + place + ".kind"] for place in ("water", "bowl")]
    jobs = list(FIXED)
    if values["float"]:
        jobs.append("float")
    if "onewire" in kinds:
        jobs.append("onewire")
    if "platinum" in kinds:
        jobs += ["sck", "mosi", "miso"]
    for place, kind in zip(("water", "bowl"), kinds):  # noqa: B905 - MicroPython's zip has no strict
        if kind in ("ntc", "platinum"):
            jobs.append(("adc_" if kind == "ntc" else "cs_") + place)
    if values["panel"]:
        jobs += list(PANEL)
    return jobs + ["sda", "scl"] if values["display"] else jobs


def settle(kind: str, values) -> tuple:
    """The map of a board with its pins moved as the settings want: (map, None) or (None, reason)."""
    changes, why = moved(values["pins"])
    if why:
        return None, why
    chosen = dict(pins.for_platform(kind))
    for name in sorted(changes):
        gpio = changes[name]
        if gpio not in able(kind, name):
            can = " ".join([str(each) for each in able(kind, name)])
            return None, f"pins.{name}: got GPIO {gpio}, wanted one of {can} of this {kind}"
        chosen[name] = gpio
    jobs = used(values)
    taken: dict = {}
    for name in jobs + [name for name in sorted(changes) if name not in jobs]:  # the rest is in nobody's way
        other = taken.get(chosen[name])
        if other is not None:
            one = name if name in changes else other
            return None, f"pins.{one}: got GPIO {chosen[name]}, which is the pin of {name if one == other else other}"
        taken[chosen[name]] = name
    if kind != "esp32" and chosen["sda"] // 2 % 2 != chosen["scl"] // 2 % 2:
        return None, "pins.scl: it and sda are of two I2C blocks; wanted both of one, as 4 and 5 are"
    return chosen, None
