"""What an evening leaves: weighed, with its history, may it be tempered again, and what its seed came to."""

from __future__ import annotations

import json
import statistics
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from bainwright.core.errors import FileError, UseError
from bainwright.core.masses import Shown, parse_mass_kg
from bainwright.core.os_errors import reason
from bainwright.files.chocolate import CAPS, Profile
from bainwright.files.rig import Rig
from bainwright.physics.kitchen import SEIZES_FROM
from bainwright.record.reader import FACTS, HoldLog, folder_of, read_log
from bainwright.record.temper_tests import chocolate_at
from bainwright.record.writer import HOLDS
from bainwright.words import terms

STOCK = "stock.json"
MOST_KG = 20.0  # settings: chocolate_kg
OFTEN = 4  # meltings, chosen: no source gives a number; each takes up dust, water from the air and a little more heat
FACTOR_LOW, FACTOR_HIGH = 0.5, 2.0  # as plan's --seed-factor
SETTLES_S = 300.0  # chosen: the last seed has melted, and a bath at the window's top has hardly moved the bowl
EVENINGS = 5  # so many past evenings correct a plan; chosen: a person's habit, and it may change

FIT, KEEP_APART, DISCARD, NOT_FIT = "fit", "fit, kept apart", "discard", "not fit"
Say = Callable[..., None]


class Left(msgspec.Struct, forbid_unknown_fields=True):
    """The record of what one evening left.

    Attributes
    ----------
    name, kind : str
        The chocolate.
    left_kg : float or None
        Spread, set, and weighed.
    times_melted : int
        This evening's melting included.
    water : bool
        Did water get into it?
    grains : bool
        Does it have lumps that do not melt?
    allergens : list of str
        What else got into it.
    peak_c : float or None
        The warmest it was.
    of : str
        The hold whose leftovers went into this evening; empty for fresh chocolate.
    melt_kg, seed_kg, seed_factor : float or None
        What was weighed, and the seed used over the seed planned for that melt.
    verdict, why : str
        May it be tempered again, and in a sentence.
    at : str
        When this was told, ISO.
    """

    name: str
    kind: str
    left_kg: float | None = None
    times_melted: int = 1
    water: bool = False
    grains: bool = False
    allergens: list[str] = []
    peak_c: float | None = None
    of: str = ""
    melt_kg: float | None = None
    seed_kg: float | None = None
    seed_factor: float | None = None
    verdict: str = FIT
    why: str = ""
    at: str = ""

    def words(self, shown: Shown) -> str:
        """In a sentence."""
        mass = "not weighed" if self.left_kg is None else shown.mass(self.left_kg)
        times = "once" if self.times_melted == 1 else f"{self.times_melted} times"
        seed = "" if self.seed_factor is None else f" It took {self.seed_factor:.2f} times the seed planned."
        return f"{self.name} ({terms.kind(self.kind)}), {mass}, melted {times}: {self.why}{seed}"


def judge(left: Left, never_above_c: float) -> tuple[str, str]:
    """May it be tempered again? The verdict and a sentence.

    Parameters
    ----------
    left : Left
        What is known of it.
    never_above_c : float
        What the chocolate must never meet.
    """
    if left.water:
        least, most = (100.0 * share for share in SEIZES_FROM)
        return DISCARD, (f"discard it: bath water is no drinking water, and from {least:g} to {most:g} % of it "
                         "chocolate seizes.")
    if left.peak_c is not None and left.peak_c > never_above_c:
        return NOT_FIT, (f"not fit to temper: it was at {left.peak_c:.1f} °C, {never_above_c:g} °C is the most it "
                         "bears; for baking it will do.")
    if left.grains:
        return NOT_FIT, "not fit to temper: lumps that do not melt were overheated or met water; for baking it will do."
    often = (f" It was melted {left.times_melted} times: use it up, or as a small part of fresh chocolate."
             if left.times_melted >= OFTEN else "")
    if left.allergens:
        return KEEP_APART, (f"fit to temper again, but kept apart and labelled: {', '.join(left.allergens)} got into "
                            f"it; say nothing is free from it.{often}")
    return FIT, f"fit to temper again: melt all of it first.{often}"


def read_left(folder: Path) -> Left | None:
    """What is kept of an evening's leftovers, or None.

    Raises
    ------
    FileError
        When the file is no such record.
    """
    path = folder / STOCK
    if not path.is_file():
        return None
    try:
        return msgspec.json.decode(path.read_bytes(), type=Left)
    except (OSError, msgspec.MsgspecError) as failed:
        raise FileError(f"{path} is no record of what was left", got=str(failed)) from failed


def keep_left(folder: Path, left: Left) -> None:
    """Write it: old or new, never half."""
    fresh = folder / (STOCK + ".new")
    try:
        fresh.write_text(json.dumps(msgspec.to_builtins(left), indent=2) + "\n")
        fresh.replace(folder / STOCK)
    except OSError as failed:
        raise FileError(f"{folder / STOCK} cannot be written", got=reason(failed)) from failed


def past_factor(kind: str, parent: Path = HOLDS) -> tuple[float, int] | None:
    """What past evenings of a kind make of the seed planned, and how many they were; None when nobody noted any.

    The median of used over planned, so that one evening with an open window does not make the next plan, drawn towards
    1 as if one evening more had gone by the plan: half a kelvin read wrong is a seventh of the seed. A record that
    cannot be read is passed over, for a plan is no place to complain of it.
    """
    found = []
    for path in parent.glob(f"*/{STOCK}"):
        try:
            left = read_left(path.parent)
        except FileError:
            continue
        if left is not None and left.kind == kind and left.seed_factor is not None:
            found.append((left.at, left.seed_factor))
    last = [factor for _, factor in sorted(found)[-EVENINGS:]]
    if not last:
        return None
    return 1.0 + (statistics.median(last) - 1.0) * len(last) / (len(last) + 1.0), len(last)


# -- the command -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class StockAsked:
    """The options as typed."""

    log: str | None
    left: str | None = None
    melt: str | None = None
    seed: str | None = None
    of: str | None = None
    water: bool = False
    grains: bool = False
    allergens: tuple[str, ...] = ()


def stock_and_tell(asked: StockAsked, shown: Shown, *, as_json: bool, say: Say) -> int:
    """`bain stock`: keep what an evening left, or tell what is kept.

    Returns
    -------
    int
        The exit status: 1 when something told of is not to be tempered again.
    """
    if asked.log is None:
        if _tells(asked):
            raise UseError("of which evening?", wanted="the hold's folder", hint="for instance holds/dark-1")
        found = [(path.parent, left) for path in sorted(HOLDS.glob(f"*/{STOCK}")) if (left := read_left(path.parent))]
    else:
        folder = folder_of(asked.log)
        left = _told(folder, asked) if _tells(asked) else read_left(folder)
        found = [(folder, left)] if left else []
    if as_json:
        say(json.dumps([{"folder": str(at), **msgspec.to_builtins(left)} for at, left in found], indent=2,
                       ensure_ascii=False))
    else:
        for at, left in found:
            say(f"{at}: {left.words(shown)}")
    if not found:
        where = f"under {HOLDS}/" if asked.log is None else f"of {asked.log}"
        say(f"bain: nothing is kept {where}; --left 640g keeps what an evening left", err=True)
    return 1 if any(left.verdict in (DISCARD, NOT_FIT) for _, left in found) else 0


def _tells(asked: StockAsked) -> bool:
    return bool(asked.left or asked.melt or asked.seed or asked.of or asked.water or asked.grains or asked.allergens)


def _told(folder: Path, asked: StockAsked) -> Left:
    """The record with what was told added; a mishap once told stays."""
    log = read_log(folder)
    doc = log.facts.get("profile")
    if not isinstance(doc, dict) or "kind" not in doc:
        raise FileError(f"{FACTS} does not say which chocolate this was", hint="a hold's folder of this version has it")
    last = chocolate_at(log.events, log.facts, float("inf"))  # the bowl that the evening ended with is what is left
    before = read_left(folder) or Left(str(last.get("name")), str(last["kind"]))
    began_s = max((float(event["t_s"]) for event in log.events if event.get("event") == "changed"), default=0.0)
    known = log["bowl_c"][np.isfinite(log["bowl_c"]) & (log["t_s"] >= began_s)]
    earlier = _of(asked.of, before, folder)
    left = msgspec.structs.replace(
        before,
        left_kg=_mass(asked.left, "--left", before.left_kg),
        melt_kg=_mass(asked.melt, "--melt", before.melt_kg),
        seed_kg=_mass(asked.seed, "--seed", before.seed_kg),
        of=asked.of or before.of,
        times_melted=before.times_melted if asked.of is None else 1 + (earlier.times_melted if earlier else 0),
        water=before.water or asked.water or bool(earlier and earlier.water),
        grains=before.grains or asked.grains or bool(earlier and earlier.grains),
        allergens=sorted({*before.allergens, *asked.allergens, *(earlier.allergens if earlier else [])}),
        peak_c=float(known.max()) if known.size else None,
        at=datetime.now(UTC).isoformat(timespec="seconds"),
    )
    if began_s and (asked.melt or asked.seed):
        raise UseError("this evening had a second bowl, and its seeding is not in the log",
                       hint="leave --melt and --seed out")
    left.seed_factor = None if began_s else _factor(left, log, doc)
    left.verdict, left.why = judge(left, float(last.get("never_above_c", CAPS["milk"].never_above_c)))
    keep_left(folder, left)
    return left


def _mass(text: str | None, option: str, before: float | None) -> float | None:
    return before if text is None else parse_mass_kg(text, option, 0.0, MOST_KG)


def _of(name: str | None, before: Left, folder: Path) -> Left | None:
    """The record of the evening whose leftovers went into this one."""
    if name is None:
        return None
    if Path(name).resolve() == folder.resolve():
        raise UseError("--of names this evening itself", hint="name the one before, whose leftovers were melted again")
    earlier = read_left(Path(name))
    if earlier is None:
        raise UseError(f"nothing is kept of {name}", hint=f"bain stock {name} --left 640g first")
    if earlier.kind != before.kind:
        raise UseError(f"{name} left {terms.kind(earlier.kind)}", wanted=terms.kind(before.kind),
                       hint="two kinds melted together are neither")
    return earlier


def _factor(left: Left, log: HoldLog, doc: dict[str, Any]) -> float | None:
    """Seed used over what the plan gives for the same melt, from where it started to where it ended."""
    if left.melt_kg is None or left.seed_kg is None:
        if (left.melt_kg is None) != (left.seed_kg is None):
            raise UseError("seed is judged against its melt", wanted="--melt MASS and --seed MASS",
                           hint="the melt as it was before any seed went in")
        return None
    from bainwright.plan.parts import Wanted
    from bainwright.plan.planner import make_plan

    profile = Profile(**{name: doc[name] for name in doc if name in Profile.__dataclass_fields__})
    settings = log.facts.get("rig")
    if not isinstance(settings, dict):
        raise FileError(f"{FACTS} does not say on which warmer this was", hint="a hold's folder of this version has it")
    room_c = float(log.facts.get("room_c") or settings["room_c"])
    total_kg = left.melt_kg + left.seed_kg
    melt_c, end_c = _ends(log, profile)
    rig = Rig(str(settings["name"]), {**settings, "chocolate_kg": max(total_kg, settings["chocolate_kg"])})
    plan = make_plan(Wanted(profile, rig, total_kg, room_c, 0.5, melt_c, end_c, room_c, room_c, 15.0, 3600.0))
    assert plan.seed is not None
    factor = left.seed_kg / left.melt_kg * (1.0 - plan.seed.share) / plan.seed.share
    if not FACTOR_LOW <= factor <= FACTOR_HIGH:
        raise UseError("--seed", got=f"{factor:.2f} times what the plan gives for that melt",
                       wanted=f"{FACTOR_LOW:g} to {FACTOR_HIGH:g} times", hint="check the two masses and their units")
    return round(factor, 3)


def _ends(log: HoldLog, profile: Profile) -> tuple[float, float]:
    """Where the seeding began and ended, by the log where it has the seeding, else as the chocolate is planned.

    It ended where the bowl settled: at the yes some of the last handful is still melting.
    """
    known = np.isfinite(log["bowl_c"])
    seeding = known & (log["stage"] == "seed")
    bowl_c = log["bowl_c"][seeding]
    if not bowl_c.size or not bowl_c.max() > profile.high_c + 5.0 or not bowl_c[-1] < profile.ceiling_c:
        return profile.melt_c, profile.high_c
    until_s = log["t_s"][seeding][-1] + SETTLES_S
    settled = log["bowl_c"][known & (log["stage"] == "settle") & (log["t_s"] <= until_s)]
    ended_c = float(settled[-1] if settled.size else bowl_c[-1])
    return float(bowl_c.max()), max(profile.low_c, min(ended_c, 33.0))
