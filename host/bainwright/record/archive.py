"""A board's log on the PC: exact copies of its segments, read back and checked, in a folder for each board."""

from __future__ import annotations

import os
import zlib
from bisect import bisect_left
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from bainboard import flashlog, framing
from bainwright.core.atomic_write import move_into_place, save_file
from bainwright.core.errors import FileError
from bainwright.core.file_names import file_name
from bainwright.core.os_errors import file_error
from bainwright.core.read_file import is_own, read_bytes

FOLDER = "boards"
STORED = "stored"  # how far the holds of a log have their own folders


@dataclass(frozen=True)
class Segment:
    """A segment as the board announces it: first and last sequence number, bytes, CRC-32 of them all."""

    first: int
    last: int
    size: int
    crc: int


class Archive:
    """The segments of one board under ``PARENT/boards/BOARD``.

    Parameters
    ----------
    parent : Path
        The folder of the holds.
    board : str
        The board's own id.
    life : int
        A board whose log was erased counts from 1 again: this second life has its own folder beside the first.
    """

    def __init__(self, parent: Path, board: str, life: int = 1) -> None:
        name = file_name(board)
        self.folder = parent / FOLDER / (name if life == 1 else f"{name}-{life}")
        self.life = life
        self._parent, self._board = parent, board

    def path(self, first: int) -> Path:
        """The file of a segment."""
        return self.folder / str(flashlog.segment_name(first))

    def is_whole(self, segment: Segment) -> bool:
        """Is exactly this segment here? Its file is read back from the disk."""
        return _is(self.path(segment.first), segment)

    def has(self, first: int) -> bool:
        """Is there a segment of that name, whole or an earlier part of it?"""
        return is_own(self.path(first))

    def contradicts(self, segments: list[Segment]) -> bool:
        """Do the numbers of some segment lie in other segments here? Then they are not of the same log."""
        firsts = [int(path.stem) for path in self.segments()]
        here = set(firsts)
        for segment in segments:
            at = bisect_left(firsts, segment.first)
            if segment.first in here:
                continue
            if at < len(firsts) and firsts[at] <= segment.last:
                return True
            if at and self._last_of(firsts[at - 1]) >= segment.first:
                return True
        return False

    def _last_of(self, first: int) -> int:
        """The number of a segment's last whole frame; 0 where it has none."""
        try:
            found, _, _ = framing.scan(read_bytes(self.path(first)))
        except FileError:
            return 0
        return max((seq for _, seq, _, _ in found), default=0)

    # A segment arrives in a second file, because the one already in its place may belong to another log.

    def _coming(self, first: int) -> Path:
        return self.path(first).with_suffix(".part")

    def has_part(self, first: int) -> bool:
        """Did an earlier collection end in this segment?"""
        return os.path.lexists(self._coming(first))

    def begin(self, first: int) -> int:
        """Continue a segment where an earlier collection ended; returns how many of its bytes are here."""
        coming = self._coming(first)
        for folder in (self.folder.parent, self.folder):
            if folder.is_symlink():
                raise FileError(f"{folder} is a link", wanted="a folder", hint="name another place with --out")
        with _disk_errors(coming):
            self.folder.mkdir(parents=True, exist_ok=True)
            here = next((path for path in (coming, self.path(first)) if is_own(path)), None)
            data = b"" if here is None else read_bytes(here, follow=False)
            coming.unlink(missing_ok=True)  # what is appended must go into no link's target, and no pipe
            coming.write_bytes(data)
            return len(data)

    def add(self, first: int, data: bytes) -> None:
        """Append to a segment that is arriving.

        Raises
        ------
        FileError
            If it cannot be written.
        """
        with _disk_errors(self._coming(first)), self._coming(first).open("ab") as file:
            file.write(data)

    def finish(self, segment: Segment) -> bool:
        """Move a whole segment to its place, synced to disk; if it is not the announced one, delete it: False."""
        coming = self._coming(segment.first)
        with _disk_errors(coming):
            if not _is(coming, segment):
                coming.unlink()
                return False
            move_into_place(coming, self.path(segment.first))
        return True

    def segments(self) -> list[Path]:
        """Every segment here, in order; other files are ignored."""
        if not self.folder.is_dir():
            return []
        return sorted(path for path in self.folder.iterdir() if flashlog.first_of(path.name) is not None)

    # Holds are stored after their segments; a full disk or an impatient person may come between.

    def unstored(self, last: int) -> int | None:
        """The first segment with a frame, up to the frame `last`, whose hold may have no folder yet; None: no such."""
        try:
            through = int(read_bytes(self.folder / STORED))
        except (FileError, ValueError):
            through = 0
        if through >= last:
            return None
        firsts = [int(path.stem) for path in self.segments()]
        return max([first for first in firsts if first <= through + 1] or firsts[:1], default=None)

    def mark_stored(self, last: int) -> None:
        """Every hold up to the frame `last` has its folder."""
        if self.folder.is_dir():
            save_file(self.folder / STORED, f"{last}\n", follow=False)

    def lives_for(self, segments: list[Segment]) -> Iterator[Archive]:
        """The folders of this id's logs, the likeliest for these segments first; after them a new one."""
        lives = [self]
        while (after := lives[-1].next_life()).folder.is_dir():
            lives.append(after)
        yield from sorted(lives, key=lambda life: life._fitness(segments), reverse=True)
        yield after

    def _fitness(self, segments: list[Segment]) -> tuple[bool, bool, int]:
        """Does it have one of them, whole or in part? And how far do its numbers reach: the board's continue there."""
        known = self.segments()
        reach = self._last_of(int(known[-1].stem)) if known else 0
        return any(map(self.is_whole, segments)), any(self.has(each.first) for each in segments), reach

    def next_life(self) -> Archive:
        """The folder after this one."""
        return Archive(self._parent, self._board, self.life + 1)


def _is(path: Path, segment: Segment) -> bool:
    try:
        data = read_bytes(path)
    except FileError:
        return False
    return len(data) == segment.size and zlib.crc32(data) == segment.crc


@contextmanager
def _disk_errors(path: Path) -> Iterator[None]:
    """Turns the system's refusals into errors in words."""
    try:
        yield
    except OSError as failed:
        raise file_error(f"{path} cannot be written", failed) from failed
