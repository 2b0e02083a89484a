"""Writes the record of a hold while it runs: a CSV row a second, events and facts beside it, Parquet at the end."""

from __future__ import annotations

import contextlib
import json
import os
from pathlib import Path
from typing import Any, BinaryIO

from bainwright.core.atomic_write import replace_file
from bainwright.core.errors import BainError, FileError, UseError
from bainwright.core.file_names import file_name
from bainwright.core.home import holds_folder, is_text, remember
from bainwright.core.os_errors import reason
from bainwright.link.messages import Status
from bainwright.record.columns import HEADER, NAMES, TEXTS, row
from bainwright.record.reader import CSV, EVENTS, FACTS, PARQUET, SEALED_AS, read_facts, read_log


def make_folder(asked: Path | None, name: str) -> Path:
    """A folder without a log yet: the one asked for, else ``NAME-1``, ``-2`` and so on among the stored holds.

    Raises
    ------
    UseError
        If the folder asked for has a log in it, has a name that is no text, or cannot be made.
    """
    if asked is None:
        return next_folder(holds_folder(), name)
    if (asked / CSV).exists():
        raise UseError(f"--out {asked} already holds a log", hint="name another folder; a log is never written over")
    if not is_text(str(asked)):
        raise UseError("--out is no text", got=ascii(str(asked)), wanted="a name in UTF-8", hint="name another folder")
    try:
        asked.mkdir(parents=True, exist_ok=True)
    except OSError as failed:
        raise UseError(f"--out {asked} cannot be made", got=reason(failed), hint="name another folder") from failed
    remember(asked)
    return asked


def next_folder(parent: Path, name: str) -> Path:
    """A new folder ``PARENT/NAME-1``, ``-2`` and so on."""
    name, number = file_name(name), 1
    while True:
        folder = parent / f"{name}-{number}"
        try:
            folder.mkdir(parents=True)
            return folder
        except FileExistsError:
            number += 1
        except OSError as failed:
            raise UseError(
                f"{folder} cannot be made", got=reason(failed), hint="name another folder with --out"
            ) from failed


class LiveLog:
    """A log being written. A full disk ends the writing, reported once in `trouble`, but never the hold.

    Parameters
    ----------
    folder : Path
        The folder for the files.
    facts : dict
        The facts known at the start; written at once, and again, complete, by `close`.

    Attributes
    ----------
    trouble : str or None
        Why writing ended.
    refusal : str
        The system's own words for it.
    """

    def __init__(self, folder: Path, facts: dict[str, Any]) -> None:
        self.folder = folder
        self.facts = facts
        self.trouble: str | None = None
        self.refusal = ""
        self._moved: list[str] = []
        self._pending: dict[str, list[str]] = {CSV: [HEADER + "\n"], EVENTS: []}
        self._files = self._open()
        self.flush()
        self._save_facts()

    def _open(self) -> dict[str, BinaryIO]:
        """Unbuffered: a row is in the file once `flush` returns, and a failed write leaves nothing to fail again."""
        return {name: open(self.folder / name, "a+b", buffering=0) for name in self._pending}  # closed by `close`

    @property
    def path(self) -> Path:
        """The log's CSV."""
        return self.folder / CSV

    def status(self, t_ms: int, status: Status) -> None:
        """Add a row; it is in the file after the next `flush`."""
        self._pending[CSV].append(row(t_ms, status))

    def event(self, t_ms: int, name: str, fields: dict[str, Any]) -> None:
        """Add an event."""
        own = {key: value for key, value in fields.items() if key not in ("t_s", "event")}
        self._pending[EVENTS].append(json.dumps({"t_s": t_ms / 1000, "event": name, **own}) + "\n")

    def flush(self) -> None:
        """Write everything pending to the files."""
        if self.trouble is None and self._deleted():
            self._move()
        for name, lines in self._pending.items():
            if lines and self.trouble is None:
                try:
                    _write_all(self._files[name], "".join(lines).encode())
                except OSError as failed:
                    self._give_up(name, failed)
            lines.clear()

    def moved(self) -> list[str]:
        """Notes for the person on where the log moved; each is given once."""
        said, self._moved = self._moved, []
        return said

    def _deleted(self) -> bool:
        """Has a file being written been deleted or replaced?"""
        for name, file in self._files.items():
            try:
                if not os.path.samestat(os.stat(self.folder / name), os.fstat(file.fileno())):
                    return True
            except OSError:
                return True
        return False

    def _move(self) -> None:
        """Continue in a new folder. Deleted files stay readable while they are open, so no row is lost."""
        before, files = self.folder, self._files
        profile = self.facts.get("profile")
        try:
            self.folder = next_folder(holds_folder(), str(profile["name"]) if isinstance(profile, dict) else "hold")
            self._files = self._open()
            for name, file in files.items():
                file.seek(0)
                _write_all(self._files[name], file.read())
        except (OSError, BainError) as failed:
            self._give_up(CSV, failed)
        else:
            self._moved.append(f"{before} was deleted; the log continues in {self.folder}, every row in it")
            self._save_facts()
        for file in files.values():
            file.close()

    def _give_up(self, name: str, failed: OSError | BainError) -> None:
        for cut_short in (CSV, EVENTS):
            _drop_torn_line(self.folder / cut_short)
        self.refusal = reason(failed) if isinstance(failed, OSError) else str(failed)
        self.trouble = f"{self.folder / name} is no longer written: {self.refusal}; the hold continues without a log"

    def _save_facts(self) -> None:
        """Replace the facts; a full disk must not destroy the stored ones."""
        try:
            replace_file(self.folder / FACTS, json.dumps(self.facts, indent=2) + "\n")
        except OSError as failed:
            self._give_up(FACTS, failed)

    def add_report(self, report: dict[str, Any]) -> str | None:
        """Add the report to the facts of a closed log; returns why the disk refused it. The log is not affected."""
        self.facts["report"] = report
        try:
            replace_file(self.folder / FACTS, json.dumps(self.facts, indent=2) + "\n")
        except OSError as failed:
            return f"the report is not stored in {self.folder / FACTS}: {reason(failed)}"
        return None

    def close(self, **facts: Any) -> None:
        """Write what is left, add `facts`, and close the files."""
        self.flush()
        for file in self._files.values():
            file.close()
        self.facts.update(facts)
        if self.trouble is None:
            self._save_facts()


def _write_all(file: BinaryIO, data: bytes) -> None:
    while data:
        data = data[file.write(data) :]


def _drop_torn_line(path: Path) -> None:
    """Remove half a line left by a write that ran out of room."""
    with contextlib.suppress(OSError), path.open("rb+") as file:  # if this fails, the reader drops it
        file.truncate(file.read().rfind(b"\n") + 1)


def seal(folder: Path) -> Path:
    """Write the log's whole rows to Parquet beside its CSV, the facts with them.

    Raises
    ------
    FileError
        If it cannot be written; the CSV is untouched.
    """
    import duckdb

    target = folder / PARQUET
    log = read_log(folder)
    # DuckDB takes the arrays by this name. It never opens the CSV, whose path it would read as a pattern.
    rows = {name: log[name].astype(object) if name in TEXTS else log[name] for name in NAMES}
    fields = ", ".join(
        f'"{name}"' if name in TEXTS else f"nullif(\"{name}\", 'nan'::DOUBLE) AS \"{name}\"" for name in rows
    )
    facts = json.dumps(read_facts(folder))
    try:
        with duckdb.connect() as database:
            database.execute(
                f"COPY (SELECT {fields} FROM rows) TO {_quoted(target)} "
                f"(FORMAT parquet, KV_METADATA {{{SEALED_AS}: {_quoted(facts)}}})"
            )
    except (duckdb.Error, RuntimeError) as failed:
        raise FileError(f"{target} cannot be written", got=str(failed).splitlines()[0]) from failed
    return target


def _quoted(value: object) -> str:
    """A text as an SQL literal: COPY takes no parameters."""
    return "'" + str(value).replace("'", "''") + "'"
