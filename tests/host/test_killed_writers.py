"""A program that is killed while it writes: the next one leaves neither its scraps nor half a hold."""

from __future__ import annotations

import multiprocessing
import os
import signal
import stat
import tempfile
from itertools import count
from pathlib import Path

import pytest
from collect_tools import a_night, collected, watched
from logging_board import LoggingBoard

from bainwright.core import atomic_write
from bainwright.core.atomic_write import save_file
from bainwright.core.errors import FileError
from bainwright.core.home import holds_folder
from bainwright.record.reader import read_log
from bainwright.report import overnight

FORK = multiprocessing.get_context("fork")
FILES = ["events.jsonl", "hold.csv", "hold.json"]
WRITES = ("_replay", "move_into_place", "move_folder_into_place")


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BAIN_HOME", str(tmp_path / "home"))
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 0.0)
    monkeypatch.setattr("bainwright.report.report._seal_and_draw", lambda *_: True)  # the slow part, without a say here
    return tmp_path


def killed(work) -> None:
    """Do it in another process, which has to be killed in it."""
    child = FORK.Process(target=work)
    child.start()
    child.join()
    assert child.exitcode == -signal.SIGKILL


def collected_but_killed(board: LoggingBoard, monkeypatch: pytest.MonkeyPatch, after: int) -> None:
    """Killed at the end of this many of `WRITES`."""
    calls = count(1)
    with monkeypatch.context() as patch:
        for name in WRITES:
            done = getattr(overnight, name)

            def dying(*given, done=done):
                result = done(*given)
                if next(calls) == after:
                    os.kill(os.getpid(), signal.SIGKILL)
                return result

            patch.setattr(overnight, name, dying)
        killed(lambda: collected(board, patch))


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_killed_collection_of_a_new_hold_leaves_nothing_behind_the_next(here, monkeypatch) -> None:
    board = a_night(here, 600)
    collected_but_killed(board, monkeypatch, 1)
    collected(board, monkeypatch)
    assert names(holds_folder()) == ["boards", "dark-1"]
    assert names(holds_folder() / "dark-1") == FILES
    assert len(read_log(holds_folder() / "dark-1")) == 60


def test_a_killed_collection_of_a_watched_hold_leaves_nothing_behind_the_next(here, monkeypatch) -> None:
    """Killed among the moves of its files."""
    board = LoggingBoard(here / "flash")
    board.start()
    watched(board, board.hold(65))
    board.hold(535)
    board.end()
    collected_but_killed(board, monkeypatch, 3)
    collected(board, monkeypatch)
    assert names(holds_folder()) == ["boards", "dark-1"]
    assert names(holds_folder() / "dark-1") == FILES
    assert list(read_log(holds_folder() / "dark-1")["t_s"]) == [*range(1, 66), *range(71, 600, 10)]


def test_a_file_that_a_killed_program_was_writing_goes_with_the_next(here: Path) -> None:
    def dying() -> None:
        with atomic_write.saved_from(here / "rig.toml") as beside:
            beside.write_text("half")
            os.kill(os.getpid(), signal.SIGKILL)

    killed(dying)
    assert len(names(here)) == 1
    with atomic_write.saved_from(here / "another.toml") as beside:
        beside.write_text("whole")
        atomic_write.save_file(here / "rig.toml", "whole")  # leaves what is written meanwhile
    assert names(here) == ["another.toml", "rig.toml"]


def test_a_folder_that_is_taken_for_left_before_it_has_its_lock_is_made_again(here, monkeypatch) -> None:
    made, seen = tempfile.mkdtemp, []

    def late(**options) -> str:
        seen.append(made(**options))
        if len(seen) < 3:
            atomic_write.delete_left(here, "x")
        return seen[-1]

    monkeypatch.setattr(tempfile, "mkdtemp", late)
    with atomic_write.scratch_folder(here, "x") as folder:
        assert names(here) == [folder.name] == [Path(seen[2]).name]
    assert names(here) == []


def test_a_pipe_at_the_name_stays_a_pipe(tmp_path):
    """As a device would: `--report /dev/tty` by somebody who may write there must not take the terminal from all."""
    os.mkfifo(tmp_path / "out.html")
    with pytest.raises(FileError, match="something other than a plain file"):
        save_file(tmp_path / "out.html", "page", what="the report")
    assert stat.S_ISFIFO((tmp_path / "out.html").stat().st_mode)
    (tmp_path / "link.html").symlink_to(tmp_path / "out.html")
    with pytest.raises(FileError, match="something other than a plain file"):
        save_file(tmp_path / "link.html", "page")
    assert sorted(os.listdir(tmp_path)) == ["link.html", "out.html"]
