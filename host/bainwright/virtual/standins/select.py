"""select, on the virtual clock. While main.py runs the console is rings in shared memory; at the REPL, the terminal."""

import _clock
import uselect
from _console import is_input, is_output
from uselect import POLLERR, POLLHUP, POLLIN, POLLOUT  # noqa: F401 - what the module offers

# A function with more than 11 words of locals and stack has its frame on the heap, which costs microseconds a call. So
# the code of each pass is split into smaller functions.


class _Poll:
    def __init__(self):
        self._watched = []  # (stream, mask)
        self._in = self._out = None  # main.py's input and output, where watched
        self._native = uselect.poll()
        self._native.register(_clock._wake, POLLIN)

    def register(self, obj, mask=POLLIN | POLLOUT):
        """Watch a stream."""
        self.unregister(obj)
        self._watched.append((obj, mask))
        if is_input(obj):
            self._in = obj if mask & POLLIN else None
        elif is_output(obj):
            self._out = obj if mask & POLLOUT else None
        else:
            self._native.register(obj, mask)

    modify = register

    def unregister(self, obj):
        """Stop watching a stream."""
        self._watched = [entry for entry in self._watched if entry[0] is not obj]
        if obj is self._in:
            self._in = None
        if obj is self._out:
            self._out = None

    def poll(self, timeout=-1):
        """[(stream, events)] that are ready, waiting up to `timeout` ms."""
        if _clock.real:
            return self._poll_real(timeout)
        now = _clock.stamp()
        if timeout != 0 and not self._is_ready():
            # A port counts whole ticks of its millisecond clock (from memory), so a wait ends on a tick, and the time
            # of the calls before it does not change when the firmware wakes.
            begun = now - (now - _clock.boot_us) % 1000
            self._wait(_clock.FOREVER if timeout is None or timeout < 0 else begun + int(timeout) * 1000)
        ready = []
        if self._in is not None and _clock.input_waits():
            ready.append((self._in, POLLIN))
        if self._out is not None and _clock.writable():
            ready.append((self._out, POLLOUT))
        return ready

    def ipoll(self, timeout=-1, flags=0):
        """As poll, as an iterator."""
        return iter(self.poll(timeout))

    def _is_ready(self):
        if self._in is not None and _clock.input_waits():
            return True
        return self._out is not None and _clock.writable()

    def _wait(self, target):
        # Output becomes free without virtual time passing, so only input that is watched can end the wait.
        _clock.pass_until(target, self._in is not None)

    def _poll_real(self, timeout):
        """At the REPL: the real terminal, and an ear for Ctrl-C."""
        native = self._native
        for obj, mask in self._watched:
            native.register(obj, mask)
        end = _clock.FOREVER if timeout is None or timeout < 0 else _clock.stamp() + int(timeout) * 1000
        while True:
            left = -1 if end == _clock.FOREVER else max(0, (end - _clock.stamp() + 999) // 1000)
            ready = [(e[0], e[1]) for e in native.ipoll(left)]
            streams = [e for e in ready if e[0] is not _clock._wake]
            if len(streams) < len(ready):
                _clock.rest(0)
            if streams or _clock.stamp() >= end:
                return streams


def poll():
    """A new poller."""
    return _Poll()
