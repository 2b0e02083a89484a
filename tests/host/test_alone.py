"""A board without a PC: two presses of yes repeat the last evening, no chooses another chocolate."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from talk import Talk

from bainboard import faults, framing, pins, store, wire
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document, flash_of
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import parse_scenario


def packed(name: str, payload: bytes) -> bytes:
    """A slot's file."""
    return framing.pack(store.KINDS[name], 1, payload)


PROFILES = [document("profile", load_profile(name).document()) for name in ("dark", "milk", "melted")]


@contextmanager
def resting(*, last: dict[str, Any] | None = None, scenario: Any = None) -> Iterator[Talk]:
    """A commissioned board with a panel and three chocolates, dark chosen."""
    rig = name_probes(load_rig("pot").with_settings({"panel": True}))
    files = {
        **flash_of(rig), "/profile.a": packed("profile", PROFILES[0]),
        **{f"/kept{place}.a": packed("kept", payload) for place, payload in enumerate(PROFILES, 1)},
    }
    if last:
        files["/last.a"] = packed("last", wire.text(list(last.items())).encode())
    with VirtualBoard(rig, flash_files=files, scenario=scenario) as board:
        talk = Talk(board)
        board.arm()
        board.run_clock()
        board.set_speed(50)
        talk.until(lambda said: said.get("status", 0) > 2)
        yield talk


def test_two_presses_of_yes_repeat_the_last_evening_after_a_look_at_water_and_probes() -> None:
    with resting(last={"stage": "work", "for_ms": 3600000, "room": 19000}) as talk:
        talk.board.press("yes", 300)
        assert talk.asked("look")["state"] == "idle"
        talk.board.press("yes", 300)
        assert talk.event("started")["stage"] == "work"
        talk.event("checked")
        assert talk.until(lambda said: said.get("state") == "hold")["target"] == 31500


def test_two_presses_start_nothing_while_the_probes_are_calibrated() -> None:
    with resting(last={"stage": "work", "for_ms": 3600000, "room": 19000}) as talk:
        assert talk.ask("cold", for_ms=1800000)["ok"]
        talk.board.press("yes", 300)
        talk.asked("look")
        talk.board.press("yes", 300)
        assert "locked out" in talk.event("refused")["why"]
        assert talk.ask("hello")["state"] == "idle"


def test_one_press_alone_starts_nothing_and_is_forgotten_after_a_minute() -> None:
    with resting() as talk:
        talk.board.press("yes", 300)
        asked = talk.asked("look")["status"]
        said = talk.until(lambda said: said.get("status", 0) > asked + 5 and said.get("ask") == "")
        assert said["state"] == "idle"
        assert said["status"] <= asked + 65


def test_a_chocolate_probe_that_does_not_read_keeps_the_buttons_from_starting() -> None:
    broken = parse_scenario({"event": [{"at_s": 0, "kind": "fault", "name": "bowl_open"}]})
    with resting(scenario=broken) as talk:
        talk.board.press("yes", 300)
        talk.asked("look")
        talk.board.press("yes", 300)
        assert "chocolate probe" in talk.event("refused")["why"]
        assert talk.ask("hello")["state"] == "idle"


def test_no_chooses_the_next_chocolate_and_three_lamps_show_its_number() -> None:
    with resting() as talk:
        talk.board.press("no", 300)
        chosen = talk.event("chosen")
        assert (chosen["number"], chosen["name"]) == (2, "milk")
        talk.until(lambda said: "status" in said)
        levels = talk.board.report()["pins"]
        assert [levels[pins.RP2[name]] for name in ("lamp_below", "lamp_in", "lamp_above")] == [0, 1, 0]
        talk.board.press("no", 300)
        assert talk.event("chosen")["name"] == "melted"
        talk.board.press("yes", 300)
        talk.asked("look")
        talk.board.press("yes", 300)
        assert talk.event("started")["stage"] == "melted"  # what kind it is decides


def test_yes_held_in_a_water_pause_changes_the_bowl_for_the_next_chocolates_with_no_pc() -> None:
    """Dark, milk and melted stock are stored here: milk follows dark; stock is left out, since nobody dips from it."""
    with resting(last={"stage": "work", "for_ms": 3600000, "room": 19000}) as talk:
        talk.board.press("yes", 300)
        talk.asked("look")
        talk.board.press("yes", 300)
        talk.until(lambda said: said.get("state") == "hold")
        for name in ("milk", "dark"):
            talk.board.press("no", 2000)
            talk.hands_off(talk.until(lambda said: said.get("state") == "pause"))
            talk.board.press("yes", 2000)
            assert talk.event("chosen")["number"] == (2 if name == "milk" else 1)
            told = talk.event("changed")
            assert told["name"] == name
            talk.hands_off(told)
            talk.board.press("yes", 300)
            went_on = talk.until(lambda said: said.get("stage") == "change" and said.get("state") in ("hold", "off"))
            assert went_on["ask"] == "bowl_off"
            assert went_on["target"] == 1000 * load_profile(name).target_c


def test_a_flash_from_another_board_gives_no_heat_on_this_one() -> None:
    """Its pins may be wired to anything: treated and reported as damaged settings."""
    rig = name_probes(load_rig("pot").with_settings({"panel": True}))
    files = {**flash_of(rig), "/profile.a": packed("profile", PROFILES[0])}
    foreign = document("settings", {**rig.settings, "board": "pico2"})
    files["/settings.a"] = files["/settings.b"] = packed("settings", foreign)
    with VirtualBoard(rig, flash_files=files) as board:
        talk = Talk(board)
        board.arm()
        board.run_clock()
        talk.until(lambda said: said.get("fault") == faults.BAD_SETTINGS)
        said = talk.ask("start", stage="work", for_ms=0)
        assert not said["ok"]
        assert "not for this board; send it again" in said["why"]


def test_a_host_lists_chooses_and_changes_what_is_stored() -> None:
    with resting() as talk:
        names = [talk.ask("profiles", at=at)["name"] for at in range(3)]
        assert names == ["dark", "milk", "melted"]
        assert talk.ask("profiles", at=3) == {"re": 4, "ok": True, "count": 3}
        assert not talk.ask("use", name="ruby")["ok"]
        assert talk.ask("use", name="milk")["ok"]
        assert talk.ask("start", stage="work")["target"] == 30500
        talk.event("checked")
        assert "not in state" in talk.ask("use", name="dark")["why"]
        assert talk.ask("change", name="dark")["ok"]
        assert talk.event("changed")["name"] == "dark"
        line = talk.asked("bowl_off")
        assert (line["stage"], line["target"]) == ("change", 31500)


def test_hands_in_the_water_and_a_short_no_end_the_dipping() -> None:
    with resting(last={"stage": "work", "for_ms": 0, "room": 20000}) as talk:
        talk.ask("start", stage="work")
        talk.event("checked")
        talk.board.press("no", 2000)
        paused_ms = talk.event("paused")["t"]
        talk.until(lambda said: said.get("t", 0) > paused_ms + 3000)  # the button is up again
        talk.board.press("no", 300)
        talk.until(lambda said: said.get("state") == "pause" and said.get("stage") == "rest")
        talk.board.press("yes", 300)
        talk.event("resumed")
        line = talk.asked("spread")
        assert (line["duty"], line["stage"]) == (0, "rest")
