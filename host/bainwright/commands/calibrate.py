"""`bain calibrate`: the options."""

from __future__ import annotations

from typing import Any

import click

from bainwright.commands import console, options
from bainwright.commands.usage import Number, OneOf


@click.command(short_help="Measure and correct the error of the probes.")
@options.port
@options.virtual
@options.rig
@click.option("--fever", metavar="TEMP",
              help="Probes are in stirred water beside a fever thermometer that reads this: 38.2 or 100.8F.")
@click.option("--ice", is_flag=True, help="Probes in crushed ice and water.")
@click.option("--boil", is_flag=True, help="Probes in boiling water; with --altitude or --pressure.")
@click.option("--altitude", callback=options.metres, metavar="METRES", help="Above sea level; or feet: 1700ft.")
@click.option("--pressure", type=Number(), metavar="HPA",
              help="Air pressure in the kitchen, in hPa; not the sea-level figure of a weather report.")
@click.option("--lifted", type=OneOf("water", "bowl"), help="Which probe is lifted out now, to see which is which.")
@click.option("--bowl", multiple=True, metavar="TEMP", help="With no probe in it: the chocolate by hand, in a hold; "
              "or WATER/CHOCOLATE as both were read.")
@click.option("--chocolate", default="dark", show_default=True, metavar="PROFILE", help="Whose window it must serve.")
@click.option("--show", is_flag=True, help="Only show what is stored, and how old it is.")
@click.option("--forget", is_flag=True, help="Forget what was measured before.")
@options.seed
@options.json
def calibrate(as_json: bool, **asked: Any) -> int:
    """Measure the error of the probes: first beside a fever thermometer, then in ice, then in boiling water.

    The heat is locked out meanwhile. With no bath named it asks, step by step. Each point is stored at once: beside the
    rig file, in it and on the board. The first point alone is enough for a chocolate's window.
    """
    from bainwright.calibration.options import CalibrateOptions
    from bainwright.calibration.run import run_calibration

    ask = console.ask_line if console.is_asked() else None
    return run_calibration(CalibrateOptions(**asked), ask, as_json=as_json, say=console.say)
