"""Reads the log of a hold: its columns, its events and its facts. Damage loses only the row it is in."""

from __future__ import annotations

import csv
import io
import math
import os
from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from bainboard import settings
from bainwright.core.bounds import LONGEST_S, DurationS, RoomC, RowS
from bainwright.core.errors import FileError
from bainwright.core.read_file import LOG_BYTES, parse_json, read_bytes, read_json, read_start
from bainwright.core.terminal import visible_values
from bainwright.core.units import is_moment
from bainwright.link.answers import event_of
from bainwright.record.clean_rows import clean_columns
from bainwright.record.columns import BOUNDS, HEADER, MAY_BE_EMPTY, NAMES, TEXTS
from bainwright.record.names import CSV, EVENTS, FACTS, PARQUET

PARQUET_MAGIC = b"PAR1"  # the first four bytes of every file of that format
FACTS_BYTES = 1_000_000  # chosen: the facts of a real hold have 4 KB
ROWS_MOST = 200_000  # chosen: 55 h of a row a second, where no hold lasts over 48
TEXT_MOST = 256  # characters; a line of the wire is no longer
PARQUET_MEMORY = "150MB"  # chosen: a log of 48 h takes a tenth
EVENT_BYTES = 4096  # chosen: ten times the longest event
EVENTS_MOST = 50_000  # chosen: one in 3.5 s of 48 h; an evening has some hundred
SEALED_AS = "bain"  # the facts' key in the metadata of the Parquet file
NAMED_ROWS = 5  # chosen: up to this many line numbers of damaged rows are reported

# Facts that other modules compute with. One of a wrong type is left out.
_FACT_TYPES: dict[str, Any] = {
    "VIRTUAL": bool, "started": str | None, "ended": str | None, "stage": str, "for_s": DurationS | None,
    "room_c": RoomC | None, "duration_s": DurationS, "row_s": RowS, "wall_s": DurationS, "profile": dict[str, Any],
    "rig": dict[str, Any], "gains": dict[str, Any], "board": dict[str, Any], "boot": int | None, "hold": int | None,
    "log": str, "through": int, "gaps": list[int], "trips": list[dict[str, Any]],
}  # fmt: skip


@dataclass
class HoldLog:
    """A log read back: a column is an array of floats (NaN: unknown) or of texts; `notes` says what was left out."""

    columns: dict[str, NDArray[Any]]
    notes: list[str] = field(default_factory=list)
    facts: dict[str, Any] = field(default_factory=dict)
    events: list[dict[str, Any]] = field(default_factory=list)

    def __getitem__(self, name: str) -> NDArray[Any]:
        return self.columns[name]

    def __len__(self) -> int:
        return len(self.columns["t_s"])

    @property
    def bath(self) -> str:
        """What the bowl sat in or on: "plate" where the facts say so, else "water"."""
        return "plate" if self.facts.get("bath") == "plate" else "water"


def read_log(path: Path | str) -> HoldLog:
    """Read the log of a hold from its folder, its CSV or its Parquet file.

    Parameters
    ----------
    path : Path or str
        The folder, or one of the two files in it.

    Returns
    -------
    HoldLog
        Columns as in `bainwright.record.columns`. Rows that are damaged or cut short are left out, with a note.

    Raises
    ------
    FileError
        If it is missing, is not the log of a hold, or has no whole row.
    """
    path = Path(path)
    notes: list[str] = []
    if path.is_dir():
        path = _log_in(path, notes)
    if not path.exists():
        raise FileError(f"there is no log {path}", hint="name a hold's folder or the hold.csv in it")
    data, more = read_start(path, "the log", LOG_BYTES)
    is_sealed = data[:4] == PARQUET_MAGIC
    log = HoldLog(*_read_parquet(path)) if is_sealed else HoldLog(*_read_csv(path, data))
    if more and not is_sealed:
        notes.append(f"{path.name}: what comes after its first {LOG_BYTES >> 20} MB is left out")
    log.notes = notes + log.notes
    log.facts = read_facts(path.parent, log.notes)
    log.events = _events(path.parent / EVENTS, log.notes)
    return log


def _log_in(folder: Path, notes: list[str]) -> Path:
    """The log in a folder: its CSV, or the sealed one where that is gone or empty."""
    written, sealed = folder / CSV, folder / PARQUET
    if not (os.path.isfile(written) and written.stat().st_size) and os.path.isfile(sealed):
        notes.append(f"{CSV} is gone or empty; the rows are those of {PARQUET}")
        return sealed
    return written


# -- rows --------------------------------------------------------------------------------------------------------------


def _read_csv(path: Path, data: bytes) -> tuple[dict[str, NDArray[Any]], list[str]]:
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

    If a row jumped ahead of the next one, the row that jumped is left out.
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
        if times and times[-1] > t_s:
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


def _read_parquet(path: Path) -> tuple[dict[str, NDArray[Any]], list[str]]:
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


# -- facts and events --------------------------------------------------------------------------------------------------


def read_facts(folder: Path, notes: list[str] | None = None) -> dict[str, Any]:
    """The facts of a hold; without its hold.json the copy in its Parquet file, and empty where that is lost too.

    Parameters
    ----------
    folder : Path
        The hold's folder.
    notes : list of str, optional
        Takes what is wrong with them, in words.
    """
    notes = [] if notes is None else notes
    facts = _written_facts(folder / FACTS, notes)
    if facts is None:
        facts = _sealed_facts(folder / PARQUET)
        notes += [f"{FACTS} is gone or damaged; the facts are those of {PARQUET}"] if facts else []
    wrong = [name for name in _FACT_TYPES if name in facts and not _fits(name, facts[name])]
    if wrong:
        notes.append(f"{FACTS}: left out, because damaged: {', '.join(wrong)}")
    return {name: value for name, value in facts.items() if name not in wrong}


def _written_facts(path: Path, notes: list[str]) -> dict[str, Any] | None:
    """The facts of hold.json; None without them. A log that lost them can still be read."""
    if not os.path.lexists(path):
        return None
    try:
        facts = read_json(path, limit=FACTS_BYTES)
    except FileError as failed:
        notes.append(str(failed))
        return None
    if isinstance(facts, dict):
        return facts
    notes.append(f"{path.name} is not the facts of a hold")
    return None


def _sealed_facts(path: Path) -> dict[str, Any]:
    """The facts that `bainwright.record.writer.seal` put beside the rows; empty if there are none."""
    if not os.path.isfile(path):
        return {}
    import duckdb

    try:
        with duckdb.connect() as database:
            found = database.execute("SELECT value FROM parquet_kv_metadata(?) WHERE decode(key) = ?",
                                     [glob_escaped(path), SEALED_AS]).fetchone()  # fmt: skip
        facts = parse_json(found[0]) if found and len(found[0]) <= FACTS_BYTES else {}
    except (duckdb.Error, RuntimeError, ValueError, RecursionError):
        return {}
    return facts if isinstance(facts, dict) else {}


def _fits(name: str, value: Any) -> bool:
    try:
        converted = msgspec.convert(value, _FACT_TYPES[name])
    except (msgspec.ValidationError, UnicodeEncodeError):  # half a character
        return False
    if name == "started" and converted is not None:
        return is_moment(converted)
    if isinstance(converted, float) and not 0.0 <= abs(converted) <= LONGEST_S:
        return False
    if name == "profile":
        return _checks(settings.PROFILE, settings.check_profile, value)
    return name != "rig" or _checks(settings.SETTINGS, lambda known: settings.check(settings.SETTINGS, known), value)


def _checks(table: Any, check: Any, values: dict[str, Any]) -> bool:
    """Does the board's own table accept these figures? Unknown names of another version are accepted."""
    names = {str(row[settings.NAME]) for row in table}
    known = {name: value for name, value in values.items() if name in names}
    return not known or check(known)[0] is not None


def _events(path: Path, notes: list[str]) -> list[dict[str, Any]]:
    """The events beside the log; those that are damaged or cut short are left out, with a note."""
    if not path.exists():
        return []
    try:
        lines = io.BytesIO(read_bytes(path))
    except FileError as failed:
        notes.append(str(failed))
        return []
    first = list(islice(lines, EVENTS_MOST))
    if lines.read(1):
        notes.append(f"{path.name}: the events after the first {EVENTS_MOST} are left out")
    elif first and not first[-1].endswith(b"\n"):
        notes.append(f"{path.name}: the last event was cut short and is left out")
        first.pop()
    events = list(_whole_events(first))
    if len(events) < len(first):
        notes.append(f"{path.name}: {len(first) - len(events)} damaged events are left out")
    return events


def _whole_events(lines: list[bytes]) -> Iterator[dict[str, Any]]:
    for line in lines:
        try:
            found = parse_json(line.decode()) if len(line) <= EVENT_BYTES else None
        except (ValueError, RecursionError):
            continue
        event = event_of(found) if isinstance(found, dict) else None
        if event is None:
            continue
        t_s = event.get("t_s")
        if isinstance(t_s, (int, float)) and not isinstance(t_s, bool) and 0.0 <= t_s <= LONGEST_S:
            yield visible_values(event)
