"""The checklist for a bare board, on a board that is made up: what passes, what fails, and what the report holds."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bainboard import settings
from bainwright.cli import main
from bainwright.core.errors import RefusedError
from bainwright.drill import board_check
from bainwright.drill.board_check import BoardCheck
from bainwright.files.documents import document, short_hash
from bainwright.link.messages import Status

VALUES = settings.defaults(settings.SETTINGS)


def line(number: int, t_ms: int, state: str) -> Status:
    return Status(status=number, t=t_ms, state=state, stage="work", water=20000, bowl=None, est=0, target=31500,
                  water_target=None, duty=0, on=0, fault=0, warn=0, ask="", drops=0)  # fmt: skip


class Board:
    """A live board: a line each second of the clock that it is given, unless its flaw says otherwise."""

    simulated = virtual = False

    def __init__(self, flaw: str = "") -> None:
        self.flaw, self.now_s, self.sent, self.running = flaw, 0.0, 0, False
        self.link: Any = self
        self.stored = document("settings", VALUES)

    def hello(self) -> dict[str, Any]:
        self.now_s += 2.5 if self.flaw == "slow" else 0.01
        return {"settings": short_hash(self.stored), "state": "idle", "version": "1", "python": "1.28", "board": "ab"}

    def settings(self, hello: dict[str, Any]) -> dict[str, Any]:
        return dict(VALUES)

    def upload(self, what: str, payload: bytes) -> None:
        self.stored = payload if self.flaw != "forgets" else b"[]"

    def download(self, what: str) -> bytes:
        return self.stored

    def request(self, do: str, **fields: Any) -> dict[str, Any]:
        if do == "start" and self.flaw == "tripped":
            raise RefusedError("it is tripped")
        self.running = do == "start"
        temp = None if self.flaw == "no probe" else 21000
        return {"kind": "pico", "count": 1, "rom": "28", "temp": temp, "code": 1}

    def poll(self) -> list[Status]:
        self.now_s += 0.5
        due = int(self.now_s) - self.sent
        if self.flaw == "silent" or due < (4 if self.flaw == "stalls" else 1):
            return []
        came = [line(number, number * (1100 if self.flaw == "fast" else 1000) if self.running else 0,
                     "check" if self.running else "idle")
                for number in range(self.sent + 1, self.sent + due + 1)]  # fmt: skip
        self.sent += due
        return came[:-1] if self.flaw == "loses" and self.sent % 7 == 0 else came

    def held(self) -> contextlib.AbstractContextManager[None]:
        return contextlib.nullcontext()

    def reopen(self) -> bool:
        return True


def checked(flaw: str = "", answer: bool = True) -> dict[str, bool]:
    board = Board(flaw)
    hands: Any = SimpleNamespace(seen=lambda question: answer)
    session: Any = board
    done = BoardCheck(session, hands, lambda text: None, 60.0, lambda: board.now_s).run()
    return {each.name: each.passed for each in done}


@pytest.fixture(autouse=True)
def no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bainwright.rigs.bus.look", lambda link: SimpleNamespace(
        kind="pico", probes=[SimpleNamespace(temp_c=None if link.flaw == "no probe" else 21.0)]))


def test_a_sound_board_passes_every_check():
    assert all(checked().values())


@pytest.mark.parametrize(("flaw", "failed"), [
    ("slow", {"answers"}), ("forgets", {"stores"}), ("no probe", {"probes"}), ("tripped", {"self_test"}),
    ("silent", {"rest", "self_test"}), ("stalls", {"rest", "self_test"}), ("loses", {"rest", "self_test"}),
    ("fast", {"self_test"}),
])  # fmt: skip
def test_each_flaw_fails_its_own_check(flaw: str, failed: set[str]):
    assert {name for name, passed in checked(flaw).items() if not passed} == failed


def test_what_a_person_does_not_see_fails():
    assert {name for name, passed in checked(answer=False).items() if not passed} == {"heater_pin", "power_cut"}


def test_the_report_of_a_simulated_board_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.undo()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(board_check, "LISTEN_S", 0.5)
    assert main(["drill", "--virtual", "--board-check"]) == 0
    report = json.loads(Path("board-check.json").read_text())
    assert (report["simulated"], report["passed"], len(report["checks"])) == (True, True, 7)
    assert main(["drill", "--virtual", "--board-check", "--show"]) == 2
    assert main(["drill", "--virtual", "--board-check", "--out", "nowhere/report.json"]) == 2
