"""An archive of many holds as Parquet files: made, added to, and kept like the holds that it copies."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np

from bainwright.archive import schema
from bainwright.archive.copies import known_holds, other_copy, start_of
from bainwright.archive.identity import identity, short
from bainwright.archive.listing import Entry, entry_of_log
from bainwright.core.atomic_write import replace_file, save_file, saved_from
from bainwright.core.errors import BainError, FileError
from bainwright.core.file_names import LONGEST, file_name
from bainwright.core.home import home
from bainwright.core.os_errors import file_error, quoted_error
from bainwright.core.read_file import read_struct
from bainwright.files.score import step_lengths_s
from bainwright.record.columns import TEXTS
from bainwright.record.log_rows import sql_text
from bainwright.record.names import CSV, EVENTS, FACTS, PARQUET, TESTS
from bainwright.record.reader import HoldLog, read_log

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

MARK = "bainwright.json"  # says that a folder is such an archive, and of which tables
COPIED = "copied.json"  # in the home's own archive: which hold each file copies, and what it was like then
ELSEWHERE = "bain export FOLDER/ makes an archive in another place, and --archive FOLDER asks it"
OWN = ("move it to another place, where --archive FOLDER asks it; or delete it, if its holds are elsewhere, too. This "
       "then makes its own again")
READ = 3  # rises with what is read of a hold, so that each copy is made again
REPORTED = ("below_s", "inside_s", "above_s", "unknown_s", "exposure_k_min", "bowl_low_c", "bowl_peak_c",
            "water_peak_c")  # fmt: skip


class Mark(msgspec.Struct):
    """What the mark of an archive says."""

    schema: int


class Copied(msgspec.Struct):
    """A hold as it was when it was copied: its files' times and sizes, where its copy is, its rows, or why it has none.
    """

    state: list[int]
    file: str = ""
    rows: int = 0
    why: str = ""


class _Copies(msgspec.Struct):
    holds: dict[str, Copied]


def own() -> Path:
    """The archive of this user's holds. It is only a copy, so it may be deleted at any time."""
    return home() / "archive"


def check(folder: Path) -> None:
    """Refuse what is no archive that this version reads.

    Raises
    ------
    FileError
        If it is another folder, none, or of another version.
    """
    if not (folder / MARK).is_file():
        raise FileError(f"{folder} is not an archive of holds", hint=f"bain export {folder}/ makes one")
    mark = read_struct(folder / MARK, Mark, "the mark of an archive")
    if mark.schema != schema.VERSION:
        later = mark.schema > schema.VERSION
        raise FileError(f"{folder} was written by {'a later' if later else 'an earlier'} version of bainwright",
                        got=f"tables of version {mark.schema}", wanted=f"{schema.VERSION}",
                        hint="update bainwright on this PC" if later else "export the holds to a new folder")


def begin(folder: Path) -> None:
    """Make a folder an archive; one that is there already must be empty, or an archive.

    Raises
    ------
    FileError
        If it is neither, or cannot be written.
    """
    try:
        if folder.is_dir() and not (folder / MARK).exists() and any(folder.iterdir()):
            raise FileError(f"{folder} has other files in it", wanted="a new or empty folder, or an archive of holds")
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as failed:
        raise file_error(f"the archive {folder} cannot be made", failed, ELSEWHERE) from failed
    if (folder / MARK).exists():
        check(folder)
        return
    save_file(folder / MARK, msgspec.json.encode(Mark(schema.VERSION)), what="the archive's mark",
              hint=ELSEWHERE, follow=False)


def add(archive: Path, folders: Sequence[Path], done: Callable[[float], None]) -> int:
    """Put holds into an archive that others may share; returns how many were new or had more rows than its copy.

    Parameters
    ----------
    archive : Path
        Its folder.
    folders : sequence of Path
        The holds' folders.
    done : callable
        Takes how many are done.

    Raises
    ------
    FileError
        When a hold cannot be read, or the archive not written; when it is the home's own, which follows the list.
    """
    if os.path.realpath(archive) == os.path.realpath(own()):  # a link to itself is refused below
        raise FileError(f"{archive} is the copy that bain holds keeps of your holds: what leaves them leaves it",
                        hint="export to another folder")
    begin(archive)
    there = {path.stem: str(path.relative_to(archive / "holds")) for path in archive.glob("holds/*/*/*.parquet")}
    added = 0
    with _database(archive) as database:
        known = known_holds(database, archive, there)
        for number, folder in enumerate(folders):
            log = read_log(folder)
            name, entry = short(identity(folder, log.facts)), entry_of_log(folder.absolute(), log)
            before = there.get(name) or other_copy(database, archive, start_of(entry), log, known)
            if before is None or _rows_of(database, archive / "holds" / before) < len(log):
                file = before or place(entry, name)
                write(database, archive, file, entry, log)
                there[name] = file
                known.append((start_of(entry), file))
                added += 1
            done(number + 1)
    return added


def _rows_of(database: DuckDBPyConnection, path: Path) -> int:
    from bainwright.record.log_rows import glob_escaped

    found = database.execute("SELECT max(rows) FROM read_parquet(?)", [glob_escaped(path)]).fetchone()
    return int(found[0]) if found and found[0] is not None else 0


def renew(entries: Sequence[Entry], notes: list[str], done: Callable[[float], None]) -> Path:
    """Make the home's own archive like the list of holds; returns its folder.

    Parameters
    ----------
    entries : sequence of Entry
        The list.
    notes : list of str
        Takes which holds are left out, and why.
    done : callable
        Takes how many are done.

    Raises
    ------
    FileError
        When it cannot be written.
    """
    archive = own()
    _refuse_links(archive)
    _drop_older(archive)
    begin(archive)
    before, now = _copied(archive), dict[str, Copied]()
    numbered: dict[tuple[str, int | None], list[Entry]] = {}
    for entry in entries:
        numbered.setdefault((entry.board, entry.hold), []).append(entry)
    with _database(archive) as database:
        for number, entry in enumerate(entries):
            state, known = _state(entry), before.get(entry.folder)
            if known is None or known.state != state:
                known = _copy(database, archive, entry, state, {**before, **now}, numbered[entry.board, entry.hold])
            now[entry.folder] = known
            notes += [f"left out {entry.name}: {known.why}"] if known.why else []
            done(number + 1)
        kept, gone = ({known.file for known in copied.values()} for copied in (now, before))
        _refuse_strangers(archive, kept | gone)
        for file, path in _files(archive):
            if file in gone - kept:
                path.unlink(missing_ok=True)
        if now != before:
            replace_file(archive / COPIED, msgspec.json.encode(_Copies(now)), follow=False)
    return archive


def _refuse_links(archive: Path) -> None:
    """What is deleted at home is deleted in its own archive: in one that others share it must not be."""
    for path in (archive, *(archive / table for table in schema.TABLES)):
        if path.is_symlink():
            raise FileError(f"{path} is a link, perhaps to an archive that others share", hint=OWN)


def _refuse_strangers(archive: Path, own_files: set[str]) -> None:
    for file, path in _files(archive):
        if file not in own_files:
            raise FileError(f"{path} is of no hold that is here", hint=OWN)


def _files(archive: Path) -> list[tuple[str, Path]]:
    return [(str(path.relative_to(archive / table)), path)
            for table in schema.TABLES for path in archive.glob(f"{table}/*/*/*.parquet")]


def _copy(database: DuckDBPyConnection, archive: Path, entry: Entry, state: list[int],
          others: dict[str, Copied], numbered: Sequence[Entry]) -> Copied:
    """Copy one hold, unless another copy of it has as many rows; `numbered`: the holds of its board and number."""
    folder = Path(entry.folder)
    try:
        log = read_log(folder)
    except BainError as failed:
        return Copied(state, why=failed.words())
    known = [(start_of(each), others[each.folder].file) for each in numbered
             if each.folder != entry.folder and each.folder in others and others[each.folder].file]
    file = (other_copy(database, archive, start_of(entry), log, known)
            or place(entry, short(identity(folder, log.facts))))
    same = [other for at, other in others.items() if other.file == file and at != entry.folder]
    if all(other.rows < len(log) for other in same):
        write(database, archive, file, entry, log)
    return Copied(state, file, len(log))


def _drop_older(archive: Path) -> None:
    """The home's own archive is a copy: one of other tables is made again."""
    try:
        check(archive)
    except FileError:
        if not (archive / COPIED).exists():  # it is not this program's own, or there is none
            return
        with suppress(OSError):  # then `begin` says what is in its way
            for table in schema.TABLES:
                shutil.rmtree(archive / table, ignore_errors=True)
            for name in (COPIED, MARK):
                (archive / name).unlink(missing_ok=True)


def _copied(archive: Path) -> dict[str, Copied]:
    try:
        return read_struct(archive / COPIED, _Copies, "the list of copies", limit=64 << 20).holds
    except FileError:
        return {}


def _state(entry: Entry) -> list[int]:
    """Times and sizes of the files that a copy is made from; where nothing sums up the events, of those too."""
    state = [READ]
    for name in (CSV, PARQUET, FACTS, TESTS, *(() if entry.ended else (EVENTS,))):
        try:
            found = os.stat(f"{entry.folder}/{name}")
            state += [found.st_mtime_ns, found.st_size]
        except OSError:
            state += [0, 0]
    return state


@contextmanager
def _database(archive: Path) -> Iterator[DuckDBPyConnection]:
    import duckdb

    try:
        with duckdb.connect() as database:
            database.execute("SET threads TO 1")  # each more holds groups of rows of its own in memory
            yield database
    except OSError as failed:
        raise file_error(f"the archive {archive} cannot be written", failed, ELSEWHERE) from failed
    except duckdb.Error as failed:
        raise quoted_error(f"the archive {archive} cannot be written", failed, ELSEWHERE) from failed


# -- one hold ----------------------------------------------------------------------------------------------------------


def place(entry: Entry, name: str) -> str:
    """Where the two files of a hold are under their tables, by its warmer and month."""
    started = _started(entry)
    month = schema.UNKNOWN_MONTH if started is None else f"{started:%Y-%m}"
    # Two boards of one name are two warmers, and no reader takes a name with a letter for a number.
    board = file_name(entry.board or "no-board")
    warmer = f"{file_name(entry.warmer or 'unnamed')[: max(1, LONGEST - 1 - len(board))]}-{board}"
    return f"warmer={warmer}/month={month}/{name}.parquet"


def _started(entry: Entry) -> datetime | None:
    """In UTC, without the zone: that is how most readers of Parquet show a moment as it is written."""
    return None if entry.started_s is None else datetime.fromtimestamp(entry.started_s, UTC).replace(tzinfo=None)


def write(database: DuckDBPyConnection, archive: Path, file: str, entry: Entry, log: HoldLog) -> None:
    """Write the two files of a hold, its line last: without it the rows do not count."""
    name = Path(file).stem
    rows = _rows(name, entry, log)
    fields = ", ".join(
        f'CAST("{each}" AS {kind}) AS "{each}"' if kind != schema.NUMBER else f"nullif(\"{each}\", 'nan') AS \"{each}\""
        for each, kind in schema.ROWS.items())
    _write(database, archive / "rows" / file, f"SELECT {fields} FROM given", rows)
    line = _line(name, entry, log)
    values = ", ".join(f'CAST(cells[{at}] AS {kind}) AS "{each}"'
                       for at, (each, kind) in enumerate(schema.HOLDS.items(), 1))
    database.execute("CREATE OR REPLACE TEMP TABLE line AS SELECT ? AS cells", [_texts(line)])
    _write(database, archive / "holds" / file, f"SELECT {values} FROM line")
    database.execute("DROP TABLE line")


def _write(database: DuckDBPyConnection, path: Path, query: str, given: dict[str, Any] | None = None) -> None:
    """Write what a query gives; `given` is the name by which it reads the arrays."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with saved_from(path, what="the archive's file") as beside:
        database.execute(f"COPY ({query}) TO {sql_text(beside)} (FORMAT parquet, ROW_GROUP_SIZE 122880)")


def _texts(line: dict[str, Any]) -> list[str | None]:
    return [None if line[name] is None else str(line[name]) for name in schema.HOLDS]


def _rows(name: str, entry: Entry, log: HoldLog) -> dict[str, Any]:
    t_s = np.asarray(log["t_s"], dtype=float)
    row_s = row_length_s(log)
    started = _started(entry)
    begin = np.datetime64("NaT" if started is None else started, "ms")
    columns: dict[str, Any] = {
        each: log[each].astype(object) if each in TEXTS else log[each] for each in schema.ROWS if each in log.columns
    }
    return columns | {
        "hold_id": np.full(len(log), name, dtype=object),
        "at_utc": begin + np.round(1000.0 * t_s).astype("timedelta64[ms]"),
        "lasts_s": step_lengths_s(t_s, float(t_s[-1]) + row_s, row_s),
    }


def row_length_s(log: HoldLog) -> float:
    """The usual step between rows: as recorded, else their median."""
    stored = log.facts.get("row_s")
    if stored:
        return float(stored)
    return float(np.median(np.diff(log["t_s"]))) if len(log) > 1 else 1.0


def _line(name: str, entry: Entry, log: HoldLog) -> dict[str, Any]:
    facts = log.facts
    rig = _mapping(facts.get("rig"))
    peaks = {"bowl_peak_c": entry.bowl_peak_c, "water_peak_c": entry.water_peak_c}  # all there is without a report
    report = {**peaks, **_mapping(facts.get("report"))}
    scored = _mapping(report.get("dipping"))
    return {
        "hold_id": name, "hold": entry.name, "warmer_name": entry.warmer, "board": entry.board,
        "board_hold": entry.hold, "started_utc": _started(entry), "duration_s": entry.duration_s,
        "chocolate": entry.chocolate, "kind": entry.kind, "firmware": entry.firmware, "virtual": entry.virtual,
        "ended": entry.ended, "verdict": entry.verdict, "temper": entry.temper, "trips": entry.trips,
        **{each: _number(scored.get(each, report.get(each))) for each in REPORTED},
        "heater_w": _number(rig.get("heater_w")), "room_c": _number(facts.get("room_c", rig.get("room_c"))),
        "rows": len(log),
    }  # fmt: skip


def _mapping(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _number(value: Any) -> float | None:
    number = float(value) if isinstance(value, int | float) and not isinstance(value, bool) else float("nan")
    return number if np.isfinite(number) else None
