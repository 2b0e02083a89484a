"""Text on its way to a person: a terminal shows control characters and never obeys them.

Boards and files supply names, notes and reasons. An escape byte in one of them could move the cursor, retitle the
window or hide a warning. `guarded` puts one check in front of everything a command prints.
"""

from __future__ import annotations

import os
import re
import select
import sys
import threading
import time
from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

# C0 without tab and newline, delete, C1 (among them a one-byte CSI), and what reorders or breaks a line.
_OBEYED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")


def visible(text: str) -> str:
    r"""Text with every control character written out, as ``\u001b``. That form is valid inside JSON, too."""
    return _OBEYED.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def one_line(text: str) -> str:
    """`visible` text that also begins no line and no column of its own: a name could forge an entry of a list."""
    return visible(text).replace("\n", "\\u000a").replace("\t", "\\u0009")


def visible_values(message: dict[str, Any]) -> dict[str, Any]:
    """A flat message with names and texts of `one_line`."""
    return {
        one_line(name): one_line(value) if isinstance(value, str) else value for name, value in message.items()
    }


class GuardedStream:
    """A text stream that writes only `visible` text; anything else is the stream's own."""

    def __init__(self, stream: TextIO) -> None:
        self.unguarded = stream

    def write(self, text: str) -> int:
        """Write text, its control characters written out."""
        return self.unguarded.write(visible(text))

    def writelines(self, lines: Iterable[str]) -> None:
        """Write several texts."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.unguarded, name)


def drawing(stream: TextIO) -> TextIO:
    """The stream behind a guard, for code that draws with control characters of its own and no text of others."""
    return cast(TextIO, getattr(stream, "unguarded", stream))


class Unhurried:
    """A terminal or a pipe that nobody waits for: a hold must continue if somebody stops it, with Ctrl-S perhaps.

    Between `begin` and `finish` a thread writes; what finds no room in `MOST` is left out, and that is said.
    """

    MOST = 1 << 18  # letters; chosen: some hundred screens, or a night of lines
    FINISH_S = 2.0  # chosen: a terminal that takes no more by then is not waited for

    def __init__(self, stream: TextIO) -> None:
        self._stream, self._descriptor = stream, stream.fileno()
        self._waiting: deque[str] = deque()
        self._size = self._left_out = 0
        self._changed = threading.Condition()
        self._begun = False
        self._failed: OSError | None = None

    @property
    def busy(self) -> bool:
        """Is there output that it has not taken yet?"""
        return self._size > 0

    def begin(self) -> None:
        """Stop waiting for it."""
        self._stream.flush()
        self._begun = True
        threading.Thread(target=self._write_all, daemon=True).start()

    def finish(self) -> None:
        """Let it take what waits, for a moment; what is written once it has is waited for."""
        until_s = time.monotonic() + self.FINISH_S
        with self._changed:
            while self._size and (left_s := until_s - time.monotonic()) > 0:
                self._changed.wait(left_s)
            self._begun = False
            self._changed.notify_all()

    def write(self, text: str) -> int:
        """Write text, or keep it for the thread."""
        if self._failed is not None:
            raise self._failed
        if not (self._begun or self.busy):
            return self._stream.write(text)
        with self._changed:
            if self._size + len(text) > self.MOST:
                self._left_out += 1
                return len(text)
            if self._left_out:
                text = f"({self._left_out} lines are left out: nobody read them)\n{text}"
                self._left_out = 0
            self._waiting.append(text)
            self._size += len(text)
            self._changed.notify_all()
        return len(text)

    def flush(self) -> None:
        """The thread writes at once."""
        if not (self._begun or self.busy):
            self._stream.flush()

    def _write_all(self) -> None:
        while True:
            with self._changed:
                while self._begun and not self._waiting:
                    self._changed.wait()
                if not self._waiting:
                    return
                text = self._waiting.popleft()
            try:
                self._write_whole(text.encode(self._stream.encoding or "utf-8", "replace"))
            except OSError as failed:  # nobody reads any more
                self._failed = failed
            with self._changed:
                self._size = 0 if self._failed else self._size - len(text)
                self._changed.notify_all()

    def _write_whole(self, data: bytes) -> None:
        """Past the stream's own buffer, whose lock would stop the process at its end."""
        while data:
            try:
                data = data[os.write(self._descriptor, data) :]
            except BlockingIOError:  # another program made it so
                select.select([], [self._descriptor], [])

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def takes(stream: TextIO, wait_s: float = 0.0) -> bool:
    """Does a terminal or a pipe take text now, or within so long? True where nothing can tell."""
    try:
        return os.name != "posix" or bool(select.select([], [drawing(stream)], [], wait_s)[1])
    except (OSError, ValueError, AttributeError, TypeError):
        return True


def unhurried(stream: TextIO) -> TextIO:
    """The stream so that nobody waits for it, where it may be one that takes nothing."""
    try:
        stream.fileno()
    except (OSError, ValueError, AttributeError):
        return stream
    return cast(TextIO, Unhurried(stream)) if os.name == "posix" else stream


@contextmanager
def guarded() -> Iterator[None]:
    """Inside, standard output and error write only `visible` text."""
    before = {"stdout": sys.stdout, "stderr": sys.stderr}
    guards = {name: GuardedStream(drawing(stream)) for name, stream in before.items()}
    for name, guard in guards.items():
        setattr(sys, name, guard)
    try:
        yield
    finally:
        for name, guard in guards.items():
            if getattr(sys, name) is guard:  # otherwise it was replaced because nobody reads any more
                setattr(sys, name, before[name])
