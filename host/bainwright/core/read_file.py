"""Reading files that anybody may have written: plain files of a bounded size, and words for everything else."""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

import msgspec

from bainwright.core import schema_words
from bainwright.core.errors import FileError
from bainwright.core.os_errors import file_error

T = TypeVar("T")

TOML_BYTES = 1 << 20  # chosen: a file that a person writes is a thousandth of it
RECORD_BYTES = 16 << 20  # chosen: the longest hold, 48 h of a row a second, is an eighth of it in JSON
PIECE_BYTES = 1 << 16
LOG_BYTES = 16 << 20  # chosen: one and a half times a log of 48 h


def is_own(path: Path) -> bool:
    """Is it a plain file, and no link? A link in a stranger's folder may lead to any file of this PC."""
    return os.path.isfile(path) and not os.path.islink(path)  # these do not raise in a folder that is closed to us


def read_bytes(path: Path, what: str = "the file", limit: int = RECORD_BYTES, *, follow: bool = True) -> bytes:
    """Read a plain file whole.

    Parameters
    ----------
    path : Path
        The file. A pipe, a terminal or a device is refused without waiting for it.
    what : str
        What the file is to the person, for the error.
    limit : int
        The most bytes that are read.
    follow : bool
        False for a file that is shown or sent to others: a link is refused.

    Raises
    ------
    FileError
        If it is missing, is not a plain file, is too long, or cannot be read.
    """
    content, more = read_start(path, what, limit, follow=follow)
    if more:
        raise _too_long(path, what, limit)
    return content


def read_start(
    path: Path, what: str = "the file", limit: int = RECORD_BYTES, *, follow: bool = True
) -> tuple[bytes, bool]:
    """As `read_bytes`, but of a file that is too long its first `limit` bytes; and whether there are more."""
    with _opened(path, what, follow=follow) as file:
        try:
            content = file.read(limit + 1)
        except OSError as failed:
            raise file_error(f"{what} {path} cannot be read", failed) from failed
    return content[:limit], len(content) > limit


def read_pieces(
    path: Path, what: str = "the file", limit: int = RECORD_BYTES, *, follow: bool = True
) -> Iterator[bytes]:
    """Read a plain file piece by piece, for a reader that may be slow: no more of it than a piece is in memory.

    Raises
    ------
    FileError
        As `read_bytes`, at once.
    """
    file = _opened(path, what, follow=follow)
    size = os.fstat(file.fileno()).st_size
    if size > limit:
        file.close()
        raise _too_long(path, what, limit)
    return _pieces(file, size)


def _pieces(file: BinaryIO, size: int) -> Iterator[bytes]:
    with file:
        while size > 0 and (piece := file.read(min(size, PIECE_BYTES))):
            size -= len(piece)
            yield piece


def _opened(path: Path, what: str, *, follow: bool) -> BinaryIO:
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    if not follow:
        flags |= getattr(os, "O_NOFOLLOW", 0)
        if path.is_symlink():
            raise FileError(f"{what} {path} is a link", wanted="a file of the hold's own")
    try:
        descriptor = os.open(path, flags)
        file = open(descriptor, "rb")  # noqa: SIM115 who asked for it closes it
    except OSError as failed:
        raise file_error(f"{what} {path} cannot be read", failed) from failed
    except ValueError as failed:  # a NUL in the name
        raise FileError(f"{what} {path!s} cannot be read", wanted="a name that a file can have",
                        hint="it has a NUL byte in it: type the name again") from failed
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        file.close()
        raise FileError(f"{what} {path} is not a plain file", hint="name a file")
    return file


def _too_long(path: Path, what: str, limit: int) -> FileError:
    return FileError(f"{what} {path} is too long", got=f"over {limit >> 20} MB", wanted="a file of this program")


def read_text(path: Path, what: str = "the file", limit: int = RECORD_BYTES, *, follow: bool = True) -> str:
    """Read a plain file of UTF-8 text.

    Raises
    ------
    FileError
        As `read_bytes`, and if it is not UTF-8.
    """
    try:
        return read_bytes(path, what, limit, follow=follow).decode()
    except UnicodeDecodeError:
        raise FileError(f"{what} {path} cannot be read", got="something other than UTF-8 text") from None


def read_json(path: Path, what: str = "the file", limit: int = RECORD_BYTES) -> Any:
    """Read a file of JSON.

    Raises
    ------
    FileError
        As `read_text`, and if it is not JSON. NaN and infinity are not.
    """
    text = read_text(path, what, limit)
    try:
        return parse_json(text)
    except (ValueError, RecursionError) as failed:
        raise FileError(f"{what} {path} is not JSON", got=_why(failed)) from failed


def parse_json(text: str | bytes) -> Any:
    """The value of a text of JSON.

    Raises
    ------
    ValueError
        If it is not JSON, has NaN or an infinity, or an escape for half a character, which no file can store.
    RecursionError
        If it is nested too deeply.
    """
    value = json.loads(text, parse_constant=_refuse_constant)
    if (rb"\u" if isinstance(text, bytes) else r"\u") in text:  # type: ignore[operator]
        json.dumps(value, ensure_ascii=False).encode()
    return value


def read_struct(path: Path, kind: type[T], what: str, hint: str | None = None, limit: int = RECORD_BYTES) -> T:
    """Read a file of JSON as a msgspec struct.

    Parameters
    ----------
    path : Path
        The file.
    kind : type
        What it must hold.
    what : str
        What such a file is, for the error ("a record of a calibration").
    hint : str, optional
        What to do with a file that is none.
    limit : int
        The most bytes that are read.

    Raises
    ------
    FileError
        As `read_bytes`, and if it does not fit.
    """
    content = read_bytes(path, limit=limit)
    try:
        return msgspec.json.decode(content, type=kind)
    except msgspec.ValidationError as failed:
        problem, place = schema_words.split(str(failed))
        if not problem.startswith("Expected"):
            raise FileError(f"{path} is not {what}", got=str(failed), hint=hint) from failed
        wanted = schema_words.plain(schema_words.wanted(problem))
        raise FileError(f"{path} is not {what}", wanted=f"{wanted} at {place}", hint=hint) from failed
    except (msgspec.MsgspecError, ValueError, RecursionError) as failed:
        raise FileError(f"{path} is not {what}", got=_why(failed), hint=hint) from failed


def _why(failed: Exception) -> str:
    return "it is nested too deeply" if isinstance(failed, RecursionError) else str(failed)


def _refuse_constant(word: str) -> float:
    raise ValueError(f"{word} is not a number")
