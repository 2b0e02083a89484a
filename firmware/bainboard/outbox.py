"""Lines waiting to go to the host. The queue is bounded: a host that does not read loses lines and costs no time."""


class Outbox:
    """A queue of whole lines; when full, the oldest unsent line is dropped and counted."""

    def __init__(self, most: int = 16) -> None:
        self._lines: list = []
        self._most = most
        self._sent = 0  # bytes of the first line already written
        self.drops = 0

    def put(self, line: bytes) -> None:
        """Queue a line."""
        if len(self._lines) >= self._most:
            # A half-written line stays: cutting it would spoil the next one too.
            self._lines.pop(1 if self._sent else 0)
            self.drops += 1
        self._lines.append(line)

    def pump(self, send) -> None:
        """Write what `send(bytes) -> count` takes now."""
        while self._lines:
            line = self._lines[0]
            self._sent += send(line[self._sent :] if self._sent else line)
            if self._sent < len(line):
                return
            self._lines.pop(0)
            self._sent = 0

    def shed(self) -> int:
        """Memory is short and nobody reads: drop every line but a half-written one. Returns how many."""
        kept = self._lines[:1] if self._sent else []
        gone = len(self._lines) - len(kept)
        self._lines = kept
        self.drops += gone
        return gone

    @property
    def empty(self) -> bool:
        """Has everything been written?"""
        return not self._lines
