"""Boards that the virtual one plays. Oracle: what was measured on an emulated RP2040 (tests/bench/RESULTS.md)."""

from __future__ import annotations

import pytest
from talk import Talk

from bainboard import pins
from bainwright import cli
from bainwright.core.errors import UseError
from bainwright.files.documents import flash_of
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.board_models import check_rig, model_of
from bainwright.virtual.probe_ids import name_probes

SWEEP_S = 0.026  # the shortest that was measured with the firmware in the heap
REQUEST_S = 0.042


@pytest.mark.parametrize("name", ["pico2", "esp32"])  # the others: test_memory_in_a_hold
def test_a_played_board_calls_itself_by_its_kind_and_holds_in_its_memory(name):
    model = model_of(name)
    rig = name_probes(load_rig("pot").with_settings({"panel": True, "display": True}), model.kind)
    with VirtualBoard(rig, flash_files=flash_of(rig), board=name) as board:
        talk = Talk(board)
        assert talk.ask("bus", at=0)["kind"] == model.kind
        assert board.report()["now_s"] > 10 * SWEEP_S  # a start sweeps after each layer
        board.arm()
        answer = talk.ask("start", stage="work")
        if not answer["ok"] and name == "esp32":  # not supported: its 168 KB sometimes lack room for the first try
            assert "no memory now" in answer["why"]
            answer = talk.ask("start", stage="work")
        assert answer["ok"], answer
        heater = pins.for_platform(model.kind)["heater"]
        board.run_clock()
        talk.until(lambda said: said.get("on") == 1000)
        assert board.report()["pins"][heater] == 1


def test_a_request_takes_its_time_on_a_played_board_only():
    took = {}
    for name in ("pico", None):
        rig = name_probes(load_rig("pot"))
        with VirtualBoard(rig, flash_files=flash_of(rig), board=name) as board:
            talk = Talk(board)
            talk.ask("hello")
            before_s = board.report()["now_s"]
            talk.ask("segments")
            talk.ask("hello")  # the time of the one before may be counted a moment after its answer
            took[name] = board.report()["now_s"] - before_s
    assert took["pico"] >= REQUEST_S
    assert took[None] < REQUEST_S / 4


def test_a_board_that_the_rig_is_not_made_for_is_refused():
    check_rig(load_rig("pot"), "esp32")
    rig = load_rig("pot").with_settings({"board": "pico"})
    check_rig(rig, "pico_w")
    check_rig(rig, None)
    with pytest.raises(UseError, match=r"pot is made for another board: got --board pico2, wanted --board pico or pi"):
        check_rig(rig, "pico2")


@pytest.mark.parametrize(("words", "said"), [
    (["--virtual", "--board", "pico3"], "wanted one of pico, pico_w, pico2, esp32; did you mean pico?"),
    (["--board", "pico"], "--board is for a virtual board; a real one has real time and real events; add --virtual"),
])  # fmt: skip
def test_a_wrong_board_is_answered_in_words(capsys, words, said):
    assert cli.main(["hold", "dark", *words]) == 2
    assert said in " ".join(capsys.readouterr().err.split())
