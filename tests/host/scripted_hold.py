"""A hold on a board in memory that follows a script, and a view that records every call."""

from dataclasses import replace

from fake_board import FakeBoard, FakeSession, event_line, status_line

from bainwright.evening import watch
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.report.report import report
from bainwright.virtual.probe_ids import name_probes


class Notebook:
    """A view that records every call."""

    def __init__(self):
        self.events, self.said, self.scenes = [], [], 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return

    def refresh(self, scene):
        self.scenes += 1

    def event(self, t_s, text):
        self.events.append((t_s, text))

    def say(self, text):
        self.said.append(text)


def quiet(seconds=30, first=1, **other):
    """So many seconds of a quiet hold."""
    return [status_line(n, n * 1000, **other) for n in range(first, first + seconds)]


def done(number=1, why="done"):
    """The board ends the hold."""
    return event_line("ended", number, 0, why=why)


def runner_of(script, *, for_="30s", virtual=False, truth=None, board=None, **asked):
    """A runner on a fake board, prepared."""
    board = board or FakeBoard(lambda: iter(script))
    session = FakeSession(board, virtual=virtual, truth=truth)
    setup = resolve(HoldRequest("dark", for_=for_, **asked))
    setup = replace(setup, rig=setup.rig and name_probes(setup.rig))
    runner = Runner(setup, session, Notebook())
    runner.prepare()
    return runner


def held(script, **options):
    """Run a script; its runner, its end and its report."""
    runner = runner_of(script, **options)
    ended = runner.run()
    return runner, ended, report(runner, ended, options.get("truth"))


class Keyboard:
    """Keys pressed at set times: {turn: key}; `interrupts` counts up at the turns given."""

    def __init__(self, keys, there=True):
        self.keys, self.there, self.turn = keys, there, 0

    def pressed(self):
        self.turn += 1
        return self.keys.get(self.turn, "")


class Counter:
    """Ctrl-C that was pressed so often."""

    def __init__(self, count=0, go=False):
        self.count, self.go = count, go


def turning(runner, keyboard, interrupts, turns):
    """A hold's rounds by hand: its course after so many of them."""
    from bainwright.record.writer import LiveLog, make_folder

    course = watch.Watch(runner.scene(), LiveLog(make_folder(None, "dark"), {}), runner.view)
    for _ in range(turns):
        if course.ended is None:
            runner._turn(course, keyboard, interrupts)
    return course
