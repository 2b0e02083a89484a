"""What must survive a power cut: two slots a name, so the old or the new is whole; and the latch record, stored so."""

import errno
import os

from bainboard import faults, framing, heap_reserve, wire

try:
    from os import sync
except ImportError:  # a port whose files are on the flash once closed
    def sync() -> None:
        """Nothing to flush."""

# The frame kind of each name: a file copied over another name's is refused.
KINDS = {"settings": 1, "profile": 2, "latch": 3, "kept": 4, "last": 5, "boot": 6}

GOOD, NONE_YET, ONE_LOST, BOTH_LOST = "", "none", "one lost", "damaged"  # notes of Slots.load


class Files:
    """The real flash: paths under one folder, each file written whole and closed."""

    def __init__(self, root: str = "") -> None:
        self._root = root.rstrip("/") + "/"

    def read(self, path: str) -> bytes | None:
        """The file's bytes; None when there is none; b"" (not a valid frame) when it cannot be read."""
        try:
            if os.stat(self._root + path)[6] > framing.OVERHEAD + framing.MAX_PAYLOAD:
                return b""
            with heap_reserve.opened(self._root + path, "rb") as file:
                return file.read()
        except OSError as error:
            return None if error.args[0] == errno.ENOENT else b""

    def write(self, path: str, data: bytes) -> None:
        """Replace the file."""
        heap_reserve.write(self._root + path, "wb", data)

    def sync(self) -> None:
        """Return once what was written is on the flash."""
        sync()


class Slots:
    """Two files, `name.a` and `name.b`, one frame each; the higher sequence is the newer."""

    def __init__(self, fs, name: str) -> None:
        self._fs = fs
        self._kind = KINDS[name.rstrip("123456")]  # numbered places share one kind
        self._paths = (name + ".a", name + ".b")

    def load(self) -> tuple:
        """(payload or None, its sequence or 0, note): the newer whole copy and the state of both."""
        seq, target, note = self._look()
        if not seq:
            return None, 0, note
        return framing.read(self._fs.read(self._paths[1 - target]))[2], seq, note

    def save(self, payload: bytes) -> None:
        """Write over the copy that is not the newest, sync, read back; a lost other copy is written too."""
        seq, target, _ = self._look()
        self._put(target, seq + 1, payload)
        seq, target, note = self._look()
        if note == ONE_LOST:
            self._put(target, seq + 1, payload)

    def double(self) -> None:
        """Copy the first save into the slot that it left unwritten: a flash that fills up later takes no new file."""
        payload, seq, _ = self.load()
        if seq == 1:
            self._put(self._look()[1], 2, payload)

    def _look(self) -> tuple:
        """(sequence of the newest or 0, index of the slot to write next, note).

        One slot at a time: the heap of a board that has run a while has no room for both copies.
        """
        there_a, a = self._sequence(self._paths[0])
        there_b, b = self._sequence(self._paths[1])
        if not (a or b):
            return 0, 0, BOTH_LOST if there_a or there_b else NONE_YET
        older, lost, blank = (1, not b, not there_b) if a > b else (0, not a, not there_a)
        first = blank and (a or b) == 1  # the very first save leaves one slot unwritten
        return max(a, b), older, GOOD if first or not lost else ONE_LOST

    def _sequence(self, path: str) -> tuple:
        """(is there a file, its frame's sequence or 0 when it is not whole)."""
        data = self._fs.read(path)
        frame = framing.read(data) if data else None
        if frame is None or frame[0] != self._kind or frame[3] != len(data):
            return data is not None, 0
        return True, frame[1]

    def _put(self, index: int, seq: int, payload: bytes) -> None:
        path, frame = self._paths[index], framing.pack(self._kind, seq, payload)
        self._fs.write(path, frame)
        self._fs.sync()
        if self._fs.read(path) != frame:
            raise OSError(f"{path}: read back otherwise than written; the other copy still holds")


def latch_payload(fault: int, t_ms: int) -> bytes:
    """The latch record: the fault that latched and when in the hold; fault 0 means cleared."""
    return wire.text([("fault", fault), ("t", t_ms)]).encode()


def read_latch(slots) -> int:
    """Number of the latched fault; 0 only if a whole record says so and the other copy is not lost.

    A lost copy may have been the newer one: a trip whose record was torn by a power cut stays latched.
    """
    payload, _, note = slots.load()
    doc, _ = wire.parse(payload) if payload else (None, None)
    fault = doc.get("fault") if doc else None
    known = isinstance(fault, int) and not isinstance(fault, bool) and 0 <= fault < faults.COUNT
    if not known or (fault == faults.NONE and note != GOOD):
        return faults.NO_LATCH_RECORD
    return fault
