"""The campaign's command: ``python -m tests.faults`` from the project's top, with firmware and host on the path."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.progress import MofNCompleteColumn, Progress, TimeRemainingColumn

from bainwright.core.errors import BainError

from . import campaign, cases

RESULTS = Path("campaign.jsonl")


@click.group()
def main() -> None:
    """Faults, people and power cuts against the real firmware."""


@main.command()
@click.option("--part", "parts", multiple=True, type=click.Choice(list(campaign.PARTS)), help="Only these parts.")
@click.option("--rounds", type=click.IntRange(1), help="Seeds per case; the whole campaign has its own for each part.")
@click.option("--out", type=click.Path(path_type=Path), default=RESULTS, show_default=True, help="Results.")
@click.option("--jobs", type=click.IntRange(1), default=os.cpu_count() or 1, show_default=True)
def run(parts: tuple[str, ...], rounds: int | None, out: Path, jobs: int) -> None:
    """Play the campaign; what the file holds of this firmware is not played again, unless it was bad."""
    firmware = campaign.firmware_hash()
    done = {row["case"] for row in campaign.read_results(out, firmware) if campaign.good(row)}
    todo = [case for part in parts or campaign.PARTS for case in campaign.cases(part, rounds) if str(case) not in done]
    todo, bad = campaign.order(todo), 0
    with Progress(*Progress.get_default_columns()[:3], MofNCompleteColumn(), TimeRemainingColumn(),
                  console=Console(stderr=True)) as bar:
        task = bar.add_task("cases", total=len(todo))
        for row in campaign.keep(out, campaign.run(todo, jobs), firmware):
            bar.advance(task)
            if not campaign.good(row):
                bad += 1
                bar.console.print(row["case"], *row["broken"][:1], row["missed"], markup=False, highlight=False)
    click.echo(f"{len(todo)} cases played, {len(done)} were there, {bad} bad; firmware {firmware}")
    sys.exit(1 if bad else 0)


@main.command()
@click.argument("lines", nargs=-1, required=True)
@click.option("--engine", type=click.Choice(["fast", "board"]), default="fast", show_default=True)
@click.option("--json", "as_json", is_flag=True)
def replay(lines: tuple[str, ...], engine: str, as_json: bool) -> None:
    """Play cases again: each LINE is a case ('17 pot/quiet/water_open') or a file of them."""
    from .judge import play
    from .on_board import play_on_board

    bad = 0
    for case in _asked(lines):
        row = (play_on_board(case) if engine == "board" else play(case)).as_row()
        bad += not campaign.good(row)
        click.echo(json.dumps(row) if as_json else _told(row))
    sys.exit(1 if bad else 0)


def _asked(lines: tuple[str, ...]) -> list[cases.Case]:
    return [case for line in lines
            for case in ([cases.parse(line)] if "/" in line and " " in line else cases.load(Path(line)))]


def _told(row: dict[str, Any]) -> str:
    words = [row["case"], f"trace {row['digest']}", f"told after {row['told_s']} s, due {row['due_s']}",
             f"warmest {row['warmest_c']} °C", f"seen: {', '.join(row['seen']) or 'nothing'}"]
    return "; ".join(words) + "".join(f"\n  {what}" for what in [*row["broken"], row["missed"]] if what)


@main.command()
@click.option("--count", type=click.IntRange(1), default=24, show_default=True)
def agree(count: int) -> None:
    """Play a sample on both engines and compare."""
    from .on_board import compare, sample

    bad = 0
    for case in sample(count):
        outcome = compare(case)
        bad += not outcome.good
        click.echo(str(outcome))
    sys.exit(1 if bad else 0)


@main.command()
@click.option("--jobs", type=click.IntRange(1), default=os.cpu_count() or 1, show_default=True)
@click.option("--out", type=click.Path(path_type=Path), default=Path("mutants.jsonl"), show_default=True)
@click.option("--only", default="", help="Mutants whose name has this in it.")
def mutate(jobs: int, out: Path, only: str) -> None:
    """Break each check of the supervisor in turn: a mutant that lives is named."""
    from . import mutants

    lived = 0
    with Progress(console=Console(stderr=True)) as bar:
        everything = [mutant for mutant in mutants.mutants() if only in mutant.name]
        task = bar.add_task("mutants", total=len(everything))
        for fate in mutants.keep(out, mutants.hunt(everything, jobs)):
            bar.advance(task)
            if not fate["killed_by"]:
                lived += 1
                click.echo(f"lived: {fate['mutant']}")
    click.echo(f"{len(everything) - lived} of {len(everything)} mutants killed")
    sys.exit(1 if lived else 0)


@main.command()
@click.option("--hours", type=click.FloatRange(2.0), default=25.0, show_default=True)
def day(hours: float) -> None:
    """Hold for a day on the virtual board: does what the heap holds grow?"""
    from . import heap

    used = heap.run(hours).used
    grown = used[-1] - used[0]
    click.echo(f"held after the first hour {used[0]} bytes, after {len(used)} hours {used[-1]}: {grown:+d}")
    sys.exit(0 if abs(grown) < heap.GROWTH_BYTES else 1)


@main.command()
@click.option("--results", type=click.Path(path_type=Path), default=RESULTS, show_default=True)
@click.option("--mutants", "hunted", type=click.Path(path_type=Path), default=Path("mutants.jsonl"), show_default=True)
@click.option("--search", "searched", multiple=True, type=click.Path(path_type=Path), default=(Path("search.jsonl"),),
              show_default=True, help="Results of tests.faults.search; more than one from runs side by side.")
@click.option("--write", is_flag=True, help="Into hardware/SAFETY.md, between its markers.")
def figures(results: Path, hunted: Path, searched: tuple[Path, ...], write: bool) -> None:
    """The campaign's tables."""
    from . import tables

    text = tables.page(results, hunted, searched)
    if write:
        tables.renew(text)
    else:
        click.echo(text)


if __name__ == "__main__":
    try:
        main(standalone_mode=False)
    except BainError as error:
        click.echo(str(error), err=True)
        sys.exit(2)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped; what was played is stored, the same command resumes", err=True)
        sys.exit(130)
