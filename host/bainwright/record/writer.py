"""Writes the record of a hold while it runs: a CSV row a second, events and facts beside it, Parquet at the end."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO

from bainwright.core.atomic_write import replace_file, saved_from
from bainwright.core.errors import BainError, UseError
from bainwright.core.file_names import file_name
from bainwright.core.home import holds_folder, is_text, remember
from bainwright.core.os_errors import file_error, quoted_error, reason
from bainwright.core.read_file import LOG_BYTES
from bainwright.core.units import clock_words
from bainwright.link.messages import Status
from bainwright.record.columns import HEADER, NAMES, TEXTS, row
from bainwright.record.log_rows import sql_text
from bainwright.record.names import CSV, EVENTS, FACTS, PARQUET, is_hold
from bainwright.record.reader import SEALED_AS, read_facts, read_log

HEADER_LINE = f"{HEADER}\n".encode()
DELETED, CUT_SHORT = "was deleted", "was cut short by another program"
RETRY_ROWS = 60  # chosen: a refused log is offered to the disks again with each minute of rows


def make_folder(asked: Path | None, name: str) -> Path:
    """A folder with a new log in it: the one asked for, else ``NAME-1``, ``-2`` and so on among the stored holds.

    The log's first line is written here, before anything heats: a disk that takes none refuses it now. Of two holds
    that ask for one folder, the second is refused.

    Raises
    ------
    UseError
        If the folder asked for has a log in it, has a name that is no text, or cannot be made.
    FileError
        If the disk takes no log.
    """
    folder = next_folder(holds_folder(), name) if asked is None else _asked_folder(asked)
    try:
        with open(folder / CSV, "xb", buffering=0) as log:  # x: only one hold can make it
            _write_all(log, HEADER_LINE)
    except FileExistsError:
        raise _taken(folder) from None
    except OSError as failed:
        give_back(folder)
        raise file_error(f"{folder} takes no log", failed, "name another folder with --out") from failed
    return folder


def _asked_folder(asked: Path) -> Path:
    if not is_text(str(asked)):
        raise UseError("--out is not text", got=ascii(str(asked)), wanted="a name in UTF-8", hint="name another folder")
    if is_hold(asked) or os.path.lexists(asked / EVENTS):  # a link there may lead anywhere
        raise _taken(asked)
    try:
        asked.mkdir(parents=True, exist_ok=True)
    except OSError as failed:
        raise UseError(f"--out {asked} cannot be made", got=reason(failed), hint="name another folder") from failed
    return asked


def _taken(folder: Path) -> UseError:
    return UseError(f"{folder} already holds a log", hint="name another folder; a log is never written over")


def give_back(folder: Path) -> None:
    """Remove what `make_folder` made, for a hold that did not start. A folder with anything else in it stays."""
    with contextlib.suppress(OSError):
        if (folder / CSV).stat().st_size <= len(HEADER_LINE):
            (folder / CSV).unlink()
        if folder.is_relative_to(holds_folder()):
            folder.rmdir()
            holds_folder().rmdir()  # where it was the first


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
    """A log being written. A disk that refuses it never ends the hold.

    Then the log moves with all its rows: to a new folder among the stored holds, and if they are on the same disk, to
    the system's folder for temporary files. If nowhere takes it, the rows stay in memory and are offered again with
    each minute; `close` names the span that was lost.

    Parameters
    ----------
    folder : Path
        The folder for the files.
    facts : dict
        The facts known at the start; written at once, and again, complete, by `close`.
    may_move : bool
        Whether the log may continue in another folder.

    Attributes
    ----------
    trouble : str or None
        What is not written, and why; None while everything is.
    full : bool
        Whether rows or events were left out because the log is as long as it may be.
    refusal : str
        The system's words for why it refused a row or the facts; empty if it never did.
    """

    def __init__(self, folder: Path, facts: dict[str, Any], *, may_move: bool = True) -> None:
        self.folder = self._began_in = folder
        self.facts = facts
        self.trouble: str | None = None
        self.refusal = ""
        self._may_move = may_move
        self._news: list[str] = []
        self.full = False
        self._pending: dict[str, list[str]] = {CSV: [], EVENTS: []}
        self._facts_due = True
        self._retry_rows = 0
        self._files: _Growing | None = None
        self.flush()

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
        if self.trouble is None or len(self._pending[CSV]) >= self._retry_rows:
            self._write()

    def _write(self) -> None:
        try:
            if self._files is None:
                self._files = _Growing(self.folder)
            if why := self._files.harm():
                self._move(why, same_disk=True)
            else:
                self._save()
        except OSError as failed:
            self.refusal = reason(failed)
            self._move(f"can no longer be written ({self.refusal})", same_disk=False)

    def _save(self) -> None:
        assert self._files is not None
        if self._facts_due:
            replace_file(self.folder / FACTS, json.dumps(self.facts, indent=2) + "\n", follow=False)
            self._facts_due = False
        for name, lines in self._pending.items():
            data = "".join(lines).encode()
            if data and self._has_room(name, data):
                self._files.append(name, data)
            lines.clear()
        self.trouble = None

    def _has_room(self, name: str, data: bytes) -> bool:
        """Would it be read back? A board that sends rows without end must not fill the disk with more than that."""
        assert self._files is not None
        if self._files.size(name) + len(data) <= LOG_BYTES:
            return True
        if not self.full:
            self.full = True
            self._news.append(f"{self.folder / name} is full at {LOG_BYTES >> 20} MB, more than two days of a hold "
                              "take: what the board sends now is not stored. Restart the board before the next hold")
        return False

    def news(self) -> list[str]:
        """Notes for the person, each given once: where the log moved, or that it is full."""
        said, self._news = self._news, []
        return said

    def refuge_words(self) -> str | None:
        """Where the log ended up in the system's folder for temporary files: that, and how to bring it home."""
        if self.folder == self._began_in or self.folder.parent != Path(tempfile.gettempdir()):
            return None
        remember(self.folder)  # there may be room by now
        return (f"{self.folder} is a temporary folder, which a restart of this PC may delete: make room in "
                f"{holds_folder()}, then bring the hold there with bain gather {self.folder}")

    def _move(self, why: str, *, same_disk: bool) -> None:
        """Continue in a new folder, with the rows of this one where they can be read."""
        before, files = self.folder, self._files
        content = files.content() if files else {}
        for folder in self._refuges(same_disk=same_disk):
            self.folder, self._facts_due = folder, True
            try:
                self._files = _Growing(folder, content)
                self._save()
            except OSError:
                shutil.rmtree(folder, ignore_errors=True)
                continue
            rows = "every row in it" if content else f"the rows before that are in {before}"
            if why == CUT_SHORT:
                rows = "with the rows that were left"
            self._news.append(f"{before} {why}; the log continues in {folder}, {rows}")
            self._news += filter(None, [remember(folder)])
            if files:
                files.close()
            return
        self.folder, self._files = before, files
        self._retry_rows = len(self._pending[CSV]) + RETRY_ROWS
        self.trouble = f"{self.path} {why}; the hold continues, and its log waits in memory for room on the disk"

    def _refuges(self, *, same_disk: bool) -> Iterator[Path]:
        """New folders to continue in; where the disk refused, only those on another disk."""
        profile = self.facts.get("profile")
        name = str(profile["name"]) if isinstance(profile, dict) else "hold"
        for disk, make in ((holds_folder(), next_folder), (Path(tempfile.gettempdir()), _nobody_elses)):
            if self._may_move and (same_disk or disk_of(disk) != disk_of(self.folder)):
                with contextlib.suppress(BainError, OSError):
                    yield make(disk, name)

    def add_report(self, report: dict[str, Any]) -> str | None:
        """Add the report to the facts of a closed log; returns why the disk refused it. The log is not affected."""
        self.facts["report"] = report
        try:
            replace_file(self.folder / FACTS, json.dumps(self.facts, indent=2) + "\n", follow=False)
        except OSError as failed:
            return f"the report is not stored in {self.folder / FACTS}: {reason(failed)}"
        return None

    def close(self, **facts: Any) -> None:
        """Write what is left, add `facts`, and close the files."""
        self.facts.update(facts)
        self._facts_due = True
        self._write()
        if self.trouble is not None:
            self.trouble = self._lost_words()
        if self._files:
            self._files.close()
            self._files = None

    def _lost_words(self) -> str:
        rows = [float(line.partition(",")[0]) for line in self._pending[CSV]]
        if not rows:
            return f"the end of the hold is not stored in {self.folder}: {self.refusal}"
        span = f"from {clock_words(rows[0])} to {clock_words(rows[-1])}"
        return f"the log lacks its rows {span}: {self.path} could not be written: {self.refusal}"


class _Growing:
    """The two files of a log that grow line by line, in one folder.

    They are unbuffered: a row is in the file once `append` returns.
    """

    def __init__(self, folder: Path, content: Mapping[str, bytes] | None = None) -> None:
        self._folder = folder
        self._files: dict[str, BinaryIO] = {}
        self._sizes: dict[str, int] = {}
        content = content or {}
        try:
            for name, start in ((CSV, content.get(CSV, HEADER_LINE)), (EVENTS, content.get(EVENTS, b""))):
                self._files[name] = open(  # noqa: SIM115 `close` closes it
                    folder / name, "a+b", buffering=0, opener=_no_link
                )
                self._sizes[name] = os.fstat(self._files[name].fileno()).st_size
                if not self._sizes[name]:
                    self.append(name, start)
        except OSError:
            self.close()
            raise

    def append(self, name: str, data: bytes) -> None:
        """Write whole lines, or none of them."""
        file = self._files[name]
        size = os.fstat(file.fileno()).st_size
        try:
            _write_all(file, data)
        except OSError:
            with contextlib.suppress(OSError):  # if this fails, the reader drops the torn line
                file.truncate(size)
            raise
        self._sizes[name] = size + len(data)

    def size(self, name: str) -> int:
        """Bytes that were written."""
        return self._sizes[name]

    def harm(self) -> str:
        """What somebody did to one of them; empty for nothing."""
        for name, file in self._files.items():
            now = os.fstat(file.fileno())
            try:
                if not os.path.samestat(os.stat(self._folder / name), now):
                    return DELETED
            except OSError:
                return DELETED
            if now.st_size < self._sizes[name]:
                return CUT_SHORT
        return ""

    def content(self) -> dict[str, bytes]:
        """All of their whole lines; empty if they cannot be read. Deleted files can, while they are open."""
        found = {}
        try:
            for name, file in self._files.items():
                file.seek(0)
                data = file.read()
                found[name] = data[: data.rfind(b"\n") + 1]
        except OSError:
            return {}
        if not found[CSV].startswith(HEADER_LINE):
            found[CSV] = HEADER_LINE + found[CSV]
        return found

    def close(self) -> None:
        """Close them."""
        for file in self._files.values():
            file.close()


def _no_link(path: str, flags: int) -> int:
    """Open a file of the folder's own: a link in it may lead anywhere."""
    return os.open(path, flags | getattr(os, "O_NOFOLLOW", 0), 0o666)


def _nobody_elses(parent: Path, name: str) -> Path:
    """A new folder where everybody may write, its name made up by the system: nobody can have laid a link there."""
    return Path(tempfile.mkdtemp(prefix=f"bain-{file_name(name)}-", dir=parent))


def disk_of(path: Path) -> int:
    """The number of the disk that a path is on, or will be once its folders are made; -1 where there is none."""
    for each in (path.absolute(), *path.absolute().parents):
        with contextlib.suppress(OSError):
            return os.stat(each).st_dev
    return -1


def _write_all(file: BinaryIO, data: bytes) -> None:
    while data:
        data = data[file.write(data) :]


def seal(folder: Path) -> Path:
    """Write the log's whole rows to Parquet beside its CSV, the facts with them.

    Raises
    ------
    FileError
        If it cannot be written; the CSV is untouched.
    """
    import duckdb

    target = folder / PARQUET
    log = read_log(folder / CSV)
    # DuckDB takes the arrays by this name. It never opens the CSV, whose path it would read as a pattern.
    rows = {name: log[name].astype(object) if name in TEXTS else log[name] for name in NAMES}
    fields = ", ".join(
        f'"{name}"' if name in TEXTS else f"nullif(\"{name}\", 'nan'::DOUBLE) AS \"{name}\"" for name in rows
    )
    facts = json.dumps(read_facts(folder))
    try:
        with saved_from(target, follow=False) as beside, duckdb.connect() as database:
            database.execute(
                f"COPY (SELECT {fields} FROM rows) TO {sql_text(beside)} "
                f"(FORMAT parquet, KV_METADATA {{{SEALED_AS}: {sql_text(facts)}}})"
            )
    except (duckdb.Error, RuntimeError) as failed:
        raise quoted_error(f"{target} cannot be written", failed) from failed
    return target
