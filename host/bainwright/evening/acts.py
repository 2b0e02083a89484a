"""What a person can do during a hold: one table of acts, and a way for acts from outside the keyboard to the hold."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from bainboard import commands, stages
from bainwright.display.scene import Scene
from bainwright.words import terms

MOST_WAITING = 8  # chosen: more hands than a kitchen has
BEGINS_S = 4.0  # chosen: a hand waits no longer; with more, an act would come when nobody expects it any more
AT_REST = ("lock", "stop")  # what the warmer accepts also while no hold runs
DIPS = ("work",)
STILL_WARM_K = 1.5  # chosen: two places of a stirred bowl differ by less
# What the warmer asks and accepts a no to: its table of steps, and questions that stand in for one of them.
TAKES_NO = {step[stages.ASK] for row in stages.STAGES for step in row[stages.STEPS] if step[stages.NO]} | {
    "seed_more", "set_yet", "not_set", "go_on"}


def _always(_: Scene) -> bool:
    return True


def paused(scene: Scene) -> bool:
    """Is the heat off for hands in the water? The screen shows the pause then, not what the warmer asks."""
    return scene.status is not None and scene.status.state == "pause"


def _takes_no(scene: Scene) -> bool:
    return scene.status is not None and scene.status.ask in TAKES_NO


@dataclass(frozen=True)
class Act:
    """One act.

    Parameters
    ----------
    name : str
        Its name for programs.
    key : str
        Its key at the terminal.
    words : str
        What a button says.
    do : str
        The request it becomes.
    fields : dict
        The request's fields.
    fits : callable
        Does it fit the moment? Of two acts on one key, one does.
    answers : bool
        Does it answer what the warmer asks?
    final : bool
        There is no way back: ask before it.
    steps : tuple of str
        The steps in which the warmer accepts it; empty for all.
    shows : tuple of (str, bool), optional
        What it makes true of the scene. In a pause the board reports it only when the pause is over.
    event : str
        The event that the board reports for it, where there may be advice with that; else empty.
    """

    name: str
    key: str
    words: str
    do: str
    fields: dict[str, Any] = field(default_factory=dict)
    fits: Callable[[Scene], bool] = _always
    answers: bool = False
    final: bool = False
    steps: tuple[str, ...] = ()
    shows: tuple[str, bool] | None = None
    event: str = ""


ACTS = (
    Act("yes", "y", "Yes", "confirm", answers=True),
    Act("no", "n", "No", "thicker", answers=True, fits=_takes_no, event="denied"),
    Act("thickens", "n", "It thickens", "thicker", fits=lambda scene: not _takes_no(scene), steps=DIPS,
        event="thicker"),
    Act("thins", "d", "It thins", "thinner", steps=DIPS, event="thinner"),
    Act("refill", "r", "A refill is coming", "announce", fits=lambda scene: not scene.refill_coming, steps=DIPS,
        shows=("refill_coming", True), event="announced"),
    Act("no_refill", "r", "No refill after all", "announce", fits=lambda scene: scene.refill_coming,
        shows=("refill_coming", False)),
    Act("bowl_off", "b", "Bowl off", "bowl", {"at": "off"}, fits=lambda scene: not scene.bowl_away,
        shows=("bowl_away", True)),
    Act("bowl_on", "b", "Bowl back", "bowl", {"at": "on"}, fits=lambda scene: scene.bowl_away,
        shows=("bowl_away", False)),
    Act("test", "t", "Test the temper", "test", steps=DIPS),
    Act("back", "u", "One step back", "back"),
    Act("pause", "w", "Pause, heat off", "pause", fits=lambda scene: not paused(scene)),
    Act("resume", "w", "Hands out, heat on", "resume", fits=paused),
    Act("lock", "k", "Lock the buttons", "lock", {"at": "on"}, fits=lambda scene: not scene.locked),
    Act("unlock", "k", "Unlock the buttons", "lock", {"at": "off"}, fits=lambda scene: scene.locked),
    Act("finish", "e", "The dipping is over", "finish", {"to": "rest"}, final=True,
        steps=("settle", "test", "work", "change", "melted")),
    Act("stop", "Ctrl-C", "Stop the hold", "stop", final=True),
)
BY_NAME = {act.name: act for act in ACTS}


def too_soon(scene: Scene) -> str:
    """Why a yes comes too soon: nothing sets so fast, and the board would move on to the dipping. Else empty."""
    if scene.piece_s is None or scene.t_s - scene.piece_s >= terms.LEAST_SET_S:
        return ""
    return (f"the test piece has lain for {scene.t_s - scene.piece_s:.0f} s, and nothing sets within "
            f"{terms.LEAST_SET_S} s. Yes once it has set, no if it is streaked, one step back to dip another")


def too_warm(scene: Scene, cool_c: float | None) -> str:
    """Why a yes during the cooling is doubted: a bowl this warm has no crystals that last. Empty if it is not.

    Parameters
    ----------
    scene : Scene
        The moment.
    cool_c : float or None
        To what this chocolate is cooled where it is warmed back, °C.
    """
    status = scene.status
    if status is None or status.bowl is None or status.est:
        return ""
    bowl_c, until_c = status.bowl / 1000, {"seed_in": scene.window.high_c, "cool_down": cool_c}.get(status.ask)
    if until_c is None or not bowl_c > until_c + STILL_WARM_K:
        return ""
    more = "add seed and stir" if status.ask == "seed_in" else "stir on"
    return (f"the chocolate reads {bowl_c:.1f} °C, and crystals that last form near {until_c:g} °C: {more}. Yes "
            "again continues anyway")


def waits(scene: Scene) -> str:
    """What to say to a yes that changes nothing yet: the warmer asks when it is time. Else empty."""
    status = scene.status
    steps = stages.BY_NAME[status.stage][stages.STEPS] if status is not None and status.stage in stages.BY_NAME else ()
    step = next((each for each in steps if status is not None and each[stages.ASK] == status.ask), None)
    moves_on = step is not None and step[stages.YES] not in (None, "answered")  # which ends a question
    if status is None or step is None or moves_on or step[stages.UNTIL] is None:
        return ""
    if step is not stages.SWAP or status.water is None:
        return "noted, but there is nothing to answer yet: the warmer asks when there is"
    return (f"noted; it continues by itself once the {scene.bath} is under {scene.window.ceiling_c:g} °C; it is at "
            f"{status.water / 1000:.1f} °C")


def offered(scene: Scene) -> list[Act]:
    """The acts that the warmer accepts at this moment, in the table's order."""
    if scene.status is None:
        return []
    state, step = scene.status.state, scene.status.stage
    return [
        act for act in ACTS
        if act.fits(scene) and (state in commands.RUNNING or act.do in AT_REST) and (not act.steps or step in act.steps)
        and not (act.answers and paused(scene)) and (act.do != "lock" or scene.panel)
    ]


def of_key(key: str, scene: Scene) -> Act | None:
    """The act of a key at this moment, also where the warmer will refuse it: its refusal says why."""
    return next((act for act in ACTS if act.key == key and act.fits(scene)), None)


def end_question(scene: Scene) -> str:
    """The question before `finish`: that key is easily hit."""
    stage = scene.status.stage if scene.status else ""
    over = "Is the dipping over?" if stage in DIPS else f"End the evening at this step, {terms.stage(stage)}?"
    return f"{over} e once more ends it and the heat goes off; any other key: no"


class Reply(NamedTuple):
    """How an act from outside went: was it done, and a sentence for the person."""

    done: bool
    words: str


COMING = "coming"  # no act of the warmer: somebody is on their way, and alarms rest
COMES = Reply(True, "Good. Alarms rest for five minutes.")
MANY = Reply(False, "Not sent: too many acts at once. Wait a few seconds.")
AT_WARMER = Reply(False, "Not sent: the board restarted, and only somebody at the warmer can resume the hold.")
OVER = Reply(False, "Not sent: the hold is over.")
LATE = Reply(False, "It did not arrive in time, and is not done later. Do it at the warmer, or try again.")


class Wish(NamedTuple):
    """An act from outside; `seen` is what the warmer asked when the person answered. It is begun in time or never."""

    act: Act
    seen: str
    until_s: float
    reply: Future[Reply]


class Inbox:
    """Acts from other threads on their way to the hold: a few at most, and none waits for ever.

    Parameters
    ----------
    most : int
        How many acts may wait.
    invite : callable, optional
        Makes a sentence that lets one more phone in.
    clock_s : callable
        A clock that never goes back, the same in each program of this PC.
    """

    def __init__(
        self, most: int = MOST_WAITING, invite: Callable[[], str] | None = None,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.invite, self._clock_s = invite, clock_s
        self._waiting: queue.Queue[Wish] = queue.Queue(most)
        self._over = False

    def put(self, act: Act, seen: str, pressed_s: float | None = None) -> Future[Reply]:
        """Hand an act over. Cancel the future to withdraw an act that the hold has not begun.

        Parameters
        ----------
        act : Act
            What to do.
        seen : str
            What the warmer asked when the person answered.
        pressed_s : float, optional
            When it was pressed; without it, now.

        Raises
        ------
        queue.Full
            If too many acts wait already.
        """
        wish = Wish(act, seen, (self._clock_s() if pressed_s is None else pressed_s) + BEGINS_S, Future())
        self._waiting.put_nowait(wish)
        if self._over:
            self.close()
        return wish.reply

    def close(self) -> None:
        """The hold is over: what waits and what comes is answered so at once."""
        self._over = True
        while (wish := self.take()) is not None:
            wish.reply.set_result(OVER)

    def take(self) -> Wish | None:
        """The next act that was neither withdrawn nor too late, or None: this program may have stood still."""
        while True:
            try:
                wish = self._waiting.get_nowait()
            except queue.Empty:
                return None
            if not wish.reply.set_running_or_notify_cancel():
                continue
            if self._clock_s() <= wish.until_s:
                return wish
            wish.reply.set_result(LATE)
