"""Watches, at a terminal or through a pipe, a hold that another program runs."""

from __future__ import annotations

import math
import queue
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from typing import TextIO

from msgspec import structs

from bainwright.alarms.rules import Coming
from bainwright.core.keys import Interrupts, Keys
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.evening import acts
from bainwright.evening.acts import Act, Reply
from bainwright.evening.keyboard import LAPSES_S
from bainwright.link.stopping import NOT_OFF
from bainwright.live import feeds
from bainwright.live.frame import Frame
from bainwright.live.joining import Joined
from bainwright.live.latest import STALE_S, Shown
from bainwright.live.now import now_of
from bainwright.record.columns import HEADER, row

TURN_S = 0.05
FEW = 16  # frames on their way to a pipe; then whoever runs the hold notices that this one reads slowly
SHOWS_S = 20.0  # a reply stays among the events for this long
ANSWERS_S = 2.0  # chosen: a reply comes within a second
NO_ANSWER = "no answer yet; an act that is not begun within seconds is not done later"
KEY_LEAVE = "Ctrl-C stop watching"
KEYS = (
    "y yes  n no, it thickens  d it thins  r refill  b bowl off/on  t test  e end of dipping  u step back  w pause  "
    f"k lock  {KEY_LEAVE}"
)
OVER = "the hold is over"
UNWATCHED = "nobody watches the warmer any more, and it may still hold; bain hold --join watches it"
RESTARTED = "the warmer restarted, and its heat is off until somebody says yes there; bain hold --join watches it then"
UNANSWERED = "the hold has ended, and nobody answered its alarm: look at the warmer"
LEFT = "you stopped watching; the hold continues"
ENDED = "the program that ran the hold has ended; if the warmer still holds, bain hold --join watches it"
ALONE = (UNWATCHED, ENDED)  # the warmer may hold on, and nobody watches it any more
NOT_WELL = (*ALONE, UNANSWERED, RESTARTED, NOT_OFF)
HANGS = "no word from the program that runs the hold for {:.0f} s; what you see is old"
MAY_HEAT = "; the warmer may still heat: look at it"
SPEAKS = "the program that runs the hold speaks again, after some {:.0f} s"


class Troubles:
    """What lines tell of a trouble: once when it begins, and once when it is over. A full screen shows it meanwhile."""

    def __init__(self) -> None:
        self._trouble, self._quiet_s = "", 0.0

    def news(self, scene: Scene | None, quiet_s: float) -> str:
        """What to print now; mostly nothing.

        Parameters
        ----------
        scene : Scene or None
            The last one; None before the first.
        quiet_s : float
            How long the program that runs the hold has sent nothing.
        """
        hung_s, self._quiet_s = self._quiet_s, quiet_s if quiet_s >= STALE_S else 0.0
        if self._quiet_s:
            return "" if hung_s else HANGS.format(quiet_s) + MAY_HEAT
        before, self._trouble = self._trouble, "" if scene is None or scene.searching else scene.trouble
        if hung_s:
            return SPEAKS.format(hung_s)
        if bool(before) != bool(self._trouble):
            return self._trouble or f"over: {before}"
        return ""


class Watching:
    """Shows a joined hold in a view, and sends what the keys ask for.

    Parameters
    ----------
    joined : Joined
        The hold.
    view : View
        Where to show it.
    coming : Coming, optional
        Learns that somebody is on their way: then calls from here rest as well.
    """

    def __init__(self, joined: Joined, view: View, coming: Coming | None = None) -> None:
        self._joined, self._view, self._coming = joined, view, coming
        self._comes = False
        self._frame: Frame | None = None  # replaced whole by the thread that reads
        self._shown: Frame | None = None
        self._came_s = time.monotonic()
        self._troubles = Troubles()
        self._seen: set[tuple[float, str]] | None = None
        self._said: list[tuple[float, str, float]] = []  # time of the hold, words, until when
        self._waiting: list[Future[Reply]] = []
        self._unanswered: list[tuple[Future[Reply], float]] = []  # and when this is to be said
        self._ends_until_s = -math.inf  # the question whether the dipping is over is open

    def run(self) -> str:
        """Watch until the hold is over or the person leaves; returns which of both, in words."""
        reader = threading.Thread(target=self._read, daemon=True)
        with self._view, Keys() as keys, Interrupts() as interrupts:
            reader.start()
            while reader.is_alive() and not (interrupts.count or interrupts.go):
                self._turn(keys.pressed())
                time.sleep(TURN_S)
            self._turn("")
            left = reader.is_alive()
        self._joined.close()
        return LEFT if left else end_of(self._frame)

    def _read(self) -> None:
        for frame in self._joined.frames():
            self._frame, self._came_s = frame, time.monotonic()

    def _turn(self, key: str) -> None:
        now_s, frame = time.monotonic(), self._frame
        quiet_s = 0.0 if frame is not None and frame.over else now_s - self._came_s
        if frame is None:
            if news := self._troubles.news(None, quiet_s):
                self._view.say(news)
            return
        scene = frame.scene
        if news := self._troubles.news(scene, quiet_s):
            self._view.event(scene.t_s, news)
        if frame.coming and not self._comes and self._coming is not None:
            self._coming.say(now_s)
        self._comes = frame.coming
        for text in [reply.result().words for reply in self._waiting if reply.done()]:
            self._say(scene.t_s, text, now_s)
        self._waiting = [reply for reply in self._waiting if not reply.done()]
        if any(not reply.done() and now_s > at_s for reply, at_s in self._unanswered):
            self._say(scene.t_s, NO_ANSWER, now_s)
        self._unanswered = [(reply, at_s) for reply, at_s in self._unanswered if not reply.done() and now_s <= at_s]
        self._press(frame, key, now_s)
        self._show_events(frame)
        self._said = [each for each in self._said if now_s < each[2]]
        for t_s, text, _ in self._said:
            if (t_s, text) not in scene.events:
                scene.events.append((t_s, text))
        scene.unheard_s = quiet_s if quiet_s >= STALE_S else 0.0
        if scene.unheard_s:
            scene.trouble = HANGS.format(quiet_s)
        self._view.refresh(scene)

    def _press(self, frame: Frame, key: str, now_s: float) -> None:
        scene = frame.scene
        act = acts.of_key(key, scene) if key and scene.status is not None else None
        if now_s < self._ends_until_s:
            self._ends_until_s = -math.inf if key else self._ends_until_s
            if act is not None and act.name == "finish":
                self._send(act, "")
        elif act is not None and act.final:
            self._ends_until_s = now_s + LAPSES_S
            self._say(scene.t_s, acts.end_question(scene), now_s)
        elif act is not None and scene.status is not None:
            self._send(act, scene.status.ask)

    def _send(self, act: Act, seen: str) -> None:
        reply = self._joined.act(act.name, seen)
        self._waiting.append(reply)
        self._unanswered.append((reply, time.monotonic() + ANSWERS_S))

    def _say(self, t_s: float, text: str, now_s: float) -> None:
        self._said.append((t_s, text, now_s + SHOWS_S))
        self._view.event(t_s, text)

    def _show_events(self, frame: Frame) -> None:
        """Show the events since the last frame; those before the first were read elsewhere.

        Once a frame: later its scene has what this terminal added.
        """
        if frame is self._shown:
            return
        self._shown, events = frame, list(frame.scene.events)
        if self._seen is not None:
            for t_s, text in events:
                if (t_s, text) not in self._seen:
                    self._view.event(t_s, text)
        self._seen = set(events)


def end_of(last: Frame | None) -> str:
    """How a hold ended whose last frame this is: over, left to itself, or without a word from its program."""
    if last is None or not last.over:
        return ENDED
    known = {"": OVER, "unanswered": UNANSWERED, "restarted": RESTARTED, "not_off": NOT_OFF}
    return known.get(last.scene.unwatched, UNWATCHED)


def stream(joined: Joined, out: TextIO, say: Callable[[str], None], *, as_csv: bool) -> str:
    """Write each report of the board as one line, until the hold is over; as JSON also one that got old.

    Parameters
    ----------
    joined : Joined
        The hold.
    out : TextIO
        Where to.
    say : callable
        Tells a person what no line of `out` does: that board or program are silent.
    as_csv : bool
        Rows as in the hold's log, after a header; else a JSON object a line, with the fields of ``/api/now`` but the
        history.

    Returns
    -------
    str
        How it ended; see `end_of`.
    """
    if as_csv:
        print(HEADER, file=out, flush=True)
    last, frame, troubles = None, None, Troubles()
    for frame, quiet_s in _with_silences(joined):
        if news := troubles.news(frame.scene if frame else None, quiet_s):
            say(news)
        if frame is None:
            continue
        if quiet_s:
            frame.scene.trouble = HANGS.format(quiet_s)
        status = frame.scene.status
        if as_csv and status is not None and status != last:
            print(row(status.t, status), end="", file=out, flush=True)
        shown = Shown(now_of(frame.scene, over=frame.over, coming=frame.coming), 0, frame.age_s)
        if not as_csv and (status != last or shown.old or frame.over):
            print(feeds.as_line(shown, joined.hello.warmer), file=out, flush=True)
        last = status
    return end_of(frame)


def _with_silences(joined: Joined) -> Iterator[tuple[Frame | None, float]]:
    """Each frame as it comes, with 0; while none comes, the last one again every few seconds, and for how long."""
    came: queue.Queue[Frame | None] = queue.Queue(FEW)

    def read() -> None:
        for frame in joined.frames():
            came.put(frame)
        came.put(None)

    threading.Thread(target=read, daemon=True).start()
    last: Frame | None = None
    came_s = time.monotonic()
    while True:
        try:
            following = came.get(timeout=STALE_S)
        except queue.Empty:
            quiet_s = time.monotonic() - came_s
            yield last and structs.replace(last, age_s=last.age_s + quiet_s), quiet_s
            continue
        if following is None:
            return
        last, came_s = following, time.monotonic()
        yield last, 0.0
