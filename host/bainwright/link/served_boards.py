"""Virtual boards that this user serves (`bain board`), listed so that they are found like plugged-in boards."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from contextlib import contextmanager

from bainwright.core.user_folder import lives, make_user_folder, process_of, user_folder

WHAT = "virtual board"  # the description of such a port


def served() -> list[tuple[str, str]]:
    """The ports of the virtual boards served now, as (path, description).

    A link left by a killed server does not count: another program may have its pseudo-terminal by now.
    """
    folder = user_folder()
    if folder is None:
        return []
    processes = sorted(process for link in folder.iterdir()
                       if link.is_symlink() and (process := process_of(link.name)) and lives(process))  # fmt: skip
    return [(os.readlink(folder / str(process)), WHAT) for process in processes]


@contextmanager
def announced(path: str) -> Iterator[None]:
    """Lists the board on this path as served, inside the block; a failure to list it does not stop it.

    The link has the process's number as its name and points to the path.
    """
    link = None
    with contextlib.suppress(OSError):
        link = make_user_folder() / str(os.getpid())
        link.unlink(missing_ok=True)
        link.symlink_to(path)
    try:
        yield
    finally:
        if link is not None:
            with contextlib.suppress(OSError):
                link.unlink(missing_ok=True)
