"""Running a hold: start it and follow it to its end, through lost cables and a changed pot."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from bainboard import settings
from bainwright import __version__
from bainwright.core.errors import BainError, LinkError, RefusedError
from bainwright.core.home import remember
from bainwright.core.keys import Interrupts, Keys
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.evening import endings
from bainwright.evening.acts import AT_WARMER, Inbox
from bainwright.evening.after_restart import AfterRestart
from bainwright.evening.board_answer import BoardAnswer, ask_board
from bainwright.evening.earlier import Running, earlier
from bainwright.evening.keyboard import Keyboard
from bainwright.evening.options import HoldSetup
from bainwright.evening.prompts import EveningPrompts
from bainwright.evening.starting import Starter
from bainwright.evening.watch import Watch
from bainwright.files.chocolate import window_at
from bainwright.files.score import Window
from bainwright.link.messages import Status
from bainwright.link.session import Session
from bainwright.link.stopping import NOT_STOPPED
from bainwright.record.writer import LiveLog, give_back, make_folder, next_folder
from bainwright.tuning.gains import NAMES
from bainwright.tuning.load_check import LoadCheck

RECONNECT_S = 15 * 60.0  # chosen, at least: time to find the loose cable; a planned hold looks until its planned end
SILENT_S = 5.0  # a live board reports every second; after five missed reports the person should know
DEAF_S = 30.0  # chosen: six times that; then the port is opened again, as a port that stays open may be dead
CLOCK_SHARE = 0.99  # chosen: a board's clock is off by a tenth of that at worst
GONE = "the board is gone: look at the cable. The warmer needs no PC"
NOT_WATCHED_ON = "the warmer's next hold is not watched"
WATCHED_ON = "the warmer runs another hold now, which is watched and recorded from here on"


@dataclass
class Outcome:
    """A hold that is over: its course, its time on the wall clock and facts about the board; and the next hold on its
    warmer, if that was watched too.
    """

    watch: Watch
    wall_s: float
    facts: dict[str, Any]
    later: tuple[Runner, Outcome] | None = None

    def all_of(self, runner: Runner) -> Iterator[tuple[Runner, Outcome]]:
        """This one, which `runner` ran, and those after it."""
        yield runner, self
        if self.later is not None:
            yield from self.later[1].all_of(self.later[0])


def window_of(setup: HoldSetup) -> Window:
    """The chocolate's window as the score and the views use it."""
    return window_at(setup.profile, "melted" if setup.stage == "melted" else "work")


def looks_for_s(planned_s: float) -> float:
    """How long to look for a lost board whose hold has this long to go."""
    return max(RECONNECT_S, planned_s)


class Runner:
    """One hold on one board.

    As a context it counts Ctrl-C from the request to start on; an error in the block before `run` stops the hold.

    Parameters
    ----------
    setup : HoldSetup
        What to hold and how.
    session : Session
        The board.
    view : View
        What the person sees.
    inbox : Inbox, optional
        Acts that come from elsewhere than the keyboard.
    calls : bool
        Does somebody who is away hear the view's alarms? Then a board that restarts is not left at once, and what
        holds on after that is watched.
    """

    def __init__(self, setup: HoldSetup, session: Session, view: View, inbox: Inbox | None = None, *,
                 calls: bool = False) -> None:
        self.setup, self.session, self.view, self._calls = setup, session, view, calls
        self._inbox = inbox or Inbox()
        self._answered = False  # somebody came after the board restarted
        self._again = False  # this hold continues one that was watched
        self.starter = Starter(setup, session)
        self._keyboard = Keyboard(session, view, lambda: self.starter.hello, self._inbox)
        self._interrupts = Interrupts(counting=False)
        self._followed = False
        self._silent_since_s = time.monotonic()
        self._reached = 0.0, time.monotonic()  # the hold's time, ms, and when it had reached it
        self._pot: LoadCheck | None = None  # checks the pot against the gains, where a gains file was given

    def __enter__(self) -> Runner:
        self._interrupts.__enter__()
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is not None and not self._followed and not self.starter.abandon():
            with suppress(OSError):  # the terminal may be closed
                self.view.say(NOT_STOPPED)
        self._interrupts.__exit__()

    @property
    def settings(self) -> dict[str, Any]:
        """The settings the hold runs on."""
        return self.starter.settings

    def prepare(self) -> None:
        """Make the folder for the log, then start the hold or join the one that runs; see `Starter.prepare`.

        Raises
        ------
        BainError
            If there is no place for a log, or the hold does not start. Then no folder is left.
        """
        folder = make_folder(self.setup.folder, self.setup.profile.name)
        try:
            self.starter.prepare(self._interrupts)
        except BaseException:
            give_back(folder)
            raise
        self._log = LiveLog(folder, self._facts())
        self._unlisted = remember(folder)
        if self.setup.gains and not self.setup.join:
            self._pot = LoadCheck({**self.settings, **self.setup.gains}, self.starter.room_c)

    def notes(self) -> list[str]:
        """What the person should know within the first minute."""
        return self.starter.notes() + ([self._unlisted] if self._unlisted else [])

    # -- while it runs -------------------------------------------------------------------------------------------------

    def run(self, limit_s: float = math.inf) -> Outcome:
        """Follow the hold to its end, or leave it after so long by this PC's clock."""
        with self.view, Keys() as keys:
            self.session.run()
            return self._follow(keys, limit_s)

    def _follow(self, keys: Keys, limit_s: float) -> Outcome:
        prompts = EveningPrompts(self.setup.profile, self.starter.rig)
        virtual = self.session.virtual
        course = Watch(self.scene(), self._log, self.view, stay=not virtual, prompts=prompts,
                       ask=None if virtual else self._ask)
        if self._again:
            course.show(WATCHED_ON)
        start_s = self._silent_since_s = time.monotonic()
        self._reached = 1000 * self._ran_s, start_s
        self._followed = True
        try:
            while course.ended is None:
                self._turn(course, keys, self._interrupts)
                if course.ended is None and time.monotonic() - start_s > limit_s:
                    course.ended = endings.LEFT
            if self._calls and course.ended == endings.RESTARTED and not (virtual or course.resumed):
                self._keyboard.lose_board(course, self._interrupts)
                after = AfterRestart(self.session, self.view, self._inbox, self._ask,
                                     lambda: self._keyboard.serve_alone(course, keys, AT_WARMER.words))
                until_s = time.monotonic() + looks_for_s(self._planned_s(course))
                self._answered = after.wait(course, self._interrupts, until_s)
        except KeyboardInterrupt:  # nothing was sent to the board, so it holds on
            course.ended = endings.STOPPED if virtual else endings.LEFT
        ended = Outcome(course, time.monotonic() - start_s, self.session.facts())
        later = self._watch_on(course)
        if later is not None:
            ended.later = later, later._follow(keys, limit_s)
            return ended
        course.scene.unwatched = self._unwatched(course)
        if course.scene.unwatched:  # its seconds would stand still
            course.scene.trouble = course.log.trouble or ""
        return ended

    def _watch_on(self, course: Watch) -> Runner | None:
        """Join the hold that the board runs now: whoever is called relies on that for the whole evening."""
        if self.session.virtual or not (self._calls and (course.resumed or course.ended == endings.OTHER)):
            return None
        asked, beside = self.setup.folder, None
        try:
            if asked is not None:
                beside = next_folder(asked.absolute().parent, asked.absolute().name)
            setup = replace(self.setup, join=True, folder=beside)
            later = Runner(setup, self.session, self.view, self._inbox, calls=True)
            later._interrupts, later._again = self._interrupts, True
            later.prepare()
        except (BainError, KeyboardInterrupt) as failed:
            if beside is not None:
                with suppress(OSError):
                    beside.rmdir()
            course.show(f"{NOT_WATCHED_ON}: {failed}" if str(failed) else NOT_WATCHED_ON)
            return None
        return later

    def _ask(self) -> BoardAnswer | None:
        reached_ms, at_s = self._reached
        if not self.session.simulated:  # simulated time goes at a pace of its own
            reached_ms += CLOCK_SHARE * 1000 * (time.monotonic() - at_s)
        return ask_board(self.session, self.starter.number or 0, reached_ms)

    def _unwatched(self, course: Watch) -> str:
        """How the warmer was left to itself; see `Scene`."""
        if course.ended == endings.NOT_OFF:  # the board did not answer the stop, and may heat on
            return "" if self.session.virtual else "not_off"
        if course.ended == endings.LOST and not (self._interrupts.count or self._interrupts.go):
            return "lost"
        if course.unanswered and not self._answered:
            return "unanswered"
        if course.ended == endings.RESTARTED and not self.session.virtual:
            if course.resumed:  # whoever was called and said yes there believes that they will be called again
                return "resumed"
            return "" if self._answered else "restarted"
        if course.ended == endings.OTHER:  # somebody is there, and may believe that they will be called
            return "" if self.session.virtual else "other"
        return "left" if course.ended in (endings.LOST, endings.LEFT) else ""

    def scene(self) -> Scene:
        """What the view shows before the board has reported anything; of a hold that is joined, what is recorded."""
        scene = Scene(
            self.setup.profile.name,
            f"the warmer {self.settings['name']!r}",
            window_of(self.setup),
            self.session.simulated,
            self.starter.for_s,
            self.settings["heater_w"],
            self.starter.rig.bath,
            self.setup.join,
            locked=bool(self.starter.hello.get("locked")),
            name=self.settings["name"],
            panel=bool(self.settings["panel"]),
        )
        if self.setup.join:
            start = self.starter
            running = Running(start.hello["board"], start.number, start.ran_s, self.session.simulated)
            scene.recall(*earlier(running, self.setup.profile, scene.bath, time.time()))
        return scene

    @property
    def _ran_s(self) -> float:
        """How long a hold that is joined has run by the clock; simulated time goes at a pace of its own."""
        return self.starter.ran_s if self.setup.join and not self.session.simulated else 0.0

    def _facts(self) -> dict[str, Any]:
        setup, start = self.setup, self.starter
        return {
            "VIRTUAL": self.session.simulated,
            "started": (datetime.now(UTC) - timedelta(seconds=self._ran_s)).isoformat(timespec="seconds"),
            "profile": setup.profile.document(),
            "stage": setup.stage,
            "for_s": start.for_s,
            "room_c": setup.room_c,
            "rig": start.settings,
            "bath": start.rig.bath,
            "gains": setup.gains,
            "board": start.hello,
            "boot": start.answer.get("boot"),
            "hold": start.number,
            "bainwright": __version__,
        }

    def _turn(self, course: Watch, keys: Keys, interrupts: Interrupts) -> None:
        """One round: record and show what the board reported, then serve the keys."""
        try:
            share = None
            for message in self.session.link.poll():
                course.take(message)
                if course.end_ms > self._reached[0]:
                    self._reached = course.end_ms, time.monotonic()
                if isinstance(message, Status):
                    self._silent_since_s = time.monotonic()
                    share = self._heat_share(message, course.scene.bowl_away) or share
            if share is not None:
                self._use_safe_gains(course, share)
            if time.monotonic() - self._silent_since_s > SILENT_S:
                course.settle()  # a board that was unplugged at its end confirms nothing
            if not self.session.virtual and time.monotonic() - self._silent_since_s > DEAF_S:
                raise LinkError("the board is silent")
            self._keyboard.serve(course, keys, interrupts)
        except LinkError:  # gone, or it does not answer a request: the same to the person
            course.settle()
            if course.ended is None:
                self._find_again(course, keys, interrupts)
                course.scene.searching = False
        course.log.flush()
        self._show_trouble(course)
        self.view.refresh(course.scene)

    def _heat_share(self, status: Status, bowl_away: bool) -> float | None:
        """How many times the expected heat the water took, once it is clear that this is another pot; else None."""
        if self._pot is None:
            return None
        bowl = None if status.est or bowl_away else status.bowl
        water_c, bowl_c = (None if each is None else each / 1000 for each in (status.water, bowl))
        return self._pot.step(status.t / 1000, status.duty / 10000, water_c, bowl_c)

    def _use_safe_gains(self, course: Watch, share: float) -> None:
        """Go back, without a bump, to the gains that the board works out by itself."""
        course.note(course.end_ms, "another_pot", {"share": round(share, 1)})
        safe = settings.defaults(settings.SETTINGS)
        try:
            with self.session.held():
                self.starter.send_gains({name: safe[name] for name in NAMES})
        except RefusedError as refused:
            course.show(f"the warmer refused the safe gains and uses the old ones: {refused}")

    def _show_trouble(self, course: Watch) -> None:
        silent_s = time.monotonic() - self._silent_since_s
        trouble = course.log.trouble or ""
        if silent_s > SILENT_S:
            trouble = f"no report from the board for {silent_s:.0f} s"
        if trouble and not course.scene.trouble:
            self.view.say(trouble)
        for text in course.log.news():
            course.show(text)
        course.scene.trouble = trouble

    def _planned_s(self, course: Watch) -> float:
        """How long the hold has still to go; 0 where it has no planned end."""
        return 0.0 if course.scene.for_s is None else course.scene.for_s - course.scene.t_s

    def _find_again(self, course: Watch, keys: Keys, interrupts: Interrupts) -> None:
        """Try until the board is back, the time for that is over, or the person interrupts."""
        course.note(course.end_ms, "lost", {})
        course.scene.searching = True
        self._keyboard.lose_board(course, interrupts)
        give_up_s = time.monotonic() + (0.0 if self.session.virtual else looks_for_s(self._planned_s(course)))
        while time.monotonic() < give_up_s and not (interrupts.count or interrupts.go):
            found = self.session.reopen()
            self._keyboard.serve_alone(course, keys)
            if found:
                course.note(course.end_ms, "found", {})
                course.found()
                self._silent_since_s = time.monotonic()
                return
            course.scene.trouble = GONE
            self.view.refresh(course.scene)
            time.sleep(0.5)
        course.ended = endings.LOST
