"""The server: its sockets, its thread, and its limits. Whatever happens in it, the hold does not wait for it."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import logging
import socket
import threading
from types import TracebackType

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from bainwright.core.errors import UseError
from bainwright.page.app import PageApp

PORT = 8024  # chosen: free of well-known services
HERE = "127.0.0.1"
MOST_CONNECTIONS = 128  # of all clients
MOST_OF_ONE = 32  # chosen, from one address of the network: a browser opens six and its stream
HEAD_S = 8.0  # chosen: a phone on a bad network sends a request's head in one
READS_S = 30.0  # chosen: a phone takes 64 KB in that on the worst network that can show a page
MOST_HEAD_BYTES = 16_384
WAITS_BYTES = 16_384  # chosen: of a connection; a moment with its charts has 10,000 to 30,000
STOPS_S = 3.0


class Connection(H11Protocol):
    """One connection: refused beyond `MOST_CONNECTIONS`, and closed when its client neither asks nor reads in time."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        # What a slow phone has not taken must not wait here: it would read old figures one after the other.
        transport.set_write_buffer_limits(WAITS_BYTES)
        with contextlib.suppress(OSError, AttributeError):
            transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, WAITS_BYTES)
        if len(self.connections) > MOST_CONNECTIONS or self._of_one() > MOST_OF_ONE:
            transport.abort()
            return
        self._head_due: asyncio.TimerHandle | None = None
        self._read_due: asyncio.TimerHandle | None = None
        self._await_head()

    def connection_lost(self, exc: Exception | None) -> None:
        for due in (getattr(self, "_head_due", None), getattr(self, "_read_due", None)):
            if due is not None:
                due.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """A piece of a head stops uvicorn's clock between requests, so ours runs until the head is whole."""
        super().data_received(data)
        if self._rests():
            self._await_head()
        elif self._head_due is not None:
            self._head_due.cancel()
            self._head_due = None

    def pause_writing(self) -> None:
        """The client does not read what was sent."""
        super().pause_writing()
        self._read_due = self.loop.call_later(READS_S, self.transport.abort)

    def resume_writing(self) -> None:
        """It reads on."""
        super().resume_writing()
        if self._read_due is not None:
            self._read_due.cancel()

    def _of_one(self) -> int:
        """How many connections its client has; 0 for this PC, whose programs share one address."""
        if self.client is None or is_here(self.client[0]):
            return 0
        clients = [getattr(each, "client", None) for each in self.connections]
        return sum(each is not None and each[0] == self.client[0] for each in clients)

    def _rests(self) -> bool:
        """Is no request being answered?"""
        return self.cycle is None or self.cycle.response_complete

    def _await_head(self) -> None:
        if self._head_due is None:
            self._head_due = self.loop.call_later(HEAD_S, self._close_unless_asked)

    def _close_unless_asked(self) -> None:
        self._head_due = None
        if self._rests():
            self.transport.abort()


class PageServer:
    """Serves one application from a thread of its own, from `with` to its end.

    Parameters
    ----------
    app : PageApp
        What to serve.
    sockets : list of socket
        Listening, or bound; see `open_sockets`.
    """

    def __init__(self, app: PageApp, sockets: list[socket.socket]) -> None:
        self._app, self._sockets = app, sockets
        self._server = uvicorn.Server(uvicorn.Config(
            app.asgi(), http=Connection, ws="none", lifespan="off", log_config=None, access_log=False,
            server_header=False, proxy_headers=False, timeout_keep_alive=10, timeout_graceful_shutdown=1,
            h11_max_incomplete_event_size=MOST_HEAD_BYTES, backlog=64,
        ))  # fmt: skip
        self._thread = threading.Thread(target=self._serve, name="page", daemon=True)
        self.broke = ""  # why it stopped by itself

    def __enter__(self) -> PageServer:
        for name in ("uvicorn", "uvicorn.error", "asyncio"):  # words for programmers; they would spoil the screen
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        self._thread.start()
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self._app.streams.closing = True
        self._server.should_exit = True
        self._thread.join(STOPS_S)
        self._app.refused.flush()
        for each in self._sockets:
            each.close()

    @property
    def port(self) -> int:
        """The port it serves on."""
        return int(self._sockets[0].getsockname()[1])

    def _serve(self) -> None:
        why = "it ended by itself"
        try:
            self._server.run(self._sockets)
        except (Exception, SystemExit) as failed:  # the thread's end; the hold continues without a page
            why = repr(failed)
        if not self._server.should_exit:
            self.broke = why


def open_sockets(addresses: list[str], port: int) -> list[socket.socket]:
    """Bind the addresses, all to one port: the one given, or a free one where that is taken.

    Raises
    ------
    UseError
        If an address is not this PC's.
    """
    try:
        return _bound(addresses, port)
    except OSError:
        pass
    try:
        return _bound(addresses, 0)
    except OSError as failed:
        raise UseError(f"the page cannot be served at {', '.join(addresses)}: {failed.strerror or failed}",
                       hint="give an address of this PC") from failed


def _bound(addresses: list[str], port: int) -> list[socket.socket]:
    with contextlib.ExitStack() as opened:
        sockets = []
        for address in addresses:
            family = socket.AF_INET6 if ":" in address else socket.AF_INET
            each = opened.enter_context(socket.socket(family, socket.SOCK_STREAM))
            each.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            each.bind((address, port))
            each.listen(64)
            port = int(each.getsockname()[1])
            sockets.append(each)
        opened.pop_all()
    return sockets


def is_here(address: str) -> bool:
    """Does it lead to this PC alone?"""
    return ipaddress.ip_address(address).is_loopback


def host_name(address: str, port: int) -> str:
    """An address with its port as a browser writes it."""
    return f"[{address}]:{port}" if ":" in address else f"{address}:{port}"


def check_local(address: str) -> str:
    """An address to serve on, as typed: this PC's own, or one of a private network.

    Raises
    ------
    UseError
        If it is no address, or one that the whole internet may reach.
    """
    try:
        found = ipaddress.ip_address(address.strip("[]"))
        found = getattr(found, "ipv4_mapped", None) or found  # ::ffff:0.0.0.0 is every address, too
    except ValueError:
        raise UseError("--page-at", got=repr(address), wanted="an address of this PC, such as 192.168.1.20") from None
    if found.is_unspecified or not (found.is_private or found.is_link_local):
        raise UseError("--page-at", got=address, wanted="127.0.0.1 or an address of your own network",
                       hint="the page must not be reachable from the internet")
    return str(found)


def lan_address() -> str | None:
    """This PC's address on the local network; None without one. Nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: nobody has this address; connecting a UDP socket sends nothing
            address = str(probe.getsockname()[0])
        except OSError:
            return None
    found = ipaddress.ip_address(address)
    return address if found.is_private and not found.is_loopback else None


