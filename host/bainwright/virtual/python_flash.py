"""A flash in memory that counts its operations, and can lose its power or fail."""

from __future__ import annotations

import binascii
import errno
from collections.abc import Callable

ROOM_BYTES = 1 << 20
ERASE_US, PROGRAM_US = 45_000, 3_000  # a 4 KB sector and a few pages (W25Q16JV data sheet, typical)


class PowerLostError(BaseException):
    """The supply fails; the firmware cannot catch this."""


class Flash:
    """What is written stays; `spend` gets the microseconds each operation takes.

    Attributes
    ----------
    operations : int
        Writes, appends and removals so far.
    cut_at : int or None
        The operation at which the power fails: before it, or half way through when `torn`.
    fails : int or None
        The errno every write gives.
    """

    def __init__(self, files: dict[str, bytes]) -> None:
        self.files = dict(files)
        self.operations = 0
        self.cut_at: int | None = None
        self.torn = False
        self.fails: int | None = None
        self.dead = False
        self.spend: Callable[[int], None] = lambda us: None
        self.cut: Callable[[], None] = lambda: None  # called where the power fails

    def change(self, path: str, data: bytes | None, before: bytes = b"") -> None:
        """Write a file (`before` stays in front), or delete it."""
        if self.dead:
            raise PowerLostError
        if self.fails is not None:
            raise OSError(self.fails)
        self.operations += 1
        if self.operations == self.cut_at:
            self.cut_at = None
            if self.torn and data is not None:
                self.files[path] = before + data[: len(data) // 2]
            self.cut()
            raise PowerLostError
        self.spend(ERASE_US if not before else PROGRAM_US)
        if data is None:
            del self.files[path]
        else:
            self.files[path] = before + data


class Files:
    """`bainboard.store.Files` on that flash."""

    def __init__(self, flash: Flash) -> None:
        self._flash = flash

    def read(self, path: str) -> bytes | None:
        """A file, or None."""
        return self._flash.files.get("/" + path)

    def write(self, path: str, data: bytes) -> None:
        """Replace a file."""
        self._flash.change("/" + path, bytes(data))

    def sync(self) -> None:
        """Everything is on the flash already."""


class Folder:
    """`bainboard.log_folder.Folder` on that flash."""

    def __init__(self, flash: Flash, path: str) -> None:
        self._flash, self._at = flash, path + "/"

    def _need(self, name: str) -> bytes:
        if self._at + name not in self._flash.files:
            raise OSError(errno.ENOENT)
        return self._flash.files[self._at + name]

    def names(self) -> list[str]:
        """Files in it."""
        return [path[len(self._at):] for path in self._flash.files if path.startswith(self._at)]

    def size(self, name: str) -> int:
        """Bytes of a file."""
        return len(self._need(name))

    def read(self, name: str, at: int, count: int) -> bytes:
        """A piece of a file."""
        return self._need(name)[at : at + count]

    def crc(self, name: str, buffer: bytearray) -> int:
        """CRC-32 of a file."""
        return binascii.crc32(self._need(name))

    def write(self, name: str, data: bytes) -> None:
        """Make a new, empty file."""
        self._flash.change(self._at + name, bytes(data))

    def append(self, name: str, data: bytes) -> None:
        """Add to a file's end."""
        self._flash.change(self._at + name, bytes(data), self._need(name))

    def sync(self) -> None:
        """Everything is on the flash already."""

    def remove(self, name: str) -> None:
        """Delete a file."""
        self._need(name)
        self._flash.change(self._at + name, None)

    def total(self) -> int:
        """Bytes there are."""
        return ROOM_BYTES
