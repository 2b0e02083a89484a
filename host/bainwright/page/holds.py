"""The holds that a page shows: the one that runs in this program, and those that other programs of this user run."""

from __future__ import annotations

import math
import os
import secrets
import threading
import time
from concurrent.futures import Future
from pathlib import Path
from types import TracebackType
from typing import Protocol

from msgspec import structs

from bainwright.core.errors import LinkError
from bainwright.core.user_folder import lives, process_of
from bainwright.evening.acts import COMES, COMING, Act, Reply
from bainwright.live.joining import Joined, sockets
from bainwright.live.latest import PROGRAM, STALE_S, Latest, Shown
from bainwright.live.live_hold import LiveHold
from bainwright.live.now import MAY_HEAT, now_of

LOOK_S = 2.0  # chosen: a hold that starts is on the page before the person has looked for it
STAYS_S = 3600.0  # chosen: the end of a hold is read within an hour; later it is among the past ones
ANSWERED = Reply(True, "Good. This alarm is over, on every phone of this page. The PC does not watch the warmer.")
KILLED = "the program on the PC that ran this hold has ended; bain hold --join watches the warmer again"
OVERLAPS_S = 60.0  # chosen: a program that ends may draw its picture for so long, while the next one has begun
MOST_HOLDS = 8  # chosen: more warmers than a kitchen has
NO_NAME = "warmer"  # before the board has answered, and for a rig without a name


class Hold(Protocol):
    """One hold as a page sees it; `key` tells it from the next one on the same warmer."""

    key: str

    def shown(self) -> Shown | None:
        """Its latest moment; None before the first."""

    def act(self, act: Act, seen: str) -> Future[Reply]:
        """Hand an act over; raises `queue.Full` where too many wait."""

    def come(self) -> Future[Reply]:
        """Somebody is on their way."""


class OwnHold:
    """The hold that runs in this program."""

    def __init__(self, hold: LiveHold) -> None:
        self._hold, self.key = hold, secrets.token_hex(4)

    def shown(self) -> Shown | None:
        """Its latest moment."""
        return self._hold.latest.get()

    def act(self, act: Act, seen: str) -> Future[Reply]:
        """Into its inbox."""
        return self._hold.inbox.put(act, seen)

    def come(self) -> Future[Reply]:
        """Done at once."""
        self._hold.coming.say(time.monotonic())
        return _answered(self._hold.latest) or _at_once(COMES)


class JoinedHold:
    """A hold that another program runs. Its last moment stays once that program has ended: as one that nobody watches,
    if the hold was not over.

    Attributes
    ----------
    names : tuple of str
        What it is called, and was called before: the next hold on its warmer has these names as well.
    """

    def __init__(self, joined: Joined) -> None:
        self._joined, self._latest, self.key = joined, Latest(), secrets.token_hex(4)
        self.names: tuple[str, ...] = ()
        self._joined_s = self._heard_s = time.monotonic()
        self._ended_s = math.inf
        self._thread = threading.Thread(target=self._follow, name="joined", daemon=True)
        self._thread.start()

    @property
    def warmer(self) -> str:
        """The warmer's name."""
        return self._joined.hello.warmer or NO_NAME

    @property
    def ended(self) -> bool:
        """Has its program ended?"""
        return not self._thread.is_alive()

    @property
    def forgotten(self) -> bool:
        """Is nothing of it shown any more: it ended long ago, or before its first moment? One that calls stays."""
        return self.ended and not self.calls and (self.shown() is None or time.monotonic() - self._ended_s > STAYS_S)

    @property
    def calls(self) -> bool:
        """Does it need somebody?"""
        shown = self.shown()
        return shown is not None and shown.calls

    def follows(self, old: JoinedHold) -> bool:
        """Is it the next hold on the warmer of one that ended? Simulated boards have one number, so their port and name
        count, and when it began: an ended program's board is gone.
        """
        mine, others, last = self._joined.hello, old._joined.hello, old.shown()
        if not (old.ended and mine.board) or mine.board != others.board:
            return False
        if last is None or not last.now.virtual:
            return True
        same = mine.port == others.port and mine.warmer == others.warmer
        return same and self._joined_s > old._ended_s - OVERLAPS_S

    def shown(self) -> Shown | None:
        """Its latest moment."""
        shown = self._latest.get()
        hangs = not self.ended and time.monotonic() - self._heard_s > STALE_S
        return shown._replace(silent=PROGRAM) if shown is not None and hangs else shown

    def act(self, act: Act, seen: str) -> Future[Reply]:
        """Over to the other program, which withdraws it in time."""
        return self._joined.act(act.name, seen)

    def come(self) -> Future[Reply]:
        """Over to the other program; once it has ended, done here."""
        return (_answered(self._latest) if self.ended else None) or self._joined.act(COMING, "")

    def close(self) -> None:
        """Leave it."""
        self._joined.close()

    def _follow(self) -> None:
        for frame in self._joined.frames():
            now = now_of(frame.scene, over=frame.over, coming=frame.coming)
            self._heard_s = time.monotonic()
            self._latest.put(now, self._heard_s - frame.age_s)
        self._ended_s = time.monotonic()
        if (last := self._latest.get()) is not None and not last.now.over:
            end = structs.replace(last.now, over=True, unwatched="lost", coming=False, acts=(), trouble=KILLED)
            self._latest.put(end, self._ended_s - last.age_s)


def _answered(latest: Latest) -> Future[Reply] | None:
    """Somebody knows now of a warmer that nobody watches, so it calls no more; None where that is not so."""
    shown = latest.get()
    if shown is None or not (shown.now.unwatched and shown.calls):
        return None
    known = "left" if shown.now.unwatched in MAY_HEAT else ""
    latest.put(structs.replace(shown.now, unwatched=known), time.monotonic() - shown.age_s)
    return _at_once(ANSWERED)


def _at_once(answer: Reply) -> Future[Reply]:
    reply: Future[Reply] = Future()
    reply.set_result(answer)
    return reply


class Holds:
    """All holds of a page, by the warmer's name, from `with` to its end.

    Parameters
    ----------
    own : LiveHold, optional
        The hold that runs in this program.

    Attributes
    ----------
    left_out : int
        How many more run on this PC than there is room for.
    """

    def __init__(self, own: LiveHold | None = None) -> None:
        self._live, self._own = own, OwnHold(own) if own else None
        self._joined: dict[Path, JoinedHold] = {}
        self.left_out = 0
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._look, name="holds", daemon=True)

    def __enter__(self) -> Holds:
        self._find()
        self._thread.start()
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self._ends.set()
        self._thread.join()
        for each in self._joined.values():
            each.close()

    def all(self) -> dict[str, Hold]:
        """Each hold by its warmer's name, with its process where two warmers have one name."""
        found: dict[str, Hold] = {}
        if self._own is not None and self._live is not None:
            found[self._live.warmer or NO_NAME] = self._own
        for path, each in self._joined.items():
            found[each.names[0] if each.names[0] not in found else _by_process(path, each)] = each
        return found

    def named(self, name: str) -> Hold | None:
        """The hold of this name, or of the name that it had beside another one on a warmer of its name."""
        joined = ((path, each) for path, each in self._joined.items())
        return self.all().get(name) or next(
            (each for path, each in joined if name in (*each.names, _by_process(path, each))), None)

    def _look(self) -> None:
        while not self._ends.wait(LOOK_S):
            self._find()

    def _find(self) -> None:
        """Join the holds that are new. One that has ended stays for an hour, and one that calls until somebody answers;
        unless the next one on its warmer comes or its room is needed.
        """
        joined = {path: each for path, each in self._joined.items() if not each.forgotten}
        left_out = 0
        for path in sockets():
            own = self._own is not None and path.stem == str(os.getpid())
            if own or (path in joined and not joined[path].ended):
                continue
            joined = _with_room(joined)
            if len(joined) >= MOST_HOLDS:
                left_out += lives(process_of(path.stem) or 0)
                continue
            try:
                new = JoinedHold(Joined(path))
            except LinkError:
                continue
            if (old := joined.pop(path, None)) is not None:  # it ended, and its process had the same number
                joined[path.with_suffix(f".{old.key}")] = old
            new.names = (_free_name(new, path, joined),)
            joined[path] = new
        self.left_out = left_out
        self._joined = _without_followed(joined)  # replaced whole: the page's thread reads it


def _free_name(new: JoinedHold, path: Path, joined: dict[Path, JoinedHold]) -> str:
    """The warmer's name, with its process where another one is called so: a name stays with its warmer."""
    taken = {name for each in joined.values() for name in each.names}
    return new.warmer if new.warmer not in taken else _by_process(path, new)


def _by_process(path: Path, hold: JoinedHold) -> str:
    return f"{hold.warmer}-{path.stem}"


def _without_followed(joined: dict[Path, JoinedHold]) -> dict[Path, JoinedHold]:
    """Those that the next hold on their warmer does not replace; it may begin before the last one has ended."""
    kept = {}
    for path, each in joined.items():
        following = next((one for one in joined.values() if not one.ended and one.follows(each)), None)
        if following is None:
            kept[path] = each
        elif following.warmer == each.warmer:
            following.names = tuple(dict.fromkeys([*each.names, *following.names]))
    return kept


def _with_room(joined: dict[Path, JoinedHold]) -> dict[Path, JoinedHold]:
    """Without the one that ended first, where there is no room for another; one that calls goes last."""
    ended = sorted((path for path, each in joined.items() if each.ended), key=lambda path: joined[path].calls)[:1]
    return joined if len(joined) < MOST_HOLDS else {path: each for path, each in joined.items() if path not in ended}
