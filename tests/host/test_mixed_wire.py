"""Lines of another board, or of an earlier hour, among those of a hold: the board itself is asked before it is over."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fake_board import FakeBoard, event_line, gone, status_line
from scripted_hold import held, runner_of

from bainboard import wire
from bainwright.evening import endings
from bainwright.record.reader import read_log

pytestmark = pytest.mark.usefixtures("undrawn")

OURS, SECONDS = 7, 60


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BAIN_HOME", str(tmp_path / "home"))
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 0.0)
    monkeypatch.setattr("bainwright.report.report._seal_and_draw", lambda *_: True)  # the slow part, without a say here


class Answering(FakeBoard):
    """It answers at once, and `hello` by what it has reported itself: not by `strays`, lines of another.

    A line in the self-test is of its next hold, which has the number `following`.
    """

    def __init__(self, script: list[Any], strays: list[bytes] | None = None, following: int = OURS + 1) -> None:
        super().__init__(lambda: iter([*script, gone()]))
        self.start_answer["hold"], self._strays, self._following = OURS, strays or [], following
        self._at: dict[str, Any] = {"state": "idle", "t": 0, "hold": OURS - 1}

    def write(self, data: bytes) -> None:
        before = list(self._said)
        super().write(data)
        if b'"hello"' in data:
            answer = self._said.pop()
            self._said.clear()
            self._said.extend([answer, *before])

    def read(self) -> bytes:
        piece = super().read()
        said = wire.decode(piece.rstrip(b"\n"))[0] or {}
        if "status" in said and piece not in self._strays:
            self._at |= {"state": said["state"], "t": said["t"]}
            if said["state"] == "check":
                self._at["hold"] = self._following
        return piece

    def _do_start(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        self._at = {"state": "check", "t": 0, "hold": OURS}
        return super()._do_start(message)

    def _do_hello(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        return list({**self.hello, **self._at}.items())


def own(first: int = 1, last: int = SECONDS, **other: Any) -> list[bytes]:
    return [status_line(n, n * 1000, **other) for n in range(first, last + 1)]


def rest(number: int, count: int = 1, **other: Any) -> list[bytes]:
    return [status_line(n, 0, **{"state": "idle", "stage": "", "duty": 0, "on": 0, **other})
            for n in range(number, number + count)]  # fmt: skip


def strange(number: int, count: int, t_ms: int, **other: Any) -> list[bytes]:
    return [status_line(number + n, t_ms + 1000 * n, water=50_000, **other) for n in range(count)]


STRAYS = {
    "two at rest": rest(5000, 2),
    "ten at rest, tripped": rest(5000, 10, state="trip", fault=1),
    "five old ones at rest": rest(1, 5),
    "one that asks to go on": rest(5000, 1, ask="go_on"),
    "one of a hold": strange(5000, 1, 60_000),
    "one of a hold as old": strange(5000, 1, 20_000),
    "nine of a hold": strange(5000, 9, 600_000),
    "nine of a hold that tripped": strange(5000, 9, 600_000, state="trip", fault=1),
    "its end and its rest": [event_line("ended", 900, 0, why="stopped"), *rest(5000, 3)],
    "its start and its rest": [event_line("boot", 900, 0, why="power"), *rest(5000, 6)],
    "its latched trip, and its rest": [event_line("trip", 900, 0, fault=1, latched=True), *rest(5000, 6, state="trip",
                                                                                               fault=1)],
    "its power that is back": [event_line("power_back", 900, 0, why="power", off_s=60, known=True, stage="work",
                                          water=33_000, bowl=31_000)],
}  # fmt: skip


@pytest.mark.parametrize("strays", STRAYS.values(), ids=STRAYS)
@pytest.mark.parametrize("after", [0, 20])
def test_no_line_of_another_board_ends_a_hold_or_counts_in_it(after, strays):
    """They come twice. Its own rows are all there, and no others."""
    lines = own()
    lines[after + 10 : after + 10] = strays
    lines[after:after] = strays
    end = [event_line("ended", 1, 0, why="done"), *rest(SECONDS + 1, 2)]
    _, ended, outcome = held([], board=Answering([*lines, *end], strays), for_=f"{SECONDS}s")
    log = read_log(ended.watch.log.folder)
    assert (ended.watch.ended, outcome.exit_code, ended.watch.trips) == (endings.DONE, 0, [])
    assert list(log["t_s"]) == list(range(1, SECONDS + 1))
    assert {event["event"] for event in log.events} <= {"ended"}


def test_a_line_of_another_hold_behind_the_stop_is_not_its_last():
    """The board rests then, so nobody contradicts it."""
    strays = strange(5000, 3, 773_000, state="trip", fault=1)
    end = [event_line("ended", 1, 0, why="stopped"), *rest(31, 1), *strays, *rest(32, 2)]
    _, ended, _ = held([], board=Answering([*own(last=30), *end], strays), for_="1h")
    assert (ended.watch.ended, ended.watch.trips, ended.watch.end_ms) == (endings.STOPPED, [], 30_000)


OTHERS = {
    "all heard": [event_line("ended", 1, 0, why="stopped"), *rest(31), event_line("started", 2, 0, check_s=60)],
    "its lines alone": [],
    "after a rest": rest(31),
}


@pytest.mark.parametrize("following", [OURS + 1, OURS])
@pytest.mark.parametrize("between", OTHERS.values(), ids=OTHERS)
def test_another_hold_that_somebody_started_there_is_not_a_stop(between, following):
    """Also where it has the same number: a board whose flash was erased counts from 1 again."""
    first = 31 + len(between)
    script = [*own(last=30), *between, *(status_line(first + n, 1000 * n, state="check") for n in range(10))]
    _, ended, outcome = held([], board=Answering(script, following=following), for_="1h")
    assert (ended.watch.ended, outcome.exit_code) == (endings.OTHER, 1)
    assert "the warmer runs another hold now" in outcome.summary
    assert ended.watch.scene.unwatched == "other"
    assert len(read_log(ended.watch.log.folder)) <= 30


@pytest.mark.parametrize("following", [OURS + 1, OURS])
def test_a_board_that_restarted_and_holds_on_by_itself_is_not_off(following):
    """Whatever hold it runs then, under whatever number: its heat is not off."""
    script = [*own(last=30), *rest(1, 3), *(status_line(3 + n, 1000 * n, state="check") for n in range(1, 10))]
    _, ended, outcome = held([], board=Answering(script, following=following), for_="1h")
    assert (ended.watch.ended, outcome.exit_code) == (endings.RESTARTED, 1)
    assert "still holds; bain hold --join" in outcome.summary
    assert ended.watch.scene.unwatched == "resumed"


@pytest.mark.parametrize(("age_s", "ended_as"), [(10.0, endings.OTHER), (7500.0, endings.STOPPED)])
def test_behind_a_gap_a_hold_of_the_same_number_must_be_old_enough(age_s, ended_as, monkeypatch):
    """The gap lasts two hours by this PC's clock."""
    clock_s = [0.0]
    monkeypatch.setattr("bainwright.evening.runner.time.monotonic", lambda: clock_s[0])
    board = Answering([])
    board._script = lambda: iter([*own(last=300), gone()])
    runner = runner_of([], board=board, for_="8h")
    t_ms = round(1000 * age_s)
    again = Answering([])
    again._at = {"state": "hold", "t": t_ms, "hold": OURS}
    again.say(*(status_line(400 + n, t_ms + 1000 * n) for n in range(5)),
              event_line("ended", 2, 0, why="stopped"), *rest(405, 2))

    def reopen() -> bool:
        clock_s[0] = 7200.0
        runner.session.board = again
        runner.session.link.replace(again)
        return True

    monkeypatch.setattr(runner.session, "reopen", reopen)
    monkeypatch.setattr("bainwright.evening.runner.looks_for_s", lambda planned_s: 9000.0)
    assert runner.run().watch.ended == ended_as
