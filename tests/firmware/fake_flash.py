"""A flash that loses its power at any step, in each of the ways a file system may behave."""

# What a power cut leaves of files that were being written or not yet synced:
HOWS = (
    "torn",  # the file as far as it was written
    "torn over old",  # the new bytes over the old ones' end
    "torn erased",  # the new bytes, then erased flash to the full length
    "lost",  # copy on write, nothing kept before the sync
    "kept",  # copy on write, every closed file kept
)


class PowerCutError(Exception):
    """The power is gone: nothing after this runs."""


class Flash:
    """Files in memory; the power goes after `steps` steps (None: never). A step: open, each byte, close, sync."""

    def __init__(self, files=None, how="torn", steps=None):
        self._durable = dict(files or {})
        self._seen = dict(self._durable)  # what a reader sees while the power is on
        self._how = how
        self._left = steps
        self.used = 0
        self.writes = []  # paths, in order

    def _step(self):
        if self._left is not None and self.used >= self._left:
            raise PowerCutError
        self.used += 1

    def read(self, path):
        """The file's bytes, or None."""
        return self._seen.get(path)

    def write(self, path, data):
        """Open, write byte by byte, close."""
        self._step()
        self.writes.append(path)
        old = self._durable.get(path, b"")
        for count in range(len(data) + 1):
            if self._how == "torn":
                self._durable[path] = data[:count]
            elif self._how == "torn over old":
                self._durable[path] = data[:count] + old[count:]
            elif self._how == "torn erased":
                self._durable[path] = data[:count] + b"\xff" * (len(data) - count)
            self._step()
        self._seen[path] = data
        if self._how == "kept":
            self._durable[path] = data

    def sync(self):
        """What was written stays from now on."""
        self._step()
        self._durable = dict(self._seen)

    def survivors(self):
        """The files a reboot finds."""
        return dict(self._durable)
