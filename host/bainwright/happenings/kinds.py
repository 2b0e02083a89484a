"""What may happen in a hold, and how a find of the search is called by the heat that came into each store."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bainwright.happenings.balance import ENDLESS, STEP_S, Balance

TOP_UP, HOT_WATER, COLD_REFILL, WARM_REFILL = "top_up", "hot_water", "cold_refill", "warm_refill"
LIFTED, COOLED, CHOCOLATE_COOLED, WATER_COOLED = "lifted", "cooled", "chocolate_cooled", "water_cooled"
HEATED, STIRRED, PROBE_SLIPPED = "heated", "stirred", "probe_slipped"

# All of these are chosen, on simulated evenings other than those that tests/bench/RESULTS.md judges.
SIDE_S, LONG_SIDE_S = 240.0, 480.0  # a line is fitted over this before and after; longer for one without an end
LIFTED_TIMES = 1.45  # a lifted bowl loses this much more than what it got before
LEFT_SHARE = 0.6  # the same where the water keeps its heat
POURED_SHARE = 0.2  # of the water's heat: chocolate that was poured in changes the bowl by more
SHARE = 0.3  # of the other store's heat; less is none


@dataclass(frozen=True)
class Happening:
    """Something that heater, bowl and room do not explain.

    Attributes
    ----------
    at_s, lasted_s : float
        When it began and how long it lasted, s; 0 is at once, infinity has no end.
    kind : str
        One of the kinds above.
    water_j, bowl_j : float
        Heat that came into each store, J, or J/h where it has no end; negative is lost.
    water_k, bowl_k : float
        The same as a change of temperature, °C.
    strength : float
        How many times its own spread it is.
    read_k : float, optional
        By how much the bowl's own reading fell from just before to its lowest, °C.
    """

    at_s: float
    lasted_s: float
    kind: str
    water_j: float
    bowl_j: float
    water_k: float
    bowl_k: float
    strength: float
    read_k: float | None = None


def end_s(each: Happening) -> float:
    """When it was over, s."""
    return each.at_s if each.lasted_s == ENDLESS else each.at_s + each.lasted_s


def happening_of(balance: Balance, at_s: float, length_s: float, water_k: float, bowl_k: float, strength: float
               ) -> Happening:
    water_j, bowl_j = balance.model.water_j_per_k * water_k, balance.model.bowl_j_per_k * bowl_k
    over_s = 3600.0 if length_s == ENDLESS else length_s
    kind = _at_once(water_j, bowl_j) if length_s == 0.0 else _kind(water_j, bowl_j, _fed_w(balance, at_s) * over_s)
    if kind == LIFTED and length_s == ENDLESS:  # nobody holds a bowl up for that long
        kind = CHOCOLATE_COOLED
    return Happening(at_s, length_s, kind, water_j, bowl_j, water_k, bowl_k, strength)


def _fed_w(balance: Balance, at_s: float) -> float:
    """The heat that the water gave the bowl each second before a moment, W."""
    before = (balance.t_s < at_s) & (balance.t_s >= at_s - SIDE_S)
    if np.count_nonzero(before) < 2:
        return 0.0
    return float(np.mean(np.diff(balance.bowl_flow_k[before]))) / STEP_S * balance.model.bowl_j_per_k


def _at_once(water_j: float, bowl_j: float) -> str:
    """What was poured in: into which store, and was it warmer or colder? A cold bowl takes heat from its water too."""
    if abs(bowl_j) < POURED_SHARE * abs(water_j):
        return TOP_UP if water_j < 0.0 else HOT_WATER
    return COLD_REFILL if bowl_j < 0.0 else WARM_REFILL


def _kind(water_j: float, bowl_j: float, fed_j: float) -> str:
    """Which store lost or gained. A bowl out of the water gets none of its heat and loses by its wall as well."""
    if bowl_j < -LIFTED_TIMES * fed_j or (water_j > -SHARE * bowl_j > 0.0 and bowl_j < -LEFT_SHARE * fed_j):
        return LIFTED
    in_water, in_bowl = abs(water_j) > SHARE * abs(bowl_j), abs(bowl_j) > SHARE * abs(water_j)
    if in_water and in_bowl and water_j * bowl_j < 0.0:
        return STIRRED
    if in_water and in_bowl:
        return COOLED if water_j < 0.0 else HEATED
    if in_bowl:
        return CHOCOLATE_COOLED if bowl_j < 0.0 else HEATED
    return WATER_COOLED if water_j < 0.0 else HEATED
