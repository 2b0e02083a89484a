"""The wire, seen from the PC: status lines, events, requests with their answers, and documents in pieces.

The firmware's own codec (`bainboard.wire`) is the reference. Status lines come by the thousand a second from a fast
virtual board and take a shorter way; a line that is not letter for letter what the board writes goes to the reference.
"""

from __future__ import annotations

import binascii
import hashlib
import json
import re
import time
from collections.abc import Callable, Iterator
from typing import Any, Protocol

import msgspec

from bainboard import faults, settings, wire
from bainwright.core.errors import LinkError, RefusedError

HELLO_WAIT_S = 1.0  # chosen: a live board answers within one tick
HELLO_TRIES = 3
ANSWER_WAIT_S = 3.0  # chosen: a board that erases flash may be deaf for about a second
NO_FIRMWARE = (
    "if it is the warmer, its firmware may have stopped: press its reset button; if it has none yet: bain install"
)
PROMPT = b">>> "  # MicroPython's own
NOT_TAKEN = re.compile(r"flash did not take it \((?:\[Errno )?(\d+)")
FLASH_IS = {  # what the system's number says of a board's flash, and what helps
    28: ("it is full", "delete files you do not need there"),
    30: ("it is read-only", "a USB drive of the board may be mounted, or a boot.py forbids writing"),
}
CHUNK_BYTES = 120  # the wire's own bound, so that a chunk in base64 fits a line


class Status(msgspec.Struct, frozen=True, gc=False):
    """One status line; temperatures in thousandths of a °C, duty in 1/10000, times in ms."""

    status: int
    t: int
    state: str
    stage: str
    water: int | None
    bowl: int | None
    est: int
    target: int | None
    water_target: int | None
    duty: int
    on: int
    fault: int
    warn: int
    ask: str
    drops: int


Message = Status | dict[str, Any]

_read_status = msgspec.json.Decoder(Status).decode

# What the board writes, letter for letter. Within this shape msgspec and the reference read the same; anything
# outside it (a name twice, a fraction, an escape, another order) is the reference's to judge.
_WHOLE, _TEXT = rb"(?:0|-?[1-9][0-9]{0,14})", rb'"[ !#-\[\]-~]*"'
_SHAPES = {"int": _WHOLE, "int | None": _WHOLE + b"|null", "str": _TEXT}
_plain_status = re.compile(
    rb"\{"
    + b",".join(b'"%s":(?:%s)' % (name.encode(), _SHAPES[kind]) for name, kind in Status.__annotations__.items())
    + rb"\}"
).fullmatch


class Transport(Protocol):
    """Bytes to and from a board."""

    def read(self) -> bytes:
        """What has arrived, after a short wait at most; empty when nothing has."""

    def write(self, data: bytes) -> None:
        """Send all of it."""

    def close(self) -> None:
        """Let go of the board."""


def decode(line: bytes) -> Message | None:
    """One line without its newline, checked whole: a status, another message, or None for a spoilt one."""
    body, crc = line[: -wire.TAIL], line[-wire.TAIL :]
    if _plain_status(body):
        whole = len(line) < wire.LIMIT and crc == b"*%08X" % binascii.crc32(body)
        return _read_status(body) if whole else None
    return reference(line)


def reference(line: bytes) -> Message | None:
    """The same by the firmware's own codec."""
    message, why = wire.decode(line)
    if why:
        return None
    if "status" not in message:
        return dict(message)
    try:
        return msgspec.convert(message, Status)
    except msgspec.ValidationError:
        return None  # a status of another version of the wire


class Link:
    """A board at the other end of a transport.

    Parameters
    ----------
    transport : Transport
        Where its bytes come from.
    clock : callable
        Seconds that only grow; decides when an answer is overdue.
    """

    def __init__(self, transport: Transport, clock: Callable[[], float] = time.monotonic) -> None:
        self.transport = transport
        self.spoilt = 0  # lines that failed their check
        self.board: str | None = None  # what the first board that said hello calls itself, whatever its port
        self._clock = clock
        self._tail = b""
        self._overheard: str | None = None  # the last line that was none of ours
        self._kept: list[Message] = []
        self._last_id = 0

    def replace(self, transport: Transport) -> None:
        """Go on with the same board on a port opened anew."""
        self.transport, self._tail = transport, b""

    def poll(self) -> list[Message]:
        """What the board has said since; waits a moment at most."""
        kept, self._kept = self._kept, []
        return kept or list(self._messages())

    def discard(self) -> None:
        """Forget what the board said beside its answers."""
        self._kept.clear()

    def _messages(self) -> Iterator[Message]:
        lines = (self._tail + self.transport.read()).split(b"\n")
        self._tail = lines.pop()[-2 * wire.LIMIT :]  # a board that never ends its line must not fill the PC
        for line in lines:
            line = line.rstrip(b"\r")  # a terminal's line ending, where one is in between
            message = decode(line) if line else None
            if message is not None:
                yield message
            elif line:
                self.spoilt += 1
                text = line.decode("ascii", "replace")
                plain = line.isascii() and text.isprintable()
                self._overheard = repr(text[-60:]) if plain else "bytes that are no text"

    def request(self, do: str, *, anew: bool = False, **fields: Any) -> dict[str, Any]:
        """Ask the board for something and wait for its answer; what else it says meanwhile is kept for `poll`.

        Parameters
        ----------
        do : str
            The request.
        anew : bool
            Forget what the board said before it answered: a hold begins with the answer to its start.
        **fields
            What goes with the request.

        Raises
        ------
        RefusedError
            If the board says no.
        LinkError
            If it does not answer in time.
        """
        self._overheard = None
        answer = self._ask(do, ANSWER_WAIT_S, fields, anew)
        if answer is None:
            raise LinkError(
                f"the board did not answer '{do}' within {ANSWER_WAIT_S:g} s",
                got=self._overheard,
                hint="look at the cable and try again",
            )
        if answer.get("ok") is not True:
            raise RefusedError(f"the warmer refused '{do}'", hint=str(answer.get("why", "it gave no reason")))
        return answer

    def _ask(self, do: str, wait_s: float, fields: dict[str, Any], anew: bool = False) -> dict[str, Any] | None:
        self._last_id += 1
        self.transport.write(wire.encode([("id", self._last_id), ("do", do), *fields.items()]))
        overdue = self._clock() + wait_s
        while self._clock() < overdue:
            answer = None
            for message in self._messages():
                if isinstance(message, dict) and message.get("re") == self._last_id:
                    answer = message
                    if anew:
                        self._kept.clear()
                else:
                    self._kept.append(message)
            if answer is not None:
                return answer
        return None

    def request_each(self, do: str, each: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Ask the same for each of several fields at once, so that the way there and back is paid for once.

        Only for requests that change nothing: one whose answer was lost is asked again.

        Parameters
        ----------
        do : str
            The request.
        each : list of dict
            The fields of each; a few, for the board's queue is short.

        Returns
        -------
        list of dict
            The answers, in the order asked.
        """
        first = self._last_id + 1
        self._last_id += len(each)
        lines = [wire.encode([("id", first + i), ("do", do), *fields.items()]) for i, fields in enumerate(each)]
        self.transport.write(b"".join(lines))
        answers: dict[int, dict[str, Any]] = {}
        overdue = self._clock() + ANSWER_WAIT_S
        while len(answers) < len(each) and self._clock() < overdue:
            for message in self._messages():
                number = message.get("re") if isinstance(message, dict) else None
                if isinstance(message, dict) and isinstance(number, int) and first <= number < first + len(each):
                    answers[number - first] = message
                else:
                    self._kept.append(message)
        found = [answers.get(i) for i in range(len(each))]
        return [
            answer if answer is not None and answer.get("ok") is True else self.request(do, **fields)
            for answer, fields in zip(found, each, strict=True)
        ]

    def hello(self, tries: int = HELLO_TRIES, *, any_wire: bool = False) -> dict[str, Any]:
        """Make sure that one of our boards is there and learn how it is.

        Parameters
        ----------
        tries : int
            How often to ask before giving up.
        any_wire : bool
            Also take a board that speaks another version of the wire: its firmware can be replaced.

        Raises
        ------
        LinkError
            If nothing, or something else, is at the other end.
        """
        for _ in range(tries):
            answer = self._ask("hello", HELLO_WAIT_S, {})
            if answer is not None and answer.get("ok") is True:
                self.board = self.board or answer.get("board")
                return answer if any_wire else _same_wire(answer)
        if not (self._tail or self.spoilt or self._kept):
            raise LinkError("nothing on this port answers", hint=NO_FIRMWARE)
        if self._tail.endswith(PROMPT):
            raise LinkError("MicroPython's own prompt answers on this port, no warmer's firmware",
                            hint="bain install puts it there; if it is there already, press the board's reset button")
        raise LinkError(
            "what is on this port does not speak the warmer's language", got=self._overheard, hint=NO_FIRMWARE
        )

    # -- documents ---------------------------------------------------------------------------------------------------

    def upload(self, what: str, payload: bytes) -> None:
        """Send a document whole; the board checks its hash and every figure in it before it takes any."""
        try:
            self.request("begin", what=what, size=len(payload), sha256=hashlib.sha256(payload).hexdigest())
            for at in range(0, len(payload), CHUNK_BYTES):
                piece = binascii.b2a_base64(payload[at : at + CHUNK_BYTES], newline=False).decode()
                self.request("chunk", at=at, data=piece)
            self.request("commit")
        except RefusedError as refused:
            raise _not_taken(what, refused) from None

    def settings(self, hello: dict[str, Any]) -> dict[str, Any]:
        """The settings a board works with: those that were sent to it, and for the rest the usual ones.

        Parameters
        ----------
        hello : dict
            What it answered to hello.

        Raises
        ------
        RefusedError
            If those that were sent are damaged there: nobody may take the usual ones for them.
        """
        if settings_damaged(hello):
            raise RefusedError(
                "the settings stored on this warmer are damaged, or made for another board; it does not heat",
                hint="send them again: bain rig send FILE",
            )
        values: dict[str, Any] = settings.defaults(settings.SETTINGS)
        if hello.get("settings"):
            values.update(json.loads(self.download("settings")))
        return values

    def download(self, what: str, **fields: Any) -> bytes:
        """Fetch a document and check its hash; `fields` say more of which.

        Raises
        ------
        LinkError
            If what came is not what was announced.
        """
        head = self.request("send", what=what, **fields)
        payload = b""
        while len(payload) < head["size"]:
            piece = binascii.a2b_base64(self.request("chunk", at=len(payload))["data"])
            if not piece:
                break
            payload += piece
        self.request("commit")
        if hashlib.sha256(payload).hexdigest() != head["sha256"]:
            raise LinkError(f"the {what} arrived damaged", hint="look at the cable and try again")
        return payload


def settings_damaged(hello: dict[str, Any]) -> bool:
    """Does the board say that it cannot use the settings it has stored?"""
    return hello.get("fault") == faults.BAD_SETTINGS and not hello.get("settings")


def _not_taken(what: str, refused: RefusedError) -> RefusedError:
    """Why a board did not take a document: its flash in words, anything else as the board says it."""
    number = NOT_TAKEN.search(str(refused.hint))
    if number is None:
        return RefusedError(f"the warmer did not take the {what}", hint=str(refused.hint).removeprefix("begin: "))
    got, helps = FLASH_IS.get(int(number[1]), (f"error {number[1]}", "try again; if it stays so, the flash is worn"))
    return RefusedError(f"the warmer's flash did not take the {what}", got=got,
                        hint=f"what was stored before still holds; {helps}")  # fmt: skip


def _same_wire(hello: dict[str, Any]) -> dict[str, Any]:
    if hello.get("wire") != wire.VERSION:
        raise LinkError(
            "this board speaks another version of the wire",
            got=hello.get("wire"),
            wanted=wire.VERSION,
            hint="bain install gives the board the version that fits this PC",
        )
    return hello


class Losses:
    """Counts the lines that never came, from the numbers the board gives its status lines and its events."""

    def __init__(self) -> None:
        self.lost = 0
        self._last = {"status": 0, "event": 0}
        self._known = {"status": False, "event": False}

    def status(self, number: int) -> None:
        """A status line with this number came."""
        self._count("status", number)

    def event(self, number: int) -> None:
        """An event with this number came."""
        self._count("event", number)

    def _count(self, kind: str, number: int) -> None:
        gap = number - self._last[kind] - 1
        if gap > 0 and self._known[kind]:
            self.lost += gap
        self._last[kind], self._known[kind] = number, True

    def anew(self, number: int) -> bool:
        """Does a status line of this number show that the board began to count anew?"""
        return self._known["status"] and number < self._last["status"]

    def restarted(self) -> None:
        """The board begins to count anew."""
        self._known = {"status": False, "event": False}
