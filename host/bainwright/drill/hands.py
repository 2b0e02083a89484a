"""Who does what the drill asks for: a person at a real warmer, or virtual hands at a simulated one."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol

from bainboard import pins
from bainwright.core.errors import LinkError, UseError
from bainwright.core.progress import progress
from bainwright.drill.heater_power import numbers
from bainwright.drill.items import PASS_S, Item
from bainwright.drill.plate_words import worded
from bainwright.files.rig import Rig
from bainwright.link import ports
from bainwright.link.session import LiveSession
from bainwright.virtual.scenario import Event, WaterSwap
from bainwright.virtual.session import VirtualSession

SILENCE_S = 20.0  # how long the PC is gone; chosen: many times the 15 s after which a transfer is dropped, no less
OUTAGE_S = 10.0
HOLD_BUTTON_MS = 4500  # the board asks for 3 s
# Two thirds of the bath each time, so that the probe never moves faster than water can move it (`trip.jump_c_per_s`).
HAND_WARM_C, HOT_C, COOL_C, POURED = 45.0, 85.0, 20.0, 0.67
SETTLED = 60  # passes in which the probe has come down with its water
UNHEATED_S = 300  # passes until the hold, now above its aim, gives no heat and has looked once where the rise came
# from: two drains, a look and a pulse, 250 s with a lag of 60 s
# A cup of stirred water takes a plate's probe as quickly as that (chosen: a steel tube); hot enough to pass the limit
# in two steps, which neither breaks a probe nor is a switch.
CUP_S, HOT_CUP_C = 6.0, 70.0
BETWEEN_POURS_S = 15.0  # a probe with a lag of 8 s has nearly followed, and no slow rise was seen (heat at rest)

Wait = Callable[[int], None]  # lets so many passes go by


class Hands(Protocol):
    """Whoever is at the warmer."""

    patience_s: float  # how long to wait for what they do

    def cannot(self, item: Item) -> str:
        """Why they cannot do an item; empty when they can."""

    def do(self, item: Item, wait: Wait) -> None:
        """Do what an item asks for."""

    def undo(self, item: Item, wait: Wait) -> None:
        """Put it right again."""

    def seen(self, question: str) -> bool:
        """Ask for what only eyes, ears and a meter can tell."""

    def measured(self, question: str) -> list[float]:
        """Ask for what a meter shows: one number or several."""

    def guard_open(self) -> bool:
        """Is the guard relay open now?"""

    def vanish(self) -> None:
        """Let the PC be gone for a while."""


class Person:
    """A person at a live board.

    Parameters
    ----------
    session : LiveSession
        The board.
    say : callable
        Shows them a line.
    read : callable
        Asks for a line, as `input` does.
    bath : str
        ``water`` or ``plate``: which words they read.
    """

    patience_s = 600.0  # chosen: to find a cup and warm some water

    def __init__(self, session: LiveSession, say: Callable[[str], None], read: Callable[[str], str] = input,
                 bath: str = "water") -> None:  # fmt: skip
        self._session, self._say, self._read, self._bath = session, say, read, bath

    def cannot(self, item: Item) -> str:
        """A person can."""
        return ""

    def do(self, item: Item, wait: Wait) -> None:
        """Show them what to do; where power goes and comes, wait until they say it is done."""
        item = worded(item, self._bath)
        self._say(f"  Do:   {item.do}\n  Then: {item.must}")
        if "Plug out" in item.do:
            self._line("  Press Return when that is done: ")

    def undo(self, item: Item, wait: Wait) -> None:
        """Show them what to put right, and wait until they say it is done."""
        if item.undo:
            self._say(f"  Now:  {worded(item, self._bath).undo}")
            self._line("  Press Return when that is done: ")

    def seen(self, question: str) -> bool:
        """Ask for yes or no until one is typed."""
        while True:
            answer = self._line(f"  {question} (y/n) ").strip().lower()
            if answer in ("y", "yes", "n", "no"):
                return answer[0] == "y"

    def measured(self, question: str) -> list[float]:
        """Ask until numbers are typed."""
        while True:
            found = numbers(self._line(f"  {question} "))
            if found:
                return found
            self._say("  Type what the meter shows, for instance 5.8, or 5.8 5.7 for two.")

    def guard_open(self) -> bool:
        """Ask them: they heard it."""
        return self.seen("Did the guard relay click open (a meter across its contacts shows no circuit)?")

    def vanish(self) -> None:
        """Close the port and open it again."""
        self._session.link.transport.close()
        with progress("  the PC is silent", SILENCE_S) as silent:
            for second in range(round(SILENCE_S)):
                silent(second)
                time.sleep(1.0)
        if not self._session.reopen():
            raise LinkError("the board was not found again", hint="look at the cable; bain drill resumes there")

    def _line(self, question: str) -> str:
        try:
            return self._read(question)
        except EOFError:
            raise UseError("the drill needs a person to answer", hint="run it in a terminal") from None


FAULTS = {"switch_link": "switch_shorted", "guard_link": "guard_welded", "bowl_probe": "bowl_open",
          "water_probe": "water_open", "float": "water_low"}  # fmt: skip


class VirtualHands:
    """Virtual hands do every step at a simulated warmer.

    Parameters
    ----------
    session : VirtualSession
        The board.
    rig : Rig
        Its warmer.
    """

    patience_s = 120.0

    def __init__(self, session: VirtualSession, rig: Rig) -> None:
        self._session, self._water_l, self._bath = session, float(rig.settings["water_l"]), rig.plant.bath

    def cannot(self, item: Item) -> str:
        """They can."""
        return ""

    def do(self, item: Item, wait: Wait) -> None:
        """Break the part, pour the water, press, cut the power."""
        board = self._session.board
        if item.name in FAULTS:
            board.fault(FAULTS[item.name])
        elif item.name == "hot_water":
            self._water(HAND_WARM_C, HAND_WARM_C)
            wait(UNHEATED_S)
            self._water(HOT_C, HOT_CUP_C)
        elif item.name == "button":
            wait(2)  # one that is down when the board first looks is no press
            board.press("recessed", HOLD_BUTTON_MS)
        elif item.name == "latch_kept":
            board.power_cut(OUTAGE_S)

    def undo(self, item: Item, wait: Wait) -> None:
        """Repair the part, pour the water back."""
        if item.name in FAULTS:
            self._session.board.fault(FAULTS[item.name], on=False)
        elif item.name == "hot_water":
            self._cool(wait)
        wait(3)

    def seen(self, question: str) -> bool:
        """Nothing is asked of it."""
        raise UseError("nobody can look at a simulated warmer", got=question)

    def measured(self, question: str) -> list[float]:
        """Nothing is asked of it."""
        raise UseError("nobody can measure a simulated warmer", got=question)

    def guard_open(self) -> bool:
        """Look at its pin."""
        return bool(self._session.board.report()["pins"][pins.RP2["guard"]] == 0)

    def vanish(self) -> None:
        """Read nothing for a while."""
        board = self._session.board
        back_s = board.report()["now_s"] + SILENCE_S
        self._session.link.transport.close()
        while board.report()["now_s"] < back_s:
            time.sleep(PASS_S / 50)
        self._session.link.replace(ports.open_port(board.path))

    def _water(self, poured_c: float, cup_c: float) -> None:
        """Water is poured into a bath; a plate's probe goes into a cup."""
        if self._bath == "plate":
            self._session.board.hand("water", temp_c=cup_c, within_s=CUP_S)
        else:
            self._pour(poured_c)

    def _cool(self, wait: Wait) -> None:
        self._water(COOL_C, COOL_C)
        if self._bath != "plate":
            self._pour(COOL_C, BETWEEN_POURS_S)
        wait(SETTLED)
        self._session.board.hand("water", on=False)  # a plate's probe goes back

    def _pour(self, temp_c: float, after_s: float = 0.0) -> None:
        event: Event = WaterSwap(at_s=0.0, litres=POURED * self._water_l, temp_c=temp_c)
        self._session.board.apply_event(event, after_s)
