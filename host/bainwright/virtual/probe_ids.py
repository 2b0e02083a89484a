"""The 1-wire ids of a virtual board's probes: the rig's own, or made-up ones where it names none."""

from __future__ import annotations

from bainboard.drivers.onewire_probe import crc8
from bainwright.rig import Rig

PLACES = ("water", "bowl")
FAMILY = 0x28  # the digital thermometer's (its data sheet, from memory)


def made_up(place: str) -> str:
    """An id for the probe of a place, 16 hex digits with a valid check byte."""
    body = bytes((FAMILY, 0xBA, 0x1E, PLACES.index(place) + 1, 0, 0, 0))
    return (body + bytes((crc8(body),))).hex()


def name_probes(rig: Rig) -> Rig:
    """The rig with an id for each 1-wire probe: on a real warmer the person names them, here nobody has to.

    Parameters
    ----------
    rig : Rig
        A rig; ids it gives are kept.
    """
    ids = {
        f"probe.{place}.rom": made_up(place)
        for place in PLACES
        if rig.settings[f"probe.{place}.kind"] == "onewire" and not rig.settings[f"probe.{place}.rom"]
    }
    return rig.with_settings(ids) if ids else rig
