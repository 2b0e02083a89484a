"""The folders of one board's holds, and which of them has a hold that its log tells of."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, cast

from bainwright.archive.identity import BEGAN_S
from bainwright.core.errors import BainError
from bainwright.evening import endings
from bainwright.record.boardlog import BoardHold
from bainwright.record.names import CSV, FACTS
from bainwright.record.reader import HoldLog, read_facts, read_log

SAME_SHARE = 0.9  # chosen: a few damaged readings must not make another hold of it
UNSYNCED_MS = 1_200_000  # chosen: twice the longest that a board may wait with its log (settings: log.sync_s)
SAME_EVENT_MS = 2000  # the PC stamps an event with the last second it had received
WHOLE = (endings.DONE, endings.STOPPED, endings.TRIPPED, endings.RESTARTED)


@dataclass(frozen=True)
class Origin:
    """The board a hold comes from: its hello, whether it is simulated, its settings, and the name of its log here."""

    hello: dict[str, Any]
    simulated: bool
    rig: dict[str, Any]
    log: str

    def runs(self, hold: BoardHold) -> bool:
        """Is this the hold that runs on the board now?"""
        return self.hello.get("hold") == hold.hold and self.hello.get("state") not in ("idle", "trip")


class Shelf:
    """The folders of one board's holds, found by the board's own numbers; each hold's facts are read once.

    Parameters
    ----------
    parent : Path
        The folder of all holds.
    origin : Origin
        The board.
    """

    def __init__(self, parent: Path, origin: Origin) -> None:
        self.parent, self.origin = parent, origin
        self._folders: dict[object, list[Path]] = {}
        for path in sorted(parent.glob("*/" + FACTS)):
            facts = read_facts(path.parent)
            if _board(facts) == origin.hello.get("board"):
                self.add(facts.get("hold"), path.parent)

    def add(self, number: object, folder: Path) -> None:
        """A folder that has the hold of this number."""
        self._folders.setdefault(number, []).append(folder)

    def find(self, hold: BoardHold) -> tuple[Path, HoldLog | None] | None:
        """The folder that already has this hold, watched or collected, and its log; None if there is none.

        One whose rows are the board's comes first, then one that shares no second with it, then one without a row.
        """
        shares_none, without_rows = None, None
        for folder in self._folders.get(hold.hold, []):
            facts = read_facts(folder)
            if not _may_be(facts, self.origin, hold):
                continue
            try:
                log = read_log(folder)
            except BainError:  # the PC was gone before its first row, or every row is damaged
                if without_rows is None and _began_with(facts, hold) and not _too_short(facts, hold):
                    without_rows = folder, None
                continue
            agree = _rows_agree(log, hold)
            if agree:
                return folder, log
            if agree is None and shares_none is None:
                shares_none = folder, log
        return shares_none or without_rows

    def has(self, hold: BoardHold, *, new: bool) -> bool:
        """Is all of it here? No row is read for the answer; `new`: the board may have more of it than before."""
        for folder in self._folders.get(hold.hold, []):
            facts = read_facts(folder)
            if not _may_be(facts, self.origin, hold) or not (folder / CSV).is_file():
                continue
            collected = facts.get("log") == self.origin.log and facts.get("through") == hold.through
            if collected or (not new and facts.get("ended") in WHOLE and not _too_short(facts, hold)):
                return True
        return False


def _board(facts: dict[str, Any]) -> object:
    board = facts.get("board")
    return board.get("board") if isinstance(board, dict) else None


def _may_be(facts: dict[str, Any], origin: Origin, hold: BoardHold) -> bool:
    """Are they one hold by all but their rows? A board may give one number twice: erased, or after a hold of no row."""
    profile = facts.get("profile")
    name = profile.get("name") if isinstance(profile, dict) else None
    return _same_ids(facts, origin, hold) and (not hold.asked or name in (None, hold.asked["name"]))


def _too_short(facts: dict[str, Any], hold: BoardHold) -> bool:
    """Did the PC see an end before the board's last row? Then it is another hold, or the end was none."""
    lasted_s = facts.get("duration_s")
    saw_it_end = facts.get("ended") in (endings.DONE, endings.STOPPED) and isinstance(lasted_s, int | float)
    return saw_it_end and 1000 * cast(float, lasted_s) < hold.end_ms - SAME_EVENT_MS


def _began_with(facts: dict[str, Any], hold: BoardHold) -> bool:
    """Did they begin at one time, as far as both know it?"""
    try:
        began_s = datetime.fromisoformat(facts["started"]).timestamp()
    except (KeyError, TypeError, ValueError):
        return True
    return hold.started_s is None or abs(began_s - hold.started_s) < BEGAN_S


def _same_ids(facts: dict[str, Any], origin: Origin, hold: BoardHold) -> bool:
    same_board = _board(facts) == origin.hello.get("board")
    # A PC that watches does not know the log's name, and one that joined a running hold does not know the boot.
    same_log = facts.get("log") in (None, origin.log)
    return same_board and same_log and facts.get("hold") == hold.hold and facts.get("boot") in (None, hold.boot)


def _rows_agree(log: HoldLog, hold: BoardHold) -> bool | None:
    """Do they agree on the water? None where they share no second, and may still be one hold."""
    known = dict(zip((round(1000 * t_s) for t_s in log["t_s"]), log["water_c"], strict=True))
    both = [(known[row.t], row.water) for row in hold.rows if row.t in known and row.water is not None]
    if not both:  # watched for seconds between two of the board's rows, or it is another hold
        return None if float(log["t_s"][-1]) * 1000 <= hold.end_ms + UNSYNCED_MS else False
    agree = [math.isnan(there_c) or abs(there_c - water / 1000) < 0.003 for there_c, water in both]
    return bool(sum(agree) >= SAME_SHARE * len(both))
