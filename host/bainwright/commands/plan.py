"""`bain plan`: the options, and what comes out of them."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from bainwright.commands import options
from bainwright.commands.usage import Number, Whole
from bainwright.core.json_text import json_text

if TYPE_CHECKING:  # imported when the command runs, so that help is there at once
    from bainwright.core.masses import Shown
    from bainwright.plan.options import PlanOptions
    from bainwright.plan.parts import Plan

PAGES = (".html", ".svg", ".png", ".pdf")


@click.command(short_help="Plan a batch: what to weigh, when to start.")
@click.argument("profile", metavar="PROFILE")
@click.option("--total", metavar="MASS", help="All the chocolate, seed included: 1.8kg, 800g, 3lb.")
@click.option("--pieces", type=Whole(1, 100_000), metavar="N", help="Work the mass out from so many pieces.")
@click.option("--coating", metavar="MASS|PERCENT", help="Coating on a piece, or its share of the finished piece.")
@click.option("--centre", metavar="MASS", help="One centre, for a coating given as a share.")
@click.option("--waste", metavar="PERCENT", help="Of what is used, lost on tools and paper.  [default: 12%]")
@click.option("--left", metavar="MASS", help="What has to stay in the bowl to dip from.")
@click.option("--method", metavar="METHOD", help="seed, butter (cocoa butter seed) or cool (cool, warm back).")
@click.option("--seed", metavar="MASS|PERCENT", help="The seed you have: says where it ends, and what to do.")
@click.option("--rig", metavar="FILE|RIG", help="The warmer as built.  [default: pot]")
@options.vessel
@click.option("--pot-width", metavar="CM", help="Width of the pot inside, at the water: 28cm or 11in.")
@click.option("--cover", metavar="PERCENT", help="How much of the water round the bowl is covered.")
@click.option("--gains", metavar="FILE", help="What bain tune learned of this warmer, in place of its sizes.")
@options.room()
@click.option("--humidity", metavar="PERCENT", help="Relative humidity of the room.  [default: 50%]")
@click.option("--altitude", callback=options.metres, metavar="METRES", help="Above sea level; or feet: 1700ft.")
@click.option("--centre-temp", metavar="TEMP", help="The centres as they are dipped.")
@click.option("--melt", metavar="TEMP", help="The melt before tempering.  [default: the chocolate's]")
@click.option("--to", metavar="TEMP", help="Where seeding ends.  [default: top of the window]")
@click.option("--seed-temp", metavar="TEMP", help="The seed as it goes in.  [default: the room]")
@click.option("--seed-factor", type=Number(), metavar="X", help="Seed used over seed planned, on past evenings.")
@click.option("--water-temp", metavar="TEMP", help="The bath as it is filled.  [default: the room]")
@click.option("--cold-water", metavar="TEMP", help="What is poured in to cool the bath.  [default: 15]")
@click.option("--refill", metavar="MASS", help="A refill to be judged.")
@click.option("--refill-temp", metavar="TEMP", help="How warm it is.")
@click.option("--in-bowl", metavar="MASS", help="What it goes into.  [default: filled up to where it began]")
@click.option("--for", "for_", metavar="DURATION", help="How long you dip, or hold it melted: 3h40m.")
@click.option("--at", metavar="HH:MM", help="When the heat goes on.")
@click.option("--dip-at", metavar="HH:MM", help="When dipping should begin.")
@click.option("--size-heater", is_flag=True, help="How strong a heater, and which build of hardware/ has it.")
@click.option("--melt-within", metavar="DURATION", help="The longest its melt may take.  [default: 2h30m]")
@options.fahrenheit
@options.pounds
@click.option("--all", "everything", is_flag=True, help="Show everything, not the ten lines to work by.")
@click.option("--sources", is_flag=True, help="Show where the figures come from.")
@click.option("--page", metavar="FILE", help="A page to print, with a picture: .html, .pdf, .svg or .png.")
@click.option("--tonight", is_flag=True, help="Store it as tonight's checklist, for bain page.")
@options.json
def plan(
    size_heater: bool, melt_within: str | None, fahrenheit: bool, pounds: bool, everything: bool, sources: bool,
    page: str | None, tonight: bool, as_json: bool, **asked: Any,
) -> int:  # fmt: skip
    """Plan a batch: what to weigh, when to start, what to watch.

    PROFILE is a chocolate by name (bain profile list) or a TOML file. Temperatures are °C, or °F with an F (88F);
    masses carry their unit. Exit status 1: it cannot be done, nor by melting elsewhere, and the plan says why.

    \b
      bain plan dark --total 1.8kg --dip-at 19:00
      bain plan dark --total 1.8kg --seed 400g
      bain plan milk --pieces 140 --coating 4g --room 24 --humidity 65%
      bain plan dark --total 1.8kg --size-heater
    """
    from dataclasses import replace
    from datetime import datetime

    from bainwright.core.masses import Shown
    from bainwright.core.progress import progress
    from bainwright.plan.options import PlanOptions, batch_request
    from bainwright.plan.planner import make_plan

    shown = Shown() if as_json else Shown(fahrenheit, pounds)
    target = _page(page)
    if size_heater:
        _refuse_of_plan({"--page": page, "--all": everything, "--sources": sources, "--tonight": tonight,
                         "--dip-at": asked.get("dip_at")})  # fmt: skip
        return _size_heater(PlanOptions(**asked), melt_within, shown, as_json=as_json)
    _refuse_alone(melt_within)
    with progress("planning"), _on_scales(shown):
        now = datetime.now()
        request = replace(batch_request(PlanOptions(**asked), shown), now_min=60.0 * now.hour + now.minute)
        made = make_plan(request)
    if target is not None:
        from bainwright.plan.page import write_page

        with progress("drawing the page"):
            write_page(target, made, shown)
    click.echo(_json(made) if as_json else _text(made, shown, everything=everything, sources=sources))
    if tonight:
        from bainwright.plan.tonight import store, tonight_of

        store(tonight_of(made, shown, now))
        click.echo("bain: bain page shows it as tonight's checklist", file=sys.stderr)
    if target is not None:
        click.echo(f"bain: the page is {target}", file=sys.stderr)
    return 0 if made.ok else 1


@contextmanager
def _on_scales(shown: Shown) -> Iterator[None]:
    """A refusal speaks in the scales of the plan, as what it judges may be no figure that was typed."""
    from bainwright.core.errors import UseError
    from bainwright.core.masses import on_scales

    try:
        yield
    except UseError as refusal:
        raise refusal.said_as(lambda words: on_scales(words, shown)) from None


def _refuse_alone(melt_within: str | None) -> None:
    from bainwright.core.errors import UseError

    if melt_within is not None:
        raise UseError("--melt-within belongs to --size-heater", hint="add --size-heater")


def _refuse_of_plan(given: dict[str, Any]) -> None:
    """Refuse what only a plan has."""
    from bainwright.core.errors import UseError

    for name, value in given.items():
        if value:
            raise UseError(f"{name} belongs to the plan, not to --size-heater", hint="leave one of them out")


def _size_heater(asked: PlanOptions, melt_within: str | None, shown: Shown, *, as_json: bool) -> int:
    """Say how strong a heater must be, in place of the plan."""
    from bainwright.core.progress import progress
    from bainwright.core.units import parse_duration_s
    from bainwright.plan import heater_words
    from bainwright.plan.heater_size import DEFAULT_WITHIN_S, WITHIN, size_heater
    from bainwright.plan.options import batch_request

    within_s = parse_duration_s(melt_within, "--melt-within", WITHIN) if melt_within else DEFAULT_WITHIN_S
    with progress("sizing the heater"), _on_scales(shown):
        found = size_heater(batch_request(asked, shown), within_s)
    if as_json:
        result = {**found.as_dict(), "assumed": found.request.assumed}
        click.echo(json_text(result))
    else:
        click.echo(heater_words.text(found, shown))
    return 0 if found.ok else 1


def _json(made: Plan) -> str:
    from bainwright.core.masses import Shown
    from bainwright.plan.cautions import cautions

    result = {**made.as_dict(), "assumed": made.request.assumed, "cautions": cautions(made, Shown())}
    return json_text(result)


def _text(made: Plan, shown: Shown, *, everything: bool, sources: bool) -> str:
    from bainwright.plan import words

    if everything:
        return words.text(made, shown, with_sources=sources)
    return words.sources_text(made) if sources else words.short_text(made, shown)


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
