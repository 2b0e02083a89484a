"""The person at the keyboard: keys become requests to the board, and questions get their answers."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import Any

from bainwright.chocolates.board import stored_profiles
from bainwright.core.errors import BainError, LinkError, RefusedError
from bainwright.core.keys import CTRL_Z, Interrupts, Keys
from bainwright.display.view import View
from bainwright.evening import acts, endings
from bainwright.evening.virtual_hands import HANDS, VirtualHands, hands_line
from bainwright.evening.watch import Watch
from bainwright.files.chocolate import Profile
from bainwright.link.messages import Status
from bainwright.link.session import Session
from bainwright.link.stopping import NOT_STOPPED, stop
from bainwright.words import terms

_KEYS = (
    "y yes  n no, it thickens  d it thins  r refill  b bowl off/on  t test  c other bowl  e end of dipping  "
    "u step back  w pause  k lock  Ctrl-C "
)
KEYS = _KEYS + "leave or stop"
KEYS_VIRTUAL = f"{_KEYS}end  {hands_line()}"
KEYS_ALONE = "Ctrl-C stop looking for the board"  # what needs none
PHONE = "p"  # shows how a phone gets in, where a page is served
KEY_OF_PAGE = f"{PHONE} phone  "
NO_ANSWER = "The board did not answer, so this may not have arrived. Look at its cable."
NO_STANDSTILL = ("Ctrl-Z does nothing here: a program that stands still watches nothing and calls nobody. Ctrl-C "
                 "leaves or stops the hold")  # fmt: skip
NO_BOARD = "not sent: the PC is looking for the board. Do it at the warmer, or press the key again once it is back"
# Chosen: two status lines. The board may have written one before it took the answer, and send it after its reply.
UNREAD_MS = 1500
LAPSES_S = 30.0  # chosen: who asked answers at once, and a key an hour later means something else
LAPSED = "no answer: all stays as it is"
PAUSED = terms.refusal("not in state pause")
LEAVE_QUESTION = (
    "Leave the warmer running (l), stop it (s) or keep watching (g)? It needs no PC: you may close the "
    "laptop, and --join watches it again. Ctrl-C once more stops it."
)


class Keyboard:
    """Serves the keys of one hold.

    Parameters
    ----------
    session : Session
        The board.
    view : View
        Repeats questions for those who see no screen.
    hello : callable
        What the board replied to hello.
    inbox : Inbox, optional
        Acts that come from elsewhere than the keyboard.
    clock_s : callable
        A clock that never goes back: a person's time, however fast the hold is played.
    """

    def __init__(
        self, session: Session, view: View, hello: Callable[[], dict[str, Any]], inbox: acts.Inbox | None = None,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.session, self.view, self._hello = session, view, hello
        self._inbox = inbox or acts.Inbox()
        self._offered: list[str] = []  # chocolates that are on offer for the next bowl
        self._clock_s = clock_s
        self._asked_s = 0.0
        self._ending = False  # the question whether the dipping is over is open
        self._answered: tuple[str, int] | None = None  # what was answered last, and the hold's time then, ms
        self._doubted_s = -math.inf  # when a yes was doubted last
        self._hands = VirtualHands(session) if session.virtual else None

    def serve(self, course: Watch, keys: Keys, interrupts: Interrupts) -> None:
        """Act on the key that waits and on Ctrl-C. What is refused is shown, and the hold goes on.

        Raises
        ------
        LinkError
            If the board does not answer.
        """
        try:
            self._serve(course, keys, interrupts)
        except LinkError:
            raise
        except BainError as refused:
            course.show(f"not now: {refused}")

    def _serve(self, course: Watch, keys: Keys, interrupts: Interrupts) -> None:
        if course.scene.question and self._clock_s() - self._asked_s > LAPSES_S:
            self._lapse(course, interrupts)
        key = keys.pressed()
        if key and course.scene.status is not None:
            if key == CTRL_Z:
                course.show(NO_STANDSTILL)
            elif course.scene.question:
                self._answer(course, key, interrupts)
            else:
                self._act(course, key)
        self._interrupted(course, keys, interrupts)
        if (wish := self._inbox.take()) is not None:
            self._grant(course, wish)

    def lose_board(self, course: Watch, interrupts: Interrupts) -> None:
        """The board is gone. An open question lapses: one Ctrl-C before is no wish to stop looking for the board."""
        if course.scene.question and interrupts.count < 2:
            self._lapse(course, interrupts)

    def serve_alone(self, course: Watch, keys: Keys, why: str = NO_BOARD) -> None:
        """Act on the keys that wait while there is no board. An act that needs one is refused with the reason."""
        while key := keys.pressed():
            if key == PHONE and self._inbox.invite is not None:
                self._let_in(course, self._inbox.invite())
            elif not course.scene.events or course.scene.events[-1][1] != why:  # a key may be held down
                course.show(why)

    def _act(self, course: Watch, key: str) -> None:
        act = acts.of_key(key, course.scene)
        if act is not None and not act.final:
            self._do(course, act)
        elif key == "e":  # between w and r on the keyboard: easily hit
            self._ending = True
            self._ask(course, acts.end_question(course.scene))
        elif key == "c":
            self._offer_chocolates(course)
        elif key == PHONE and self._inbox.invite is not None:
            self._let_in(course, self._inbox.invite())
        elif self._hands is not None and key in HANDS:
            self._hands.use(key, course)

    def _let_in(self, course: Watch, invitation: str) -> None:
        """Show at this terminal alone how one more phone gets in."""
        course.scene.for_terminal.append((course.scene.t_s, invitation))
        self.view.event(course.scene.t_s, invitation)

    def _lapse(self, course: Watch, interrupts: Interrupts) -> None:
        """Forget a question that nobody answered, and the Ctrl-C that brought it."""
        if not (self._ending or self._offered):
            interrupts.count = 0
        self._ending, self._offered, course.scene.question = False, [], ""
        course.show(LAPSED)

    def _do(self, course: Watch, act: acts.Act) -> acts.Reply:
        """Request an act, and show what it changed; its words are the refusal, or what there is to know."""
        if act.answers and acts.paused(course.scene):  # nobody can answer a question that the pause hides
            return _refuse(course, PAUSED)
        if act.name == "yes" and (hasty := acts.too_soon(course.scene)):
            return _refuse(course, hasty)
        now_s = self._clock_s()
        cool_c = None if course.prompts is None else course.prompts.profile.cool_c
        if act.name == "yes" and (warm := acts.too_warm(course.scene, cool_c)) and now_s - self._doubted_s > LAPSES_S:
            self._doubted_s = now_s
            return _refuse(course, warm)
        waits = acts.waits(course.scene) if act.name == "yes" else ""
        refusal = self._request(course, act.do, act.fields)
        if not refusal and waits:
            course.show(waits)
        if not refusal and act.shows is not None:
            setattr(course.scene, *act.shows)
        if not refusal and act.answers and course.scene.status is not None:
            status = course.scene.status
            self._answered = status.ask, max([status.t, *(each.t for each in self.session.link.unread_reports())])
        return acts.Reply(not refusal, refusal or waits)

    def _has_answered(self, status: Status) -> bool:
        """Was this line perhaps written before the board took the last answer?"""
        if self._answered is None or status.ask != self._answered[0]:
            return False
        return status.t < self._answered[1] + UNREAD_MS

    def _request(self, course: Watch, do: str, fields: dict[str, Any]) -> str:
        """Send a request in the middle of a hold; a refusal is shown and returned, and the hold is not affected."""
        try:
            with self.session.held():
                self.session.link.request(do, **fields)
        except RefusedError as refused:
            why = (refused.hint or str(refused)).rpartition(" refused: ")[2]  # the part before it is for programs
            course.show(f"not now: {terms.refusal(why)}")
            return terms.refusal(why)
        return ""

    # -- acts from elsewhere -------------------------------------------------------------------------------------------

    def _grant(self, course: Watch, wish: acts.Wish) -> None:
        """Do what was asked from elsewhere, and reply; a lost board is a reply too."""
        try:
            wish.reply.set_result(self._answer_wish(course, wish))
        except LinkError:
            wish.reply.set_result(acts.Reply(False, NO_ANSWER))
            raise
        except BainError as refused:
            wish.reply.set_result(acts.Reply(False, f"Not now: {refused}."))
            raise

    def _answer_wish(self, course: Watch, wish: acts.Wish) -> acts.Reply:
        status, act = course.scene.status, wish.act
        if status is None or course.ended is not None:
            return acts.OVER if course.ended else acts.Reply(False, "The board has not reported yet.")
        if act.answers and wish.seen != status.ask:
            return acts.Reply(False, "Not sent: the warmer asks something else now. Read it first.")
        if act.answers and self._has_answered(status):  # the next question is on its way, and nobody has read it
            return acts.Reply(False, "Not sent: someone has just answered. Look at what it asks now.")
        if not act.fits(course.scene):
            return acts.Reply(True, f"{act.words}: already done.")
        if act.do == "stop":
            self._stop(course)
            off = course.ended != endings.NOT_OFF
            return acts.Reply(off, "The hold is stopped, and the heat is off." if off else NOT_STOPPED)
        advice = course.prompts.advice(act.event) if course.prompts is not None and act.event else []
        done, said = self._do(course, act)
        if not done:
            return acts.Reply(False, terms.without_keys(f"Not now: {said}."))
        # Who acts at a phone sees the reply; the advice among the events is three screens further down.
        more = [_sentence(each) for each in (said, *advice) if each]
        words = " ".join([f"{act.words}: the warmer has it.", *more])
        return acts.Reply(True, terms.without_keys(words))

    # -- another bowl --------------------------------------------------------------------------------------------------

    def _offer_chocolates(self, course: Watch) -> None:
        """Ask which of the chocolates stored on the board comes next."""
        with self.session.held():
            names = [each.name for each in stored_profiles(self.session.link, self._hello())]
        self._offered = [name for name in names if name != course.scene.chocolate]
        if not self._offered:
            course.show("no other chocolate is stored on the warmer; bain profile send adds one, between holds")
            return
        offered = ", ".join(f"{number} {name}" for number, name in enumerate(self._offered, 1))
        self._ask(course, f"Which chocolate is the next bowl: {offered}? Any other key: none")

    def _change_bowl(self, course: Watch, key: str) -> None:
        """Prepare the bath for the next bowl; from here on its figures count."""
        names, self._offered, course.scene.question = self._offered, [], ""
        if not key.isdigit() or not 1 <= int(key) <= len(names):
            return
        name = names[int(key) - 1]
        with self.session.held():
            values = self.session.link.profile(name)
        if not self._request(course, "change", {"name": name}):
            course.scene.chocolate = name
            if course.prompts is not None:
                course.prompts.change(Profile(**values, of=values["kind"]))

    # -- leaving -------------------------------------------------------------------------------------------------------

    def _interrupted(self, course: Watch, keys: Keys, interrupts: Interrupts) -> None:
        if course.ended is not None:
            return
        if interrupts.go and not self.session.virtual:  # the PC shuts down; the warmer needs none
            course.ended = endings.LEFT
            return
        if not interrupts.count and not interrupts.go:
            return
        stops_at_once = self.session.virtual or not keys.there
        if stops_at_once or interrupts.count > 1:
            self._stop(course)
        elif not course.scene.question or self._offered or self._ending:
            self._offered, self._ending = [], False
            self._ask(course, LEAVE_QUESTION)

    def _ask(self, course: Watch, question: str) -> None:
        """Ask at this keyboard: in the scene, and as a line where there is no screen."""
        course.scene.question, self._asked_s = question, self._clock_s()
        self.view.event(course.scene.t_s, question)

    def _answer(self, course: Watch, key: str, interrupts: Interrupts) -> None:
        if self._ending:
            self._ending, course.scene.question = False, ""
            if key == "e":
                self._request(course, "finish", {"to": "rest"})
        elif self._offered:
            self._change_bowl(course, key)
        elif key == "l":
            course.ended = endings.LEFT
        elif key == "s":
            self._stop(course)
        elif key == "g":
            course.scene.question = ""
            interrupts.count = 0

    def _stop(self, course: Watch) -> None:
        """Ask the board to stop; what it still reports goes into the log."""
        off = stop(self.session, see=course.take)
        for message in self.session.link.poll():
            course.take(message)
        if off:
            course.ended = course.ended or endings.STOPPED
        else:
            course.ended = endings.NOT_OFF
            course.show(NOT_STOPPED)


def _refuse(course: Watch, why: str) -> acts.Reply:
    course.show(f"not now: {why}")
    return acts.Reply(False, why)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."
