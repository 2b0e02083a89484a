"""What the drill says in its own words of a dry plate, which has no bath and no vessel."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from bainwright.drill.items import NOT_TESTED, Item

# The cup stands apart from the plate: a plate takes no water.
ON_A_PLATE: dict[str, dict[str, Any]] = {
    "switch_link": {"do": "Plug out. Put the test link across the heater switch. Plug in, the plate cold."},
    "bowl_probe": {"must": "A warning; the warmer continues by its plate probe."},
    "pause": {"title": "a pause takes the heat off", "do": "Nothing: the PC asks for the pause."},
    "hot_water": {
        "do": "Pull the plate probe out of its hole, away from plate and box: into a cup of hand-warm water, wait 5 "
              "minutes (no heat now), then into a cup 10 °C over the limit.",
        "undo": "Dry the probe and put it back into its hole, with heat paste.",
    },
    "water_probe": {"title": "plate probe pulled", "do": "Pull the plate probe's plug."},
}  # fmt: skip
NOT_TESTED_ON_A_PLATE = tuple({
    "a stuck or drifted water probe": "a stuck or drifted plate probe",
    "a probe out of its water": "a probe out of its hole",
}.get(each, each) for each in NOT_TESTED)  # fmt: skip


def worded(item: Item, bath: str) -> Item:
    """The item as its warmer's person reads it."""
    return replace(item, **ON_A_PLATE.get(item.name, {})) if bath == "plate" else item


def not_tested(bath: str) -> tuple[str, ...]:
    """What a drill does not test."""
    return NOT_TESTED_ON_A_PLATE if bath == "plate" else NOT_TESTED
