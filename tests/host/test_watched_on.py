"""A warmer that goes on with another hold while somebody relies on being called: it is watched on, or they are told."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from fake_board import FakeSession, event_line, status_line
from page_tools import scene_at
from scripted_hold import Notebook
from test_mixed_wire import OURS, Answering, own, rest

from bainwright.alarms.rules import last_call
from bainwright.display.view import PlainLines
from bainwright.evening import endings, runner
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.link.messages import decode
from bainwright.record.reader import read_log
from bainwright.report.report import report


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BAIN_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("bainwright.report.report._seal_and_draw", lambda *_: True)


class Board(Answering):
    """Its lines run out without an end of the port; `next_name` is the chocolate of its next hold."""

    def __init__(self, script: list[Any], other_chocolate: bool = False) -> None:
        super().__init__(script)
        self._script = lambda: iter(script)
        self._other = other_chocolate
        self.clock_answer = {"t": 1000, "left": 3_599_000}

    def write(self, data: bytes) -> None:
        """Each answer comes at once, before the lines that wait."""
        before = list(self._said)
        self._said.clear()
        super().write(data)
        self._said.extend(before)

    def _do_hello(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        said = dict(super()._do_hello(message))
        if self._other and said["hold"] > OURS:
            said["profile"] = "00000000"
        return list(said.items())


def check(first: int, seconds: int) -> list[bytes]:
    """The next hold, from its first line."""
    return [status_line(first + n, 1000 * n, state="check") for n in range(1, seconds + 1)]


RESUMES = [*rest(1, 3), *check(3, 20), event_line("ended", 1, 0, why="stopped"), *rest(24, 3)]
STARTED_ANEW = [*check(31, 20), event_line("ended", 2, 0, why="stopped"), *rest(52, 3)]


def followed(script: list[Any], *, calls: bool = True, **board: Any) -> tuple[Runner, Any, Notebook]:
    view = Notebook()
    session = FakeSession(Board([*own(last=30), *script], **board))
    with Runner(resolve(HoldRequest("dark", for_="1h", out="mine")), session, view, calls=calls) as running:
        running.prepare()
        return running, running.run(), view


@pytest.mark.parametrize(("script", "why"), [(RESUMES, endings.RESTARTED), (STARTED_ANEW, endings.OTHER)])
def test_the_next_hold_is_watched_and_recorded_where_somebody_is_called(script, why):
    """Who said yes at the warmer believed that they would be called again; the program had ended."""
    running, ended, view = followed(script)
    both = list(ended.all_of(running))
    assert [its.watch.ended for _, its in both] == [why, endings.STOPPED]
    assert [last_call(its.watch.scene) for _, its in both] == [None, None]
    assert runner.WATCHED_ON in [text for _, text in view.events]
    reports = [report(each, its, None) for each, its in both]
    assert [Path(each.result["folder"]).name for each in reports] == ["mine", "mine-1"]
    assert reports[0].summary.endswith("the warmer went on with another hold, which is in mine-1.")
    assert "--join" not in reports[0].summary + reports[1].summary
    assert list(read_log(Path("mine"))["t_s"]) == list(range(1, 31))
    assert list(read_log(Path("mine-1"))["t_s"])[-1] == 20.0
    assert read_log(Path("mine-1")).facts["hold"] == 8


@pytest.mark.parametrize(("script", "left"), [(RESUMES, "resumed"), (STARTED_ANEW, "other")])
def test_one_last_call_goes_out_where_the_next_hold_cannot_be_watched(script, left):
    """Of another chocolate; and where nobody would be called, a script gets its end at once."""
    _, ended, view = followed(script, other_chocolate=True)
    assert ended.later is None
    assert any(text.startswith(runner.NOT_WATCHED_ON) and "another chocolate" in text for _, text in view.events)
    assert ended.watch.scene.unwatched == left
    call = last_call(ended.watch.scene)
    assert call is not None
    assert call.cause == left
    assert not Path("mine-1").exists()
    Path("mine").rename("before")
    alone = followed(script, calls=False)[1]
    assert (alone.later, alone.watch.scene.unwatched) == (None, left)


def test_plain_lines_show_the_progress_of_a_hold_that_began_later():
    """They waited until it was as old as the one before."""
    out = io.StringIO()
    lines = PlainLines(out)
    for t_s in (3000.0, 60.0):
        scene = scene_at()
        scene.see(t_s, decode(status_line(1, round(1000 * t_s)).strip()))
        lines.refresh(scene)
    assert out.getvalue().count("VIRTUAL") == 2
