"""Following a hold line by line: what goes into the log, what the person sees, and when it is over.

No ports, no screens, no wall clock.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bainboard import faults, help_text, stages
from bainwright.core.units import duration_words
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.evening.claims import Claims, Event
from bainwright.evening.course_news import CourseNews
from bainwright.evening.prompts import EveningPrompts
from bainwright.evening.told import Told
from bainwright.evening.window_news import EDGES
from bainwright.link.losses import FEW, RESTART, STRAY, Losses
from bainwright.link.messages import Message, Status
from bainwright.record.writer import LiveLog
from bainwright.words import terms
from bainwright.words.advice import advise

AFTER_TRIP_MS = 300_000  # chosen: after five minutes it is clear whether the heat really went off
FINISHED = "finished"  # the board's reason when the last answer ends an evening before its planned time
ASKS_TO_RESUME = "go_on"  # the prompt of a board that restarted in the middle of a hold
REPORTS_IN = 5  # status lines: by then a restarted board has read its probes and reports how long it was off
ENDED_IN = 2  # status lines at rest in a row: one among those of a hold is another's, or a slip of the wire
NEAR_END_MS = 3000  # chosen: the last line of a hold, and one that was lost
AFTER_BOOT = ("power_back", "went_on")  # events of a board that restarted
REFUTED = "a line came that the warmer's own reports do not bear out, so it does not count"
GOES_ON = "a line came that the hold is over or tripped, and the warmer reports that it goes on: it is watched further"
DONE, STOPPED, TRIPPED, RESTARTED, LEFT, LOST = "done", "stopped", "tripped", "restarted", "left running", "lost"
NEVER_RAN = "never ran"  # it answered that it started, and stayed at rest
NOT_OFF = "not off"  # it was told to stop, and did not report that it is off
OTHER = "another hold"  # the board runs another one now: somebody stopped this one, and started that


def at_rest(status: Status) -> bool:
    """Is this the line of a board that has no hold?"""
    return status.t == 0 and status.state in ("idle", "trip")


class Watch:
    """One hold from its start to its end.

    Parameters
    ----------
    scene : Scene
        Updated with each line.
    log : LiveLog
        Records each line.
    view : View
        Shows each event.
    stay : bool
        After a trip, keep watching until the planned end; otherwise for `AFTER_TRIP_MS`.
    ask : callable, optional
        Asks the board whether it runs this hold; None where it does not answer. On a wire a line that ends the hold may
        be another board's, or an old one: an event counts once `ENDED_IN` status lines show it, a trip once one does,
        and no end before the board was asked. Without it each line is the board's own.
    prompts : EveningPrompts, optional
        Words for prompts and advice.

    Attributes
    ----------
    ended : str or None
        Why it is over; None while it runs.
    resumed : bool
        It restarted, and holds on by itself.
    trips : list of dict
        What tripped: ``t_s``, ``fault``, ``name``, ``said``, ``latched``.
    end_ms : int
        The latest known moment of the hold, by the board's clock.
    """

    def __init__(
        self, scene: Scene, log: LiveLog, view: View, *, stay: bool = False,
        ask: Callable[[], Told | None] | None = None, prompts: EveningPrompts | None = None,
    ) -> None:  # fmt: skip
        self.scene, self.log, self.view, self.prompts = scene, log, view, prompts
        self.losses = Losses()
        self.ended: str | None = None
        self.trips: list[dict[str, Any]] = []
        self.end_ms = 0
        self._stay, self._ask, self._claims = stay, ask, Claims()
        self._doubted: list[tuple[int, dict[str, Any]]] = []  # events that change all, with their moments
        self._doubted_lines = 0  # status lines since then that do not go on from the hold
        self._told = self._made = 0  # the fault in force that an event named, and one whose event was lost
        self._fault_lines = 0  # status lines in a row that name another one
        self.restarted = self.resumed = False
        self._begun = scene.joined
        self._latched_ms: int | None = None
        self._since_boot = 0  # status lines
        self._unfit = 0  # the number of the last line that did not go on from the hold's
        self._idle_lines = 0
        self._rests_in = ""  # the board's state, once it has no hold any more
        self._stage = ""
        self._course = CourseNews(scene.bath)

    @property
    def unanswered(self) -> bool:
        """Did it end by itself while a trip, or a fault to unplug, was in force? A latch outlives a restart."""
        status = self.scene.status
        if self.ended == RESTARTED:
            return not self.resumed and any(trip["latched"] for trip in self.trips)
        if self.ended not in (DONE, TRIPPED) or self._rests_in or status is None:
            return self.ended == TRIPPED and self._rests_in == "trip"
        return status.state == "trip" or faults.row(status.fault)[faults.HAZARD] == faults.UNPLUG

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
        if not self.restarted and (place == RESTART or status.ask == ASKS_TO_RESUME):
            told = self._asked()
            if told is None or not told.runs:
                self._believe(self.end_ms, {"event": "boot"})  # its own report of the restart was lost
            elif at_rest(status) or not told.near(status.t):
                self._goes_on()
                return
            else:  # what came before these was another board's
                self.losses.restarted()
        if self.restarted:
            self.losses.status(status.status)
            self._since_boot += 1
            if self._since_boot >= REPORTS_IN:
                self._end_restarted()
            return
        if at_rest(status):  # the board no longer has a hold
            self._idle_lines += 1
            self._bear_out(status)
            known = self._begun or self.scene.status or status.state == "trip"
            if self._idle_lines < (ENDED_IN if known else REPORTS_IN):
                return  # of before its start, perhaps: lines may lie on the way behind its answer; or of another board
            told = self._asked()
            if told is not None and told.runs:
                self._goes_on()
                return
            if told is not None and told.other:
                self.ended = OTHER
                return
            self._rests_in = status.state
            tripped = status.state == "trip" or self.trips
            if not tripped and self.scene.for_s and self.end_ms >= 1000 * self.scene.for_s - NEAR_END_MS:
                self._believe(self.end_ms, {"event": "ended", "why": DONE})  # its own report was lost
                return
            self.ended = TRIPPED if tripped else STOPPED if self.scene.status or self._begun else NEVER_RAN
            return
        if self._ask is not None and not self._is_own(status):
            return
        self._idle_lines = 0
        self._bear_out(status)
        self.losses.status(status.status, status.t)
        self.end_ms = status.t
        self._see_fault(status)
        self.log.status(status.t, status)
        if self.prompts is not None:
            if status.stage and (self.scene.status is None or status.stage != self.scene.status.stage):
                self.scene.window = self.prompts.window(status.stage)
            self._add(status.t, self.prompts.see(status))
            self.scene.prompt = self.prompts.ask(status)
            self.scene.indicators = self.prompts.indicators.line()
            limits = self.prompts.limits
            self.scene.caution, self.scene.spoilt = limits.caution, limits.spoilt or limits.hardened
        self._judge_course(status)
        self._stage = status.stage
        self.scene.see(status.t / 1000, status)
        if self._latched_ms is not None and status.t >= self._watched_until_ms(self._latched_ms):
            self.ended = TRIPPED

    def _bear_out(self, status: Status) -> None:
        """Believe the events that a line bears out, and say which it refutes."""
        true, false = self._claims.see(status, next_one=self.losses.is_next(status.status))
        for event in true:
            self._believe(event.at_ms, event.fields)
        for event in false:
            self.show(f"{REFUTED}: {terms.event(str(event.fields['event']), event.fields)}")

    def _asked(self) -> Told | None:
        return None if self._ask is None else self._ask()

    def _goes_on(self) -> None:
        """Lines said that the hold is over, and the board itself that it is not."""
        self._idle_lines, self._doubted, self._doubted_lines = 0, [], 0
        self.losses.forget_strays()
        if not self.scene.events or self.scene.events[-1][1] != GOES_ON:  # another board may report for hours
            self.show(GOES_ON)

    def _is_own(self, status: Status) -> bool:
        """Is a status line of a hold this hold's? One of another board, or of another hold here, counts for nothing."""
        fits = self.losses.fits(status.status, status.t) or (self.scene.joined and self.scene.status is None)
        if fits and (self.scene.status is None or self.losses.follows(status.status)):
            return True
        told = self._asked()
        if told is None:
            return True
        if told.other:
            self.ended = OTHER
            return False
        # What was taken for its last line may have been another board's: then two of its own count on.
        counts_on, self._unfit = self._unfit < status.status <= self._unfit + FEW, status.status
        return fits or (told.runs and counts_on and told.near(status.t))

    def found(self) -> None:
        """The board is back: does it still run this hold?"""
        told = self._asked()
        if told is not None and told.other:
            self.ended = OTHER

    def _end_restarted(self) -> None:
        told = self._asked()
        self.resumed = told is not None and told.other
        self.ended = RESTARTED

    def _see_fault(self, status: Status) -> None:
        """Make the event of a trip that was lost: its status lines name the fault, and the person must read of it."""
        self._fault_lines = self._fault_lines + 1 if status.fault != self._told else 0
        if self._fault_lines < ENDED_IN:
            return
        self._told, self._made, self._fault_lines = status.fault, status.fault, 0
        if status.fault:
            self._believe(status.t, {"event": "trip", "fault": status.fault, "latched": status.state == "trip"})

    def _judge_course(self, status: Status) -> None:
        asks = status.ask if self.prompts is None else self.scene.prompt and not self.prompts.waits(status)
        # In a pause somebody is there, and the screen asks for no answer.
        asked = asks and status.ask not in stages.UNHURRIED and status.state != "pause"
        self._add(status.t, self._course.see(status, self.scene, asked=bool(asked)))

    def _watched_until_ms(self, latched_ms: int) -> float:
        planned_ms = float("inf") if self.scene.for_s is None else self.scene.for_s * 1000
        return planned_ms if self._stay else min(planned_ms, latched_ms + AFTER_TRIP_MS)

    def _event(self, fields: dict[str, Any]) -> None:
        name, number, t_ms = str(fields["event"]), fields.pop("n", None), fields.pop("t", 0)
        missed = isinstance(number, int) and self.losses.missed(number)
        if isinstance(number, int):
            if self.losses.is_old("event", number, (name, t_ms, *fields.items())):
                return
            self.losses.event(number)
        # A board that has just ended its hold stamps the event with 0 and means the hold's last moment.
        own_ms = t_ms if isinstance(t_ms, int) else 0
        t_ms = max(own_ms, self.end_ms)
        if name == "trip" and self._made and fields.get("fault") == self._made:
            self._made = 0  # it came late, and is told
            return
        if name in ("trip", "ended", "boot") and self._ask is not None:
            self._doubted.append((t_ms, fields))
            return
        if self._ask is not None and self._claims.keeps(Event(t_ms, own_ms, missed, fields)):
            return
        if name in AFTER_BOOT and not self.restarted:
            told = self._asked()
            if told is not None and told.runs:
                self._goes_on()
                return
            self._settle(told)
        self._believe(t_ms, fields)

    def settle(self) -> None:
        """Take an event that ends the hold for true, unless the board itself says that it goes on."""
        if self._doubted or self._claims:
            told = self._asked()
            for event in self._claims.ask(None if told is None else told.state):
                self._believe(event.at_ms, event.fields)
            if self._doubted:
                self._settle(told)

    def _settle(self, told: Told | None) -> None:
        if told is not None and told.runs:
            self._believe_trips(lambda fields: bool(told.fault) and fields.get("fault") == told.fault)
            if self._doubted:
                self._goes_on()
            self._doubted_lines = 0
            return
        while self._doubted and self.ended is None:
            self._believe(*self._doubted.pop(0))
        self._doubted_lines = 0
        if self.ended is not None and told is not None and told.other and not self.restarted:
            self.ended = OTHER

    def _doubts(self, status: Status) -> bool:
        """Does the hold go on, or did it trip or end? True while that is open: then the line says nothing else."""
        if status.fault or status.state == "trip":
            told = self._asked()
            sound = told is not None and told.runs and not told.fault
            self._believe_trips(lambda _: not sound)
        going = status.state not in ("idle", "trip") and status.t > 0 and status.t >= self.end_ms
        if going and status.ask != ASKS_TO_RESUME and self.losses.follows(status.status):
            before = self.scene.status.fault if self.scene.status else faults.NONE
            self._believe_trips(lambda fields: before and fields.get("fault") == before)  # it came late
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
        for t_ms, fields in doubted:
            if fields["event"] == "trip" and which(fields):
                self._believe(t_ms, fields)
            else:
                self._doubted.append((t_ms, fields))

    def _believe(self, t_ms: int, fields: dict[str, Any]) -> None:
        """Record an event, show it, and act on it."""
        name = str(fields.pop("event"))
        if name == "ended" and fields.get("why") == DONE and self.scene.for_s:
            t_ms = self.end_ms = max(t_ms, round(self.scene.for_s * 1000))
        self.note(t_ms, name, fields)
        if self.prompts is not None:
            self._add(t_ms, self.prompts.event(name, fields))
        self._follow(t_ms, name, fields)

    def _add(self, t_ms: int, said: list[str]) -> None:
        """Show advice; the log has the board's own events only."""
        for text in said:
            self._show(t_ms / 1000, text)

    def show(self, text: str) -> None:
        """Show a line that is no event of the board."""
        self._show(self.scene.t_s, text)

    def _show(self, t_s: float, text: str) -> None:
        self.scene.events.append((t_s, text))
        self.view.event(t_s, text)

    def note(self, t_ms: int, name: str, fields: dict[str, Any]) -> None:
        """Record an event and show it; edges of the window are shown by `WindowNews`."""
        self.log.event(t_ms, name, fields)
        if name == "stage":
            self._stage = str(fields.get("stage"))
        if name not in EDGES:  # the person reads of those with a dead band
            self._show(t_ms / 1000, terms.event(name, fields, self._stage, self.scene.bath))

    def _follow(self, t_ms: int, name: str, fields: dict[str, Any]) -> None:
        """Act on an event."""
        if name == "trip":
            self._trip(t_ms, fields)
        elif name == "started":
            self._begun = True
            self._say_what_comes_first(t_ms, fields.get("check_s"))
        elif name in ("bowl_off", "bowl_on"):
            self.scene.bowl_away = name == "bowl_off"
        elif name in ("announced", "no_refill", "refill"):
            self.scene.refill_coming = name == "announced"
        elif name == "lock":
            self.scene.locked = fields.get("at") == "on"
        elif name == "ended":
            known = {DONE: DONE, FINISHED: DONE, STOPPED: STOPPED}
            self.ended = known.get(str(fields.get("why")), TRIPPED if self.trips else STOPPED)
        elif name == "boot":
            self.losses.restarted()
            self.restarted = True
            self.ended = None if self._stay else RESTARTED
        elif name in AFTER_BOOT and self.restarted:
            self._end_restarted()

    def _say_what_comes_first(self, t_ms: int, check_s: object) -> None:
        """A hold that is shorter than its self-test lasts until that has passed."""
        for_s = self.scene.for_s
        if isinstance(check_s, int) and for_s is not None and for_s < check_s:
            self._show(t_ms / 1000, f"the self-test comes first and may take {duration_words(check_s)}: the hold ends "
                                    f"once it has passed, later than the {duration_words(for_s)} asked for")

    def _trip(self, t_ms: int, fields: dict[str, Any]) -> None:
        number = fields.get("fault")
        self._told, self._fault_lines = number if isinstance(number, int) else 0, 0
        row = faults.row(number if isinstance(number, int) else faults.CRASHED)
        latched = bool(fields.get("latched"))
        self.trips.append({"t_s": t_ms / 1000, "fault": row[faults.NUMBER], "name": row[faults.NAME],
                           "said": help_text.FAULTS[row[faults.NUMBER]][0], "latched": latched})  # fmt: skip
        self.scene.advice = advise(row[faults.NUMBER], self.scene.bath).lines()
        for line in self.scene.advice:
            self.view.say(line)
        if latched and self._latched_ms is None:
            self._latched_ms = t_ms
