"""`bain tune`: the options."""

from __future__ import annotations

import os
from functools import partial
from typing import Any

import click

from bainwright.commands import options
from bainwright.commands.console import say


@click.command(short_help="Learn your warmer and choose its control gains.")
@options.virtual
@options.port
@options.rig
@options.vessel
@options.plant
@click.option("--from", "from_log", metavar="HOLD", help="Learn from a hold's log instead of an experiment.")
@click.option("--chocolate", default="dark", show_default=True, metavar="PROFILE", help="What it is to hold.")
@click.option("--for", "for_", metavar="DURATION", help="How long the experiment takes.  [default: 1h]")
@options.room()
@options.speed
@options.seed
@click.option("--out", metavar="FILE", help="The gains file; the report goes beside it.  [default: RIG-gains.toml]")
@click.option("--undo", is_flag=True, help="Restore the gains that the last tuning replaced.")
@options.json
def tune(as_json: bool, **asked: Any) -> int:
    """Learn your warmer, choose gains for it, and test them before they are used.

    Fill it as for an evening, with melted untempered chocolate or as much weighed water, everything cold. Stir every
    minute or two for an hour, as dipping would, and do nothing else to it: chocolate at rest takes far less heat from
    its bath than in an evening. Gains that fail the test are refused with the reason, and nothing is written but the
    report.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # its matrices are small: threads would only wait for each other
    from bainwright.evening.experiment import learn
    from bainwright.report.report import report
    from bainwright.tuning.tune import TuneAsked
    from bainwright.tuning.tune import tune as tune_warmer

    return tune_warmer(TuneAsked(**asked), partial(learn, store=report), as_json=as_json, say=say)
