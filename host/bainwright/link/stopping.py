"""Stopping a warmer, and seeing that its heat is off: its answer alone does not say so."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

from bainboard import commands
from bainwright.core.errors import LinkError, RefusedError
from bainwright.core.keys import Interrupts, ended_as_by_ctrl_c
from bainwright.link.messages import Message, Status
from bainwright.link.protocol import Link
from bainwright.link.session import Session

LOOK_S = 4.0  # chosen: it reports each second, and the first report after a stop may still be of the second before
STOPPED = "The warmer is stopped. Put right what the last step had you change."
NOT_OFF = "the warmer does not confirm that it is off and MAY STILL HEAT: pull the heater's plug now"
NOT_STOPPED = f"{NOT_OFF[0].upper()}{NOT_OFF[1:]}."


def heats(status: Status) -> bool:
    """Does a report show a hold or heat? A water pause is a hold: it continues at a press."""
    return status.state in commands.RUNNING or status.duty > 0 or status.on > 0


def reports_heat(link: Link, lines: int = 1, see: Callable[[Message], object] = bool) -> bool | None:
    """Does the warmer report a hold or heat?

    Parameters
    ----------
    link : Link
        The board, in real time.
    lines : int
        So many reports in a row without heat are a no.
    see : callable
        Takes each message that comes meanwhile.

    Returns
    -------
    bool or None
        None: it reports nothing.
    """
    until_s, heat, cold = time.monotonic() + LOOK_S, None, 0
    while cold < lines and time.monotonic() < until_s:
        for message in link.poll():
            see(message)
            if isinstance(message, Status):
                heat = heats(message)
                cold = 0 if heat else cold + 1
    return heat


def stop(session: Session, see: Callable[[Message], object] = bool) -> bool:
    """Ask the warmer to stop, on a port opened again where need be.

    Parameters
    ----------
    session : Session
        The board.
    see : callable
        Takes each message that comes meanwhile.

    Returns
    -------
    bool
        It confirmed, and has reported since that nothing heats. A virtual board's answer is enough.
    """
    for _ in range(2):
        try:
            with session.held():
                session.link.request("stop")
            return session.virtual or reports_heat(session.link, see=see) is False
        except RefusedError:
            return False
        except LinkError:
            if not session.reopen():
                return False
    return False


def after_refusal(session: Session, refused: RefusedError) -> RefusedError:
    """The error of a start that was refused: it says so where the warmer heats all the same.

    Nothing is stopped: somebody may have started that hold at the buttons, a moment before this PC.
    """
    heat = False if session.virtual else reports_heat(session.link, lines=2)
    if heat is False:
        return refused
    if heat is None:
        return RefusedError(f"{refused.what} and has reported nothing since", got=refused.hint,
                            hint="look whether it heats; if it does, pull the heater's plug")
    return RefusedError(f"{refused.what}, and yet it reports a hold or heat", got=refused.hint,
                        hint="if nobody started it at its buttons, pull the heater's plug now; --join watches it")


@contextmanager
def stopped_on_error(session: Session, say: Callable[[str], None]) -> Iterator[None]:
    """Stop the warmer if what is inside ends by an error, by Ctrl-C, or because the process is told to end.

    For acts in which the warmer must not go on heating: a part may be bridged, and nobody may be looking.

    Parameters
    ----------
    session : Session
        The board.
    say : callable
        Shows the person a line.
    """
    with ended_as_by_ctrl_c():
        try:
            yield
        except BaseException:
            with Interrupts():  # a second Ctrl-C must not come between
                stopped = stop(session)
                with suppress(OSError):  # the terminal may be closed
                    if not session.virtual:
                        say(STOPPED if stopped else NOT_STOPPED)
            raise
