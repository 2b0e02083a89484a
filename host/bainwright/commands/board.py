"""`bain board`: the options, and what they start."""

from __future__ import annotations

from pathlib import Path

import click

from bainwright.commands import console


@click.command(short_help="Serve a virtual board on a pseudo-terminal until stopped.")
@click.option("--rig", default="pot", show_default=True, metavar="FILE|RIG", help="The simulated warmer.")
@click.option("--plant", metavar="FILE.py:NAME", help="Your own simulated warmer.")
@click.option("--speed", default="1", show_default=True, metavar="N", help="How fast its time passes.")
@click.option("--path", metavar="LINK", help="Also reachable under this path.")
@click.option("--image", metavar="FILE", help="Store its flash in this file, and start from what is in it.")
@click.option("--scenario", metavar="FILE", help="What happens to it from its start on, as TOML.")
@click.option("--panel", is_flag=True, help="Fit panel and display, show them here; keys press the buttons.")
@click.option("--board", "model", metavar="BOARD",
              help="Which board to play: pico, pico_w, pico2 or esp32.")
@click.option("--png", metavar="FILE", help="As --panel, and draw the display into this file.")
def board(rig: str, plant: str | None, speed: str, path: str | None, image: str | None, scenario: str | None,
          panel: bool, model: str | None, png: str | None) -> int:  # fmt: skip
    """Serve a virtual board on a pseudo-terminal until stopped.

    Its path is the first line printed; pyserial and mpremote open it like any board's port. It comes commissioned:
    settings stored, latch cleared; with its panel yes and yes again starts a hold with no PC.
    """
    from bainwright.core import units
    from bainwright.files.documents import flash_of
    from bainwright.files.rig import load_rig
    from bainwright.virtual.board_models import check_rig, model_of
    from bainwright.virtual.probe_ids import name_probes
    from bainwright.virtual.scenario import load_scenario
    from bainwright.virtual.serve import serve

    shown = panel or png is not None
    warmer = load_rig(rig)
    check_rig(warmer, model)
    warmer = warmer.with_settings({"panel": True, "display": True}) if shown else warmer
    warmer = name_probes(warmer, model_of(model).kind)
    if model:
        console.remark(model_of(model).line())
    serve(warmer, plant, units.parse_speed(speed), Path(path) if path else None, flash_files=flash_of(warmer),
          scenario=load_scenario(scenario) if scenario else None, image=Path(image) if image else None, panel=shown,
          png=Path(png) if png else None, board=model)
    return 0
