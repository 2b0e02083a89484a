"""One step back in a record that a person enters by hand: the file as it was before the last entry lies beside it."""

from __future__ import annotations

from pathlib import Path

from bainwright.core.atomic_write import save_file
from bainwright.core.errors import UseError
from bainwright.core.os_errors import file_error
from bainwright.core.read_file import is_own, read_bytes

BEFORE = ".before"


def _before(path: Path) -> Path:
    return path.with_name(path.name + BEFORE)


def save_entry(path: Path, content: str) -> None:
    """Write a record whole, after a copy of the one it replaces; an empty copy says that there was none.

    Raises
    ------
    FileError
        If either cannot be written.
    """
    save_file(_before(path), read_bytes(path, follow=False) if is_own(path) else b"", follow=False)
    save_file(path, content, follow=False)


def forget_step_back(path: Path) -> None:
    """Forget it after a record took in entries from elsewhere: a step back would drop those, not one's own last entry.

    Raises
    ------
    FileError
        If the copy cannot be deleted.
    """
    try:
        _before(path).unlink(missing_ok=True)
    except OSError as failed:
        raise file_error(f"{_before(path)} cannot be deleted", failed) from failed


def take_back(path: Path, what: str) -> None:
    """Bring the record back as it was before the last entry.

    Parameters
    ----------
    path : Path
        The record.
    what : str
        What an entry is to the person ("temper test"), for the error.

    Raises
    ------
    UseError
        If there is no entry to take back.
    FileError
        If a file cannot be read or written.
    """
    before = _before(path)
    if not is_own(before):
        raise UseError("there is nothing to take back", wanted=f"a {what} entered here before",
                       hint="only the last entry can be taken back")
    try:
        content = read_bytes(before, follow=False)
        if content:
            save_file(path, content, follow=False)
        else:
            path.unlink(missing_ok=True)
        before.unlink()
    except OSError as failed:
        raise file_error(f"{path} cannot be changed", failed) from failed
