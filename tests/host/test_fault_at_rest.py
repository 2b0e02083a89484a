"""A warmer that rests, and whose water warms all the same: whoever comes to it with a PC is told to pull the plug."""

import contextlib
from dataclasses import replace
from types import SimpleNamespace

import pytest
from fake_board import FakeBoard, FakeSession
from scripted_hold import Notebook

from bainboard import faults
from bainwright.calibration import warmer as calibrated
from bainwright.calibration.options import CalibrateOptions
from bainwright.core.errors import RefusedError
from bainwright.drill import walk
from bainwright.drill.walk import DrillOptions
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.files.documents import document
from bainwright.install.installer import InstallAsked, Installed, must_rest
from bainwright.install.report import report_lines
from bainwright.link.finding import Found
from bainwright.link.protocol import Link
from bainwright.virtual.probe_ids import name_probes
from bainwright.words import terms
from bainwright.words.advice import at_rest

PLUG = "Pull the plug now"
HEATS = {"state": "idle", "fault": faults.UNASKED_HEAT}


def test_a_greeting_tells_it(capsys):
    """Every command greets first. In a hold the board is asked once, behind the screen."""
    Link(FakeBoard(**HEATS)).hello(tries=1)
    assert capsys.readouterr().err == ""
    for hello in (HEATS, {"state": "trip", "fault": faults.HEAT_AT_REST}):
        Link(FakeBoard(**hello)).hello()
        assert PLUG in capsys.readouterr().err


@pytest.mark.parametrize("hello", [
    {"state": "hold", "fault": faults.UNASKED_HEAT}, {"state": "trip", "fault": faults.WATER_PROBE},
    {"state": "idle", "fault": faults.NONE}, {"state": "idle", "fault": faults.RESTARTED}, {}, None])  # fmt: skip
def test_others_are_told_elsewhere(hello):
    assert at_rest(hello) == ""


def test_the_lists_of_boards_tell_it():
    assert PLUG in str(Found("/dev/ttyACM0", "a board", {**HEATS, "name": "pot"}))
    installed = Installed("/dev/ttyACM0", InstallAsked(), hello={**HEATS, "name": "pot"})
    assert PLUG in report_lines(installed)[0]


@pytest.mark.parametrize("join", [False, True])
def test_no_hold_starts_on_it_and_none_is_offered(join):
    """It started without a word, and the start took the fault out of force."""
    board = FakeBoard(**HEATS)
    runner = Runner(resolve(HoldRequest("dark", for_="30s", join=join)), FakeSession(board), Notebook())
    with pytest.raises(RefusedError, match=PLUG):
        runner.prepare()
    assert "start" not in [asked["do"] for asked in board.asked]


def test_nothing_else_goes_to_it_either(monkeypatch):
    """A calibration and new firmware each made it forget the fault."""
    bench = SimpleNamespace(link=Link(FakeBoard(**HEATS)), close=lambda: None)
    monkeypatch.setattr(calibrated, "LiveBench", lambda port: bench)
    monkeypatch.setattr(walk, "open_board", lambda *_: contextlib.nullcontext(FakeSession(FakeBoard(**HEATS))))
    for act in (lambda: calibrated._live(CalibrateOptions()), lambda: must_rest({**HEATS, "name": "pot"}),
                lambda: walk.run_drill(DrillOptions(), as_json=False, say=lambda *_, **__: None)):
        with pytest.raises(RefusedError, match=PLUG):
            act()
    bench.link = Link(FakeBoard(state="trip", fault=faults.HEAT_AT_REST))
    with pytest.raises(RefusedError, match=PLUG):
        calibrated._live(CalibrateOptions())


@pytest.mark.parametrize(("there", "settings", "refused"), [
    ("mat", "12345678", True), ("pot", "12345678", False), ("po", "12345678", True), ("warmer", "", False)])
def test_settings_of_another_warmer_are_not_overwritten_by_a_hold(there, settings, refused, tmp_path, monkeypatch):
    """Two warmers, one cable: the rig of one, and the other plugged in. `bain rig send` says so and does it."""
    monkeypatch.chdir(tmp_path)
    board = FakeBoard(name=there, settings=settings)
    setup = resolve(HoldRequest("dark", for_="30s", rig="pot"))
    if not refused:
        board.stored["settings"] = document("settings", name_probes(setup.rig).settings)
    runner = Runner(replace(setup, rig=name_probes(setup.rig)), FakeSession(board), Notebook())
    if refused:
        with pytest.raises(RefusedError, match=f"set up as the warmer '{there}'"):
            runner.prepare()
        assert board.stored == {}
    else:
        runner.prepare()


def test_a_start_that_its_self_test_refused_may_be_tried_again():
    """That self-test is repeated: its fault is in force only until then."""
    board = FakeBoard(state="idle", fault=faults.GUARD_WELDED)
    Runner(resolve(HoldRequest("dark", for_="30s")), FakeSession(board), Notebook()).prepare()
    assert "start" in [asked["do"] for asked in board.asked]


def test_a_self_test_that_was_not_sure_says_so():
    """As SAFETY-RULES.md has it: beside a very warm or cold bowl a welded guard can pass unseen."""
    assert terms.event("checked", {"masked": False}) == "the self-test passed"
    assert "may have passed unseen" in terms.event("checked", {"masked": True})
