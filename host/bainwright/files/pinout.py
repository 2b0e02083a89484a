"""Pins in a rig file: the `[pins]` table, the setting it becomes on the board, and why a pin cannot do a job."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from bainboard import pin_check, pins
from bainboard.wire import shown
from bainwright.core.errors import FileError

BOARDS = {"pico": "Raspberry Pi Pico", "pico2": "Raspberry Pi Pico 2", "esp32": "ESP32 (WROOM-32)"}

# What is special about pins (the chips' data sheets and the boards' pinouts, from memory).
_ESP32 = (
    ((6, 7, 8, 9, 10, 11), "the chip's own flash is on it"),
    ((0, 2, 12, 15), "the chip reads it as it starts, and what is wired to it could keep it from starting"),
    ((1, 3), "it is the port to the PC"),
    ((34, 35, 36, 39), "it can only read, and has no pull-up"),
)
_RP2 = (((23, 24, 25, 29), "the board uses it itself and does not bring it out"),)


def text_of(table: Mapping[str, Any], where: str) -> str:
    """The board's setting for a `[pins]` table.

    Parameters
    ----------
    table : mapping
        GPIO numbers by the firmware's names.
    where : str
        The file, for the error.

    Raises
    ------
    FileError
        For a value that is not a GPIO number; names are checked later, when the board's map is known.
    """
    for name, gpio in table.items():
        if isinstance(gpio, bool) or not isinstance(gpio, int) or not 0 <= gpio < 100:
            raise FileError(f"{where}: pins.{name}", got=shown(gpio), wanted="a GPIO number")
    return " ".join(f"{name}={gpio}" for name, gpio in table.items())


def pins_of(values: Mapping[str, Any]) -> dict[str, int]:
    """The pins that settings move, by name."""
    words = (word.partition("=") for word in str(values["pins"]).split())
    return {name: int(gpio) for name, _, gpio in words}


def map_of(values: Mapping[str, Any]) -> dict[str, int]:
    """The pin of every fitted part on the board of these settings, moved pins included."""
    chosen: dict[str, int] = pin_check.settle(values["board"], values)[0] or pins.for_platform(values["board"])
    return {name: chosen[name] for name in pin_check.used(values)}


def misfit(values: Mapping[str, Any]) -> tuple[str, str | None] | None:
    """Why the pins of these settings are impossible, and what is wrong with that pin; None if they are right."""
    kind = values["board"]
    if kind == pins.ANY:
        if not values["pins"]:
            return None
        return f"board: got {pins.ANY}, wanted one of {', '.join(pins.KINDS)}, since pins are moved", None
    why = pin_check.settle(kind, values)[1]
    if not why:
        return None
    refused = re.search(r"got GPIO (\d+), wanted", why)
    return why, why_not(kind, why.partition(":")[0].removeprefix("pins."), int(refused[1])) if refused else None


def why_not(kind: str, name: str, gpio: int) -> str:
    """Why a GPIO of a kind of board cannot do a job, in words."""
    esp32 = kind == "esp32"
    for numbers, words in _ESP32 if esp32 else _RP2:
        if gpio in numbers and not (name.startswith("adc_") and gpio >= 34):
            return f"GPIO {gpio}: {words}"
    if name.startswith("adc_") and gpio in pin_check.able(kind, "onewire"):
        return f"GPIO {gpio} has no converter input that can be used here"
    return f"there is no GPIO {gpio} on the edge of a {BOARDS[kind]}"
