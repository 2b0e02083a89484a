"""What is longer than a line goes in chunks with a hash, one transfer at a time, the same both ways. No I/O.

Each step takes a request's checked arguments and returns (pairs of the answer, None) or (None, reason).
"""

import binascii
import hashlib

from bainboard import heap_reserve

CHUNK = 120  # raw bytes: 160 letters of base64 leave room for the rest of a line
MAX_SIZE = 4096  # bytes of a document; chosen: what a board can hold twice without missing it
SILENCE_MS = 15000  # chosen: a host that pauses longer is gone; it begins again


def sha256_hex(data):
    """SHA-256 as 64 lower-case hex digits."""
    return binascii.hexlify(hashlib.sha256(data).digest()).decode()


def base64_text(data):
    """Base64 without newline."""
    return binascii.b2a_base64(data)[:-1].decode()


def base64_bytes(text):
    """The bytes of a base64 text, or None unless it is spelt exactly as base64_text would."""
    try:
        data = binascii.a2b_base64(text.encode())
    except ValueError:
        return None
    # Both interpreters skip letters they do not know; only what comes out the same again was base64.
    return data if base64_text(data) == text else None


def chunks(payload):
    """(offset, base64) of each chunk of a payload, in order."""
    return [(at, base64_text(payload[at : at + CHUNK])) for at in range(0, len(payload), CHUNK)]


class Transfer:
    """The one transfer: begin, chunk..., commit towards us; send, chunk..., commit away from us.

    After a commit `complete` is (what, payload) of a document that came whole; None in every other case.
    """

    def __init__(self):
        self.drop()

    def drop(self):
        """Forget whatever was under way."""
        self.complete = None
        self._what = None
        self._coming = False  # towards us
        self._data = b""
        self._hash = ""
        self._last = self._next = 0  # offsets: the chunk before, the one wanted now
        self._heard_ms = 0

    def begin(self, args, now_ms):
        """Take a document in; replaces a transfer under way."""
        self._open(args["what"], heap_reserve.piece(args["size"]), args["sha256"], True, now_ms)
        return [("size", args["size"])], None

    def send(self, what, payload, now_ms):
        """Give a document out; replaces a transfer under way."""
        if not payload:
            return None, f"{what}: there is none here yet"
        self._open(what, payload, sha256_hex(payload), False, now_ms)
        return [("size", len(payload)), ("sha256", self._hash)], None

    def chunk(self, args, now_ms):
        """The next chunk, or the one before once more: its answer may have been lost."""
        why = self._why_not(now_ms)
        if why:
            return None, why
        at, text = args["at"], args["data"]
        if at not in (self._next, self._last):
            return None, f"at: got {at}, wanted {self._next}"
        if self._coming != (text is not None):
            return None, "data: wanted " + ("it: this transfer comes in" if self._coming else "none: this one goes out")
        return self._take(at, text) if self._coming else self._give(at)

    def commit(self, now_ms):
        """End the transfer; `complete` then holds what came."""
        why = self._why_not(now_ms)
        if why:
            return None, why
        if self._next != len(self._data):
            return None, f"transfer: got {self._next} bytes so far, wanted {len(self._data)}"
        what, payload, coming, wanted = self._what, bytes(self._data), self._coming, self._hash
        self.drop()
        if sha256_hex(payload) != wanted:
            return None, "sha256: the bytes that came are not those announced; begin again"
        self.complete = (what, payload) if coming else None
        return [("what", what), ("size", len(payload))], None

    def _open(self, what, data, digest, coming, now_ms):
        self.drop()
        self._what, self._data, self._hash, self._coming, self._heard_ms = what, data, digest, coming, now_ms

    def _why_not(self, now_ms):
        if self._what is not None and now_ms - self._heard_ms > SILENCE_MS:
            self.drop()
        if self._what is None:
            return f"no transfer is open (after {SILENCE_MS // 1000} s of silence one is dropped); begin or send first"
        self._heard_ms = now_ms
        return None

    def _take(self, at, text):
        data = base64_bytes(text)
        if not data or len(data) > CHUNK:
            return None, f"data: wanted base64 of 1 to {CHUNK} bytes"
        end = at + len(data)
        if at != self._next:
            same = end == self._next and self._data[at:end] == data
            return ([("at", end)], None) if same else (None, f"at: {at} is here already, with other bytes")
        if end > len(self._data):
            return None, f"data: got {end} bytes, wanted at most the {len(self._data)} announced"
        self._data[at:end] = data
        self._last, self._next = at, end
        return [("at", end)], None

    def _give(self, at):
        end = min(at + CHUNK, len(self._data))
        if at == end:
            return None, f"at: got {at}, all {end} bytes were sent; commit"
        self._last, self._next = at, end
        return [("at", at), ("data", base64_text(self._data[at:end]))], None
