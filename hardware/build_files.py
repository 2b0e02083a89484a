"""Writes what is made from the builds' tables: rig files, labels, the plate's card, and the twins in the toolkit.

    python hardware/build_files.py
"""

from __future__ import annotations

from pathlib import Path

from labels import labels_svg

from bainwright.builds.catalogue import BUILDS
from bainwright.builds.rig_text import rig_text, twin_name, twin_text
from bainwright.files.rig import BUNDLED

HERE = Path(__file__).parent


# What the kitchen card says of water, and what the plate's says in its place.
ON_A_PLATE = (
    ("HANDS IN THE WATER? UNPLUG FIRST.", "HANDS ON THE PLATE? UNPLUG FIRST."),
    ("3. Find the cause: water level, probe, plugs,", "3. Find the cause: probe in its hole, plugs,"),
    ("water pause", "pause"),
    ("Back in the bath: clip it down. A light bowl floats.", "Back on the plate: in the middle, and flat."),
    ("Water in the chocolate? Throw that chocolate away.", "Wipe the plate only unplugged and cold."),
    ("Lift the bowl out; wipe it.", "Lift the bowl off; wipe it."),
)


def plate_card() -> str:
    """The kitchen card with the plate's words."""
    card = (HERE / "kitchen-card.svg").read_text(encoding="utf-8")
    for water, plate in ON_A_PLATE:
        if water not in card:
            raise ValueError(f"kitchen-card.svg no longer says {water!r}; change ON_A_PLATE with it")
        card = card.replace(water, plate)
    return card


def files() -> dict[Path, str]:
    """Each file, and what is to be in it."""
    made = {}
    for build in BUILDS:
        made[HERE / f"{build.name}-rig.toml"] = rig_text(build)
        made[HERE / f"{build.name}-labels.svg"] = labels_svg(build)
        made[BUNDLED / f"{twin_name(build)}.toml"] = twin_text(build)
    made[HERE / "plate-card.svg"] = plate_card()
    return made


if __name__ == "__main__":
    for path, text in files().items():
        path.write_text(text, encoding="utf-8")
