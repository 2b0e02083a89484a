"""The cable between the host and the board.

The host's end is a pseudo-terminal. The board's end is the rings in shared memory while main.py runs, and the
interpreter's own terminal at its prompt.
"""

from __future__ import annotations

import contextlib
import os
import time
import tty

from bainwright.virtual.child import Child
from bainwright.virtual.shared_memory import SharedMemory

CTRL_A, CTRL_B, CTRL_C, CTRL_D = 1, 2, 3, 4
SETTLE_S = 0.2  # input after Ctrl-C waits this long for the prompt; chosen: the firmware takes 1-20 ms to leave
LEAVE_S = 0.1  # input after Ctrl-D waits this long for the interpreter to end, if it does
# An interrupt without effect: send the interpreter's own signal, then end it. Chosen: a busy PC stalls it for 2 s.
NUDGE_S, GIVE_UP_S = 0.5, 6.0
HELD_BYTES = 65536  # output buffered for the host before the interpreter has to wait
RAW_DONE = b"\x04>"  # ends every run at the raw prompt
RAW_BANNER = b"raw REPL; CTRL-B to exit\r\n>"
REMOTE_FILES = b"\x18"  # mpremote's mount speaks binary after it


class Console:
    """Moves bytes between host and board; handles prompts, interrupts and soft resets.

    Parameters
    ----------
    shared : SharedMemory
        Shared with the interpreter.
    """

    def __init__(self, shared: SharedMemory) -> None:
        self.shared = shared
        self.host, self.host_end = os.openpty()  # the slave end stays open: a host that closes gives no error
        tty.setraw(self.host_end)
        os.set_blocking(self.host, False)
        self.path = os.ttyname(self.host_end)
        self.child: Child | None = None
        self.in_main = False  # main.py runs, by the interpreter's last message
        self.raw_prompt = False
        self._raw_runs = False  # code sent to the raw prompt runs; its paste mode does not change the terminal's flags
        self._last = b""
        self._binary = False
        self._to_host = bytearray()
        self._pending = bytearray()  # from the host, not yet passed on
        self._hold_until_s = 0.0
        self._interrupted_s: float | None = None
        self._nudged = False
        self._skip_to_banner = False
        self._skipped = b""
        self.kill_wanted = False

    # -- board to host ------------------------------------------------------------------------------------------------

    @property
    def backed_up(self) -> bool:
        """Whether there is output that the host has not taken."""
        return bool(self._to_host)

    def drain(self) -> None:
        """Pass the board's output to the host."""
        if self._to_host:
            self._write_host()
        shared = self.shared
        if not self._to_host and shared.out_head != shared.out_tail:
            data = shared.output()
            sent = self._offer(data)
            shared.out_tail += sent
            if shared.resting and self.child is not None:
                shared.notices += 1
                self.child.wake()

    def take_rest(self) -> None:
        """Pass on the rest of the output of an interpreter that has ended, in order."""
        data = self.shared.output()
        self.shared.out_tail = self.shared.out_head
        self.say(data)

    def say(self, data: bytes) -> None:
        """Queue bytes for the host."""
        self._to_host += data
        self._write_host()

    def _offer(self, data: bytes) -> int:
        try:
            return os.write(self.host, data)
        except BlockingIOError:
            return 0

    def _write_host(self) -> None:
        while self._to_host:
            sent = self._offer(bytes(self._to_host[:16384]))
            if not sent:
                return
            del self._to_host[:sent]

    def read_terminal(self) -> None:
        """Pass on what the interpreter wrote at its prompt."""
        assert self.child is not None
        try:
            data = os.read(self.child.terminal, 16384)
        except (BlockingIOError, OSError):  # EIO: it has ended, which its pipe reports too
            return
        if self.raw_prompt and b"\x04" in data:
            self._hold_until_s = 0.0  # the code before Ctrl-D runs: the interpreter does not end
        seen = self._last + data  # it may arrive in two pieces, or with the next prompt: mpremote does not wait for all
        if RAW_DONE in seen:
            self._raw_runs = False
        self._last = seen[-1:]
        self.say(self._dress(data))

    def _dress(self, data: bytes) -> bytes:
        if self._skip_to_banner:
            self._skipped += data
            if RAW_BANNER not in self._skipped:
                return b""
            self._skip_to_banner = False
            return self._skipped[self._skipped.index(RAW_BANNER) :]
        if REMOTE_FILES in data:
            self._binary = True
        if self.raw_prompt or self._binary:
            return data
        # A board's console ends lines with CR and LF; the prompt's own lines already do.
        return data.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n")

    @property
    def busy(self) -> bool:
        """Whether something waits for real time to pass: an interrupt, or input that is held."""
        return self._interrupted_s is not None or bool(self._pending)

    @property
    def room(self) -> bool:
        """Whether more may be read from the interpreter's terminal."""
        return len(self._to_host) < HELD_BYTES

    # -- host to board ------------------------------------------------------------------------------------------------

    def read_host(self) -> None:
        """Take bytes from the host."""
        with contextlib.suppress(BlockingIOError):
            self._pending += os.read(self.host, 4096)
        self.pass_on()

    def pass_on(self) -> None:
        """Give the board the input it may have now."""
        while self._pending and self.child is not None and not self._holding():
            if not (self._pass_to_main() if self.in_main else self._pass_to_prompt(self.child)):
                return

    def _holding(self) -> bool:
        if self._interrupted_s is not None and self.shared.interrupt:
            return True
        return time.monotonic() < self._hold_until_s and not self._prompt_is_back()

    def _prompt_is_back(self) -> bool:
        """Whether the prompt has appeared after a Ctrl-C in main.py."""
        assert self.child is not None
        return self._interrupted_s is not None and not self.in_main and self._at_prompt(self.child)

    def _at_prompt(self, child: Child) -> bool:
        return not self._raw_runs and child.at_prompt()

    def _pass_to_main(self) -> bool:
        data = bytes(self._pending)
        stop = data.find(CTRL_C) if self.shared.interrupt_char == CTRL_C else -1
        part = data if stop < 0 else data[:stop]
        fed = self.shared.feed(part)
        del self._pending[:fed]
        self._notify()
        if fed < len(part):
            return False
        if stop >= 0:
            del self._pending[:1]
            self._interrupt()
        return stop >= 0

    def _pass_to_prompt(self, child: Child) -> bool:
        if self._at_prompt(child):
            # Up to a Ctrl-D, which may end the interpreter: what follows is for the next one.
            end = self._pending.find(CTRL_D) + 1 or len(self._pending)
            data = bytes(self._pending[:end])
            self._note_prompt(data)
            if data[-1] == CTRL_D:
                self._hold_until_s = time.monotonic() + LEAVE_S
                self._raw_runs, self._last = self.raw_prompt, b""
        else:
            stop = self._pending.find(CTRL_C) if self.shared.interrupt_char == CTRL_C else -1
            if stop == 0:
                del self._pending[:1]
                self._interrupt()
                return True
            data = bytes(self._pending if stop < 0 else self._pending[:stop])
            if not self._binary:  # the prompt will read it
                self._note_prompt(data)
        try:
            sent = os.write(child.terminal, data)
        except (BlockingIOError, OSError):  # full, or ended
            return False
        del self._pending[:sent]
        return sent == len(data)

    def _note_prompt(self, data: bytes) -> None:
        for byte in data:
            if byte in (CTRL_A, CTRL_B):
                self.raw_prompt = byte == CTRL_A
                self._binary = False

    def _notify(self) -> None:
        self.shared.notices += 1
        assert self.child is not None
        self.child.wake()

    def _interrupt(self) -> None:
        self._interrupted_s = time.monotonic()
        self._hold_until_s = self._interrupted_s + SETTLE_S
        self._nudged = False
        self.shared.interrupt = 1
        self._notify()

    # -- time ---------------------------------------------------------------------------------------------------------

    def look(self) -> float | None:
        """Do what is due; returns the seconds until the next look, None when nothing is pending."""
        assert self.child is not None
        now_s = time.monotonic()
        if self._interrupted_s is not None:
            self._follow_interrupt(now_s - self._interrupted_s, self.child)
        self.pass_on()
        waiting = self._interrupted_s is not None or (self._pending and now_s < self._hold_until_s)
        return 0.005 if waiting else None

    def _follow_interrupt(self, passed_s: float, child: Child) -> None:
        shared = self.shared
        if shared.interrupt and not self.in_main and self._at_prompt(child):
            shared.interrupt = 0  # the code it was for has ended by itself
            with contextlib.suppress(BlockingIOError):
                os.write(child.terminal, b"\x03")
        if self._nudged:
            if self.in_main or not self._at_prompt(child):
                self.kill_wanted = passed_s > GIVE_UP_S
                if not self.kill_wanted:
                    return
            self._interrupted_s = None
        elif shared.interrupt:
            if passed_s > NUDGE_S:
                shared.interrupt = 0
                self._nudged = True
                child.interrupt()
        elif passed_s > SETTLE_S or (not self.in_main and self._at_prompt(child)):
            self._interrupted_s = None
            self._hold_until_s = 0.0

    # -- a new interpreter --------------------------------------------------------------------------------------------

    def attach(self, child: Child, raw: bool) -> None:
        """Connect a new interpreter; with `raw`, bring it to the raw prompt and hide that from the host."""
        self.child = child
        self.in_main = True
        self.raw_prompt, self._raw_runs, self._last = raw, False, b""
        self._binary = False
        self._skip_to_banner, self._skipped = raw, b""
        self._hold_until_s, self._interrupted_s, self._nudged, self.kill_wanted = 0.0, None, False, False
        self.shared.interrupt, self.shared.interrupt_char = 0, CTRL_C
        self.shared.in_tail = self.shared.in_head
        if raw:
            os.write(child.terminal, b"\x01")

    def main_ended(self) -> None:
        """Pass input that main.py did not read to the prompt."""
        self.take_rest()
        self._pending[:0] = self.shared.unread()
        self.in_main = False

    def close(self) -> None:
        """Unplug the cable."""
        os.close(self.host)
        os.close(self.host_end)
