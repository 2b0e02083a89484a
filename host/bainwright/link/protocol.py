"""The wire, seen from the PC: requests and their answers, and documents sent in pieces.

Lines are read by `bainwright.link.messages`, answers are checked by `bainwright.link.answers`.
"""

from __future__ import annotations

import binascii
import hashlib
import re
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import nullcontext
from typing import Any, Protocol

from bainboard import faults, settings, wire
from bainwright.core.errors import LinkError, RefusedError
from bainwright.core.progress import progress, remark
from bainwright.core.terminal import visible_values
from bainwright.link.answers import check_answer
from bainwright.link.messages import Message, Status, decode
from bainwright.link.pace import Pace
from bainwright.words.advice import at_rest

HELLO_WAIT_S = 1.0  # chosen: a live board answers within one tick
HELLO_TRIES = 3
ANSWER_WAIT_S = 3.0  # chosen: a board that erases flash may be deaf for about a second
PIECE_S = 0.5  # chosen: ten times what a piece of a document takes on a real board
UNREAD_MOST = 50_000  # messages; chosen: some seconds of the fastest virtual board
NO_FIRMWARE = "if it is the warmer, press its reset button: its firmware may have stopped; if it has none: bain install"
LATE = (
    "what lies between may be slow, or pass one way only: plug the cable straight into this PC and try again; "
    "it may be heating, so watch it"
)
PROMPT = b">>> "  # MicroPython's own
NOT_STORED = re.compile(r"flash did not take it \((?:\[Errno )?(\d+)")
FULL = "it is full", "delete files you do not need there"
FLASH_IS = {  # the meaning of the system's error number for the flash, and what helps
    28: FULL,
    36: FULL,  # littlefs says "name too long" where a new file's name finds no room
    30: ("it is read-only", "a USB drive of the board may be mounted, or a boot.py forbids writing"),
}
CHUNK_BYTES = 120  # the wire's limit, so that a chunk in base64 fits a line


class Transport(Protocol):
    """Bytes to and from a board."""

    def read(self) -> bytes:
        """The bytes that have arrived; waits briefly, and returns nothing when nothing came."""

    def write(self, data: bytes) -> None:
        """Send all of it."""

    def close(self) -> None:
        """Release the board."""


class Link:
    """A board at the other end of a transport.

    Parameters
    ----------
    transport : Transport
        Where its bytes come from.
    clock : callable
        Monotonic seconds; decides when an answer is overdue.

    Attributes
    ----------
    damaged : int
        Lines that failed a check.
    board : str or None
        The id of the first board that said hello, whatever port it was on.
    """

    def __init__(self, transport: Transport, clock: Callable[[], float] = time.monotonic) -> None:
        self.transport = transport
        self.damaged = 0
        self.board: str | None = None
        self._clock = clock
        self._tail = b""
        self._overheard: str | None = None  # the last line that was not a board's
        self.speaks = False  # a warmer's own line came since it was last greeted
        self._unread: deque[Message] = deque(maxlen=UNREAD_MOST)
        self._last_id, self.tells = 0, True  # of a fault at rest, when it is greeted

    def replace(self, transport: Transport) -> None:
        """Continue with the same board on a port that was opened again."""
        self.transport, self._tail = transport, b""

    def poll(self) -> list[Message]:
        """The messages since the last call; waits briefly when there are none."""
        unread = list(self._unread)
        self._unread.clear()
        return unread or list(self._messages())

    def set_clock(self, wall_s: int) -> tuple[dict[str, Any], list[str]]:
        """Give the board the time of day: its answer, and a note where a PC whose clock is wrong holds without it."""
        try:
            return self.request("clock", wall_s=wall_s), []
        except RefusedError:
            return {}, ["this PC's clock is wrong, so the warmer does not know the time of day: set the PC's clock"]

    def unread_reports(self) -> list[Status]:
        """The status lines that came before the last answer, and wait for `poll`."""
        return [each for each in self._unread if isinstance(each, Status)]

    def discard(self) -> None:
        """Drop the messages that came between answers."""
        self._unread.clear()

    def _messages(self) -> Iterator[Message]:
        lines = (self._tail + self.transport.read()).split(b"\n")
        self._tail = lines.pop()[-2 * wire.LIMIT :]  # a board that never ends its line must not fill the PC's memory
        for line in lines:
            line = line.rstrip(b"\r")  # a terminal in between may add it
            message = decode(line) if line else None
            if message is not None:
                self.speaks = self.speaks or isinstance(message, Status) or "do" not in message  # that one is an echo
                yield message
            elif line:
                self.damaged += 1
                text = line.decode("ascii", "replace")
                plain = line.isascii() and text.isprintable()
                self._overheard = repr(text[-60:]) if plain else "bytes that are not text"

    def request(self, do: str, *, drop_earlier: bool = False, **fields: Any) -> dict[str, Any]:
        """Send a request and wait for its answer. Other messages that arrive meanwhile wait for `poll`.

        Parameters
        ----------
        do : str
            The request.
        drop_earlier : bool
            Drop the messages before this answer: a hold begins with the answer to its start.
        **fields
            The request's fields.

        Returns
        -------
        dict
            The answer, checked by its schema in `bainwright.link.answers`.

        Raises
        ------
        RefusedError
            If the board refuses.
        LinkError
            If no answer comes in time, or it does not fit.
        """
        self._overheard = None
        answer = self._ask(do, ANSWER_WAIT_S, fields, drop_earlier)
        if answer is None:
            raise LinkError(
                f"the board did not answer '{do}' within {ANSWER_WAIT_S:g} s",
                got=self._overheard,
                hint="look at the cable and try again",
            )
        if answer.get("ok") is not True:
            raise RefusedError(f"the warmer refused '{do}'", hint=str(answer.get("why", "it gave no reason")))
        return check_answer(do, fields, answer)

    def _ask(
        self, do: str, wait_s: float, fields: dict[str, Any], drop_earlier: bool = False, first: int | None = None
    ) -> dict[str, Any] | None:
        self._last_id += 1
        self.transport.write(wire.encode([("id", self._last_id), ("do", do), *fields.items()]))
        return self._answer(first or self._last_id, wait_s, drop_earlier)

    def _answer(self, first: int, wait_s: float, drop_earlier: bool = False) -> dict[str, Any] | None:
        """The next answer to the request of that number, or to a later one."""
        overdue_s = self._clock() + wait_s
        while self._clock() < overdue_s:
            answer = None
            for message in self._messages():
                number = message.get("re") if isinstance(message, dict) else None
                if isinstance(message, dict) and isinstance(number, int) and first <= number <= self._last_id:
                    answer = message
                    if drop_earlier:
                        self._unread.clear()
                else:
                    self._unread.append(message)
            if answer is not None:
                return answer
        return None

    def request_each(self, do: str, each: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Send a request with several sets of fields at once, so that all take one round trip.

        Only for requests that change nothing: one whose answer was lost is sent again.

        Parameters
        ----------
        do : str
            The request.
        each : list of dict
            The fields of each; only a few, because the board's queue is short.

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
        overdue_s = self._clock() + ANSWER_WAIT_S
        while len(answers) < len(each) and self._clock() < overdue_s:
            for message in self._messages():
                number = message.get("re") if isinstance(message, dict) else None
                if isinstance(message, dict) and isinstance(number, int) and first <= number < first + len(each):
                    answers[number - first] = message
                else:
                    self._unread.append(message)
        found = [answers.get(i) for i in range(len(each))]
        return [
            check_answer(do, fields, answer)
            if answer is not None and answer.get("ok") is True
            else self.request(do, **fields)
            for answer, fields in zip(found, each, strict=True)
        ]

    def hello(self, tries: int = HELLO_TRIES, *, any_wire: bool = False) -> dict[str, Any]:
        """Make sure that a board with our firmware answers, and get its state.

        Parameters
        ----------
        tries : int
            How often to ask before giving up.
        any_wire : bool
            Also accept a board that speaks another version of the wire: its firmware can be replaced.

        Raises
        ------
        LinkError
            If nothing answers, or something else does.
        """
        first, self.speaks = self._last_id + 1, False
        answer: dict[str, Any] = {}
        for again in range(tries):
            with progress("waiting for an answer") if again else nullcontext():
                answer = self._ask("hello", HELLO_WAIT_S, {}, first=first) or answer
            if answer.get("ok") is True:
                break
        if self.speaks and answer.get("ok") is not True:  # a bridge or a busy PC may bring its lines late
            # Asked once only, it is in a hold, behind its screen.
            with progress("waiting for an answer") if tries > 1 else nullcontext():
                answer = self._answer(first, ANSWER_WAIT_S) or answer
        if answer.get("ok") is True:
            check_answer("hello", {}, answer)
            self.board = self.board or answer.get("board")
            if self.tells and tries > 1 and (danger := at_rest(answer)):
                remark(danger)
            return answer if any_wire else _same_wire(answer)
        if self.speaks:
            what = "a warmer speaks on this port, but does not answer 'hello'"
            raise LinkError(what, got=answer.get("why"), hint=LATE)
        if not (self._tail or self.damaged or self._unread):
            raise LinkError("nothing on this port answers", hint=NO_FIRMWARE)
        if self._tail.endswith(PROMPT):
            raise LinkError("MicroPython's own prompt answers on this port, not the warmer's firmware",
                            hint="bain install puts it there; if it is there already, press the board's reset button")
        raise LinkError(
            "what is on this port does not speak the warmer's language", got=self._overheard, hint=NO_FIRMWARE
        )

    # -- documents ---------------------------------------------------------------------------------------------------

    def upload(self, what: str, payload: bytes) -> None:
        """Send a document; the board checks its hash and every value before it uses any."""
        try:
            self.request("begin", what=what, size=len(payload), sha256=hashlib.sha256(payload).hexdigest())
            for at in range(0, len(payload), CHUNK_BYTES):
                piece = binascii.b2a_base64(payload[at : at + CHUNK_BYTES], newline=False).decode()
                self.request("chunk", at=at, data=piece)
            self.request("commit")
        except RefusedError as refused:
            raise _not_stored(what, refused) from None

    def settings(self, hello: dict[str, Any]) -> dict[str, Any]:
        """The settings a board uses: those that were sent to it, and defaults for the rest.

        Parameters
        ----------
        hello : dict
            Its answer to hello.

        Raises
        ------
        RefusedError
            If the stored ones are damaged: the defaults must not replace them.
        LinkError
            If they are not valid settings.
        """
        if settings_damaged(hello):
            raise RefusedError(
                "the settings stored on this warmer are damaged, or made for another board; it does not heat",
                hint="send them again: bain rig send FILE",
            )
        values: dict[str, Any] = settings.defaults(settings.SETTINGS)
        if not hello.get("settings"):
            return values
        stored = self.document("settings")
        known = {name: value for name, value in stored.items() if name in values}
        checked, why = settings.check(settings.SETTINGS, known)
        if checked is None:
            raise LinkError("the settings on this board cannot be used", got=why, hint="bain rig send FILE")
        return {**values, **stored}

    def document(self, what: str, **fields: Any) -> dict[str, Any]:
        """Fetch a document from the board and parse it; `fields` select which.

        Raises
        ------
        LinkError
            If it is damaged, or not a document.
        """
        payload = self.download(what, **fields)
        values, why = wire.parse(payload)
        if values is None:
            raise LinkError(f"the {what} on this board cannot be read", got=why, hint="send it again")
        return visible_values(values)

    def profile(self, name: str | None = None) -> dict[str, Any]:
        """A chocolate stored on the board, its values checked; the chosen one unless a name is given.

        Raises
        ------
        LinkError
            If it is damaged, or is not a chocolate.
        """
        values, why = settings.check_profile(self.document("profile", **({"name": name} if name else {})))
        if values is None:
            raise LinkError("the chocolate on this board cannot be used", got=why, hint="bain profile send NAME")
        return dict(values)

    def download(self, what: str, **fields: Any) -> bytes:
        """Fetch a document's bytes and check their hash; `fields` select which.

        Raises
        ------
        LinkError
            If the bytes do not match the announced hash.
        """
        head = self.request("send", what=what, **fields)
        payload, pace = b"", Pace(f"its {what}", PIECE_S, self._clock)
        while len(payload) < head["size"]:
            piece = decode_piece(self.request("chunk", at=len(payload)).get("data", ""))
            if len(piece) != min(CHUNK_BYTES, head["size"] - len(payload)):
                break
            payload += piece
            pace.add()
        self.request("commit")
        if hashlib.sha256(payload).hexdigest() != head["sha256"]:
            raise LinkError(f"the {what} arrived damaged", hint="look at the cable and try again")
        return payload


def decode_piece(text: str) -> bytes:
    """The bytes of a piece in base64; a `LinkError` if it is not base64."""
    try:
        return binascii.a2b_base64(text, strict_mode=True)
    except ValueError:
        raise LinkError("the board sent a piece that is not base64", hint="try again") from None


def settings_damaged(hello: dict[str, Any]) -> bool:
    """Does the board report that it cannot use its stored settings?"""
    return hello.get("fault") == faults.BAD_SETTINGS and not hello.get("settings")


def _not_stored(what: str, refused: RefusedError) -> RefusedError:
    """The error for a document the board did not store: a flash error in words, any other reason unchanged."""
    number = NOT_STORED.search(str(refused.hint))
    if number is None:
        why = "a hold runs on it: end that first" if " not taken in state " in str(refused.hint) else refused.hint
        return RefusedError(f"the warmer did not take the {what}", hint=str(why).removeprefix("begin: "))
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
