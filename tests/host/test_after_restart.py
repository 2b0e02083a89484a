"""A board that restarted in the middle of a hold: somebody is called until one comes, where anybody can be called."""

import time
from types import SimpleNamespace

import pytest
from fake_board import event_line, gone, status_line
from page_tools import scene_at
from scripted_hold import Counter, Notebook, quiet, runner_of

from bainwright.alarms.rules import cause_of
from bainwright.evening import after_restart
from bainwright.evening.acts import AT_WARMER, BY_NAME, Inbox
from bainwright.evening.after_restart import AfterRestart
from bainwright.evening.board_answer import BoardAnswer
from bainwright.evening.runner import Runner
from bainwright.link.messages import decode
from bainwright.live.now import now_of

AWAY = object()  # the board has no power


class Board:
    """A board that reports a line at each look, and then nothing."""

    def __init__(self, lines):
        self.lines, self.looks = list(lines), 0
        self.link = self

    def poll(self):
        if not self.lines:
            return []
        line = self.lines.pop(0)
        if line is AWAY:
            raise gone()
        return [decode(line.strip())]

    def reopen(self):
        self.looks += 1
        return False


class Kitchen(Notebook):
    """A view that notes at each look what calls, and what the page shows."""

    def __init__(self):
        super().__init__()
        self.moments = []

    def refresh(self, scene):
        self.moments.append((cause_of(scene, 0.0), now_of(scene)))


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """No pause between two looks."""
    monkeypatch.setattr(after_restart, "LOOK_S", 0.0)


def waited(lines, *, told=None, inbox=None, for_s=0.05, ctrl_c=0):
    """Wait with a board that restarted: was it answered, the hold, what called, and the board."""
    course = SimpleNamespace(scene=scene_at(), resumed=False, declined=False, keys=[], said=[])
    course.show, view, board = course.said.append, Kitchen(), Board(lines)
    after = AfterRestart(board, view, inbox or Inbox(), lambda: told, lambda: course.keys.append("served"))
    return after.wait(course, Counter(ctrl_c), time.monotonic() + for_s), course, view.moments, board


def idle(count, ask=""):
    """Lines at rest, a bit colder each time."""
    return [status_line(n, 0, state="idle", stage="", ask=ask, bowl=31000 - n, duty=0) for n in range(1, count + 1)]


def test_nobody_comes_so_it_calls_until_the_time_is_over():
    """With the present readings and what to do; no button of the page heats on."""
    answered, course, moments, board = waited([AWAY, AWAY, *idle(10)])
    assert not answered
    assert course.keys  # such as the one that shows how a phone gets in
    assert board.looks == 2
    alarm, now = moments[-1]
    assert alarm.now
    assert alarm.words == after_restart.PROMPT
    assert now.doing == "the heat is off"
    assert (now.calling, now.chocolate_c, now.power_w, now.t_s) == (True, 30.99, 0.0, 5400.0)
    assert not {"yes", "no", "resume"} & set(now.acts)


def test_somebody_at_the_warmer_declines():
    """It asks no more. A line that does not ask may be another board's, so one is no answer."""
    assert not waited([*idle(5, "go_on"), *idle(2)])[0]
    answered, course, moments, _ = waited([*idle(5, "go_on"), *idle(3)], for_s=60.0)
    assert (answered, course.declined, course.said) == (True, True, [after_restart.DECLINED])
    assert {alarm.cause for alarm, _ in moments} == {"ask go_on"}  # no new call after the answer


def test_somebody_at_the_warmer_heats_on():
    """Another hold runs there, by the board's own word; a line alone may be another board's."""
    running = [*idle(5, "go_on"), status_line(6, 1000, state="check")]
    answer = BoardAnswer(ours_runs=False, other_runs=True, t_ms=1000, fault=0, state="check")
    answered, course, _, _ = waited(running, told=answer, for_s=60.0)
    assert (answered, course.resumed) == (True, True)
    assert not waited(running, told=None)[0]


def test_a_person_at_the_terminal_ends_it():
    """They read of it there."""
    assert waited(idle(5), ctrl_c=1, for_s=60.0)[0]


def test_a_phone_that_acts_meanwhile_learns_why_not():
    """An act that waited would be withdrawn, and blamed on the link."""
    inbox = Inbox()
    reply = inbox.put(BY_NAME["stop"], "")
    waited(idle(5), inbox=inbox)
    assert reply.result(0) == AT_WARMER


@pytest.mark.parametrize(("answered", "resumed", "unwatched"), [
    (False, False, "restarted"), (True, False, ""), (True, True, "resumed")])
def test_only_a_hold_that_calls_somebody_waits_for_them(here, monkeypatch, answered, resumed, unwatched):
    """A script gets its end at once; what calls at the end depends on whether somebody came."""
    waits = []

    def wait(self, course, interrupts, until_s):
        waits.append(until_s - time.monotonic() > 600.0)
        course.resumed = resumed
        return answered

    monkeypatch.setattr(AfterRestart, "wait", wait)
    cut = event_line("boot", 1, 0, cause="PWRON_RESET", why="power")
    script = [*quiet(10), cut, *idle(8)]
    assert runner_of(script).run().watch.scene.unwatched == "restarted"
    assert waits == []
    monkeypatch.setattr(Runner.__init__, "__kwdefaults__", {"calls": True})
    assert runner_of(script).run().watch.scene.unwatched == unwatched
    assert waits == [True]
