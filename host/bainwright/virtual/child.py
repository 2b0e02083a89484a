"""The board's interpreter as a process of its own: forked from the simulator, killed when the board loses power.

The package's interpreter runs in the fork: the shared memory keeps its address, and each reset saves 20 ms of start-up.
Another MicroPython takes the fork's place and maps the shared memory by its file.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import sys
import termios
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bainboard import pins
from bainwright.virtual.board_models import BYTE_US, REQUEST_US, SWEEP_US, SWEEP_US_PER_KB, USUAL, Model
from bainwright.virtual.shared_memory import Area, SharedMemory

STANDINS = Path(__file__).parent / "standins"
WORD_FACTOR = 1.5  # objects are about so much larger on a 64-bit interpreter
# The stand-ins and the mounted flash hold 66 KB before main.py starts. They leave 3.5 KB of garbage a tick, firmware
# 6.3 KB (both measured). They get 34 KB more for that garbage: collections are then as frequent as on a board.
STANDIN_HEAP_KB = 66 + 34
# Local mode flags of the terminal while code runs. The interpreter's prompt clears them all and restores these when
# it runs something, so this otherwise unused flag shows whether code runs.
RUNS_CODE = termios.NOFLSH
PR_SET_PDEATHSIG = 1  # Linux, prctl.h


@dataclass
class Child:
    """A running interpreter and the simulator's ends of its pipes and terminal."""

    pid: int
    posts: int  # its messages to the simulator
    replies: int
    wakes: int
    terminal: int  # master of its pty
    terminal_end: int  # the slave: its modes are read here
    status: int | None = None

    def at_prompt(self) -> bool:
        """Whether it waits at its prompt, rather than running code."""
        return not termios.tcgetattr(self.terminal_end)[3] & RUNS_CODE

    def wake(self) -> None:
        """Wake it from its wait."""
        with contextlib.suppress(BlockingIOError, BrokenPipeError):  # a full pipe wakes it anyway; or it has just ended
            os.write(self.wakes, b"!")

    def reply(self) -> None:
        """Answer one post."""
        with contextlib.suppress(BrokenPipeError):  # it has just ended; the closed pipe reports that
            os.write(self.replies, b".")

    def kill(self) -> None:
        """End it at once, by a signal it cannot catch."""
        if self.status is None:
            os.kill(self.pid, signal.SIGKILL)
            _, self.status = os.waitpid(self.pid, 0)

    def interrupt(self) -> None:
        """Interrupt code that never calls anything, by the interpreter's own signal."""
        os.kill(self.pid, signal.SIGINT)

    def cpu_s(self) -> float:
        """Processor time it has used, s."""
        try:
            fields = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        except FileNotFoundError:  # no /proc here, or the process has ended
            return 0.0
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def last_output(self) -> bytes:
        """Everything it wrote to its terminal before it ended; closes the terminal."""
        os.close(self.terminal_end)
        data = b""
        with contextlib.suppress(OSError):  # EIO: the other side is closed and everything has been read
            while chunk := os.read(self.terminal, 65536):
                data += chunk
        os.close(self.terminal)
        return data

    def close(self) -> None:
        """Close the pipes."""
        for fd in (self.posts, self.replies, self.wakes):
            os.close(fd)


def start(
    shared: SharedMemory, path: str | None, run_main: bool = True, source: tuple[Area, int] | None = None,
    pin_numbers: Mapping[str, int] = pins.RP2, model: Model = USUAL, timed: bool = False,
) -> Child:
    """Start an interpreter that uses the shared memory. It boots, and runs main.py if `run_main`.

    `path` names a MicroPython; None: the package's. With `source` (files packed by `image.pack`, and their length) it
    writes these files to a new flash and ends; at length -1 it only mounts the flash.
    `pin_numbers` maps each use to its pin; `model` decides how much memory the firmware has. If `timed`, collections
    and requests take the model's time.
    """
    terminal, terminal_end = os.openpty()
    _raw(terminal_end)
    posts, to_fd = os.pipe()
    from_fd, replies = os.pipe()
    wake_fd, wakes = os.pipe()
    os.set_blocking(wakes, False)
    os.set_blocking(terminal, False)
    parent = os.getpid()
    pid = os.fork()
    if pid == 0:
        times = (SWEEP_US, SWEEP_US_PER_KB, BYTE_US, REQUEST_US) if timed else None
        what = run_main, source, (dict(pin_numbers), model.platform, model.machine, times)
        _become(path, shared, (to_fd, from_fd, wake_fd), terminal_end, parent, what, model.heap_kb)
    for fd in (to_fd, from_fd, wake_fd):
        os.close(fd)
    return Child(pid, posts, replies, wakes, terminal, terminal_end)


def _become(
    path: str | None, shared: SharedMemory, fds: tuple[int, int, int], terminal_end: int, parent: int,
    what: tuple[bool, tuple[Area, int] | None, tuple[Any, ...]], board_heap_kb: int,
) -> None:  # pragma: no cover - the other process
    """The forked half: never returns."""
    try:
        if sys.platform == "linux":
            ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
        if os.getppid() != parent:
            os._exit(1)
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, 0)
        for fd in (0, 1, 2):
            os.dup2(terminal_end, fd)
        run_main, source, board = what
        files = [shared.area.file, *([source[0].file] if source else [])]
        _close_all_but((*fds, *files))
        for name in ("MICROPYPATH", "MICROPYINSPECT"):
            os.environ.pop(name, None)
        os.environ["HOME"] = "/nonexistent"  # the prompt's history belongs to no user's home
        code = (
            f"import sys; sys.path[:] = [{str(STANDINS)!r}]; sys.argv[:] = []; {_MAP if path else ''}import _boot; "
            f"_boot.start({_at(shared.area, path)}, {fds!r}, {board!r}, {run_main}, "
            f"{f'({_at(source[0], path)}, {source[1]})' if source else None})"
        )
        heap_kb = int(WORD_FACTOR * board_heap_kb) + STANDIN_HEAP_KB
        words = ["micropython", "-X", f"heapsize={heap_kb}K", *([] if source else ["-i"]), "-c", code]
        if path:
            for fd in (*fds, *files):
                os.set_inheritable(fd, True)
            os.execv(path, [path, *words[1:]])
        import micropython_unix

        os._exit(micropython_unix.run_main(words) & 0xFF)
    finally:
        os._exit(70)


_MAP = "import ffi; _map = ffi.open(None).func('P', 'mmap', 'PLiiil'); "  # POSIX, sys/mman.h
READ_WRITE, MAP_SHARED = 1 | 2, 1  # the same numbers on Linux and macOS


def _at(area: Area, path: str | None) -> str:
    """The area's address as the interpreter writes it: known in a fork, mapped in another program."""
    return f"_map(0, {area.size}, {READ_WRITE}, {MAP_SHARED}, {area.file}, 0)" if path else str(area.address)


def _close_all_but(fds: tuple[int, ...]) -> None:
    last = 3
    for fd in sorted(fds):
        os.closerange(last, fd)
        last = fd + 1
    os.closerange(last, 4096)


def _raw(terminal_end: int) -> None:
    """Pass bytes unchanged in both directions; no signals, no echo."""
    modes = termios.tcgetattr(terminal_end)
    modes[0] &= ~(termios.ICRNL | termios.INLCR | termios.IXON | termios.BRKINT | termios.ISTRIP | termios.INPCK)
    modes[1] &= ~termios.OPOST
    modes[3] = RUNS_CODE
    termios.tcsetattr(terminal_end, termios.TCSANOW, modes)
