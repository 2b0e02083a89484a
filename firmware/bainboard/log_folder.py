"""The folder on the real flash that has the log's segments. Tests and the PC have folders of their own for it."""

import binascii
import errno
import os

from bainboard import heap_reserve


class Folder:
    """Segments, and perhaps other files, which are left alone."""

    def __init__(self, path: str) -> None:
        self._path = path

    def names(self) -> list:
        """Names of the files in it; none when it is not there yet."""
        try:
            return os.listdir(self._path)
        except OSError as error:
            if error.args[0] != errno.ENOENT:
                raise
            os.mkdir(self._path)
            return []

    def size(self, name: str) -> int:
        """Bytes of a file."""
        return os.stat(self._path + "/" + name)[6]

    def read(self, name: str, at: int, count: int) -> bytes | None:
        """At most so many bytes from an offset."""
        with heap_reserve.opened(self._path + "/" + name, "rb") as file:
            file.seek(at)
            return file.read(count)

    def crc(self, name: str, buffer: bytearray) -> int:
        """CRC-32 of a file, read through the given buffer."""
        crc = 0
        with heap_reserve.opened(self._path + "/" + name, "rb") as file:
            count = file.readinto(buffer)
            while count:
                crc = binascii.crc32(memoryview(buffer)[:count], crc)
                count = file.readinto(buffer)
        return crc

    def write(self, name: str, data: bytes) -> None:
        """Create a file, or replace it."""
        heap_reserve.write(self._path + "/" + name, "wb", data)

    def append(self, name: str, data: bytes) -> None:
        """Add to the end of a file; the data is on the flash once it is closed."""
        heap_reserve.write(self._path + "/" + name, "ab", data)

    def sync(self) -> None:
        """Return once what was written is on the flash."""
        if hasattr(os, "sync"):
            os.sync()

    def remove(self, name: str) -> None:
        """Delete a file."""
        os.remove(self._path + "/" + name)

    def total(self) -> int:
        """Bytes of the whole file system."""
        stat = os.statvfs(self._path)
        return stat[0] * stat[2]
