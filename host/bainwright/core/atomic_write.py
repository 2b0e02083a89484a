"""Write a file beside its place, then move it there: a power cut or a full disk leaves the old one or the new."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from bainwright.core.errors import FileError
from bainwright.core.os_errors import file_error

try:
    import fcntl
except ImportError:  # no POSIX system: two entries at one moment may lose one
    fcntl = None  # type: ignore[assignment]

WRITING = ".bain-writing-"  # what a folder's name begins with in which a file is written before it moves to its place
TURN_S = 10.0  # chosen: far longer than an entry takes


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """One process at a time: what is read inside and written back loses no entry that another process acknowledged.

    The lock is on the folder itself, and the system gives it back however a process ends.

    Raises
    ------
    FileError
        If another has it for longer than `TURN_S`.
    """
    if fcntl is None:
        yield
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        _wait_for(descriptor, folder)
        yield
    finally:
        os.close(descriptor)


def _wait_for(descriptor: int, folder: Path) -> None:
    late_s = time.monotonic() + TURN_S
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        except BlockingIOError:
            if time.monotonic() > late_s:
                raise FileError(f"another program is writing in {folder}", hint="let it end, and try again") from None
            time.sleep(0.02)
        except OSError:  # a file system without locks
            return


@contextmanager
def scratch_folder(folder: Path, prefix: str) -> Iterator[Path]:
    """A new folder in that one, deleted at the end. Those that killed processes left there are deleted first.

    A process has a lock on its own, so what nobody has a lock on is nobody's.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    delete_left(folder, prefix)
    made = _made_and_locked(folder, prefix)
    while made is None:  # another process took it for left, before it had its lock
        made = _made_and_locked(folder, prefix)
    path, lock = made
    try:
        yield path
    finally:
        shutil.rmtree(path, ignore_errors=True)
        _close(lock)


def delete_left(folder: Path, prefix: str) -> list[str]:
    """Delete the scratch folders of killed processes; the names of what was directly in them."""
    inside: list[str] = []
    with suppress(OSError), os.scandir(folder) as found:
        for left in [Path(each.path) for each in found if each.name.startswith(prefix)]:
            inside += _delete_if_left(left)
    return inside


def _delete_if_left(folder: Path) -> list[str]:
    lock = None
    try:
        lock = _lock(folder)
        if lock is None:
            return []
        inside = os.listdir(folder)
        shutil.rmtree(folder, ignore_errors=True)
        return inside
    except OSError:  # a link, a file, another's, or one that a process has a lock on
        return []
    finally:
        _close(lock)


def _made_and_locked(folder: Path, prefix: str) -> tuple[Path, int | None] | None:
    """A new folder and the lock on it, if there are locks; None where it was deleted in between."""
    made = Path(tempfile.mkdtemp(prefix=prefix, dir=folder))
    lock = None
    try:
        lock = _lock(made)
        if lock is None or os.path.samestat(os.fstat(lock), os.stat(made)):
            return made, lock
    except (BlockingIOError, FileNotFoundError):
        pass
    _close(lock)
    return None


def _lock(folder: Path) -> int | None:
    """The lock on a folder, to be closed; None on a system without locks.

    Raises
    ------
    OSError
        If another process has it, or it is no folder.
    """
    if fcntl is None:
        return None
    lock = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(lock)
        raise
    except OSError:  # a file system without locks
        os.close(lock)
        return None
    return lock


def _close(lock: int | None) -> None:
    if lock is not None:
        os.close(lock)


def save_file(
    path: Path, content: str | bytes, *, what: str = "", hint: str | None = None, follow: bool = True
) -> None:
    """Write a whole file, or leave the one there unchanged.

    Parameters
    ----------
    path : Path
        The file. A symbolic link stays a link, and the file it points to is replaced.
    content : str or bytes
        All of it; text is written as UTF-8.
    what : str
        What the file is to the person ("the gains file"), for the error.
    hint : str, optional
        What to do when it cannot be written.
    follow : bool
        False for a file of a hold: its folder may be a stranger's, and a link in it may lead anywhere. Then the link is
        what is replaced.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    try:
        replace_file(path, content, follow=follow)
    except OSError as failed:
        raise file_error(f"{what} {path} cannot be written".lstrip(), failed, hint) from failed


def refuse_unwritable(path: Path, what: str, hint: str | None = None) -> None:
    """Refuse, before the work for it begins, a file that could not be written at its end.

    Raises
    ------
    FileError
        If something other than a file is there, or the nearest folder is no folder, or cannot be written to.
    """
    if os.path.lexists(path) and not path.is_file():
        raise FileError(f"{what} {path} cannot be written: something other than a plain file is there", hint=hint)
    folder = next(each for each in path.absolute().parents if each.exists())
    if not (folder.is_dir() and os.access(folder, os.W_OK)):
        raise FileError(f"{what} {path} cannot be written: {folder} takes no file", hint=hint)


def replace_file(path: Path, content: str | bytes, *, follow: bool = True) -> None:
    """As `save_file`, for a caller with words of its own.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    with _beside(path, follow) as beside:
        beside.write_bytes(content.encode() if isinstance(content, str) else content)


@contextmanager
def saved_from(path: Path, *, what: str = "", hint: str | None = None, follow: bool = True) -> Iterator[Path]:
    """As `save_file`, for a file too large for memory: it is written inside, under the name given, then moved.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    try:
        with _beside(path, follow) as beside:
            yield beside
    except OSError as failed:
        raise file_error(f"{what} {path} cannot be written".lstrip(), failed, hint) from failed


@contextmanager
def _beside(path: Path, follow: bool) -> Iterator[Path]:
    target = Path(os.path.realpath(path)) if follow else path
    if os.path.lexists(target) and not (target.is_file() or target.is_symlink()):  # a device would be gone for all
        raise FileExistsError(errno.EEXIST, "something other than a plain file is there")
    with scratch_folder(target.parent, WRITING) as scratch:
        yield scratch / "new"
        move_into_place(scratch / "new", target)


def move_into_place(source: Path, target: Path) -> None:
    """Give a finished file its name, once its bytes are on the disk. Both names are in one file system.

    Raises
    ------
    OSError
        If the system refuses.
    """
    with source.open("rb") as file:
        os.fsync(file.fileno())
    os.replace(source, target)
    _sync_folder(target.parent)


def move_folder_into_place(source: Path, target: Path) -> None:
    """Give a finished folder the name of an empty one, which claimed it: nobody sees half of what is in it.

    Raises
    ------
    OSError
        If the system refuses, or something is in the other one.
    """
    for each in source.iterdir():
        with each.open("rb") as file:
            os.fsync(file.fileno())
    _sync_folder(source)
    if os.name == "nt":  # moves no folder onto another
        target.rmdir()
    os.replace(source, target)
    _sync_folder(target.parent)


def _sync_folder(folder: Path) -> None:
    """A file's new name is on the disk only once its folder is. Windows has no such call."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
