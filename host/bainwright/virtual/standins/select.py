"""select, on the virtual clock: while main.py runs the console is the page's rings, at the REPL the real terminal."""

import _clock
import uselect
from _console import is_input, is_output
from uselect import POLLERR, POLLHUP, POLLIN, POLLOUT


class _Poll:
    def __init__(self):
        self._masks = []  # [object, mask]
        self._native = uselect.poll()
        self._native.register(_clock._wake, POLLIN)

    def register(self, obj, mask=POLLIN | POLLOUT):
        """Watch a stream."""
        if not self.modify(obj, mask):
            self._masks.append([obj, mask])
        if not (is_input(obj) or is_output(obj)):
            self._native.register(obj, mask)

    def modify(self, obj, mask):
        """Watch it for something else; True when it was known."""
        for entry in self._masks:
            if entry[0] is obj:
                entry[1] = mask
                return True
        return False

    def unregister(self, obj):
        """Watch it no more."""
        self._masks = [entry for entry in self._masks if entry[0] is not obj]

    def poll(self, timeout=-1):
        """[(stream, events)] that are ready, waiting up to `timeout` ms."""
        if _clock.real:
            return self._poll_real(timeout)
        now = _clock.stamp()
        ready = self._ready()
        if ready or timeout == 0:
            return ready
        target = _clock.FOREVER if timeout is None or timeout < 0 else now + int(timeout) * 1000
        while True:
            # Output room comes without virtual time passing, so only input can end the wait.
            _clock.pass_until(target, True)
            ready = self._ready()
            if ready or _clock.now >= target:
                return ready
            if _clock.input_waits():  # input nobody here watches must not end the wait
                _clock.pass_until(target)

    def ipoll(self, timeout=-1, flags=0):
        """As poll, as an iterator."""
        return iter(self.poll(timeout))

    def _ready(self):
        ready = []
        for obj, mask in self._masks:
            if mask & POLLIN and is_input(obj):
                if _clock.input_waits():
                    ready.append((obj, POLLIN))
            elif mask & POLLOUT and is_output(obj) and _clock.writable():
                ready.append((obj, POLLOUT))
        return ready

    def _poll_real(self, timeout):
        """At the REPL: the real terminal, and an ear for Ctrl-C."""
        native = self._native
        for obj, mask in self._masks:
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
