"""An error in a part that the heat does not need turns that part off, and the hold continues.

The virtual board has each error injected in the real firmware, played in CPython. Oracle: the design's rule that no
comfort ends a hold (hardware/SAFETY.md), and the same hold without the error.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bainwright.files.rig import load_rig
from bainwright.link.messages import Status
from bainwright.virtual import interpreter
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.session import Simulated, VirtualSession
from bainwright.words import terms

SECONDS, BROKEN_S = 240, 150


@pytest.fixture(autouse=True)
def in_cpython(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(interpreter, "NEEDED", ("no_such_interpreter",))


def fails(*_: object, **__: object) -> None:
    """A method with an error in it."""
    raise ValueError("broken on purpose")


def once(act: str) -> Callable[..., list[str]]:
    """The buttons: this act with the first look at them."""
    acts = [act]
    return lambda *_: [acts.pop()] if acts else []


def play(break_it: Callable[[], None] = lambda: None) -> tuple[list[Status], list[dict[str, Any]]]:
    """A hold of so many seconds, or until its board restarts, in which something breaks: (status lines, events)."""
    rig = name_probes(load_rig("pot").with_settings({"panel": True}))
    session = VirtualSession(Simulated(rig, None, None, 0, None, None))
    rows: list[Status] = []
    events: list[dict[str, Any]] = []
    try:
        session.arm()
        session.link.request("start", stage="work")
        session.run()
        while len(rows) < SECONDS and not session.facts()["resets"]:
            for said in session.link.poll():
                if isinstance(said, Status):
                    rows.append(said)
                else:
                    events.append(said)
            if len(rows) >= BROKEN_S:
                break_it()
    finally:
        session.close()
    return rows[:SECONDS], events


@pytest.fixture(scope="module")
def whole() -> list[Status]:
    """The same hold with nothing broken."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(interpreter, "NEEDED", ("no_such_interpreter",))
        return play()[0]


@pytest.mark.parametrize(("broken", "part"), [
    ("flashlog.FlashLog.status", "log"), ("flashlog.FlashLog.sync", "log"), ("board.Board.show", "lamps"),
    ("panel_logic.PanelLogic.show", "lamps"),
])  # fmt: skip
def test_an_error_in_log_or_lamps_turns_that_part_off_once_and_moves_no_heat(monkeypatch, whole, broken, part):
    rows, events = play(lambda: monkeypatch.setattr(f"bainboard.{broken}", fails))
    off = [event for event in events if event["event"] == "part_off"]
    assert [(event["part"], event["why"]) for event in off] == [(part, "ValueError: 'broken on purpose'")]
    assert [(row.state, row.duty) for row in rows] == [(row.state, row.duty) for row in whole]
    assert any(row.duty for row in rows[BROKEN_S:])
    assert "the heat is not affected" in terms.event("part_off", off[0])


def test_an_error_in_what_a_button_asks_refuses_it_and_the_hold_continues(monkeypatch, whole):
    def break_it() -> None:
        monkeypatch.setattr("bainboard.warmer.Warmer.act", fails)
        monkeypatch.setattr("bainboard.panel_logic.PanelLogic.acts", press)

    press = once("thicker")
    rows, events = play(break_it)
    refused = [event for event in events if event["event"] == "refused"]
    assert len(refused) == 1
    assert "an error in the firmware (ValueError: broken on purpose)" in refused[0]["why"]
    assert [(row.state, row.duty) for row in rows] == [(row.state, row.duty) for row in whole]


def test_an_error_in_a_pause_by_button_ends_the_run_with_the_heat_off(monkeypatch):
    def break_it() -> None:
        monkeypatch.setattr("bainboard.panel_task.ACTS", {"pause": fails})
        monkeypatch.setattr("bainboard.panel_logic.PanelLogic.acts", press)

    press = once("pause")
    rows, _ = play(break_it)
    assert len(rows) < SECONDS
