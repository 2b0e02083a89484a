"""Fetch what the board logged alone, keep it safe, and tell of each hold as if a PC had been there."""

from __future__ import annotations

import base64
import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bainboard import settings
from bainwright.core.errors import FileError, LinkError
from bainwright.core.home import holds_folder
from bainwright.display.progress import progress
from bainwright.link.protocol import CHUNK_BYTES, Link
from bainwright.record.archive import Archive, Segment
from bainwright.record.boardlog import BoardHold, Frame, read_holds, read_segment
from bainwright.review import overnight
from bainwright.review.report import Report
from bainwright.virtual.opening import open_stored

WINDOW = 8  # pieces asked for at once; the board's queue holds 24 lines, its own status lines among them
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
    """What came of it."""

    board: dict[str, Any]
    bytes_read: int = 0
    segments: int = 0
    going: int = 0  # segments the board lets go
    holds: list[Report] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def exit_code(self) -> int:
        """0 when every hold that is new went as it should and nothing is missing."""
        return 1 if self.notes or any(told.exit_code for told in self.holds) else 0

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "board": self.board,
            "bytes_read": self.bytes_read,
            "segments": self.segments,
            "forgotten": self.going,
            "holds": [{**told.result, "said": told.summary, "notes": told.notes} for told in self.holds],
            "notes": self.notes,
        }


# -- from the board to the disk ----------------------------------------------------------------------------------------


def list_segments(link: Link) -> list[Segment]:
    """Every segment the board has, oldest first."""
    found: list[Segment] = []
    while True:
        answer = link.request("segments", after=found[-1].first if found else 0)
        if "first" not in answer:
            return found
        found.append(Segment(answer["first"], answer["last"], answer["size"], int(answer["crc"], 16)))


def pull(link: Link, archive: Archive, came: Callable[[int], None]) -> tuple[Archive, list[Segment], int | None]:
    """Fetch what is not here yet; goes on where a broken-off one ended.

    Parameters
    ----------
    link : Link
        The board.
    archive : Archive
        Where its segments are kept.
    came : callable
        Told of each number of bytes that came.

    Returns
    -------
    tuple
        The archive that took them (a later life's, when the board's log is another one than the one there), the
        segments as the board announced them, each on the disk and read back, and the first that had news in it.
    """
    segments = list_segments(link)
    if archive.life == 1:
        archive = archive.home(segments)
    news = None
    for segment in segments:
        if archive.is_whole(segment):
            continue
        news = news or segment.first
        if fetch(link, archive, segment, came):
            continue
        if archive.has(segment.first):
            return pull(link, archive.next_life(), came)
        if not fetch(link, archive, segment, came):  # a part of another log lay there; this time from the beginning
            raise FileError(
                f"{archive.path(segment.first)} was kept otherwise than it came",
                hint="nothing was deleted on the board; look after this disk, or name another place with --out",
            )
    return archive, segments, news


def fetch(link: Link, archive: Archive, segment: Segment, came: Callable[[int], None]) -> bool:
    """Append to the copy here what it lacks; False when what was here is no beginning of it."""
    at = archive.begin(segment.first)
    while at < segment.size:
        offsets = range(at, min(segment.size, at + WINDOW * CHUNK_BYTES), CHUNK_BYTES)
        answers = link.request_each("read", [{"segment": segment.first, "at": offset} for offset in offsets])
        pieces = [base64.b64decode(answer["data"]) for answer in answers]
        # The segment may have grown since it was announced: what came after is for the next time.
        data = b"".join(pieces)[: segment.size - at]
        if [len(piece) for piece in pieces[:-1]] != [CHUNK_BYTES] * (len(pieces) - 1) or not data:
            raise LinkError("the board's log arrived in pieces of the wrong length", hint="try again")
        archive.add(segment.first, data)
        at += len(data)
        came(len(data))
        link.discard()
    return archive.finish(segment)


def forget(link: Link, segments: list[Segment]) -> int:
    """Let the board delete what is safe here; the number of segments that go. It keeps the newest."""
    if len(segments) < 2:
        return 0
    going = int(link.request("forget", through=segments[-2].last)["going"])
    for _ in range(going + 2):  # it deletes one at a time, when its heater's switch is off
        if link.request("segments").get("first", 0) >= segments[-1].first:
            break
    return going


# -- from the disk to holds --------------------------------------------------------------------------------------------


def read_archive(archive: Archive, since: int | None) -> tuple[list[BoardHold], list[str]]:
    """Every hold of a board's log as it is kept here, and what is wrong with it from segment `since` on."""
    frames: list[Frame] = []
    notes: list[str] = []
    for path in archive.segments():
        found, wrong = read_segment(path.read_bytes())
        frames += found
        if since is not None and path >= archive.path(since):
            notes += [f"{path.name}: {note}" for note in wrong]
    holds, missing = read_holds(frames)
    return holds, notes + [text for seq, text in missing if since is not None and seq >= since]


def keep_holds(parent: Path, origin: overnight.Origin, archive: Archive, since: int | None, into: Collected) -> None:
    """A folder for each hold that is new or went on."""
    holds, notes = read_archive(archive, since)
    into.notes += notes
    for hold in holds:
        if not hold.asked:
            if since is not None and hold.through >= since:
                into.notes.append(f"the beginning of hold {hold.hold} is lost; its rows stay in {archive.folder}")
        elif hold.rows:
            told = overnight.store(parent, origin, hold)
            if told:
                into.holds.append(told)


# -- the command -------------------------------------------------------------------------------------------------------


def collect(asked: CollectAsked) -> Collected:
    """Collect from a board.

    Parameters
    ----------
    asked : CollectAsked
        What from, where to.

    Returns
    -------
    Collected
        What came of it.
    """
    parent = Path(asked.out) if asked.out else holds_folder()
    with open_stored(asked.port, asked.virtual) as source:
        link = source.link
        hello = link.hello()
        if not source.virtual:
            _tell_the_time(link)
        done = Collected(hello)
        rig = _settings(link, hello)
        with _progress(link) as came:
            archive, segments, since = pull(link, Archive(parent, str(hello["board"])), came)
            done.bytes_read, done.segments = came.total, len(segments)
        parent.mkdir(parents=True, exist_ok=True)
        origin = overnight.Origin(hello, source.simulated, rig, archive.folder.name)
        keep_holds(parent, origin, archive, since, done)
        if not asked.keep:
            done.going = forget(link, segments)
    return done


def _tell_the_time(link: Link) -> None:
    link.request("clock", wall_s=int(time.time()))


def _settings(link: Link, hello: dict[str, Any]) -> dict[str, Any]:
    """The board's settings; the defaults where none were ever stored."""
    values: dict[str, Any] = settings.defaults(settings.SETTINGS)
    if hello.get("settings"):
        values.update(json.loads(link.download("settings")))
    return values


class _Came:
    """Counts the bytes, and shows them."""

    def __init__(self, show: Callable[[float], None]) -> None:
        self.total, self._show = 0, show

    def __call__(self, count: int) -> None:
        self.total += count
        self._show(self.total)


@contextmanager
def _progress(link: Link) -> Iterator[_Came]:
    with progress("collecting", sum(segment.size for segment in list_segments(link))) as show:
        yield _Came(show)


def collect_and_tell(asked: CollectAsked, *, as_json: bool, say: Say) -> int:
    """Collect, and tell of it; the exit status."""
    done = collect(asked)
    for note in done.notes + [note for told in done.holds for note in told.notes]:
        say(f"bain: {note}", err=True)
    if as_json:
        say(json.dumps(done.as_dict(), indent=2, ensure_ascii=False))
        return done.exit_code
    if not done.holds:
        say("Nothing new on the board.")
    for told in done.holds:
        virtual = "VIRTUAL: " if told.result["virtual"] else ""
        say(f"{virtual}{told.summary}")
        say(told.where())
    return done.exit_code
