"""A warmer that rests, and whose water warms all the same: whoever comes to it with a PC is told to pull the plug."""

import pytest
from fake_board import FakeBoard, FakeSession
from scripted_hold import Notebook

from bainboard import faults
from bainwright.core.errors import RefusedError
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.install.installer import InstallAsked, Installed
from bainwright.install.report import report_lines
from bainwright.link.finding import Found
from bainwright.link.protocol import Link
from bainwright.words import terms
from bainwright.words.advice import at_rest

PLUG = "Pull the plug now"
HEATS = {"state": "idle", "fault": faults.UNASKED_HEAT}


def test_a_greeting_tells_it(capsys):
    """Every command greets first. In a hold the board is asked once, behind the screen."""
    Link(FakeBoard(**HEATS)).hello(tries=1)
    assert capsys.readouterr().err == ""
    Link(FakeBoard(**HEATS)).hello()
    assert PLUG in capsys.readouterr().err


@pytest.mark.parametrize("hello", [
    {"state": "hold", "fault": faults.UNASKED_HEAT}, {"state": "trip", "fault": faults.OVER_HARD_LIMIT},
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


def test_a_start_that_its_self_test_refused_may_be_tried_again():
    """That self-test is repeated: its fault is in force only until then."""
    board = FakeBoard(state="idle", fault=faults.GUARD_WELDED)
    Runner(resolve(HoldRequest("dark", for_="30s")), FakeSession(board), Notebook()).prepare()
    assert "start" in [asked["do"] for asked in board.asked]


def test_a_self_test_that_was_not_sure_says_so():
    """As SAFETY-RULES.md has it: beside a very warm or cold bowl a welded guard can pass unseen."""
    assert terms.event("checked", {"masked": False}) == "the self-test passed"
    assert "may have passed unseen" in terms.event("checked", {"masked": True})
