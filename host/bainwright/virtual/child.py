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
from bainwright.virtual.shared_memory import SharedMemory

STANDINS = Path(__file__).parent / "standins"
# Heap that MicroPython 1.28 has free on an RP2040 (measured on an emulated one): plain, and with the radio's driver.
HEAP_KB = {"pico": 241, "pico_w": 201}
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
    shared: SharedMemory, run_main: bool = True, source: tuple[int, int] | None = None,
    pin_numbers: Mapping[str, int] = pins.RP2, board: str = "pico_w",
) -> Child:
    """Fork an interpreter that uses the shared memory. It boots, and runs main.py if `run_main`.

    With `source` (address and length of files packed by `image.pack`) it writes these files to a new flash and ends; at
    length -1 it only mounts the flash.
    `pin_numbers` maps each use to its pin; `board`, one of `HEAP_KB`, decides how much memory the firmware has.

    It forks without exec: the shared memory keeps its address, and each reset saves 20 ms of start-up.
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
        what = run_main, source, dict(pin_numbers)
        _become(shared, (to_fd, from_fd, wake_fd), terminal_end, parent, what, HEAP_KB[board])
    for fd in (to_fd, from_fd, wake_fd):
        os.close(fd)
    return Child(pid, posts, replies, wakes, terminal, terminal_end)


def _become(
    shared: SharedMemory, fds: tuple[int, int, int], terminal_end: int, parent: int,
    what: tuple[bool, tuple[int, int] | None, dict[str, int]], board_heap_kb: int,
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
        heap_kb = int(WORD_FACTOR * board_heap_kb) + STANDIN_HEAP_KB
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
    """Pass bytes unchanged in both directions; no signals, no echo."""
    modes = termios.tcgetattr(terminal_end)
    modes[0] &= ~(termios.ICRNL | termios.INLCR | termios.IXON | termios.BRKINT | termios.ISTRIP | termios.INPCK)
    modes[1] &= ~termios.OPOST
    modes[3] = RUNS_CODE
    termios.tcsetattr(terminal_end, termios.TCSANOW, modes)
