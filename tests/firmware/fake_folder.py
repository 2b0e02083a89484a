"""A folder on a flash that loses its power at any step, in each of the ways a file system may behave, or that fails."""

import binascii

from fake_flash import PowerCutError

# What a power cut leaves of a file that was being written or appended to and not yet synced:
HOWS = (
    "torn",  # the file as far as it was written
    "torn erased",  # the new bytes, then erased flash to the full length
    "lost",  # one commit when it is closed, nothing kept before (littlefs)
    "kept",  # the same, and a file that was made stays, empty
)
PIECE = 50  # bytes a step: a cut within a frame is tried at four or five places


class FakeFolder:
    """Files in memory. A step: make, each piece, close, sync, remove; the power goes after `steps` of them."""

    def __init__(self, files=None, how="torn", steps=None, room=1 << 20):
        self._durable = dict(files or {})
        self._how, self._left = how, steps
        self.room = room
        self.used = 0  # steps
        self.fails = None  # an errno that every write gives
        self.acts = []

    def _step(self):
        if self._left is not None and self.used >= self._left:
            raise PowerCutError
        self.used += 1

    def _may(self):
        if self.fails is not None:
            raise OSError(self.fails)

    def names(self):
        """Names of the files."""
        return list(self._durable)

    def size(self, name):
        """Bytes of a file."""
        return len(self._durable[name])

    def read(self, name, at, count):
        """At most so many bytes from an offset."""
        return self._durable[name][at : at + count]

    def crc(self, name, buffer):
        """CRC-32 of a file."""
        return binascii.crc32(self._durable[name])

    def write(self, name, data):
        """Create a file, or replace it."""
        self._may()
        self._step()
        self.acts.append(("write", name))
        old = self._durable.get(name)
        if self._how in ("torn", "torn erased", "kept"):
            self._durable[name] = b""
        self._fill(name, b"", data, old)

    def append(self, name, data):
        """Add to the end of a file."""
        self._may()
        self._step()
        self.acts.append(("append", name))
        old = self._durable[name]
        self._fill(name, old, data, old)

    def _fill(self, name, start, data, old):
        whole = start + data
        if len(whole) + sum([len(each) for key, each in self._durable.items() if key != name]) > self.room:
            raise OSError(28)  # ENOSPC, which MicroPython's errno does not name
        for count in range(0, len(data), PIECE):
            if self._how == "torn":
                self._durable[name] = start + data[:count]
            elif self._how == "torn erased":
                self._durable[name] = start + data[:count] + b"\xff" * (len(data) - count)
            self._step()
        self._durable[name] = whole

    def sync(self):
        """What was written stays."""
        self._step()

    def remove(self, name):
        """Delete a file."""
        self._may()
        self._step()
        self.acts.append(("remove", name))
        del self._durable[name]

    def total(self):
        """Bytes of the whole file system."""
        return self.room

    def survivors(self):
        """The files a reboot finds."""
        return dict(self._durable)
