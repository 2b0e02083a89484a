"""What is known by now of the evenings that leftovers go back to, under whatever name each is here."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import msgspec
import numpy as np

from bainwright.archive.identity import names_of_copies, short
from bainwright.core.bounds import COLDEST_C, HOTTEST_C
from bainwright.core.errors import BainError, FileError
from bainwright.core.home import hold_folders
from bainwright.record.leftovers import (
    FIT,
    KEEP_APART,
    NOT_KNOWN,
    STOCK,
    Leftovers,
    judge,
    most_c,
    read_leftovers,
    united,
)
from bainwright.record.reader import HoldLog, read_log
from bainwright.record.temper_tests import chocolate_at

LOST_PAST = ("not known what else got into it: the record of {}, whose leftovers these are, is not here or cannot be "
             "read. As far as is known it is ")  # fmt: skip


def hold_id(folder: Path) -> str:
    """What a hold is found by when its folder has another name: its board, number and start."""
    return _ids(folder)[0]


def _ids(folder: Path) -> list[str]:
    """The same for every copy of it."""
    return [short(name) for name in names_of_copies(folder)]


class PastEvenings:
    """Every record of leftovers that there is, by the hold it belongs to.

    Parameters
    ----------
    notes : list of str, optional
        Takes what could not be read, in words.

    Attributes
    ----------
    records : list of tuple of Path and Leftovers
        Each hold's folder with its record as it was entered.
    """

    def __init__(self, notes: list[str] | None = None) -> None:
        notes = [] if notes is None else notes
        self.records: list[tuple[Path, Leftovers]] = []
        self._by_hold: dict[str, list[tuple[Path, Leftovers | None]]] = {}  # it may be here twice; None: damaged
        self._ids: dict[Path, str] = {}
        self._warmed: dict[Path, Leftovers] = {}  # by the log of now; a chain of many evenings asks often
        for folder in hold_folders(notes):
            try:
                left = read_leftovers(folder)
            except FileError as failed:
                notes.append(str(failed))
                left = None
            if left is not None:
                self.records.append((folder, left))
            if left is not None or (folder / STOCK).exists():
                for each in _ids(folder):
                    self._by_hold.setdefault(each, []).append((folder, left))

    def judged(self, folder: Path, left: Leftovers) -> Leftovers:
        """A hold's record with what is known by now of its evening and of those it goes back to, judged again."""
        found, lost = self._by_its_log(folder, left), ""
        for name, at, earlier in self._before(folder, left):
            if earlier is None:
                lost = lost or name
            else:
                found = united(found, self._by_its_log(at, earlier))
        verdict, why = judge(found, found.never_above_c)  # never as the file has them
        if lost and verdict in (FIT, KEEP_APART):
            verdict, why = NOT_KNOWN, LOST_PAST.format(lost) + why
        return msgspec.structs.replace(found, verdict=verdict, why=why)

    def go_back_to(self, folder: Path, left: Leftovers, other: Path) -> bool:
        """Do leftovers go back to another hold, over any number of meltings?"""
        return not self._holds(folder, left).keys().isdisjoint(_ids(other))

    def _holds(self, folder: Path, left: Leftovers) -> dict[str, str]:
        """The name of each hold that leftovers go back to, by its id; their own first. A circle ends."""
        names = {self._id(folder): folder.name}
        waiting = [left, *self._copies(self._id(folder))]
        while waiting:
            of = waiting.pop()
            if of.of and of.of_hold not in names:
                names[of.of_hold] = of.of
                waiting += self._copies(of.of_hold)
        return names

    def _before(self, folder: Path, left: Leftovers) -> Iterator[tuple[str, Path, Leftovers | None]]:
        own = self._id(folder)
        for hold, name in self._holds(folder, left).items():
            copies = self._by_hold.get(hold, [] if hold == own else [(folder, None)])
            yield from ((name, at, copy) for at, copy in copies)

    def _id(self, folder: Path) -> str:
        if folder not in self._ids:
            self._ids[folder] = hold_id(folder)
        return self._ids[folder]

    def _by_its_log(self, folder: Path, left: Leftovers) -> Leftovers:
        """As `by_its_log`; each log is read once."""
        if folder not in self._warmed:
            self._warmed[folder] = by_its_log(folder, left)
        return self._warmed[folder]

    def _copies(self, hold: str) -> list[Leftovers]:
        return [copy for _, copy in self._by_hold.get(hold, []) if copy is not None]


def by_its_log(folder: Path, left: Leftovers) -> Leftovers:
    """The record with the warmest reading by now: it may have been entered before the hold was over, or collected."""
    try:
        log = read_log(folder)
    except BainError:  # gone, or damaged: what was known at the entry stays
        return left
    if str(chocolate_at(log.events, log.facts, float("inf")).get("name")) != left.name:  # another bowl came since
        return left
    return msgspec.structs.replace(left, peak_c=most_c(left.peak_c, peak_c(log, changed_s(log))))


def changed_s(log: HoldLog) -> float:
    """When its last bowl came, s; 0 where it had one only."""
    return max((float(event["t_s"]) for event in log.events if event.get("event") == "changed"), default=0.0)


def peak_c(log: HoldLog, since_s: float) -> float | None:
    """The warmest reading, °C; None where a probe was in the bowl for less than half of the time."""
    bowl_c, part = log["bowl_c"], log["t_s"] >= since_s
    measured = part & (np.nan_to_num(log["bowl_estimated"]) == 0) & (bowl_c >= COLDEST_C) & (bowl_c <= HOTTEST_C)
    return float(bowl_c[measured].max()) if 2 * measured.sum() >= max(1, part.sum()) else None
