"""`bain review`: the options."""

from __future__ import annotations

import click

from bainwright.commands import options
from bainwright.commands.console import remark, show_result


@click.command(short_help="Review one past hold, or several side by side.")
@click.argument("holds", metavar="[HOLD]...", nargs=-1)
@click.option("--report", metavar="FILE", help="Write it as a page to print or send: .html or .pdf.")
@options.json
def review(holds: tuple[str, ...], report: str | None, as_json: bool) -> int:
    """Review one past hold, or several side by side.

    HOLD is a name from `bain holds`, `last`, `yesterday` or a folder.  [default: last]
    """
    from datetime import datetime
    from pathlib import Path

    from bainwright.archive.finding import find
    from bainwright.archive.listing import entry_of, list_holds
    from bainwright.record.reader import read_log
    from bainwright.review import night_page, night_words
    from bainwright.review.hold_list import aligned
    from bainwright.review.night import review as review_log

    target = Path(report) if report else None
    if target:
        night_page.check_target(target)
    now, listed = datetime.now().astimezone(), list_holds()
    folders = [find(named, listed, now.date()) for named in holds or ("last",)]
    nights = []
    for folder in folders:
        log = read_log(folder)
        nights.append(review_log(entry_of(folder.absolute(), log.facts), log))
        for note in log.notes:
            remark(note)
    lines = aligned(night_words.compared(nights)) if len(nights) > 1 else []
    for night in nights:
        lines += [*([""] if lines else []), f"{night.entry.name}: {night.entry.verdict}"]
        for section in night_words.sections(night):
            lines += ["", section.title, *(f"  {line}" for line in section.lines)]
    if target:
        night_page.write(target, nights, folders, now)
        remark(f"wrote {target}")
    show_result([night_words.as_json(night) for night in nights], lines, as_json)
    return 0
