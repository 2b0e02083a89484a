"""`bain review`: the options."""

from __future__ import annotations

import click

from bainwright.commands import options
from bainwright.commands.console import remark, show_result


@click.command(short_help="Review one past hold, or compare several.")
@click.argument("holds", metavar="[HOLD]...", nargs=-1)
@click.option("--warmer", metavar="NAME", help="Compare the holds on this warmer.")
@click.option("--since", metavar="DATE|DAYS", help="Compare the holds from this date on: 2026-11-01, or 30d.")
@click.option("--report", metavar="FILE", help="Write it as a page to print or send: .html or .pdf.")
@options.json
def review(holds: tuple[str, ...], warmer: str | None, since: str | None, report: str | None, as_json: bool) -> int:
    """Review one past hold, or compare several.

    Several holds on one warmer show what has changed about it: heater, water, lid or probes. The report has each of
    them in full as well.

    HOLD is a name from `bain holds`, `last`, `yesterday` or a folder.  [default: last]
    """
    from datetime import datetime
    from pathlib import Path

    from bainwright.archive.finding import find, parse_since
    from bainwright.archive.listing import entry_of, list_holds, select
    from bainwright.core.errors import BainError, FileError, UseError
    from bainwright.record.reader import read_log
    from bainwright.review import night_page, night_words, nights_words
    from bainwright.review.hold_list import aligned
    from bainwright.review.night import review as review_log
    from bainwright.review.nights import compare

    target = Path(report) if report else None
    if target:
        night_page.check_target(target)
    now, listed = datetime.now().astimezone(), list_holds()
    chosen = warmer is not None or since is not None
    if chosen and holds:
        raise UseError("HOLD with --warmer or --since", wanted="holds by name, or a warmer and a date; not both")
    if chosen:
        begin = parse_since(since, now) if since else None
        folders = [Path(each.folder) for each in select(listed, warmer=warmer, since=begin)]
        if not folders:
            raise FileError("no hold matches", hint="bain holds lists all of them")
    else:
        folders = list(dict.fromkeys(find(named, listed, now.date()) for named in holds or ("last",)))
    nights, read = [], []
    for folder in folders:
        try:
            log = read_log(folder)
        except BainError as failed:
            if not chosen:  # a hold that was asked for by its name
                raise
            remark(f"left out {folder.name}: {failed}")
            continue
        nights.append(review_log(entry_of(folder.absolute(), log.facts), log))
        read.append(folder)
        for note in log.notes:
            remark(f"{folder.name}: {note}" if len(folders) > 1 else note)
    compared = compare(nights)
    if len(nights) == 1:
        lines = [f"{nights[0].entry.name}: {nights[0].entry.verdict}"]
        parts = night_words.sections(nights[0])
    else:
        lines = aligned(nights_words.table(nights))
        parts = nights_words.sections(compared)
    for section in parts:
        lines += ["", section.title, *(f"  {line}" for line in section.lines)]
    if target:
        night_page.write(target, nights, read, now)
        remark(f"wrote {target}")
    result = {"holds": [night_words.as_json(night) for night in nights],
              "warmers": [nights_words.as_json(each) for each in compared]}  # fmt: skip
    show_result(result, lines, as_json)
    return 0
