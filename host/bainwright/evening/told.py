"""What the board itself answers, where lines say that its hold is over: they may be another board's, or old ones."""

from __future__ import annotations

from typing import NamedTuple

from bainboard import commands
from bainwright.core.errors import LinkError
from bainwright.link.session import Session

TRIES = 3  # chosen: on a mixed wire another board may answer first
NEAR_MS = 10_000  # chosen: a line waits no longer on its way


class Told(NamedTuple):
    """An answer.

    Attributes
    ----------
    runs : bool
        This hold goes on.
    other : bool
        Another hold runs.
    t_ms : int
        The running hold's time.
    fault : int
        The number of the fault in force, or 0.
    state : str
        The board's state.
    """

    runs: bool
    other: bool
    t_ms: int
    fault: int
    state: str

    def near(self, t_ms: int) -> bool:
        """May a status line of this moment be the hold's own?"""
        return abs(t_ms - self.t_ms) <= NEAR_MS


def ask(session: Session, hold: int) -> Told | None:
    """Ask the board which hold it runs; None where it does not answer.

    Parameters
    ----------
    session : Session
        The board, in real time.
    hold : int
        Its own number of the hold that is watched; 0 where it gave none.
    """
    for _ in range(TRIES):
        try:
            hello = session.link.hello(tries=1)
        except LinkError:
            continue
        if hello["board"] == session.link.board:
            running = hello["state"] in commands.RUNNING
            ours = not hold or hello.get("hold", hold) == hold
            return Told(running and ours, running and not ours, hello["t"], hello["fault"], hello["state"])
    return None
