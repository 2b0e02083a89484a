"""A simulated board for `bain rig new`, with a simulated hand that warms its probes."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from bainwright.files.rig import load_rig
from bainwright.link.session import linked
from bainwright.rigs import bus
from bainwright.virtual.board import VirtualBoard

SPEED = 20.0  # chosen: a minute's warming takes seconds, and the board's time stays short while a person thinks


@contextmanager
def played(rig: str) -> Iterator[tuple[bus.Bus, Callable[[str], str | None]]]:
    """A board as it comes from the shop, wired as a rig: what is on its bus, and what warms a probe and finds it.

    Parameters
    ----------
    rig : str
        A bundled rig or a rig file.
    """
    with VirtualBoard(load_rig(rig), speed=SPEED) as board, linked(board.path) as link:

        def clock() -> float:
            return float(board.report()["now_s"])

        def sleep(for_s: float) -> None:
            until_s = clock() + for_s
            while clock() < until_s:
                time.sleep(0.01)

        def warmed(place: str) -> str | None:
            board.hand(place)
            try:
                return bus.warmed(link, lambda probes: None, sleep, clock)
            finally:
                board.hand(place, False)

        board.arm()
        board.run_clock()
        link.hello()
        yield bus.look(link, sleep), warmed
