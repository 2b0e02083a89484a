"""When an alarm is due: what calls for a person, how urgently, how often. Pure: values and time in, alarms out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from bainboard import faults
from bainwright.core.units import duration_words
from bainwright.display import scene_words
from bainwright.display.scene import Scene
from bainwright.evening.held_back import PAUSED_LONG
from bainwright.link.stopping import NOT_STOPPED
from bainwright.words import terms
from bainwright.words.advice import advise, warned

SILENT_S = 60.0  # chosen: a pulled cable that is put back within a minute needs nobody else
# Chosen: a person who heard it is there in minutes, and who did not needs more than one call.
AGAIN_S = (0.0, 60.0, 180.0, 360.0)  # after the first call
THEN_EACH_S = 300.0
BACK_S = 300.0  # chosen: what is back so soon has not ended; a loose plug comes and goes, and would call each time
COMING_S = 300.0  # chosen: whoever says that they are coming is there in five minutes
ASKS, WARNS = "ask ", "warn "  # begin the causes of questions and warnings
WAITS = ("melted", "rest")  # steps in which chocolate that cools is not spoilt: a safe fault waits for the morning
# Wherever the person is.
PRESS = {"resume": "“heat on”", "bowl_on": "“bowl back”", "no_refill": "“no refill”", "test": "“test”"}


class Alarm(NamedTuple):
    """One call for a person.

    Attributes
    ----------
    cause : str
        What it is about, by name; the same cause is one alarm until it ends.
    now : bool
        Somebody must come now; otherwise it can wait until the morning.
    title, words : str
        One line, and what to do.
    call : int
        Which call this is, counted from 1.
    about : tuple of str
        The single things that it is about, for one that can wait: each is reported once a hold.
    chocolate, warmer : str
        What is held, and the warmer's name; empty for a test.
    at : str
        When it was called, in ISO 8601: it may arrive late. Empty until it is sent.
    """

    cause: str
    now: bool
    title: str
    words: str
    call: int = 1
    about: tuple[str, ...] = ()
    chocolate: str = ""
    warmer: str = ""
    at: str = ""

    @property
    def text(self) -> str:
        """What to do, and when it was called."""
        return "\n".join(part for part in (self.words, self.at and f"At {self.at[11:16]}.") if part)

    @property
    def headline(self) -> str:
        """The title, after what it is about: one way may serve several warmers."""
        where = f" on {self.warmer}" if self.warmer else ""
        return f"{self.chocolate}{where}: {self.title}" if self.chocolate else self.title

    def of(self, scene: Scene) -> Alarm:
        """The same about this hold."""
        return self._replace(chocolate=scene.chocolate, warmer=scene.name)


SIGN = Alarm("alive", False, "the warmer reports", "")  # of life: no alarm, though it takes the same ways
LOST = Alarm("lost", True, "No word from the warmer, and the PC has stopped looking for it",
             "No more calls come. Look at the warmer: it may still hold, or be without power. Then look at its cable; "
             "bain hold --join watches it again.")  # fmt: skip

RESTARTED = Alarm("restarted", True, "The warmer was without power, or restarted: its heat is off",
                  "No more calls come. Look at the bowl: yes at the warmer resumes the hold, no ends it. "
                  "bain hold --join watches it then.")  # fmt: skip
RESUMED = Alarm("resumed", True, "The warmer restarted and heats again, and the PC has stopped watching it",
                "No more calls come. Look at the warmer; bain hold --join watches it again.")  # fmt: skip
OTHER = Alarm("other", True, "The warmer runs another hold now, and the PC has stopped watching it",
              "No more calls come. Somebody started it; bain hold --join watches it.")  # fmt: skip
NOT_OFF = Alarm("not_off", True, "The warmer does not confirm that it is off", f"No more calls come. {NOT_STOPPED}")
LAST = {"lost": LOST, "not_off": NOT_OFF, "restarted": RESTARTED, "resumed": RESUMED, "other": OTHER}


def found_tripped(words: str, chocolate: str, warmer: str) -> Alarm:
    """The call of who comes to watch a warmer again, and finds that it tripped meanwhile."""
    return Alarm("found_tripped", True, "The warmer has tripped, and nobody watched it",
                 f"No more calls come. Look at the warmer: {words}", chocolate=chocolate, warmer=warmer)  # fmt: skip


def last_call(scene: Scene) -> Alarm | None:
    """The call at the end of a hold after which nobody would call any more."""
    if scene.unwatched == "unanswered":
        return Alarm("ended", True, "The hold has ended, and nobody answered its alarm",
                     "\n".join(["No more calls come. Look at the warmer.", *scene.advice])).of(scene)  # fmt: skip
    last = LAST.get(scene.unwatched)
    return last.of(scene) if last is not None else None


class Coming:
    """Somebody said that they are coming: calls rest for a while. Set from any thread."""

    def __init__(self) -> None:
        self._said_s = -math.inf

    def say(self, now_s: float) -> None:
        """Somebody is coming."""
        self._said_s = now_s

    def said(self, now_s: float, since_s: float) -> bool:
        """Is somebody on their way for what has called since then? Whoever came for a refill knows of no fault."""
        return since_s <= self._said_s and now_s < self._said_s + COMING_S


class Standing:
    """Since when each alarm has been in force."""

    def __init__(self) -> None:
        self._seen: dict[str, tuple[float, float]] = {}  # by cause: since when, and when it was there last

    def since_s(self, cause: str, now_s: float) -> float:
        """Since when the present cause has called; an empty cause if nothing calls.

        What is back within five minutes has not ended. A question that is not there was answered, unless something
        more urgent hides it.
        """
        answered = not cause or cause.startswith((ASKS, WARNS))
        self._seen = {each: times for each, times in self._seen.items() if now_s - times[1] <= BACK_S
                      and not (answered and each.startswith(ASKS) and each != cause)}  # fmt: skip
        since_s = self._seen.get(cause, (now_s,))[0]
        if cause:
            self._seen[cause] = since_s, now_s
        return since_s


@dataclass
class _Calling:
    """An alarm that somebody must answer."""

    since_s: float
    called_s: float = -math.inf  # also of an earlier alarm of this cause: a minute lies between any two calls
    calls: int = 0
    next_s: float = -math.inf


class Rules:
    """Follows a hold, and says which call is due.

    Parameters
    ----------
    coming : Coming
        Whether somebody is on their way.
    """

    def __init__(self, coming: Coming) -> None:
        self._coming, self._standing = coming, Standing()
        self._calling: dict[str, _Calling] = {}  # by cause
        self._arrived: set[str] = set()  # what can wait, once a hold

    def arrived(self, alarm: Alarm) -> None:
        """One way delivered it: what can wait is not sent again."""
        self._arrived.update(alarm.about)

    def due(self, scene: Scene, silent_s: float, now_s: float) -> Alarm | None:
        """The call to make now.

        Parameters
        ----------
        scene : Scene
            The hold.
        silent_s : float
            How long the board has not reported.
        now_s : float
            A clock that never goes back.
        """
        alarm = cause_of(scene, silent_s)
        since_s = self._standing.since_s(alarm.cause if alarm else "", now_s)
        if alarm is None:
            return None
        if not alarm.now and self._arrived.issuperset(alarm.about):
            return None
        calling = self._calling.get(alarm.cause)
        if calling is None or calling.since_s != since_s:
            calling = self._calling[alarm.cause] = _Calling(since_s, calling.called_s if calling else -math.inf)
        return self._call(alarm.of(scene), calling, now_s)

    def _call(self, alarm: Alarm, calling: _Calling, now_s: float) -> Alarm | None:
        if not now_s >= max(calling.next_s, calling.called_s + AGAIN_S[1]) or self._coming.said(now_s, calling.since_s):
            return None
        calling.calls, calling.called_s = calling.calls + 1, now_s
        calling.next_s = _next_s(calling)
        if calling.calls == 1:
            return alarm
        waited = f" (call {calling.calls}, {duration_words(now_s - calling.since_s)} unanswered)"
        return alarm._replace(title=alarm.title + waited, call=calling.calls)


def _next_s(calling: _Calling) -> float:
    """When the next call is due."""
    return calling.since_s + (
        AGAIN_S[calling.calls] if calling.calls < len(AGAIN_S)
        else AGAIN_S[-1] + THEN_EACH_S * (calling.calls - len(AGAIN_S) + 1)
    )  # fmt: skip


def cause_of(scene: Scene, silent_s: float) -> Alarm | None:
    """What calls for a person at this moment, the most urgent first.

    Parameters
    ----------
    scene : Scene
        The hold.
    silent_s : float
        How long the board has not reported. One that is dead cannot report it: its silence is the alarm.
    """
    status = scene.status
    if not silent_s < SILENT_S and scene.unheard_s:
        return Alarm("silent", True, f"No word for {duration_words(silent_s)} from the program that runs the hold",
                     "It hangs or was stopped, and nobody is called for the warmer meanwhile. The warmer needs no PC: "
                     "look at it, then at the PC.")
    if not silent_s < SILENT_S:
        return Alarm("silent", True, f"No word from the warmer for {duration_words(silent_s)}",
                     "Look at the warmer, then at its cable. If its lamps are dark, it has no power and no heat.")
    if status is None:
        return None
    if status.fault:
        return _of_fault(status.fault, status.stage, scene.bath, sure=terms.sure(status.warn))
    if status.state == "trip":
        return Alarm("trip", True, "The warmer tripped: the heat is off", "\n".join(scene.advice))
    if scene.calling:
        asks = ("pause", PAUSED_LONG) if status.state == "pause" else (status.ask, "the warmer asks for you")
        return Alarm(f"{ASKS}{asks[0]}", True, f"{asks[1][:1].upper()}{asks[1][1:]}",
                     terms.without_keys(scene_words.prompt(scene, PRESS)))
    if warnings := terms.warnings(status.warn, status.stage):
        said = "; ".join(terms.fault(number, scene.bath) for number in warnings)
        return Alarm(f"{WARNS}{warnings}", False, f"Warning: {said}",
                     "\n".join(line for number in warnings for line in warned(number, scene.bath)),
                     about=tuple(f"{WARNS}{number}" for number in warnings))  # fmt: skip
    return None


def _of_fault(number: int, stage: str, bath: str, *, sure: bool) -> Alarm:
    """A fault in force: one to unplug needs somebody at once, and so does any fault outside melted stock and rest."""
    unplug = faults.row(number)[faults.HAZARD] == faults.UNPLUG
    title = ("Come now: " if unplug else "") + terms.fault(number, bath)
    cause = f"fault {number}"
    words = "\n".join(advise(number, bath, sure=sure).lines())
    return Alarm(cause, unplug or stage not in WAITS, title, words, about=(cause,))
