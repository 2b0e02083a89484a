"""The keyboard and Ctrl-C during a hold: keys without Enter, and an interrupt that is counted instead of thrown."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Collection, Iterator
from types import FrameType, TracebackType
from typing import Any

try:
    import select
    import termios
    import tty
except ImportError:  # no POSIX terminal here: no keys, Ctrl-C still works
    termios = None  # type: ignore[assignment]

# What ends a process; not every system has all of them.
GO = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGQUIT") if hasattr(signal, name))

# Chosen: longer than any answer of a board takes. A key that is held down sends many before the first can be served.
LAST_RESORT_S = 15.0

# A key without a letter, such as an arrow, and an answer of the terminal itself come as several bytes after an escape
# (ECMA-48, 5.4 and 5.6; and what xterm and the Linux console send besides).
ESC, BELL = b"\x1b", b"\x07"
ENDS = (ESC, *(bytes([byte]) for byte in range(0x40, 0x7F)))
STRINGS = (b"]", b"P", b"X", b"^", b"_")  # begin a text that BEL, or ESC and one byte, ends
TOGETHER_S = 0.1  # chosen: bytes of one key come no further apart, and a person is no faster
LONGEST = 4096  # bytes; chosen: no answer of a terminal is longer


@contextlib.contextmanager
def ended_as_by_ctrl_c() -> Iterator[None]:
    """Inside, a closed terminal or a request to end raises KeyboardInterrupt, so that what must be put right is."""
    before: dict[int, Any] = {}
    if threading.current_thread() is threading.main_thread():
        before = {number: signal.signal(number, _end) for number in GO if signal.getsignal(number) != signal.SIG_IGN}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _end(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


CTRL_Z = "\x1a"


class Keys:
    """Single keys from the terminal, if there is one; restores it on the way out. Ctrl-Z is a key: a program that is
    stopped watches nothing and calls nobody, while the warmer heats.
    """

    def __init__(self) -> None:
        self._before: list[Any] | None = None

    @property
    def there(self) -> bool:
        """Is someone at a keyboard?"""
        return self._before is not None

    def __enter__(self) -> Keys:
        if termios is not None and sys.stdin is not None and sys.stdin.isatty():
            self._before = termios.tcgetattr(sys.stdin)
            tty.setcbreak(sys.stdin)
            mode = termios.tcgetattr(sys.stdin)
            mode[6][termios.VSUSP] = os.fpathconf(sys.stdin.fileno(), "PC_VDISABLE").to_bytes(1, "little")
            termios.tcsetattr(sys.stdin, termios.TCSANOW, mode)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._before is not None:
            with contextlib.suppress(termios.error):  # closed meanwhile: there is nothing left to restore
                termios.tcsetattr(sys.stdin, termios.TCSANOW, self._before)  # a stopped one never drains

    def pressed(self) -> str:
        """The key that waits, in lower case, or an empty text. Only a key with a letter, a digit or a sign counts."""
        while (key := self._read(0.0)) == ESC:
            self._skip_rest()
        return key.decode("ascii", "ignore").lower()

    def _skip_rest(self) -> None:
        """Drop what belongs to an escape: its letters are no keys."""
        byte = ESC
        while byte == ESC:  # Alt with an arrow sends two, and one cuts another key short
            byte = self._read(TOGETHER_S)
            if byte in STRINGS:
                byte = self._skip_to(self._read(TOGETHER_S), (BELL, ESC))
            elif byte in (b"[", b"O"):
                byte = self._skip_sequence()

    def _skip_sequence(self) -> bytes:
        """Drop figures and the byte that ends them; that byte."""
        first = self._read(TOGETHER_S)
        if first == b"[":  # the Linux console's F1 to F5
            return self._read(TOGETHER_S)
        if first == b"M":  # the mouse in its oldest way, or a key of the keypad
            while self._read(0.0):
                pass
            return first
        return self._skip_to(first, ENDS)

    def _skip_to(self, byte: bytes, ends: Collection[bytes]) -> bytes:
        for _ in range(LONGEST):
            if not byte or byte in ends:
                break
            byte = self._read(TOGETHER_S)
        return byte

    def _read(self, wait_s: float) -> bytes:
        if not self.there or not select.select([sys.stdin], [], [], wait_s)[0]:
            return b""
        # Past sys.stdin's own buffer: a key read into it would no longer show as waiting.
        try:
            return os.read(sys.stdin.fileno(), 1)
        except OSError:  # the terminal was closed: nobody is there any more
            self._before = None
            return b""


class Interrupts:
    """Counts Ctrl-C and notes a request to end. As exceptions they could strike between a row and its file.

    Parameters
    ----------
    counting : bool
        False: until it is set, they have their ordinary effect.

    Attributes
    ----------
    count : int
        How often Ctrl-C was pressed.
    go : bool
        Someone closed the terminal or ended the process: no question can be answered any more.
    """

    def __init__(self, *, counting: bool = True) -> None:
        self.counting = counting
        self.count = 0
        self.go = False
        self._first_s = 0.0
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Interrupts:
        if threading.current_thread() is threading.main_thread():
            self._before = {number: signal.signal(number, self._hit) for number in (signal.SIGINT, *GO)}
        return self

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _hit(self, number: int, frame: FrameType | None) -> None:
        if not self.counting:
            signal.signal(number, self._before[number])
            signal.raise_signal(number)
            return
        if number in GO:
            self.go = True
            return
        self.count += 1
        if self.count == 1:
            self._first_s = time.monotonic()
        elif time.monotonic() - self._first_s > LAST_RESORT_S:  # nobody served the first one: the ordinary way out
            raise KeyboardInterrupt
