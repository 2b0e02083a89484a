"""A hold while it runs, from its start to its report, on a board in memory that follows a script."""

import itertools
import json
import time

import numpy as np
import pytest
from fake_board import FakeBoard, FakeSession, event_line, gone, status_line
from scripted_hold import Notebook, done, held, quiet, runner_of

from bainboard import faults
from bainwright.evening import runner as hold_module
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.files.score import READINGS, TRUE
from bainwright.record.reader import read_log
from bainwright.report.report import report

pytestmark = pytest.mark.usefixtures("undrawn")


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
    _, ended, outcome = held(trip_script(600), for_="600s")
    assert ended.watch.scene.unwatched == "unanswered"  # nobody cleared it, and nobody would call any more
    assert (outcome.exit_code, outcome.result["duration_s"]) == (1, 600)


def test_a_trip_that_somebody_cleared_at_the_warmer_needs_nobody_else(here):
    """The board rests then."""
    resting = [status_line(number, 0, state="idle", stage="") for number in (31, 32, 33)]
    _, ended, _ = held([*trip_script(20), *resting], for_="600s")
    assert (ended.watch.ended, ended.watch.scene.unwatched) == ("tripped", "")


def test_a_trip_that_was_missed_is_seen_from_the_state(here):
    """A board that restarted latched knows no hold any more."""
    resting = [status_line(number, 0, state="trip", fault=1, stage="") for number in (11, 12)]
    _, ended, outcome = held([*quiet(10), *resting])
    assert ended.watch.scene.unwatched == "unanswered"
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
    """Its heat is off and someone has to look: whoever is called at the end, as nobody at the PC knows."""
    rest = [status_line(number, 0, state="idle") for number in range(1, 9)]
    _, ended, outcome = held([*quiet(10), event_line("boot", 1, 0, cause="watchdog"), *rest])
    assert (outcome.exit_code, outcome.result["ended"], outcome.result["duration_s"]) == (1, "restarted", 10)
    assert ended.watch.scene.unwatched == "restarted"


def test_a_board_that_restarts_after_a_latched_trip_resumes_nothing(here):
    """The latch outlives the power: only a person at the warmer clears it."""
    rest = [status_line(number, 0, state="trip", fault=1, stage="") for number in range(1, 9)]
    trip = event_line("trip", 1, 10_000, fault=faults.WATER_PROBE, latched=True)
    _, ended, outcome = held([*quiet(10), trip, event_line("boot", 1, 0, cause="PWRON_RESET", why="power"), *rest])
    assert ended.watch.scene.unwatched == "unanswered"
    assert "stays off until somebody clears the trip" in outcome.summary
    assert "resumes" not in outcome.summary


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
    (here / "g.toml").write_text("water_j_per_k = 13000.0\nbowl_w_per_k = 4.0\nloss_w_per_k = 0.1\n")
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
    monkeypatch.setattr(hold_module, "looks_for_s", lambda planned_s: 0.0)
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
