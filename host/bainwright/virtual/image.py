"""A new board's flash: the firmware's files on littlefs, written by the board's own interpreter."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Mapping
from pathlib import Path

from bainwright.core.atomic_write import replace_file
from bainwright.core.errors import BusyPortError, FileError, UnsavedError, UseError
from bainwright.core.os_errors import file_error, reason
from bainwright.core.read_file import read_bytes
from bainwright.virtual import child
from bainwright.virtual.shared_memory import FLASH_BYTES, Area, SharedMemory

LENGTH_BYTES = 4


def pack(files: Mapping[str, bytes]) -> bytes:
    """Files as one string: path length, path, content length, content, repeated."""
    parts = []
    for path, content in sorted(files.items()):
        for part in (path.encode(), content):
            parts += [len(part).to_bytes(LENGTH_BYTES, "little"), part]
    return b"".join(parts)


def read(path: Path) -> bytes:
    """The flash image of a file.

    Raises
    ------
    UseError, FileError
        When the file is no image, or cannot be read.
    """
    content = read_bytes(path, "the flash image", FLASH_BYTES)
    if len(content) != FLASH_BYTES:
        raise UseError(f"{path} is not a flash image", got=f"{len(content)} bytes", wanted=FLASH_BYTES)
    return content


def save(path: Path, flash: bytes) -> None:
    """Save a board's flash to its image.

    Raises
    ------
    UnsavedError
        When the system refuses; the image of before is whole.
    """
    try:
        replace_file(path, flash)
    except OSError as failed:
        raise UnsavedError(f"the board's flash was not saved to {path}: {reason(failed)}",
                           hint="what this run stored on the board is lost") from failed


class Claim:
    """An image that one board uses: a second one would save its flash over what the first one stored.

    The claim is a lock on a file beside the image. The system gives it back when this process ends, however that is.

    Raises
    ------
    BusyPortError
        If another board uses the image.
    FileError
        If the folder takes no file.
    """

    def __init__(self, path: Path) -> None:
        target = Path(os.path.realpath(path))
        self._path = target.with_name(f".{target.name}.in-use")
        while True:
            try:
                self._file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
            except OSError as failed:
                raise file_error(f"{self._path} cannot be written", failed) from failed
            try:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as failed:
                os.close(self._file)
                raise BusyPortError(f"another virtual board uses the flash image {path}",
                                    hint="let it end first, or name another image") from failed
            if self._is_there():
                return
            os.close(self._file)  # the board before deleted it in between

    def _is_there(self) -> bool:
        try:
            return os.path.samestat(os.stat(self._path), os.fstat(self._file))
        except OSError:
            return False

    def release(self) -> None:
        """Let the next board have it."""
        self._path.unlink(missing_ok=True)
        os.close(self._file)


def build(shared: SharedMemory, interpreter: str | None, packed: bytes) -> None:
    """Format the flash and write the files, in an interpreter started only for this."""
    said = _write(shared, interpreter, packed)
    if said is not None:
        raise FileError("the flash image could not be made", got=said.strip()[-200:])


def claimed(shared: SharedMemory, interpreter: str | None, path: Path) -> Claim:
    """Claim an image for this board and, if there is one, put it on the flash.

    Raises
    ------
    BusyPortError
        When another board uses it.
    UseError, FileError
        When the file is no image, or cannot be read: a board would format it, and it would be saved over.
    """
    claim = Claim(path)
    try:
        if path.exists():
            _load(shared, interpreter, path)
    except BaseException:
        claim.release()
        raise
    return claim


def _load(shared: SharedMemory, interpreter: str | None, path: Path) -> None:
    shared.load_flash(read(path))
    if _write(shared, interpreter, None) is not None:
        raise UseError(f"{path} is not a flash image", got="no file system that a board can read",
                       hint="name another file; move this one away to have a new one made")


def _write(shared: SharedMemory, interpreter: str | None, packed: bytes | None) -> str | None:
    """Format a flash and write files to it; None: only mount it. What the interpreter wrote if it failed."""
    source = Area(len(packed or b"") + 1)  # no area is empty
    source.memory[:-1] = packed or b""
    writer = child.start(shared, interpreter, source=(source, -1 if packed is None else len(packed)))
    _, writer.status = os.waitpid(writer.pid, 0)
    source.close()
    said = writer.last_output()
    writer.close()
    return said.decode(errors="replace") if writer.status else None
