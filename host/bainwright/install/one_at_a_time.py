"""One `bain install` on a port at a time: between its steps the port is closed, and a second would come in there."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

from bainwright.core.errors import BusyPortError
from bainwright.core.user_folder import make_user_folder

try:
    import fcntl
except ImportError:  # no POSIX system: who comes second meets a busy port
    fcntl = None  # type: ignore[assignment]


@contextmanager
def one_at_a_time(path: str) -> Iterator[None]:
    """Keep every other install of this user off the port inside the block.

    The lock is on a file that stands for the port. The system gives it back however a process ends.

    Raises
    ------
    BusyPortError
        If another installs there.
    """
    claim = _claim(path)
    try:
        yield
    finally:
        if claim is not None:
            os.close(claim)


def _claim(path: str) -> int | None:
    """The lock, to be closed; None where there is none to have."""
    if fcntl is None:
        return None
    try:
        name = os.path.realpath(path).strip("/").replace("/", "-")  # one name for all links to a port
        claim = os.open(make_user_folder() / f"install-{name}", os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
    except OSError:
        return None
    try:
        fcntl.flock(claim, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(claim)
        raise BusyPortError(f"another bain install is at work on {path}", hint="let it end, and try again") from None
    except OSError:  # a file system without locks
        pass
    return claim
