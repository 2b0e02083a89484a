"""A folder for what a user's own programs show each other while they run: empty after a restart, closed to others."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def user_folder() -> Path | None:
    """The folder; None while there is none, or where it is somebody else's."""
    folder = _path()
    return folder if folder.is_dir() and folder.stat().st_uid == _user() else None


def make_user_folder() -> Path:
    """Make the folder where there is none yet.

    Raises
    ------
    OSError
        If it cannot be made, or is somebody else's.
    """
    _path().mkdir(mode=0o700, exist_ok=True)
    folder = user_folder()
    if folder is None:
        raise PermissionError(f"{_path()} belongs to somebody else")
    return folder


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
