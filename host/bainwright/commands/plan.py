"""`bain plan`: the options, and what comes out of them."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import click

from bainwright.commands import options
from bainwright.commands.usage import Number, Whole

PAGES = (".html", ".svg", ".png", ".pdf")


@click.command(short_help="Work out a batch: seed, water, heater and hours.")
@click.argument("profile", metavar="PROFILE")
@click.option("--total", metavar="MASS", help="All the chocolate, seed included: 2.2kg, 800g, 5lb.")
@click.option("--pieces", type=Whole(1, 100_000), metavar="N", help="Work the mass out from so many pieces.")
@click.option("--coating", metavar="MASS|PERCENT", help="Coating on a piece, or its share of the finished piece.")
@click.option("--centre", metavar="MASS", help="One centre, for a coating given as a share.")
@click.option("--waste", metavar="PERCENT", help="Of what is used, lost on tools and paper.  [default: 12%]")
@click.option("--left", metavar="MASS", help="What has to stay in the bowl to dip from.")
@click.option("--rig", metavar="FILE|RIG", help="The warmer as built.  [default: pot]")
@options.vessel
@options.room()
@click.option("--humidity", metavar="PERCENT", help="Relative humidity of the room.  [default: 50%]")
@click.option("--altitude", callback=options.metres, metavar="METRES", help="Above sea level; or feet: 1700ft.")
@click.option("--centre-temp", metavar="TEMP", help="The centres as they are dipped.")
@click.option("--melt", metavar="TEMP", help="The melt before seeding.  [default: the chocolate's]")
@click.option("--to", metavar="TEMP", help="Where seeding ends.  [default: top of the window]")
@click.option("--seed-temp", metavar="TEMP", help="The seed as it goes in.  [default: the room]")
@click.option("--seed-factor", type=Number(), metavar="X", help="Seed used over seed planned, on evenings gone by.")
@click.option("--water-temp", metavar="TEMP", help="The bath as it is filled.  [default: the room]")
@click.option("--cold-water", metavar="TEMP", help="What is poured in to cool the bath.  [default: 15]")
@click.option("--refill", metavar="MASS", help="A refill to be judged.")
@click.option("--refill-temp", metavar="TEMP", help="How warm it is.")
@click.option("--in-bowl", metavar="MASS", help="What it goes into.  [default: filled up to where it began]")
@click.option("--for", "for_", metavar="DURATION", help="How long you dip, or keep it melted: 3h40m.")
@click.option("--at", metavar="HH:MM", help="When the heat goes on.")
@click.option("--dip-at", metavar="HH:MM", help="When dipping should begin.")
@options.fahrenheit
@options.pounds
@click.option(
    "--page", metavar="FILE", help="A page to print, with a picture of the evening: .html, .pdf, .svg or .png."
)
@options.json
def plan(fahrenheit: bool, pounds: bool, page: str | None, as_json: bool, **asked: Any) -> int:
    """Work out a batch: seed, melting, water, refills, heater, and the evening's hours.

    PROFILE is dark, milk, white, melted or a TOML file. Temperatures are °C, or °F with an F (88F); masses carry their
    unit. Exit status 1 says that it cannot be done as asked, and why.

    \b
      bain plan dark --total 2.2kg --dip-at 19:00
      bain plan milk --pieces 120 --coating 5g --room 24 --humidity 65%
    """
    from bainwright.core.masses import Shown
    from bainwright.plan.cautions import cautions
    from bainwright.plan.options import PlanOptions, batch_request
    from bainwright.plan.planner import make_plan
    from bainwright.plan.words import text

    shown = Shown(fahrenheit, pounds)
    target = _page(page)
    made = make_plan(batch_request(PlanOptions(**asked), shown))
    if target is not None:
        from bainwright.plan.page import write_page

        write_page(target, made, shown)
    if as_json:
        result = {**made.as_dict(), "cautions": cautions(made, Shown())}
        click.echo(json.dumps(result, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        click.echo(text(made, shown))
    if target is not None:
        click.echo(f"bain: the page is {target}", file=sys.stderr)
    return 0 if made.ok else 1


def _page(name: str | None) -> Path | None:
    """Where the page goes, refused before anything is worked out if it cannot be."""
    from bainwright.core.errors import UseError

    if name is None:
        return None
    path = Path(name)
    if path.suffix.lower() not in PAGES:
        raise UseError(
            "--page", got=repr(name), wanted="a name ending in " + ", ".join(PAGES), hint="for instance plan.html"
        )
    if not path.absolute().parent.is_dir():
        raise UseError("--page", got=repr(name), wanted="a folder that is there", hint="make it first")
    return path
