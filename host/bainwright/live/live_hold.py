"""A hold that runs in this program, for whoever watches: its latest moment, and the ways to it."""

from __future__ import annotations

from collections.abc import Callable
from types import TracebackType
from typing import Protocol

from bainwright.alarms.rules import Coming, Standing, cause_of
from bainwright.display.scene import Scene
from bainwright.evening.acts import Inbox
from bainwright.live.frame import Hello
from bainwright.live.joining import names_running
from bainwright.live.latest import Latest
from bainwright.live.mqtt_topics import homie_id
from bainwright.live.now import now_of
from bainwright.live.sharing import Sharing


class Follower(Protocol):
    """Something that follows the hold's latest moment from a thread of its own."""

    def start(self, warmer: str) -> None:
        """The hold runs on this warmer."""

    def stop(self) -> None:
        """It is over."""

    def trouble(self) -> str:
        """Why it does not follow now; empty while it does."""


class LiveHold:
    """One hold, from `with` to its end.

    Attributes
    ----------
    latest : Latest
        Its latest moment, for pages of this program.
    inbox : Inbox
        Where acts from outside the keyboard go.
    coming : Coming
        Whether somebody is on their way to the warmer.
    warmer : str
        The warmer's name; empty until the hold is shared.
    troubles : list of callable
        Each gives a sentence once a way to watch is gone, else an empty text.
    """

    def __init__(self) -> None:
        self.latest, self.inbox, self.coming, self.warmer = Latest(), Inbox(), Coming(), ""
        self._standing = Standing()  # what calls for a person, and since when
        self._followers: list[Follower] = []
        self._sharing = Sharing(self.inbox, self.coming)
        self.troubles: list[Callable[[], str]] = [lambda: self._sharing.trouble]

    def __enter__(self) -> LiveHold:
        return self

    def __exit__(self, *details: type[BaseException] | BaseException | TracebackType | None) -> None:
        for each in self._followers:
            each.stop()
        self._sharing.__exit__(*details)

    def follow(self, follower: Follower) -> None:
        """Add a follower, which starts with the hold."""
        self._followers.append(follower)
        self.troubles.append(follower.trouble)

    def share(self, hello: Hello) -> None:
        """Let other programs of this user watch, and start the followers. The hold gets a name of its own if another
        one's warmer has the same name, or a name that makes the same topics.
        """
        name = self.warmer = hello.warmer
        if self._followers and homie_id(name) in map(homie_id, names_running()):  # as topics, several names are one
            name = f"{hello.warmer}-{hello.process}"
            said = f"published as {name!r}: another hold on this PC is on a warmer of this name, or of one like it"
            self.troubles.append(lambda: said)
        self._sharing.start(hello)
        for each in self._followers:
            each.start(name)

    def put(self, scene: Scene, reported_s: float, now_s: float, *, over: bool = False) -> None:
        """Replace the latest moment; `reported_s` is when the board last reported."""
        cause = cause_of(scene, now_s - reported_s)
        coming = self.coming.said(now_s, self._standing.since_s(cause.cause if cause else "", now_s))
        self.latest.put(now_of(scene, over=over, coming=coming), reported_s)
        self._sharing.put(scene, max(0.0, now_s - reported_s), over=over, coming=coming)
        if over:
            self.inbox.close()

