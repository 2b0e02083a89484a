"""Text on its way to a person: a terminal shows control characters and never obeys them.

Boards and files supply names, notes and reasons. An escape byte in one of them could move the cursor, retitle the
window or hide a warning. `guarded` puts one check in front of everything a command prints.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

# C0 without tab and newline, delete, C1 (among them a one-byte CSI), and what reorders or breaks a line.
_OBEYED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")


def visible(text: str) -> str:
    r"""Text with every control character written out, as ``\u001b``. That form is valid inside JSON, too."""
    return _OBEYED.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def visible_values(message: dict[str, Any]) -> dict[str, Any]:
    """A flat message with `visible` names and texts."""
    return {
        visible(name): visible(value) if isinstance(value, str) else value for name, value in message.items()
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
