"""Virtual boards that this user serves (`bain board`), listed so that they are found like plugged-in boards."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

WHAT = "virtual board"  # the description of such a port


def _folder() -> Path:
    """This user's folder, in a place that is empty after a restart."""
    base = os.environ.get("XDG_RUNTIME_DIR") or tempfile.gettempdir()
    return Path(base) / f"bainwright-{_user()}"


def _user() -> int:
    return os.getuid() if hasattr(os, "getuid") else 0  # Windows: no pseudo-terminals, so nothing is ever served


def served() -> list[tuple[str, str]]:
    """The ports of the virtual boards served now, as (path, description).

    A link left by a killed server does not count: another program may have its pseudo-terminal by now.
    """
    folder = _folder()
    if not folder.is_dir() or folder.stat().st_uid != _user():
        return []
    links = [link for link in folder.iterdir() if link.is_symlink() and link.name.isdigit() and _lives(int(link.name))]
    return [(os.readlink(link), WHAT) for link in sorted(links, key=lambda link: int(link.name))]


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except OSError:
        return False
    return True


@contextmanager
def announced(path: str) -> Iterator[None]:
    """Lists the board on this path as served, inside the block; a failure to list it does not stop it.

    The link has the process's number as its name and points to the path.
    """
    link = _folder() / str(os.getpid())
    with contextlib.suppress(OSError):
        link.parent.mkdir(mode=0o700, exist_ok=True)
        link.unlink(missing_ok=True)
        link.symlink_to(path)
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            link.unlink(missing_ok=True)
