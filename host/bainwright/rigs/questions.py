"""The questions of `bain rig new` as a table, and how each answer is read."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from bainboard import help_text
from bainboard import pins as pin_maps
from bainboard import settings as board
from bainwright.builds.catalogue import BY_NAME
from bainwright.builds.rig_text import twin_text
from bainwright.core.errors import UseError
from bainwright.core.masses import parse_mass_kg, parse_share
from bainwright.files.rig import PlantTable

ROWS = {str(row[board.NAME]): row for row in board.SETTINGS}
DEFAULTS = board.defaults(board.SETTINGS)
PLANT = "plant."  # answers that describe the pot: for the plan and the simulated warmer, never sent to a board
BUILD, OWN = "build", "own"  # the guide that a warmer was built by; never sent either
HARD_LIMIT_C = 56.0  # a degree under the earliest opening of a vessel's cut-out of 60 ± 3 °C, as the guides have it
YES, NO = ("yes", "y", "true"), ("no", "n", "false")
INCH_M = 0.0254  # exact by definition
# Units as people write them, each by a setting's unit; a mass has its own reader.
WRITTEN = {
    "W": {"w": 1.0, "watt": 1.0, "watts": 1.0, "kw": 1000.0},
    "L": {"l": 1.0, "liter": 1.0, "liters": 1.0, "litre": 1.0, "litres": 1.0, "ml": 0.001, "cl": 0.01, "dl": 0.1},
    "s": {"s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "min": 60.0, "minute": 60.0,
          "minutes": 60.0},
    "K": {"k": 1.0, "c": 1.0, "f": 1.0 / 1.8},  # a difference
    "°C": {"c": 1.0},
    "kg": {"kg": 1.0, "kilo": 1.0, "kilos": 1.0, "gram": 0.001, "grams": 0.001},
}  # fmt: skip
NUMBERS = {
    "W": "watts, like 150 or 0.15kW", "L": "litres, like 2 or 1500ml", "s": "seconds, like 40",
    "K": "°C or °F of difference, like 2.5 or 4.5F", "°C": "a temperature, °C or with an F, like 56 or 133F",
    "kg": "kilograms, like 0.6, or a mass with its unit, like 600g or 1lb 5oz",
}  # fmt: skip
_NUMBER = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d+)?)\s*°?\s*([a-z]*)", re.ASCII)
POT_LOW_CM, POT_HIGH_CM = 8.0, 100.0  # chosen: a milk pan, and the widest stock pot

Known = Mapping[str, Any]  # what is known so far, by name


@dataclass(frozen=True)
class Question:
    """One question.

    Attributes
    ----------
    name : str
        The setting that it answers, or `PLANT` and a key of the rig file's ``[plant]`` table.
    text : str
        What the person is asked.
    default : callable, optional
        What is taken when nothing is typed, from what is known; None where only a measurement can say.
    when : callable, optional
        Is it asked at all, from what is known?
    optional : bool
        May be left open: Return alone writes nothing.
    needs : str
        In words, what `when` asks of the warmer.
    measured : bool
        Is the default only a guide's figure, in place of the person's own?
    on_plate : str
        The same question of a dry plate, where its words differ.
    """

    name: str
    text: str
    default: Callable[[Known], Any] | None = None
    when: Callable[[Known], bool] = lambda known: True
    optional: bool = False
    needs: str = ""
    measured: bool = False
    on_plate: str = ""

    def asked(self, known: Known) -> str:
        """What the person is asked, from what is known."""
        return self.text if _is_water(known) or not self.on_plate else self.on_plate


def of_build(name: str) -> dict[str, Any]:
    """What a build of the guides brings: its settings, and its vessel for the plan; nothing for one's own."""
    if name not in BY_NAME:
        return {}
    rig = tomllib.loads(twin_text(BY_NAME[name]))
    plant = {PLANT + key: value for key, value in rig.pop("plant").items()}
    known = {key: value for key, value in rig.items() if key in ROWS}
    return {**{key: float(value) if ROWS[key][board.KIND] == board.FLOAT else value for key, value in known.items()},
            **plant}


def fixed_by_build(name: str) -> dict[str, Any]:
    """The same without what each builder calls and measures for themselves; a plate's litres follow from its metal."""
    asked = {"name"} | {question.name for question in QUESTIONS if question.measured}
    if name in BY_NAME and BY_NAME[name].heats == "plate":
        asked.discard("water_l")
    return {key: value for key, value in of_build(name).items() if key not in asked}


def _built(name: str, otherwise: Any = None) -> Callable[[Known], Any]:
    """The figure of the guide, or what is taken without one."""
    return lambda known: of_build(known.get(BUILD, OWN)).get(name, otherwise)


def _setting(name: str) -> Callable[[Known], Any]:
    return lambda known: DEFAULTS[name]


def _is_water(known: Known) -> bool:
    return bool(known.get(PLANT + "bath", "water") == "water")


BATH = "a bath of water"

QUESTIONS = (
    Question(BUILD, "Which build of hardware/ is it? (mat, pot, plate; own for your own)", lambda known: OWN),
    Question("name", "What is this warmer called?", lambda known: known["file name"]),
    Question("board", "Which board? (pico, pico2, esp32)", lambda known: known.get("board found", pin_maps.KINDS[0])),
    Question(PLANT + "bath", "Does the bowl sit in water or on a plate? (water, plate; Return leaves it open)",
             optional=True),
    Question("heater_w", "The heater's power, W? (volts x volts / ohms, all mats)", _built("heater_w"), measured=True),
    Question("heater_lag_s", "How many seconds until heat reaches the water? (thin pan over a mat 40, thick base 50)",
             _setting("heater_lag_s"),
             on_plate="How many seconds until heat reaches the probe in the plate? (12 mm of aluminium 20)"),
    Question("switch", "How is it switched? (zero_cross: solid state relay on the mains; dc: MOSFET)"),
    Question("water_l", "How much water is in the bath, L? (a plate: 0.21 L for each kg of its aluminium)",
             _built("water_l"), measured=True,
             on_plate="How much water would store the plate's heat, L? (0.21 L for each kg of its aluminium)"),
    Question("bowl_kg", "What does the empty bowl weigh, kg?", _built("bowl_kg"), measured=True),
    Question("chocolate_kg", "How much chocolate is in the full bowl, kg?", _built("chocolate_kg"), measured=True),
    Question(PLANT + "pot_diameter_m", "How wide is the pot inside, at the water? (28cm, 11in; Return leaves it open)",
             when=_is_water, optional=True, needs=BATH),
    Question(PLANT + "ring_cover", "How much of the water round the bowl is covered? (70%; Return leaves it open)",
             when=_is_water, optional=True, needs=BATH),
    Question("hard_limit_c", "Above which water temperature does it trip, °C? (the heat then stays off until a person "
             "clears it; 4 °C under the mark of the cut-out on the vessel)", lambda known: HARD_LIMIT_C,
             on_plate="Above which temperature of the plate does it trip, °C? (the heat then stays off until a person "
             "clears it; 4 °C under the mark of the cut-out between the mats)"),
    Question("probe.water.kind", "Which probe is in the water? (onewire, ntc, platinum)", lambda known: "onewire",
             on_plate="Which probe is in the plate? (onewire, ntc, platinum)"),
    Question("probe.bowl.kind", "Which probe is in the chocolate? (none, onewire, ntc, platinum)",
             lambda known: "onewire" if known["probe.water.kind"] == "onewire" and known["found"] > 1 else "none"),
    Question("bowl_offset_c", "How much warmer is the water than the chocolate in a steady hold, °C? (bain calibrate "
             "measures it)", _built("bowl_offset_c", DEFAULTS["bowl_offset_c"]), measured=True,
             when=lambda known: known["probe.bowl.kind"] == "none", needs="a warmer without a chocolate probe",
             on_plate="How much warmer is the plate than the chocolate in a steady hold, °C? (bain calibrate measures "
             "it)"),
    Question("probe.water2.kind", "Is there a second probe in the water, as a witness? (none, onewire)",
             lambda known: "onewire" if known["found"] > 2 else "none",
             when=lambda known: "probe.water2.kind" in ROWS,
             on_plate="Is there a second probe in the plate, as a witness? (none, onewire)"),
    Question("guard", "Is there a guard relay in series with the switch? (yes, no)", lambda known: True),
    Question("float", "Does a float open the guard relay when the water is low? (yes, no)", lambda known: False,
             when=lambda known: _is_water(known) and bool(known["guard"]), needs=f"{BATH} and a guard relay"),
    Question("panel", "Are buttons, lamps and buzzer fitted? (yes, no)", lambda known: False),
    Question("display", "Is a display of 128 x 64 fitted? (yes, no)", lambda known: False,
             when=lambda known: bool(known["panel"]), needs="buttons and lamps (--panel yes)"),
)  # fmt: skip


def option(name: str) -> str:
    """The option that answers a question: ``--water-l``, ``--bowl-probe``, ``--bowl-id``, ``--pot-width``."""
    if name.startswith(PLANT):
        return {"pot_diameter_m": "--pot-width", "ring_cover": "--cover"}.get(name.removeprefix(PLANT), "--bath")
    if name.startswith("probe."):
        _, place, what = name.split(".")
        return f"--{place}-{'probe' if what == 'kind' else 'id'}"
    return "--" + name.replace("_", "-")


def wanted(name: str) -> str:
    """What an answer means, in words."""
    return str(help_text.SETTINGS[name][0]) if name in help_text.SETTINGS else ""


def value_of(name: str, text: str) -> Any:
    """What was typed, as the value it is.

    Raises
    ------
    UseError
        If it cannot be.
    """
    text = text.strip()
    if name == BUILD:
        return _build_value(text)
    if name.startswith(PLANT):
        return _plant_value(name, text)
    row = ROWS[name]
    value: Any = text
    if row[board.KIND] == board.FLAG:
        value = True if text.lower() in YES else False if text.lower() in NO else text
    elif row[board.KIND] in (board.FLOAT, board.INT):
        value = _number(text, name)
    elif row[board.KIND] == board.CHOICE:
        value = text.lower()
    why = wrong_with(name, value)
    if why:
        why = why.removeprefix(f"{name}: ").replace("wanted true or false", "wanted yes or no")
        raise UseError(f"{option(name)}: {why}")
    return value


def _build_value(text: str) -> str:
    kind = text.lower()
    if kind not in (*BY_NAME, OWN):
        raise UseError("--build", got=repr(text), wanted=f"{', '.join(BY_NAME)} or {OWN}")
    return kind


def _plant_value(name: str, text: str) -> Any:
    if name == PLANT + "pot_diameter_m":
        return _width_m(text)
    if name == PLANT + "ring_cover":
        return parse_share(text, "--cover", 0.0, 1.0)
    kind = text.lower()
    if kind not in ("water", "plate"):
        raise UseError("--bath", got=repr(text), wanted="water or plate")
    return kind


def _width_m(text: str) -> float:
    """A width such as ``28cm`` or ``11in``; a bare number is centimetres."""
    plain = text.lower().replace(",", ".")
    inches = plain.endswith("in")
    try:
        width = float(plain.removesuffix("in").removesuffix("cm").strip())
    except ValueError:
        raise UseError("--pot-width", got=repr(text), wanted="a width, cm or in", hint="like 28cm or 11in") from None
    width_m = width * INCH_M if inches else width / 100.0
    if not POT_LOW_CM <= 100.0 * width_m <= POT_HIGH_CM:  # NaN fails too
        raise UseError("--pot-width", got=text, wanted=f"{POT_LOW_CM:g} to {POT_HIGH_CM:g} cm",
                       hint="measure inside the pot, at the water")  # fmt: skip
    return round(width_m, 4)


def _number(text: str, name: str) -> float:
    """A number with or without its unit, a mass in several, a temperature in °F too."""
    unit = str(ROWS[name][board.UNIT])
    found = _NUMBER.fullmatch(text.lower())
    if found and unit == "°C" and found[2] == "f":
        return round((_float(found[1]) - 32.0) / 1.8, 2)
    factor = WRITTEN.get(unit, {}).get(found[2]) if found and found[2] else 1.0
    if found and factor is not None:
        return round(_float(found[1]) * factor, 9)
    if unit == "kg":
        with suppress(UseError):
            return round(parse_mass_kg(text, option(name), -math.inf, math.inf), 6)
    raise UseError(option(name), got=repr(text), wanted=NUMBERS.get(unit, "a number"))


def _float(text: str) -> float:
    return float(text.replace(",", "."))


def wrong_with(name: str, value: Any) -> str | None:
    """Why a value cannot be, or None."""
    if name == BUILD:
        return None if value in (*BY_NAME, OWN) else f"{value!r} is no build"
    if name.startswith(PLANT):
        return None if name.removeprefix(PLANT) in PlantTable.__struct_fields__ else f"{name} is not known"
    why: str | None = board.check((ROWS[name],), {name: value})[1]
    return why


def as_typed(value: Any) -> str:
    """A value as a person would type it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
