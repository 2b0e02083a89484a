"""A board to run a hold on, live on a port or virtual, behind the same few methods."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Protocol

from bainwright.core.errors import LinkError
from bainwright.link import finding, ports
from bainwright.link.protocol import Link


class Session(Protocol):
    """A board that answers."""

    link: Link
    virtual: bool  # its time can be stopped and it ends with this process
    simulated: bool  # there is no real warmer behind it: every view says VIRTUAL

    @contextmanager
    def held(self) -> Iterator[None]:
        """Stops the board's time inside the block, if that is possible, so that a request takes none."""

    def arm(self) -> None:
        """The hold is about to start."""

    def run(self) -> None:
        """The hold has started: let its time pass."""

    def reopen(self) -> bool:
        """Try once to find a lost board."""

    def truth(self) -> Any:
        """The true temperatures, if they are known."""

    def facts(self) -> dict[str, Any]:
        """Facts about this board for the log."""

    def close(self) -> None:
        """Release the board."""


@contextmanager
def linked(path: str, within_s: float = 0.0) -> Iterator[Link]:
    """A link to the board on a port; the port is closed at the end.

    Parameters
    ----------
    path : str
        The port.
    within_s : float
        How long to try: its board may restart, or another program look in.

    Raises
    ------
    LinkError
        If the port does not open.
    """
    link = Link(ports.open_port(path, within_s))
    try:
        yield link
    finally:
        link.transport.close()


class LiveSession:
    """A board on a serial port, in real time."""

    virtual = False

    def __init__(self, port: str | None) -> None:
        self._path = finding.choose_port(port)
        self.simulated = ports.is_pseudo_terminal(self._path)
        self.link = Link(ports.open_port(self._path))

    @contextmanager
    def held(self) -> Iterator[None]:
        """Real time passes."""
        yield

    def arm(self) -> None:
        """Nothing to arm."""

    def run(self) -> None:
        """Nothing to do: it runs by itself."""

    def reopen(self) -> bool:
        """Look for the same board: on its port, then on the others, since a replugged board may get another name."""
        for path in [self._path, *(other for other, _ in ports.usb_ports() if other != self._path)]:
            self.link.transport.close()
            try:
                self.link.replace(ports.open_port(path))
                if self.link.hello(tries=1).get("board") == self.link.board:
                    self._path = path
                    return True
            except LinkError:
                continue
        return False

    def truth(self) -> Any:
        """None: the true temperatures are not known."""
        return None

    def facts(self) -> dict[str, Any]:
        """The port it was on."""
        return {"port": self._path}

    def close(self) -> None:
        """Close the port."""
        self.link.transport.close()
