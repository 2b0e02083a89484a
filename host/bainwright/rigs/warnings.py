"""What is unusual about a rig by itself, and what does not match the board it is compared with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bainboard import pins, sensing
from bainboard.drivers.onewire_probe import crc8
from bainwright.core.errors import FileError
from bainwright.files.rig import Rig
from bainwright.physics.geometry import SHALLOW, body_of
from bainwright.rigs.bus import OnBus

PLACES = ("water", "bowl", "water2")
NAME_THEM = "bain rig new finds the ids, and which is which"


def check_ids(rig: Rig) -> None:
    """Make sure that each digital probe on the bus has an id of its own.

    Raises
    ------
    FileError
        If one has none, or two have the same.
    """
    roms = {place: str(rig.settings[f"probe.{place}.rom"]).lower() for place in _on_bus(rig.settings)}
    if len(roms) < 2:
        return
    for place, rom in roms.items():
        if not rom:
            raise FileError(f"rig {rig.source}: probe.{place}.rom: {len(roms)} 1-wire probes share the bus",
                            got="no id", wanted="16 hex digits for each", hint=NAME_THEM)  # fmt: skip
        twin = next(other for other in roms if roms[other] == rom)
        if twin != place:
            raise FileError(f"rig {rig.source}: probe.{place}.rom", got=f"{rom}, the same as probe.{twin}.rom",
                            wanted="another id", hint=NAME_THEM)  # fmt: skip


def _on_bus(values: Mapping[str, Any]) -> list[str]:
    """The places whose probe is on the 1-wire bus."""
    return [place for place in PLACES if values.get(f"probe.{place}.kind") == "onewire"]


def unusual_figures(rig: Rig) -> list[str]:
    """What is accepted and should be looked at again, a sentence each.

    Parameters
    ----------
    rig : Rig
        A rig whose file was accepted.
    """
    values, found = rig.settings, []
    if values["board"] == pins.ANY:
        found.append("board: any. Name the board, so that a file for another one is refused")
    if not values["guard"]:
        found.append("guard: without a guard relay nothing opens the heater's circuit when its switch fails closed; "
                     "overnight holds are refused")
    for place in _on_bus(values):
        rom = str(values[f"probe.{place}.rom"])
        if rom and crc8(bytes.fromhex(rom)):
            found.append(f"probe.{place}.rom: the digits of {rom} do not check. Compare them with the probe's label")
    if values["board"] == "esp32":
        found.append("board: esp32. Without PSRAM its memory is too small for this firmware; a Pico's is enough")
        found += [f"probe.{place}.kind: an ESP32's converter does not measure against its own supply, so an NTC reads "
                  "wrong there; take a digital or a platinum probe" for place in PLACES
                  if values.get(f"probe.{place}.kind") == "ntc"]  # fmt: skip
    found += _vessel(rig)
    if values["heater_w"] > 500.0 and values["switch"] == "dc":
        found.append(f"switch: {values['heater_w']:g} W is much for a DC switch. Is it on the mains?")
    return found


def _vessel(rig: Rig) -> list[str]:
    """Sizes of pot and bowl that do not go together."""
    body, litres = body_of(rig), float(rig.settings["water_l"])
    if not body.is_bath:
        return []
    if body.pot_diameter_m < body.bowl_diameter_m:
        return [f"plant.pot_diameter_m: a pot of {100 * body.pot_diameter_m:.0f} cm takes no bowl of "
                f"{100 * body.bowl_diameter_m:.0f} cm, the usual size for its kilograms. Measure both inside"]
    wanted_m, ring_m2 = body.immersion * body.bowl_height_m, body.ring_m2
    if litres >= SHALLOW * 1000.0 * ring_m2 * wanted_m:
        return []
    return [f"water_l: {litres:g} L reach only {litres / 10.0 / ring_m2:.1f} cm up a bowl in a pot of "
            f"{100 * body.pot_diameter_m:.0f} cm, and the bowl should stand {100 * wanted_m:.0f} cm deep. Measure the "
            "water again, or the pot"]


def on_board(values: Mapping[str, Any], there: list[OnBus]) -> list[str]:
    """What does not match the probes that are plugged in.

    Parameters
    ----------
    values : mapping
        The rig's settings.
    there : list of OnBus
        The digital probes on the board's bus.
    """
    found = []
    for place in _on_bus(values):
        found += _probe_mismatch(f"probe.{place}.rom", str(values[f"probe.{place}.rom"]).lower(), there)
    return found


def _probe_mismatch(name: str, rom: str, there: list[OnBus]) -> list[str]:
    if not rom:
        return [] if len(there) == 1 else [f"{name}: it has no id, and {len(there)} probes are on the bus"]
    here = next((probe for probe in there if probe.rom == rom), None)
    if here is None:
        others = ", ".join(probe.rom for probe in there) or "no probe"
        return [f"{name}: {rom} is not on the bus; {others} is there"]
    return [] if here.temp_c is not None else [f"{name}: {sensing.text(here.code)}"]
