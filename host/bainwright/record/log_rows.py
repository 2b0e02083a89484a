"""The rows of a hold from its CSV or its Parquet file, as columns. Damage loses only the row it is in."""

from __future__ import annotations

import csv
import io
import math
from array import array
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.core.errors import FileError
from bainwright.record.clean_rows import clean_columns
from bainwright.record.columns import BOUNDS, HEADER, MAY_BE_EMPTY, NAMES, TEXTS

ROWS_MOST = 200_000  # chosen: 55 h of a row a second, where no hold lasts over 48
TEXT_MOST = 256  # characters; a line of the wire is no longer
PARQUET_MEMORY = "150MB"  # chosen: a log of 48 h takes a tenth
NAMED_ROWS = 5  # chosen: up to this many line numbers of damaged rows are reported


def read_csv(path: Path, data: bytes) -> tuple[dict[str, NDArray[Any]], list[str]]:
    """The columns of a CSV with these bytes, and notes on what was left out.

    Raises
    ------
    FileError
        If it is not the log of a hold, or has no whole row.
    """
    if not data:
        raise FileError(f"{path} is empty")
    # An editor or a spreadsheet may have saved it, so other line endings and a byte order mark are read too.
    lines = io.BytesIO(data.removeprefix(b"\xef\xbb\xbf"))
    head = lines.readline().rstrip(b"\r\n").decode(errors="replace")
    if head != HEADER:
        raise _other_columns(path, head)
    if (clean := clean_columns(io.BytesIO(lines.getvalue()[lines.tell() :]), ROWS_MOST, TEXT_MOST)) is not None:
        return clean, []
    rows, notes = _Rows(), []
    for number, line in enumerate(lines, 2):
        if number > ROWS_MOST + 1:
            notes.append(f"{path.name}: the lines after the first {ROWS_MOST} are left out")
        elif line.endswith(b"\n"):
            rows.add(number, _row(line.rstrip(b"\r\n").decode(errors="replace")))
            continue
        else:
            notes.append(f"{path.name}: the last line was cut short and is left out")
        break
    return rows.columns(path, "line", notes)


def _other_columns(path: Path, head: str) -> FileError:
    more = head.removeprefix(HEADER + ",")
    if more == head:
        return FileError(f"{path} is not the log of a hold: its first line is not the log's", got=repr(head[:40]))
    return FileError(f"{path} was written by a later version of bainwright", got=f"the columns {more[:40]!r} besides",
                     hint="update bainwright on this PC")  # fmt: skip


class _Rows:
    """Whole rows in order of time, as columns: a log of two days is large as rows.

    If a row jumped ahead of the next one, the row that jumped is left out. Of two of one time the first counts.
    """

    def __init__(self) -> None:
        self._numbers = {name: array("d") for name in NAMES if name not in TEXTS}
        self._texts: dict[str, list[str]] = {name: [] for name in TEXTS}
        self._words: dict[str, str] = {}  # each once
        self._times = self._numbers["t_s"]
        self._whole = 0
        self._damaged: list[int] = []

    def add(self, number: int, row: list[float | str] | None) -> None:
        """The next row, None for a damaged one."""
        if row is None:
            self._damaged.append(number)
            return
        self._whole += 1
        times, t_s = self._times, float(row[0])
        while times and times[-1] > t_s and (len(times) < 2 or times[-2] <= t_s):
            for numbers in self._numbers.values():
                numbers.pop()
            for texts in self._texts.values():
                texts.pop()
        if times and times[-1] >= t_s:
            return
        for name, value in zip(NAMES, row, strict=True):
            if isinstance(value, str):
                self._texts[name].append(self._words.setdefault(value, value))
            else:
                self._numbers[name].append(value)

    def columns(self, path: Path, what: str, notes: list[str]) -> tuple[dict[str, NDArray[Any]], list[str]]:
        """The columns, with notes on the rows that are left out."""
        if self._damaged:
            notes.append(f"{path.name}: damaged rows are left out: {what} {_numbers(self._damaged)}")
        if len(self._times) < self._whole:
            left_out = self._whole - len(self._times)
            notes.append(f"{path.name}: {left_out} rows with an impossible time are left out")
        if not self._times:
            raise FileError(f"{path} has no rows" + (
                ": every one is damaged" if self._damaged else ": the hold ended before its first second"))
        found = {**self._numbers, **self._texts}
        return {name: np.array(found[name]) for name in NAMES}, notes


def _numbers(found: list[int]) -> str:
    shown = ", ".join(map(str, found[:NAMED_ROWS]))
    return f"{shown} and {len(found) - NAMED_ROWS} more" if len(found) > NAMED_ROWS else shown


def _row(line: str) -> list[float | str] | None:
    """The fields of a line; None for a damaged one. Each line is read alone: a stray quote must not swallow others."""
    try:
        parts = next(csv.reader([line]))
    except (csv.Error, StopIteration):
        return None
    if len(parts) != len(NAMES):
        return None
    values: list[float | str] = []
    for part, name in zip(parts, NAMES, strict=True):
        is_text = name in TEXTS
        value = part if is_text else _number(part, name)
        if value is None or (is_text and len(part) > TEXT_MOST):
            return None
        values.append(value)
    return values


def _number(part: str, name: str) -> float | None:
    """A field as a number; NaN if it is empty and may be, None if it is not possible."""
    if not part:
        return math.nan if name in MAY_BE_EMPTY else None
    if not part.isascii() or part[-1] not in "0123456789" or "_" in part:  # nan and inf are not readings
        return None
    try:
        value = float(part)
    except ValueError:
        return None
    return value if _can_be(name, value) else None


def _can_be(name: str, value: float) -> bool:
    """Is the value possible? NaN is not, except where a reading may be missing."""
    if math.isnan(value):
        return name in MAY_BE_EMPTY
    least, most = BOUNDS[name]
    return least <= value <= most


def glob_escaped(path: Path) -> str:
    """A path for DuckDB, which would read ``[``, ``*`` and ``?`` as a pattern, and a first ``~`` as somebody's home."""
    return str(path.absolute()).replace("[", "[[]").replace("*", "[*]").replace("?", "[?]")


def sql_text(value: Path | str) -> str:
    """A file's place or a text as an SQL literal: COPY takes no parameters."""
    text = str(value.absolute()) if isinstance(value, Path) else value
    return "'" + text.replace("'", "''") + "'"


def read_parquet(path: Path) -> tuple[dict[str, NDArray[Any]], list[str]]:
    """The columns of a sealed log, and notes on what was left out.

    Raises
    ------
    FileError
        If it is not the log of a hold, or has no whole row.
    """
    import duckdb

    try:
        with duckdb.connect(config={"memory_limit": PARQUET_MEMORY}) as database:
            table = database.read_parquet(glob_escaped(path))
            if table.columns != list(NAMES):
                raise FileError(f"{path} is not the log of a hold: its columns are others")
            found = table.limit(ROWS_MOST).project(_BOUNDED).fetchnumpy()
    except (duckdb.Error, RuntimeError, ValueError) as failed:
        raise FileError(f"{path} cannot be read as Parquet", got=str(failed).splitlines()[0]) from failed
    try:
        columns = [_plain(name, column) for name, column in found.items()]
    except (TypeError, ValueError) as failed:
        raise FileError(f"{path} is not the log of a hold", got=str(failed)) from failed
    rows, notes = _Rows(), []
    if len(columns[0]) == ROWS_MOST:
        notes.append(f"{path.name}: no more than its first {ROWS_MOST} rows are read")
    for number, row in enumerate(zip(*columns, strict=True), 1):
        rows.add(number, list(row) if _whole(row) else None)
    return rows.columns(path, "row", notes)


# Texts are cut in the query: a file of some KB can hold a long one a million times.
_BOUNDED = ", ".join(
    f'left("{name}"::VARCHAR, {TEXT_MOST}) AS "{name}"' if name in TEXTS else f'"{name}"' for name in NAMES)


def _whole(row: Iterable[float | str]) -> bool:
    return all(isinstance(value, str) or _can_be(name, value) for name, value in zip(NAMES, row, strict=True))


def _plain(name: str, column: Any) -> list[Any]:
    """The values of a column; DuckDB masks nulls, which become NaN or an empty text."""
    if name in TEXTS:
        return [str(value) for value in np.ma.filled(column, "")]
    return [float(value) for value in np.ma.filled(column, np.nan)]
