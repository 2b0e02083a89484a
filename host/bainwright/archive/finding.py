"""Finding one hold by what a person calls it: `last`, `yesterday`, `dark-3`, or its folder."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path

from bainwright.archive.listing import Entry, list_holds
from bainwright.core.errors import FileError, UseError
from bainwright.core.home import hold_paths
from bainwright.core.toml import close_match
from bainwright.record.names import is_hold

LAST, YESTERDAY = "last", "yesterday"


def find(named: str, holds: Sequence[Entry], today: date) -> Path:
    """The folder of a hold.

    Parameters
    ----------
    named : str
        ``last``, ``yesterday``, a hold's name as the list shows it, or a folder.
    holds : sequence of Entry
        The list, newest first.
    today : date
        The local date.

    Raises
    ------
    FileError
        When there is no such hold, or more than one.
    """
    if named in (LAST, YESTERDAY):
        _refuse_unlisted()
    if named == LAST:
        if not holds:
            raise FileError("there are no holds yet", hint="bain hold dark --virtual makes the first")
        return Path(holds[0].folder)
    if named == YESTERDAY:
        day = today - timedelta(days=1)
        found = [hold for hold in holds if hold.started is not None and hold.started.date() == day]
        if not found:
            raise FileError(f"no hold began yesterday, {day.isoformat()}", hint="bain holds lists all of them")
        return Path(found[0].folder)
    same = [hold for hold in holds if hold.name == named]
    if len(same) > 1:
        raise FileError(f"there are {len(same)} holds of the name {named}",
                        wanted="one of the folders " + ", ".join(hold.folder for hold in same))  # fmt: skip
    if same:
        return Path(same[0].folder)
    path = Path(named)
    folder = path if path.is_dir() else path.parent
    if path.exists() and is_hold(folder):
        return folder
    near = close_match(named, [hold.name for hold in holds])
    raise FileError(f"there is no hold {named!r}", wanted="last, yesterday, a name from bain holds, or a folder",
                    hint=near or "bain holds lists all of them")  # fmt: skip


def _refuse_unlisted() -> None:
    """The last of the holds that can be listed may not be the last."""
    notes: list[str] = []
    list(hold_paths(notes))
    if notes:
        raise FileError(notes[0], hint="name the folder of the hold")


def folder_named(named: str) -> Path:
    """As `find`, among the holds that there are now.

    Raises
    ------
    FileError
        When there is no such hold, or more than one.
    """
    return find(named, list_holds(shown=True), datetime.now().astimezone().date())


def parse_since(text: str, now: datetime) -> datetime:
    """The moment that ``--since`` names: a date, or a number of days back.

    Parameters
    ----------
    text : str
        ``2026-11-01`` or ``7d``.
    now : datetime
        Local time with its zone.

    Raises
    ------
    UseError
        When it is neither.
    """
    days = text.strip().removesuffix("d")
    if days.isascii() and days.isdecimal() and days != text.strip() and len(days) < 6:
        return now - timedelta(days=int(days))
    try:
        day = datetime.fromisoformat(text.strip())
        return day if day.tzinfo else day.astimezone()
    except (ValueError, OverflowError, OSError):  # the last two: a year that this PC's calendar has not
        raise UseError("--since", got=repr(text), wanted="a date such as 2026-11-01, or days back such as 7d") from None
