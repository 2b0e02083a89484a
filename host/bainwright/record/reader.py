"""Reads the log of a hold: its columns, its events and its facts. Damage loses only the row it is in."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
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
from bainwright.record.log_rows import glob_escaped, read_csv, read_parquet
from bainwright.record.names import CSV, EVENTS, FACTS, PARQUET

PARQUET_MAGIC = b"PAR1"  # the first four bytes of every file of that format
FACTS_BYTES = 1_000_000  # chosen: the facts of a real hold have 4 KB
EVENT_BYTES = 4096  # chosen: ten times the longest event
EVENTS_MOST = 50_000  # chosen: one in 3.5 s of 48 h; an evening has some hundred
SEALED_AS = "bain"  # the facts' key in the metadata of the Parquet file
SILENT_S = 30.0  # chosen: three rows of a board's own log; the sealed one is read, too, to see whether it has more

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
    return _folder_log(path) if path.is_dir() else _file_log(path)


def _file_log(path: Path) -> HoldLog:
    """The log of one file, with the facts and events beside it."""
    if not path.exists():
        raise FileError(f"there is no log {path}", hint="name a hold's folder or the hold.csv in it")
    data, more = read_start(path, "the log", LOG_BYTES)
    is_sealed = data[:4] == PARQUET_MAGIC
    log = HoldLog(*read_parquet(path)) if is_sealed else HoldLog(*read_csv(path, data))
    if more and not is_sealed:
        log.notes.insert(0, f"{path.name}: what comes after its first {LOG_BYTES >> 20} MB is left out")
    log.facts = read_facts(path.parent, log.notes)
    log.events = read_events(path.parent, log.notes)
    return log


def _folder_log(folder: Path) -> HoldLog:
    """The log in a folder: its CSV, or the sealed one where that has more whole rows."""
    if not os.path.isfile(folder / PARQUET):
        return _file_log(folder / CSV)
    written, why = _tried(folder / CSV)
    if written is not None and not _lacks_rows(written):
        return written
    sealed, why_not = _tried(folder / PARQUET)
    is_there = os.path.isfile(folder / CSV) and (folder / CSV).stat().st_size > 0
    if written is not None and (sealed is None or len(sealed) <= len(written)):
        return written
    if sealed is None:
        failed = why if is_there else why_not
        assert failed is not None
        raise failed
    sealed.notes.insert(0, f"{CSV} is {'damaged' if is_there else 'gone or empty'}; the rows are those of {PARQUET}")
    return sealed


def _tried(path: Path) -> tuple[HoldLog | None, FileError | None]:
    try:
        return _file_log(path), None
    except FileError as failed:
        return None, failed


def _lacks_rows(log: HoldLog) -> bool:
    """May rows be lost? Some were damaged, or none came for a while: where the board was gone, too."""
    end_s = log.facts.get("duration_s")
    ends_s = [float(log["t_s"][-1]) if end_s is None else float(end_s)]
    longest_s = float(np.diff(np.concatenate(([0.0], log["t_s"], ends_s))).max())
    return end_s is None or bool(log.notes) or longest_s > SILENT_S


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


def read_events(folder: Path, notes: list[str]) -> list[dict[str, Any]]:
    """The events beside the log; those that are damaged or cut short are left out, with a note."""
    path = folder / EVENTS
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
