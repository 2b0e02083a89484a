"""The 1-wire ids of a virtual board's probes: the rig's own, or default ones where it gives none."""

from __future__ import annotations

from bainboard import pins
from bainboard.drivers.onewire_probe import crc8
from bainwright.files.rig import Rig
from bainwright.virtual.board_models import USUAL

PLACES = ("water", "bowl")
FAMILY = 0x28  # the digital thermometer's (its data sheet, from memory)


def default_id(place: str) -> str:
    """A default id for the probe of a place: 16 hex digits with a valid check byte."""
    body = bytes((FAMILY, 0xBA, 0x1E, PLACES.index(place) + 1, 0, 0, 0))
    return (body + bytes((crc8(body),))).hex()


def name_probes(rig: Rig, board_kind: str = USUAL.kind) -> Rig:
    """A rig adapted to the virtual board: its kind of board, an id for each 1-wire probe, no calibration.

    On a real warmer a person assigns the probes; here nobody has to. A calibration corrects a real probe and would
    make a simulated one wrong, unless the `[plant]` table gives the probe that error. A rig made for another board
    can be tried here too: the simulated warmer is the same, and its own pin numbers are dropped.

    Parameters
    ----------
    rig : Rig
        A rig; its own ids stay.
    board_kind : str
        Which of `pins.KINDS` the virtual board is.
    """
    built = {"water": rig.plant.water_probe_bias_c, "bowl": rig.plant.bowl_probe_bias_c}
    changes: dict[str, float | str] = {
        f"probe.{place}.{name}": value
        for place in PLACES
        for name, value in (("offset_c", 0.0), ("gain", 1.0))
        if built[place] is None and rig.settings[f"probe.{place}.{name}"] != value
    }
    changes |= {
        f"probe.{place}.rom": default_id(place)
        for place in PLACES
        if rig.settings[f"probe.{place}.kind"] == "onewire" and not rig.settings[f"probe.{place}.rom"]
    }
    kind = rig.settings["board"]
    if kind not in (pins.ANY, board_kind):
        changes["board"] = board_kind
        if pins.for_platform(kind) is not pins.for_platform(board_kind):
            changes["pins"] = ""
    return rig.with_settings(changes) if changes else rig
