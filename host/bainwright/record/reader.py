"""The log of a hold, read back: its columns, and what is done about one that was cut short."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.core.errors import FileError
from bainwright.core.home import holds_folder
from bainwright.core.os_errors import reason

# A column: its name, its unit in the name, and the type DuckDB keeps it in. Board time only: wall time is in hold.json.
COLUMNS = {
    "t_s": "DOUBLE",
    "state": "VARCHAR",
    "stage": "VARCHAR",
    "water_c": "DOUBLE",
    "bowl_c": "DOUBLE",
    "bowl_estimated": "DOUBLE",
    "target_c": "DOUBLE",
    "water_target_c": "DOUBLE",
    "duty": "DOUBLE",
    "on_ms": "DOUBLE",
    "fault": "DOUBLE",
    "warn": "DOUBLE",
    "ask": "VARCHAR",
}
HEADER = ",".join(COLUMNS)
TEXTS = tuple(name for name, kind in COLUMNS.items() if kind == "VARCHAR")
CSV, PARQUET, EVENTS, FACTS = "hold.csv", "hold.parquet", "events.jsonl", "hold.json"
PARQUET_MAGIC = b"PAR1"  # the first four bytes of every file of that format


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


def folder_of(named: str) -> Path:
    """The folder of a hold, named by itself, by a file in it, or by its name in the home of records.

    Raises
    ------
    FileError
        When there is nothing of that name.
    """
    path = Path(named)
    if not path.exists() and path.name == named and (holds_folder() / named).exists():
        path = holds_folder() / named
    if not path.exists():
        raise FileError(f"there is no hold at {path}", wanted="the folder of an evening",
                        hint="bain holds lists them")
    return path if path.is_dir() else path.parent


def read_log(path: Path | str) -> HoldLog:
    """Read the log of a hold from its folder, its CSV or its Parquet file.

    Parameters
    ----------
    path : Path or str
        The folder, or one of the two files in it.

    Returns
    -------
    HoldLog
        Columns as in `COLUMNS`; an unterminated last CSV line is left out, with a note.

    Raises
    ------
    FileError
        If it is missing, empty, cut short within, or no log of a hold.
    """
    path = Path(path)
    if path.is_dir():
        path = path / CSV
    if not path.is_file():
        raise FileError(f"there is no log {path}", hint="name a hold's folder or the hold.csv in it")
    try:
        data = path.read_bytes()
    except OSError as failed:
        raise FileError(f"{path} cannot be read", got=reason(failed)) from failed
    log = HoldLog(_read_parquet(path)) if data[:4] == PARQUET_MAGIC else HoldLog(*_read_csv(path, data))
    log.facts = _facts(path.parent / FACTS)
    log.events = _events(path.parent / EVENTS, log.notes)
    return log


def _read_csv(path: Path, data: bytes) -> tuple[dict[str, NDArray[Any]], list[str]]:
    if not data:
        raise FileError(f"{path} is empty")
    head, *lines = _text(path, data.replace(b"\r\n", b"\n")).split("\n")  # an editor or a spreadsheet may have saved it
    if head != HEADER:
        raise FileError(f"{path} is no log of a hold: its first line is not the log's", got=repr(head[:40]))
    notes: list[str] = []
    if lines and lines.pop():
        notes.append(f"{path.name}: the last line was cut short and is left out")
    if not lines:
        raise FileError(f"{path} has no rows: the hold ended before its first second")
    rows = [_fields(path, number, line) for number, line in enumerate(lines, 2)]
    return {name: np.array(values) for name, values in zip(COLUMNS, zip(*rows, strict=True), strict=True)}, notes


def _text(path: Path, data: bytes) -> str:
    try:
        return data.decode("ascii")
    except UnicodeDecodeError:
        raise FileError(f"{path} is no log of a hold: it is not plain text") from None


def _fields(path: Path, number: int, line: str) -> list[float | str]:
    parts = line.split(",")
    try:
        if len(parts) != len(COLUMNS):
            raise ValueError
        return [
            part if kind == "VARCHAR" else _number(part) for part, kind in zip(parts, COLUMNS.values(), strict=True)
        ]
    except ValueError:
        raise FileError(f"{path}, line {number}: not a row of a hold's log", got=repr(line[:40])) from None


def _number(part: str) -> float:
    if not part:
        return float("nan")
    if part[-1] not in "0123456789":  # nan and inf are no readings
        raise ValueError
    return float(part)


def _read_parquet(path: Path) -> dict[str, NDArray[Any]]:
    import duckdb

    try:
        with duckdb.connect() as database:
            found = database.execute("SELECT * FROM read_parquet(?)", [str(path)]).fetchnumpy()
    except duckdb.Error as failed:
        raise FileError(f"{path} cannot be read as Parquet", got=str(failed).splitlines()[0]) from failed
    if list(found) != list(COLUMNS):
        raise FileError(f"{path} is no log of a hold: its columns are others")
    return {name: _plain(name, column) for name, column in found.items()}


def _plain(name: str, column: Any) -> NDArray[Any]:
    """DuckDB masks what is null: to NaN, or to an empty text."""
    if name in TEXTS:
        return np.array([str(value) for value in np.ma.filled(column, "")])
    return np.asarray(np.ma.filled(column, np.nan), dtype=float)


def _facts(path: Path) -> dict[str, Any]:
    """What is known of the hold; a log that lost its facts can still be read."""
    try:
        facts = json.loads(path.read_text())
    except (OSError, ValueError):
        return {}
    return facts if isinstance(facts, dict) else {}


def _events(path: Path, notes: list[str]) -> list[dict[str, Any]]:
    """The events beside the log; a last one that was cut short is left out, with a note."""
    if not path.is_file():
        return []
    *lines, rest = path.read_text().split("\n")
    if rest:
        notes.append(f"{path.name}: the last event was cut short and is left out")
    try:
        return [json.loads(line) for line in lines]
    except ValueError as failed:
        raise FileError(f"{path} is not a hold's events", got=str(failed)) from failed
