"""Collecting what the board logged alone: safely, once, and reported as if the PC had been there."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil

import pytest
from fake_board import FakeBoard, FakeSession, event_line
from logging_board import LoggingBoard
from test_hold import Notebook

from bainboard import flashlog, framing, settings
from bainwright.core.errors import FileError, LinkError
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.link.ports import LostBoardError
from bainwright.link.protocol import Link
from bainwright.record import boardlog, writer
from bainwright.record.archive import Archive, Segment
from bainwright.record.collecting import list_segments
from bainwright.record.reader import read_log
from bainwright.review import collect as collect_module
from bainwright.review import overnight
from bainwright.review.collect import CollectAsked, collect
from bainwright.review.report import report


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder of its own; the flash is beside it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(collect_module.time, "time", lambda: 1_800_000_000.0)
    return tmp_path


def collected(board, monkeypatch, **asked):
    """The result of a collection from this board."""

    @contextlib.contextmanager
    def opened(port, image):
        yield FakeSession(board)

    monkeypatch.setattr(collect_module, "open_stored", opened)
    return collect(CollectAsked(**asked))


def a_night(here, seconds=3600, board=None, **asked):
    """A board that held by itself."""
    board = board or LoggingBoard(here / "flash")
    board.start(**asked)
    board.hold(60, bowl=30500)
    board.event("warm", board.t_ms)
    board.hold(seconds - 60)
    board.end()
    return board


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


def test_its_start_has_the_time_of_day_once_the_board_knew_it(here, monkeypatch):
    """The host's word at 1,800,000,000 s, 3600 s after the start; RFC 3339 by CPython's datetime."""
    collected(a_night(here), monkeypatch)  # sends the time; what was said is on the flash with the next sync
    board = a_night(here, board=LoggingBoard(here / "flash2", wall_s=1_800_000_000))
    collected(board, monkeypatch, out="again")
    assert read_log(here / "again" / "dark-1").facts["started"] == "2027-01-15T08:00:00+00:00"
    assert read_log(here / "holds" / "dark-1").facts["started"] is None


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
    monkeypatch.setattr(overnight, "read_log", lambda folder: read.append(folder))
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


def test_a_hold_of_another_log_with_the_same_numbers_is_known_by_its_water(here, monkeypatch):
    """A live log knows nothing of the board's log; but two holds never read the same water all along."""
    monkeypatch.setattr("bainwright.evening.runner.RECONNECT_S", 0.0)
    board = LoggingBoard(here / "flash")
    board.start()
    watched(board, board.hold(300))
    other = LoggingBoard(here / "flash2")
    other.start()
    other.hold(600, water=34000)
    other.end()
    assert collected(other, monkeypatch).holds[0].result["folder"] == "holds/dark-2"


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


# -- joined with what the PC watched --------------------------------------------------------------------------------


def watched(board, said, **hello):
    """A PC that watched the first part of a hold: what `bain hold` leaves behind."""
    script = FakeBoard(lambda: iter([*said, LostBoardError("gone")]), board="0011223344556677", **hello)
    script.start_answer.update(hold=board.log.hold, boot=board.log.boot)
    session = FakeSession(script)
    runner = Runner(resolve(HoldRequest("dark", for_="2h")), session, Notebook())
    runner.prepare()
    return report(runner, runner.run(), None)


def test_what_the_pc_saw_is_unchanged_and_the_board_fills_in_the_rest(here, monkeypatch):
    monkeypatch.setattr("bainwright.evening.runner.RECONNECT_S", 0.0)
    board = LoggingBoard(here / "flash")
    board.start()
    seen = board.hold(605)
    watched(board, seen)
    board.event("warm", board.t_ms)
    board.hold(1195)
    board.end()
    folder = here / "holds" / "dark-1"
    live = (folder / "hold.csv").read_text()
    done = collected(board, monkeypatch)
    assert done.holds[0].result["folder"] == "holds/dark-1"
    text = (folder / "hold.csv").read_text()
    assert text.startswith(live)
    t_s = list(read_log(folder)["t_s"])
    assert t_s == [*range(1, 606), *range(611, 1800, 10)]
    names = [event["event"] for event in read_log(folder).events]
    assert names == ["started", "lost", "warm", "ended"]
    assert done.holds[0].result["ended"] == "done"
    assert done.holds[0].result["lost_lines"] == 0
    assert read_log(folder).facts["started"] == json.loads((folder / "hold.json").read_text())["started"]
    assert collected(board, monkeypatch).holds == []


def test_rows_that_the_pc_saw_after_the_board_s_last_stay_where_a_power_cut_ended_the_hold(here, monkeypatch):
    """The board restarts knowing less than the PC: its restart has the time of its own last row."""
    monkeypatch.setattr("bainwright.evening.runner.RECONNECT_S", 0.0)
    board = LoggingBoard(here / "flash")
    board.start()
    board.hold(1)
    watched(board, board.hold(3))
    folder = here / "holds" / "dark-1"
    live = (folder / "hold.csv").read_text()
    restarted = LoggingBoard(here / "flash")
    restarted.settle()
    done = collected(restarted, monkeypatch)
    assert [(hold.result["folder"], hold.result["ended"]) for hold in done.holds] == [("holds/dark-1", "restarted")]
    assert (folder / "hold.csv").read_text() == live
    assert not list(folder.glob("*.before-*"))


def test_a_hold_the_pc_saw_whole_is_not_touched(here, monkeypatch):
    board = LoggingBoard(here / "flash")
    board.start()
    seen = board.hold(600)
    script = FakeBoard(lambda: iter([*seen, event_line("ended", 1, 0, why="done")]), board="0011223344556677")
    script.start_answer.update(hold=1, boot=1)
    runner = Runner(resolve(HoldRequest("dark", for_="10m")), FakeSession(script), Notebook())
    runner.prepare()
    report(runner, runner.run(), None)
    board.end()
    before = (here / "holds/dark-1/hold.csv").read_bytes()
    done = collected(board, monkeypatch)
    assert (done.holds, done.exit_code) == ([], 0)
    assert (here / "holds/dark-1/hold.csv").read_bytes() == before


# -- the wire -------------------------------------------------------------------------------------------------------


def test_pieces_are_asked_for_eight_at_once_and_a_lost_answer_is_asked_again(here):
    board = a_night(here)
    link = Link(board)
    segment = list_segments(link)[0]
    real = board._do_read
    lost = []

    def read(message):
        if message["at"] == 240 and not lost:
            lost.append(message["id"])
            raise _NoAnswerError
        return real(message)

    board._do_read = read
    write = board.write

    def patient(data):
        for line in data.splitlines(keepends=True):
            with contextlib.suppress(_NoAnswerError):
                write(line)

    board.write = patient
    ticks = iter(range(10**6))
    link._clock = lambda: next(ticks) / 100
    answers = link.request_each("read", [{"segment": segment.first, "at": at} for at in range(0, 960, 120)])
    assert [answer["at"] for answer in answers] == list(range(0, 960, 120))
    assert len(lost) == 1


class _NoAnswerError(Exception):
    """The board's answer got lost on the way."""


def test_a_piece_of_the_wrong_length_is_an_error_in_words(here, monkeypatch):
    board = a_night(here)
    monkeypatch.setattr(board, "_do_read", lambda message: [("at", message["at"]), ("data", "AAAA")])
    with pytest.raises(LinkError, match="wrong length"):
        collected(board, monkeypatch)


def test_a_frame_of_a_later_firmware_is_passed_over(here, monkeypatch):
    board = a_night(here)
    board.folder.append(sorted(board.files())[-1], framing.pack(flashlog.KIND + 1, 9999, b"new"))
    board.log._sizes[-1] = board.folder.size(sorted(board.files())[-1])
    assert collected(board, monkeypatch).exit_code == 0
