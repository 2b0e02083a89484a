"""How often a replay's interval holds what the same evening would truly have been with another choice. By hand:

    PYTHONPATH=firmware:host:tests/host:tests/bench python tests/bench/what_if.py [first seed] [evenings]

The truth is the same seed, events and noise played again on the true plant with the other choice.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import sys
from collections import Counter, defaultdict
from dataclasses import replace
from typing import Any

import numpy as np
from played_nights import HOLD, PLANTS, drawn, play, scaled
from ratios import relatives

from bainboard.control.rules import safe_gains
from bainwright.core.errors import BainError
from bainwright.files.chocolate import load_profile
from bainwright.happenings.search import find
from bainwright.what_if import choice as what_if
from bainwright.what_if import outcome, recorded_evening

HOURS = 5.0
KINDS = ("gains", "target", "announce")


def choice_of(kind: str, settings: dict[str, Any], rng: np.random.Generator) -> what_if.Choice:
    """Gains up to 2.5 times as large or as small, a target 0.2 to 0.35 °C beside the middle, or refills announced."""
    if kind == "gains":
        now = safe_gains(settings)
        names = {"gains.water.kp": now.water_kp, "gains.water.ti_s": now.water_ti_s, "gains.bowl.kp": now.bowl_kp,
                 "gains.bowl.ti_s": now.bowl_ti_s}  # fmt: skip
        spread = np.log(2.5) * rng.uniform(-1.0, 1.0, 2).repeat(2) * np.array([1.0, -1.0, 1.0, -1.0])
        return what_if.Choice(gains={name: float(value * np.exp(by))
                                     for (name, value), by in zip(names.items(), spread, strict=True)})
    if kind == "target":
        return what_if.Choice(target_c=31.5 + float(rng.choice([-1.0, 1.0]) * rng.uniform(0.2, 0.35)))
    return what_if.Choice(announce_s=300.0)


def one(seed: int, rigs: list[Any]) -> list[tuple[str, str, list[tuple[what_if.Figure, float]] | str]]:
    """For each kind of choice: plant, kind, and each figure with its truth; or why the record cannot say."""
    rng = np.random.default_rng(seed + 500_000)
    rig, plant = rigs[seed % len(rigs)], list(PLANTS)[seed % len(PLANTS)]
    truths, kitchen = drawn(seed, HOURS)
    truths = scaled(truths, rig.settings)
    circumstances: dict[str, Any] = {
        **kitchen, "plant": plant, "seed": seed,
        "start_c": (float(rng.uniform(18.0, 33.0)), float(rng.uniform(27.0, 31.5)))}
    settings = dict(rig.settings)
    log = dressed(play(rig, settings, truths, HOURS, **circumstances))
    try:
        record = recorded_evening.recorded(log, find(log, settings)[1])
    except BainError as why:
        return [(plant, "every choice", str(why))]
    _, window, stage = recorded_evening.setup(log)
    out: list[tuple[str, str, list[tuple[what_if.Figure, float]] | str]] = []
    for kind in KINDS:
        choice = choice_of(kind, settings, rng)
        new = {**settings, **(choice.gains or {})}
        hold = HOLD if choice.target_c is None else {**HOLD, "target_c": choice.target_c}
        again = dressed(play(rig, new, truths, HOURS, hold=hold, announced=kind == "announce", **circumstances))
        try:
            answer = what_if.what_if(record, choice)
        except BainError as why:
            out.append((plant, kind, str(why)))
            continue
        evening = recorded_evening.evening_of(again, [], settings, window, stage)
        evening = replace(evening, target_c=np.full(len(evening.mode), hold["target_c"]))
        truth = outcome.scored(evening, evening.water_c, evening.bowl_c, window)
        out.append((plant, kind, [(each, truth[each.name]) for each in answer.figures]))
    return out


def dressed(log: Any) -> Any:
    """With the whole profile, as a record has it."""
    log.facts["profile"] = load_profile("dark").document()
    return log


def main(first: int = 9600, evenings: int = 48) -> None:
    """Print a row a figure and kind of choice, then a row a plant, then what was refused."""
    rigs = [rig for rig in relatives(30) if rig.plant.bath == "water"]
    inside, count, width, moved, off = (defaultdict(float) for _ in range(5))
    refused, sure, right = Counter(), Counter(), Counter()
    answers = ((seed, *answer) for seed in range(first, first + evenings) for answer in one(seed, rigs))
    for seed, plant, kind, found in answers:
        if isinstance(found, str):
            refused[found.split(",")[0]] += 1
            continue
        for each, truth in found:
            for key in ((each.name, kind), (each.name, plant), (each.name, "all")):
                count[key] += 1
                inside[key] += each.low <= truth <= each.high
                width[key] += each.high - each.low
                moved[key] += abs(truth - each.was)
                off[key] += abs(truth - each.would_be)
            if each.name == "error_c":
                if each.sure:
                    sure[kind] += 1
                    right[kind] += (truth - each.was) * (each.would_be - each.was) > 0.0
                if "-v" in sys.argv:
                    print(seed, plant, kind, f"{each.was:.3f} {truth:.3f} {each.would_be:.3f} "
                          f"[{each.low:.3f} {each.high:.3f}]", "" if each.low <= truth <= each.high else "MISS")
    print("figure, of, evenings, inside %, mean width, mean true change, mean miss")
    for name, of in sorted(count):
        key = name, of
        n = count[key]
        print(f"{name:13s} {of:9s} {n:4.0f} {100 * inside[key] / n:6.1f} {width[key] / n:8.3f} {moved[key] / n:8.3f} "
              f"{off[key] / n:8.3f}")
    print("a change of the error said to be sure, and in the right direction:",
          {kind: f"{right[kind]} of {sure[kind]}" for kind in KINDS})
    print("refused:", dict(refused))


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:] if each != "-v"))
