"""The record of a hold while it is made: CSV a row a second, events and facts beside it, Parquet when it is sealed."""

from __future__ import annotations

import contextlib
import json
import re
from pathlib import Path
from typing import Any

from bainwright.core.atomic_write import replace_file
from bainwright.core.errors import FileError, UseError
from bainwright.core.home import holds_folder, remember
from bainwright.core.os_errors import reason
from bainwright.link.messages import Status
from bainwright.record.reader import COLUMNS, CSV, EVENTS, FACTS, HEADER, PARQUET


def row(t_ms: int, status: Status) -> str:
    """A status line as a row of the log; an unknown temperature is an empty field, never a number."""
    s = status
    return (
        f"{t_ms / 1000:.3f},{_word(s.state)},{_word(s.stage)},{_c(s.water)},{_c(s.bowl)},{s.est},{_c(s.target)},"
        f"{_c(s.water_target)},{s.duty / 10000:.4f},{s.on},{s.fault},{s.warn},{_word(s.ask)}\n"
    )


def _word(text: str) -> str:
    """A text of the board as a field: the names it sends hold no comma, and a damaged one must not add a column."""
    return text.replace(",", ";")


def _c(milli: int | None) -> str:
    return "" if milli is None else f"{milli / 1000:.3f}"


def make_folder(asked: Path | None, name: str) -> Path:
    """A folder that holds no log yet: the one asked for, else ``NAME-1``, ``-2`` and so on in the home of
    records.

    Raises
    ------
    UseError
        If the folder asked for has a log in it, or cannot be made.
    """
    if asked is None:
        return next_folder(holds_folder(), name)
    if (asked / CSV).exists():
        raise UseError(f"--out {asked} already holds a log", hint="name another folder; a log is never written over")
    try:
        asked.mkdir(parents=True, exist_ok=True)
    except OSError as failed:
        raise UseError(f"--out {asked} cannot be made", got=reason(failed), hint="name another folder") from failed
    remember(asked)
    return asked


def next_folder(parent: Path, name: str) -> Path:
    """A new folder ``PARENT/NAME-1``, ``-2`` and so on."""
    name, number = re.sub(r"[^\w-]+", "-", name), 1
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
    """A log being written. A full disk ends the writing, once and in words (`trouble`), never the hold.

    Parameters
    ----------
    folder : Path
        Where the files go.
    facts : dict
        What is known at the start; written at once, and again whole by `close`.
    """

    def __init__(self, folder: Path, facts: dict[str, Any]) -> None:
        self.folder = folder
        self.facts = facts
        self.trouble: str | None = None
        self.refusal = ""  # the system's words for why nothing more is written
        self._pending: dict[str, list[str]] = {CSV: [HEADER + "\n"], EVENTS: []}
        # Unbuffered: a row is in the file once `flush` returns, and a failed write leaves nothing behind to fail again.
        self._files = {name: open(folder / name, "ab", buffering=0) for name in self._pending}  # noqa: SIM115 closed below
        self.flush()
        self._save_facts()

    @property
    def path(self) -> Path:
        """The log's CSV."""
        return self.folder / CSV

    def status(self, t_ms: int, status: Status) -> None:
        """Add a row; it is in the file after the next `flush`."""
        self._pending[CSV].append(row(t_ms, status))

    def event(self, t_ms: int, name: str, fields: dict[str, Any]) -> None:
        """Add an event."""
        self._pending[EVENTS].append(json.dumps({"t_s": t_ms / 1000, "event": name, **fields}) + "\n")

    def flush(self) -> None:
        """Bring everything pending into the files."""
        for name, lines in self._pending.items():
            if lines and self.trouble is None:
                try:
                    _write_all(self._files[name], "".join(lines).encode())
                except OSError as failed:
                    self._give_up(name, failed)
            lines.clear()

    def _give_up(self, name: str, failed: OSError) -> None:
        for cut_short in (CSV, EVENTS):
            _drop_torn_line(self.folder / cut_short)
        self.refusal = reason(failed)
        self.trouble = f"{self.folder / name} is written no further: {self.refusal}; the hold goes on without a log"

    def _save_facts(self) -> None:
        """A full disk must not cost the facts that are there."""
        try:
            replace_file(self.folder / FACTS, json.dumps(self.facts, indent=2) + "\n")
        except OSError as failed:
            self._give_up(FACTS, failed)

    def add_report(self, report: dict[str, Any]) -> None:
        """Add the report to the facts of a closed log; a disk that does not take it costs the report only."""
        self.facts["report"] = report
        with contextlib.suppress(OSError):
            replace_file(self.folder / FACTS, json.dumps(self.facts, indent=2) + "\n")

    def close(self, **facts: Any) -> None:
        """Write what is left, add `facts`, and let go of the files."""
        self.flush()
        for file in self._files.values():
            file.close()
        self.facts.update(facts)
        if self.trouble is None:
            self._save_facts()


def _write_all(file: Any, data: bytes) -> None:
    while data:
        data = data[file.write(data) :]


def _drop_torn_line(path: Path) -> None:
    """A write that found half the room it needed leaves half a line."""
    with contextlib.suppress(OSError), path.open("rb+") as file:  # left as it is, the reader drops it
        file.truncate(file.read().rfind(b"\n") + 1)


def seal(folder: Path) -> Path:
    """Write the log's rows to Parquet beside its CSV, the facts with them.

    Raises
    ------
    FileError
        If it cannot be written; the CSV is untouched.
    """
    import duckdb

    target = folder / PARQUET
    columns = ", ".join(f"'{name}': '{kind}'" for name, kind in COLUMNS.items())
    facts = json.dumps(json.loads((folder / FACTS).read_text()))
    try:
        with duckdb.connect() as database:
            database.execute(
                f"COPY (SELECT * FROM read_csv({_quoted(folder / CSV)}, header = true, auto_detect = false, "
                f"delim = ',', columns = {{{columns}}})) "
                f"TO {_quoted(target)} (FORMAT parquet, KV_METADATA {{bain: {_quoted(facts)}}})"
            )
    except duckdb.Error as failed:
        raise FileError(f"{target} cannot be written", got=str(failed).splitlines()[0]) from failed
    return target


def _quoted(value: object) -> str:
    """A text as an SQL literal: COPY takes no parameters."""
    return "'" + str(value).replace("'", "''") + "'"
