"""Hands for a simulated warmer: keys that pour, ladle, seed, dip, refill, stir and lift, to rehearse an evening."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from bainwright.core.errors import BainError
from bainwright.evening.watch import Watch
from bainwright.virtual import scenario as acts

COLD_C = 15.0  # tap water; the prompts take the same
SEED_C, REFILL_C = 20.0, 40.0  # seed at room temperature, a refill of melted stock
PART_L, POT_L, STIR_S, DIP_S = 0.2, 1.0, 30.0, 600.0  # a ladle, and a pot: a melt's bath takes about one


@dataclass(frozen=True)
class Hand:
    """What one key does: a word for the key line, what was done, and its events; ``away``: the bowl is off."""

    short: str
    words: str
    events: Callable[[bool], list[acts.Event]]


HANDS: dict[str, Hand] = {
    "1": Hand("swap", "0.2 L of the bath swapped for cold water",
              lambda away: [acts.WaterSwap(at_s=0, litres=PART_L, temp_c=COLD_C)]),
    "2": Hand("pour", "0.2 L of cold water poured in",
              lambda away: [acts.WaterTopUp(at_s=0, litres=PART_L, temp_c=COLD_C)]),
    "3": Hand("ladle", "0.2 L of water taken out", lambda away: [acts.WaterOut(at_s=0, litres=PART_L)]),
    "4": Hand("seed", "50 g of seed stirred in",
              lambda away: [acts.Seed(at_s=0, mass_kg=0.05, temp_c=SEED_C), acts.Stir(at_s=0, for_s=STIR_S)]),
    "5": Hand("dip", "dipping 100 g within ten minutes",
              lambda away: [acts.Dip(at_s=0, mass_kg=0.1, for_s=DIP_S)]),
    "6": Hand("refill", "refilled with 100 g at 40 °C",
              lambda away: [acts.Refill(at_s=0, mass_kg=0.1, temp_c=REFILL_C)]),
    "7": Hand("bowl", "the bowl lifted or set back",
              lambda away: [acts.BowlOn(at_s=0) if away else acts.BowlOff(at_s=0)]),
    "8": Hand("stir", "stirring for half a minute", lambda away: [acts.Stir(at_s=0, for_s=STIR_S)]),
    "9": Hand("cool", "the bowl set in cold water for half a minute, stirred",
              lambda away: [acts.ColdBath(at_s=0, for_s=STIR_S, temp_c=COLD_C), acts.Stir(at_s=0, for_s=STIR_S)]),
    "0": Hand("swap 1 L", "1 L of the bath swapped for cold water",
              lambda away: [acts.WaterSwap(at_s=0, litres=POT_L, temp_c=COLD_C)]),
}


def hands_line() -> str:
    """The keys and what they do, for the view."""
    return "  ".join(f"{key} {hand.short}" for key, hand in HANDS.items())


class VirtualHands:
    """Acts on the simulated warmer under a hold.

    Parameters
    ----------
    session : VirtualSession
        The virtual board.
    """

    def __init__(self, session: Any) -> None:
        self._session = session
        self._lifted = False

    def use(self, key: str, course: Watch) -> None:
        """Do what a key means; show a refusal."""
        hand = HANDS[key]
        try:
            for event in hand.events(self._lifted):
                self._session.act(event)
        except BainError as refused:
            course.show(f"not possible: {refused}")
            return
        if key == "7":
            self._lifted = not self._lifted
            course.show("your hands: the bowl is lifted off" if self._lifted else "your hands: the bowl is set back")
        else:
            course.show(f"your hands: {hand.words}")
