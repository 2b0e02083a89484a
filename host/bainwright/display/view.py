"""Showing a hold: a full screen on a terminal, plain lines elsewhere. Drawing is a pure function of the scene."""

from __future__ import annotations

import contextlib
import io
import time
from collections.abc import Callable
from typing import IO, Protocol, Self, TextIO, cast

from rich.console import Console, RenderableType
from rich.live import Live

from bainwright.core.terminal import GuardedStream, Unhurried, drawing, unhurried, visible
from bainwright.core.units import clock_words
from bainwright.display import screen
from bainwright.display.scene import Scene
from bainwright.link.messages import Status

RING_S = 30.0  # chosen: it rings again after this while the warmer waits for an answer
REFRESH_S = 0.1  # chosen: ten pictures a second look fluent; more only cost time
QUIET_S = 5.0  # a live board reports every second; a simulated one's time may run faster than ours
PLAIN_STEP_S = 600.0  # chosen: a plain line every ten minutes of the hold


class View(Protocol):
    """Something that shows a hold."""

    def __enter__(self) -> View:
        """Take over the terminal."""

    def __exit__(self, *_: object) -> None:
        """Give the terminal back."""

    def refresh(self, scene: Scene) -> None:
        """Show the scene; called often, redraws when it is due."""

    def event(self, t_s: float, text: str) -> None:
        """Show an event."""

    def say(self, text: str) -> None:
        """Print a line that is not part of the hold's course."""


class NoView(View):
    """A view that shows nothing."""

    def __enter__(self) -> View:
        return self

    def __exit__(self, *_: object) -> None:
        """Show nothing."""

    def refresh(self, scene: Scene) -> None:
        """Show nothing."""

    def event(self, t_s: float, text: str) -> None:
        """Show nothing."""

    def say(self, text: str) -> None:
        """Show nothing."""


class ViewInFront:
    """A view in front of another one, which does all that this one does not; it knows when the board last reported.

    Parameters
    ----------
    view : View
        What shows the hold.
    clock_s : callable
        A clock that never goes back.
    """

    def __init__(self, view: View, clock_s: Callable[[], float]) -> None:
        self._view, self._clock_s = view, clock_s
        self._status: Status | None = None
        self._reported_s = self._next_s = clock_s()

    def __enter__(self) -> Self:
        self._view.__enter__()
        return self

    def __exit__(self, *details: object) -> None:
        self._view.__exit__(*details)

    def refresh(self, scene: Scene) -> None:
        """Show the scene."""
        self._view.refresh(scene)

    def event(self, t_s: float, text: str) -> None:
        """Show an event."""
        self._view.event(t_s, text)

    def say(self, text: str) -> None:
        """Print a line."""
        self._view.say(text)

    def _now_s(self, scene: Scene) -> float:
        """The time, after a look whether the board has reported."""
        now_s = self._clock_s()
        if scene.status != self._status:
            self._status, self._reported_s = scene.status, now_s
        return now_s

    def _add(self, scene: Scene, text: str) -> None:
        """Show an event of the PC's own, at its own time also while the board is silent."""
        silent_s = self._clock_s() - self._reported_s
        t_s = scene.t_s + (silent_s if silent_s > QUIET_S else 0.0)
        scene.events.append((t_s, text))
        self._view.event(t_s, text)


class Bell:
    """Decides when the terminal rings: once when the warmer asks for somebody, and again until it is answered.

    Parameters
    ----------
    quiet : bool
        Never ring.
    """

    def __init__(self, quiet: bool) -> None:
        self._quiet = quiet
        self._prompt = ""
        self._next_s = 0.0

    def due(self, scene: Scene, now_s: float) -> bool:
        """Ring now?"""
        if self._quiet or not scene.calling or scene.status is None:
            self._prompt = ""
            return False
        prompt = f"{scene.status.ask} {scene.status.fault}"
        if prompt == self._prompt and now_s < self._next_s:
            return False
        self._prompt, self._next_s = prompt, now_s + RING_S
        return True


class FullScreen:
    """The whole terminal, redrawn ten times a second at most.

    Parameters
    ----------
    console : Console
        Where to draw.
    big : bool
        Large digits instead of the whole picture.
    keys : str
        What each key does.
    keys_alone : str
        What the keys do that need no board.
    bell : Bell
        When to ring.
    """

    def __init__(self, console: Console, big: bool, keys: str, keys_alone: str, bell: Bell) -> None:
        self._console, self._keys, self._keys_alone, self._bell = console, keys, keys_alone, bell
        self._draw: Callable[[Scene, int, int, str], RenderableType] = screen.draw_big if big else screen.draw
        self._live = Live(console=console, screen=True, auto_refresh=False)
        self._next_s = 0.0
        self._later: list[str] = []

    def __enter__(self) -> FullScreen:
        begin(self._console.file)
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(OSError):
            self._live.stop()
            for text in self._later:
                self._console.print(text, markup=False)
        finish(self._console.file)

    def refresh(self, scene: Scene) -> None:
        """Draw, unless the last drawing is more recent than `REFRESH_S`, or the terminal has not taken it yet."""
        now_s = time.monotonic()
        if now_s >= self._next_s and not getattr(self._console.file, "busy", False):
            self._next_s = now_s + REFRESH_S
            width, height = self._console.size
            keys = self._keys_alone if scene.searching else self._keys
            with contextlib.suppress(OSError):  # the terminal was closed: the hold continues
                self._live.update(self._draw(scene, width, height, keys), refresh=True)
                if self._bell.due(scene, now_s):
                    self._console.bell()

    def event(self, t_s: float, text: str) -> None:
        """Events are part of the scene."""

    def say(self, text: str) -> None:
        """Print it after the terminal is given back: the screen would wipe it."""
        self._later.append(visible(text))


class PlainLines:
    """One line for each event, and a line of progress every few minutes of the hold.

    Parameters
    ----------
    out : TextIO
        Where the lines go.
    bell : Bell, optional
        When to ring, where `out` is a terminal.
    """

    def __init__(self, out: TextIO, bell: Bell | None = None) -> None:
        self._out, self._bell = out, bell or Bell(quiet=True)
        self._next_s = 0.0
        self._asked = ""  # the prompt at the last line of progress

    def __enter__(self) -> PlainLines:
        begin(self._out)
        return self

    def __exit__(self, *_: object) -> None:
        finish(self._out)

    def refresh(self, scene: Scene) -> None:
        """Print a line of progress when it is due, and ring."""
        if self._out.isatty() and self._bell.due(scene, time.monotonic()):
            print("\a", end="", file=self._out, flush=True)
        again = scene.t_s < self._next_s - PLAIN_STEP_S  # another hold, which began later
        if scene.status is not None and (scene.t_s >= self._next_s or again):
            self._next_s = (scene.t_s // PLAIN_STEP_S + 1) * PLAIN_STEP_S
            self.event(scene.t_s, screen.one_line(scene))
            if scene.prompt and scene.status.ask == self._asked:  # repeated until it is answered
                self.event(scene.t_s, f"still: {scene.prompt}")
            self._asked = scene.status.ask

    def event(self, t_s: float, text: str) -> None:
        """Print a line with its time in the hold."""
        self.say(f"{clock_words(t_s):>8}  {text}")

    def say(self, text: str) -> None:
        """Print a line. Where nobody reads any more, the hold continues."""
        try:
            self._out.write(f"{text}\n")  # whole: a line is taken or left out
            self._out.flush()
        except OSError:
            self._out = io.StringIO()


def choose_view(out: TextIO, *, full: bool, big: bool, keys: str, keys_alone: str, quiet: bool = False) -> View:
    """The full screen where stdin and stdout are a terminal, else plain lines."""
    plainly = isinstance(out, GuardedStream)
    drawn = unhurried(drawing(out))
    console, bell = Console(file=drawn, highlight=False), Bell(quiet)
    if full and console.is_terminal and not console.is_dumb_terminal:
        return FullScreen(console, big, keys, keys_alone, bell)
    return PlainLines(cast(TextIO, GuardedStream(drawn)) if plainly else drawn, bell)


def begin(out: IO[str]) -> None:
    """From now on the hold does not wait for it; see `Unhurried`."""
    if isinstance(stream := drawing(cast(TextIO, out)), Unhurried):
        stream.begin()


def finish(out: IO[str]) -> None:
    """The hold is over."""
    if isinstance(stream := drawing(cast(TextIO, out)), Unhurried):
        stream.finish()
