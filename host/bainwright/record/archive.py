"""A board's log as the PC keeps it: its segments byte for byte, a folder a board, read back before it is believed."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from bainboard import flashlog
from bainwright.core.atomic_write import move_into_place
from bainwright.core.errors import FileError
from bainwright.core.os_errors import reason

FOLDER = "boards"


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
        Where the holds are kept.
    board : str
        The board's own id.
    life : int
        A board whose log was wiped counts from 1 again: its second life is kept beside the first.
    """

    def __init__(self, parent: Path, board: str, life: int = 1) -> None:
        self.folder = parent / FOLDER / (board if life == 1 else f"{board}-{life}")
        self.life = life

    def path(self, first: int) -> Path:
        """The file of a segment."""
        return self.folder / str(flashlog.segment_name(first))

    def is_whole(self, segment: Segment) -> bool:
        """Is exactly this segment here, read back from the disk?"""
        return _is(self.path(segment.first), segment)

    def has(self, first: int) -> bool:
        """Is there a segment of that name, whole or an earlier part of it?"""
        return self.path(first).exists()

    # A segment comes in beside its place: what is there already may turn out to be of another log.

    def _coming(self, first: int) -> Path:
        return self.path(first).with_suffix(".part")

    def begin(self, first: int) -> int:
        """Take up a segment where it was left; the number of bytes that are here."""
        coming = self._coming(first)
        with _told(coming):
            self.folder.mkdir(parents=True, exist_ok=True)
            if not coming.exists():
                coming.write_bytes(self.path(first).read_bytes() if self.has(first) else b"")
            return coming.stat().st_size

    def add(self, first: int, data: bytes) -> None:
        """Append to a segment that comes in.

        Raises
        ------
        FileError
            If the disk does not take it.
        """
        with _told(self._coming(first)), self._coming(first).open("ab") as file:
            file.write(data)

    def finish(self, segment: Segment) -> bool:
        """Put a segment that came into its place, safe on the disk; False, and nothing kept, when it is not the one."""
        coming = self._coming(segment.first)
        with _told(coming):
            if not _is(coming, segment):
                coming.unlink()
                return False
            move_into_place(coming, self.path(segment.first))
        return True

    def segments(self) -> list[Path]:
        """Every segment here, in order; other files are nobody's business."""
        if not self.folder.is_dir():
            return []
        return sorted(path for path in self.folder.iterdir() if flashlog.first_of(path.name) is not None)

    def home(self, segments: list[Segment]) -> Archive:
        """The life that a board's log belongs to: the one that has one of its segments, else the last there is."""
        lives = [self]
        while not any(map(lives[-1].is_whole, segments)):
            after = lives[-1].next_life()
            if not after.folder.is_dir():
                break
            lives.append(after)
        return lives[-1]

    def next_life(self) -> Archive:
        """The folder for a log that is not this one's continuation."""
        return Archive(self.folder.parent.parent, self.folder.name.split("-")[0], self.life + 1)


def _is(path: Path, segment: Segment) -> bool:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return False
    return len(data) == segment.size and zlib.crc32(data) == segment.crc


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """A disk that does not take it, in words."""
    try:
        yield
    except OSError as failed:
        raise FileError(f"{path} cannot be written", got=reason(failed)) from failed
