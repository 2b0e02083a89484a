"""May this warmer be left overnight? The mark that goes to the board with its settings, and what to say about it."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from bainwright.core.errors import RefusedError
from bainwright.drill.record import missing, read_record, record_path, standings
from bainwright.files.documents import SIMULATED

UNPROVED, PASSED, OVERRIDDEN = "open", "passed", "overridden"
LONG_S = 4 * 3600.0  # an evening; chosen: a longer hold is warned about
NEXT = "bain drill proves them in half an hour"


def mark_of(settings: Mapping[str, Any], simulated: bool, overridden: bool, now: datetime.datetime | None = None,
            path: Path | None = None) -> str:  # fmt: skip
    """What the board's setting ``drill`` is to say.

    Parameters
    ----------
    settings : mapping
        The warmer's.
    simulated : bool
        There is no warmer behind it, and a simulated one endangers nobody: no drill is needed.
    overridden : bool
        The person asked by name to go without.
    now : datetime.datetime, optional
        With its time zone.
    path : Path, optional
        The record; by the warmer's name in this folder unless given.
    """
    if simulated:
        return SIMULATED
    record = read_record(path or record_path(str(settings["name"])))
    if record is not None and record.simulated:
        record = None  # what a simulated warmer proved says nothing of a real one
    if record is not None and not missing(standings(record, settings, now or datetime.datetime.now(datetime.UTC))):
        return PASSED
    return OVERRIDDEN if overridden else UNPROVED


def refuse_night(mark: str, stage: str) -> None:
    """An overnight hold on a warmer whose cut-offs nobody proved is refused.

    Raises
    ------
    RefusedError
        With what to do.
    """
    if stage == "melted" and mark == UNPROVED:
        raise RefusedError("the cut-offs of this warmer are not all proved, so it holds nothing overnight",
                           hint=f"{NEXT}, bain drill --show tells what is open; --undrilled goes without")  # fmt: skip


def doubts(mark: str, stage: str, for_s: float | None) -> list[str]:
    """A word about a long hold, attended or overridden, without proved cut-offs."""
    if mark == OVERRIDDEN and stage == "melted":
        return [f"the cut-offs of this warmer are not all proved and you said --undrilled: stay near it; {NEXT}"]
    if mark in (UNPROVED, OVERRIDDEN) and (for_s is None or for_s > LONG_S):
        return [f"a long hold, and the cut-offs of this warmer are not all proved: do not leave it alone; {NEXT}"]
    return []
