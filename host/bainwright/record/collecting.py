"""Fetches a board's log into an archive on this PC: every segment once, and safe on disk before the board deletes it.

Every loop is bounded, because its figures come from the board.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from bainboard import flashlog
from bainwright.core.errors import FileError, LinkError
from bainwright.core.read_file import read_bytes
from bainwright.link.pace import Pace
from bainwright.link.protocol import CHUNK_BYTES, Link, decode_piece
from bainwright.record.archive import Archive, Segment
from bainwright.record.boardlog import BoardHold, Frame, read_holds, read_segment

WINDOW = 8  # pieces requested at once; the board's queue has room for 24 lines, status lines included
SEGMENTS_MOST = 4096  # chosen: four times what a flash of 16 MB, the largest of any board, has room for
LOG_MOST_BYTES = 16 << 20  # the whole of such a flash
LIVES_MOST = 20  # chosen: how often the log of one board may have been erased
SEGMENT_S = 0.3  # chosen: three times what a board takes for the check value of a segment
BYTE_S = 1 / 200  # chosen: a tenth of the slowest rate measured on a virtual board


def list_segments(link: Link) -> list[Segment]:
    """Every segment the board has, oldest first.

    Raises
    ------
    LinkError
        If the list is impossible: out of order, without end, or longer than a flash.
    """
    found: list[Segment] = []
    size = 0
    pace = Pace("the list of its log", SEGMENT_S)
    while len(found) < SEGMENTS_MOST:
        after = found[-1].last if found else 0
        answer = link.request("segments", after=found[-1].first if found else 0)
        if "first" not in answer:
            return found
        segment = Segment(answer["first"], answer["last"], answer["size"], int(answer["crc"], 16))
        if not after < segment.first <= segment.last:
            raise LinkError("the board lists its log out of order", got=f"{segment.first} to {segment.last}",
                            wanted=f"a number above {after}", hint="restart the board and try again")  # fmt: skip
        found.append(segment)
        size += segment.size
        if size > LOG_MOST_BYTES:
            raise LinkError(f"the board lists over {LOG_MOST_BYTES >> 20} MB of log, more than its flash has room for",
                            hint="check that the port is the warmer's, restart the board and try again")  # fmt: skip
        pace.add()
    raise LinkError(f"the board lists over {SEGMENTS_MOST} segments of log", hint="restart the board and try again")


def fetch_log(
    link: Link, archive: Archive, segments: list[Segment], arrived: Callable[[int], None]
) -> tuple[Archive, int | None]:
    """Fetch what is not here yet; continues an interrupted collection.

    Parameters
    ----------
    link : Link
        The board.
    archive : Archive
        Where the first log of this board's id goes. A board whose log was erased counts from 1 again, and two boards
        may have one id: each log has a folder of its own, and is continued there.
    segments : list of Segment
        Those the board listed.
    arrived : callable
        Called with the number of bytes in each piece that arrives.

    Returns
    -------
    tuple
        The archive that has them now, each read back from disk, and the first segment with new entries.

    Raises
    ------
    LinkError, FileError
        If the board or the disk fails; nothing is deleted on the board.
    """
    for life in archive.lives_for(segments):
        if life.life > LIVES_MOST:
            break
        news = _fetch_into(link, life, segments, arrived)
        if news is not None:
            return life, min(news, default=None)
    raise FileError(f"{archive.folder} and the folders beside it are the logs of {LIVES_MOST} other boards",
                    hint="name another place with --out")


def _fetch_into(
    link: Link, archive: Archive, segments: list[Segment], arrived: Callable[[int], None]
) -> list[int] | None:
    """Fetch what this folder lacks; returns the segments with new entries, or None where it has another log."""
    if archive.contradicts(segments):
        return None
    news = []
    for segment in sorted(segments, key=lambda each: not archive.has(each.first)):  # first what may show another log
        if archive.is_whole(segment):
            continue
        # A wire slips once in a while, and a part may be another log's: a try that fails deletes what it had.
        tries = 2 + archive.has_part(segment.first)
        if not any(fetch_segment(link, archive, segment, arrived) for _ in range(tries)):
            if archive.has(segment.first):
                return None
            raise FileError(
                f"{archive.path(segment.first)} is not what the board announced",
                hint="nothing was deleted on the board; try again; if it stays so, look at the cable and check this "
                     "disk, or name another place with --out",
            )
        news.append(segment.first)
    return news


def fetch_segment(link: Link, archive: Archive, segment: Segment, arrived: Callable[[int], None]) -> bool:
    """Append what the copy here lacks; False if the copy was not the beginning of this segment."""
    at, pace = archive.begin(segment.first), Pace("its log", BYTE_S)
    while at < segment.size:
        offsets = range(at, min(segment.size, at + WINDOW * CHUNK_BYTES), CHUNK_BYTES)
        answers = link.request_each("read", [{"segment": segment.first, "at": offset} for offset in offsets])
        pieces = [decode_piece(answer["data"]) for answer in answers]
        # The segment may have grown since it was listed: the rest is for the next collection.
        data = b"".join(pieces)[: segment.size - at]
        if [len(piece) for piece in pieces[:-1]] != [CHUNK_BYTES] * (len(pieces) - 1) or not data:
            raise LinkError("the board's log arrived in pieces of the wrong length", hint="try again")
        archive.add(segment.first, data)
        at += len(data)
        pace.add(len(data))
        arrived(len(data))
        link.discard()
    return archive.finish(segment)


def forget(link: Link, segments: list[Segment]) -> int:
    """Let the board delete the segments that are safe here, all but the newest; returns how many it deletes."""
    if len(segments) < 2:
        return 0
    going = min(int(link.request("forget", through=segments[-2].last)["going"]), len(segments))
    pace = Pace("what is left of its log", SEGMENT_S)
    for _ in range(going + 2):  # it deletes one at a time, when its heater's switch is off
        if link.request("segments").get("first", 0) >= segments[-1].first:
            break
        pace.add()
    return going


def read_archive(archive: Archive, since: int | None, notes: list[str]) -> Iterator[BoardHold]:
    """Every hold in a board's archive, one after the other; `notes` takes the errors found from segment `since` on."""
    missing: list[tuple[int, str]] = []
    wrong: dict[str, list[str]] = {}

    def frames() -> Iterator[Frame]:
        for path in archive.segments():
            found, wrong[path.name] = _read(archive, path.name)
            yield from found

    yield from read_holds(frames, missing)
    if since is not None:
        first = archive.path(since).name
        notes += [f"{name}: {note}" for name, each in wrong.items() if name >= first for note in each]
        notes += [text for seq, text in missing if seq >= since]


def _read(archive: Archive, name: str) -> tuple[list[Frame], list[str]]:
    first = flashlog.first_of(name)
    assert first is not None
    try:
        return read_segment(read_bytes(archive.path(first)))
    except FileError as failed:
        return [], [str(failed)]
