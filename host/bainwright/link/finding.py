"""Finding the right board: every port is asked who is on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bainwright.core.errors import BainError, LinkError, UseError
from bainwright.core.progress import progress
from bainwright.link import ports, served_boards
from bainwright.link.protocol import Link
from bainwright.words.advice import at_rest

NONE_THERE = "plug it in, name its --port, or try it all with --virtual"


@dataclass(frozen=True)
class Found:
    """A port and who answers on it.

    Attributes
    ----------
    path, what : str
        The port and its own description.
    hello : dict, optional
        The warmer's answer; None where no warmer's firmware answers.
    why : str
        Why there is no answer.
    """

    path: str
    what: str
    hello: dict[str, Any] | None = None
    why: str = ""

    def __str__(self) -> str:
        if self.hello is None:
            return f"{self.path} ({self.what}): {self.why}"
        simulated = "VIRTUAL " if ports.is_pseudo_terminal(self.path) else ""
        danger = at_rest(self.hello)
        return (f"{self.path}: the {simulated}warmer {self.hello.get('name')!r}, {self.hello.get('state')}"
                f"{f' ({danger})' if danger else ''}")  # fmt: skip


def there() -> list[tuple[str, str]]:
    """Every port a board may be on, as (path, description): those on USB, and virtual boards served here."""
    return [*ports.usb_ports(), *served_boards.served()]


def survey() -> list[Found]:
    """Every port a board may be on, each asked who it is."""
    known = there()
    found = []
    with progress("asking every port", len(known)) as asked:
        for path, what in known:
            found.append(ask(path, what))
            asked(len(found))
    return found


def ask(path: str, what: str = "") -> Found:
    """Say hello on one port; this does not disturb a board that heats."""
    try:
        transport = ports.open_port(path)
    except BainError as failed:
        return Found(path, what, why=failed.what)
    link = Link(transport)
    try:
        return Found(path, what, link.hello(tries=1, any_wire=True))
    except LinkError:
        why = "a warmer speaks here, but gives no answer" if link.speaks else "no warmer's firmware answers"
        return Found(path, what, why=why)
    finally:
        transport.close()


def choose_port(asked: str | None) -> str:
    """The port to open: the one asked for, the only one, or the only one with a warmer on it.

    Raises
    ------
    LinkError
        If none is plugged in.
    UseError
        If more than one board is possible.
    """
    if asked:
        return asked
    known = there()
    if not known:
        raise LinkError("no board is plugged in", hint=NONE_THERE)
    if len(known) == 1:
        return known[0][0]
    found = survey()
    warmers = [each for each in found if each.hello is not None]
    if len(warmers) == 1:
        return warmers[0].path
    raise several(warmers or found)


def choose_to_write(asked: str | None) -> str:
    """As `choose_port`, for commands that change a board: a bare board counts as well as one with our firmware."""
    if asked or len(there()) < 2:
        return choose_port(asked)
    raise several(survey())


def several(found: list[Found]) -> UseError:
    """The error for more than one possible board."""
    return UseError(
        "several boards could be meant: " + "; ".join(map(str, found)),
        hint=f"say which, for instance --port {found[0].path}",
    )
