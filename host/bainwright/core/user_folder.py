"""A folder for what a user's own programs show each other while they run: empty after a restart, closed to others."""

from __future__ import annotations

import os
import re
import stat
import tempfile
from pathlib import Path

OTHERS_WRITE = stat.S_IWGRP | stat.S_IWOTH


def user_folder() -> Path | None:
    """The folder; None while there is none, or where anybody else made it or may write to it."""
    folder = _path()
    try:
        state = folder.lstat()  # not through a link, which could lead anywhere
    except OSError:
        return None
    ours = stat.S_ISDIR(state.st_mode) and state.st_uid == _user() and not state.st_mode & OTHERS_WRITE
    return folder if ours or os.name == "nt" else None  # Windows has a temporary folder for each user


def make_user_folder() -> Path:
    """Make the folder where there is none yet.

    Raises
    ------
    OSError
        If it cannot be made, or is not this user's alone.
    """
    _path().mkdir(mode=0o700, exist_ok=True)
    folder = user_folder()
    if folder is None:
        raise PermissionError(f"{_path()} is not a folder of this user's alone")
    return folder


def process_of(name: str) -> int | None:
    """The process whose number a file here has as its name; None for another name."""
    return int(name) if re.fullmatch("[1-9][0-9]{0,8}", name) else None


def lives(process: int) -> bool:
    """Does this process of ours run?"""
    try:
        os.kill(process, 0)
    except OSError:
        return False
    return True


def _path() -> Path:
    return Path(os.environ.get("XDG_RUNTIME_DIR") or tempfile.gettempdir()) / f"bainwright-{_user()}"


def _user() -> int:
    return os.getuid() if hasattr(os, "getuid") else 0  # Windows: no pseudo-terminals and no sockets there
