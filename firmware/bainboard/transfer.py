"""Documents travel in chunks with a hash, one transfer at a time, the same way in and out. No I/O.

Each step takes a request's checked arguments and returns (pairs of the answer, None) or (None, reason).
"""

from bainboard.chunks import CHUNK, base64_bytes, base64_text, sha256_hex

SILENCE_MS = 15000  # chosen: a host that pauses longer is gone


class Transfer:
    """The one transfer: begin, chunk..., commit for a document coming in; send, chunk..., commit for one going out.

    After a commit `complete` is (what, payload) of a document that arrived whole; None in every other case.
    """

    def __init__(self) -> None:
        self.drop()

    def drop(self) -> None:
        """Forget the transfer that is open."""
        self.complete: tuple | None = None
        self._what: str | None = None
        self._coming = False  # the document comes in
        self._pieces: list = []  # what arrived so far: small pieces find room in a heap where the whole would not
        self._data = b""  # what goes out
        self._size = 0
        self._hash = ""
        self._last = self._next = 0  # offsets: the chunk before, the one wanted now
        self._heard_ms = 0

    def over(self, now_ms: int) -> bool:
        """Is none open, or has its host been silent for too long?"""
        return self._what is None or now_ms - self._heard_ms > SILENCE_MS

    def begin(self, args: dict, now_ms: int) -> tuple:
        """Begin to receive a document; replaces an open transfer."""
        self._open(args["what"], args["size"], args["sha256"], now_ms)
        self._coming = True
        return [("size", args["size"])], None

    def send(self, what: str, payload: bytes, now_ms: int) -> tuple:
        """Begin to send a document; replaces an open transfer."""
        if not payload:
            return None, f"{what}: there is none here yet"
        self._open(what, len(payload), sha256_hex(payload), now_ms)
        self._data = payload
        return [("size", len(payload)), ("sha256", self._hash)], None

    def chunk(self, args: dict, now_ms: int) -> tuple:
        """The next chunk, or the previous one again: its answer may have been lost."""
        why = self._why_not(now_ms)
        if why:
            return None, why
        at, text = args["at"], args["data"]
        if at not in (self._next, self._last):
            return None, f"at: got {at}, wanted {self._next}"
        if self._coming != (text is not None):
            return None, "data: wanted " + ("it: this transfer comes in" if self._coming else "none: this one goes out")
        return self._take(at, text) if self._coming else self._give(at)

    def commit(self, now_ms: int) -> tuple:
        """End the transfer; `complete` then holds what arrived."""
        why = self._why_not(now_ms)
        if why:
            return None, why
        if self._next != self._size:
            return None, f"transfer: got {self._next} bytes so far, wanted {self._size}"
        what, size = self._what, self._size
        complete: tuple | None = None
        if self._coming:
            if sha256_hex(*self._pieces) != self._hash:
                self.drop()
                return None, "sha256: the bytes that came are not those announced; begin again"
            complete = what, b"".join(self._pieces)  # before the drop: if memory is short here, the transfer stays open
        self.drop()
        self.complete = complete
        return [("what", what), ("size", size)], None

    def _open(self, what: str, size: int, digest: str, now_ms: int) -> None:
        self.drop()
        self._what, self._size, self._hash, self._heard_ms = what, size, digest, now_ms

    def _why_not(self, now_ms: int) -> str | None:
        if self.over(now_ms):
            self.drop()
            return f"no transfer is open (after {SILENCE_MS // 1000} s of silence one is dropped); begin or send first"
        self._heard_ms = now_ms
        return None

    def _take(self, at: int, text: str) -> tuple:
        data = base64_bytes(text)
        if not data or len(data) > CHUNK:
            return None, f"data: wanted base64 of 1 to {CHUNK} bytes"
        end = at + len(data)
        if at != self._next:
            same = end == self._next and self._pieces[-1] == data
            return ([("at", end)], None) if same else (None, f"at: {at} is here already, with other bytes")
        if end > self._size:
            return None, f"data: got {end} bytes, wanted at most the {self._size} announced"
        self._pieces.append(data)
        self._last, self._next = at, end
        return [("at", end)], None

    def _give(self, at: int) -> tuple:
        end = min(at + CHUNK, self._size)
        if at == end:
            return None, f"at: got {at}, all {end} bytes were sent; commit"
        self._last, self._next = at, end
        return [("at", at), ("data", base64_text(self._data[at:end]))], None
