"""A wireless board's memory, panel and display fitted, is enough for a hold with a busy PC."""

from __future__ import annotations

from typing import Any

import pytest
from talk import Talk

from bainboard import chunks
from bainboard.service import NO_MEMORY
from bainwright.files.documents import flash_of
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes

REQUESTS = (("hello", {}), ("segments", {}), ("profiles", {}), ("silence", {}), ("thicker", {}))
ROUNDS = 40  # ten seconds of the hold each


@pytest.mark.parametrize("model", ["pico_w", "pico"])
def test_a_hold_with_panel_display_requests_and_transfers_never_lacks_memory(model: str) -> None:
    rig = name_probes(load_rig("pot").with_settings({"panel": True, "display": True}))
    with VirtualBoard(rig, flash_files=flash_of(rig), board=model) as board:
        talk = Talk(board)
        heard: list[dict[str, Any]] = []
        board.arm()
        board.set_speed(300)
        heard.append(talk.ask("start", stage="work"))
        for count in range(ROUNDS):
            do, fields = REQUESTS[count % len(REQUESTS)]
            heard.append(talk.ask(do, **fields))
            if count % 20 == 10:
                heard += _gains(talk)
            board.run_clock()
            talk.until(lambda said: "status" in said and said["status"] % 10 == 0)
            board.hold_clock()
        board.run_clock()
        last = talk.until(lambda said: "status" in said)
        report = board.report()
    assert [said for said in heard if said.get("why") == NO_MEMORY] == []
    assert heard[0]["ok"]
    assert last["state"] == "hold"
    assert last["t"] > 6 * 60 * 1000
    assert report["resets"] == []
    assert not report["dead"]


def _gains(talk: Talk) -> list[dict[str, Any]]:
    """Gains for the running hold, as a tuned warmer gets them: the answers."""
    payload = b'{"gains.water.weight":0.6}'
    said = [talk.ask("begin", what="gains", size=len(payload), sha256=chunks.sha256_hex(payload)),
            talk.ask("chunk", at=0, data=chunks.base64_text(payload)), talk.ask("commit")]
    assert [each["ok"] for each in said] == [True, True, True], said
    return said
