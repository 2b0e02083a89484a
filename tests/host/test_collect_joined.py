"""What the PC watched and what the board logged, joined; and the wire that brings the log."""

from __future__ import annotations

import contextlib
import json
import shutil

import pytest
from collect_tools import a_night, collected, watched
from fake_board import FakeBoard, FakeSession, event_line
from logging_board import LoggingBoard
from test_hold import Notebook

from bainboard import flashlog, framing
from bainwright.core.errors import LinkError
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.link.protocol import Link
from bainwright.record.collecting import list_segments
from bainwright.record.reader import read_log
from bainwright.report import collect as collect_module
from bainwright.report.report import report

pytestmark = pytest.mark.usefixtures("undrawn")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder of its own; the flash is beside it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(collect_module.time, "time", lambda: 1_800_000_000.0)
    return tmp_path


# -- joined with what the PC watched --------------------------------------------------------------------------------


def test_what_the_pc_saw_is_unchanged_and_the_board_fills_in_the_rest(here, monkeypatch):
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 0.0)
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


@pytest.mark.parametrize("lost", [False, True], ids=["its own is here", "it is not"])
@pytest.mark.parametrize("otherwise", [
    {"ended": "stopped", "duration_s": 0.0},  # stopped before its first second: the next hold got its number
    {"profile": {"name": "white"}},
    {"started": "2026-11-29T20:00:00+00:00"},
])
def test_a_hold_without_rows_takes_no_other_hold_of_its_number(otherwise, lost, here, monkeypatch):
    """It has one board and one number with the hold that is collected, and its folder comes first by name."""
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 0.0)
    board = LoggingBoard(here / "flash")
    board.log.set_clock(board.now_ms, 1_800_000_000)
    board.start()
    watched(board, board.hold(65))
    board.hold(600)
    board.end()
    own, other = here / "holds" / "dark-1", here / "holds" / "dark-0"
    other.mkdir()
    header = (own / "hold.csv").read_text().splitlines(keepends=True)[0]
    (other / "hold.csv").write_text(header)
    (other / "hold.json").write_text(json.dumps({**json.loads((own / "hold.json").read_text()), **otherwise}))
    if lost:
        shutil.rmtree(own)
    assert collected(board, monkeypatch).holds[0].result["folder"] == "holds/dark-1"
    assert (other / "hold.csv").read_text() == header


@pytest.mark.parametrize("name", ["ended", "boot"])
@pytest.mark.parametrize("at_s", [300.0, 605.0])
def test_an_end_after_which_the_board_s_rows_go_on_is_none(here, monkeypatch, name, at_s):
    """All behind it counted for nothing: the rows were in no folder, and the board's copy was deleted."""
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 0.0)
    board = LoggingBoard(here / "flash")
    board.start()
    watched(board, board.hold(605))
    folder = here / "holds" / "dark-1"
    with open(folder / "events.jsonl", "a") as events:
        events.write(json.dumps({"event": name, "t_s": at_s, "why": "done"}) + "\n")
    board.hold(1195)
    board.end()
    done = collected(board, monkeypatch)
    assert list(read_log(folder)["t_s"]) == [*range(1, 606), *range(611, 1800, 10)]
    assert done.holds[0].result["ended"] == "done"
    assert [event["event"] for event in read_log(folder).events][-1] == "ended"
    assert list(folder.glob("events.jsonl.before-*"))


def test_rows_that_the_pc_saw_after_the_board_s_last_stay_where_a_power_cut_ended_the_hold(here, monkeypatch):
    """The board restarts knowing less than the PC: its restart has the time of its own last row."""
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 0.0)
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


def watched_whole(here, board, seen):
    """A hold of ten minutes of which a PC read each line; the log that it wrote."""
    script = FakeBoard(lambda: iter([*seen, event_line("ended", 1, 0, why="done")]), board="0011223344556677")
    script.start_answer.update(hold=1, boot=1)
    runner = Runner(resolve(HoldRequest("dark", for_="10m")), FakeSession(script), Notebook())
    runner.prepare()
    report(runner, runner.run(), None)
    board.end()
    return (here / "holds/dark-1/hold.csv").read_bytes()


def test_a_hold_the_pc_saw_whole_is_not_touched(here, monkeypatch):
    board = LoggingBoard(here / "flash")
    board.start()
    seen = board.hold(600)
    before = watched_whole(here, board, seen)
    done = collected(board, monkeypatch)
    assert (done.holds, done.exit_code) == ([], 0)
    assert (here / "holds/dark-1/hold.csv").read_bytes() == before


def test_a_trip_that_the_pc_did_not_hear_of_comes_from_the_board_s_log(here, monkeypatch):
    """Each second was watched, and between two of them the heat was off: the hold stood for whole, with no trip."""
    board = LoggingBoard(here / "flash")
    board.start()
    seen = board.hold(300)
    board.event("trip", board.t_ms, fault=1, latched=False)
    seen += board.hold(300)
    before = watched_whole(here, board, seen)
    done = collected(board, monkeypatch)
    assert [(trip["t_s"], trip["fault"]) for trip in done.holds[0].result["trips"]] == [(300.0, 1)]
    assert [event["event"] for event in read_log(here / "holds/dark-1").events] == ["started", "trip", "ended"]
    assert (here / "holds/dark-1/hold.csv").read_bytes() == before
    assert collected(board, monkeypatch).holds == []


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


@pytest.mark.parametrize("before", [0, 600], ids=["new", "continued"])
def test_a_piece_that_is_another_request_s_is_fetched_again(here, monkeypatch, before):
    """Once: neither is the disk blamed, nor the log of the same board taken for another's."""
    board = LoggingBoard(here / "flash")
    board.start()
    if before:
        board.hold(before)
        collected(board, monkeypatch)
    board.hold(1800)
    board.end()
    real, slips = board._do_read, [1]

    def read(message):
        said = real(message)
        if message["at"] >= 120 and slips and len(said[1][1]) == len(real({**message, "at": 0})[1][1]):
            slips.pop()
            return [said[0], real({**message, "at": 0})[1]]
        return said

    board._do_read = read
    collected(board, monkeypatch)
    assert not slips
    assert sorted(str(path.relative_to(here / "holds")) for path in here.glob("holds/**/*") if path.is_dir()) == [
        "boards", "boards/0011223344556677", "dark-1"]  # fmt: skip
    assert read_log(here / "holds" / "dark-1").facts["ended"] == "done"


def test_a_frame_of_a_later_firmware_is_passed_over(here, monkeypatch):
    board = a_night(here)
    board.folder.append(sorted(board.files())[-1], framing.pack(flashlog.KIND + 1, 9999, b"new"))
    board.log._sizes[-1] = board.folder.size(sorted(board.files())[-1])
    assert collected(board, monkeypatch).exit_code == 0
