"""A collection as its tests ask for it, from a board that logs into a folder."""

from __future__ import annotations

import contextlib

from fake_board import FakeBoard, FakeSession
from logging_board import LoggingBoard
from test_hold import Notebook

from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.link.ports import LostBoardError
from bainwright.report import collect as collect_module
from bainwright.report.collect import CollectAsked, collect
from bainwright.report.report import report


def collected(board, monkeypatch, **asked):
    """The result of a collection from this board."""

    @contextlib.contextmanager
    def opened(port, image):
        yield FakeSession(board)

    monkeypatch.setattr(collect_module, "open_stored", opened)
    return collect(CollectAsked(**asked))


def a_night(here, seconds=3600, board=None, **asked):
    """A board that held by itself."""
    board = board or LoggingBoard(here / "flash")
    board.start(**asked)
    board.hold(60, bowl=30500)
    board.event("warm", board.t_ms)
    board.hold(seconds - 60)
    board.end()
    return board


def watched(board, said, **hello):
    """A PC that watched the first part of a hold: what `bain hold` leaves behind."""
    script = FakeBoard(lambda: iter([*said, LostBoardError("gone")]), board="0011223344556677", **hello)
    script.start_answer.update(hold=board.log.hold, boot=board.log.boot)
    session = FakeSession(script)
    runner = Runner(resolve(HoldRequest("dark", for_="2h")), session, Notebook())
    runner.prepare()
    return report(runner, runner.run(), None)
