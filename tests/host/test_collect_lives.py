"""Logs of several lives and boards under one id: each continues in its own place, and no hold is taken for another."""

from __future__ import annotations

import shutil

import pytest
from collect_tools import a_night, collected, watched
from logging_board import LoggingBoard

from bainboard import flashlog, framing
from bainwright.record.archive import Archive, Segment
from bainwright.record.reader import read_log
from bainwright.report import collect as collect_module

pytestmark = pytest.mark.usefixtures("undrawn")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder of its own; the flash is beside it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(collect_module.time, "time", lambda: 1_800_000_000.0)
    return tmp_path


def test_a_hold_of_another_log_with_the_same_numbers_is_known_by_its_water(here, monkeypatch):
    """A live log knows nothing of the board's log; but two holds never read the same water all along."""
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 0.0)
    board = LoggingBoard(here / "flash")
    board.start()
    watched(board, board.hold(300))
    other = LoggingBoard(here / "flash2")
    other.start()
    other.hold(600, water=34000)
    other.end()
    assert collected(other, monkeypatch).holds[0].result["folder"] == "holds/dark-2"


def test_a_hold_watched_hours_after_the_board_s_last_row_is_another(here, monkeypatch):
    """Two boards of one id: a PC joined late in the hold of one, and the other's hold of that number was short."""
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 0.0)
    board = LoggingBoard(here / "flash")
    board.start()
    watched(board, board.hold(2405))
    csv = here / "holds" / "dark-1" / "hold.csv"
    header, *rows = csv.read_text().splitlines(keepends=True)
    csv.write_text(header + "".join(rows[2401:]))
    csv.with_name("hold.parquet").unlink()  # as it would be: it has the rows that this PC did not see
    other = LoggingBoard(here / "flash2")
    other.start()
    other.hold(600)
    other.end()
    assert collected(other, monkeypatch).holds[0].result["folder"] == "holds/dark-2"
    board.end()
    assert collected(board, monkeypatch).holds[0].result["folder"] == "holds/dark-1"
    assert len(read_log(here / "holds" / "dark-1")) == 244


def test_a_part_of_another_log_that_lies_in_the_way_is_not_taken(here, monkeypatch):
    kept = here / "holds/boards/0011223344556677"
    kept.mkdir(parents=True)
    (kept / "0000000001.part").write_bytes(b"something else")
    board = a_night(here)
    files = board.files()
    collected(board, monkeypatch)
    assert {path.name: path.read_bytes() for path in kept.glob("*.seg")} == files


def test_a_board_whose_log_was_wiped_gets_a_second_place_and_its_holds_their_own_folders(here, monkeypatch):
    collected(a_night(here, 3600), monkeypatch)
    shutil.rmtree(here / "flash")
    board = LoggingBoard(here / "flash")
    board.now_ms = 77000
    board.start()
    board.hold(1800, water=33500)
    board.end()
    done = collected(board, monkeypatch)
    assert [hold.result["folder"] for hold in done.holds] == ["holds/dark-2"]
    assert sorted(path.name for path in (here / "holds/boards").iterdir()) == ["0011223344556677", "0011223344556677-2"]
    assert read_log(here / "holds" / "dark-1")["t_s"][-1] == 3591


def test_a_log_whose_numbers_lie_inside_another_s_is_not_its_continuation(here, monkeypatch):
    """Erased, and collected by another PC since: what is left begins at a number that has no file here."""
    board = a_night(here, 4 * 3600)
    collected(board, monkeypatch)
    archive = Archive(here / "holds", "0011223344556677")
    first, second, *_ = firsts = sorted(flashlog.first_of(path.name) for path in archive.segments())
    frames, _, _ = framing.scan(archive.path(firsts[-1]).read_bytes())
    last = frames[-1][1]
    assert archive.contradicts([Segment(first + 1, first + 1, 100, 0)])  # inside one
    assert archive.contradicts([Segment(last, last + 50, 100, 0)])  # begins in the last one
    archive.path(first).unlink()
    assert archive.contradicts([Segment(first + 1, second, 100, 0)])  # ends in one
    assert not archive.contradicts([Segment(first, second - 1, 100, 0), Segment(last + 1, last + 9, 100, 0)])


def test_a_second_life_continues_in_its_own_place_when_its_first_segments_are_forgotten(here, monkeypatch):
    """The newest segment alone would also fit the first life's folder, which has no file of its name."""
    collected(a_night(here, 3600), monkeypatch)
    shutil.rmtree(here / "flash")
    board = a_night(here, 12 * 3600, LoggingBoard(here / "flash"))
    collected(board, monkeypatch)
    assert len(board.files()) == 1
    first = here / "holds" / "boards" / "0011223344556677"
    before = sorted(first.iterdir())
    board.start()
    board.hold(900, water=33500)
    board.end()
    again = collected(board, monkeypatch)
    assert sorted(first.iterdir()) == before
    assert [hold.result["folder"] for hold in again.holds] == ["holds/dark-3"]
    assert not again.notes


def test_two_boards_of_one_id_each_continue_in_their_own_place(here, monkeypatch):
    """As all virtual boards are: the newest segment of each grows between its turns, so none is here whole."""
    boards = [LoggingBoard(here / "flash"), LoggingBoard(here / "flash2")]
    for turn in range(3):
        for number, board in enumerate(boards):
            monkeypatch.setattr(collect_module.time, "time", lambda at=1.8e9 + 3600 * turn: at)
            a_night(here, 120 + 60 * number, board)
            done = collected(board, monkeypatch)
            assert ([hold.result["folder"] for hold in done.holds], done.notes) == (
                [f"holds/dark-{2 * turn + number + 1}"], [])
    for number, name in enumerate(("0011223344556677", "0011223344556677-2")):
        here_now = {path.name: path.read_bytes() for path in (here / "holds" / "boards" / name).glob("*.seg")}
        assert here_now == boards[number].files()
    assert [len(read_log(here / "holds" / f"dark-{n}")) for n in (1, 2, 5, 6)] == [12, 18, 12, 18]
    assert len(list((here / "holds" / "boards").iterdir())) == 2


def test_a_part_of_the_other_board_s_log_does_not_cost_a_place(here, monkeypatch):
    boards = [a_night(here, 120 + 60 * n, LoggingBoard(here / f"flash{n}")) for n in range(2)]
    for board in boards:
        collected(board, monkeypatch)
    first = Archive(here / "holds", "0011223344556677")
    segment = sorted(boards[0].files())[0]
    first.path(1).with_suffix(".part").write_bytes(boards[1].files()[segment] + b"more")
    a_night(here, 120, boards[0])
    collected(boards[0], monkeypatch)
    assert first.path(1).read_bytes() == boards[0].files()[segment]
    assert len(list((here / "holds" / "boards").iterdir())) == 2
