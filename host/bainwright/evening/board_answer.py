"""What the board itself answers about its hold, asked when a line says it is over: that may be another board's."""

from __future__ import annotations

from typing import NamedTuple

from bainboard import commands
from bainwright.core.errors import LinkError
from bainwright.link.session import Session

TRIES = 3  # chosen: on a mixed wire another board may answer first
NEAR_MS = 10_000  # chosen: no line is on its way for longer


class BoardAnswer(NamedTuple):
    """Which hold the board runs, by its own answer.

    Attributes
    ----------
    ours_runs : bool
        The hold that is watched still runs.
    other_runs : bool
        Another hold runs.
    t_ms : int
        The running hold's time.
    fault : int
        The number of the fault in force, or 0.
    state : str
        The board's state.
    """

    ours_runs: bool
    other_runs: bool
    t_ms: int
    fault: int
    state: str

    @property
    def runs(self) -> bool:
        """Does any hold run? Then there is heat, or soon will be."""
        return self.ours_runs or self.other_runs

    def near(self, t_ms: int) -> bool:
        """May a status line of this moment be the hold's own?"""
        return abs(t_ms - self.t_ms) <= NEAR_MS


def ask_board(session: Session, hold: int, reached_ms: float) -> BoardAnswer | None:
    """Ask the board which hold it runs; None if it does not answer.

    Parameters
    ----------
    session : Session
        The board, in real time.
    hold : int
        Its own number of the hold that is watched; 0 if it gave none.
    reached_ms : float
        The time that this hold has reached at least. A board whose flash was erased counts its holds from 1 again: a
        hold of the same number that is younger is another one.
    """
    for _ in range(TRIES):
        try:
            hello = session.link.hello(tries=1)
        except LinkError:
            continue
        if hello["board"] == session.link.board:
            running = hello["state"] in commands.RUNNING
            ours = (not hold or hello.get("hold", hold) == hold) and hello["t"] >= reached_ms - NEAR_MS
            return BoardAnswer(running and ours, running and not ours, hello["t"], hello["fault"], hello["state"])
    return None
