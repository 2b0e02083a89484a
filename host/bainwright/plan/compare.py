"""What an evening took, over what the plan gives for the same melt: its seed, and its melting time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from bainwright.core.errors import FileError, UseError
from bainwright.files.chocolate import Profile
from bainwright.files.rig import Rig
from bainwright.plan.planner import make_plan
from bainwright.plan.request import BatchRequest
from bainwright.plan.setup import Setup
from bainwright.plan.timing import STIRRED, melting
from bainwright.record.leftovers import FACTOR_HIGH, FACTOR_LOW
from bainwright.record.names import FACTS
from bainwright.record.reader import HoldLog

SETTLES_S = 300.0  # chosen: by then the last seed has melted, and a bath at the window's top has hardly moved the bowl
SEEDED_FROM_K = 5.0  # chosen: a seeding seen from its start begins this far over the window
COLD_START_C = 30.0  # chosen: a bowl warmer than this at the start is half melted already
HUMIDITY, COLD_C = 0.5, 15.0  # they move neither seed nor melting time
END_MOST_C = 33.0  # chosen: under the melting point of the seed, where the balance still holds


def seed_factor(melt_kg: float, seed_kg: float, log: HoldLog) -> float:
    """Seed used over seed planned for the same melt, from where the seeding began to where it ended.

    Raises
    ------
    FileError
        When the log does not say which warmer and chocolate it was.
    UseError
        When the two masses cannot belong together.
    """
    profile, settings, room_c = _evening(log)
    total_kg = melt_kg + seed_kg
    melt_c, end_c = _ends(log, profile)
    plan = make_plan(_request(profile, settings, room_c, total_kg, melt_c, end_c))
    assert plan.seed is not None
    factor = seed_kg / melt_kg * (1.0 - plan.seed.share) / plan.seed.share
    if not FACTOR_LOW <= factor <= FACTOR_HIGH:
        raise UseError("--seed", got=f"{factor:.2f} times what the plan gives for that melt",
                       wanted=f"{FACTOR_LOW:g} to {FACTOR_HIGH:g} times", hint="check the two masses and their units")
    return round(factor, 3)


def melt_factor(melt_kg: float, log: HoldLog) -> float | None:
    """Time the melt took over the time planned for its mass, or None for a log without a whole melt.

    Raises
    ------
    FileError
        When the log does not say which warmer and chocolate it was.
    """
    profile, settings, room_c = _evening(log)
    stage = log["stage"] == "melt"
    asked = stage & (log["ask"] == "all_melted")
    known = stage & np.isfinite(log["water_c"])
    if not asked.any() or not known.any():
        return None
    began, ended = int(np.argmax(known)), int(np.argmax(asked))
    bowl_c = float(log["bowl_c"][began]) if np.isfinite(log["bowl_c"][began]) else room_c
    if bowl_c > COLD_START_C:  # it was melted in part before: no whole melt to compare
        return None
    request = _request(profile, settings, bowl_c, melt_kg, profile.melt_c, profile.high_c)
    request = replace(request, water_c=float(log["water_c"][began]))
    course = melting(Setup(request), melt_kg, STIRRED, request.scales)
    took_s = float(log["t_s"][ended] - log["t_s"][began])
    factor = took_s / course.took_s if course.reached and course.took_s > 0.0 else None
    return round(factor, 3) if factor is not None and FACTOR_LOW <= factor <= FACTOR_HIGH else None


def _evening(log: HoldLog) -> tuple[Profile, dict[str, Any], float]:
    """The chocolate, the warmer's settings and the room of a hold."""
    doc, settings = log.facts.get("profile"), log.facts.get("rig")
    if not isinstance(doc, dict) or not isinstance(settings, dict):
        raise FileError(f"{FACTS} does not say which warmer this was", hint="a hold's folder of this version has it")
    profile = Profile(**{name: doc[name] for name in doc if name in Profile.__dataclass_fields__})
    return profile, settings, float(log.facts.get("room_c") or settings["room_c"])


def _request(
    profile: Profile, settings: dict[str, Any], room_c: float, total_kg: float, melt_c: float, end_c: float
) -> BatchRequest:
    """A batch as it was, with everything as cold as the room."""
    rig = Rig(str(settings["name"]), {**settings, "chocolate_kg": max(total_kg, settings["chocolate_kg"])})
    return BatchRequest(
        profile,
        rig,
        total_kg,
        room_c,
        HUMIDITY,
        melt_c,
        end_c,
        seed_c=room_c,
        water_c=room_c,
        cold_c=COLD_C,
        work_s=3600.0,
    )


def _ends(log: HoldLog, profile: Profile) -> tuple[float, float]:
    """Temperatures between which the bowl was seeded: from the log, or as the chocolate is planned.

    The end is where the bowl settled: at the person's yes some of the last handful is still melting.
    """
    known = np.isfinite(log["bowl_c"])
    seeding = known & (log["stage"] == "seed")
    bowl_c = log["bowl_c"][seeding]
    if (
        not bowl_c.size
        or not bowl_c.max() > profile.high_c + SEEDED_FROM_K
        or not bowl_c[-1] < profile.ceiling_c
    ):
        return profile.melt_c, profile.high_c
    until_s = log["t_s"][seeding][-1] + SETTLES_S
    settled = log["bowl_c"][known & (log["stage"] == "settle") & (log["t_s"] <= until_s)]
    ended_c = float(settled[-1] if settled.size else bowl_c[-1])
    return float(bowl_c.max()), max(profile.low_c, min(ended_c, END_MOST_C))
