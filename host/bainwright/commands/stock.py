"""`bain stock`: the options."""

from __future__ import annotations

from typing import Any

import click

from bainwright.commands import options
from bainwright.commands.console import say


@click.command(short_help="Record leftovers: mass, melts, what got into them.")
@click.argument("hold", metavar="[HOLD]", required=False)
@click.option("--left", metavar="MASS", help="What is left, spread, set and weighed: 640g.")
@click.option("--melt", metavar="MASS", help="The melt as it was before any seed went in.")
@click.option("--seed", metavar="MASS", help="The seed that went in: the next plan learns from it.")
@click.option("--of", metavar="HOLD", help="The hold whose leftovers were melted again for this one.")
@click.option("--water", is_flag=True, help="Water got into it.")
@click.option("--grains", is_flag=True, help="It has lumps that do not melt.")
@click.option("--allergen", "allergens", multiple=True, metavar="WHAT", help="What else got into it: hazelnut.")
@click.option("--undo", is_flag=True, help="Take the last entry back.")
@options.pounds
@options.json
def stock(as_json: bool, pounds: bool, **asked: Any) -> int:
    """Record what an evening left: its mass, how often it was melted, what got into it, and whether it may be tempered
    again.

    HOLD is a name from `bain holds`, `last`, `yesterday` or a folder; without it, everything recorded is listed. Exit
    status 1 says that some of it is not fit.
    """
    from bainwright.core.masses import Shown
    from bainwright.plan.stock import StockOptions, run_stock

    return run_stock(StockOptions(**asked), Shown(pounds=pounds), as_json=as_json, say=say)
