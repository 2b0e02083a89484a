"""The rows of holds as one table for other programs: CSV or Parquet, with the hold and the time of day in each row."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from bainwright.core.atomic_write import saved_from
from bainwright.core.errors import UseError
from bainwright.core.os_errors import file_error, quoted_error
from bainwright.record.columns import NAMES, TEXTS
from bainwright.record.log_rows import sql_text
from bainwright.record.reader import HoldLog, read_log

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

TABLES = {".csv": "(HEADER, DELIMITER ',')", ".parquet": "(FORMAT parquet, ROW_GROUP_SIZE 20480)"}
FIRST = ("hold", "at_utc")  # before the log's own columns


def check_target(path: Path) -> None:
    """Refuse a file that could not be written as its name asks.

    Raises
    ------
    UseError
        When its name ends in none of the formats, or a file is there: it may have holds that are nowhere else.
    """
    if path.suffix.lower() not in (*TABLES, ".zip"):
        raise UseError(f"export to {path}", wanted="a name that ends in .csv, .parquet or .zip, or a folder",
                       hint="end a folder's name with /")
    if os.path.lexists(path):
        raise UseError(f"{path} already exists", hint="name another file, or delete that one first")


def write_table(folders: Sequence[Path], target: Path) -> int:
    """Write the rows of holds as one table.

    Parameters
    ----------
    folders : sequence of Path
        The holds' folders.
    target : Path
        Its name decides the format. Columns: ``hold``, the folder's name; ``at_utc``, ISO 8601, empty where the start
        is not known; then the log's, with their units in their names.

    Returns
    -------
    int
        How many rows.

    Raises
    ------
    FileError
        When a log cannot be read, or the disk does not take the file.
    """
    import duckdb

    count = 0
    with (tempfile.TemporaryDirectory() as scratch, duckdb.connect() as database,
          saved_from(target, what="the table") as beside):  # fmt: skip
        database.execute("SET threads TO 1")  # each more holds groups of rows of its own in memory
        parts = [Path(scratch) / f"{number}.parquet" for number in range(len(folders))]
        try:
            for folder, part in zip(folders, parts, strict=True):  # one hold at a time is in memory
                count += _write_part(database, folder, part)
            # In the order of the list.
            listed = ", ".join(map(sql_text, parts))
            how = TABLES[target.suffix.lower()]
            database.execute(f"COPY (SELECT * FROM read_parquet([{listed}])) TO {sql_text(beside)} {how}")
        except OSError as failed:
            raise file_error(f"{target} cannot be written", failed) from failed
        except duckdb.Error as failed:
            raise quoted_error(f"{target} cannot be written", failed) from failed
    return count


def _write_part(database: DuckDBPyConnection, folder: Path, part: Path) -> int:
    """Write the rows of one hold to a file of its own; returns how many."""
    rows = _columns(folder.absolute().name, read_log(folder))
    texts = (*FIRST, *TEXTS)
    fields = ", ".join(
        f'"{name}"' if name in texts else f"nullif(\"{name}\", 'nan'::DOUBLE) AS \"{name}\"" for name in rows)
    database.execute(f"COPY (SELECT {fields} FROM rows) TO {sql_text(part)} (FORMAT parquet)")
    return len(rows["t_s"])


def _columns(name: str, log: HoldLog) -> dict[str, Any]:
    started = log.facts.get("started")
    begin_s = datetime.fromisoformat(started).timestamp() if started else None
    at = ["" if begin_s is None else datetime.fromtimestamp(begin_s + t_s, UTC).isoformat(timespec="milliseconds")
          for t_s in log["t_s"]]
    columns = {each: log[each].astype(object) if each in TEXTS else log[each] for each in NAMES}
    return {"hold": np.full(len(log), name, dtype=object), "at_utc": np.array(at, dtype=object), **columns}
