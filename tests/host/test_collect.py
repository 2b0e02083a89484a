"""Collecting what the board logged alone: safely, once, and reported as if the PC had been there."""

from __future__ import annotations

import errno
import os

import pytest
from collect_tools import a_night, collected
from logging_board import LoggingBoard

from bainboard import settings
from bainwright.core.errors import FileError
from bainwright.core.home import elsewhere
from bainwright.link.ports import LostBoardError
from bainwright.record import boardlog, writer
from bainwright.record.archive import Archive
from bainwright.record.reader import read_log
from bainwright.report import collect as collect_module
from bainwright.report import shelf

pytestmark = pytest.mark.usefixtures("undrawn")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder of its own; the flash is beside it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(collect_module.time, "time", lambda: 1_800_000_000.0)
    return tmp_path


def test_every_figure_of_a_chocolate_in_the_log_is_checked(here):
    figures = {row[settings.NAME] for row in settings.PROFILE if row[settings.KIND] == settings.FLOAT}
    assert figures <= set(boardlog._Asked.__struct_fields__)


# -- a hold that nobody watched -------------------------------------------------------------------------------------


def test_a_hold_gets_its_folder_its_rows_its_events_and_its_summary(here, monkeypatch):
    done = collected(a_night(here), monkeypatch)
    assert [hold.exit_code for hold in done.holds] == [0]
    folder = here / "holds" / "dark-1"
    assert sorted(path.name for path in folder.iterdir()) == [
        "events.jsonl", "hold.csv", "hold.json", "hold.parquet", "hold.png", "hold.svg",
    ]  # fmt: skip
    log = read_log(folder)
    assert list(log["t_s"][:3]) == [1, 11, 21]
    assert len(log) == 360
    assert set(log["on_ms"]) == {200}  # ms a second, whatever a row spans
    assert [event["event"] for event in log.events] == ["started", "warm", "ended"]
    result = done.holds[0].result
    assert (result["duration_s"], result["warm_up_s"], result["in_window_fraction"]) == (3591, 61, 1.0)
    assert (result["lost_lines"], result["trips"], result["ended"]) == (0, [], "done")
    assert "Held dark for 1 h" in done.holds[0].summary


def test_a_board_that_goes_while_it_deletes_hides_no_hold_that_was_stored(here, monkeypatch):
    board = a_night(here, 4 * 3600)

    def gone_at_forget(message):
        raise LostBoardError("the board is gone")

    monkeypatch.setattr(board, "_do_forget", gone_at_forget)
    done = collected(board, monkeypatch)
    assert [hold.exit_code for hold in done.holds] == [0]
    assert done.exit_code == 1
    assert "the board is gone. All of its log is stored here" in done.notes[0]


def test_its_start_has_the_time_of_day_once_the_board_knew_it(here, monkeypatch):
    """The host's word at 1,800,000,000 s, 3600 s after the start; RFC 3339 by CPython's datetime."""
    collected(a_night(here), monkeypatch)  # sends the time; what was said is on the flash with the next sync
    board = a_night(here, board=LoggingBoard(here / "flash2", wall_s=1_800_000_000))
    collected(board, monkeypatch, out="again")
    assert read_log(here / "again" / "dark-1").facts["started"] == "2027-01-15T08:00:00+00:00"
    assert read_log(here / "holds" / "dark-1").facts["started"] is None
    assert elsewhere() == [here / "again" / "dark-1"]  # listed with those of the home


def test_collecting_again_finds_nothing_new_and_touches_nothing(here, monkeypatch):
    board = a_night(here)
    collected(board, monkeypatch)
    before = {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in here.glob("holds/*/*") if path.is_file()}
    done = collected(board, monkeypatch)
    assert (done.holds, done.notes, done.exit_code) == ([], [], 0)
    assert before == {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in before}


def test_more_holds_than_there_is_time_for_are_stored_the_next_time(here, monkeypatch):
    board = LoggingBoard(here / "flash")
    for _ in range(3):
        a_night(here, 120, board)
    monkeypatch.setattr(collect_module, "STORING_S", -1.0)
    done = collected(board, monkeypatch)
    assert (done.holds, done.exit_code) == ([], 1)
    assert "3 more holds are safe in" in done.notes[0]
    assert "run bain collect again" in done.notes[0]
    monkeypatch.setattr(collect_module, "STORING_S", 60.0)
    assert len(collected(board, monkeypatch).holds) == 3
    again = collected(board, monkeypatch)
    assert (again.holds, again.notes) == ([], [])


def test_a_hold_that_is_here_is_known_without_reading_a_row_of_it(here, monkeypatch):
    """With a hold every night, a year of them would be read each time."""
    board = a_night(here, 120)
    collected(board, monkeypatch)
    a_night(here, 120, board)
    read = []
    monkeypatch.setattr(shelf, "read_log", lambda folder: read.append(folder))
    assert len(collected(board, monkeypatch).holds) == 1
    assert read == []


def test_a_hold_that_still_runs_is_reported_so_and_completed_the_next_time(here, monkeypatch):
    board = LoggingBoard(here / "flash")
    board.start()
    board.hold(600)
    first = collected(board, monkeypatch).holds[0].result
    board.hold(600)
    board.end()
    second = collected(board, monkeypatch).holds[0].result
    assert (first["ended"], second["ended"]) == ("left running", "done")
    assert first["folder"] == second["folder"]
    assert second["duration_s"] == 1191
    t_s = read_log(here / "holds" / "dark-1")["t_s"]
    assert list(t_s) == [1 + 10 * n for n in range(120)]


def test_a_hold_that_a_power_cut_ended_says_so(here, monkeypatch):
    board = LoggingBoard(here / "flash")
    board.start()
    board.hold(600)
    board.settle()
    board = a_night(here, 300, LoggingBoard(here / "flash"))
    done = collected(board, monkeypatch)
    assert [hold.result["ended"] for hold in done.holds] == ["restarted", "done"]
    assert done.exit_code == 1
    assert list(read_log(here / "holds" / "dark-1")["t_s"]) == [1 + 10 * n for n in range(60)]  # to its last moment


def test_a_trip_ends_it_with_the_trip_reported_and_its_cooling_stored(here, monkeypatch):
    board = LoggingBoard(here / "flash")
    board.start()
    board.hold(600)
    board.event("trip", board.t_ms, fault=1, latched=True)
    board.hold(3600, state="trip")
    board.hello["state"] = "trip"
    board.settle()
    done = collected(board, monkeypatch)
    result = done.holds[0].result
    assert result["ended"] == "tripped"
    assert [trip["name"] for trip in result["trips"]] == ["water_probe"]
    assert result["lost_lines"] == 0
    assert read_log(here / "holds" / "dark-1")["t_s"][-1] > 4000
    assert done.exit_code == 1


def test_a_clock_set_back_between_holds_is_named_and_changes_no_order(here, monkeypatch):
    board = LoggingBoard(here / "flash", wall_s=1_900_000_000)
    a_night(here, 300, board)
    board.log.set_clock(board.now_ms, 1_710_000_000)
    a_night(here, 300, board)
    done = collected(board, monkeypatch)
    assert [hold.result["folder"] for hold in done.holds] == ["holds/dark-1", "holds/dark-2"]
    assert any("clock was set back" in note for note in done.notes)


# -- safely ---------------------------------------------------------------------------------------------------------


def test_the_segments_here_are_the_boards_to_the_byte_and_only_the_newest_stays_there(here, monkeypatch):
    board = a_night(here, 12 * 3600)
    files = board.files()
    assert len(files) > 5
    done = collected(board, monkeypatch)
    kept = here / "holds" / "boards" / "0011223344556677"
    assert {path.name: path.read_bytes() for path in kept.glob("*.seg")} == files
    assert sorted(board.files()) == sorted(files)[-1:]
    assert done.going == len(files) - 1
    assert done.bytes_read == sum(map(len, files.values()))


def test_keep_deletes_nothing(here, monkeypatch):
    board = a_night(here, 6 * 3600)
    files = board.files()
    collected(board, monkeypatch, keep=True)
    assert board.files() == files


def test_a_pulled_cable_costs_only_what_was_not_fetched_yet(here, monkeypatch):
    board = a_night(here, 6 * 3600)
    files = board.files()
    total = sum(map(len, files.values()))
    board.breaks_after = 300
    with pytest.raises(LostBoardError):
        collected(board, monkeypatch)
    assert board.files() == files
    fetched = sum(path.stat().st_size for path in (here / "holds/boards").glob("*/*"))
    assert 0 < fetched < total
    board.breaks_after = None
    board._said.clear()
    assert collected(board, monkeypatch).bytes_read == total - fetched


def test_nothing_is_deleted_there_when_the_disk_here_is_full(here, monkeypatch):
    board = a_night(here, 6 * 3600)
    files = board.files()
    real, written = Archive.add, []

    def add(self, first, data):
        written.append(len(data))
        if sum(written) > 20000:
            raise FileError("no room", got="the disk is full")
        real(self, first, data)

    monkeypatch.setattr(Archive, "add", add)
    with pytest.raises(FileError):
        collected(board, monkeypatch)
    assert board.files() == files
    assert "forget" not in {asked["do"] for asked in board.asked}


def test_a_disk_that_fills_while_a_hold_is_written_leaves_no_half_of_it(here, monkeypatch):
    """Its segments are safe already; the next collection, with room, reports it completely."""
    board = a_night(here, 3 * 3600)
    files = board.files()

    def full(file, data):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as disk:
        disk.setattr(writer, "_write_all", full)
        with pytest.raises(FileError, match=r"dark-1 cannot be written: got the disk is full; .*collect again"):
            collected(board, monkeypatch)
    assert [path.name for path in (here / "holds").iterdir()] == ["boards"]
    assert board.files() == files
    assert collected(board, monkeypatch).holds[0].result["duration_s"] == 3 * 3600 - 9


def test_a_hold_that_ended_before_its_first_second_names_its_own_folder(here, monkeypatch):
    board = LoggingBoard(here / "flash")
    board.start()
    board.log.status(board.now_ms, (1, 0, "check", "work", None, None, 0, 31500, 33100, 0, 0, 0, 0, "", 0))
    board.end("stopped")
    said = collected(board, monkeypatch).holds[0].summary
    assert said.startswith("Nothing was held. holds/dark-1/hold.csv has no rows")


def test_what_did_not_reach_the_disk_is_seen_before_the_board_deletes(here, monkeypatch):
    """A disk that accepts data and stores something else: read back, it is not what the board announced."""
    board = a_night(here, 3 * 3600)
    files = board.files()
    real = Archive.add
    monkeypatch.setattr(Archive, "add", lambda self, first, data: real(self, first, data[:-1] + b"?"))
    with pytest.raises(FileError, match="not what the board announced"):
        collected(board, monkeypatch)
    assert board.files() == files


def test_a_damaged_segment_costs_what_it_touched_and_the_gap_is_named(here, monkeypatch):
    board = a_night(here, 6 * 3600)
    name = sorted(board.files())[2]
    data = board.files()[name]
    board.folder.write(name, data[:5000] + b"\x00" * 300 + data[5300:])
    done = collected(board, monkeypatch)
    assert any(name in note and "damaged" in note for note in done.notes)
    assert any("records are missing after number" in note for note in done.notes)
    result = done.holds[0].result
    assert result["lost_lines"] in range(7, 30)
    assert result["duration_s"] == 21591
    assert done.exit_code == 1
    events = [event["event"] for event in read_log(here / "holds" / "dark-1").events]
    assert events == ["started", "warm", "gap", "ended"]
    assert collected(board, monkeypatch).exit_code == 0  # said once


def test_a_hold_whose_beginning_is_gone_is_said_and_its_bytes_stored(here, monkeypatch):
    board = a_night(here, 6 * 3600)
    board.folder.remove(sorted(board.files())[0])
    board.log._firsts.pop(0)
    board.log._sizes.pop(0)
    done = collected(board, monkeypatch)
    assert done.holds == []
    assert any("the beginning of hold 1 is lost" in note for note in done.notes)
    assert list((here / "holds/boards").rglob("*.seg"))


@pytest.mark.parametrize("kind", ["link", "hard link", "pipe"])
def test_a_link_or_a_pipe_in_the_place_of_an_arriving_segment_is_replaced(here, monkeypatch, kind):
    folder = here / "holds" / "boards" / "0011223344556677"
    folder.mkdir(parents=True)
    (here / "private").write_text("private")
    part = folder / "0000000001.part"
    {"link": part.symlink_to, "hard link": part.hardlink_to, "pipe": lambda _: os.mkfifo(part)}[kind](here / "private")
    done = collected(a_night(here), monkeypatch)
    assert len(done.holds) == 1
    assert (here / "private").read_text() == "private"


def test_nothing_is_collected_through_a_linked_folder(here, monkeypatch):
    (here / "elsewhere").mkdir()
    (here / "holds").mkdir(exist_ok=True)
    (here / "holds" / "boards").symlink_to(here / "elsewhere")
    with pytest.raises(FileError, match="boards is a link"):
        collected(a_night(here), monkeypatch)
    assert list((here / "elsewhere").iterdir()) == []


def test_foreign_files_are_left_alone_and_not_read(here, monkeypatch):
    board = a_night(here)
    kept = here / "holds/boards/0011223344556677"
    kept.mkdir(parents=True)
    (here / "holds" / "dark-1").mkdir()
    for path, text in (("boards/0011223344556677/0000000001.segx", "x"), ("dark-1/a.txt", "b")):
        (here / "holds" / path).write_text(text)
    (kept / "notes.txt").write_text("mine")
    (here / "holds" / "other").mkdir()
    (here / "holds" / "other" / "hold.json").write_text("[1]")
    (here / "holds" / "broken").mkdir()
    (here / "holds" / "broken" / "hold.json").write_text("{")
    done = collected(board, monkeypatch)
    assert done.holds[0].result["folder"] == "holds/dark-2"
    assert (kept / "notes.txt").read_text() == "mine"
    assert (here / "holds/dark-1/a.txt").read_text() == "b"
