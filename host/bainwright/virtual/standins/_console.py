"""The console while main.py runs: sys.stdin, sys.stdout and print on the shared memory's rings.

Not the terminal: bytes in shared memory reach the simulator in the same order and at the same virtual instant in every
run, and a full ring is what a host that does not read looks like.
"""

import io
import sys

import _clock
import _shared

NEWLINE = 10
DROP_MS = 500  # a board blocks this long for a chunk nobody takes, then drops it


def put(data):
    """Write bytes as they are; the number taken."""
    size = len(data)
    if size > _shared.OUT_BYTES // 2:
        return put(memoryview(data)[: size // 2]) + put(memoryview(data)[size // 2 :])
    if _clock.out_room() < size and (_clock.shared.stalled or not _wait_for_room(size)):
        return size  # dropped
    at = _clock.out_head % _shared.OUT_BYTES
    ring, first = _clock.out_ring, _shared.OUT_BYTES - at
    if size <= first:
        ring[at : at + size] = data
    else:
        ring[at:] = memoryview(data)[:first]
        ring[: size - first] = memoryview(data)[first:]
    _clock.wrote(size)
    return size


def _wait_for_room(size):
    return _clock.await_room(size, DROP_MS if _clock.speed else _clock.STALL_MS)


def take(most):
    """What the host has written, at most so many bytes."""
    got = bytearray()
    while len(got) < most and _clock.input_waits():
        got.append(_clock.in_ring[_clock.in_tail % _shared.IN_BYTES])
        _clock.took(1)
        if _clock.byte_us:
            _clock.charge(_clock.byte_us + (_clock.request_us if got[-1] == NEWLINE else 0))
    return got


class _In:
    def read(self, size=-1):
        """Block until so many bytes have come, as the ports do."""
        got = bytearray()
        while len(got) < size:
            got += take(size - len(got))
            if len(got) < size:
                _clock.pass_until(_clock.FOREVER, True)
        return bytes(got)

    def readinto(self, buf, size=-1):
        """Fill the buffer, blocking."""
        size = len(buf) if size < 0 else size
        buf[:size] = self.read(size)
        return size


class _TextIn:
    def __init__(self, buffer):
        self.buffer = buffer

    def read(self, size=-1):
        """So many letters."""
        return self.buffer.read(size).decode()

    def readline(self):
        """Up to and with the next newline."""
        line = self.read(1)
        while line[-1] != "\n":
            line += self.read(1)
        return line


class _Out:
    def write(self, data, *size):
        """Write bytes as they are."""
        return put(memoryview(data)[: size[0]] if size else data)


class _TextOut:
    def __init__(self, buffer):
        self.buffer = buffer

    def write(self, text):
        """Write text, newlines as carriage return and newline: a board's console does so."""
        data = text if isinstance(text, str) else bytes(text).decode()
        put(data.replace("\n", "\r\n").encode())
        return len(data)

    def flush(self):
        """Nothing is held back."""


stdin = _TextIn(_In())
stdout = _TextOut(_Out())


def is_input(obj):
    """Is it main.py's standard input?"""
    return obj is stdin or obj is stdin.buffer


def is_output(obj):
    """Is it main.py's standard output?"""
    return obj is stdout or obj is stdout.buffer


def show(*args, sep=" ", end="\n", file=None):
    """print, on the ring."""
    text = io.StringIO()
    _print(*args, sep=sep, end=end, file=text)
    (file or stdout).write(text.getvalue())


def show_exception(error, file=None):
    """sys.print_exception, on the ring."""
    text = io.StringIO()
    _print_exception(error, text)
    (file or stdout).write(text.getvalue())


_print = print
_print_exception = sys.print_exception
