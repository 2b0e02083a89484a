"""Answers the host: each request is checked whole, then done by the function of its name.

While the warmer heats, a request waits until neither an edge of the switch nor a tick is due for `ROOM_MS`. So no host
moves a tick or an edge, and with them the duty. A stop or a pause does not wait. An exception in any other request is
its answer and never ends a hold.
"""

import sys

from bainboard import heap_reserve, requests_urgent, wire
from bainboard.answered import COLD, Answered, ident

# Which module does a request. `requests_urgent` does a stop and a pause and is always there; these are loaded when one
# of theirs comes, and dropped again: see heap_reserve.
LOADED_FOR = {
    "requests_hold": ("start", "resume", "bowl", "announce", "confirm", "thicker", "thinner", "test", "finish", "back"),
    "requests_documents": ("begin", "send", "chunk", "commit", "profiles", "use", "change"),
    "requests_log": ("clock", "segments", "read", "forget"),
    "requests_board": ("hello", "cold", "silence", "lock", "maintenance", "bus"),
}
ROOM_MS = 300  # chosen: twice what a slice of a request takes on an RP2040; each period of the switch has as much
MOST_LINES = 4  # chosen: requests that wait; until then nothing more is read, and the port makes the host wait
LASTING = ("start", "commit", "change")  # requests that make what a whole hold keeps
URGENT = (b'"do":"stop"', b'"do":"pause"')
NO_MEMORY = "no memory now; nothing was changed; try again"
CTRL_C = 3
KNOCKS, KNOCK_MS = 3, 1000  # Ctrl-C so often in so short a time is a person at a terminal


class Service:
    """Takes bytes from the host, gives its answers to `answer`."""

    def __init__(self, app, answer) -> None:
        self._app = app
        self._answer = answer
        self.leave = False  # maintenance was asked for: to the REPL once all is said
        self.knocked = False  # somebody wants the REPL at once
        self.transfer = None  # the one that is open: a `Transfer`
        self._assembler = wire.Assembler()
        self._answered = Answered()
        self._lines: list = []  # requests that wait
        self._slices: tuple | None = None  # a request that is being done: (message, line, generator)
        self._last = 0  # byte heard last
        self._knocks: list = []  # times of the last Ctrl-C

    @property
    def full(self) -> bool:
        """Is nothing more to be read for now?"""
        return len(self._lines) >= MOST_LINES

    @property
    def waiting(self) -> bool:
        """Is a request waiting, or half done?"""
        return bool(self._lines) or self._slices is not None

    def idle(self, now_ms: int) -> bool:
        """Is nothing waiting, half done or being transferred? A transfer whose host fell silent is forgotten."""
        if self.transfer is not None and self.transfer.over(now_ms):
            self.transfer = None
        return not self.waiting and self.transfer is None

    def take(self, data: bytes, now_ms: int) -> None:
        """Bytes from the host: urgent requests are done, the others queue."""
        if not data:
            return
        if data[-1] == CTRL_C:
            self._knock(data, now_ms)
        self._last = data[-1]
        for line in self._assembler.feed(data):
            if _urgent(line):
                self._serve(line, now_ms)
            else:
                self._lines.append(line)

    def _knock(self, data: bytes, now_ms: int) -> None:
        """Ctrl-C is a byte like any other while a hold runs: a flipped bit makes one of a C.

        At rest two things lead to the REPL: a carriage return and Ctrl-C, which is how mpremote knocks and no message
        of ours has, or Ctrl-C three times in a second.
        """
        before = data[-2] if len(data) > 1 else self._last
        self._knocks = [at_ms for at_ms in self._knocks if now_ms - at_ms < KNOCK_MS] + [now_ms]
        if self._app.warmer.state in COLD and (before == 0x0D or len(self._knocks) >= KNOCKS):
            self.knocked = True

    def work(self, now_ms: int) -> None:
        """Do one slice of the request whose turn it is."""
        if self._slices is not None:
            msg, line, slices = self._slices
            answer = self._advance(slices)
            if answer is not None:
                self._slices = None
                self._finish(msg, line, answer)
        elif self._lines:
            self._serve(self._lines.pop(0), now_ms)

    def _serve(self, line: bytes, now_ms: int) -> None:
        try:
            msg, why = wire.decode(line)
        except Exception as error:
            msg, why = None, reason(error)
        if why:
            self._answer(wire.encode([("re", None), ("ok", False), ("why", why)]))
            return
        known = self._answered.get(msg, line)
        if known is not None:
            self._answer(known)
            return
        cold = self._app.warmer.state in COLD
        try:
            answer = self._begin(msg, now_ms)
        except Exception as error:
            if _urgent(line) and not isinstance(error, MemoryError):
                raise  # a stop that fails ends the run, and that turns the heat off
            answer = self._not_done(error, cold)
        if isinstance(answer, tuple):
            self._finish(msg, line, answer, cold)
        else:
            self._slices = msg, line, answer

    def _begin(self, msg: dict, now_ms: int):
        """The answer to a request, or a generator that gives it with its last slice."""
        state = self._app.warmer.state
        if requests_urgent.is_plain(msg, state):
            return _handler(msg["do"])(self._app, {}, now_ms)
        from bainboard import commands  # loaded for this, and dropped again: see heap_reserve

        name, args, why = commands.check(msg, state)
        if why:
            return None, why
        if name in LASTING:
            heap_reserve.sweep_now()
        return _handler(name)(self._app, args, now_ms)

    def _advance(self, slices) -> tuple | None:
        """The answer, or None after a slice that was not the last."""
        try:
            return next(slices)
        except Exception as error:
            return None, reason(error)

    def _not_done(self, error: Exception, cold: bool) -> tuple:
        """The answer to a request that failed. The host reads that nothing was changed, so it has begun no hold."""
        if cold:
            self._app.warmer.stop()
        return None, reason(error)

    def _finish(self, msg: dict, line: bytes, answer: tuple, cold: bool = False) -> None:
        pairs, why = answer
        try:
            reply = _reply(msg, pairs, why)
        except Exception as error:  # an answer that no line can carry
            why = self._not_done(error, cold)[1]
            reply = _reply(msg, None, why)
        if why != NO_MEMORY:  # that one may be tried again under the same id
            self._answered.put(msg, line, reply)
        self._answer(reply)


def _reply(msg: dict, pairs: list | None, why: str | None) -> bytes:
    head = [("re", ident(msg)), ("ok", why is None)]
    return wire.encode_within(head + (pairs if why is None else [("why", why)]))


def _urgent(line: bytes) -> bool:
    return URGENT[0] in line or URGENT[1] in line


def reason(error: Exception) -> str:
    """Why a request was not done: memory may be there later, and any other exception is an error of this firmware."""
    if isinstance(error, MemoryError):
        return NO_MEMORY
    return f"an error in the firmware ({type(error).__name__}: {error}); the hold is not affected"


def _handler(name: str):
    for module in LOADED_FOR:
        if name in LOADED_FOR[module]:
            __import__("bainboard." + module)
            return getattr(sys.modules["bainboard." + module], name)
    return getattr(requests_urgent, name)
