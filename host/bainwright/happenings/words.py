"""What the readings show that nobody announced, in plain sentences: when, how much, and what to look at."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from bainwright.core.units import duration_words
from bainwright.happenings import kinds as found
from bainwright.happenings.balance import ENDLESS
from bainwright.happenings.jumps import Jump
from bainwright.happenings.kinds import Happening
from bainwright.happenings.stray import Stray
from bainwright.physics.materials import WATER_J_PER_KGK
from bainwright.words.plate import for_bath

TAP_C = 15.0  # chosen: cold water from the tap; the words say so
STOCK_C, COOLED_C = 40.0, 25.0  # chosen: melted stock, and stock that cooled but still pours; the words say so
LEAST_APART_K = 3.0  # chosen: from a refill as warm as the bowl no mass follows
EXTREME_K = 8.0  # chosen: a bath this far from its bowl moves it within a minute by what nothing else needs to explain
SURE = 20.0  # chosen: at this strength 97 in 100 were true on the evenings that were judged

ADVICE = {
    found.COOLED: "An open door or window, a lid off, or a fan?",
    found.CHOCOLATE_COOLED: "Was the lid off, or the bowl tilted out of the water?",
    found.WATER_COOLED: "Was the ring round the bowl uncovered, or cold water poured in slowly?",
    found.HEATED: "Sun, a stove, or something warm poured in?",
    found.LIFTED: ("Was it out of the bath, without its lid or in a strong draught, did something cold go in, or is "
                   "little left in it?"),
}
WEAKER = (found.COOLED, found.WATER_COOLED)  # what less heat than the duty says looks like
SLOW = {
    found.COOLED: "bath and bowl lost more heat than usual",
    found.CHOCOLATE_COOLED: "the bowl lost more heat than usual",
    found.WATER_COOLED: "the bath lost more heat than usual",
    found.HEATED: "heat came that the heater did not give",
}


def sentence(each: Happening, water_c: float, clock: Callable[[float], str], known: bool = False,
             bowl_c: float = math.nan) -> str:
    """One happening in a sentence or two.

    Parameters
    ----------
    each : Happening
        What was found.
    water_c : float
        The water before it, °C.
    clock : callable
        A moment of the hold, s, as a time of day.
    known : bool
        Somebody announced it.
    bowl_c : float, optional
        The chocolate before it, °C; without it no refill's mass is said.
    """
    lasted = "until the end" if each.lasted_s == ENDLESS else f"for about {duration_words(each.lasted_s)}"
    at = clock(each.at_s) + (": " if each.strength >= SURE else ", probably: ")
    moved = f"the bowl {'fell' if each.bowl_k < 0 else 'rose'} by {abs(_read_k(each)):.1f} °C"
    if each.kind == found.TOP_UP:
        litres = -each.water_j / (WATER_J_PER_KGK * max(water_c - TAP_C, 1.0))
        return f"{at}cold water came into the bath, about {litres:.2f} L if it was at {TAP_C:g} °C."
    if each.kind == found.HOT_WATER:
        return (f"{at}the bath rose by {each.water_k:.1f} °C at once. Did hot water come in, or was much water taken "
                "out?")
    if each.kind in (found.COLD_REFILL, found.WARM_REFILL):
        than = "colder" if each.kind == found.COLD_REFILL else "warmer"
        if each.strength < SURE and each.kind == found.WARM_REFILL:
            return (f"{at}{moved} within minutes. Was warmer chocolate poured in, or was it stirred after a long rest, "
                    "so that it took more heat from its bath?")
        perhaps = "" if known else ", unless its probe moved"
        return f"{at}chocolate {than} than the bowl was poured in: {moved} at once{_mass(each, bowl_c)}{perhaps}."
    if each.kind == found.PROBE_SLIPPED:
        than = "less" if each.bowl_k < 0 else "more"
        return (f"{at}the bowl's probe has shown {abs(each.bowl_k):.1f} °C {than} since then, against its bath. Has it"
                " slipped, or does it touch the wall? The chocolate may be that much"
                f" {'warmer' if each.bowl_k < 0 else 'colder'} than shown.")
    if each.kind == found.LIFTED:
        return f"{at}the bowl lost heat quickly, {lasted}: {moved}. {ADVICE[each.kind]}"
    weaker = " Or does the heater give less?" if each.kind in WEAKER and each.lasted_s == ENDLESS else ""
    return f"{at}{SLOW[each.kind]}, {lasted}. {ADVICE[each.kind]}{weaker}"


def _mass(each: Happening, bowl_c: float) -> str:
    """How much that was. The record does not show how full the bowl was, so for each kilogram in it."""
    refill_c = COOLED_C if each.kind == found.COLD_REFILL else STOCK_C
    share = poured_share(each.bowl_k, bowl_c, refill_c)
    apart_k = abs(refill_c - bowl_c - each.bowl_k)
    if not (share > 0.0 and apart_k >= LEAST_APART_K):
        return ""
    return f", as from about {round(100.0 * share) * 10} g at {refill_c:g} °C for each kg that it held"


def poured_share(moved_k: float, bowl_c: float, refill_c: float) -> float:
    """A refill's mass over the mass in the bowl, from how far it moved the bowl: plain mixing."""
    return moved_k / (refill_c - bowl_c - moved_k)


def _read_k(each: Happening) -> float:
    """A reader takes a fall for the difference of two readings."""
    return each.bowl_k if each.read_k is None else each.read_k


def left(each: Stray, clock: Callable[[float], str], bath: str) -> str:
    """A bowl that fell over a warmer bath, which the balance does not explain."""
    return for_bath(f"{clock(each.at_s)}: the chocolate fell from {each.from_c:.1f} to {each.to_c:.1f} °C in "
                    f"{duration_words(each.lasted_s)}, though the water was {each.over_k:.0f} °C warmer by then: it "
                    "was not in its bath, or in a strong draught.", bath)  # fmt: skip


def jumped(each: Jump, clock: Callable[[float], str], bath: str) -> str:
    """A reading that changed by more than heater and bath can, which the balance does not explain."""
    rose, what = each.to_c > each.from_c, "chocolate" if each.store == "bowl" else bath
    over = "a minute or two" if each.lasted_s < 150.0 else f"{each.lasted_s / 60.0:.0f} min"
    said = f"{clock(each.at_s)}: the {what} went from {each.from_c:.1f} to {each.to_c:.1f} °C in {over}."
    if each.store == "bowl":
        toward_k = each.bath_c - each.from_c if rose else each.from_c - each.bath_c
        if toward_k > EXTREME_K:
            return f"{said} The {bath} was at {each.bath_c:.1f} °C."
        return f"{said} Was something {'warmer' if rose else 'colder'} poured in, or the probe moved?"
    if bath == "plate":
        return f"{said} Did its probe move, or the bowl?"
    return f"{said} Did {'hot' if rose else 'cold'} water come in, or was the probe out of it?"


def lifted(each: Happening, lasted_s: float, at: str) -> str:
    """A lift that was announced, with what the readings show of it.

    Parameters
    ----------
    each : Happening
        What was found.
    lasted_s : float
        How long the bowl was off, by the announcements.
    at : str
        The time of day.
    """
    fell_k = abs(_read_k(each))
    return f"{at}: the bowl was off for {duration_words(lasted_s)}, as announced, and fell by {fell_k:.1f} °C."


def as_json(each: Happening) -> dict[str, Any]:
    """The same for a program; a happening without an end has no length."""
    return {"t_s": each.at_s, "lasted_s": None if each.lasted_s == ENDLESS else each.lasted_s, "kind": each.kind,
            "water_j": each.water_j, "bowl_j": each.bowl_j, "water_c": each.water_k, "bowl_c": each.bowl_k,
            "bowl_read_c": each.read_k, "strength": each.strength}  # fmt: skip
