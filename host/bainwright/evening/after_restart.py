"""After a restart of the board: its heat is off, and somebody must be called until one comes, or the time is over."""

from __future__ import annotations

import time
from collections.abc import Callable

from msgspec import structs

from bainboard import commands
from bainwright.core.errors import LinkError
from bainwright.core.keys import Interrupts
from bainwright.display.view import View
from bainwright.evening.acts import AT_WARMER, Inbox
from bainwright.evening.board_answer import BoardAnswer
from bainwright.evening.watch import ASKS_TO_RESUME, Watch
from bainwright.link.messages import Status
from bainwright.link.session import Session

PROMPT = ("the warmer was without power, or restarted, and its heat is off: look at the bowl; yes at the warmer "
          "resumes the hold, no ends it")
LOOK_S = 0.5
DECLINED = "somebody at the warmer said no: the hold is over"
DECLINED_IN = 3  # status lines that ask no more: one may be another board's


class AfterRestart:
    """Stays with a board that restarted, and shows that it calls; what calls a person looks at the same view.

    Parameters
    ----------
    session : Session
        The board.
    view : View
        What shows the hold.
    inbox : Inbox
        Acts from elsewhere: only somebody at the warmer can decide.
    ask : callable
        Asks the board which hold it runs.
    serve : callable
        Serves the keys that need no board.
    """

    def __init__(self, session: Session, view: View, inbox: Inbox, ask: Callable[[], BoardAnswer | None],
                 serve: Callable[[], None]) -> None:
        self._session, self._view, self._inbox, self._ask, self._serve = session, view, inbox, ask, serve
        self._asked = False  # the board has asked whether to go on
        self._silent = 0  # lines in a row in which it does not

    def wait(self, course: Watch, interrupts: Interrupts, until_s: float) -> bool:
        """Wait until the board heats on, somebody declined that, the person interrupts, or a time by this PC's clock.

        Returns
        -------
        bool
            Did somebody answer?
        """
        scene = course.scene
        scene.calling, scene.prompt = True, PROMPT
        while time.monotonic() < until_s:
            if interrupts.count or interrupts.go:
                return True
            try:
                lines = [each for each in self._session.link.poll() if isinstance(each, Status)]
            except LinkError:
                lines = []
                self._session.reopen()
            if any(self._is_answered(line, course) for line in lines):
                return True
            if lines and scene.status is not None:  # its present readings, at the hold's last moment; one question
                scene.see(scene.t_s, structs.replace(lines[-1], t=scene.status.t, stage=scene.status.stage,
                                                     ask=ASKS_TO_RESUME))  # fmt: skip
            self._serve()
            while (wish := self._inbox.take()) is not None:
                wish.reply.set_result(AT_WARMER)
            self._view.refresh(scene)
            time.sleep(LOOK_S)
        return False

    def _is_answered(self, line: Status, course: Watch) -> bool:
        if line.state in commands.RUNNING:
            answer = self._ask()
            course.resumed = answer is not None and answer.runs
            return course.resumed
        if line.ask == ASKS_TO_RESUME:
            self._asked, self._silent = True, 0
        elif self._asked:
            self._silent += 1
        course.declined = self._silent >= DECLINED_IN
        if course.declined:
            course.show(DECLINED)
        return course.declined
