"""How often a review of nights finds what changed between them, and how often it finds a change where none is. By hand:

    PYTHONPATH=firmware:host:tests/host:tests/bench python tests/bench/night_drift.py [seed] [warmers] [pairs]

Each warmer has ten healthy nights, then up to five with a change; the review sees them night by night.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import sys
from collections import Counter

import numpy as np
from played_nights import MELTED, PLANTS, play
from ratios import relatives

from bainwright.files.rig import Rig
from bainwright.happenings.search import find
from bainwright.review import drift
from bainwright.review.night_figures import NightFigures, night_figures

HOURS, BEFORE, AFTER = 7.0, 10, 5
CHANGES = {"heater 10 % weaker": {"watts": 0.9}, "20 % less water": {"water": 0.8}, "lid left off": {"lid": False},
           "bowl probe 0.5 °C high": {"bias_c": 0.5}, "bowl probe 0.5 °C low": {"bias_c": -0.5}}  # fmt: skip
RIGHT = {"heater 10 % weaker": drift.WEAKER, "20 % less water": drift.LESS_WATER, "lid left off": drift.MORE_LOSS,
         "bowl probe 0.5 °C high": drift.LEAD_DOWN, "bowl probe 0.5 °C low": drift.LEAD_UP}


def figures(rig: Rig, plant: str, warmer: int, seed: int, *, watts: float = 1.0, water: float = 1.0, lid: bool = True,
            bias_c: float = 0.0) -> NightFigures | None:
    """One night of a warmer, healthy but for what is given.

    Nights differ by a room of 20 +- 1.5 °C that is always stated as 20, water filled within 3 %, mains within 2 % of
    the power, a probe set back within 0.03 °C (standard deviations, chosen), a bowl 70 to 100 % full, and a start from
    cold or from a warm bath.
    """
    rng = np.random.default_rng(seed)
    log = play(
        rig, dict(rig.settings), [], HOURS, plant=plant, hold=MELTED, warmer=warmer, seed=seed, stage="melted",
        room_c=20.0 + 1.5 * rng.standard_normal(), fill=float(rng.uniform(0.7, 1.0)), lid=lid,
        water=water * (1.0 + 0.03 * rng.standard_normal()), watts=watts * (1.0 + 0.02 * rng.standard_normal()),
        bias_c=bias_c + 0.03 * rng.standard_normal(),
        start_c=(float(rng.uniform(18.0, 45.0)), float(rng.uniform(30.0, 38.0))),
    )  # fmt: skip
    return night_figures(log, rig.settings, find(log, rig.settings)[1])


def main(first: int = 7000, warmers: int = 30, pairs: int = 500) -> None:
    """Print a row for each change, then the healthy pairs and the healthy series."""
    rigs = [rig for rig in relatives(30) if rig.plant.bath == "water"]
    found, right, needed, early, lost = Counter(), Counter(), Counter(), 0, 0
    for number in range(warmers):
        rig, plant, base = rigs[(first + number) % len(rigs)], list(PLANTS)[number % len(PLANTS)], first + 100 * number
        healthy = [figures(rig, plant, base, base + at) for at in range(BEFORE)]
        before = [each for each in healthy if each is not None]
        lost += BEFORE - len(before)
        early += any(drift.drifts(before[:count]) for count in range(2, len(before) + 1))
        for place, (name, change) in enumerate(CHANGES.items()):
            nights = list(before)
            for at in range(AFTER):
                night = figures(rig, plant, base, base + 50 + 10 * place + at, **change)
                if night is None:
                    lost += 1
                    continue
                nights.append(night)
                seen = [each for each in drift.drifts(nights) if each.first >= len(before) - 1]
                if seen:
                    found[name] += 1
                    needed[name, at + 1] += 1
                    right[name] += seen[-1].causes[0] == RIGHT[name]
                    if seen[-1].causes[0] != RIGHT[name]:
                        print("  wrong:", rig.name, plant, name, seen[-1].causes, seen[-1].change.round(3))
                    break
            else:
                print("  missed:", rig.name, plant, name)
    print(f"{warmers} warmers: change, found within {AFTER} nights and of the right cause, %; found in night 1, 2, ...")
    for name in CHANGES:
        print(f"{name:24s} {100 * found[name] / warmers:5.1f} {100 * right[name] / warmers:5.1f}  "
              f"{[needed[name, at + 1] for at in range(AFTER)]}")
    print(f"healthy series of {BEFORE} nights, seen after each night: {early} of {warmers} with a change; "
          f"{lost} nights without figures")
    wrong = 0
    for number in range(pairs):
        rig, plant = rigs[number % len(rigs)], list(PLANTS)[number // len(rigs) % len(PLANTS)]
        seed = first + 100_000 + 2 * number
        both = [each for each in (figures(rig, plant, seed, seed), figures(rig, plant, seed, seed + 1)) if each]
        wrong += bool(drift.drifts(both))
    print(f"healthy pairs: {wrong} of {pairs} with a change")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
