"""Whole plans for thousands of kitchens: ``python tests/bench/plan_grid.py 1000 7`` plans a thousand drawn by seed 7.

``python tests/bench/plan_grid.py times 500 7`` melts each of 500 batches on a warmer that shares no code with the plan,
built at random from the same litres, kilograms and watts, and counts the melts that end inside the band that is shown.

The suite plans a few dozen of them and checks the parts on thousands.
"""

from __future__ import annotations

import math
import sys
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "host"))

import numpy as np
from independent_scorer import to_s
from own_warmer import drawn, foamed, melting_s, on_a_plate
from plan_cases import check_numbers, check_words, requests

from bainwright.core.errors import UseError
from bainwright.plan.parts import Band, Plan
from bainwright.plan.planner import make_plan
from bainwright.plan.say import band

BUILT = {"pot": lambda rng, warmer: warmer, "mat": foamed, "plate": on_a_plate}


def words(number: int, seed: int) -> None:
    """Plan this many kitchens; an exception or an absurd figure ends the run."""
    begun, refused = time.perf_counter(), 0
    for at, request in enumerate(requests(seed, number), 1):
        try:
            plan = make_plan(request)
        except UseError:
            refused += 1
        else:
            check_numbers(plan.as_dict())
            check_words(plan)
        if at % 500 == 0 or at == number:
            print(f"{at} kitchens, {refused} refused in words, {time.perf_counter() - begun:.0f} s", flush=True)


def played_s(plan: Plan, rng: np.random.Generator) -> float:
    """How long this melt takes on a warmer that somebody built, in this kitchen; s."""
    request, settings = plan.request, plan.request.rig.settings
    warmer = BUILT[str(settings["name"])](rng, drawn(rng, settings["heater_w"], settings["water_l"],
                                                     settings["bowl_kg"], plan.melt.solid_kg, request.full_kg))
    warmer = replace(warmer, room_c=request.room_c, humidity=request.humidity)
    return melting_s(warmer, plan.melt.water_c, plan.melt.to_c, request.water_c)


def shown_s(took: Band) -> tuple[float, float]:
    """The ends of a band as a person reads it, rounded outwards; s."""
    low, _, high = band(took).replace(" or much longer", "").partition(" to ")
    return to_s(low), to_s(high) if high else math.inf


def times(number: int, seed: int) -> None:
    """Count the melts inside their band, by warmer; a plan that promises no time is counted apart."""
    rng, found = np.random.default_rng(seed), {name: [0, 0, 0, 0] for name in BUILT}
    for request in requests(seed, number):
        try:
            plan = make_plan(request)
        except UseError:
            continue
        if request.room_c >= plan.melt.to_c:  # pieces that have lain in this room are molten
            continue
        row = found[str(request.rig.settings["name"])]
        if plan.melt.took is None:
            row[3] += 1
            continue
        took_s, (low_s, high_s) = played_s(plan, rng), shown_s(plan.melt.took)
        row[0 if took_s < low_s else 2 if took_s > high_s else 1] += 1
    for name, (early, inside, late, never) in found.items():
        print(f"{name}: {inside} of {early + inside + late} inside, {early} before, {late} after; no time: {never}")


if __name__ == "__main__":
    what = times if sys.argv[1:2] == ["times"] else words
    what(*(int(each) for each in ([each for each in sys.argv[1:] if each != "times"] or (5000, 7))))
