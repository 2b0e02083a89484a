"""Following a hold: each line that is believed goes to the log, to the scene and to the person.

No ports, no screens, no wall clock. Which lines are believed is `watch`'s question.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from bainboard import faults, help_text, stages
from bainwright.core.units import duration_words
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.evening.course_news import CourseNews
from bainwright.evening.endings import DONE, RESTARTED, STOPPED, TRIPPED
from bainwright.evening.prompts import EveningPrompts
from bainwright.evening.window_news import EDGES
from bainwright.link.messages import Status
from bainwright.record.writer import LiveLog
from bainwright.words import terms
from bainwright.words.advice import advise, warned

AFTER_TRIP_MS = 300_000  # chosen: after five minutes it is clear whether the heat really went off
OVER = "for a moment, and it is over: "
FINISHED = "finished"  # the board's reason when the last answer ends an evening before its planned time


class Following:
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
    prompts : EveningPrompts, optional
        Words for prompts and advice.

    Attributes
    ----------
    ended : str or None
        Why it is over; None while it runs.
    restarted, resumed, declined : bool
        Its board restarted; after that the hold goes on, or somebody there ended it.
    trips : list of dict
        What tripped: ``t_s``, ``fault``, ``name``, ``said``, ``latched``.
    end_ms : int
        The latest known moment of the hold, by the board's clock.
    """

    def __init__(self, scene: Scene, log: LiveLog, view: View, prompts: EveningPrompts | None, *, stay: bool) -> None:
        self.scene, self.log, self.view, self.prompts = scene, log, view, prompts
        self.ended: str | None = None
        self.restarted = self.resumed = self.declined = False
        self.trips: list[dict[str, Any]] = []
        self.end_ms = 0
        self._stay = stay
        self._begun = scene.joined
        self._latched_ms: int | None = None
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

    def report(self, status: Status) -> None:
        """A status line of the hold."""
        self.log.status(status.t, status)
        if self.prompts is not None:
            self._ask_and_advise(status, self.prompts)
        self._judge_course(status)
        self._stage = status.stage
        if status.fault and self.scene.advice:
            self.scene.advice = advise(status.fault, self.scene.bath, sure=terms.sure(status.warn)).lines()
        self.scene.see(status.t / 1000, status)
        if self._latched_ms is not None and status.t >= self._watched_until_ms(self._latched_ms):
            self.ended = TRIPPED

    def _ask_and_advise(self, status: Status, prompts: EveningPrompts) -> None:
        if status.stage and (self.scene.status is None or status.stage != self.scene.status.stage):
            self.scene.window = prompts.window(status.stage)
        self._add(status.t, prompts.see(status))
        self.scene.prompt = prompts.ask(status)
        self.scene.indicators = prompts.indicators.line()
        limits = prompts.limits
        self.scene.caution, self.scene.spoilt = limits.caution, limits.spoilt or limits.hardened

    def _judge_course(self, status: Status) -> None:
        asks = status.ask if self.prompts is None else self.scene.prompt and not self.prompts.waits(status)
        # In a pause somebody is there, and the screen asks for no answer.
        asked = asks and status.ask not in stages.UNHURRIED and status.state != "pause"
        self._add(status.t, self._course.see(status, self.scene, asked=bool(asked)))

    def _watched_until_ms(self, latched_ms: int) -> float:
        planned_ms = float("inf") if self.scene.for_s is None else self.scene.for_s * 1000
        return planned_ms if self._stay else min(planned_ms, latched_ms + AFTER_TRIP_MS)

    def believe(self, t_ms: int, fields: dict[str, Any]) -> None:
        """Record an event, show it, and act on it."""
        name = str(fields.pop("event"))
        if name == "ended" and fields.get("why") == DONE and self.scene.for_s:
            t_ms = self.end_ms = max(t_ms, round(self.scene.for_s * 1000))
        self.note(t_ms, name, fields)
        if self.prompts is not None:
            self._add(t_ms, self.prompts.event(name, fields))
        self.act_on(t_ms, name, fields)

    def note(self, t_ms: int, name: str, fields: dict[str, Any]) -> None:
        """Record an event and show it; edges of the window are shown by `WindowNews`."""
        self.log.event(t_ms, name, fields)
        if name == "stage":
            self._stage = str(fields.get("stage"))
        if name not in EDGES:  # the person reads of those with a dead band
            self._show(t_ms / 1000, terms.event(name, fields, self._stage, self.scene.bath))

    def show(self, text: str) -> None:
        """Show a line that is no event of the board."""
        self._show(self.scene.t_s, text)

    def _add(self, t_ms: int, said: Iterable[str]) -> None:
        """Show advice; the log has the board's own events only."""
        for text in said:
            self._show(t_ms / 1000, text)

    def _show(self, t_s: float, text: str) -> None:
        self.scene.events.append((t_s, text))
        self.view.event(t_s, text)

    def act_on(self, t_ms: int, name: str, fields: dict[str, Any]) -> None:
        """What an event changes."""
        if name == "trip":
            self._trip(t_ms, fields)
        elif name == "warn" and not terms.expected_in_step(fields, self._stage):
            self._say_what_to_check(t_ms, fields.get("fault"))
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
            self.restarted = True
            self.ended = None if self._stay else RESTARTED

    def _say_what_comes_first(self, t_ms: int, check_s: object) -> None:
        """A hold that is shorter than its self-test lasts until that has passed."""
        for_s = self.scene.for_s
        if isinstance(check_s, int) and for_s is not None and for_s < check_s:
            self._show(t_ms / 1000, f"the self-test comes first and may take {duration_words(check_s)}: the hold ends "
                                    f"once it has passed, later than the {duration_words(for_s)} asked for")

    def _say_what_to_check(self, t_ms: int, number: object) -> None:
        if isinstance(number, int) and number in help_text.FAULTS:
            self._add(t_ms, [" ".join(warned(number, self.scene.bath)[1:])])

    def note_past_trip(self, t_ms: int, fields: dict[str, Any]) -> None:
        """A trip that is known only now that it is over: its advice would speak of heat that is off now."""
        self.log.event(t_ms, "trip", fields)
        self._show(t_ms / 1000, OVER + terms.event("trip", fields, self._stage, self.scene.bath))
        self._count_trip(t_ms, fields)

    def _count_trip(self, t_ms: int, fields: dict[str, Any]) -> int:
        """Its fault's number."""
        number = fields.get("fault")
        row = faults.row(number if isinstance(number, int) else faults.CRASHED)
        self.trips.append({"t_s": t_ms / 1000, "fault": row[faults.NUMBER], "name": row[faults.NAME],
                           "said": help_text.FAULTS[row[faults.NUMBER]][0],
                           "latched": bool(fields.get("latched"))})  # fmt: skip
        return int(row[faults.NUMBER])

    def _trip(self, t_ms: int, fields: dict[str, Any]) -> None:
        fault, latched = self._count_trip(t_ms, fields), bool(fields.get("latched"))
        self.scene.advice = advise(fault, self.scene.bath, sure=False).lines()  # the heat has only just gone off
        for line in self.scene.advice:
            self.view.say(line)
        if latched and self._latched_ms is None:
            self._latched_ms = t_ms
