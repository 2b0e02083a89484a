"""Masses and temperatures as people type and read them: g, kg, oz, lb and °C, °F. Inside, all is kg and °C."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from bainwright.core.errors import UseError
from bainwright.core.units import duration_words

OUNCE_KG, POUND_KG = 0.028349523125, 0.45359237  # avoirdupois, exact by definition
FOOT_M = 0.3048  # exact by definition
_KG_PER = {"g": 0.001, "kg": 1.0, "oz": OUNCE_KG, "lb": POUND_KG, "lbs": POUND_KG}
_NUMBER = r"[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)"
_PART = re.compile(rf"({_NUMBER})\s*(kg|g|oz|lbs?)", re.ASCII)
_TEMP = re.compile(rf"({_NUMBER})\s*°?\s*([cf]?)", re.ASCII)


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def parse_mass_kg(text: str, option: str, low_kg: float, high_kg: float) -> float:
    """Read a mass such as ``1.8kg``, ``800 g`` or ``1lb 4oz``.

    Raises
    ------
    UseError
        If it is no mass, has no unit, or lies outside `low_kg` to `high_kg`.
    """
    plain = text.strip().lower()
    parts = _PART.findall(plain)
    if not parts or re.sub(r"\s", "", "".join(n + u for n, u in parts)) != re.sub(r"\s", "", plain):
        bare = re.fullmatch(_NUMBER, plain)
        units = [unit for unit in ("g", "kg") if bare and low_kg < _number(plain) * _KG_PER[unit] <= high_kg]
        meant = " or ".join(f"{plain}{unit}" for unit in units)
        hint = f"did you mean {meant}?" if meant else "for instance 1.8kg, 800g or 1lb 4oz"
        raise UseError(option, got=repr(text), wanted="a mass with its unit: g, kg, oz or lb", hint=hint)
    if len(parts) > 1 and any(number.startswith("-") for number, _ in parts):
        raise UseError(option, got=repr(text), wanted="a mass above 0", hint="leave the minus sign out")
    mass_kg = sum(_number(number) * _KG_PER[unit] for number, unit in parts)
    if not low_kg <= mass_kg <= high_kg:
        raise UseError(
            option,
            got=text.strip(),
            wanted=f"{_mass_words(low_kg)} to {_mass_words(high_kg)}",
            hint="check the unit" if mass_kg > 0 else "a mass is above 0",
        )
    return mass_kg


def parse_temp_c(text: str, option: str, low_c: float, high_c: float) -> float:
    """Read a temperature such as ``31.5``, ``31.5C`` or ``90F``; without a letter it is °C.

    Raises
    ------
    UseError
        If it is no temperature or lies outside `low_c` to `high_c`, with a word when it can only be °F.
    """
    found = _TEMP.fullmatch(text.strip().lower())
    if not found:
        raise UseError(option, got=repr(text), wanted="a temperature, °C or with an F", hint="like 31.5 or 88.7F")
    value, fahrenheit = _number(found[1]), found[2] == "f"
    temp_c = (value - 32.0) / 1.8 if fahrenheit else value
    if low_c <= temp_c <= high_c:
        return temp_c
    wanted = f"{low_c:g} to {high_c:g} °C"
    as_f_c = (value - 32.0) / 1.8
    if not fahrenheit and low_c <= as_f_c <= high_c:
        typed = f"{option} {value:g}F" if option.startswith("--") else f"type {value:g}F"
        raise UseError(
            option, got=f"{value:g} °C", wanted=wanted, hint=f"that looks like °F, {as_f_c:.1f} °C: {typed}"
        )
    raise UseError(option, got=f"{temp_c:.1f} °C" if fahrenheit else f"{value:g} °C", wanted=wanted)


def parse_share(text: str, option: str, low: float, high: float) -> float:
    """Read a percentage, with or without its sign, as a share of one.

    Raises
    ------
    UseError
        If it is no number or lies outside `low` to `high` (shares).
    """
    try:
        share = _number(text.strip().removesuffix("%").strip()) / 100.0
    except ValueError:
        share = math.nan
    if 0.0 < share < 0.01 and "%" not in text:  # 0.7 is more likely to mean 70 % than 0.7 %
        raise UseError(option, got=repr(text), wanted="a percentage", hint=f"{10000 * share:g}%, or {100 * share:g}%?")
    if not low <= share <= high:
        raise UseError(option, got=repr(text), wanted=f"{100 * low:g} to {100 * high:g} %", hint="for instance 50%")
    return share


def parse_metres(text: str, option: str) -> float:
    """Read an altitude such as ``520``, ``520m`` or ``1700ft``, in metres.

    Raises
    ------
    UseError
        If it is no number.
    """
    plain = text.strip().lower().replace(",", ".")
    feet = plain.endswith("ft")
    try:
        value = float(plain.removesuffix("ft").removesuffix("m").strip())
    except ValueError:
        raise UseError(option, got=repr(text), wanted="metres, or feet with ft", hint="like 520 or 1700ft") from None
    return FOOT_M * value if feet else value


def parse_clock_min(text: str, option: str) -> int:
    """Read a time of day such as ``18:30`` as minutes after midnight.

    Raises
    ------
    UseError
        If there is no such time.
    """
    found = re.fullmatch(r"(\d{1,2}):(\d{2})", text.strip(), re.ASCII)
    if not found or int(found[1]) > 23 or int(found[2]) > 59:
        raise UseError(option, got=repr(text), wanted="a time of day, 00:00 to 23:59", hint="for instance 18:30")
    return int(found[1]) * 60 + int(found[2])


def clock_text(minutes: float) -> str:
    """Minutes after midnight as a time of day; past midnight it begins again."""
    whole = round(minutes) % (24 * 60)
    return f"{whole // 60:02d}:{whole % 60:02d}"


def minutes_words(seconds: float | None) -> str:
    """A planned time to say; plans are good to minutes, so two of them at least."""
    return duration_words(max(120.0, 60.0 * round((seconds or 0.0) / 60.0)))


@dataclass(frozen=True)
class Shown:
    """The scales to show in."""

    fahrenheit: bool = False
    pounds: bool = False

    def temp(self, temp_c: float) -> str:
        """A temperature."""
        return f"{self.degrees(temp_c):.1f} {self.degree}"

    def temps(self, low_c: float, high_c: float) -> str:
        """A range of temperatures."""
        return f"{self.degrees(low_c):.1f} to {self.temp(high_c)}"

    def degrees(self, temp_c: float) -> float:
        """A temperature's number on the scale shown."""
        return temp_c * 1.8 + 32.0 if self.fahrenheit else temp_c

    @property
    def degree(self) -> str:
        """The scale's sign."""
        return "°F" if self.fahrenheit else "°C"

    def difference(self, difference_k: float) -> str:
        """A difference of two temperatures: °F differ by 1.8 a kelvin, and there is no 32 in it."""
        return f"{1.8 * difference_k:.1f} °F" if self.fahrenheit else f"{difference_k:.1f} °C"

    @property
    def least_kg(self) -> float:
        """The least mass that is shown as more than nothing."""
        return 0.1 * OUNCE_KG if self.pounds else 0.001

    def little(self, mass_kg: float) -> str:
        """A mass that may be too small for a scale; it is then never shown as nothing."""
        return f"under {self.mass(self.least_kg)}" if mass_kg < self.least_kg else self.mass(mass_kg)

    def mass(self, mass_kg: float) -> str:
        """A mass, no finer than a kitchen scale weighs it."""
        if self.pounds:
            return _pounds_words(mass_kg)
        return _mass_words(mass_kg)


_SAID_TEMP = re.compile(r"(-?\d+(?:\.\d+)?)(?: (to|and) (-?\d+(?:\.\d+)?))? °C")
_SAID_MASS = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) (kg|g)\b")


def on_scales(words: str, shown: Shown) -> str:
    """An error's words on the scales a person asked for; what they typed themselves stays, as it has no °C."""
    if shown.fahrenheit and "looks like °F" not in words:
        words = _SAID_TEMP.sub(lambda found: _on_fahrenheit(found, shown), words)
    if shown.pounds:
        words = _SAID_MASS.sub(lambda found: shown.mass(float(found[1]) * _KG_PER[found[2]]), words)
    return words


def _on_fahrenheit(found: re.Match[str], shown: Shown) -> str:
    first = shown.temp(float(found[1]))
    return first if found[3] is None else f"{first.split()[0]} {found[2]} {shown.temp(float(found[3]))}"


def _mass_words(mass_kg: float) -> str:
    grams = mass_kg * 1000.0
    if grams >= 999.5:
        return f"{mass_kg:.2f} kg"
    if grams >= 100:
        return f"{5 * round(grams / 5)} g"
    return f"{grams:.0f} g" if grams >= 1 or not grams else f"{grams:.1g} g"


def _pounds_words(mass_kg: float) -> str:
    tenths = round(10 * mass_kg / OUNCE_KG)
    pounds, tenths = divmod(tenths, 160)
    ounces = f"{tenths / 10:g} oz"
    if not pounds:
        return ounces
    return f"{pounds} lb {ounces}" if tenths else f"{pounds} lb"
