"""Writing figures into a rig file that a person wrote: their lines, order and comments stay."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

from bainwright.core.atomic_write import replace_file
from bainwright.core.errors import FileError
from bainwright.core.os_errors import reason
from bainwright.core.read_file import read_text
from bainwright.files.rig import flatten

BY_HAND = "write the figures in by hand; the record has them too"
_TABLE = re.compile(r"\s*\[([^\[\]]+)\]\s*(?:#.*)?")


def put(path: Path, figures: Mapping[str, float]) -> None:
    """Set figures, by their dotted names, in a rig file.

    Raises
    ------
    FileError
        When the file cannot be read or written, or is written in a way that this does not follow; it is as it was.
    """
    try:
        text = read_text(path, "the rig file")
        fresh = changed(text, figures)
        if fresh is None:
            lines = "; ".join(f"{name} = {value:g}" for name, value in figures.items())
            raise FileError(f"{path} is written in a way that this program does not change", wanted=lines,
                            hint=BY_HAND)
        if fresh != text:
            replace_file(path, fresh)
    except OSError as failed:
        raise FileError(f"{path} cannot be changed", got=reason(failed), hint=BY_HAND) from failed


def changed(text: str, figures: Mapping[str, float]) -> str | None:
    """The text with the figures in it; None when it would not say what was meant."""
    lines = text.splitlines()
    for name, value in figures.items():
        table, _, key = name.rpartition(".")
        _set(lines, table, key, f"{key} = {float(value)!r}")
    fresh = "\n".join(lines) + "\n"
    # The parser has the last word: all that was there, and the figures, and nothing else.
    wanted = {**dict(flatten(tomllib.loads(text))), **figures}
    try:
        return fresh if dict(flatten(tomllib.loads(fresh))) == wanted else None
    except tomllib.TOMLDecodeError:
        return None


def _set(lines: list[str], table: str, key: str, line: str) -> None:
    """Replace the key's line in its table, or add one at the table's end; a new table at the file's."""
    inside, end = not table, None if table else 0
    for at, text in enumerate(lines):
        head = _TABLE.fullmatch(text)
        if head:
            inside = "".join(head[1].split()) == table
        if not inside:
            continue
        found = re.match(rf"\s*{re.escape(key)}\s*=\s*[^#]*?(\s*#.*)?$", text)
        if found:
            lines[at] = line + (found[1] or "")
            return
        if text.strip():
            end = at + 1
    if end is None:
        lines += ["", f"[{table}]", line]
    else:
        lines.insert(end, line)
