"""Two programs at one moment: what each was told is in, is in."""

from __future__ import annotations

import errno
import json
import multiprocessing
import os
import shutil
import signal
from pathlib import Path

import pytest
from collect_tools import a_night, collected
from logging_board import LoggingBoard
from stored_holds import store

from bainwright.archive import parcel
from bainwright.core import atomic_write
from bainwright.core.errors import FileError
from bainwright.core.home import holds_folder
from bainwright.core.masses import Shown
from bainwright.plan import stock
from bainwright.plan.stock import StockOptions
from bainwright.record import temper_entry
from bainwright.record.temper_entry import TemperOptions

FORK = multiprocessing.get_context("fork")


@pytest.fixture(autouse=True)
def records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BAIN_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(atomic_write, "TURN_S", 600.0)  # however busy this PC is
    return tmp_path


def at_once(works: list) -> None:
    """Run each in a process of its own, all of them from one moment on."""
    start = FORK.Barrier(len(works))

    def one(work) -> None:
        start.wait(30)
        work()

    children = [FORK.Process(target=one, args=(work,)) for work in works]
    for child in children:
        child.start()
    for child in children:
        child.join()
    assert [child.exitcode for child in children] == [0] * len(works)


def test_what_killed_commands_left_goes_with_the_next_but_nothing_of_a_live_one(records: Path) -> None:
    """Also no link's target, nor a file: a name alone makes nothing ours."""
    folder, else_s = records / "holds", records / "else"
    (else_s / "hold").mkdir(parents=True)
    (folder / ".coming-killed" / "hold").mkdir(parents=True)
    (folder / ".coming-killed" / "hold" / "hold.csv").write_text("t_s")
    (folder / ".coming-link").symlink_to(else_s)
    (folder / ".coming-file").write_text("mine")
    with atomic_write.scratch_folder(folder, ".coming-") as live, atomic_write.scratch_folder(folder, ".coming-"):
        assert live.is_dir()
        assert not (folder / ".coming-killed").exists()
    assert sorted(each.name for each in folder.iterdir()) == [".coming-file", ".coming-link"]
    assert (else_s / "hold").is_dir()


def test_a_killed_gather_leaves_nothing_behind_the_next(records: Path) -> None:
    """Killed between claiming a name and moving the hold there."""
    store(records / "a" / "h1")

    def dying() -> None:
        parcel.move_folder_into_place = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
        parcel.gather(records / "a")

    child = FORK.Process(target=dying)
    child.start()
    child.join()
    assert child.exitcode == -signal.SIGKILL
    assert len(list(holds_folder().iterdir())) == 2
    assert len(parcel.gather(records / "a").added) == 1
    assert [each.name for each in holds_folder().iterdir()] == ["h1"]


def test_a_disk_that_takes_no_hold_leaves_no_empty_one(records: Path, monkeypatch) -> None:
    store(records / "a" / "h1")

    def full(*_) -> None:
        raise OSError(errno.ENOSPC, "full")

    monkeypatch.setattr(parcel, "move_folder_into_place", full)
    with pytest.raises(FileError):
        parcel.gather(records / "a")
    assert not list(holds_folder().iterdir())


def test_holds_of_one_name_from_two_sources_all_come_in(records: Path) -> None:
    for source in ("a", "b"):
        for number in range(12):
            store(records / source / f"h{number}", started=f"2026-11-2{source == 'b':d}T18:00:00+00:00", hold=number)
    at_once([lambda source=source: parcel.gather(records / source) for source in ("a", "b")])
    found = sorted(path.name for path in holds_folder().iterdir())
    assert len(found) == 24, found
    assert all((holds_folder() / name / "hold.json").is_file() for name in found)
    assert not list(holds_folder().glob("*/hold"))


def test_a_name_that_is_taken_at_the_last_moment_is_left_to_who_took_it(records, monkeypatch) -> None:
    """Between the look and the move a hold may begin there; the folder of the boards' logs is nobody's name."""
    store(records / "a" / "dark-1")
    store(records / "a" / "boards", hold=9)
    made = Path.mkdir

    def late(folder: Path, *args, **options) -> None:
        if folder == holds_folder() / "dark-1" and not folder.exists():
            made(folder)
            (folder / "hold.csv").write_text("another's")
        made(folder, *args, **options)

    monkeypatch.setattr(Path, "mkdir", late)
    parcel.gather(records / "a")
    assert (holds_folder() / "dark-1/hold.csv").read_text() == "another's"
    assert {path.name for path in holds_folder().iterdir()} == {"dark-1", "dark-1-2", "boards-2"}


def test_each_temper_test_that_is_entered_at_one_moment_is_there() -> None:
    folder = store(holds_folder() / "dark-1")
    at_once([lambda minutes=minutes: temper_entry.run_temper(folder, TemperOptions(minutes=minutes), as_json=False,
                                                             say=lambda *_, **__: None)
             for minutes in (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)])  # fmt: skip
    assert sorted(each["minutes"] for each in json.loads((folder / "temper.json").read_text())) == [1, 2, 3, 4, 5, 6]


def test_each_mishap_that_is_entered_at_one_moment_is_there() -> None:
    """Who reads that the hazelnuts are noted must be able to rely on it."""
    store(holds_folder() / "dark-1")
    entries = [StockOptions("dark-1", water=True), StockOptions("dark-1", grains=True),
               *(StockOptions("dark-1", allergens=(name,)) for name in ("hazelnut", "milk", "soya"))]  # fmt: skip
    at_once([lambda entry=entry: stock.run_stock(entry, Shown(), as_json=True, say=lambda *_, **__: None)
             for entry in entries])  # fmt: skip
    noted = json.loads((holds_folder() / "dark-1/stock.json").read_text())
    assert (noted["water"], noted["grains"], noted["allergens"]) == (True, True, ["hazelnut", "milk", "soya"])


def test_who_waits_too_long_is_told_and_a_killed_one_holds_nobody_up(records, monkeypatch) -> None:
    monkeypatch.setattr(atomic_write, "TURN_S", 0.0)
    with (
        atomic_write.alone(records),
        pytest.raises(FileError, match="another program is writing"),
        atomic_write.alone(records),
    ):
        pass

    def killed() -> None:
        taken = atomic_write.alone(records)
        taken.__enter__()
        os._exit(0)

    child = FORK.Process(target=killed)
    child.start()
    child.join()
    with atomic_write.alone(records):
        pass


def test_two_collections_from_one_log_store_it_once(records: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Copies of one flash: the second one waits, and finds nothing new."""
    a_night(records)
    shutil.copytree(records / "flash", records / "flash2")

    def collecting(flash: str) -> None:
        done = collected(LoggingBoard(records / flash), monkeypatch)
        assert done.exit_code == 0, done.notes

    at_once([lambda flash=flash: collecting(flash) for flash in ("flash", "flash2")])
    assert [path.name for path in sorted(holds_folder().iterdir())] == ["boards", "dark-1"]
