"""How a board starts after each kind of end, on the virtual board: power cuts, restarts, and holds that may resume.

Oracle: the project's safety rules for power cuts, reboot loops and latches.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from talk import Talk

from bainboard import faults, framing, store, wire
from bainwright.files.documents import flash_of
from bainwright.files.firmware import as_on_board
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.made_firmware import firmware_files
from bainwright.virtual.probe_ids import name_probes

NOON_S = 1_800_000_000  # a time of day; any will do


@contextmanager
def board_with(last: dict[str, Any] | None = None, **settings: Any) -> Iterator[Talk]:
    """A commissioned board with a panel; `last` is the record its run before left behind."""
    rig = name_probes(load_rig("pot").with_settings({"panel": True, **settings}))
    files = flash_of(rig)
    if last is not None:
        payload = wire.text(list({"bad": 0, "resumes": 0, **last}.items())).encode()
        files["/boot.a"] = framing.pack(store.KINDS["boot"], 1, payload)
    with VirtualBoard(rig, flash_files=files) as board:
        talk = Talk(board)
        board.arm()
        board.run_clock()
        board.set_speed(100)
        yield talk


def hold(talk: Talk, **more: Any) -> None:
    """A hold, until its self-test has passed and a minute more, in which it was written down."""
    assert talk.ask("start", stage="work", **more)["ok"]
    talk.event("checked")
    talk.until(lambda said: said.get("state") == "hold" and said["t"] > 420_000)


def cut(talk: Talk, for_s: float) -> dict[str, Any]:
    """A power cut; what the board says of it."""
    talk.cut_power(for_s)
    return talk.event("boot")


def test_after_a_power_cut_it_is_off_and_asks_and_yes_at_the_warmer_resumes() -> None:
    with board_with() as talk:
        hold(talk, for_ms=7_200_000)
        assert cut(talk, 600)["why"] == "power"
        said = talk.event("power_back")
        assert (said["stage"], said["known"]) == ("work", False)
        assert said["bowl"] > 25_000
        status = talk.until(lambda each: each.get("ask") == "go_on")
        assert (status["state"], status["duty"], status["fault"]) == ("idle", 0, 0)
        talk.board.press("yes", 300)
        assert talk.event("started")["stage"] == "work"
        assert talk.event("went_on")["by_itself"] is False
        assert talk.until(lambda each: each.get("state") == "check")["ask"] == ""
        answer = talk.ask("hello")
        assert answer["state"] == "check"


def test_a_host_may_answer_for_the_person_and_a_second_answer_finds_nothing_asked() -> None:
    with board_with() as talk:
        hold(talk)
        cut(talk, 30)
        talk.event("power_back")
        assert talk.ask("confirm")["ok"]
        talk.event("went_on")
        talk.ask("stop")
        answer = talk.ask("confirm")
        assert not answer["ok"]
        assert "no hold waits" in answer["why"]


def test_no_declines_and_a_further_power_cut_does_not_ask_again() -> None:
    with board_with() as talk:
        hold(talk)
        cut(talk, 30)
        talk.until(lambda each: each.get("ask") == "go_on")
        talk.board.press("no", 300)
        talk.until(lambda each: each.get("ask") == "")
        status = talk.until(lambda said: "status" in said)
        talk.until(lambda said: said.get("status", 0) > status["status"] + 12)  # the passes that store it
        cut(talk, 30)
        assert talk.until(lambda said: said.get("status") == 5)["ask"] == ""


def test_it_resumes_by_itself_only_where_that_is_set_and_the_outage_is_known_to_be_short() -> None:
    for wanted, off_s, goes_on in ((True, 120, True), (True, 900, False), (False, 120, False)):
        with board_with(resume=wanted) as talk:
            talk.ask("clock", wall_s=NOON_S)
            hold(talk)
            cut(talk, 5)
            talk.ask("clock", wall_s=NOON_S + 420 + off_s)
            if goes_on:
                assert talk.event("went_on")["by_itself"] is True
                assert talk.until(lambda said: "status" in said)["state"] == "check"
            else:
                talk.until(lambda said: said.get("ask") == "go_on")
                assert talk.ask("hello")["state"] == "idle"


def test_a_board_that_no_host_gives_the_time_never_resumes_by_itself() -> None:
    with board_with(resume=True) as talk:
        hold(talk)
        cut(talk, 5)
        talk.until(lambda said: said.get("ask") == "go_on")
        assert talk.until(lambda said: said.get("status", 0) > 20)["state"] == "idle"


def test_what_ended_the_last_run_is_reported_until_a_person_starts_again() -> None:
    for end, fault in (("crash", faults.CRASHED), ("memory", faults.MEMORY)):
        with board_with({"end": end}) as talk:
            status = talk.until(lambda said: "status" in said and said["fault"])
            assert (status["fault"], status["state"]) == (fault, "idle")
            assert talk.ask("start", stage="work")["ok"]
            assert talk.until(lambda said: said.get("state") == "check")["fault"] == 0


def test_a_third_abnormal_restart_latches_across_a_power_cut_until_the_recessed_button_is_held() -> None:
    with board_with({"end": "crash", "bad": 2}) as talk:
        status = talk.until(lambda said: said.get("state") == "trip")
        talk.until(lambda said: said.get("status", 0) > status["status"] + 12)  # the passes that store it
        cut(talk, 5)
        assert talk.until(lambda said: "status" in said)["fault"] == faults.REBOOT_LOOP
        talk.board.press("recessed", 4500)
        talk.event("cleared")
        status = talk.until(lambda said: said.get("state") == "idle")
        talk.until(lambda said: said.get("status", 0) > status["status"] + 12)  # the passes that store it
        cut(talk, 5)
        assert talk.until(lambda said: "status" in said)["state"] == "idle"


def test_ctrl_c_ends_no_hold_and_a_request_with_a_flipped_bit_is_refused() -> None:
    with board_with() as talk:
        hold(talk)
        talk.port.write(b"\x03\r\x03\x03\x03\n")
        assert talk.until(lambda said: "re" in said)["ok"] is False
        talk.port.write(wire.encode([("id", 900), ("do", "commit")]).replace(b"c", b"\x03", 1))
        assert talk.until(lambda said: "re" in said)["ok"] is False
        assert talk.ask("hello")["state"] in ("check", "hold")
        talk.ask("stop")


# What a main.py does to the firmware it starts, its layers loaded: at such a moment it ends in such a way.
SABOTAGE = """
        from bainboard import start
        import gc
        for layer in start.LAYERS:
            __import__("bainboard." + layer)
            gc.collect()
        warmer = sys.modules["bainboard.warmer"]
        sound = warmer.Warmer.step
        def step(self, now_ms, *readings):
            sound(self, now_ms, *readings)
            if {when}:
                {what}
        warmer.Warmer.step = step
"""
IN_A_HOLD = "self.state == 'hold' and now_ms > 400000"
HANG = "import time\n                while True: time.sleep_ms(50)"


@contextmanager
def sabotaged(what: str, when: str = IN_A_HOLD) -> Iterator[Talk]:
    """A commissioned board whose firmware ends so."""
    rig = name_probes(load_rig("pot").with_settings({"panel": True}))
    main = firmware_files()["/main.py"].decode()
    line = "        from bainboard import start\n"
    assert main.count(line) == 1
    spoiled = main.replace(line, SABOTAGE.format(when=when, what=what)[1:])
    with VirtualBoard(rig, flash_files={**flash_of(rig), "/main.py": as_on_board(spoiled).encode()}) as board:
        talk = Talk(board)
        board.arm()
        board.run_clock()
        board.set_speed(100)
        yield talk


@pytest.mark.parametrize(("what", "why", "fault"), [
    ("raise ValueError('a mistake')", "crash", faults.CRASHED),
    ("raise MemoryError", "memory", faults.MEMORY),
    (HANG, "hung", faults.RESTARTED),
], ids=["crash", "memory", "hang"])
def test_firmware_that_ends_in_a_hold_restarts_off_and_says_what_it_was(what: str, why: str, fault: int) -> None:
    """The hang is ended by the watchdog, the others by the firmware's own reset."""
    with sabotaged(what) as talk:
        assert talk.ask("start", stage="work")["ok"]
        assert talk.event("boot")["why"] == why
        told = talk.until(lambda said: "status" in said and said["fault"])
        assert (told["fault"], told["state"], told["duty"], told["on"]) == (fault, "idle", 0, 0)
        assert talk.until(lambda said: said.get("ask") == "go_on")["duty"] == 0


def test_firmware_that_meets_an_error_at_every_start_ends_latched_at_its_prompt() -> None:
    with sabotaged("raise ValueError('a mistake')", "now_ms > 5000") as talk:
        told = talk.until(lambda said: said.get("state") == "trip")
        assert told["fault"] == faults.REBOOT_LOOP
        assert talk.prompt(), "neither firmware nor prompt"
