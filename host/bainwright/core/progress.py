"""The one look of progress: a bar that is redrawn on a terminal, a plain line now and then anywhere else.

A thread redraws it once a second, so that a job that cannot say how far it is shows at least how long it takes.
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import TracebackType
from typing import TextIO

from bainwright.core.terminal import drawing, takes
from bainwright.core.units import duration_words

QUIET_S = 2.0  # chosen: what takes no longer needs no word
REDRAW_S = 0.1  # chosen: ten times a second looks steady
TICK_S = 1.0  # chosen: a second is the finest time shown
PLAIN_S = 10.0  # chosen: a log file is read afterwards, and every line costs a look
WIDTH = 24  # cells of the bar; with the longest label and the time left it fits into 80 columns
LEAST_DONE = 0.02  # chosen: a time left from less than this is a guess


class Progress:
    """One job's progress, on stderr.

    Parameters
    ----------
    what : str
        The job, as a person would say it: "choosing gains".
    total : float
        How much there is to do, in any unit; 0 when that is unknown, and then only the time that passed is shown.
    stream : file, optional
        Where to show it; stderr by default.
    clock : callable, optional
        Seconds that pass.
    """

    def __init__(self, what: str, total: float, stream: TextIO | None = None,
                 clock: Callable[[], float] = time.monotonic) -> None:  # fmt: skip
        self._what, self._total = what, total
        self._stream = drawing(sys.stderr) if stream is None else stream
        self._clock = clock
        self._began_s, self._shown_s = clock(), -PLAIN_S
        self._terminal = self._stream.isatty()
        self._drawn = False
        self._done = 0.0
        self._lock = threading.Lock()

    def to(self, done: float) -> None:
        """Report how much is done."""
        with self._lock:
            self._done = done
            self._redraw()

    def tick(self) -> None:
        """Time has passed."""
        with self._lock:
            self._redraw()

    def _redraw(self) -> None:
        done, now_s = self._done, self._clock()
        passed_s = now_s - self._began_s
        if self._terminal:
            if now_s - self._shown_s >= REDRAW_S:
                self._show("\r" + bar_line(self._what, done, self._total, passed_s, _cells(self._stream)) + "\033[K",
                           now_s)  # fmt: skip
                self._drawn = True
        elif passed_s >= QUIET_S and now_s - self._shown_s >= PLAIN_S:
            self._show("bain: " + plain_line(self._what, done, self._total, passed_s) + "\n", now_s)

    def close(self) -> None:
        """Take the bar off the terminal; what comes next says how it went."""
        if self._drawn:
            self._show("\r\033[K", self._clock())
            self._drawn = False

    def __enter__(self) -> Progress:
        """Show at once that it began."""
        self.to(0.0)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:  # fmt: skip
        """Take the bar away, however the job ended."""
        self.close()

    def _show(self, text: str, now_s: float) -> None:
        if not takes(self._stream):  # a job waits for no terminal that is stopped
            return
        self._stream.write(text)
        self._stream.flush()
        self._shown_s = now_s


def remark(text: str) -> None:
    """Say a line beside the work on stderr, where that takes it."""
    with suppress(OSError, ValueError, AttributeError):  # closed
        print(f"bain: {text}", file=sys.stderr, flush=True)


@contextmanager
def progress(what: str, total: float = 0.0) -> Iterator[Callable[[float], None]]:
    """Show a job's progress while it runs; yields what takes how much is done."""
    over = threading.Event()
    with Progress(what, total) as shown:
        ticker = threading.Thread(target=_tick, args=(shown, over), daemon=True)
        ticker.start()
        try:
            yield shown.to
        finally:
            over.set()
            ticker.join()


def _tick(shown: Progress, over: threading.Event) -> None:
    while not over.wait(TICK_S):
        shown.tick()


def bar_line(what: str, done: float, total: float, passed_s: float, cells: str) -> str:
    """A bar with its share and the time left, for a terminal. Pure.

    Parameters
    ----------
    what : str
        The job.
    done, total : float
        How much is done, and of how much; a total of 0 is unknown.
    passed_s : float
        Seconds since it began.
    cells : str
        The two letters of the bar, full and empty.
    """
    if total <= 0:
        return f"{what}: {duration_words(passed_s)}"
    share = min(1.0, max(0.0, done / total))
    full = round(share * WIDTH)
    return f"{what} {cells[0] * full}{cells[1] * (WIDTH - full)} {_words(share, passed_s)}"


def plain_line(what: str, done: float, total: float, passed_s: float) -> str:
    """The same as a line of text."""
    if total <= 0:
        return f"{what}: {duration_words(passed_s)} so far"
    return f"{what}: {_words(min(1.0, max(0.0, done / total)), passed_s)}"


def _words(share: float, passed_s: float) -> str:
    words = f"{100 * share:.0f} %"
    if share < LEAST_DONE or passed_s < QUIET_S:
        return words
    return f"{words}, about {duration_words(passed_s * (1.0 - share) / share)} left"


def _cells(stream: TextIO) -> str:
    return "█░" if (stream.encoding or "").lower().replace("-", "").startswith("utf") else "#."
