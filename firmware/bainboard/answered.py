"""What every request has: its id, and an answer that is remembered for a while."""

import binascii

from bainboard import wire

COLD = ("idle", "trip")  # states with nothing under way: settings may change, the wire may be left
ID_MAX = 2**30 - 1  # a small integer on every board


def is_whole(value) -> bool:
    """Is it a whole number, and no truth value?"""
    return isinstance(value, int) and not isinstance(value, bool)


def ident(msg: dict) -> int | None:
    """The request's id, or None when it has no valid one."""
    value = msg.get("id")
    return value if is_whole(value) and 0 < value <= ID_MAX else None


class Answered:
    """The last requests and their answers: one sent again because its answer was lost is answered, not done again."""

    # Done each time, which is harmless, and never mistaken for an old request: a stop must always stop.
    _REPEATABLE = ("hello", "stop", "segments", "read")

    def __init__(self, most: int = 8) -> None:
        self._most = most  # chosen: a host waits for each answer before it asks on
        self._recent: list = []  # (id, check value of the request's line, the answer's line), oldest first

    def get(self, msg: dict, line: bytes) -> bytes | None:
        """The line that answers a request whose id was used before; None for a new one. A hello forgets them all."""
        if msg.get("do") == "hello":
            self._recent = []
        if msg.get("do") in self._REPEATABLE:
            return None
        for number, check, reply in self._recent:
            if number == msg.get("id"):
                if check == binascii.crc32(line):
                    return reply
                return wire.encode_within([
                    ("re", number), ("ok", False), ("why", "id: used for another request just now; count on")])
        return None

    def put(self, msg: dict, line: bytes, reply: bytes) -> None:
        """Remember what was answered."""
        if ident(msg) is None or msg.get("do") in self._REPEATABLE:
            return
        self._recent.append((msg["id"], binascii.crc32(line), reply))
        if len(self._recent) > self._most:
            self._recent.pop(0)
