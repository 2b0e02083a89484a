"""`bain holds`: the options, the list, and the sums over many holds."""

from __future__ import annotations

from datetime import datetime

import click

from bainwright.commands import options
from bainwright.commands.console import remark, show_result
from bainwright.commands.usage import OneOf

GROUPS = ("night", "warmer", "month", "kind")


@click.command(short_help="List every hold, or sum them by warmer or month.")
@click.option("--warmer", metavar="NAME", help="Only holds on this warmer, by its name or its board's id.")
@click.option("--kind", metavar="KIND", help="Only this chocolate: dark, milk, melted, ...")
@click.option("--since", metavar="DATE|DAYS", help="Only holds from this date on: 2026-11-01, or 7d.")
@click.option("--per", type=OneOf(*GROUPS), metavar="GROUP",
              help="Sum holds by warmer, month or kind; night: a line a hold.")
@click.option("--archive", metavar="FOLDER",
              help="With --per: ask this archive, which `bain export FOLDER/` made.  [default: your own holds]")
@click.option("--engine", metavar="ENGINE", default=None,
              help="With --per: spark://HOST:PORT or spark://local for very many holds.  [default: duckdb]")
@options.json
def holds(as_json: bool, warmer: str | None, kind: str | None, since: str | None, per: str | None,
          archive: str | None, engine: str | None) -> int:
    """List every hold, the newest first.

    Times are local. Holds are found wherever they were made; `bain show NAME` shows one of them. With --per, many
    holds are summed: time in the window, trips, heat. Exit status 1 says that some are left out.
    """
    from bainwright.archive.finding import parse_since
    from bainwright.archive.listing import is_ahead, list_holds, select
    from bainwright.core.errors import UseError
    from bainwright.review.hold_list import as_result, lines

    begin = parse_since(since, datetime.now().astimezone()) if since else None
    if per:
        return _sums(per, archive, engine or "duckdb", warmer, kind, begin, as_json)
    for name, value in (("--archive", archive), ("--engine", engine)):
        if value is not None:
            raise UseError(f"{name} without --per", hint="add --per warmer, month, kind or night")
    notes: list[str] = []
    everything = list_holds(notes, shown=True)
    for note in notes:
        remark(note)
    found = select(everything, warmer=warmer, kind=kind, since=begin)
    for hold in filter(is_ahead, found):
        remark(f"{hold.name} began after now, by the clock of its PC then; `last` passes it over until that day")
    if found or as_json:
        show_result([as_result(hold) for hold in found] if as_json else [], lines(found), as_json)
    elif not notes:
        remark("no hold matches" if everything else "there are no holds yet; bain hold dark --virtual makes the first")
    return 1 if notes else 0


def _sums(per: str, archive: str | None, engine: str, warmer: str | None, kind: str | None, begin: datetime | None,
          as_json: bool) -> int:
    """The sums over many holds: of an archive, or of the home's, made like the list first."""
    from datetime import UTC
    from pathlib import Path

    from bainwright.archive import store
    from bainwright.archive.engines import answer, check_name
    from bainwright.archive.figures import Chosen
    from bainwright.archive.listing import list_holds
    from bainwright.core.progress import progress
    from bainwright.review.hold_list import aligned
    from bainwright.review.many_words import as_result, table

    check_name(engine)
    notes: list[str] = []
    if archive is None:
        listed = list_holds(notes, shown=True)
        with progress("reading new holds", len(listed)) as done:
            folder = store.renew(listed, notes, done)
    else:
        folder = Path(archive)
    chosen = Chosen(warmer, kind, begin.astimezone(UTC).replace(tzinfo=None) if begin else None)
    with progress("asking DuckDB" if engine == "duckdb" else "asking Spark"):
        found = answer(engine, folder, per, chosen)
    lacking = sum(each.pop("lacking") or 0 for each in found)
    if lacking:
        notes.append(f"the archive lacks or doubles rows of {lacking} of these holds: copy it again, "
                     "or export those holds to it again")
    for note in notes:
        remark(note)
    if found or as_json:
        show_result([as_result(each) for each in found], aligned(table(per, found)) if found else [], as_json)
    else:
        remark("no hold matches")
    return 1 if notes else 0
