"""Answers the host: each request is checked whole, then done by the function of its name."""

from bainboard import commands, requests_board, requests_documents, requests_hold, requests_log, wire
from bainboard.transfer import Transfer

REQUESTS = (requests_hold, requests_documents, requests_log, requests_board)


class Service:
    """Takes bytes from the host, gives its answers to `answer`."""

    def __init__(self, app: object, answer: object) -> None:
        self._app = app
        self._answer = answer
        self.leave = False  # maintenance was asked for
        self.transfer = Transfer()
        self._assembler = wire.Assembler()
        self._answered = commands.Answered()

    def take(self, data: bytes, now_ms: int) -> None:
        """Bytes from the host."""
        for line in self._assembler.feed(data):
            if line:
                self._serve(line, now_ms)

    def _serve(self, line: bytes, now_ms: int) -> None:
        msg, why = wire.decode(line)
        if why:
            self._answer(wire.encode([("re", None), ("ok", False), ("why", why)]))
            return
        reply = self._answered.get(msg)
        if reply is None:
            reply = self._reply(msg, now_ms)
            self._answered.put(msg, reply)
        self._answer(reply)

    def _reply(self, msg: dict, now_ms: int) -> bytes:
        name, args, why = commands.check(msg, self._app.warmer.state)
        pairs: list = []
        if why is None:
            pairs, why = _handler(name)(self._app, args, now_ms)
        head = [("re", commands.ident(msg)), ("ok", why is None)]
        return wire.encode_within(head + (pairs if why is None else [("why", why)]))


def _handler(name: str) -> object:
    for module in REQUESTS:
        if hasattr(module, name):
            return getattr(module, name)
    raise AttributeError(name)
