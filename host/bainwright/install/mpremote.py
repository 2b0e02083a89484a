"""mpremote, run as a separate program: its commands are stable, its modules are not. Only this installs firmware."""

from __future__ import annotations

import io
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from importlib import metadata
from pathlib import Path
from typing import Any

from bainwright.core.errors import BainError, LinkError, RefusedError, UseError
from bainwright.install.board_lines import read_lines
from bainwright.link import ports

PINNED = "1.29.0"  # as in pyproject.toml; we rely on what its commands do and print
SILENCE_S = 25.0  # chosen: the largest file goes in a few seconds, and a whole version is hashed in fewer
IN_USE_S = 10.0  # chosen: who only looks in has left the port by then
AGAIN_S = 0.5  # between two tries; each starts a program
LONGEST_S = 300.0  # chosen: an install takes about a minute on a real board
MOST_BYTES = 1 << 20  # chosen: two versions of the firmware are listed in 20 KB
BOARD_SCRIPTS = Path(__file__).parent / "board_scripts"
FULL = re.compile(r"ENOSPC|(Errno|OSError:) 28\b|No space left")
READ_ONLY = re.compile(r"EROFS|(Errno|OSError:) 30\b|Read-only file system")
IN_THE_WAY = re.compile(r"EISDIR|ENOTDIR|(Errno |OSError: )(20|21)\b")
RESTARTED = ('{"status":', '{"event":')  # the firmware's own lines: its board lost power or was reset under mpremote
NO_PROMPT = re.compile(r"could not enter raw repl")
NOT_OPENED = re.compile(r"failed to access")
GONE = re.compile(r"Input/output error|device disconnected|no longer available|ClearCommError|EIO")
GET_MICROPYTHON = (
    "put MicroPython 1.24 or newer on it first: micropython.org/download has the file for each board and says how to "
    "copy it there"
)


def check_pinned() -> None:
    """Make sure that the mpremote this program was tested with is installed.

    Raises
    ------
    UseError
        If it is missing or another version.
    """
    try:
        found: str | None = metadata.version("mpremote")
    except metadata.PackageNotFoundError:
        found = None
    if found != PINNED:
        raise UseError(
            "mpremote, which carries the firmware to the board, is not the version this program is made for",
            got=found or "none",
            wanted=PINNED,
            hint=f"type: {sys.executable} -m pip install mpremote=={PINNED}",
        )


def script(name: str) -> list[str]:
    """The command that runs one of `board_scripts`."""
    return ["run", str(BOARD_SCRIPTS / f"{name}.py")]


class Remote:
    """mpremote on one port.

    Parameters
    ----------
    path : str
        The port; nothing else may have it open while commands run.
    """

    def __init__(self, path: str) -> None:
        check_pinned()
        self.path = path
        self._fresh = False  # the interpreter was restarted without its program, so all its memory is free

    def run(self, *commands: list[str], line: Callable[[str], None] | None = None) -> list[dict[str, Any]]:
        """Run commands one after another.

        Parameters
        ----------
        *commands : list of str
            Each as typed after ``mpremote``.
        line : callable, optional
            Called with every line they print, as it comes.

        Returns
        -------
        list of dict
            What our scripts report among those lines (`board_lines`).

        Raises
        ------
        LinkError
            If there is no MicroPython at the other end, it went away, or what it reports makes no sense.
        RefusedError
            If the flash is full or read-only, or the board failed otherwise.
        """
        words = ["connect", self.path, *(["resume"] if self._fresh else [])]
        for number, command in enumerate(commands):
            words += ["+", *command] if number else command
        lines, code = _spawn(words, line)
        give_up_s = time.monotonic() + IN_USE_S
        while code and NOT_OPENED.search("\n".join(lines)) and time.monotonic() < give_up_s:  # it has done nothing yet
            time.sleep(AGAIN_S)
            lines, code = _spawn(words, line)
        if code:
            raise _not_opened(self.path) if NOT_OPENED.search("\n".join(lines)) else explain(self.path, lines)
        self._fresh = True
        return read_lines(lines)


def _spawn(words: list[str], line: Callable[[str], None] | None) -> tuple[list[str], int]:
    """Run mpremote; returns every line it printed, and its exit status.

    Unlike mpremote, this never waits for ever: neither for a silent board nor for one that prints without end.

    Raises
    ------
    LinkError
        If it prints without end, or falls silent.
    """
    lines: list[str] = []
    fell_silent = threading.Event()
    begun, heard = b"", 0
    with subprocess.Popen(
        [sys.executable, "-P", "-u", "-m", "mpremote", *words],  # -P: do not import a tty.py from the working folder
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    ) as process:
        assert isinstance(process.stdout, io.BufferedReader)
        longest, silence = _killed_in(LONGEST_S, process), _killed_in(SILENCE_S, process, fell_silent)
        while piece := process.stdout.read1(1 << 16):
            silence.cancel()
            silence = _killed_in(SILENCE_S, process, fell_silent)
            heard += len(piece)
            if heard > MOST_BYTES:
                process.kill()
                raise LinkError(f"the board on {words[1]} prints without end",
                                hint="press its reset button and try again")  # fmt: skip
            *whole, begun = (begun + piece).split(b"\n")
            for each in whole:
                lines.append(each.decode(errors="replace").rstrip())
                if lines[-1].startswith(RESTARTED):
                    process.kill()
                if line:
                    line(lines[-1])
        lines += [begun.decode(errors="replace").rstrip()] if begun else []
        process.wait()
        longest.cancel()
        silence.cancel()
    if fell_silent.is_set():
        raise _silent(words[1])
    return lines, process.returncode


def _killed_in(
    seconds: float, process: subprocess.Popen[bytes], late: threading.Event | None = None
) -> threading.Timer:
    def end() -> None:
        if late is not None:
            late.set()
        process.kill()

    timer = threading.Timer(seconds, end)
    timer.daemon = True
    timer.start()
    return timer


def no_micropython(path: str) -> LinkError:
    """The error for a port where no prompt answers."""
    return LinkError(
        f"no MicroPython answers on {path}",
        hint=f"if the board is new, {GET_MICROPYTHON}; otherwise press its reset button and try again",
    )


def _not_opened(path: str) -> BainError:
    """Why mpremote could not open a port: what its own words leave open is found by opening it."""
    try:
        ports.open_port(path).close()
    except BainError as why:
        return why
    return LinkError(f"another program had {path} open for a moment", hint="end that program and try again")


def _silent(path: str) -> LinkError:
    return LinkError(f"the board on {path} fell silent", hint="unplug it, plug it in and try again")


def explain(path: str, lines: list[str]) -> BainError:
    """The error that mpremote's last lines mean."""
    said = "\n".join(lines)
    if any(text.startswith(RESTARTED) for text in lines):
        return LinkError(f"the board on {path} restarted meanwhile", hint="look at its supply and try again")
    if FULL.search(said):
        return RefusedError("the board's flash is full", hint="delete files you do not need there and try again")
    if READ_ONLY.search(said):
        return RefusedError(
            "the board's files cannot be written",
            hint="its file system is read-only: a USB drive of the board may be mounted, or a boot.py forbids it",
        )
    if IN_THE_WAY.search(said):
        return RefusedError(
            "a folder lies on the board where the firmware has a file, or a file where it has a folder",
            wanted="main.py and fw/boot as files; fw, and each version in it, as folders",
            hint="mpremote fs ls :fw shows what is there, mpremote fs rm -r :NAME deletes it; then try again",
        )
    if NO_PROMPT.search(said):
        return no_micropython(path)
    if GONE.search(said):
        return LinkError(f"the board on {path} is gone", hint="look at the cable and try again")
    if not any(lines):
        return _silent(path)
    last = next((text for text in reversed(lines) if text), "nothing")
    return RefusedError(f"the board on {path} failed", got=last[:200], hint="press its reset button and try again")
