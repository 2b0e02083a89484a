"""Watching a hold on a wire: which of a board's lines are believed, and when the hold is over.

A line may be another board's, an old one, or damaged on its way; an end or a trip is believed once the board itself
confirms it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bainboard import faults
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.evening.board_answer import BoardAnswer
from bainwright.evening.claims import Claims, Event
from bainwright.evening.endings import DONE, NEVER_RAN, OTHER, RESTARTED, STOPPED, TRIPPED
from bainwright.evening.following import Following
from bainwright.evening.prompts import EveningPrompts
from bainwright.link.losses import FEW, RESTART, STRAY, Losses
from bainwright.link.messages import Message, Status
from bainwright.record.writer import LiveLog
from bainwright.words import terms

ASKS_TO_RESUME = "go_on"  # the prompt of a board that restarted in the middle of a hold
REPORTS_IN = 5  # status lines: by then a restarted board has read its probes and reports how long it was off
ENDED_IN = 2  # status lines at rest in a row: one among those of a hold is another's, or a slip of the wire
NEAR_END_MS = 3000  # chosen: the last line of a hold, and one that was lost
AFTER_BOOT = ("power_back", "went_on")  # events of a board that restarted
ENDS = ("ended", "boot", *AFTER_BOOT)  # events after which a hold has no time of its own
REFUTED = "a line said what the warmer's own reports do not confirm: it is ignored"
GOES_ON = "a line said that the hold is over or tripped, but the warmer reports that it still runs: watching continues"


def at_rest(status: Status) -> bool:
    """Is this the line of a board that has no hold?"""
    return status.t == 0 and status.state in ("idle", "trip")


class Watch(Following):
    """One hold as its board's lines tell it.

    Parameters
    ----------
    scene, log, view, stay, prompts
        As `Following` has them.
    ask : callable, optional
        Asks the board whether it runs this hold; None where it does not answer. On a wire a line that ends the hold may
        be another board's, or an old one: an event counts once `ENDED_IN` status lines show it, a trip once one does,
        and no end before the board was asked. Without it each line is the board's own.
    """

    def __init__(
        self, scene: Scene, log: LiveLog, view: View, *, stay: bool = False,
        ask: Callable[[], BoardAnswer | None] | None = None, prompts: EveningPrompts | None = None,
    ) -> None:  # fmt: skip
        super().__init__(scene, log, view, prompts, stay=stay)
        self.losses = Losses()
        self._ask, self._claims = ask, Claims()
        self._doubted: list[Event] = []  # events that may end the hold
        self._doubted_lines = 0  # status lines since then that do not continue the hold
        self._named_fault = 0  # the number of the fault in force, as an event named it
        self._inferred = (0, 0)  # the last trip whose event was lost, and its moment
        self._unnamed: Status | None = None  # the line before, where it names another fault than `_named_fault`
        self._unnamed_own = False  # its number was the next one
        self._since_boot = 0  # status lines
        self._unfit = 0  # the number of the last line that did not continue the hold's
        self._idle_lines = 0

    def take(self, message: Message) -> None:
        """One line from the board."""
        if self.ended is not None:
            return
        if isinstance(message, Status):
            self._status(message)
        elif "event" in message:
            self._event(dict(message))

    def _status(self, status: Status) -> None:
        if self.losses.is_old("status", status.status, status):
            return
        if self._doubted and self._doubts(status):
            return
        # Lines of a hold that come late count on from each other, too; between them come its newest ones.
        place = self.losses.place(status.status, ENDED_IN if at_rest(status) else REPORTS_IN)
        if place == STRAY and status.ask != ASKS_TO_RESUME:
            return
        if not self.restarted and (place == RESTART or status.ask == ASKS_TO_RESUME) and not self._restart(status):
            return
        if self.restarted:
            self._status_after_restart(status)
        elif at_rest(status):
            self._status_at_rest(status)
        elif self._ask is None or self._is_own(status):
            self._status_of_hold(status)

    def _restart(self, status: Status) -> bool:
        """A line says that the board restarted. Does it count? Not where the board itself says that the hold runs."""
        answer = self._ask_board()
        if answer is None or not answer.ours_runs:
            self.believe(self.end_ms, {"event": "boot"})  # its own report of the restart was lost
        elif at_rest(status) or not answer.near(status.t):
            self._goes_on()
            return False
        else:  # what came before these was another board's
            self.losses.restarted()
        return True

    def _status_after_restart(self, status: Status) -> None:
        self.losses.status(status.status)
        self._since_boot += 1
        if self._since_boot >= REPORTS_IN:
            self._end_restarted()

    def _status_at_rest(self, status: Status) -> None:
        """The board has no hold any more, by this line."""
        self._idle_lines += 1
        self._confirm(status)
        known = self._begun or self.scene.status or status.state == "trip"
        if self._idle_lines < (ENDED_IN if known else REPORTS_IN):
            return  # of before its start, perhaps: lines may lie on the way behind its answer; or of another board
        answer = self._ask_board()
        if answer is not None and answer.ours_runs:
            self._goes_on()
            return
        if answer is not None and answer.other_runs:
            self.ended = OTHER
            return
        self._rests_in = status.state
        tripped = status.state == "trip" or self.trips
        if not tripped and self.scene.for_s and self.end_ms >= 1000 * self.scene.for_s - NEAR_END_MS:
            self.believe(self.end_ms, {"event": "ended", "why": DONE})  # its own report was lost
            return
        self.ended = TRIPPED if tripped else STOPPED if self.scene.status or self._begun else NEVER_RAN

    def _status_of_hold(self, status: Status) -> None:
        self._idle_lines = 0
        self._confirm(status)
        self._see_fault(status, next_one=self.losses.is_next(status.status))
        self.losses.status(status.status, status.t)
        self.end_ms = status.t
        self.report(status)

    def _confirm(self, status: Status) -> None:
        """Believe the events that a line confirms, and show which it refutes."""
        true, false = self._claims.see(status, next_one=self.losses.is_next(status.status))
        for event in true:
            self.believe(event.at_ms, event.fields)
        for event in false:
            self.show(f"{REFUTED}: {terms.event(str(event.fields['event']), event.fields)}")

    def _ask_board(self) -> BoardAnswer | None:
        return None if self._ask is None else self._ask()

    def _goes_on(self) -> None:
        """Lines said that the hold is over, but the board itself says that it still runs."""
        self._idle_lines, self._doubted, self._doubted_lines = 0, [], 0
        self.losses.forget_strays()
        if not self.scene.events or self.scene.events[-1][1] != GOES_ON:  # another board may report for hours
            self.show(GOES_ON)

    def _is_own(self, status: Status) -> bool:
        """Is a status line of a hold this hold's? One of another board, or of another hold here, counts for nothing."""
        fits = self.losses.fits(status.status, status.t) or (self.scene.joined and self.scene.status is None)
        if fits and (self.scene.status is None or self.losses.follows(status.status)):
            return True
        answer = self._ask_board()
        if answer is None:
            return True
        if answer.other_runs:
            self.ended = OTHER
            return False
        # What was taken for its last line may have been another board's: then two of its own count on.
        counts_on, self._unfit = self._unfit < status.status <= self._unfit + FEW, status.status
        return fits or (answer.ours_runs and counts_on and answer.near(status.t))

    def found(self) -> None:
        """The board is back: does it still run this hold?"""
        answer = self._ask_board()
        if answer is not None and answer.other_runs:
            self.ended = OTHER

    def _end_restarted(self) -> None:
        answer = self._ask_board()
        self.resumed = answer is not None and answer.runs
        self.ended = RESTARTED

    def _see_fault(self, status: Status, *, next_one: bool) -> None:
        """Make up for the lost event of a trip: status lines name its fault, and the person must read of it.

        Two lines do, or one whose number fits between the one before and the next: then it is no other board's.
        """
        first, own = self._unnamed, self._unnamed_own
        if first is None or first.fault != status.fault:
            self._unnamed, self._unnamed_own = (None if status.fault == self._named_fault else status), next_one
            if first is not None and first.fault and own and next_one:
                self._inferred = first.fault, first.t
                self.note_past_trip(first.t, {"fault": first.fault, "latched": False})
            return
        self._named_fault, self._unnamed = status.fault, None
        if status.fault:
            self._inferred = status.fault, first.t
            self.believe(first.t, {"event": "trip", "fault": status.fault, "latched": status.state == "trip"})

    def act_on(self, t_ms: int, name: str, fields: dict[str, Any]) -> None:
        """As `Following`; the numbers of a restarted board's lines begin again, and it is asked what it does now."""
        if name == "trip":
            number = fields.get("fault")
            self._named_fault, self._unnamed = number if isinstance(number, int) else 0, None
        elif name == "boot":
            self.losses.restarted()
        super().act_on(t_ms, name, fields)
        if name in AFTER_BOOT and self.restarted:
            self._end_restarted()

    def _event(self, fields: dict[str, Any]) -> None:
        name, number, t_ms = str(fields["event"]), fields.pop("n", None), fields.pop("t", 0)
        missed = isinstance(number, int) and self.losses.missed(number)
        if isinstance(number, int):
            if self.losses.is_old("event", number, (name, t_ms, *fields.items())):
                return
            self.losses.event(number)
        # A board that has just ended its hold stamps the event with 0 and means the hold's last moment.
        own_ms = t_ms if isinstance(t_ms, int) else 0
        at_ms = own_ms if own_ms and name not in ENDS else max(own_ms, self.end_ms)
        event = Event(at_ms, own_ms, missed, fields)
        if name == "trip" and fields.get("fault") == self._inferred[0] and own_ms <= self._inferred[1]:
            return  # it came late, and was shown
        if name in ("trip", "ended", "boot") and self._ask is not None:
            self._doubted.append(event)
            return
        if self._ask is not None and self._claims.keeps(event):
            return
        if name in AFTER_BOOT and not self.restarted:
            answer = self._ask_board()
            if answer is not None and answer.ours_runs:
                self._goes_on()
                return
            self._settle(answer)
        self.believe(at_ms, fields)

    def settle(self) -> None:
        """Believe an event that ends the hold, unless the board itself says that it still runs."""
        if self._doubted or self._claims:
            answer = self._ask_board()
            for event in self._claims.ask(None if answer is None else answer.state):
                self.believe(event.at_ms, event.fields)
            if self._doubted:
                self._settle(answer)

    def _settle(self, answer: BoardAnswer | None) -> None:
        if answer is not None and answer.ours_runs:
            self._believe_trips(lambda fields: bool(answer.fault) and fields.get("fault") == answer.fault)
            if self._doubted:
                self._goes_on()
            self._doubted_lines = 0
            return
        while self._doubted and self.ended is None:
            event = self._doubted.pop(0)
            self.believe(event.at_ms, event.fields)
        self._doubted_lines = 0
        if self.ended is not None and answer is not None and answer.other_runs and not self.restarted:
            self.ended = OTHER

    def _doubts(self, status: Status) -> bool:
        """Does the hold still run, or did it trip or end? True while that is open; then the line is not used."""
        if status.fault or status.state == "trip":
            answer = self._ask_board()
            sound = answer is not None and answer.ours_runs and not answer.fault
            self._believe_trips(lambda _: not sound)
        going = status.state not in ("idle", "trip") and status.t > 0 and status.t >= self.end_ms
        if going and status.ask != ASKS_TO_RESUME and self.losses.follows(status.status):
            before = self.scene.status.fault if self.scene.status else faults.NONE
            self._believe_trips(lambda fields: before and fields.get("fault") == before)  # it came late
            self._note_trips_between(status)
            if self._doubted:
                self.show(GOES_ON)
            self._doubted, self._doubted_lines = [], 0
        if not self._doubted:
            return self.ended is not None
        self._doubted_lines += 1
        enough = self._doubted_lines >= (ENDED_IN if at_rest(status) else REPORTS_IN)
        if enough or status.ask == ASKS_TO_RESUME:
            self.settle()
        return self.ended is not None or bool(self._doubted)

    def _believe_trips(self, which: Callable[[dict[str, Any]], object]) -> None:
        doubted, self._doubted = self._doubted, []
        for event in doubted:
            if event.fields["event"] == "trip" and which(event.fields):
                self.believe(event.at_ms, event.fields)
            else:
                self._doubted.append(event)

    def _note_trips_between(self, status: Status) -> None:
        """Note trips of a line that was lost before this one: a board sends both in the same tick."""
        doubted, self._doubted = self._doubted, []
        for event in doubted:
            lost = not self.losses.is_next(status.status) and self.end_ms < event.t_ms < status.t
            if event.fields["event"] == "trip" and lost and not event.fields.get("latched"):
                self.note_past_trip(event.t_ms, {key: each for key, each in event.fields.items() if key != "event"})
            else:
                self._doubted.append(event)
