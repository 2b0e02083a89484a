"""Shares a hold with other programs of this user on this PC, through a socket that only this user can open.

The hold's own thread only leaves the latest frame. A thread serves each watcher: one that reads slowly misses frames,
and one that reads nothing is dropped.
"""

from __future__ import annotations

import contextlib
import os
import queue
import select
import socket
import threading
import time
from concurrent.futures import Future
from pathlib import Path
from types import TracebackType

import msgspec

from bainwright.alarms.rules import Coming
from bainwright.core.user_folder import make_user_folder
from bainwright.display.scene import Scene
from bainwright.evening.acts import BY_NAME, COMES, COMING, LATE, MANY, Inbox, Reply
from bainwright.live.frame import MOST_ACT_BYTES, ActLine, Frame, Hello, Line, ReplyLine, to_act, to_line

SUFFIX = ".hold"
MOST_WATCHERS = 8  # chosen: a page and a few terminals
LOOK_S = 0.1
ENDS_S = 1.0  # at the hold's end, for the last frame
SENDS_S = 5.0  # chosen: a watcher that takes nothing for so long is stopped or gone
ARRIVES_S = 3.0  # the board answers within a second; an act that the hold has not begun by then is withdrawn


class Sharing:
    """Shares one hold, from `start` to the end of its `with`.

    Parameters
    ----------
    inbox : Inbox
        Where watchers' acts go.
    coming : Coming
        Learns when a watcher says that somebody is coming.

    Attributes
    ----------
    trouble : str
        Why the hold is not shared; empty while it is.
    """

    def __init__(self, inbox: Inbox, coming: Coming) -> None:
        self._inbox, self._coming = inbox, coming
        self._hello = b""
        self._latest: tuple[int, bytes] = (0, b"")  # replaced whole, so no thread sees half of it
        self._watchers: list[threading.Thread] = []
        self._ends = threading.Event()
        self._socket: socket.socket | None = None
        self._path: Path | None = None
        self._door: threading.Thread | None = None
        self.trouble = ""

    def __enter__(self) -> Sharing:
        return self

    def start(self, hello: Hello) -> None:
        """Let watchers in; each reads first who shares."""
        self._hello = to_line(Line(hello=hello))
        try:
            self._socket = self._listen()
        except (OSError, AttributeError) as failed:  # no such sockets on Windows; a path that is too long
            self.trouble = f"other programs of this PC cannot watch this hold: {failed}"
            return
        self._door = threading.Thread(target=self._accept, args=[self._socket], name="sharing", daemon=True)
        self._door.start()

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self._ends.set()
        for thread in [*([self._door] if self._door else []), *self._watchers]:
            thread.join(ENDS_S)
        if self._socket is not None:
            self._socket.close()
        if self._path is not None:
            with contextlib.suppress(OSError):
                self._path.unlink()

    def put(self, scene: Scene, age_s: float, *, over: bool = False, coming: bool = False) -> None:
        """Leave the latest moment; nothing is done for it while nobody watches."""
        if self._watchers:
            line = to_line(Line(frame=Frame(scene, age_s, over, coming)))
            self._latest = (self._latest[0] + 1, line)

    # -- in threads of their own ---------------------------------------------------------------------------------------

    def _listen(self) -> socket.socket:
        self._path = make_user_folder() / f"{os.getpid()}{SUFFIX}"
        self._path.unlink(missing_ok=True)  # of an earlier process with this number
        listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        listening.bind(str(self._path))
        listening.listen(MOST_WATCHERS)
        listening.settimeout(LOOK_S)
        return listening

    def _accept(self, listening: socket.socket) -> None:
        while not self._ends.is_set():
            try:
                watcher, _ = listening.accept()
            except TimeoutError:
                continue
            except OSError:
                return
            self._watchers = [each for each in self._watchers if each.is_alive()]
            if len(self._watchers) >= MOST_WATCHERS:
                watcher.close()
                continue
            thread = threading.Thread(target=self._serve, args=[watcher], name="watcher", daemon=True)
            thread.start()
            self._watchers = [*self._watchers, thread]

    def _serve(self, watcher: socket.socket) -> None:
        """Serve one watcher until it is gone, too slow, or no bain."""
        with watcher, contextlib.suppress(OSError, ValueError, msgspec.MsgspecError):
            watcher.settimeout(SENDS_S)
            _Watcher(watcher, self._inbox, self._coming).serve(self._hello, self)

    @property
    def latest(self) -> tuple[int, bytes]:
        """The latest frame and its number; 0 before the first."""
        return self._latest

    @property
    def ending(self) -> bool:
        """Is the hold over?"""
        return self._ends.is_set()


class _Watcher:
    """One watcher's connection."""

    def __init__(self, connection: socket.socket, inbox: Inbox, coming: Coming) -> None:
        self._connection, self._inbox, self._coming = connection, inbox, coming
        self._read = b""
        self._waiting: list[tuple[int, Future[Reply], float]] = []  # number, reply, until when
        self._gone = False

    def serve(self, hello: bytes, sharing: Sharing) -> None:
        """Send frames and replies, and take acts, until one of both ends."""
        self._connection.sendall(hello)
        shown = sharing.latest[0]  # left for an earlier watcher, so perhaps old
        while not self._gone:
            ending = sharing.ending  # first, so that the last frame is sent
            number, line = sharing.latest
            if number != shown:
                shown = number
                self._connection.sendall(line)
            self._take()
            self._reply(time.monotonic())
            if ending:
                return

    def _take(self) -> None:
        if not select.select([self._connection], [], [], LOOK_S)[0]:
            return
        piece = self._connection.recv(MOST_ACT_BYTES)
        self._gone = not piece
        *lines, self._read = (self._read + piece).split(b"\n")
        if len(self._read) > MOST_ACT_BYTES:
            raise ValueError("no act is so long")
        for line in lines:
            self._act(to_act(line))

    def _act(self, asked: ActLine) -> None:
        reply: Future[Reply] = Future()
        if not time.monotonic() - asked.at_s <= ARRIVES_S:  # this program stood still meanwhile
            reply.set_result(LATE)
        elif asked.act == COMING:
            self._coming.say(time.monotonic())
            reply.set_result(COMES)
        elif asked.act not in BY_NAME:
            reply.set_result(Reply(False, "There is no such act."))
        else:
            try:
                reply = self._inbox.put(BY_NAME[asked.act], asked.seen, asked.at_s)
            except queue.Full:
                reply.set_result(MANY)
        self._waiting.append((asked.number, reply, time.monotonic() + ARRIVES_S))

    def _reply(self, now_s: float) -> None:
        """Send the replies that are there; an act that was not begun in time is withdrawn."""
        still = []
        for number, reply, until_s in self._waiting:
            if reply.done():
                done, words = reply.result()
            elif now_s >= until_s and reply.cancel():
                done, words = LATE
            else:
                still.append((number, reply, until_s))
                continue
            self._connection.sendall(to_line(Line(reply=ReplyLine(number, done, words))))
        self._waiting = still
