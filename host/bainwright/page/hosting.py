"""Where the pages are served, who is let in, and what ties them to a hold."""

from __future__ import annotations

import io
import time
from types import TracebackType
from typing import Self

from bainwright.core.errors import UseError
from bainwright.live.live_hold import LiveHold
from bainwright.page import server
from bainwright.page.access import Access
from bainwright.page.app import PageApp
from bainwright.page.holds import Holds
from bainwright.page.local_name import NAME, local_name
from bainwright.page.server import PageServer

LOOKS = "--look gives no second link here: only this PC reaches the page, and anyone on it may look"
NO_LAN = "this PC is on no local network, so phones cannot reach the page; it is served on this PC alone"


def addresses(lan: bool, at: str | None) -> tuple[list[str], int, list[str]]:
    """Where to serve, from what was typed: addresses, the port, and what to say about them.

    Raises
    ------
    UseError
        If an address is none of a private network, or the port is none.
    """
    if at is not None and lan:
        raise UseError("--lan and --page-at both say where to serve the page", hint="leave one of them out")
    if at is not None:
        address, port = _split(at)
        return [server.check_local(address)], port, []
    found = server.lan_address() if lan else None
    return [server.HERE, *([found] if found else [])], server.PORT, [NO_LAN] if lan and not found else []


def _split(at: str) -> tuple[str, int]:
    """An address and its port; ``[::1]:8024`` has its colons in brackets."""
    address, colon, port = at.rpartition(":")
    if not colon or at.endswith("]") or (at.count(":") > 1 and not at.startswith("[")):
        return at, server.PORT
    if not (port.isascii() and port.isdecimal()) or len(port) > 5 or not 0 < int(port) < 65536:
        raise UseError("--page-at", got=repr(at), wanted="an address, and a port from 1 to 65535 after its colon")
    return address, int(port)


class Page:
    """The pages of holds that run on this PC and of past ones; served from `with` to its end.

    Parameters
    ----------
    addresses : list of str
        Where to serve it; the last one is what phones use.
    port : int
        The port; where it is taken, a free one is used.
    notes : list of str
        What the person should read about the addresses.
    own : LiveHold, optional
        The hold that runs in this program.
    look : bool
        Give out a link for those who only look?

    Raises
    ------
    UseError
        If it cannot be served there.
    """

    def __init__(self, addresses: list[str], port: int, notes: list[str], own: LiveHold | None = None, *,
                 look: bool = False) -> None:
        sockets = server.open_sockets(addresses, port)
        found = sockets[0].getsockname()[1]
        names = [server.host_name(address, found) for address in addresses]
        self._alone = all(server.is_here(address) for address in addresses)
        if look and self._alone:
            notes = [*notes, LOOKS]
        self._notes = [*notes, *([f"port {port} is taken; the page uses {found}"] if found != port else [])]
        here = [f"localhost:{found}"] if server.HERE in addresses else []
        self._name = None if self._alone or ":" in addresses[-1] else local_name(addresses[-1], found)
        by_name = [server.host_name(NAME, found)] if self._name else []
        self._access = Access(frozenset([*names, *here, *by_name]), open_to_look=self._alone)
        self._look = look
        self._url, self._holds = f"http://{names[-1]}", Holds(own)
        self._url_by_name = f", or at http://{by_name[0]} for phones that know such names" if by_name else ""
        self._server = PageServer(PageApp(self._access, self._holds, runs_a_hold=own is not None), sockets)

    def __enter__(self) -> Self:
        self._holds.__enter__()
        self._server.__enter__()
        if self._name is not None:
            self._name.start()
        return self

    def __exit__(self, *details: type[BaseException] | BaseException | TracebackType | None) -> None:
        if self._name is not None:
            self._name.stop()
        self._server.__exit__(*details)
        self._holds.__exit__(*details)

    @property
    def port(self) -> int:
        """The port it is served on."""
        return self._server.port

    def invite(self) -> str:
        """A sentence that lets one more phone in."""
        look = f"; {self._to_look()}" if self._look and not self._alone else ""
        return f"the page is at {self._url}/in; the code for one phone: {self._code()}{look}"

    def invite_the_next(self) -> str:
        """The same, once no code is good any more; else an empty text."""
        return "" if self._access.has_code(time.monotonic()) else self.invite()

    def welcome(self) -> list[str]:
        """What to print first: where the page is, and how a phone gets in."""
        link = f"{self._url}/in/{self._code()}"
        if self._alone:
            return [*self._notes, f"the page is at {self._url}; to use its buttons open {link}",
                    "only this PC reaches it; --lan lets phones in"]  # fmt: skip
        look = [self._to_look()] if self._look else []
        return [*self._notes, f"the page is at {self._url}{self._url_by_name}; to pair a phone open {link}", _qr(link),
                *look,
                "whoever is on your network can read what the page sends: it is not encrypted. Never forward its port "
                "to the internet"]  # fmt: skip

    def _to_look(self) -> str:
        return f"for those who only look: {self._url}/in/{self._access.look_code()}"

    def _code(self) -> str:
        return self._access.new_code(time.monotonic())


class HoldPage(Page):
    """The page of one hold that runs in this program.

    Parameters
    ----------
    addresses, port, notes
        As in `Page`.
    hold : LiveHold
        The hold.
    look : bool
        As in `Page`.
    """

    def __init__(
        self, addresses: list[str], port: int, notes: list[str], hold: LiveHold, *, look: bool = False
    ) -> None:
        super().__init__(addresses, port, notes, hold, look=look)
        hold.inbox.invite = self.invite
        hold.troubles.append(self._trouble)

    def _trouble(self) -> str:
        broke = self._server.broke
        return f"the page is no longer served ({broke}); the hold is not affected" if broke else ""


def _qr(link: str) -> str:
    """The link as a QR code of letters, for a phone's camera."""
    import segno

    out = io.StringIO()
    segno.make(link, error="l", micro=False).terminal(out, compact=True, border=2)
    return out.getvalue()
