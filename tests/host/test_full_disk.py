"""A disk that fills up: a file is the one before or the new one, and the log of a hold goes to another disk."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO

import pytest
from fake_board import status_line
from test_picture import drawn

from bainwright.commands.group import bain
from bainwright.core.errors import FullDiskError
from bainwright.link.messages import decode
from bainwright.record import writer
from bainwright.record.reader import HoldLog, read_log
from bainwright.record.writer import LiveLog, seal
from bainwright.tuning import report

BEFORE = b"what was there before"


def page_of_plan(folder: Path) -> None:
    """`bain plan --page`."""
    bain.main(["plan", "dark", "--total", "1kg", "--page", str(folder / "plan.svg")], standalone_mode=False)


def page_of_tuning(folder: Path) -> None:
    """The report of `bain tune`."""
    report.write(folder / "report.html", "<html></html>")


def picture(folder: Path) -> None:
    """The picture of a hold."""
    drawn(folder)


@pytest.mark.parametrize(("write", "names"), [
    (page_of_plan, ["plan.svg"]), (page_of_tuning, ["report.html"]), (picture, ["hold.png"]),
])  # fmt: skip
def test_a_file_is_replaced_whole_or_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, write: Callable[[Path], Any], names: list[str]
) -> None:
    """The disk takes ten bytes of each file and then no more."""
    for name in names:
        (tmp_path / name).write_bytes(BEFORE)

    def short_of_room(path: Path, content: bytes) -> int:
        with path.open("wb") as file:
            file.write(content[:10])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", short_of_room)
    monkeypatch.setattr(Path, "write_text", lambda path, text, **_: short_of_room(path, text.encode()))
    with pytest.raises(FullDiskError):
        write(tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == dict.fromkeys(names, BEFORE)


class Disks:
    """Folders that are disks of their own, and how many bytes each still takes."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, **room: int) -> None:
        self.room = room
        self._really = writer._write_all
        monkeypatch.setattr(writer, "_write_all", self._write)
        monkeypatch.setattr(writer, "disk_of", self._disk_of)
        monkeypatch.setattr(writer.tempfile, "gettempdir", lambda: "tmp")
        Path("tmp").mkdir()
        monkeypatch.setenv("BAIN_HOME", "home")

    def _disk_of(self, path: Path) -> str:
        return os.path.relpath(path).split(os.sep)[0]

    def _write(self, file: BinaryIO, data: bytes) -> None:
        """As a system does it: what there is room for, and then the refusal."""
        disk = self._disk_of(Path(file.name))
        fits = data[: self.room[disk]]
        self.room[disk] -= len(fits)
        self._really(file, fits)
        if len(fits) < len(data):
            raise OSError(28, "No space left on device")


def hold(log: LiveLog, seconds: range) -> None:
    """So many seconds of a hold, as the runner writes them."""
    for second in seconds:
        log.status(1000 * second, decode(status_line(second, 1000 * second)[:-1]))
        log.flush()


def times(log: HoldLog) -> list[float]:
    """The moments of its rows."""
    assert log.notes == []
    return [float(t_s) for t_s in log["t_s"]]


@pytest.fixture
def out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for a log, named from the working folder."""
    monkeypatch.chdir(tmp_path)
    Path("out").mkdir()
    return Path("out")


def test_a_full_disk_moves_the_log_to_the_stored_holds_with_every_row(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Disks(monkeypatch, out=1000, home=10**6, tmp=0)
    log = LiveLog(out, {"profile": {"name": "dark"}})
    hold(log, range(1, 61))
    log.event(5000, "warm", {})
    log.close(ended="done")
    assert log.trouble is None
    assert log.refusal == "the disk is full"
    assert log.news() == ["out can no longer be written (the disk is full); the log continues in home/holds/dark-1, "
                           "every row in it"]
    assert times(read_log(Path("home/holds/dark-1"))) == list(range(1, 61))
    assert read_log(Path("home/holds/dark-1")).facts["ended"] == "done"
    assert len(times(read_log(out))) > 5  # and what the full disk took is whole lines


def test_where_the_stored_holds_are_full_too_the_log_moves_to_temporary_files_and_is_still_listed(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Disks(monkeypatch, out=1000, home=100, tmp=10**6)
    log = LiveLog(out, {})
    hold(log, range(1, 31))
    log.close()
    assert os.path.relpath(log.folder).startswith("tmp/bain-hold-")
    assert log.folder.stat().st_mode & 0o077 == 0  # everybody may write to the folder it is in
    assert times(read_log(log.folder)) == list(range(1, 31))
    assert not any(Path("home/holds").iterdir())  # no half log
    assert str(log.folder.resolve()) in Path("home/elsewhere.txt").read_text()


def test_a_log_that_moved_and_could_not_be_listed_says_so(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Disks(monkeypatch, out=1000, home=100, tmp=10**6)
    Path("home/elsewhere.txt").mkdir(parents=True)
    log = LiveLog(out, {})
    hold(log, range(1, 31))
    log.close()
    assert "is not added to the list of holds" in log.news()[1]
    Path("home/elsewhere.txt").rmdir()
    assert f"bain gather {log.folder}" in log.refuge_words()  # it is tried once more at the end
    assert str(log.folder.resolve()) in Path("home/elsewhere.txt").read_text()


def test_rows_that_no_disk_takes_wait_in_memory_until_there_is_room(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disks = Disks(monkeypatch, out=1000, home=0, tmp=0)
    log = LiveLog(out, {})
    hold(log, range(1, 101))
    assert log.trouble is not None
    assert "waits in memory" in log.trouble
    disks.room["out"] = 10**6  # somebody deleted something
    hold(log, range(101, 201))
    assert log.trouble is None
    log.close()
    assert times(read_log(out)) == list(range(1, 201))
    assert len(read_log(seal(out))) == 200


def test_rows_that_are_lost_at_the_end_are_named(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Disks(monkeypatch, out=1000, home=0, tmp=0)
    log = LiveLog(out, {})
    hold(log, range(1, 3701))
    log.close()
    whole = times(read_log(out))
    first = f"0:00:{int(whole[-1]) + 1:02d}"
    assert log.trouble == (f"the log lacks its rows from {first} to 1:01:40: out/hold.csv could not be written: "
                           "the disk is full")
