"""Progress on a terminal and without one, by a clock of the test's own."""

import io
import sys
import threading

import pytest

from bainwright.core import progress as module
from bainwright.core.progress import WIDTH, Progress, bar_line, progress


class Screen(io.StringIO):
    """A stream that says whether it is a terminal."""

    def __init__(self, terminal, encoding="utf-8"):
        super().__init__()
        self._terminal, self._named = terminal, encoding

    @property
    def encoding(self):
        return self._named

    def isatty(self):
        return self._terminal


def shown(stream, steps, total=100.0):
    """What the stream got when so much was done at each time."""
    now = [0.0]
    with Progress("choosing gains", total, stream, lambda: now[0]) as progress:
        for at_s, done in steps:
            now[0] = at_s
            progress.to(done)
    return stream.getvalue()


def test_a_bar_fills_with_its_share_and_shows_the_time_left():
    """A quarter done in 10 s leaves 30 s."""
    line = bar_line("choosing gains", 25.0, 100.0, 10.0, "#.")
    assert line == "choosing gains " + "#" * (WIDTH // 4) + "." * (WIDTH - WIDTH // 4) + " 25 %, about 30 s left"
    assert len(line) <= 80


@pytest.mark.parametrize("done", [-1.0, 0.0, 100.0, 250.0])
def test_the_share_stays_between_none_and_all(done):
    line = bar_line("x", done, 100.0, 1.0, "#.")
    assert len(line.split()[1]) == WIDTH
    assert line.split()[2] in ("0", "100")


def test_on_a_terminal_it_is_redrawn_in_place_and_gone_at_the_end():
    text = shown(Screen(terminal=True), [(0.05, 1), (1.0, 10), (4.0, 50)])
    assert text.count("\r") == 4  # at the start, twice, and cleared: 0.05 s is too soon
    assert "\n" not in text
    assert text.endswith("\r\033[K")


def test_a_terminal_without_our_letters_gets_plain_ones():
    text = shown(Screen(terminal=True, encoding="ascii"), [(1.0, 50)])
    assert "#" in text
    assert text.isascii()


def test_without_a_terminal_a_line_comes_after_two_seconds_and_then_each_ten():
    """1 to 25 s, a hundredth of the job each 0.5 s: lines at 2, 12 and 22 s."""
    text = shown(Screen(terminal=False), [(0.5 * n, 2.0 * n) for n in range(1, 51)])
    assert text == (
        "bain: choosing gains: 8 %, about 23 s left\n"
        "bain: choosing gains: 48 %, about 13 s left\n"
        "bain: choosing gains: 88 %, about 3 s left\n"
    )


def test_a_job_of_two_seconds_says_nothing_without_a_terminal():
    assert shown(Screen(terminal=False), [(0.5, 30), (1.9, 100)]) == ""


def test_a_job_of_unknown_length_shows_the_time_that_passed():
    assert shown(Screen(terminal=False), [(70.0, 0)], total=0.0) == "bain: choosing gains: 70 s so far\n"


def test_a_job_that_cannot_say_how_far_it_is_shows_its_time_all_the_same(monkeypatch):
    """The job waits until the thread has redrawn three times, and reports nothing itself."""
    redrawn = threading.Semaphore(0)
    monkeypatch.setattr(module, "TICK_S", 0.001)
    monkeypatch.setattr(sys, "stderr", screen := Screen(terminal=True))
    monkeypatch.setattr(Progress, "tick", lambda shown: redrawn.release())
    with progress("drawing the picture"):
        for _ in range(3):
            assert redrawn.acquire(timeout=60.0)
    assert screen.getvalue().startswith("\rdrawing the picture: 0 s")
    assert screen.getvalue().endswith("\r\033[K")


def test_time_that_passes_is_shown_with_what_was_done_before():
    now = [0.0]
    screen = Screen(terminal=False)
    shown = Progress("choosing gains", 100.0, screen, lambda: now[0])
    shown.to(25.0)
    now[0] = 10.0
    shown.tick()
    assert screen.getvalue() == "bain: choosing gains: 25 %, about 30 s left\n"
