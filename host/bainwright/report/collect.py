"""`bain collect`: fetch a board's own log, write each hold as if a PC had watched it, and report."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bainboard import settings
from bainwright.core.atomic_write import alone
from bainwright.core.errors import LinkError, RefusedError
from bainwright.core.home import holds_folder
from bainwright.core.json_text import json_text
from bainwright.core.progress import progress
from bainwright.link.protocol import Link
from bainwright.record.archive import Archive, Segment
from bainwright.record.collecting import fetch_log, forget, list_segments, read_archive
from bainwright.record.scraps import delete_scraps
from bainwright.report import overnight
from bainwright.report.report import Report
from bainwright.report.shelf import Origin, Shelf
from bainwright.virtual.opening import open_stored

STORING_S = 20.0  # chosen: a hold's report, Parquet and picture take a second, and nobody waits for hundreds

Say = Callable[..., None]


@dataclass(frozen=True)
class CollectAsked:
    """The options as typed."""

    port: str | None = None
    virtual: str | None = None
    out: str | None = None
    keep: bool = False


@dataclass
class Collected:
    """The result of a collection."""

    board: dict[str, Any]
    bytes_read: int = 0
    segments: int = 0
    going: int = 0  # segments the board deletes
    holds: list[Report] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def exit_code(self) -> int:
        """0 when every hold that is new went as it should and nothing is missing."""
        return 1 if self.notes or any(each.exit_code for each in self.holds) else 0

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "board": self.board,
            "bytes_read": self.bytes_read,
            "segments": self.segments,
            "forgotten": self.going,
            "holds": [{**each.result, "said": each.summary, "notes": each.notes} for each in self.holds],
            "notes": self.notes,
        }


def keep_holds(shelf: Shelf, archive: Archive, since: int | None, into: Collected,
               clock: Callable[[], float] = time.monotonic) -> int:  # fmt: skip
    """Write a folder for each hold that is new or has continued; returns how many were left for want of time."""
    until_s, left = clock() + STORING_S, 0
    for hold in read_archive(archive, since, into.notes):
        new = since is not None and hold.through >= since
        if not hold.asked:
            if new:
                into.notes.append(f"the beginning of hold {hold.hold} is lost; its rows stay in {archive.folder}")
        elif hold.rows and not shelf.has(hold, new=new):
            if clock() > until_s:
                left += 1
            elif stored := overnight.store(shelf, hold):
                into.holds.append(stored)
    return left


def collect(asked: CollectAsked) -> Collected:
    """Collect from a board.

    Parameters
    ----------
    asked : CollectAsked
        From which board, into which folder.

    Returns
    -------
    Collected
        The holds that were written, and what is wrong.

    Raises
    ------
    LinkError, FileError
        If the board or the disk fails; nothing was deleted on the board then.
    """
    parent = Path(asked.out) if asked.out else holds_folder()
    with open_stored(asked.port, asked.virtual) as session:
        link = session.link
        hello = link.hello()
        done = Collected(hello)
        if not session.virtual:
            done.notes += link.set_clock(int(time.time()))[1]
        rig = _settings(link, hello, done.notes)
        parent.mkdir(parents=True, exist_ok=True)
        with alone(parent):  # two boards of one id would write into one folder
            delete_scraps(parent)
            segments = _fetch_and_store(link, parent, done, session.simulated, rig)
        if not asked.keep:
            try:
                done.going = forget(link, segments)
            except LinkError as failed:
                done.notes.append(f"{failed}. All of its log is stored here; it deletes what it may at the next bain "
                                  "collect")
    return done


def _fetch_and_store(link: Link, parent: Path, done: Collected, simulated: bool, rig: dict[str, Any]) -> list[Segment]:
    """Bring the board's log here, and write its holds; its segments."""
    segments = list_segments(link)
    with _progress(sum(segment.size for segment in segments)) as arrived:
        archive, news = fetch_log(link, Archive(parent, str(done.board["board"])), segments, arrived)
        done.bytes_read, done.segments = arrived.total, len(segments)
    origin = Origin(done.board, simulated, rig, archive.folder.name)
    last = segments[-1].last if segments else 0
    since = min(filter(None, (news, archive.unstored(last))), default=None)
    left = keep_holds(Shelf(parent, origin), archive, since, done)
    if left:
        done.notes.append(f"{left} more holds are safe in {archive.folder}, and have no folder yet: run bain "
                          "collect again")
    else:
        archive.mark_stored(last)
    return segments


def _settings(link: Link, hello: dict[str, Any], notes: list[str]) -> dict[str, Any]:
    """The board's settings, or the defaults: settings that cannot be read are no reason to leave its log there."""
    try:
        return link.settings(hello)
    except (LinkError, RefusedError) as failed:
        notes.append(str(failed))
        return dict(settings.defaults(settings.SETTINGS))


class _Arrived:
    """Counts the bytes, and shows them."""

    def __init__(self, show: Callable[[float], None]) -> None:
        self.total, self._show = 0, show

    def __call__(self, count: int) -> None:
        self.total += count
        self._show(self.total)


@contextmanager
def _progress(size: int) -> Iterator[_Arrived]:
    """A bar on a terminal; nothing elsewhere."""
    with progress("collecting", size) as show:
        yield _Arrived(show)


def collect_and_report(asked: CollectAsked, *, as_json: bool, say: Say) -> int:
    """Collect and report; returns the exit status."""
    done = collect(asked)
    for note in done.notes + [note for each in done.holds for note in each.notes]:
        say(f"bain: {note}", err=True)
    if as_json:
        say(json_text(done.as_dict()))
        return done.exit_code
    if not done.holds:
        say("Nothing new on the board.")
    for each in done.holds:
        virtual = "VIRTUAL: " if each.result["virtual"] else ""
        say(f"{virtual}{each.summary}")
        say(each.where())
    return done.exit_code
