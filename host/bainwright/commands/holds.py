"""`bain holds`: the options, and the list."""

from __future__ import annotations

import click

from bainwright.commands import options
from bainwright.commands.console import remark, show_result


@click.command(short_help="List every hold, the newest first.")
@click.option("--warmer", metavar="NAME", help="Only holds on this warmer.")
@click.option("--kind", metavar="KIND", help="Only this chocolate: dark, milk, melted, ...")
@click.option("--since", metavar="DATE|DAYS", help="Only holds from this date on: 2026-11-01, or 7d.")
@options.json
def holds(as_json: bool, warmer: str | None, kind: str | None, since: str | None) -> int:
    """List every hold, the newest first.

    Times are local. Holds are found wherever they were made; `bain show NAME` shows one of them. Exit
    status 1 says that some cannot be listed.
    """
    from datetime import datetime

    from bainwright.archive.finding import parse_since
    from bainwright.archive.listing import list_holds, select
    from bainwright.review.hold_list import as_result, lines

    begin = parse_since(since, datetime.now().astimezone()) if since else None
    notes: list[str] = []
    everything = list_holds(notes)
    for note in notes:
        remark(note)
    found = select(everything, warmer=warmer, kind=kind, since=begin)
    if found or as_json:
        show_result([as_result(hold) for hold in found] if as_json else [], lines(found), as_json)
    elif not notes:
        remark("no hold matches" if everything else "there are no holds yet; bain hold dark --virtual makes the first")
    return 1 if notes else 0
