"""A float that the firmware knows: low water pauses the hold and asks for water, on the real MicroPython."""

from __future__ import annotations

import pytest
from talk import Talk

from bainboard import pins, settings
from bainboard.starting import WATER_LOW
from bainwright.drill.items import BY_NAME, lacking
from bainwright.files.documents import flash_of
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import FaultEvent, Scenario, StartTable

AT_WORK = Scenario(start=StartTable(water_c=32.6, bowl_c=31.5))


@pytest.fixture(scope="module")
def talk():
    """The pot of the guides with a float, no hold yet."""
    rig = name_probes(load_rig("pot24").with_settings({"float": True, "panel": True}))
    with VirtualBoard(rig, scenario=AT_WORK, flash_files=flash_of(rig)) as board:
        said = Talk(board)
        board.arm()
        board.run_clock()
        board.set_speed(0)
        said.ask("hello")
        yield said


def passes(talk: Talk, count: int) -> dict:
    """The status line of so many passes on."""
    first = talk.until(lambda said: "status" in said)["status"]
    return talk.until(lambda said: said.get("status", 0) >= first + count)


def test_low_water_pauses_the_hold_asks_for_water_and_refuses_heat_until_it_is_back(talk):
    assert talk.ask("start", stage="work")["ok"]
    talk.event("checked")
    talk.board.fault("water_low")
    low = talk.event("water_low")
    asked = talk.asked("water_low")
    assert (asked["state"], asked["duty"]) == ("pause", 0)
    assert asked["t"] - low["t"] <= 1000
    levels = talk.board.report()["pins"]
    assert (levels[pins.RP2["heater"]], levels[pins.RP2["guard"]]) == (0, 0)
    assert talk.ask("resume")["why"] == WATER_LOW
    talk.board.press("yes", 300)
    assert talk.event("refused")["why"] == WATER_LOW
    assert talk.ask("stop")["ok"]
    assert talk.ask("start", stage="work")["why"] == WATER_LOW
    talk.board.fault("water_low", on=False)
    for _ in range(100):  # the simulator hears of it in real time, the board's passes go on meanwhile
        passes(talk, 10)
        answer = talk.ask("start", stage="work")
        if answer["ok"]:
            break
    assert answer["ok"], answer
    talk.ask("stop")


def test_a_wave_shorter_than_the_wait_pauses_nothing():
    """Dry for three seconds of the scenario, so that no speed of the PC changes it."""
    rig = name_probes(load_rig("pot24").with_settings({"float": True}))
    wave = FaultEvent(at_s=20.0, name="water_low", for_s=3.0)
    with VirtualBoard(rig, scenario=Scenario(start=AT_WORK.start, events=(wave,)), flash_files=flash_of(rig)) as board:
        talk = Talk(board)
        board.set_speed(20)  # the hold has begun long before the wave comes
        board.arm()
        board.run_clock()
        assert talk.ask("start", stage="work")["ok"]
        for _ in range(60):
            assert talk.until(lambda said: "status" in said)["state"] in ("check", "hold")


def test_a_float_that_is_stated_and_not_fitted_is_named_before_any_heat():
    """Nothing is wired to the pin: no supply reaches it, so it stays low, which is how low water looks."""
    rig = name_probes(load_rig("pot24").with_settings({"float": True}))
    with VirtualBoard(rig, scenario=AT_WORK, flash_files=flash_of(rig)) as board:
        talk = Talk(board)
        board.fault("water_low")
        board.arm()
        board.run_clock()
        board.set_speed(0)
        passes(talk, 8)
        assert talk.ask("start", stage="work")["why"] == WATER_LOW


def test_float_without_a_guard_relay_is_refused_in_words():
    values, why = settings.check(settings.SETTINGS, {"float": True, "guard": False})
    assert values is None
    assert why.startswith("float: got true, wanted false without a guard relay")


def test_drill_tests_the_float_of_a_warmer_that_has_one():
    item = BY_NAME["float"]
    assert lacking(item, {"float": False}) == "no float is fitted"
    assert not lacking(item, {"float": True})
    assert not item.required
