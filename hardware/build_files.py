"""Writes what is made from the builds' tables: rig files here, and their simulated twins in the toolkit.

    python hardware/build_files.py
"""

from __future__ import annotations

from pathlib import Path

from bainwright.builds.catalogue import BUILDS
from bainwright.builds.rig_text import rig_text, twin_name, twin_text
from bainwright.files.rig import BUNDLED

HERE = Path(__file__).parent


def files() -> dict[Path, str]:
    """Each file, and what is to be in it."""
    made = {}
    for build in BUILDS:
        made[HERE / f"{build.name}-rig.toml"] = rig_text(build)
        made[BUNDLED / f"{twin_name(build)}.toml"] = twin_text(build)
    return made


if __name__ == "__main__":
    for path, text in files().items():
        path.write_text(text, encoding="utf-8")
