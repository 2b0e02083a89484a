"""What is doubtful about a rig before it meets a board, and once it has."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bainboard import pins, sensing
from bainwright.core.errors import FileError
from bainwright.files.rig import Rig
from bainwright.rigs.bus import OnBus

PLACES = ("water", "bowl")
NAME_THEM = "bain rig new finds the ids, and which is which"


def check_ids(rig: Rig) -> None:
    """Make sure that the digital probes can be told apart on their bus.

    Raises
    ------
    FileError
        If they cannot.
    """
    if any(rig.settings[f"probe.{place}.kind"] != "onewire" for place in PLACES):
        return
    water, bowl = (str(rig.settings[f"probe.{place}.rom"]).lower() for place in PLACES)
    if not (water and bowl):
        name = f"probe.{'bowl' if water else 'water'}.rom"
        raise FileError(f"rig {rig.source}: {name}: two 1-wire probes share the bus", got="no id",
                        wanted="16 hex digits for each", hint=NAME_THEM)  # fmt: skip
    if water == bowl:
        raise FileError(f"rig {rig.source}: probe.bowl.rom", got=f"{bowl}, the water probe's", wanted="another id",
                        hint=NAME_THEM)  # fmt: skip


def doubts(rig: Rig) -> list[str]:
    """What is allowed and might be regretted; empty when nothing is.

    Parameters
    ----------
    rig : Rig
        A rig whose file is right.
    """
    values, found = rig.settings, []
    if values["board"] == pins.ANY:
        found.append("board: any; name the board, and a file for another one is refused")
    if not values["guard"]:
        found.append("guard: without a guard relay nothing opens the heater's circuit when its switch fails closed")
    if values["heater_w"] > 500.0 and values["switch"] == "dc":
        found.append(f"switch: {values['heater_w']:g} W through a DC switch is a great deal; is it on the mains?")
    return found


def on_board(values: Mapping[str, Any], there: list[OnBus]) -> list[str]:
    """What does not fit the probes that are plugged in.

    Parameters
    ----------
    values : mapping
        The rig's settings.
    there : list of OnBus
        The digital probes on the board's bus.
    """
    found = []
    for place in PLACES:
        if values[f"probe.{place}.kind"] == "onewire":
            found += _probe_doubts(f"probe.{place}.rom", str(values[f"probe.{place}.rom"]).lower(), there)
    return found


def _probe_doubts(name: str, rom: str, there: list[OnBus]) -> list[str]:
    if not rom:
        return [] if len(there) == 1 else [f"{name}: it has no id, and {len(there)} probes are on the bus"]
    here = next((probe for probe in there if probe.rom == rom), None)
    if here is None:
        others = ", ".join(probe.rom for probe in there) or "no probe"
        return [f"{name}: {rom} is not on the bus; there is {others}"]
    return [] if here.temp_c is not None else [f"{name}: {sensing.text(here.code)}"]
