"""Following a hold line by line: what to log, what to show, when it is over. No ports, no screens, no wall clock."""

from __future__ import annotations

from typing import Any, Protocol

from bainboard import faults, help_text
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.evening.indicators import Indicators
from bainwright.files.chocolate import Profile
from bainwright.files.score import Window
from bainwright.link.losses import Losses
from bainwright.link.messages import Message, Status
from bainwright.record.writer import LiveLog
from bainwright.words import terms
from bainwright.words.advice import advise

AFTER_TRIP_MS = 300_000  # chosen: five minutes show whether the heat really went off

FINISHED = "finished"  # as the board says it: by the last answer of an evening, before its time
GO_ON = "go_on"  # what a board asks that started anew in the middle of a hold
OFFERED_IN = 5  # status lines: a board that started anew has read its probes by then, and says how long it was away
DONE, STOPPED, TRIPPED, RESTARTED, LEFT, LOST = "done", "stopped", "tripped", "restarted", "left running", "lost"


class Prompts(Protocol):
    """Finds the words for an evening (see `bainwright.evening.prompts.EveningPrompts`)."""

    indicators: Indicators

    def see(self, status: Status) -> list[str]:
        """A status line; what is worth saying now."""

    def event(self, name: str, fields: dict[str, Any]) -> list[str]:
        """An event; what is worth adding to it."""

    def change(self, profile: Profile) -> None:
        """Another bowl comes, of another chocolate."""

    def window(self, stage: str) -> Window:
        """What the chocolate is held to in a stage."""

    def ask(self, status: Status) -> str:
        """What the person is asked."""


class Watch:
    """One hold from its start to its end.

    Parameters
    ----------
    scene : Scene
        Kept up to date.
    log : LiveLog
        Gets each line.
    view : View
        Is told each event.
    stay : bool
        After a trip, go on watching until the planned end; otherwise for `AFTER_TRIP_MS`.
    prompts : Prompts, optional
        Finds the words for what is asked and for what to mind.

    Attributes
    ----------
    ended : str or None
        Why it is over; None while it runs.
    trips : list of dict
        What tripped: ``t_s``, ``fault``, ``name``, ``said``, ``latched``.
    end_ms : int
        The last moment known of the hold, by the board's clock.
    """

    def __init__(
        self, scene: Scene, log: LiveLog, view: View, *, stay: bool = False, prompts: Prompts | None = None
    ) -> None:
        self.scene, self.log, self.view, self.prompts = scene, log, view, prompts
        self.losses = Losses()
        self.ended: str | None = None
        self.trips: list[dict[str, Any]] = []
        self.end_ms = 0
        self._stay = stay
        self.restarted = False
        self._latched_ms: int | None = None
        self._since_boot = 0  # status lines
        self._stage = ""

    def take(self, message: Message) -> None:
        """One line from the board."""
        if self.ended is not None:
            return
        if isinstance(message, Status):
            self._status(message)
        elif "event" in message:
            self._event(dict(message))

    def _status(self, status: Status) -> None:
        if not self.restarted and (self.losses.shows_restart(status.status) or status.ask == GO_ON):
            self._event({"event": "boot"})  # it said so while nobody listened
        self.losses.status(status.status)
        if self.restarted:
            self._since_boot += 1
            if self._since_boot >= OFFERED_IN:
                self.ended = RESTARTED
            return
        if status.t == 0 and status.state in ("idle", "trip"):  # no hold is known to this board any more
            self.ended = TRIPPED if status.state == "trip" or self.trips else STOPPED
            return
        self.end_ms = status.t
        self.log.status(status.t, status)
        if self.prompts is not None:
            if status.stage and (self.scene.status is None or status.stage != self.scene.status.stage):
                self.scene.window = self.prompts.window(status.stage)
            self._add(status.t, self.prompts.see(status))
            self.scene.asked = self.prompts.ask(status) if status.ask else ""
            self.scene.indicators = self.prompts.indicators.line()
        self._stage = status.stage
        self.scene.see(status.t / 1000, status)
        if self._latched_ms is not None and status.t >= self._watched_until_ms(self._latched_ms):
            self.ended = TRIPPED

    def _watched_until_ms(self, latched_ms: int) -> float:
        planned_ms = float("inf") if self.scene.for_s is None else self.scene.for_s * 1000
        return planned_ms if self._stay else min(planned_ms, latched_ms + AFTER_TRIP_MS)

    def _event(self, fields: dict[str, Any]) -> None:
        name = str(fields.pop("event"))
        number, t_ms = fields.pop("n", None), fields.pop("t", 0)
        if isinstance(number, int):
            self.losses.event(number)
        # A board that has just ended its hold stamps with 0: the hold's last moment is meant.
        t_ms = max(t_ms if isinstance(t_ms, int) else 0, self.end_ms)
        if name == "ended" and fields.get("why") == DONE and self.scene.for_s:
            t_ms = self.end_ms = max(t_ms, round(self.scene.for_s * 1000))
        self.note(t_ms, name, fields)
        if self.prompts is not None:
            self._add(t_ms, self.prompts.event(name, fields))
        self._follow(t_ms, name, fields)

    def _add(self, t_ms: int, said: list[str]) -> None:
        """What the person is told beyond the board's own words; the log has those."""
        for text in said:
            self.scene.events.append((t_ms / 1000, text))
            self.view.event(t_ms / 1000, text)

    def note(self, t_ms: int, name: str, fields: dict[str, Any]) -> None:
        """Put an event into the log and before the person."""
        self.log.event(t_ms, name, fields)
        if name == "stage":
            self._stage = str(fields.get("stage"))
        said = terms.event(name, fields, self._stage)
        self.scene.events.append((t_ms / 1000, said))
        self.view.event(t_ms / 1000, said)

    def _follow(self, t_ms: int, name: str, fields: dict[str, Any]) -> None:
        """What an event means for the course of the hold."""
        if name == "trip":
            self._trip(t_ms, fields)
        elif name in ("bowl_off", "bowl_on"):
            self.scene.bowl_away = name == "bowl_off"
        elif name == "lock":
            self.scene.locked = fields.get("at") == "on"
        elif name == "ended":
            known = {DONE: DONE, FINISHED: DONE, STOPPED: STOPPED}
            self.ended = known.get(str(fields.get("why")), TRIPPED if self.trips else STOPPED)
        elif name == "boot":
            self.losses.restarted()
            self.restarted = True
            self.ended = None if self._stay else RESTARTED
        elif name in ("power_back", "went_on") and self.restarted:
            self.ended = RESTARTED

    def _trip(self, t_ms: int, fields: dict[str, Any]) -> None:
        number = fields.get("fault")
        row = faults.row(number if isinstance(number, int) else faults.CRASHED)
        latched = bool(fields.get("latched"))
        self.trips.append(
            {
                "t_s": t_ms / 1000,
                "fault": row[faults.NUMBER],
                "name": row[faults.NAME],
                "said": help_text.FAULTS[row[faults.NUMBER]][0],
                "latched": latched,
            }
        )
        self.scene.advice = advise(row[faults.NUMBER]).lines()
        for line in self.scene.advice:
            self.view.say(line)
        if latched and self._latched_ms is None:
            self._latched_ms = t_ms
