"""`bain ports`: the options."""

from __future__ import annotations

import click

from bainwright.commands import options
from bainwright.commands.console import say


@click.command(short_help="List the ports, and the warmer on each.")
@options.json
def ports(as_json: bool) -> int:
    """List the ports a board may be on, and which warmer answers on each."""
    from bainwright.install.report import ports_and_report

    return ports_and_report(as_json=as_json, say=say)
