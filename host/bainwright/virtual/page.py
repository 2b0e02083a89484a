"""The supervisor's side of the page it shares with the board's interpreter; the table is `standins/_page.py`."""

from __future__ import annotations

import ctypes
import mmap
import os
from pathlib import Path
from typing import Any

from bainwright.virtual.standins import _page as layout

OFFSETS, _ = layout.offsets()
AT_EDGES, AT_OUT, AT_IN, AT_FLASH, SIZE = layout.areas()
FLASH_BYTES = SIZE - AT_FLASH
NEVER = 1 << 60


class Page:
    """Fields by name, rings, and the flash, in one shared mapping that outlives the interpreters.

    Fields of one word are attributes; those of several are read and set with `get` and `put`.
    """

    def __init__(self) -> None:
        memory = mmap.mmap(-1, SIZE)
        words = memoryview(memory).cast("q")
        object.__setattr__(self, "memory", memory)
        object.__setattr__(self, "words", words)
        object.__setattr__(self, "doubles", memoryview(memory).cast("d"))
        object.__setattr__(self, "address", ctypes.addressof(ctypes.c_char.from_buffer(memory)))
        memory[AT_FLASH:] = b"\xff" * FLASH_BYTES

    def __getattr__(self, name: str) -> Any:
        at, _, double = OFFSETS[name]
        return (self.doubles if double else self.words)[at >> 3]

    def __setattr__(self, name: str, value: float) -> None:
        at, _, double = OFFSETS[name]
        if double:
            self.doubles[at >> 3] = value
        else:
            self.words[at >> 3] = value

    def get(self, name: str, index: int) -> int:
        """One word of a field of several."""
        return int(self.words[(OFFSETS[name][0] >> 3) + index])

    def put(self, name: str, index: int, value: int) -> None:
        """Set one word of a field of several."""
        self.words[(OFFSETS[name][0] >> 3) + index] = value

    # -- rings --------------------------------------------------------------------------------------------------------

    def edge(self, number: int) -> tuple[int, int]:
        """An edge: virtual µs and the outputs from then on."""
        at = (AT_EDGES >> 3) + 2 * (number % layout.EDGES)
        return int(self.words[at]), int(self.words[at + 1])

    def output(self) -> bytes:
        """What the firmware has written and nobody has taken, without taking it."""
        head, tail = self.out_head, self.out_tail
        begin, size = tail % layout.OUT_BYTES, head - tail
        first = bytes(self.memory[AT_OUT + begin : AT_OUT + min(begin + size, layout.OUT_BYTES)])
        return first + bytes(self.memory[AT_OUT : AT_OUT + size - len(first)])

    def feed(self, data: bytes) -> int:
        """Give the firmware bytes; the number that found room."""
        head = self.in_head
        data = data[: layout.IN_BYTES - (head - self.in_tail)]
        for i, byte in enumerate(data):
            self.memory[AT_IN + (head + i) % layout.IN_BYTES] = byte
        self.in_head = head + len(data)
        return len(data)

    def unread(self) -> bytes:
        """Take back what the firmware did not read."""
        head, tail = self.in_head, self.in_tail
        self.in_tail = head
        return bytes(self.memory[AT_IN + i % layout.IN_BYTES] for i in range(tail, head))

    # -- flash --------------------------------------------------------------------------------------------------------

    @property
    def flash(self) -> bytes:
        """The chip's content."""
        return self.memory[AT_FLASH:]

    def load_flash(self, content: bytes) -> None:
        """Put a whole content on the chip."""
        self.memory[AT_FLASH:] = content


def flash_file(path: Path, content: bytes) -> None:
    """Write an image beside the old one, then put it in its place."""
    beside = path.with_name(f"{path.name}.{os.getpid()}")
    beside.write_bytes(content)
    os.replace(beside, path)
