"""`bain drill`: the options."""

from __future__ import annotations

from typing import Any

import click

from bainwright.commands import options
from bainwright.commands.console import say


@click.command(short_help="Test every trip and cut-out on your warmer.")
@options.virtual
@options.port
@options.rig
@click.option("--show", is_flag=True, help="Only show what has passed, when, and what is open and why.")
@click.option("--again", is_flag=True, help="Test everything again, also what has passed.")
@click.option("--board-check", is_flag=True, help="Check a bare board in 20 minutes, and write a report to send.")
@click.option("--out", metavar="FILE", help="Where the results go.  [default: RIG-drill.json, board-check.json]")
@options.json
def drill(as_json: bool, **asked: Any) -> int:
    """Test each trip and cut-out on the warmer, step by step, in an hour or more.

    Each step says what to do, what must happen and how long to wait, and times it. Every result is stored at once: if
    you stop, the drill resumes there. Fill the bath with cold water, or let the plate be
    cold and dry; the bowl may be empty.

    With --board-check, the heater stays unplugged: the board's answers, lines, clock, probes and flash are measured.
    """
    from bainwright.drill.walk import DrillOptions, run_drill

    return run_drill(DrillOptions(**asked), as_json=as_json, say=say)
