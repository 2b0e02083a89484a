"""`bain collect`: the options."""

from __future__ import annotations

from typing import Any

import click

from bainwright.commands import options
from bainwright.commands.console import say


@click.command(short_help="Fetch what the board logged while no PC was there.")
@options.board
@click.option("--out", metavar="DIR", help="Where the folders of holds are.  [default: the home of records]")
@click.option("--keep", is_flag=True, help="Delete nothing on the board.")
@options.json
def collect(as_json: bool, **asked: Any) -> int:
    """Fetch what the board logged while no PC was there.

    Each hold gets its folder with log, picture and summary; one that was watched in part is completed. What is safe on
    the disk is then deleted on the board.
    """
    from bainwright.report.collect import CollectAsked, collect_and_report

    return collect_and_report(CollectAsked(**asked), as_json=as_json, say=say)
