"""Ways to a person: a command of their own, a web hook on their own network, or a service that they use already.

A channel either delivers within `DELIVERS_S` or gives the reason in words.
"""

from __future__ import annotations

import http.client
import ipaddress
import json
import logging
import os
import shlex
import shutil
import signal
import socket
import subprocess
import threading
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from typing import Any, Protocol
from urllib.parse import urlsplit

from bainwright.alarms.rules import Alarm
from bainwright.core.errors import UseError
from bainwright.core.terminal import visible

DELIVERS_S = 15.0  # chosen: a slow chat service answers in five
MOST_END = 4096  # bytes of what a command prints; the last line of them is shown
OPTION = "--alert"
SERVICES = "https://github.com/caronc/apprise/wiki lists the services and their addresses"
WORDS = "{}"  # in a command: the alarm's words go here


class Channel(Protocol):
    """A way to a person."""

    name: str

    def deliver(self, alarm: Alarm) -> str:
        """Deliver an alarm; returns why not, or an empty text."""


class Command:
    """Runs a command, without a shell: words that a board supplied cannot become another command.

    Parameters
    ----------
    typed : str
        The command line; ``{}`` is replaced by the alarm's words, which it gets on standard input as well.
    option : str
        The option that it was typed after.

    Raises
    ------
    UseError
        If it cannot be split, or there is no such program.
    """

    def __init__(self, typed: str, option: str = OPTION) -> None:
        try:
            self._parts = shlex.split(typed)
        except ValueError as wrong:
            raise UseError(option, got=repr(typed), wanted="a command", hint=f"look at its quotes: {wrong}") from None
        if not self._parts or shutil.which(self._parts[0]) is None:
            raise UseError(option, got=repr(typed), wanted="a program of this PC and its arguments, or http://...")
        self.name = self._parts[0]

    def deliver(self, alarm: Alarm) -> str:
        """Run it; what it prints last is the reason where it fails."""
        words = text_of(alarm)
        line = [part.replace(WORDS, words) for part in self._parts]
        try:
            process = subprocess.Popen(line, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                                       process_group=0)  # fmt: skip
        except OSError as failed:
            return failed.strerror or str(failed)
        code, end = _finish(process, f"{words}\n".encode())
        if code is None:
            return f"not done after {DELIVERS_S:.0f} s"
        if code == 0:
            return ""
        said = end.decode(errors="replace").strip().splitlines()
        return visible(said[-1][:200] if said else f"exit status {code}")


def _finish(process: subprocess.Popen[bytes], words: bytes) -> tuple[int | None, bytes]:
    """Give a command its words and wait: its exit status, None if it took too long, and the end of what it printed."""
    assert process.stdin is not None
    assert process.stdout is not None
    printed, end = process.stdout, bytearray()

    def read() -> None:
        while piece := os.read(printed.fileno(), MOST_END):
            end[:] = (end + piece)[-MOST_END:]

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    with suppress(OSError):  # it reads none
        process.stdin.write(words)
        process.stdin.close()
    code: int | None = None
    with suppress(subprocess.TimeoutExpired):
        code = process.wait(DELIVERS_S)
    if code is None:
        _end(process)
    reader.join(1.0)
    if not reader.is_alive():  # else something that it started still prints
        printed.close()
    return code, bytes(end)


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a command that hangs, with all that it started: they are one group of processes, except on Windows."""
    if hasattr(os, "killpg"):
        os.killpg(process.pid, signal.SIGKILL)  # it was not waited for yet, so its number is still its own
    else:
        process.kill()
    process.wait()


class WebHook:
    """Sends an alarm as JSON to an address of this PC or its own network, and follows no redirection from there.

    Parameters
    ----------
    url : str
        An http address.
    option : str
        The option that it was typed after.

    Raises
    ------
    UseError
        If it is none, or leads to the internet.
    """

    def __init__(self, url: str, option: str = OPTION) -> None:
        self._option = option
        try:
            parts = urlsplit(url if url.isascii() else "")
            port = parts.port or 80
        except ValueError:  # brackets or letters that no address has
            parts, port = urlsplit(""), 0
        if parts.scheme != "http" or not parts.hostname or not port or parts.username or parts.password:
            raise UseError(option, got=repr(url), wanted="http://ADDRESS[:PORT]/PATH",
                           hint="a command of your own can use https")
        self._host, self._port = parts.hostname, port
        self._path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        self._host_header = f"[{parts.hostname}]:{port}" if ":" in parts.hostname else f"{parts.hostname}:{port}"
        self.name = f"http://{self._host_header}"
        self._address()

    def _address(self) -> str:
        """The host's address, looked up each time; a name that leads to the internet is refused each time."""
        try:
            found = socket.getaddrinfo(self._host, self._port, type=socket.SOCK_STREAM)
        except (OSError, UnicodeError):
            raise UseError(self._option, got=self._host, wanted="a host that this PC can find") from None
        addresses = [str(each[4][0]) for each in found]
        if not all(_is_near(address) for address in addresses):
            raise UseError(self._option, got=self._host, wanted="this PC or one on its own network",
                           hint="a command of your own can reach the internet")
        return addresses[0]

    def deliver(self, alarm: Alarm) -> str:
        """Post it; any answer from 200 to 299 is a delivery."""
        body = json.dumps({"cause": alarm.cause, "now": alarm.now, "title": alarm.headline, "words": alarm.words,
                           "call": alarm.call, "chocolate": alarm.chocolate, "warmer": alarm.warmer,
                           "at": alarm.at})  # fmt: skip
        gave_up = threading.Event()
        try:
            connection = http.client.HTTPConnection(self._address(), self._port, timeout=DELIVERS_S)
            connection.connect()
            # The limit above is for each piece; a server that answers byte by byte would never reach it.
            late = threading.Timer(DELIVERS_S, _cut, [connection.sock, gave_up])
            late.start()
            try:
                connection.request("POST", self._path, body, {"Host": self._host_header,
                                                              "Content-Type": "application/json"})  # fmt: skip
                status = connection.getresponse().status
            finally:
                late.cancel()
                connection.close()
        except UseError as wrong:
            return str(wrong)
        except (OSError, http.client.HTTPException, UnicodeError) as failed:
            if gave_up.is_set() or isinstance(failed, TimeoutError):
                return f"no whole answer within {DELIVERS_S:.0f} s"
            return _why(failed)
        return "" if 200 <= status < 300 else f"it answered with status {status}"


class Service:
    """A mail server, a chat or a push service, as apprise knows them by their addresses.

    Parameters
    ----------
    url : str
        An address of apprise's, such as ``mailto://...``.
    option : str
        The option that it was typed after.

    Raises
    ------
    UseError
        If apprise is not installed, or does not know such an address.
    """

    def __init__(self, url: str, option: str = OPTION) -> None:
        try:
            import apprise
        except ImportError:
            raise UseError(option, got=_scheme(url), wanted="a command, or http://ADDRESS",
                           hint="pip install 'bainwright[alerts]' adds mail, chat and push services") from None
        service = apprise.Apprise.instantiate(url, suppress_exceptions=True)
        if service is None and _knows(apprise, url):
            raise UseError(option, got=f"{_scheme(url)} and an address that lacks a part, or has a wrong one",
                           wanted="the whole address, as apprise writes it for this service", hint=SERVICES)
        if service is None:
            raise UseError(option, got=_scheme(url), wanted="an address of a service that apprise knows", hint=SERVICES)
        self._apprise, self._service = apprise, service
        self.name = _scheme(url)  # the rest may hold a password

    def deliver(self, alarm: Alarm) -> str:
        """Send it; the reason is the last line of apprise's own log."""
        return _in_time(lambda: self._notify(alarm))

    def _notify(self, alarm: Alarm) -> str:
        kind = self._apprise.NotifyType.FAILURE if alarm.now else self._apprise.NotifyType.WARNING
        with self._apprise.LogCapture(level=logging.WARNING, fmt="%(message)s") as log:
            if self._service.notify(title=visible(alarm.headline), body=visible(alarm.text) or visible(alarm.headline),
                                    notify_type=kind, body_format=self._apprise.NotifyFormat.TEXT):  # fmt: skip
                return ""
            said = log.getvalue().strip().splitlines()
        return visible(said[-1][:200]) if said else "it did not accept it"


def _knows(apprise: Any, url: str) -> bool:
    """Is it the service that apprise does not know, or the rest of its address? By apprise's own list of services."""
    known = [service[kind] for service in apprise.Apprise().details()["schemas"]
             for kind in ("protocols", "secure_protocols")]  # fmt: skip
    return any(url.partition("://")[0].lower() in (names or ()) for names in known)


def _in_time(deliver: Callable[[], str]) -> str:
    """Wait for the whole of a delivery: apprise's own limits are for each piece."""
    done: Future[str] = Future()

    def work() -> None:
        try:
            done.set_result(deliver())
        except Exception as failed:  # whoever waits gets it
            done.set_exception(failed)

    threading.Thread(target=work, daemon=True).start()
    try:
        return done.result(DELIVERS_S)
    except TimeoutError:
        return f"not done after {DELIVERS_S:.0f} s"


def _why(failed: Exception) -> str:
    """Why a web hook did not take an alarm; what the other side wrote comes as one line."""
    if isinstance(failed, http.client.RemoteDisconnected):
        return "it closed the connection without an answer"
    if isinstance(failed, http.client.BadStatusLine | http.client.LineTooLong):
        return f"its answer is no HTTP: {visible(repr(str(failed).strip()[:200]))}"
    return visible(str(getattr(failed, "strerror", None) or failed or type(failed).__name__)[:200])


def _cut(connection: socket.socket, gave_up: threading.Event) -> None:
    """End a connection, and whoever waits for its next piece."""
    gave_up.set()
    with suppress(OSError):  # it ended by itself
        connection.shutdown(socket.SHUT_RDWR)


def _scheme(url: str) -> str:
    return f"{url.partition('://')[0]}://"


def _is_near(address: str) -> bool:
    found = ipaddress.ip_address(address.partition("%")[0])
    return found.is_loopback or found.is_link_local or (found.is_private and not found.is_unspecified)


def text_of(alarm: Alarm) -> str:
    """An alarm in lines: its title, then what to do."""
    return visible(f"{alarm.headline}\n{alarm.text}".strip())


def channel(typed: str, option: str = OPTION) -> Channel:
    """The channel that ``--alert``, or another option, names.

    Raises
    ------
    UseError
        If it can be none.
    """
    scheme, is_address, _ = typed.strip().partition("://")
    if not is_address or not scheme.isalnum():
        return Command(typed, option)
    typed = typed.strip()
    return WebHook(typed, option) if scheme.lower() in ("http", "https") else Service(typed, option)
