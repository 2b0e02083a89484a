"""A hold from hello to its report, on a board in memory that follows a script."""

import itertools
import json
import shutil
import time

import msgspec
import numpy as np
import pytest
from fake_board import FakeBoard, FakeSession, event_line, gone, status_line

from bainboard import faults, settings, wire
from bainwright.core.errors import FileError, FullDiskError, RefusedError, UseError
from bainwright.display import scene_words
from bainwright.evening import runner as hold_module
from bainwright.evening import watch
from bainwright.evening.options import HoldRequest, ask_about_stock, resolve
from bainwright.evening.prompts import EveningPrompts
from bainwright.evening.runner import Outcome, Runner
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document
from bainwright.files.rig import load_rig
from bainwright.files.score import READINGS, TRUE, Trace, Window
from bainwright.link.messages import decode
from bainwright.record import writer
from bainwright.record.reader import HoldLog, read_log
from bainwright.record.writer import make_folder
from bainwright.review.report import judge, report


class Notebook:
    """A view that records every call."""

    def __init__(self):
        self.events, self.said, self.scenes = [], [], 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return

    def refresh(self, scene):
        self.scenes += 1

    def event(self, t_s, text):
        self.events.append((t_s, text))

    def say(self, text):
        self.said.append(text)


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder of its own for what the hold writes."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def quiet(seconds=30, first=1, **other):
    """So many seconds of a quiet hold."""
    return [status_line(n, n * 1000, **other) for n in range(first, first + seconds)]


def done(number=1, why="done"):
    """The board ends the hold."""
    return event_line("ended", number, 0, why=why)


def runner_of(script, *, for_="30s", virtual=False, truth=None, board=None, **asked):
    """A runner on a fake board, prepared."""
    board = board or FakeBoard(lambda: iter(script))
    session = FakeSession(board, virtual=virtual, truth=truth)
    runner = Runner(resolve(HoldRequest("dark", for_=for_, **asked)), session, Notebook())
    runner.prepare()
    return runner


def held(script, **options):
    """Run a script; its runner, its end and its report."""
    runner = runner_of(script, **options)
    ended = runner.run()
    return runner, ended, report(runner, ended, options.get("truth"))


# -- before the start ------------------------------------------------------------------------------------------------


def test_documents_go_up_only_when_the_board_has_others(here):
    """The first time both; the second time, with the board's own hashes matching, neither settings nor profile."""
    board = FakeBoard(lambda: iter([*quiet(), done()]))
    runner = runner_of([], board=board, rig="pot")
    assert board.stored.keys() == {"profile", "settings", "gains"}
    assert settings.check(settings.SETTINGS, json.loads(board.stored["settings"]))[1] is None
    assert settings.check_profile(json.loads(board.stored["profile"]))[1] is None
    board.asked.clear()
    Runner(runner.setup, FakeSession(board), Notebook()).prepare()
    assert [asked["what"] for asked in board.asked if asked["do"] == "begin"] == ["gains"]


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


def test_a_pc_whose_clock_steps_writes_every_row_in_order(here, monkeypatch):
    """The board counts a hold's time; the PC's clock, here of another year at each look, gives only its date."""
    years = itertools.cycle([1_900_000_000, 1_700_000_000, -5])
    monkeypatch.setattr(time, "time", lambda: next(years))
    runner, ended, _ = held([*quiet(), done()])
    assert ended.watch.ended == "done"
    assert read_log(ended.watch.log.folder)["t_s"].tolist() == [float(t_s) for t_s in range(1, 31)]
    assert not [note for note in runner.notes() if "clock" in note]


def test_a_pc_whose_clock_is_wrong_holds_and_says_so(here):
    board = FakeBoard(lambda: iter([*quiet(), done()]))
    board.refusals["clock"] = "wall_s: got 5, wanted 1704067200 to 4294967295"
    runner = runner_of([], board=board)
    assert [note for note in runner.notes() if "this PC's clock is wrong" in note]
    assert runner.run().watch.ended == "done"


def test_a_latched_board_is_refused_with_what_to_do(here):
    """Only a person at the warmer clears it."""
    with pytest.raises(RefusedError, match=r"tripped and stays off.*recessed button"):
        runner_of([], board=FakeBoard(state="trip", fault=faults.WATER_PROBE))


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


def test_a_pc_that_comes_later_knows_of_locked_buttons_and_its_key_unlocks_them(here):
    """The board's hello says so; its event was before this PC's time."""
    runner = runner_of(quiet(), board=FakeBoard(lambda: iter(quiet()), locked=True))
    assert any("locked" in said and "k unlocks" in said for said in runner.notes())
    turning(runner, Keyboard({2: "k"}), Counter(), 4)
    assert runner.session.board.asked[-1]["at"] == "off"
    assert not runner_of(quiet()).scene().locked


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


# -- while it runs ---------------------------------------------------------------------------------------------------


def test_an_ordinary_hold_is_logged_scored_and_done(here):
    """Thirty seconds at 31.5 °C: all in the window, no trips, exit status 0, every file there."""
    _, _, outcome = held([*quiet(), done()])
    assert outcome.exit_code == 0
    assert outcome.result["duration_s"] == 30
    assert outcome.result["warm_up_s"] == 1  # the first row is at 1 s
    assert outcome.result["in_window_fraction"] == 1
    assert outcome.result["bowl_rms_error_c"] == 0
    assert outcome.result["trips"] == []
    assert outcome.result["lost_lines"] == 0
    assert outcome.result["scored_from"] == READINGS
    assert outcome.result["log"] == "holds/dark-1/hold.csv"
    assert {path.name for path in (here / "holds/dark-1").iterdir()} == {
        "hold.csv",
        "hold.parquet",
        "hold.json",
        "events.jsonl",
        "hold.png",
        "hold.svg",
    }
    assert len(read_log(here / "holds/dark-1")) == 30
    json.dumps(outcome.result, allow_nan=False)


def test_a_virtual_hold_is_scored_from_the_truth(here):
    """The probe says 31.5 °C; in truth the chocolate was 0.2 K cooler, and outside for the last 30 of 120 s."""
    truth = {
        "t_ms": 1000.0 * np.arange(121),
        "water_c": np.full(121, 33.0),
        "bowl_c": np.where(np.arange(121) < 90, 31.3, 30.0),
    }
    board = FakeBoard(lambda: iter([*quiet(120), done()]))
    session = FakeSession(board, virtual=True, truth=truth)
    runner = Runner(resolve(HoldRequest("dark", virtual="pot", for_="120s")), session, Notebook())
    runner.prepare()
    outcome = report(runner, runner.run(), truth)
    assert outcome.result["scored_from"] == TRUE
    assert outcome.result["in_window_fraction"] == pytest.approx(90 / 120)
    assert outcome.result["bowl_rms_error_c"] == pytest.approx(np.sqrt((90 * 0.2**2 + 30 * 1.5**2) / 120))


def test_an_estimated_bowl_is_not_scored_as_a_reading(here):
    """No probe, no claim: None, and said."""
    _, _, outcome = held([*quiet(est=1), done()])
    assert outcome.result["in_window_fraction"] is None
    assert "not known" in outcome.summary
    assert outcome.exit_code == 0


def test_a_hold_that_never_reached_its_window_is_not_as_it_should_be(here):
    """Exit status 1, fraction 0, no warm-up."""
    _, _, outcome = held([*quiet(bowl=25000), done()])
    assert (outcome.exit_code, outcome.result["in_window_fraction"], outcome.result["warm_up_s"]) == (1, 0.0, None)


def test_a_hold_that_left_its_window_for_good_is_not_as_it_should_be(here):
    """Ten minutes outside at the end."""
    _, _, outcome = held([*quiet(60), *quiet(700, 61, bowl=30000), done()], for_="760s")
    assert outcome.exit_code == 1
    assert outcome.result["left_for_good"]


def test_lost_lines_are_counted(here):
    """Three status lines and one event never came."""
    script = [*quiet(10), *quiet(17, 14), event_line("warm", 1, 5000), event_line("below", 3, 6000), done(4)]
    _, _, outcome = held(script)
    assert outcome.result["lost_lines"] == 4


def trip_script(after_s):
    """A latched trip at 10 s and what follows it."""
    number = faults.WATER_PROBE
    return [
        *quiet(10),
        event_line("trip", 1, 10_000, fault=number, latched=True),
        *quiet(after_s, 11, state="trip", fault=number, water=None, duty=0),
    ]


def test_a_trip_is_reported_with_its_cause_and_ends_a_virtual_hold_five_minutes_later(here):
    """The five minutes show that the heat went off; exit status 1."""
    board = FakeBoard(lambda: iter(trip_script(1000)))
    session = FakeSession(board, virtual=True)
    runner = Runner(resolve(HoldRequest("dark", virtual="pot", for_="1h")), session, Notebook())
    runner.prepare()
    ended = runner.run()
    outcome = report(runner, ended, None)
    assert outcome.exit_code == 1
    assert outcome.result["duration_s"] == 310
    trip = outcome.result["trips"][0]
    assert (trip["t_s"], trip["fault"], trip["name"]) == (10, faults.WATER_PROBE, "water_probe")
    assert any(text.startswith("TRIP: the water probe") for _, text in runner.view.events)
    assert "1 trip" in outcome.summary


def test_after_a_trip_a_live_board_is_watched_to_the_planned_end(here):
    """What the chocolate did in the night is worth knowing."""
    _, _, outcome = held(trip_script(600), for_="600s")
    assert (outcome.exit_code, outcome.result["duration_s"]) == (1, 600)


def test_a_trip_that_was_missed_is_seen_from_the_state(here):
    """A board that restarted latched knows no hold any more."""
    _, _, outcome = held([*quiet(10), status_line(11, 0, state="trip", fault=1, stage="")])
    assert outcome.exit_code == 1
    assert outcome.result["ended"] == "tripped"


def test_a_no_start_after_the_self_test_is_not_as_it_should_be(here):
    """The board stamps with 0 once it rests: the hold's last moment is meant."""
    script = [
        *quiet(20, state="check"),
        event_line("trip", 1, 0, fault=faults.NO_HEAT_AT_START, latched=False),
        done(2, "no start"),
    ]
    _, ended, outcome = held(script)
    assert outcome.exit_code == 1
    assert ended.watch.trips[0]["t_s"] == 20


def test_a_board_that_restarts_ends_the_hold(here):
    """Its heat is off and someone has to look."""
    rest = [status_line(number, 0, state="idle") for number in range(1, 9)]
    _, _, outcome = held([*quiet(10), event_line("boot", 1, 0, cause="watchdog"), *rest])
    assert (outcome.exit_code, outcome.result["ended"], outcome.result["duration_s"]) == (1, "restarted", 10)


def test_a_board_that_restarts_is_heard_until_it_says_how_long_it_was_away(here):
    """The gap is reported and logged: what the board knows of it comes with its first reading."""
    back = event_line("power_back", 2, 0, why="power", off_s=45, known=True, stage="work", water=32000, bowl=31200)
    start = event_line("boot", 1, 0, cause="PWRON_RESET", why="power")
    _, ended, _ = held([*quiet(10), start, status_line(1, 0, state="idle"), back, status_line(2, 0, state="idle")])
    assert "the heat was off for 45 s, the bowl is at 31.2 °C: yes resumes the hold, no ends it" in [
        text for _, text in ended.watch.scene.events]  # fmt: skip
    assert [(event["event"], event["t_s"]) for event in read_log(ended.watch.log.folder).events] == [
        ("boot", 10.0), ("power_back", 10.0)]  # fmt: skip


def test_gains_of_another_pot_are_let_go_in_its_first_warm_up(here):
    """150 W that lift the water by 10 mK a second are 15 kJ/K, where 5 were learnt. The board's own gains are sent."""
    (here / "g.toml").write_text("water_j_per_k = 5000.0\nbowl_w_per_k = 0.1\nloss_w_per_k = 0.1\n")
    rising = [status_line(n, 1000 * n, water=20000 + 10 * n, bowl=20000, duty=10000) for n in range(1, 600)]
    board = FakeBoard(lambda: iter([*rising, done()]))
    _, ended, _ = held([], for_="10m", board=board, gains="g.toml", rig="pot")
    sent = json.loads(board.stored["gains"])
    assert {name: sent[name] for name in ("gains.water_j_per_k", "gains.bowl_w_per_k")} == {
        "gains.water_j_per_k": 0.0, "gains.bowl_w_per_k": 0.0}
    outcome = [event for event in read_log(ended.watch.log.folder).events if event["event"] == "another_pot"]
    assert [event["share"] for event in outcome] == [pytest.approx(150.0 / 0.01 / 5000.0, abs=0.3)]


@pytest.mark.parametrize("ask", ["", "go_on"])
def test_a_board_that_restarted_while_nobody_listened_was_not_stopped(here, monkeypatch, ask):
    """Its first lines went to a closed port: it counts its lines from 1 again, or asks whether to resume."""
    monkeypatch.setattr(hold_module.time, "sleep", lambda seconds: None)
    first = 1000 if ask else 3
    again = FakeBoard()
    again.say(*(status_line(first + number, 0, state="idle", ask=ask) for number in range(8)))
    runner = runner_of([*quiet(10), gone()])
    runner.session.returns = [again]
    outcome = report(runner, runner.run(), None)
    assert (outcome.exit_code, outcome.result["ended"]) == (1, "restarted")
    assert "The board restarted in the middle of it" in outcome.summary


def test_a_bowl_on_the_bench_makes_no_other_pot(here):
    """Its reading in the air is not a warm bowl's: heat into it is not counted, and nothing is judged."""
    (here / "g.toml").write_text("water_j_per_k = 15000.0\nbowl_w_per_k = 4.0\nloss_w_per_k = 0.1\n")
    rising = [status_line(n, 1000 * n, water=30000 + 10 * n, bowl=20000, duty=10000) for n in range(2, 600)]
    board = FakeBoard(lambda: iter([event_line("bowl_off", 1, 1000), *rising, done(2)]))
    _, ended, _ = held([], for_="10m", board=board, gains="g.toml", rig="pot")
    assert [event["event"] for event in read_log(ended.watch.log.folder).events] == ["bowl_off", "ended"]


def test_a_pulled_cable_shows_a_gap_and_the_hold_continues_when_it_is_back(here, monkeypatch):
    """The rows in between are missing, counted and marked; the score continues."""
    monkeypatch.setattr(hold_module.time, "sleep", lambda seconds: None)
    again = FakeBoard()
    again.say(*quiet(15, 16), done())
    runner = runner_of([*quiet(10), gone()])
    runner.session.returns = [again]
    outcome = report(runner, runner.run(), None)
    assert outcome.exit_code == 0
    assert outcome.result["lost_lines"] == 5
    events = [event["event"] for event in read_log(here / "holds/dark-1").events]
    assert events == ["lost", "found", "ended"]


def test_a_port_that_stays_open_and_says_nothing_is_opened_again(here, monkeypatch):
    """A cable that was plugged in again may leave the old port open for ever: no read of it fails."""
    monkeypatch.setattr(hold_module.time, "sleep", lambda seconds: None)
    monkeypatch.setattr(hold_module, "DEAF_S", 1.0)
    again = FakeBoard()
    again.say(*quiet(15, 16), done())
    runner = runner_of(quiet(10))
    runner.session.returns = [again]
    outcome = report(runner, runner.run(), None)
    assert outcome.result["lost_lines"] == 5
    events = [event["event"] for event in read_log(here / "holds/dark-1").events]
    assert events == ["lost", "found", "ended"]


def test_a_board_that_stays_away_is_lost_with_its_log_stored(here, monkeypatch):
    """Exit status 3; what was known is scored and sealed."""
    monkeypatch.setattr(hold_module.time, "sleep", lambda seconds: None)
    monkeypatch.setattr(hold_module, "RECONNECT_S", 0.0)
    _, _, outcome = held([*quiet(10), gone()])
    assert (outcome.exit_code, outcome.result["ended"]) == (3, "lost")
    assert outcome.result["duration_s"] == 10
    assert (here / "holds/dark-1/hold.parquet").exists()


def test_a_virtual_board_that_dies_is_lost_at_once(here):
    """Nobody can plug it in again."""
    session = FakeSession(FakeBoard(lambda: iter([*quiet(10), gone()])), virtual=True)
    runner = Runner(resolve(HoldRequest("dark", virtual="pot", for_="30s")), session, Notebook())
    runner.prepare()
    assert report(runner, runner.run(), None).exit_code == 3


def test_no_ctrl_c_is_ever_sent(here):
    """In service the host never sends 03h."""
    sent = []
    board = FakeBoard(lambda: iter([*quiet(), done()]))
    write = board.write
    board.write = lambda data: (sent.append(data), write(data))
    runner_of([], board=board).run()
    assert sent
    assert not any(b"\x03" in data for data in sent)


# -- the person ------------------------------------------------------------------------------------------------------


class Keyboard:
    """Keys pressed at set times: {turn: key}; `interrupts` counts up at the turns given."""

    def __init__(self, keys, there=True):
        self.keys, self.there, self.turn = keys, there, 0

    def pressed(self):
        self.turn += 1
        return self.keys.get(self.turn, "")


class Counter:
    """Ctrl-C that was pressed so often."""

    def __init__(self, count=0, go=False):
        self.count, self.go = count, go


def turning(runner, keyboard, interrupts, turns):
    """A hold's rounds by hand: its course after so many of them."""
    from bainwright.record.writer import LiveLog, make_folder

    course = watch.Watch(runner.scene(), LiveLog(make_folder(None, "dark"), {}), runner.view)
    for _ in range(turns):
        if course.ended is None:
            runner._turn(course, keyboard, interrupts)
    return course


def asked_of(runner):
    """What the board was asked since its start."""
    dos = [asked["do"] for asked in runner.session.board.asked]
    return dos[dos.index("start") + 1 :]


def test_ctrl_c_asks_first_and_leaving_leaves_the_warmer_running(here):
    """l: the board is asked nothing more."""
    runner = runner_of(quiet())
    keyboard, interrupts = Keyboard({6: "l"}), Counter()
    turning(runner, keyboard, interrupts, 2)
    interrupts.count = 1
    runner.session.board.say(*quiet(10, 40))
    course = turning(runner, keyboard, interrupts, 8)
    assert course.ended == watch.LEFT
    assert any("Leave the warmer running" in said and "close the laptop" in said for _, said in runner.view.events)
    assert asked_of(runner) == []


def test_a_second_ctrl_c_stops_the_warmer(here):
    """Without an answer to the question."""
    runner = runner_of(quiet())
    course = turning(runner, Keyboard({}), Counter(2), 3)
    assert course.ended == watch.STOPPED
    assert asked_of(runner) == ["stop"]


def test_where_nobody_can_be_asked_ctrl_c_stops_the_warmer(here):
    """A script's interrupt must not leave heat on that nobody watches."""
    runner = runner_of(quiet())
    assert turning(runner, Keyboard({}, there=False), Counter(1), 3).ended == watch.STOPPED


def test_a_closed_terminal_leaves_the_warmer_running_and_seals_the_log(here):
    """The board needs no host, so nothing is requested. A simulated warmer has no user left: it stops."""
    runner = runner_of(quiet())
    assert turning(runner, Keyboard({}), Counter(go=True), 3).ended == watch.LEFT
    assert asked_of(runner) == []
    runner = runner_of(quiet())
    runner.session.virtual = True
    assert turning(runner, Keyboard({}), Counter(go=True), 3).ended == watch.STOPPED


def test_going_on_forgets_the_interrupt(here):
    """g: the question goes away and the next Ctrl-C asks again."""
    runner = runner_of(quiet())
    interrupts = Counter(1)
    course = turning(runner, Keyboard({3: "g"}), interrupts, 4)
    assert (course.ended, course.scene.question, interrupts.count) == (None, "", 0)


def test_keys_are_the_persons_acts(here):
    """Refill, done, thickens, bowl, pause, lock: each as its request, the clock held meanwhile on a virtual board."""
    runner = runner_of(quiet())
    turning(runner, Keyboard({2: "r", 3: "y", 4: "n", 5: "b", 6: "w", 7: "x", 8: "d", 9: "k"}), Counter(), 10)
    assert asked_of(runner) == ["announce", "confirm", "thicker", "bowl", "pause", "thinner", "lock"]
    assert runner.session.acts == ["arm"] + 7 * ["hold", "release"]


class Keeping(FakeBoard):
    """A board with these chocolates stored."""

    def __init__(self, names):
        super().__init__(lambda: iter(quiet()))
        self.kept = [document("profile", load_profile(name).document()) for name in names]

    def _do_profiles(self, message):
        at = message["at"]
        if at >= len(self.kept):
            return [("count", len(self.kept))]
        return [("name", json.loads(self.kept[at])["name"]), ("profile", f"{at:08x}")]

    def _do_send(self, message):
        found = [payload for payload in self.kept if json.loads(payload)["name"] == message.get("name")]
        self.stored[message["what"]] = found[0] if found else self.stored[message["what"]]
        return super()._do_send(message)


def test_a_real_warmer_s_thermometers_are_spoken_of_at_the_start_and_a_simulated_one_s_are_not(here):
    """Never calibrated here; a record that is none is a note, for the hold runs already."""
    runner = runner_of(quiet(), rig="pot")
    assert [note for note in runner.notes() if "water probe was never calibrated" in note]
    (here / "pot-calibration.json").write_text("[1,")
    assert [note for note in runner.notes() if "not the record of a calibration" in note]
    runner.session.simulated = True
    assert not [note for note in runner.notes() if "calibrat" in note]


def test_c_offers_the_chocolates_that_are_stored_and_a_number_changes_the_bowl(here):
    """The next bowl's window and words are its own from there on."""
    runner = runner_of([], board=Keeping(["dark", "milk", "white"]))
    keyboard = Keyboard({2: "c", 4: "2"})
    course = turning(runner, keyboard, Counter(), 3)
    assert course.scene.question == "Which chocolate is the next bowl: 1 milk, 2 white? Any other key: none"
    course.prompts = EveningPrompts(runner.setup.profile, load_rig("pot"))
    for _ in range(3):
        runner._turn(course, keyboard, Counter())
    assert runner.session.board.asked[-1]["do"] == "change"
    assert runner.session.board.asked[-1]["name"] == "white"
    assert (course.scene.chocolate, course.scene.question) == ("white", "")
    assert course.prompts.window("work").high_c == load_profile("white").high_c


def test_any_other_key_changes_nothing_and_a_board_that_keeps_one_says_so(here):
    runner = runner_of([], board=Keeping(["dark", "milk"]))
    course = turning(runner, Keyboard({2: "c", 4: "7"}), Counter(), 6)
    assert course.scene.question == ""
    assert "change" not in asked_of(runner)
    runner = runner_of([], board=Keeping(["dark"]))
    course = turning(runner, Keyboard({2: "c"}), Counter(), 3)
    assert "no other chocolate is stored" in course.scene.events[-1][1]


def test_only_the_first_bowl_is_scored_when_another_comes(here):
    """A minute of dark at 31.5 °C, then one of white at 29 °C, far below dark's window."""
    changed = wire.encode([("event", "changed"), ("n", 1), ("t", 121000), ("name", "white")])
    script = [*quiet(60, stage="settle"), *quiet(60, first=61), changed,
              *quiet(60, first=122, bowl=29000), done(2)]
    _, _, outcome = held(script, for_="182s")
    assert outcome.result["in_window_fraction"] == 1.0
    assert (outcome.result["below_s"], outcome.result["bowl_low_c"]) == (0.0, 31.5)  # nothing of the white
    assert any("only the first bowl is scored" in note for note in outcome.notes)


def test_a_refused_act_is_shown_and_the_hold_continues(here):
    """The board's reason, as an event."""
    runner = runner_of(quiet())
    runner.session.board.refusals["pause"] = "work: pause refused: nothing to pause"
    course = turning(runner, Keyboard({2: "w"}), Counter(), 4)
    assert course.ended is None
    assert course.scene.events[-1][1] == "not now: nothing to pause"


def test_a_refusal_by_the_board_s_state_is_said_in_words(here):
    """The board names the state it is in and those it wants; a cook reads what is going on."""
    runner = runner_of(quiet())
    runner.session.board.refusals["pause"] = "work: pause refused: not in state check, wanted hold or off"
    course = turning(runner, Keyboard({2: "w"}), Counter(), 4)
    said = course.scene.events[-1][1]
    assert said == "not now: the warmer is testing itself; try again when that is done"


def test_e_asks_before_it_ends_the_dipping(here):
    """Between w and r on the keyboard, and without a way back: only e once more ends it."""
    for answer, ended in (("e", True), ("g", False), ("w", False)):
        runner = runner_of(quiet())
        course = turning(runner, Keyboard({2: "e", 3: answer}), Counter(), 5)
        dos = [asked["do"] for asked in runner.session.board.asked]
        assert ("finish" in dos) == ended
        assert "pause" not in dos
        assert course.scene.question == ""


def test_leaving_a_warmer_says_how_to_come_back(here):
    runner = runner_of(quiet(60))
    course = turning(runner, Keyboard({}), Counter(go=True), 3)
    assert course.ended == watch.LEFT
    done = report(runner, Outcome(course, 1.0, {}), None)
    assert any("bain hold dark --join" in note and "bain collect" in note for note in done.notes)


def no_room(file, data):
    """A write on a full disk."""
    raise OSError(28, "No space left on device")


def test_a_full_disk_is_said_once_and_the_hold_continues(here, monkeypatch):
    """Disk full mid-hold: words, no end."""
    runner = runner_of(quiet())
    course = turning(runner, Keyboard({}), Counter(), 2)
    monkeypatch.setattr(writer, "_write_all", no_room)
    for _ in range(5):
        runner._turn(course, Keyboard({}), Counter())
    assert runner.view.said.count(course.log.trouble) == 1
    assert "the disk is full" in course.log.trouble
    assert course.ended is None


def test_a_report_that_is_not_stored_is_named_and_the_log_is_whole(here, monkeypatch):
    """The disk fills up between the last row and the report."""
    runner = runner_of([*quiet(), done()])
    ended = runner.run()
    really = writer.replace_file

    def full(path, content, **how):
        if '"report"' in content:
            raise OSError(28, "No space left on device")
        really(path, content, **how)

    monkeypatch.setattr(writer, "replace_file", full)
    found = report(runner, ended, None)
    assert any("the report is not stored in holds/dark-1/hold.json: the disk is full" in note for note in found.notes)
    assert "report" not in read_log(here / "holds" / "dark-1").facts
    assert len(read_log(here / "holds" / "dark-1")) == 30


def test_no_picture_is_promised_where_the_disk_was_full_and_the_status_is_1(here, monkeypatch):
    """The rows from the moment on are named, and the hold itself was quiet."""
    runner = runner_of([*quiet(), done()])
    ended = runner.run()
    whole = report(runner, ended, None)
    assert whole.where() == "Scored from the readings. Log and picture: holds/dark-1"
    assert whole.exit_code == 0
    for second in (31, 32):
        ended.watch.log.status(1000 * second, decode(status_line(second, 1000 * second)[:-1]))
    monkeypatch.setattr(writer, "_write_all", no_room)
    cut = report(runner, ended, None)
    assert cut.where() == "Scored from the readings. The log, as far as it could be written: holds/dark-1"
    assert "lacks its rows from 0:00:31 to 0:00:32" in cut.notes[0]
    assert cut.exit_code == 1


def test_nothing_heats_before_there_is_a_place_for_the_log(here, monkeypatch):
    """A file in the way, a folder with a log, a full disk: the board is asked nothing."""
    (here / "file").touch()
    make_folder(here / "taken", "dark")
    for out, said in (("file/out", "cannot be made"), ("taken", "already holds a log")):
        board = FakeBoard(lambda: iter([]))
        with pytest.raises(UseError, match=said):
            runner_of([], board=board, out=out)
        assert board.asked == []
    monkeypatch.setattr(writer, "_write_all", no_room)
    with pytest.raises(FullDiskError, match=r"out takes no log: the disk is full"):
        runner_of([], board=board, out="out")
    assert board.asked == []


def test_a_hold_shorter_than_its_self_test_says_when_it_ends(here):
    script = [*quiet(2), event_line("started", 1, 0, check_s=240), *quiet(28, first=3), done(2)]
    runner, _, _ = held(script)
    (said,) = [text for _, text in runner.view.events if "comes first" in text]
    assert said == ("the self-test comes first and may take 4 min: the hold ends once it has passed, later than the "
                    "30 s asked for")


def test_a_simulated_warmer_that_fails_is_named_before_the_probes_it_silences(here):
    board = FakeBoard(lambda: iter([*quiet(), event_line("trip", 1, 29000, fault=1, latched=True), done(2)]))
    session = FakeSession(board, virtual=True)
    runner = Runner(resolve(HoldRequest("dark", virtual="pot", for_="30s")), session, Notebook())
    runner.prepare()
    ended = runner.run()
    ended.facts["dead"] = "the plant failed at 28.0 s: ZeroDivisionError: division by zero"
    found = report(runner, ended, None)
    assert found.summary.startswith("The simulated warmer itself failed, so its probes gave no more readings:")
    assert found.exit_code == 1


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


# -- what a night needs to hear ----------------------------------------------------------------------------------------


class Sleepy:
    """Somebody who answers in turn; what is read as wrong is answered again."""

    def __init__(self, *answers):
        self.answers, self.asked, self.outcome = list(answers), [], []

    def __call__(self, question, usual, read):
        self.asked.append(question)
        while True:
            try:
                return read(self.answers.pop(0) or usual)
            except UseError as wrong:
                self.outcome.append(str(wrong))


def test_melted_stock_is_asked_for_its_kind_and_the_hour_of_waking():
    """Each again when it cannot be; what was typed is not asked for."""
    who = Sleepy("nougat", "Dark", "25:00", "06:30")
    asked = ask_about_stock(HoldRequest("melted", port="/dev/x"), who)
    assert (asked.of, asked.until) == ("dark", "06:30")
    assert "take milk if you do not know" in who.outcome[0]
    assert "wanted a time of day" in who.outcome[1]
    assert resolve(asked).profile.of == "dark"
    assert 0 < resolve(asked).for_s <= 86400
    who = Sleepy("", "")
    asked = ask_about_stock(HoldRequest("melted"), who)
    assert (asked.of, asked.until, len(who.asked)) == ("milk", None, 2)
    assert ask_about_stock(HoldRequest("melted", of="white", for_="8h"), Sleepy()).of == "white"


@pytest.mark.parametrize(
    "asked",
    [HoldRequest("dark"), HoldRequest("melted", virtual="pot"), HoldRequest("melted", join=True),
     HoldRequest("my_stock.toml")],
)
def test_nothing_is_asked_where_it_is_known_or_plays_no_part(asked):
    """Another chocolate, a simulated night, a hold that runs; a file says itself of which kind it is."""
    assert ask_about_stock(asked, Sleepy()) == asked


def test_the_kind_of_stock_is_checked_and_belongs_to_stock_alone():
    with pytest.raises(UseError, match="wanted one of dark, milk"):
        resolve(HoldRequest("melted", of="carob"))
    with pytest.raises(UseError, match="--of is for melted stock"):
        resolve(HoldRequest("dark", of="milk"))


def test_a_night_or_a_rest_after_the_dipping_is_no_temper_gone_wrong():
    """Ten minutes in the window, then ten at 40 °C or on its way down: the work is judged, by its own window."""
    t_s = np.arange(1.0, 1201.0)
    for after, bowl_c in (("melted", 40.0), ("rest", 28.0)):
        bowl = np.where(t_s <= 600.0, 31.5, bowl_c)
        stage = np.array(["work"] * 600 + [after] * 600)
        log = HoldLog({"t_s": t_s, "stage": stage, "bowl_c": bowl, "water_c": bowl + 1.0}, facts={}, events=[])
        trace = Trace(t_s, bowl + 1.0, bowl, np.full(1200, 31.5), 1200.0, READINGS, 1.0)
        found = judge(log, trace, "dark", Window(31.0, 31.5, 32.0, 34.5), []).score
        assert found.in_window_fraction == 1.0
        assert not found.left_for_good


def test_a_folder_deleted_during_a_hold_costs_no_row_and_is_shown(here):
    """The person deletes --out while the hold runs; the log continues under holds/."""

    class Deletes(Notebook):
        """Deletes the folder once two rows are in it."""

        def refresh(self, scene):
            super().refresh(scene)
            if scene.t_s == 2:
                shutil.rmtree(here / "out")

    session = FakeSession(FakeBoard(lambda: iter([*quiet(), done()])))
    runner = Runner(resolve(HoldRequest("dark", for_="30s", out="out")), session, Deletes())
    runner.prepare()
    outcome = report(runner, runner.run(), None)
    assert outcome.result["folder"] == "holds/dark-1"
    assert list(read_log(here / "holds" / "dark-1")["t_s"]) == list(range(1, 31))
    assert any("the log continues in holds/dark-1" in str(said) for said in runner.view.said + runner.view.events)
