"""The panel and the latch on the virtual board: what a press does, and what no message and no power cut can."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from talk import Talk

from bainboard import commands, faults, pins
from bainwright.files.documents import flash_of
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import Scenario, StartTable


@contextmanager
def latched_board(scenario: Scenario | None = None, **settings: Any) -> Iterator[Talk]:
    """A board with no latch record: as it comes from the shop, latched."""
    rig = name_probes(load_rig("pot").with_settings({"panel": True, **settings}))
    files = {path: content for path, content in flash_of(rig).items() if "latch" not in path}
    with VirtualBoard(rig, scenario=scenario, flash_files=files) as board:
        talk = Talk(board)
        board.arm()
        board.run_clock()
        board.set_speed(50)
        talk.ask("hello")  # it must be up first: a button that is down from the start is no press
        yield talk


def test_a_new_board_is_latched_until_its_recessed_button_is_held_three_seconds() -> None:
    with latched_board() as talk:
        assert talk.ask("hello")["fault"] == faults.NO_LATCH_RECORD
        assert not talk.ask("start", stage="work")["ok"]
        talk.board.press("recessed", 2000)
        talk.until(lambda said: said.get("status", 0) > 10)
        assert talk.ask("hello")["state"] == "trip"
        talk.board.press("recessed", 4500)
        talk.event("cleared")
        assert talk.ask("start", stage="work")["ok"]


def test_no_message_clears_a_latch() -> None:
    with latched_board() as talk:
        for row in commands.COMMANDS:
            if row[commands.NAME] != "maintenance":  # it leaves the wire; the latch is on flash
                talk.ask(row[commands.NAME])
        assert talk.ask("hello")["state"] == "trip"


def test_a_trip_outlives_a_power_cut_and_its_clearing_does_too() -> None:
    with latched_board() as talk:
        talk.board.power_cut(5)
        talk.event("boot")
        assert talk.ask("hello")["state"] == "trip"
        talk.board.press("recessed", 4500)
        talk.event("cleared")
        talk.until(lambda said: "status" in said)  # the pass that stores it
        talk.board.power_cut(5)
        talk.event("boot")
        assert talk.ask("hello")["state"] == "idle"


def test_self_tests_that_power_cuts_end_are_counted_and_the_fourth_waits_twenty_minutes() -> None:
    with latched_board() as talk:
        talk.board.press("recessed", 4500)
        talk.event("cleared")
        for _ in range(3):
            assert talk.ask("start", stage="work")["check_s"] < 600
            talk.until(lambda said: said.get("duty", 0) > 0)  # the first pulse
            talk.board.power_cut(5)
            talk.event("boot")
        assert talk.ask("start", stage="work")["check_s"] > 1200


def test_a_long_no_pauses_and_a_short_yes_continues_with_lamps_that_say_so() -> None:
    with latched_board() as talk:
        talk.board.press("recessed", 4500)
        talk.event("cleared")
        talk.ask("start", stage="work")
        talk.event("checked")
        talk.board.press("no", 2000)
        paused_ms = talk.event("paused")["t"]
        talk.until(lambda said: said.get("state") == "pause" and said["t"] > paused_ms + 2000)  # the button is up again
        levels = talk.board.report()["pins"]
        lit = [levels[pins.RP2[name]] for name in ("lamp_below", "lamp_in", "lamp_above", "heater", "guard")]
        assert lit == [1, 0, 1, 0, 0]
        talk.board.press("yes", 300)
        talk.event("resumed")


def test_a_long_yes_announces_a_refill_and_another_takes_it_back() -> None:
    """The bath leads under its ceiling, "pour now" comes by the fifth minute, and after ten nobody is waited for."""
    at_work = Scenario(start=StartTable(water_c=32.6, bowl_c=31.5))
    with latched_board(at_work) as talk:
        talk.board.press("recessed", 4500)
        talk.event("cleared")
        ceiling = talk.ask("start", stage="work")["ceiling"]
        before = talk.until(lambda said: said.get("state") == "hold")
        talk.board.press("yes", 2000)
        asked = talk.until(lambda said: said.get("ask") == "pour")
        assert asked["t"] - before["t"] > 60_000
        assert before["water_target"] < asked["water_target"] <= ceiling
        assert asked["target"] == before["target"]  # what is scored stays
        assert talk.ask("announce")["ok"]  # said again as a press: taken back
        assert talk.until(lambda said: said.get("status", 0) > asked["status"] + 2)["ask"] == ""
        assert talk.ask("announce")["ok"]
        asked = talk.until(lambda said: said.get("ask") == "pour")
        over = talk.until(lambda said: "status" in said and said["ask"] == "")
        assert 290_000 < over["t"] - asked["t"] <= 600_000


def test_with_a_panel_too_the_flash_is_written_in_the_first_pause_of_the_heat() -> None:
    """The buttons are looked at every 100 ms, so no pause between two looks is as long as a write (95 ms) needs.

    Writes waited for such a pause, and were done after 5 s all the same: late, and in the middle of an edge.
    """
    with latched_board() as talk:
        talk.board.press("recessed", 4500)
        talk.event("cleared")
        assert talk.ask("start", stage="work")["ok"]
        talk.until(lambda said: said.get("t", 0) >= 3000)
        assert talk.ask("segments")["size"] > 0
