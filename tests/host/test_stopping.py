"""A board that lies about its heat: what the person reads, on boards in memory that answer otherwise than they do."""

from __future__ import annotations

import contextlib
from collections import deque
from typing import Any

import pytest
from fake_board import FakeBoard, FakeSession, event_line, gone, status_line
from scripted_hold import Counter, Keyboard, Notebook, done, held, quiet, runner_of, turning

from bainboard import settings
from bainwright.calibration import reading
from bainwright.core.errors import LinkError, RefusedError
from bainwright.drill import board_check
from bainwright.evening import acts, endings, experiment, watch
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.files.chocolate import load_profile
from bainwright.link import protocol, stopping
from bainwright.link.protocol import Link
from bainwright.record.reader import read_log
from bainwright.report.report import report
from bainwright.tuning.tune import TuneAsked

pytestmark = pytest.mark.usefixtures("undrawn")

PLUG = "MAY STILL HEAT: pull the heater's plug now"


class Heating(FakeBoard):
    """Its flaw: `stop` is confirmed, refused or not answered, or `start` is refused, and it heats all the same."""

    def __init__(self, flaw: str, **hello: Any) -> None:
        super().__init__(**hello)
        self.flaw, self.on = flaw, False
        if flaw == "refuses stop":
            self.refusals["stop"] = "not in state hold"
        if flaw in ("refuses start", "fails start"):
            self.refusals["start"] = "not in state hold" if flaw == "refuses start" else "no memory now; try again"

    def write(self, data: bytes) -> None:
        super().write(data)
        do = self.asked[-1]["do"]
        self.on = self.on or do == "start"
        if do in ("start", "stop"):
            self._said = deque([self._said[0]])  # its answer, and nothing at rest
        if (do == "stop" and self.flaw == "deaf") or (do in ("start", "stop") and self.flaw == "deaf from the start"):
            self._said.clear()

    def read(self) -> bytes:
        if not self._said and self.on:
            self._status += 1
            return status_line(self._status, 1000 * self._status)
        return super().read()


@pytest.fixture(autouse=True)
def quick(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(stopping, "LOOK_S", 0.05)
    monkeypatch.setattr(protocol, "ANSWER_WAIT_S", 0.05)


def prepared(board: FakeBoard) -> Runner:
    runner = Runner(resolve(HoldRequest("dark", for_="30s")), FakeSession(board), Notebook())
    runner.prepare()
    return runner


STUBBORN = ("ignores stop", "refuses stop", "deaf")


@pytest.mark.parametrize("flaw", STUBBORN)
def test_a_hold_that_does_not_stop_is_named_as_one_that_may_heat(flaw):
    runner = prepared(Heating(flaw))
    course = turning(runner, Keyboard({}), Counter(2), 3)
    assert course.ended == endings.NOT_OFF
    assert any(PLUG in text for _, text in runner.view.events)


@pytest.mark.parametrize("flaw", STUBBORN)
def test_its_report_says_so_and_its_exit_status_is_not_0(flaw, monkeypatch):
    runner = prepared(Heating(flaw))
    monkeypatch.setattr(runner._interrupts, "count", 2)
    with runner:
        ended = runner.run()
    assert ended.watch.scene.unwatched == "not_off"  # who reads this at the PC may not be who is beside the warmer
    done = report(runner, ended, None)
    assert PLUG in done.summary
    assert done.exit_code == 1


def test_a_phone_that_stops_it_reads_that_too():
    runner = prepared(Heating("ignores stop"))
    reply = runner._keyboard._inbox.put(acts.BY_NAME["stop"], "")
    turning(runner, Keyboard({}), Counter(), 3)
    assert reply.result(0) == acts.Reply(False, stopping.NOT_STOPPED)


def test_a_board_that_reports_nothing_after_its_stop_may_heat():
    class Silent(FakeBoard):
        def _at_rest(self, later: int) -> bytes:
            return b""

    assert not stopping.stop(FakeSession(Silent()))
    assert stopping.stop(FakeSession(FakeBoard()))
    assert stopping.stop(FakeSession(Silent(), virtual=True))


def test_one_report_of_before_the_stop_is_no_heat_after_it():
    class Late(FakeBoard):
        def _at_rest(self, later: int) -> bytes:
            return status_line(1, 1000) + super()._at_rest(later)

    assert stopping.stop(FakeSession(Late()))


@pytest.mark.parametrize("error", [LinkError, RefusedError])
def test_a_start_that_failed_and_cannot_be_stopped_may_heat(error):
    board = Heating("deaf from the start" if error is LinkError else "fails start")
    with pytest.raises(error, match=PLUG):
        prepared(board)


def test_a_refused_start_that_heats_is_said_and_not_stopped():
    """It may be somebody's, who pressed the button a moment before."""
    board = Heating("refuses start")
    with pytest.raises(RefusedError, match=r"reports a hold or heat: got not in state hold; .*pull the heater's plug"):
        prepared(board)
    assert board.asked[-1]["do"] == "start"


def test_a_refused_start_and_silence_is_said():
    class Silent(FakeBoard):
        def _at_rest(self, later: int) -> bytes:
            return b""

    board = Silent()
    board.refusals["start"] = "no"
    with pytest.raises(RefusedError, match="reported nothing since: got no; look whether it heats"):
        prepared(board)


def test_a_board_that_says_it_started_and_rests_was_not_stopped():
    resting = [status_line(number, 0, state="idle", stage="", duty=0, on=0) for number in range(1, 7)]
    runner = runner_of(resting)
    ended = runner.run()
    assert ended.watch.ended == endings.NEVER_RAN
    done = report(runner, ended, None)
    assert "stayed at rest" in done.summary
    assert "stopped" not in done.summary
    assert done.exit_code == 1


def test_an_error_before_the_watching_says_what_may_heat():
    runner = Runner(resolve(HoldRequest("dark", for_="30s")), FakeSession(Heating("ignores stop")), Notebook())
    with contextlib.suppress(BrokenPipeError), runner:
        runner.prepare()
        raise BrokenPipeError
    assert runner.view.said == [stopping.NOT_STOPPED]


@pytest.mark.parametrize("flaw", [*STUBBORN, "lost"])
def test_an_experiment_that_does_not_stop_names_the_plug(flaw, monkeypatch):
    class Lost(FakeBoard):
        def write(self, data: bytes) -> None:
            super().write(data)
            if self.asked[-1]["do"] == "start":
                self.say(*quiet(2), gone())
            elif self.asked[-1]["do"] == "stop":
                raise gone()

    class Ended(Heating):
        def read(self) -> bytes:
            if self._status > 5 and not self._said and "stop" not in [asked["do"] for asked in self.asked]:
                raise KeyboardInterrupt
            return super().read()

    board = Lost() if flaw == "lost" else Ended(flaw)
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 0.0)
    monkeypatch.setattr(experiment, "open_board", lambda *_: contextlib.nullcontext(FakeSession(board)))
    with pytest.raises(RefusedError, match=PLUG):
        experiment.learn(TuneAsked(), load_profile("dark"), lambda *_, **__: None, report)


def test_a_board_check_says_that_it_went_on():
    check = board_check.BoardCheck(FakeSession(Heating("ignores stop")), None, print, 0.05)
    assert check._in_self_test()[3] == "told to stop, it went on"
    check = board_check.BoardCheck(FakeSession(Heating("refuses start")), None, print, 0.05)
    assert "reports a hold or heat" in check._in_self_test().note


@pytest.mark.parametrize("fields", [{"state": "idle", "duty": 100, "on": 0}, {"state": "check"}])
def test_heat_in_a_calibration_is_said(fields):
    """The heat is locked out then: probes lie in ice or boiling water."""
    class Warm(FakeBoard):
        def read(self) -> bytes:
            return super().read() or status_line(1, 0, **fields)

    values = {**settings.defaults(settings.SETTINGS), "probe.bowl.kind": "onewire"}
    for read in (lambda link: reading.steady(link, values, ["water"], 0.0), lambda link: reading.lifted(link, values)):
        with pytest.raises(RefusedError, match=r"locked out for the calibration, and yet.*pull the heater's plug"):
            read(Link(Warm()))


def test_a_line_that_comes_again_is_no_restart():
    """Whatever is between may keep a line and send it again."""
    lines = quiet(30)
    script = [piece for at, line in enumerate(lines) for piece in (line, line, lines[at // 2])]
    started = event_line("started", 1, 0, check_s=1)
    runner, ended, _ = held([lines[0], started, *script[1:], started, done(2), done(2)])
    assert ended.watch.ended == endings.DONE
    assert len(read_log(ended.watch.log.folder)) == 30
    assert ended.watch.losses.lost == 0
    assert [text for _, text in runner.view.events if "self-test" in text] != []


def test_a_stray_line_of_before_this_program_listened_is_no_restart():
    """Nobody saw it the first time; the lines after it count on from the hold's own."""
    moved = [status_line(200 + number, 1000 * number) for number in range(1, 31)]
    moved.insert(20, status_line(3, 0, state="idle", stage="", duty=0, on=0))
    _, ended, _ = held([*moved, done(1)])
    assert ended.watch.ended == endings.DONE
    assert len(read_log(ended.watch.log.folder)) == 30


@pytest.mark.parametrize("between", [(20,), range(2, 30, 2)], ids=["once", "after every line"])
@pytest.mark.parametrize("first", [1, 5001], ids=["the next number", "numbers of its own"])
def test_one_line_at_rest_among_those_of_a_hold_does_not_end_it(between, first):
    """As a second board on a mixed wire sends it: the hold was "stopped", and the first board ran unwatched."""
    moved = [status_line(number, 1000 * number) for number in range(1, 31)]
    for number in between:
        moved[number] = status_line(first + number, 0, state="idle", stage="", duty=0, on=0)
    _, ended, _ = held([*moved, done(1)])
    assert ended.watch.ended == endings.DONE
    assert len(read_log(ended.watch.log.folder)) == 30 - len(between)


@pytest.mark.parametrize("latched", [True, False])
def test_a_trip_is_told_with_the_next_status_line(latched):
    """A board sends the event just before the line of the same tick, which names the fault."""
    after = {"state": "trip" if latched else "off", "fault": 1, "duty": 0}
    trip = event_line("trip", 1, 10_000, fault=1, latched=latched)
    course = runner_of([*quiet(10), trip, *quiet(1, 11, **after), done(2, "stopped")]).run().watch
    assert [(trip["t_s"], trip["latched"]) for trip in course.trips] == [(10.0, latched)]
    assert watch.GOES_ON not in [text for _, text in course.scene.events]


def test_a_trip_whose_event_was_lost_is_told_by_its_status_lines():
    """Nobody read of it: "No trips", and exit status 0. It is told once, though the event comes late."""
    tripped = [status_line(at, 1000 * at, state="trip", fault=1, water=None, duty=0) for at in range(11, 21)]
    late = event_line("trip", 7, 11_000, fault=1, latched=True)
    runner, ended, outcome = held([*quiet(10), *tripped[:5], late, *tripped[5:], done(8, "stopped")])
    assert [(trip["t_s"], trip["name"], trip["latched"]) for trip in ended.watch.trips] == [(11.0, "water_probe", True)]
    assert [text for _, text in runner.view.events if text.startswith("TRIP")] != []
    assert (outcome.exit_code, outcome.result["ended"]) == (1, "stopped")


@pytest.mark.parametrize(("seconds", "ended"), [(28, endings.DONE), (20, endings.STOPPED)])
def test_a_hold_at_its_planned_end_was_not_stopped_though_its_last_event_was_lost(seconds, ended):
    """Planned are 30 s."""
    resting = [status_line(at, 0, state="idle", stage="", duty=0, on=0) for at in range(seconds + 1, seconds + 5)]
    course = runner_of([*quiet(seconds), *resting]).run().watch
    assert course.ended == ended


def test_lines_of_a_hold_that_come_late_are_no_restart():
    """Two in a row, the newest between them spoilt on the way; they count on from each other."""
    lines = [status_line(at, 1000 * at) for at in range(1, 31)]
    moved = [*lines[:10], *lines[14:20], *lines[10:14], *lines[21:]]
    ended = runner_of([*moved, done(1)]).run()
    assert ended.watch.ended == endings.DONE


STRAYS = {"its end": [("ended", {"why": "stopped"})], "its start": [("boot", {"cause": "power", "why": "power"})],
          "its trip": [("trip", {"fault": 1, "latched": True})],
          "its fault": [("trip", {"fault": 1, "latched": False})],
          "both": [("boot", {"why": "power"}), ("ended", {"why": "done"})]}  # fmt: skip


@pytest.mark.parametrize("number", [3, 900], ids=["the next number", "a number of its own"])
@pytest.mark.parametrize("resting", [False, True], ids=["alone", "with a line at rest"])
@pytest.mark.parametrize("strays", STRAYS.values(), ids=STRAYS)
def test_an_event_of_another_board_ends_no_hold_that_goes_on(strays, resting, number):
    """Its end or its start was believed at once, and the first board ran unwatched."""
    moved = [status_line(at, 1000 * at) for at in range(1, 31)]
    rest = [status_line(number, 0, state="idle", stage="", duty=0, on=0)] if resting else []
    moved[20:20] = [event_line(name, number + at, 0, **said) for at, (name, said) in enumerate(strays)] + rest
    ended = runner_of([*moved, done(1)]).run()
    ended.watch.log.close()
    assert ended.watch.ended == endings.DONE
    assert len(read_log(ended.watch.log.folder)) == 30
    assert [event["event"] for event in read_log(ended.watch.log.folder).events] == ["ended"]
    assert ended.watch.trips == []
    assert watch.GOES_ON in [text for _, text in ended.watch.scene.events]


def test_an_end_that_a_board_reports_and_is_then_unplugged_is_its_end():
    """No lines at rest confirm it: "lost" would look for the board for the rest of the evening."""
    course = runner_of([*(status_line(at, 1000 * at) for at in range(1, 11)), done(1), gone()]).run().watch
    assert course.ended == endings.DONE
    assert [text for _, text in course.scene.events] == ["the hold ended: the time is up"]


def test_two_lines_at_rest_in_a_row_end_a_hold_whose_end_was_lost():
    moved = [status_line(number, 1000 * number) for number in range(1, 11)]
    resting = [status_line(number, 0, state="idle", stage="", duty=0, on=0) for number in range(11, 21)]
    _, ended, _ = held([*moved, *resting])
    assert ended.watch.ended == endings.STOPPED


def test_lines_that_lie_behind_the_answer_to_the_start_are_no_rest():
    """The board's lines come 2.5 s late, in order: three of before the start come after its answer."""
    resting = [status_line(number, 0, state="idle", stage="", duty=0, on=0) for number in (11, 12, 13)]
    moved = [status_line(13 + number, 1000 * number) for number in range(1, 31)]
    _, ended, _ = held([*resting, event_line("started", 1, 0, check_s=1), *moved, done(2)])
    assert ended.watch.ended == endings.DONE
    assert len(read_log(ended.watch.log.folder)) == 30


def test_another_chocolate_than_the_one_asked_for_is_stopped():
    """A board that takes a document and keeps its old one, or answers with other figures."""
    board = FakeBoard(lambda: iter(quiet()))
    board.start_answer |= {"low": 45000, "target": 46000, "high": 47000}
    with pytest.raises(RefusedError, match=r"got 45 to 47 °C, aimed at 46 °C, wanted 31 to 32 °C.*it was stopped"):
        prepared(board)
    assert [asked["do"] for asked in board.asked[-2:]] == ["start", "stop"]

    class Keeps(FakeBoard):
        def _do_hello(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
            return list({**self.hello, "profile": "12345678"}.items())

    board = Keeps()
    with pytest.raises(RefusedError, match="took the profile, and reports that it has another"):
        prepared(board)
    assert "start" not in [asked["do"] for asked in board.asked]
