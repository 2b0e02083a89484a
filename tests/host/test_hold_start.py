"""What a hold sends, asks and refuses before the warmer heats, on a board in memory that follows a script."""

import contextlib
import json
import re
import signal
from dataclasses import replace

import msgspec
import pytest
from fake_board import FakeBoard, FakeSession, event_line, status_line
from scripted_hold import Counter, Keyboard, Notebook, done, held, quiet, runner_of, turning

from bainboard import faults, settings, wire
from bainwright.alarms.calls import Calls
from bainwright.alarms.rules import Coming
from bainwright.commands.hold import _call_for
from bainwright.core import home
from bainwright.core.errors import FileError, RefusedError, TrippedError
from bainwright.core.units import parse_duration_s
from bainwright.display import scene_words
from bainwright.drill import walk
from bainwright.evening import experiment
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document
from bainwright.files.rig import load_rig
from bainwright.record.reader import read_facts
from bainwright.report.report import report
from bainwright.tuning.tune import TuneAsked
from bainwright.words.advice import advise

pytestmark = pytest.mark.usefixtures("undrawn")


def test_documents_go_up_only_when_the_board_has_others(here):
    """The first time both; the second time, with the board's own hashes matching, neither settings nor profile."""
    board = FakeBoard(lambda: iter([*quiet(), done()]), name="pot")
    runner = runner_of([], board=board, rig="pot")
    assert board.stored.keys() == {"profile", "settings", "gains"}
    assert settings.check(settings.SETTINGS, json.loads(board.stored["settings"]))[1] is None
    assert settings.check_profile(json.loads(board.stored["profile"]))[1] is None
    board.asked.clear()
    Runner(runner.setup, FakeSession(board), Notebook()).prepare()
    assert [asked["what"] for asked in board.asked if asked["do"] == "begin"] == ["gains"]


def test_a_rig_that_names_no_probes_is_refused_before_anything_is_sent(here, monkeypatch):
    """As `bain rig send` refuses it. Sent over a good one, two probes answered as one: a trip with a wrong cause."""
    board = FakeBoard()
    for setup in (resolve(HoldRequest("dark", rig="pot")),
                  experiment._experiment(TuneAsked(rig="pot"), load_profile("dark"))):
        with pytest.raises(FileError, match="2 1-wire probes share the bus"):
            Runner(setup, FakeSession(board), Notebook()).prepare()
    monkeypatch.setattr(walk, "open_board", lambda *_: contextlib.nullcontext(FakeSession(board)))
    with pytest.raises(FileError, match="2 1-wire probes share the bus"):
        walk.run_drill(walk.DrillOptions(rig="pot"), as_json=False, say=print)
    assert board.asked == []


def test_without_a_rig_a_live_board_keeps_its_settings_and_reports_them(here):
    """They are fetched, for the heater's watts, and nothing is written over."""
    board = FakeBoard(lambda: iter([]), settings="12345678")
    board.stored["settings"] = document("settings", {**settings.defaults(settings.SETTINGS), "heater_w": 60.0})
    runner = runner_of([], board=board)
    assert runner.settings["heater_w"] == 60.0
    assert [asked["what"] for asked in board.asked if asked["do"] == "begin"] == ["profile", "gains"]


def test_gains_replace_those_of_the_settings_and_are_reported_whole(here):
    """A live board remembers the gains of the previous hold, so every one of them is sent."""
    (here / "g.toml").write_text("[water]\nkp = 0.7\n")
    board = FakeBoard(lambda: iter([]))
    runner_of([], board=board, gains="g.toml")
    sent = json.loads(board.stored["gains"])
    assert sent["gains.water.kp"] == 0.7
    assert sent.keys() == {row[0] for row in settings.SETTINGS if row[0].startswith("gains.")}


def test_the_start_says_stage_time_and_room(here):
    """In the wire's units; the room only when it was given."""
    board = FakeBoard(lambda: iter([]))
    runner_of([], board=board, for_="3h40m", room="18.5")
    start = board.asked[-1]
    assert {**start, "id": 0} == {"id": 0, "do": "start", "stage": "work", "for_ms": 13_200_000, "room": 18500}
    runner_of([], board=board, for_=None)
    assert "room" not in board.asked[-1]
    assert board.asked[-1]["for_ms"] == 0


def test_a_virtual_board_is_armed_before_the_start_and_runs_after_its_answer(here):
    """The order that makes runs the same to the byte."""
    board = FakeBoard(lambda: iter([*quiet(), done()]))
    session = FakeSession(board, virtual=True)
    runner = Runner(resolve(HoldRequest("dark", virtual="pot", for_="30s")), session, Notebook())
    runner.prepare()
    assert session.acts == ["arm"]
    runner.run()
    assert session.acts == ["arm", "run"]


def test_a_latched_board_is_refused_with_what_to_do(here):
    """Only a person at the warmer clears it."""
    with pytest.raises(RefusedError, match=r"tripped and stays off.*recessed button"):
        runner_of([], board=FakeBoard(state="trip", fault=faults.WATER_PROBE))


def test_heat_that_is_locked_out_names_the_way_out(here):
    """A calibration that was killed leaves the lock; the firmware's own words of it."""
    board = FakeBoard()
    board.refusals["start"] = "the heat is locked out while the probes are calibrated"
    with pytest.raises(RefusedError, match=r"locked out.*press the board's reset button, or wait"):
        runner_of([], board=board)


def test_a_running_board_is_refused_unless_it_is_joined(here):
    """--join watches it without starting or sending anything."""
    with pytest.raises(RefusedError, match=r"already running.*--join"):
        runner_of([], board=FakeBoard(state="hold"))
    board = FakeBoard()
    runner_of([], board=board, rig="pot")
    board.hello["state"] = "hold"
    board.clock_answer.update(t=1_800_000, left=5_400_000)  # half an hour gone, an hour and a half to come
    board.asked.clear()
    joined = runner_of([], board=board, join=True)
    assert scene_words.times(joined.scene())[1] == "2:00:00 left"
    assert {asked["do"] for asked in board.asked} == {"hello", "clock", "send", "chunk", "commit"}
    assert joined.settings["name"] == "pot"
    with pytest.raises(RefusedError, match="no hold is running"):
        runner_of([], board=FakeBoard(), join=True)


@pytest.mark.parametrize("join", [False, True])
def test_a_trip_that_nobody_watched_is_told_to_who_comes(here, join):
    """With what the table of faults says of the plug: a hold that is not running is the least of it."""
    fault = faults.HEAT_AT_REST
    with pytest.raises(TrippedError) as tripped:
        runner_of([], board=FakeBoard(state="trip", fault=fault), join=join)
    assert advise(fault).safety in tripped.value.words()
    assert "leave --join out" not in tripped.value.words()


@pytest.mark.parametrize("join", [False, True])
def test_who_comes_to_watch_and_finds_a_trip_calls_somebody(here, join):
    """A script may start it, so that nobody reads its words; who starts a hold stands there."""
    came = here / "came"
    way = f"tee {came}"  # the words come on its standard input
    tripped = TrippedError("the warmer has tripped")
    _call_for(tripped, resolve(HoldRequest("dark", join=join)), Calls((way,), Coming()), "mat 2")
    assert came.exists() == join
    assert not join or all(each in came.read_text() for each in ("the warmer has tripped", "dark on mat 2"))


def test_a_pc_that_comes_later_knows_of_locked_buttons_and_its_key_unlocks_them(here):
    """The board's hello says so; its event was before this PC's time."""
    runner = runner_of(quiet(), board=FakeBoard(lambda: iter(quiet()), locked=True))
    assert any("locked" in said and "k unlocks" in said for said in runner.notes())
    turning(runner, Keyboard({2: "k"}), Counter(), 4)
    assert runner.session.board.asked[-1]["at"] == "off"
    scene = runner_of(quiet()).scene()
    assert not scene.locked
    assert not scene.panel  # its settings have none
    assert scene.name == "warmer"


def test_joining_a_hold_of_another_chocolate_is_refused(here):
    """Its window would be judged wrongly."""
    board = FakeBoard()
    runner_of([], board=board)
    board.hello["state"] = "hold"
    with pytest.raises(RefusedError, match=r"another chocolate: got dark, wanted milk"):
        Runner(resolve(HoldRequest("milk", join=True)), FakeSession(board), Notebook()).prepare()


def test_a_board_that_will_not_start_says_why(here):
    """Its reason reaches the person, exit status 1, and no log is begun."""
    board = FakeBoard()
    board.refusals["start"] = "the water probe gives no valid reading: no presence"
    with pytest.raises(RefusedError, match="no presence") as refused:
        runner_of([], board=board)
    assert refused.value.exit_code == 1
    assert not (here / "holds").exists()


def test_a_hold_the_ceiling_makes_short_says_so_before_it_starts(here):
    """By how much, as the board worked it out."""
    board = FakeBoard()
    board.start_answer["short"] = 700
    assert any("0.7 °C" in note for note in runner_of([], board=board).notes())


def test_a_hold_shorter_than_its_self_test_says_when_it_ends(here):
    script = [*quiet(2), event_line("started", 1, 0, check_s=240), *quiet(28, first=3), done(2)]
    runner, _, _ = held(script)
    (said,) = [text for _, text in runner.view.events if "comes first" in text]
    assert said == ("the self-test comes first and may take 4 min: the hold ends once it has passed, later than the "
                    "30 s asked for")


def test_documents_are_what_the_firmware_would_take(here):
    """Strict flat JSON under the wire's own reader, within the longest document."""
    usual = settings.defaults(settings.SETTINGS)
    for changes in ({}, {"heater_w": 60.0, "name": "mine"}):
        payload = document("settings", {**usual, **changes})
        assert wire.parse(payload)[1] is None
        assert len(payload) <= 4096
        assert msgspec.json.decode(payload) == changes  # what is as usual is left to the board's own table
        assert settings.check(settings.SETTINGS, msgspec.json.decode(payload)) == ({**usual, **changes}, None)


def test_a_text_the_wire_cannot_carry_is_refused_in_words():
    """Beyond the basic plane."""
    with pytest.raises(FileError, match="cannot be sent"):
        document("settings", {**settings.defaults(settings.SETTINGS), "name": "\U0001f36b"})


def test_an_experiment_whose_process_is_told_to_end_is_stopped(here, monkeypatch):
    """A hold goes on without its PC; a wave of heat to learn from does not."""

    class Ended(FakeBoard):
        """After its last line the process gets SIGTERM's end."""

        def read(self):
            if self.asked and self.asked[-1]["do"] == "start" and not self._said:
                raise KeyboardInterrupt
            return super().read()

    board = Ended(lambda: iter(quiet(5)))
    monkeypatch.setattr(experiment, "open_board", lambda *_: contextlib.nullcontext(FakeSession(board)))
    with pytest.raises(RefusedError, match=r"did not come to its end: .* the warmer is off"):
        experiment.learn(TuneAsked(), load_profile("dark"), lambda *_, **__: None, report)
    assert [asked["do"] for asked in board.asked[-2:]] == ["start", "stop"]
    (folder,) = home.hold_folders([])
    facts = read_facts(folder)  # as any hold's: its heat and its trips are in the list and the sums
    assert (facts["ended"], facts["duration_s"]) == ("left running", 5.0)
    assert facts["report"]["summary"]
    assert (folder / "hold.parquet").is_file()


def test_what_would_refuse_a_tuning_at_its_end_is_said_before_the_wait(here, monkeypatch):
    """By hand, pot of 2 L with 2 kg at 0.6 kg steel, 20 to 31.5 °C: 2 kg x 4.18 + 2 kg x 1.67 + some metal = 11.7 kJ/K
    and more, so 40 W take 134 kJ in 56 min and more. A bowl and a pot of that size lose 6 W and more at 11.5 °C over
    their room (0.93 W/K the bowl alone: heat account), so 5 W hold nothing.
    """
    pot, dark = load_rig("pot"), load_profile("dark")

    def of(heater_w, for_s=3600.0, room_c=20.0):
        rig = replace(pot, settings={**pot.settings, "heater_w": heater_w})
        return " ".join(experiment.doubts(rig, dark, room_c, for_s))

    assert of(150.0) == ""
    assert "the heater is too weak" in of(5.0)
    slow = of(40.0)
    hours, minutes = map(int, re.search(r"takes about (\d) h (\d\d) min to warm up", slow).groups())
    assert 56 < 60 * hours + minutes < 120
    longer_s = parse_duration_s(slow.partition("--for ")[2].partition(" is safer")[0])
    assert of(40.0, for_s=longer_s) == ""
    said = []
    board = FakeBoard(lambda: iter([*quiet(5), event_line("ended", 1, 5000, why="stopped")]))
    monkeypatch.setattr(experiment, "open_board", lambda *_: contextlib.nullcontext(FakeSession(board)))
    experiment.learn(TuneAsked(for_="10m"), dark, lambda text, **_: said.append(text), report)
    notes = "\n".join(said).partition("learning the warmer")[0]
    assert "which leaves little of the 10 min to learn from" in notes


def test_an_experiment_on_a_board_whose_clock_stands_still_is_stopped(here, monkeypatch):
    """It says "hold" for ever, at time zero; the PC's clock ends it."""

    class Frozen(FakeBoard):
        def read(self):
            if self.asked and self.asked[-1]["do"] == "start" and not self._said:
                return status_line(1, 0, stage="tune")
            return super().read()

    board = Frozen()
    monkeypatch.setattr(experiment, "LATE_S", -1.25 * experiment.LEARN_S + 0.5)
    monkeypatch.setattr(experiment, "open_board", lambda *_: contextlib.nullcontext(FakeSession(board)))
    with pytest.raises(RefusedError, match="by this PC's clock its time is long over"):
        experiment.learn(TuneAsked(), load_profile("dark"), lambda *_, **__: None, report)
    assert board.asked[-1]["do"] == "stop"


class PressedAfterStart(FakeBoard):
    """Somebody presses Ctrl-C while the answer to the start is on its way."""

    def _do_start(self, message):
        signal.raise_signal(signal.SIGINT)
        return super()._do_start(message)


@pytest.mark.parametrize(("why", "last"), [
    ("no memory now; nothing was changed; try again", "stop"),
    ("an error in the firmware (OSError: 5); the hold is not affected", "stop"),
    ("not in state hold", "start"),
])
def test_a_start_that_failed_within_the_board_is_stopped_and_somebody_else_s_hold_is_not(here, why, last):
    board = FakeBoard()
    board.refusals["start"] = why
    with pytest.raises(RefusedError):
        runner_of([], board=board)
    assert board.asked[-1]["do"] == last


def test_ctrl_c_during_the_start_stops_the_board(here):
    board = PressedAfterStart()
    with pytest.raises(KeyboardInterrupt), runner_for(board) as runner:
        runner.prepare()
    assert [asked["do"] for asked in board.asked[-2:]] == ["start", "stop"]


def test_ctrl_c_and_errors_between_start_and_watching_leave_no_hold_behind(here):
    """Ctrl-C waits for the watching, which stops the hold where nobody sits at a keyboard; an error stops it too."""
    board = FakeBoard(lambda: iter(quiet(5)))
    with runner_for(board) as runner:
        runner.prepare()
        signal.raise_signal(signal.SIGINT)
        assert runner.run().watch.ended == "stopped"
    assert board.asked[-1]["do"] == "stop"
    with pytest.raises(BrokenPipeError):
        break_after_start(board)
    assert board.asked[-1]["do"] == "stop"


def test_an_error_beside_a_hold_that_was_joined_does_not_stop_it(here):
    board = FakeBoard()
    runner_of([], board=board)
    board.hello["state"] = "hold"
    with pytest.raises(BrokenPipeError):
        break_after_start(board, join=True)
    assert board.asked[-1]["do"] != "stop"


@pytest.mark.parametrize(("number", "ended"), [(signal.SIGTERM, "left running"), (signal.SIGINT, "stopped")])
def test_a_signal_ends_a_hold_that_was_joined_as_any_other(here, number, ended):
    board = FakeBoard(lambda: iter(quiet(5)))
    runner_of([], board=board)
    board.hello["state"] = "hold"
    with runner_for(board, join=True) as runner:
        runner.prepare()
        signal.raise_signal(number)
        assert runner.run().watch.ended == ended


def break_after_start(board, **asked):
    with runner_for(board, **asked) as runner:
        runner.prepare()
        raise BrokenPipeError


def runner_for(board, **asked):
    return Runner(resolve(HoldRequest("dark", **asked)), FakeSession(board), Notebook())
