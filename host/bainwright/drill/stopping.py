"""However a drill ends, the warmer does not go on heating: a part may be bridged, and nobody may be looking."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType

from bainwright.core.errors import LinkError, RefusedError
from bainwright.core.keys import GO, Interrupts
from bainwright.link.session import Session

STOPPED = "The warmer is stopped. Put right what the last step had you change."
NOT_STOPPED = "The warmer did not answer and MAY STILL HEAT: pull the heater's plug now."


@contextmanager
def stopped_on_error(session: Session, say: Callable[[str], None]) -> Iterator[None]:
    """Stop the warmer if what is inside ends by an error, by Ctrl-C, or because the process is told to end.

    Parameters
    ----------
    session : Session
        The board.
    say : callable
        Shows the person a line.
    """
    before = {number: signal.signal(number, _end) for number in GO}
    try:
        yield
    except BaseException:
        with Interrupts():  # a second Ctrl-C must not come between
            stopped = _stop(session)
            with suppress(OSError):  # the terminal may be closed
                if not session.virtual:
                    say(STOPPED if stopped else NOT_STOPPED)
        raise
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _end(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _stop(session: Session) -> bool:
    """Ask it to stop, on a port opened again where need be; False when none confirmed it."""
    for _ in range(2):
        try:
            with session.held():
                session.link.request("stop")
            return True
        except RefusedError:
            return False
        except LinkError:
            if not session.reopen():
                return False
    return False
