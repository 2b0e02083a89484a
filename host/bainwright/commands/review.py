"""`bain review`: the options."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from bainwright.commands import options
from bainwright.commands.console import remark, show_result
from bainwright.commands.usage import Number

if TYPE_CHECKING:
    from bainwright.record.reader import HoldLog
    from bainwright.review.night import Night
    from bainwright.review.nights import Comparison
    from bainwright.what_if.choice import Choice
    from bainwright.words.section import Section


@click.command(short_help="Review one past hold, or compare several.")
@click.argument("holds", metavar="[HOLD]...", nargs=-1)
@click.option("--warmer", metavar="NAME", help="Compare the holds on this warmer.")
@click.option("--since", metavar="DATE|DAYS", help="Compare the holds from this date on: 2026-11-01, or 30d.")
@click.option("--what-if", is_flag=True, help="Play one hold again with another choice, and show what changes.")
@click.option("--gains", metavar="FILE", help="With --what-if: other gains.")
@click.option("--target", metavar="TEMP", help="With --what-if: another target in the window.")
@click.option("--announce", metavar="[MIN]", is_flag=False, flag_value="5", type=Number(),
              help="With --what-if: each refill announced, 5 min ahead or MIN.")
@click.option("--report", metavar="FILE", help="Write it as a page to print or send: .html or .pdf.")
@options.json
def review(holds: tuple[str, ...], warmer: str | None, since: str | None, what_if: bool, gains: str | None,
           target: str | None, announce: float | None, report: str | None, as_json: bool) -> int:
    """Review one past hold, or compare several.

    Several holds on one warmer show what has changed about it: heater, water, lid or probes. The report has each of
    them in full as well. --what-if needs one hold of an hour or more, with a probe in the chocolate.

    HOLD is a name from `bain holds`, `last`, `yesterday` or a folder.  [default: last]
    """
    from bainwright.core.errors import NOT_AS_IT_SHOULD, UseError
    from bainwright.review import night_page, night_words, nights_words
    from bainwright.review.nights import compare
    from bainwright.what_if import words as what_if_words
    from bainwright.what_if.choice import Refused, try_again

    page = Path(report) if report else None
    if page:
        night_page.check_target(page)
    choice = _choice(what_if, gains, target, announce)
    now = datetime.now().astimezone()
    folders = _folders(holds, warmer, since, now)
    if choice is not None and len(folders) != 1:
        raise UseError(f"--what-if with {len(folders)} holds", wanted="one hold", hint="name it: bain review dark-3")
    nights, read, tried = [], [], None
    for folder in folders:
        found = _read(folder, named=warmer is None and since is None, alone=len(folders) == 1)
        if found is not None:
            log, night = found
            nights.append(night)
            read.append(folder)
            tried = None if choice is None else try_again(log, night.happenings, choice)
    compared = compare(nights)
    result: dict[str, Any] = {"holds": [night_words.as_json(night) for night in nights],
              "warmers": [nights_words.as_json(each) for each in compared]}  # fmt: skip
    lines, parts = _shown(nights, compared)
    if tried is not None:
        parts.append(what_if_words.section(tried))
        result["what_if"] = what_if_words.as_json(tried)
    for section in parts:
        lines += ["", section.title, *(f"  {line}" for line in section.lines)]
    if page:
        night_page.write(page, nights, read, now, tried)
        remark(f"wrote {page}")
    show_result(result, lines, as_json)
    return NOT_AS_IT_SHOULD if isinstance(tried, Refused) else 0


def _read(folder: Path, *, named: bool, alone: bool) -> tuple[HoldLog, Night] | None:
    """A hold's log and its review; None, with a remark, if it cannot be read and nobody asked for it by its name."""
    from bainwright.archive.listing import entry_of_log
    from bainwright.core.errors import BainError
    from bainwright.core.progress import progress
    from bainwright.record.reader import read_log
    from bainwright.review.night import review as review_log

    try:
        with progress("reading the hold"):
            log = read_log(folder)
    except BainError as failed:
        if named:
            raise
        remark(f"left out {folder.name}: {failed}")
        return None
    with progress("reviewing it"):
        night = review_log(entry_of_log(folder.absolute(), log), log)
    for note in [] if alone else log.notes:  # a single hold's review says it itself
        remark(f"{folder.name}: {note}")
    return log, night


def _shown(nights: list[Night], compared: list[Comparison]) -> tuple[list[str], list[Section]]:
    """What comes first, and the sections: of one hold its review, of several how they compare."""
    from bainwright.review import night_words, nights_words
    from bainwright.review.hold_list import aligned

    if len(nights) == 1:
        return [f"{nights[0].entry.name}: {nights[0].entry.verdict}"], night_words.sections(nights[0])
    return aligned(nights_words.table(nights)), nights_words.sections(compared)


def _folders(holds: tuple[str, ...], warmer: str | None, since: str | None, now: datetime) -> list[Path]:
    """The folders of the holds that were named, or of all on a warmer since a date."""
    from bainwright.archive.finding import find, parse_since
    from bainwright.archive.listing import list_holds, select
    from bainwright.core.errors import FileError, UseError

    listed = list_holds(shown=True)
    if warmer is None and since is None:
        return list(dict.fromkeys(find(named, listed, now.date()) for named in holds or ("last",)))
    if holds:
        raise UseError("HOLD with --warmer or --since", wanted="holds by name, or a warmer and a date; not both")
    begin = parse_since(since, now) if since else None
    folders = [Path(each.folder) for each in select(listed, warmer=warmer, since=begin)]
    if not folders:
        raise FileError("no hold matches", hint="bain holds lists all of them")
    return folders


def _choice(what_if: bool, gains: str | None, target: str | None, announce: float | None) -> Choice | None:
    """What --what-if is to try; None without it."""
    from bainwright.core.errors import UseError
    from bainwright.core.masses import parse_temp_c
    from bainwright.tuning.gains import GainsFile, read_gains
    from bainwright.what_if.choice import MOST_AHEAD_S, Choice

    given = [name for name, value in (("--gains", gains), ("--target", target), ("--announce", announce))
             if value is not None]
    if not what_if:
        if given:
            raise UseError(f"{given[0]} without --what-if", hint="add --what-if to play the hold again")
        return None
    if not given:
        raise UseError("--what-if does not say what to try", wanted="--gains FILE, --target TEMP or --announce")
    if announce is not None and not 0.0 < announce <= MOST_AHEAD_S / 60.0:
        raise UseError("--announce", got=f"{announce:g} min", wanted=f"over 0 and at most {MOST_AHEAD_S / 60.0:g} min")
    chosen = GainsFile({}) if gains is None else read_gains(Path(gains))
    return Choice(
        None if gains is None else chosen.values,
        gains or "",
        chosen.notes,
        None if target is None else parse_temp_c(target, "--target", 20.0, 60.0),
        None if announce is None else 60.0 * announce,
    )  # fmt: skip
