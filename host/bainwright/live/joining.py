"""Finds the holds that run in other programs of this user, and joins one of them."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path
from types import TracebackType

import msgspec

from bainwright import __version__
from bainwright.core.errors import LinkError, UseError
from bainwright.core.user_folder import lives, process_of, user_folder
from bainwright.evening.acts import Reply
from bainwright.live.frame import MOST_FRAME_BYTES, ActLine, Frame, Hello, from_line, to_line
from bainwright.live.sharing import SUFFIX

ANSWERS_S = 1.0  # a hold that runs sends its first line at once
HANGS = ("its program hangs or was stopped (Ctrl-Z; fg in its terminal lets it run on), and nobody watches the warmer, "
         "which may heat: look at it")  # fmt: skip
CLOSED = "the hold is just ending, or has as many watchers as it takes; try again"
NONE_RUNS = "bain hold starts one; a hold that another user or another PC runs cannot be watched from here"
GONE = Reply(False, "It may not have arrived: the program that runs the hold has ended.")


class Joined:
    """A connection to a hold that another program runs.

    Parameters
    ----------
    path : Path
        Its socket.

    Raises
    ------
    LinkError
        If nobody answers there, or another version of bain does.
    """

    def __init__(self, path: Path) -> None:
        try:
            self._connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            self._connection.settimeout(ANSWERS_S)
            self._connection.connect(str(path))
            self._lines = _lines(self._connection)
            hello = from_line(next(self._lines)).hello
        except (OSError, AttributeError, StopIteration, msgspec.MsgspecError) as failed:
            hint = HANGS if isinstance(failed, TimeoutError) else CLOSED if isinstance(failed, StopIteration) else None
            raise LinkError(f"a hold of process {path.stem} does not answer", hint=hint) from failed
        if hello is None or hello.version != __version__:
            raise LinkError(f"the hold of process {path.stem} is run by another version of bain",
                            got=repr(hello.version) if hello else "no word of it", wanted=__version__)
        self.hello: Hello = hello
        self._connection.settimeout(None)
        self._sending = threading.Lock()
        self._replies: dict[int, Future[Reply]] = {}
        self._number = 0

    def __enter__(self) -> Joined:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Leave; whoever reads frames in another thread reads their end."""
        with contextlib.suppress(OSError):
            self._connection.shutdown(socket.SHUT_RDWR)
        self._connection.close()

    def frames(self) -> Iterator[Frame]:
        """Each frame as it comes, until the hold's program ends or sends what is no frame."""
        with contextlib.suppress(OSError, msgspec.MsgspecError, RecursionError):
            for data in self._lines:
                line = from_line(data)
                if line.reply is not None and (waits := self._replies.pop(line.reply.number, None)):
                    waits.set_result(Reply(line.reply.done, line.reply.words))
                if line.frame is not None:
                    yield line.frame
        for waits in self._replies.values():
            waits.set_result(GONE)
        self._replies = {}

    def act(self, name: str, seen: str) -> Future[Reply]:
        """Send an act by name; its reply comes while somebody reads `frames`."""
        reply: Future[Reply] = Future()
        reply.set_running_or_notify_cancel()  # it is on its way: the hold's own program withdraws it in time
        with self._sending:
            self._number += 1
            self._replies[self._number] = reply
            try:
                self._connection.sendall(to_line(ActLine(name, self._number, time.monotonic(), seen)))
            except OSError:
                self._replies.pop(self._number)
                reply.set_result(GONE)
        return reply


def sockets() -> list[Path]:
    """The sockets of holds that run, or that ended without notice."""
    folder = user_folder()
    return sorted(folder.glob(f"*{SUFFIX}")) if folder else []


def running() -> list[Joined]:
    """Join every hold that runs here; sockets of programs that were killed are deleted."""
    return _look()[0]


def _look() -> tuple[list[Joined], list[LinkError]]:
    """The holds that run here, joined, and why others that run cannot be."""
    found, failures = [], []
    for path in sockets():
        try:
            found.append(Joined(path))
        except LinkError as failed:
            if (process := process_of(path.stem)) and not lives(process):
                with contextlib.suppress(OSError):
                    path.unlink(missing_ok=True)
            elif not isinstance(failed.__cause__, ConnectionRefusedError):  # another program has that number now
                failures.append(failed)
    return found, failures


def names_running() -> set[str]:
    """The warmers of the holds that run here."""
    names = set()
    for joined in running():
        with joined:
            names.add(joined.hello.warmer)
    return names


def running_on(port: str | None) -> Joined | None:
    """Join the hold on this port, or the only one on a real board; None where there is none."""
    found = running()
    fit = [each for each in found if each.hello.port and port in (None, each.hello.port)]
    for each in found:
        if len(fit) != 1 or each is not fit[0]:
            each.close()
    return fit[0] if len(fit) == 1 else None


def holder(words: str) -> str:
    """The hold on the port that some words name, in words; empty where none of ours has it."""
    for joined in running():
        with joined:
            hello = joined.hello
            if hello.port and hello.port in words.split():
                return f"bain holds {hello.chocolate} on the warmer {hello.warmer!r} at {hello.port}"
    return ""


def join(warmer: str | None = None) -> Joined:
    """Join the only hold that runs here, or the one on this warmer.

    Raises
    ------
    LinkError
        If none runs, or none that answers.
    UseError
        If several run and none is named, or none runs on this warmer.
    """
    found, failures = _look()
    names = {_name(each, found): each for each in found}
    fit = [each for each in found if warmer in (None, each.hello.warmer)]
    fit = fit if len(fit) == 1 or warmer not in names else [names[warmer]]
    for each in found:
        if len(fit) != 1 or each is not fit[0]:
            each.close()
    if not found and failures:
        raise failures[0]
    if not found:
        raise LinkError("no hold runs on this PC", hint=NONE_RUNS)
    if len(fit) != 1:
        raise UseError("--warmer", got=repr(warmer) if warmer else "no name, and several holds run",
                       wanted=f"one of {', '.join(names)}")
    return fit[0]


def _name(joined: Joined, among: list[Joined]) -> str:
    """A warmer's name, with the process of its hold where several have that name."""
    hello = joined.hello
    alone = [each.hello.warmer for each in among].count(hello.warmer) == 1
    return hello.warmer if alone else f"{hello.warmer}-{hello.process}"


def _lines(connection: socket.socket) -> Iterator[bytes]:
    """Line by line; the whole first one within `ANSWERS_S`."""
    read, due_s = b"", time.monotonic() + ANSWERS_S
    first = True
    while True:
        at = read.find(b"\n")
        if at >= 0:
            line, read, first = read[:at], read[at + 1 :], False
            yield line
            continue
        if first:
            connection.settimeout(max(0.001, due_s - time.monotonic()))
        piece = connection.recv(1 << 16)
        if not piece:
            return
        read += piece
        if len(read) > MOST_FRAME_BYTES:
            raise OSError("no frame is so long")
