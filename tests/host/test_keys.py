"""The keyboard and the signals of a hold, on a real pseudo-terminal and with real signals."""

import os
import signal
import sys
import termios

import pytest

from bainwright.core import keys
from bainwright.core.keys import CTRL_Z, Interrupts, Keys


class Terminal:
    """A person's end of a pseudo-terminal whose other end is our stdin."""

    def __init__(self):
        self.end, self.stdin_end = os.openpty()

    def type(self, keys):
        """Press keys."""
        os.write(self.end, keys)

    def close(self):
        """Close it, once."""
        if self.end is not None:
            os.close(self.end)
            self.end = None


@pytest.fixture
def terminal(monkeypatch):
    """A terminal as our stdin."""
    terminal = Terminal()
    with open(terminal.stdin_end) as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        yield terminal
    terminal.close()


def test_a_key_comes_without_enter_and_only_once(terminal):
    """In lower case; a second look finds nothing."""
    with Keys() as keys:
        terminal.type(b"R")
        assert keys.there
        pressed = ""
        while not pressed:
            pressed = keys.pressed()
        assert pressed == "r"
        assert keys.pressed() == ""


def test_ctrl_z_is_a_key_and_stops_no_program(terminal):
    """A stopped one wrote no row and called nobody, while the warmer heated. Ctrl-C and Ctrl-\\ stay as they were."""
    before = termios.tcgetattr(sys.stdin)
    with Keys() as keys:
        now = termios.tcgetattr(sys.stdin)
        terminal.type(b"\x1a")
        pressed = ""
        while not pressed:
            pressed = keys.pressed()
        assert pressed == CTRL_Z
    assert now[6][termios.VSUSP] == os.fpathconf(sys.stdin, "PC_VDISABLE").to_bytes(1, "little")
    assert now[3] & termios.ISIG
    assert now[6][termios.VINTR] == before[6][termios.VINTR]
    assert termios.tcgetattr(sys.stdin) == before


# As xterm and the Linux console send them (xterm's "Control Sequences" and console_codes(4), from memory).
NO_KEYS = {
    "up": b"\x1b[A", "down": b"\x1b[B", "right": b"\x1b[C", "left": b"\x1b[D", "keypad down": b"\x1bOB",
    "F1": b"\x1bOP", "F3": b"\x1bOR", "F4": b"\x1bOS", "F1, console": b"\x1b[[A", "F5": b"\x1b[15~",
    "delete": b"\x1b[3~", "shift with up": b"\x1b[1;2A", "alt with y": b"\x1by", "alt with down": b"\x1b\x1b[B",
    "its answer": b"\x1b[?62;22c", "cursor's place": b"\x1b[24;80R", "mouse": b"\x1b[<64;10;5M",
    "old mouse": b"\x1b[Mbdr", "colour": b"\x1b]11;rgb:d/d/d\x07", "its name": b"\x1bP>|bdr\x1b\\",
    "cut short": b"\x1b[1\x1b[B", "escape": b"\x1b", "focus": b"\x1b[I",
}  # fmt: skip


@pytest.mark.parametrize("sent", NO_KEYS.values(), ids=NO_KEYS)
def test_a_key_without_a_letter_is_no_act(terminal, sent, monkeypatch):
    """Its letters took the ceiling off a bowl in its bath, or stopped a hold; the key after it counts."""
    monkeypatch.setattr(keys, "TOGETHER_S", 0.0)  # all is there at once
    with Keys() as pressing:
        terminal.type(sent)
        assert pressing.pressed() == ""
        terminal.type(b"y")
        assert pressing.pressed() == "y"


def test_the_terminal_is_given_back_as_it_was(terminal):
    """Echo and line by line."""
    before = termios.tcgetattr(sys.stdin)
    with Keys():
        assert termios.tcgetattr(sys.stdin) != before
    assert termios.tcgetattr(sys.stdin) == before


def test_a_closed_terminal_is_nobody_and_no_error(terminal):
    """Neither when it is read nor when it is given back."""
    with Keys() as keys:
        terminal.close()
        assert keys.pressed() == ""


def test_without_a_terminal_nobody_is_there(monkeypatch, tmp_path):
    """A file is not a keyboard."""
    (tmp_path / "in").write_text("r")
    with open(tmp_path / "in") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        with Keys() as keys:
            assert not keys.there
            assert keys.pressed() == ""


def test_ctrl_c_is_counted_however_often_it_comes_and_throws_only_where_nobody_served_the_first(monkeypatch):
    """A key that is held down sends ten before a board can answer; then comes the ordinary way out."""
    with Interrupts() as interrupts:
        for count in range(1, 11):
            signal.raise_signal(signal.SIGINT)
            assert interrupts.count == count
        monkeypatch.setattr(keys, "LAST_RESORT_S", -1.0)
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)


def test_a_signal_to_end_is_noted_and_the_handlers_are_restored():
    """SIGTERM and SIGHUP."""
    before = signal.getsignal(signal.SIGTERM)
    for number in (signal.SIGTERM, signal.SIGHUP):
        with Interrupts() as interrupts:
            signal.raise_signal(number)
            assert (interrupts.go, interrupts.count) == (True, 0)
    assert signal.getsignal(signal.SIGTERM) == before


def test_signals_have_their_ordinary_effect_until_they_are_counted(request):
    """Then they are counted: also where the ordinary effect came before."""
    ordinary = signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job ignores Ctrl-C
    request.addfinalizer(lambda: signal.signal(signal.SIGINT, ordinary))
    with pytest.raises(KeyboardInterrupt), Interrupts(counting=False):
        signal.raise_signal(signal.SIGINT)
    with Interrupts(counting=False) as interrupts:
        interrupts.counting = True
        signal.raise_signal(signal.SIGINT)
        assert interrupts.count == 1
