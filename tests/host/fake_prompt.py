"""A pseudo-terminal with something other than our firmware at the other end: a Python prompt that answers by script.

It speaks the raw REPL as docs.micropython.org, "MicroPython remote control: mpremote" and "REPL, raw mode" describe it,
and runs nothing: whatever code comes, it prints the same.
"""

from __future__ import annotations

import os
import select
import threading
import tty
from types import TracebackType

RAW = b"raw REPL; CTRL-B to exit\r\n>"


class FakePrompt:
    """A context manager; `path` is the port.

    Parameters
    ----------
    prints : bytes, optional
        What any code prints; None: no answer at all.
    """

    def __init__(self, prints: bytes | None) -> None:
        self._prints, self._raw, self._code = prints, False, b""
        self.restarted = threading.Event()  # it was sent to run its own program again
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        self.path = os.ttyname(self._theirs)
        self._ended, self._end = os.pipe()
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> FakePrompt:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.write(self._end, b".")
        self._thread.join()
        for fd in (self._ours, self._theirs, self._ended, self._end):
            os.close(fd)

    def _serve(self) -> None:
        while True:
            ready = select.select([self._ours, self._ended], [], [])[0]
            if self._ended in ready:
                return
            data = os.read(self._ours, 4096)
            if self._prints is not None:
                os.write(self._ours, b"".join(self._answer(bytes([byte])) for byte in data))

    def _answer(self, byte: bytes) -> bytes:
        if byte == b"\x01":
            if self._code.endswith(b"\x05A"):  # raw paste: understood, not supported
                self._code = b""
                return b"R\x00"
            self._raw, self._code = True, b""
            return b"\r\n" + RAW
        if byte == b"\x02":
            self._raw = False
            return b"\r\n>>> "
        if byte == b"\x03":
            return b"" if self._raw else b"\r\n>>> "
        if byte == b"\x04":
            return self._go()
        self._code += byte if self._raw else b""
        return b""

    def _go(self) -> bytes:
        if not self._raw:
            self.restarted.set()
            return b"\r\nMPY: soft reboot\r\n"
        code, self._code = self._code.strip(), b""
        return b"OK" + (self._prints or b"") + b"\x04\x04>" if code else b"OK\r\nMPY: soft reboot\r\n" + RAW
