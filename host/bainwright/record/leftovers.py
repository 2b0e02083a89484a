"""What an evening leaves: its mass and history, and whether it may be tempered again."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Annotated

import msgspec

from bainwright.core.bounds import ChocolateKg, TempC, TimesMelted
from bainwright.core.masses import Shown
from bainwright.core.read_file import read_struct
from bainwright.files.chocolate import overheated
from bainwright.physics.kitchen import SEIZES_FROM
from bainwright.record.taken_back import save_entry
from bainwright.words import terms

STOCK = "stock.json"
OFTEN = 4  # meltings, chosen: no source gives a number; each adds dust, water from the air and a little more heat

FIT, KEEP_APART, DISCARD, NOT_FIT = "fit", "fit, kept apart", "discard", "not fit"
NOT_KNOWN = "not known"


FACTOR_LOW, FACTOR_HIGH = 0.5, 2.0  # of what was planned; chosen: beyond it a mass was mistyped
Factor = Annotated[float, msgspec.Meta(ge=FACTOR_LOW, le=FACTOR_HIGH)]


class Leftovers(msgspec.Struct, forbid_unknown_fields=True):
    """The record of what one evening left.

    Attributes
    ----------
    name, kind : str
        The chocolate.
    left_kg : float or None
        Spread, set, and weighed.
    times_melted : int
        How often it was melted, this evening included.
    water : bool
        Whether water got into it.
    grains : bool
        Whether it has lumps that do not melt.
    allergens : list of str
        What else got into it.
    peak_c, never_above_c : float or None
        The warmest it was, °C, and the most it may ever reach, both over every evening it was melted.
    of, of_hold : str
        The hold whose leftovers were melted again this evening: its name, and what it is found by under any other
        name (`archive.identity`, short). Empty for fresh chocolate.
    melt_kg, seed_kg, seed_factor : float or None
        What was weighed, and the seed used over the seed planned for that melt.
    melt_factor : float or None
        Time the melt took over the time planned for it.
    rig : str
        The warmer.
    verdict, why : str
        Whether it may be tempered again, and the reason in a sentence.
    at : str
        When this was entered, ISO.
    """

    name: str
    kind: str
    left_kg: ChocolateKg | None = None
    times_melted: TimesMelted = 1
    water: bool = False
    grains: bool = False
    allergens: list[str] = []
    peak_c: TempC | None = None
    never_above_c: TempC | None = None
    of: str = ""
    of_hold: str = ""
    melt_kg: ChocolateKg | None = None
    seed_kg: ChocolateKg | None = None
    seed_factor: Factor | None = None
    melt_factor: Factor | None = None
    rig: str = ""
    verdict: str = FIT
    why: str = ""
    at: str = ""

    def words(self, shown: Shown) -> str:
        """The record in a sentence."""
        mass = "not weighed" if self.left_kg is None else shown.mass(self.left_kg)
        times = "once" if self.times_melted == 1 else f"{self.times_melted} times"
        seed = "" if self.seed_factor is None else f" It took {self.seed_factor:.2f} times the planned seed."
        melt = "" if self.melt_factor is None else f" It melted in {self.melt_factor:.2f} times the planned time."
        kind = terms.kind(self.kind)
        what = kind if self.name == kind else f"{self.name} ({kind})"
        if self.left_kg == 0.0:
            return f"{what}, nothing left, melted {times}.{seed}{melt}"
        return f"{what}, {mass}, melted {times}: {self.why}{seed}{melt}"


def judge(left: Leftovers, never_above_c: float | None) -> tuple[str, str]:
    """Decide whether it may be tempered again: the verdict and a sentence.

    Parameters
    ----------
    left : Leftovers
        What is known of it.
    never_above_c : float or None
        The most this chocolate may ever reach, °C.
    """
    if left.water:
        least, most = (100.0 * share for share in SEIZES_FROM)
        return DISCARD, (f"discard it: bath water is not drinking water, and chocolate seizes with {least:g} to "
                         f"{most:g} % of it.")
    if left.peak_c is not None and never_above_c is not None and overheated(left.peak_c, never_above_c):
        return NOT_FIT, (f"not fit to temper: it reached {left.peak_c:.1f} °C, and {never_above_c:g} °C is its limit; "
                         "use it for baking.")
    if left.grains:
        return NOT_FIT, ("not fit to temper: lumps that do not melt were overheated; use it for baking. If water got "
                         "in, discard it (bain stock HOLD --water).")
    if never_above_c is None:
        return NOT_KNOWN, ("the record does not say how warm this chocolate may get: look and feel for grains in a "
                           "melted spoonful before you temper it again.")
    if left.peak_c is None:
        return NOT_KNOWN, (f"nobody measured how warm it got, and {never_above_c:g} °C is its limit: look and feel for "
                           "grains in a melted spoonful before you temper it again.")
    often = (f" It was melted {left.times_melted} times: use it up, or as a small part of fresh chocolate."
             if left.times_melted >= OFTEN else "")
    if left.allergens:
        return KEEP_APART, (f"fit to temper again, but keep it apart and label it: {', '.join(left.allergens)} got "
                            f"into it. Never call it free of anything.{often}")
    return FIT, f"fit to temper again: melt all of it first.{often}"


def united(left: Leftovers, other: Leftovers) -> Leftovers:
    """A record with what got into another one, and the most that both were warmed."""
    return msgspec.structs.replace(
        left, water=left.water or other.water, grains=left.grains or other.grains,
        allergens=sorted({*left.allergens, *other.allergens}), peak_c=most_c(left.peak_c, other.peak_c),
        never_above_c=least_c(left.never_above_c, other.never_above_c))  # fmt: skip


def most_c(*temps_c: float | None) -> float | None:
    """The warmest of those that are known."""
    return max((temp_c for temp_c in temps_c if temp_c is not None), default=None)


def least_c(*temps_c: float | None) -> float | None:
    """The coldest of those that are known."""
    return min((temp_c for temp_c in temps_c if temp_c is not None), default=None)


def read_leftovers(folder: Path) -> Leftovers | None:
    """The record of an evening's leftovers, or None.

    Raises
    ------
    FileError
        When the file is not such a record.
    """
    path = folder / STOCK
    if not os.path.isfile(path):
        return None
    return read_struct(path, Leftovers, "a record of leftovers")


def save_leftovers(folder: Path, left: Leftovers) -> None:
    """Write the record whole; the one it replaces can be brought back."""
    save_entry(folder / STOCK, json.dumps(msgspec.to_builtins(left), indent=2) + "\n")
