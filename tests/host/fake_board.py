"""A board in memory that speaks the wire by script: it sends given lines at given moments."""

from __future__ import annotations

import contextlib
import hashlib
from collections import deque
from collections.abc import Callable, Iterator
from typing import Any

from bainboard import wire
from bainboard.transfer import Transfer
from bainwright.link.ports import LostBoardError
from bainwright.link.protocol import Link


def status_line(number: int, t_ms: int, **other: Any) -> bytes:
    """A status line of a quiet hold, with some fields otherwise."""
    fields = {
        "status": number,
        "t": t_ms,
        "state": "hold",
        "stage": "work",
        "water": 33000,
        "bowl": 31500,
        "est": 0,
        "target": 31500,
        "water_target": 33100,
        "duty": 2000,
        "on": 200,
        "fault": 0,
        "warn": 0,
        "ask": "",
        "drops": 0,
        **other,
    }
    return wire.encode(list(fields.items()))


def event_line(name: str, number: int, t_ms: int, **fields: Any) -> bytes:
    """An event."""
    return wire.encode([("event", name), ("n", number), ("t", t_ms), *fields.items()])


class FakeBoard:
    """Transport and board in one.

    `script` is called once the hold has started and yields what the board says, piece by piece: bytes, or an exception
    to raise at that point (a lost board). When it is exhausted the board is silent.
    """

    def __init__(self, script: Callable[[], Iterator[Any]] = lambda: iter(()), **hello: Any) -> None:
        self.hello = {
            "board": "0011223344556677",
            "name": "fake",
            "version": "0.1.0",
            "wire": wire.VERSION,
            "state": "idle",
            "t": 0,
            "fault": 0,
            "settings": "",
            "profile": "",
            **hello,
        }
        self.start_answer: dict[str, Any] = {
            "low": 31000,
            "target": 31500,
            "high": 32000,
            "ceiling": 34500,
            "limit": 36000,
            "check_s": 60,
            "short": 0,
        }
        self.clock_answer: dict[str, Any] = {}
        self.refusals: dict[str, str] = {}
        self.asked: list[dict[str, Any]] = []
        self.stored: dict[str, bytes] = {}
        self.closed = False
        self._script, self._said = script, deque[Any]()
        self._transfer = Transfer()
        self._status = 0  # the number of the last status line
        self._rests = 0  # lines at rest that it still reports: it ended its hold

    def write(self, data: bytes) -> None:
        for line in data.splitlines():
            message, why = wire.decode(line)
            assert why is None, why
            self.asked.append(message)
            self._said.append(wire.encode(self._answer(message)))
            if message["do"] == "stop":
                self._said.append(self._at_rest(1))
            elif message["do"] == "start":
                self._said.extend(map(self._at_rest, (1, 2)) if "start" in self.refusals else self._script())

    def read(self) -> bytes:
        if not self._said and self._rests:
            self._rests -= 1
            self._said.append(self._at_rest(1))
        if not self._said:
            return b""
        piece = self._said.popleft()
        if isinstance(piece, Exception):
            raise piece
        said = wire.decode(piece.rstrip(b"\n"))[0] or {}
        self._status = said.get("status", self._status)
        if said.get("event") == "ended":
            self._rests = 2
        return piece

    def close(self) -> None:
        self.closed = True

    def say(self, *pieces: Any) -> None:
        """Queue what it says next."""
        self._said.extend(pieces)

    def _at_rest(self, later: int) -> bytes:
        return status_line(self._status + later, 0, state="idle", stage="", duty=0, on=0)

    def _answer(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        do = message["do"]
        if do in self.refusals:
            return [("re", message["id"]), ("ok", False), ("why", self.refusals[do])]
        pairs = getattr(self, "_do_" + do, lambda message: [])(message)
        return [("re", message["id"]), ("ok", True), *pairs]

    def _do_hello(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        return list(self.hello.items())

    def _do_clock(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        return list(self.clock_answer.items())

    def _do_start(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        return list(self.start_answer.items())

    def _do_stop(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        self._said.clear()
        return []

    def _do_begin(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        return self._transfer.begin(message, 0)[0]

    def _do_send(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        return self._transfer.send(message["what"], self.stored[message["what"]], 0)[0]

    def _do_chunk(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        pairs, why = self._transfer.chunk({"data": None, **message}, 0)
        assert why is None, why
        return pairs

    def _do_commit(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        pairs, why = self._transfer.commit(0)
        assert why is None, why
        if self._transfer.complete:
            what, payload = self._transfer.complete
            self.stored[what] = payload
            self.hello[what] = hashlib.sha256(payload).hexdigest()[:8]
        return pairs


class FakeSession:
    """A session around a fake board; virtual or live as requested."""

    def __init__(self, board: FakeBoard, *, virtual: bool = False, truth: Any = None) -> None:
        self.board, self.virtual, self.simulated, self._truth = board, virtual, virtual, truth
        self.link = Link(board)
        self.acts: list[str] = []
        self.returns: list[FakeBoard] = []  # boards that a reopening finds, in order

    @contextlib.contextmanager
    def held(self) -> Iterator[None]:
        self.acts.append("hold")
        yield
        self.acts.append("release")

    def arm(self) -> None:
        self.acts.append("arm")

    def run(self) -> None:
        self.acts.append("run")

    def reopen(self) -> bool:
        if not self.returns:
            return False
        self.board = self.returns.pop(0)
        self.link.replace(self.board)
        return True

    def truth(self) -> Any:
        return self._truth

    def facts(self) -> dict[str, Any]:
        return {"port": "memory"}

    def close(self) -> None:
        self.acts.append("close")


def gone() -> LostBoardError:
    """What reading a pulled cable raises."""
    return LostBoardError("the board on memory is gone", hint="look at the cable")
