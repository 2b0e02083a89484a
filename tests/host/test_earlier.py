"""A hold that is taken over: curves and events of what this PC recorded of it before, with a gap where nobody did."""

import json
import os
from datetime import UTC, datetime

import pytest
from fake_board import FakeBoard, status_line
from scripted_hold import runner_of
from stored_holds import FACTS

from bainwright.display.scene import BELOW, IN, UNKNOWN
from bainwright.evening.earlier import Running, earlier
from bainwright.files.chocolate import load_profile
from bainwright.link.messages import decode
from bainwright.live.now import now_of
from bainwright.page import site
from bainwright.record.columns import HEADER, row
from bainwright.record.reader import read_facts

BOARD = "0011223344556677"
BEGAN_S = datetime.fromisoformat(FACTS["started"]).timestamp()


@pytest.fixture(autouse=True)
def records(tmp_path, monkeypatch):
    """The holds of a home of its own."""
    monkeypatch.setenv("BAIN_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "home" / "holds"


def record(records, name="dark-1", seconds=range(1, 601), took_s=600.0, **changes):
    """Ten minutes of a hold: the bowl is below its window in its first minute."""
    folder = records / name
    folder.mkdir(parents=True)
    facts = {**FACTS, "ended": None, "board": {"board": BOARD}, "hold": 7, **changes}
    (folder / "hold.json").write_text(json.dumps(facts))
    lines = [decode(status_line(t_s, 1000 * t_s, bowl=30500 if t_s < 60 else 31500).strip()) for t_s in seconds]
    (folder / "hold.csv").write_text(HEADER + "\n" + "".join(row(line.t, line) for line in lines))
    (folder / "events.jsonl").write_text(json.dumps({"t_s": 300.0, "event": "thicker"}) + "\n")
    os.utime(folder / "hold.csv", (BEGAN_S + took_s, BEGAN_S + took_s))


def found(t_s=1200.0, now_s=1200.0, hold=7, board=BOARD, simulated=False):
    """What is recorded of a hold that has run for so long, so long after the record's beginning."""
    return earlier(Running(board, hold, t_s, simulated), load_profile("dark"), "water", BEGAN_S + now_s)


def test_what_is_recorded_of_the_hold_comes_back(records):
    """Each second once, where the chocolate was, and the events in the words in which they were shown."""
    record(records)
    record(records, "dark-2", range(550, 700))  # it was joined
    course, events = found()
    assert [each.t_s for each in course] == list(range(1, 700))
    assert (course[0].place, course[599].place) == (BELOW, IN)
    assert (course[99].water_c, course[99].chocolate_c) == (33.0, 31.5)
    assert len(events) == 1
    assert events[0][0] == 300.0


@pytest.mark.parametrize("other", [
    {"hold": 8}, {"hold": None}, {"board": "ffff223344556677"}, {"now_s": 90_000.0}, {"t_s": 400.0, "now_s": 400.0},
    {"simulated": True}])
def test_a_record_of_another_hold_is_none_of_it(records, other):
    """Another number or board; or the same numbers at another time, as after the board was erased."""
    record(records)
    assert found(**other) == ([], [])


@pytest.mark.parametrize(("now_s", "there"), [(120.0, True), (400.0, False)])
def test_a_simulated_hold_is_known_by_its_pace(records, now_s, there):
    """All simulated boards have one id and count from 1. This one played ten minutes in one."""
    record(records, took_s=60.0, VIRTUAL=True)
    assert bool(found(simulated=True, now_s=now_s)[0]) is there


def test_a_record_that_is_damaged_is_left_out(records):
    record(records)
    record(records, "dark-2", started="2026-11-20T18:00:01+00:00")
    (records / "dark-2" / "hold.csv").write_text("no log")
    assert len(found()[0]) == 600


def test_who_takes_a_hold_over_shows_it_whole_with_a_gap(records, monkeypatch):
    """The page's curves begin where the hold did; while no program watched, they are broken and not bridged."""
    record(records, "dark-9")
    board = FakeBoard()
    runner_of([], board=board, rig="pot")  # the board has its documents
    monkeypatch.setattr("time.time", lambda: BEGAN_S + 1200.0)
    board.hello.update(state="hold", hold=7)
    board.clock_answer.update(t=1_200_000, left=5_400_000)
    runner = runner_of([], board=board, join=True)
    scene = runner.scene()
    began_s = datetime.fromisoformat(read_facts(runner._log.folder)["started"]).timestamp()
    assert abs(began_s + 1200.0 - datetime.now(UTC).timestamp()) < 60.0  # a review tells its moments by the clock
    assert (scene.evening[0][0], scene.evening[-1][0]) == (1.0, 541.0)
    scene.see(1201.0, decode(status_line(1201, 1_201_000).strip()))
    assert scene.evening[-2:] == [(1201.0, None, None), (1201.0, 33.0, 31.5)]
    assert (scene.minutes[0], scene.minutes[9], scene.minutes[15]) == (BELOW, IN, UNKNOWN)
    now = now_of(scene)
    assert "does not know" not in site.charts(now)
