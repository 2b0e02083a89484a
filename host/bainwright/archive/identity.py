"""What makes two copies of a hold one: its board, the board's number of it and its start."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from bainwright.core.errors import FileError
from bainwright.core.read_file import LOG_BYTES, is_own, read_bytes
from bainwright.record.names import CSV
from bainwright.record.reader import read_facts

BEGAN_S = 600.0  # chosen: the board has a PC's own time, so the two differ by seconds
SAME_C, SAME_SHARE = 0.003, 0.9  # chosen: a few damaged readings must not make another hold of it


def identity(folder: Path, facts: Mapping[str, Any] | None = None) -> str:
    """The board, number and start of a hold as one text, or its rows where the start is not known.

    All virtual boards have one id and count from 1, so of theirs the first row counts as well.

    Parameters
    ----------
    folder : Path
        The hold's folder.
    facts : mapping, optional
        Its facts, where they were read already.
    """
    facts = read_facts(folder) if facts is None else facts
    board: Mapping[str, Any] = facts.get("board") or {}
    if facts.get("started"):
        first = (rows_file(folder) or b"").split(b"\n", 2)[1:2] if facts.get("VIRTUAL") else []
        return json.dumps([board.get("board"), facts.get("hold"), facts["started"], *map(repr, first)])
    return f"{zlib.crc32(read_bytes(folder / CSV, limit=LOG_BYTES)):08x}" if is_own(folder / CSV) else str(folder)


def names_of_copies(folder: Path, facts: Mapping[str, Any] | None = None) -> list[str]:
    """What copies of a hold may be known by; the first is its own name.

    A PC that watched and one that collected took the time of its start from two clocks. So the start counts by its
    span of `BEGAN_S` and those beside it; of records from before, to the second.

    Parameters
    ----------
    folder, facts
        As in `identity`.
    """
    facts = read_facts(folder) if facts is None else facts
    exact, board = identity(folder, facts), facts.get("board")
    began = facts.get("started")
    if facts.get("VIRTUAL") or not began or not isinstance(board, dict):
        return [exact]
    try:
        span = int(datetime.fromisoformat(began).timestamp() // BEGAN_S)
    except (TypeError, ValueError, OverflowError, OSError):
        return [exact]
    return [*(json.dumps([board.get("board"), facts.get("hold"), span + beside]) for beside in (0, -1, 1)), exact]


def short(text: str) -> str:
    """An identity as the name of a file: nobody can read anything in it, and two holds never share one."""
    return hashlib.sha256(text.encode(errors="replace")).hexdigest()[:16]


def rows_file(folder: Path) -> bytes | None:
    """The bytes of a hold's CSV; None where it cannot be read."""
    try:
        return read_bytes(folder / CSV, limit=LOG_BYTES)
    except FileError:
        return None
