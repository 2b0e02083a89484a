"""The memory that simulator and interpreter share, seen from the simulator. Its table is `standins/_shared.py`."""

from __future__ import annotations

import ctypes
import mmap
import os
import sys
import tempfile
from typing import Any

from bainwright.virtual.standins import _shared as layout

OFFSETS = layout.offsets()
AT_EDGES, AT_OUT, AT_IN, AT_FLASH, SIZE = layout.areas()
FLASH_BYTES = SIZE - AT_FLASH
NEVER = 1 << 60


class Area:
    """Memory that interpreters share: one that is forked finds it at `address`, another program maps `file`."""

    def __init__(self, size: int) -> None:
        self.file, self.size = _nameless_file(), size
        os.ftruncate(self.file, size)
        self.memory = mmap.mmap(self.file, size)
        self.address = ctypes.addressof(ctypes.c_char.from_buffer(self.memory))

    def close(self) -> None:
        """Let go of the file; the memory goes with its last user."""
        os.close(self.file)


def _nameless_file() -> int:
    """A file that nobody else can open, in memory where the system has such."""
    if sys.platform == "linux":
        return os.memfd_create("bain")
    with tempfile.TemporaryFile() as file:
        return os.dup(file.fileno())


class SharedMemory:
    """Named fields, rings and the flash in one shared mapping that outlives the interpreters.

    A field of one element is an attribute. Elements of longer fields are read and set with `get` and `put`.
    """

    area: Area
    memory: mmap.mmap
    words: Any  # all of it as 64-bit words

    def __init__(self) -> None:
        area = Area(SIZE)
        memory = area.memory
        views: dict[str, Any] = {
            layout.WIDE: memoryview(memory).cast("q"), layout.NARROW: memoryview(memory).cast("i"),
            layout.DOUBLE: memoryview(memory).cast("d"), layout.BYTE: memoryview(memory)}
        places = {name: (views[form], at // layout.size_of(form)) for name, (at, _, form) in OFFSETS.items()}
        object.__setattr__(self, "area", area)
        object.__setattr__(self, "memory", memory)
        object.__setattr__(self, "words", views[layout.WIDE])
        object.__setattr__(self, "_places", places)
        memory[AT_FLASH:] = b"\xff" * FLASH_BYTES

    def __getattr__(self, name: str) -> Any:
        view, at = self._places[name]
        return view[at]

    def __setattr__(self, name: str, value: float) -> None:
        view, at = self._places[name]
        view[at] = value

    def _read(self, name: str) -> int:
        return int(getattr(self, name))

    def get(self, name: str, index: int) -> int:
        """One element of a longer field."""
        view, at = self._places[name]
        return int(view[at + index])

    def put(self, name: str, index: int, value: int) -> None:
        """Set one element of a longer field."""
        view, at = self._places[name]
        view[at + index] = value

    # -- rings --------------------------------------------------------------------------------------------------------

    def edge(self, number: int) -> tuple[int, int]:
        """An edge: its virtual time in µs, and the outputs after it."""
        at = (AT_EDGES >> 3) + 2 * (number % layout.EDGES)
        return int(self.words[at]), int(self.words[at + 1])

    def output(self) -> bytes:
        """What the firmware has written and nobody has taken yet; it stays there."""
        head, tail = self._read("out_head"), self._read("out_tail")
        begin, size = tail % layout.OUT_BYTES, head - tail
        first = bytes(self.memory[AT_OUT + begin : AT_OUT + min(begin + size, layout.OUT_BYTES)])
        return first + bytes(self.memory[AT_OUT : AT_OUT + size - len(first)])

    def feed(self, data: bytes) -> int:
        """Give bytes to the firmware; returns how many had room."""
        head = self._read("in_head")
        data = data[: layout.IN_BYTES - (head - self._read("in_tail"))]
        for i, byte in enumerate(data):
            self.memory[AT_IN + (head + i) % layout.IN_BYTES] = byte
        self.in_head = head + len(data)
        return len(data)

    def unread(self) -> bytes:
        """Take back what the firmware did not read."""
        head, tail = self._read("in_head"), self._read("in_tail")
        self.in_tail = head
        return bytes(self.memory[AT_IN + i % layout.IN_BYTES] for i in range(tail, head))

    # -- display ------------------------------------------------------------------------------------------------------

    @property
    def display(self) -> bytes:
        """The display's picture."""
        at, count, _ = OFFSETS["display"]
        return self.memory[at : at + count]

    def darken(self) -> None:
        """Without supply the display is dark and its memory is lost; it starts with arbitrary dots."""
        at, count, _ = OFFSETS["display"]
        self.memory[at : at + count] = bytes((0xA5, 0x3C)) * (count // 2)
        self.display_state = 0

    # -- flash --------------------------------------------------------------------------------------------------------

    @property
    def flash(self) -> bytes:
        """The chip's content."""
        return self.memory[AT_FLASH:]

    def load_flash(self, content: bytes) -> None:
        """Replace the chip's whole content."""
        self.memory[AT_FLASH:] = content

