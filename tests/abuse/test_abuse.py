"""The part of the abuse that fits into every run; `python -m tests.abuse` has the rest. Each case names itself."""

import os
import sys

import pytest

from . import disks, messages, parts, power
from .running import run

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="commands are run as forks, which Windows has not")


@pytest.fixture(scope="module", autouse=True)
def warm():
    """Import what commands import once."""
    parts.warm_up()


def test_commands_over_damaged_files_end_in_words():
    tally = parts.damaged_files(range(5000, 5060))
    assert tally.cases == 60
    assert tally.wrong == []


@pytest.mark.skipif(not disks.can_mount(), reason="only the administrator of a Linux system can make a small disk")
def test_commands_on_a_disk_that_fills_up_lose_nothing_and_say_so():
    tally = disks.small_disks((3, 9, 13, 19, 23, 29))
    assert tally.cases == 6
    assert tally.wrong == []


def test_commands_over_lying_boards_end_in_words():
    tally = parts.lying_boards(range(5000, 5012))
    assert tally.cases == 12
    assert tally.wrong == []


def test_a_board_at_rest_survives_any_message():
    result = messages.at_rest(2000, 2)
    assert result.sent == 2000
    assert result.answered >= 1800  # almost every line is answered, if only by a refusal
    assert result.resets == []
    assert result.states == {"idle"}


def test_what_was_acknowledged_survives_power_cuts():
    for latched in (False, True):
        tally = power.cuts(2, 0, latched=latched)
        assert tally.power_cuts >= 2
        assert tally.wrong == []


def test_a_command_that_misbehaves_is_seen(tmp_path, monkeypatch):
    """A traceback, a control byte, an exit status of its own and a file outside are each found."""
    from bainwright import cli

    def bad(arguments):
        with open("../outside", "w") as file:
            file.write("x")
        os.write(1, b"\x1b[2J")
        print("Traceback", file=sys.stderr, flush=True)
        return 9

    monkeypatch.setattr(cli, "main", bad)
    with parts.sandbox(tmp_path, "case") as here:
        wrong = run(["hold"], here).wrong
    assert len(wrong) == 4
    assert {each.split()[0] for each in wrong} == {"a", "control", "exit", "wrote"}
