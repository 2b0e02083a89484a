"""What `bain tune` predicts against what its gains then achieve, on warmers that share no code with its simulation.

By hand, about a minute for each warmer:

    PYTHONPATH=.:firmware:host:tests/bench python tests/bench/prophecies.py [first seed] [seeds] [tries] [warmers]

The untouched core (`tests.faults.search.core`) plays an experiment from cold on each of the fault search's bodies, and
the bowl is stirred each minute. What the tuning makes of the record is then played on the same warmer, with the present
gains and with the new ones: four hours of dipping, each with other noise of its probes, and a warm-up. Tries and
warmers are `choose.TRIES` and `proof.RIGS` unless fewer are named.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import json
import random
import sys
from collections.abc import Callable
from typing import Any

import numpy as np
import strangers
from tests.faults.search import core

from bainwright.core.errors import FileError
from bainwright.tuning import choose, dataset, identify, proof, tune

LEARN_S, STIR_S = 7200, 60
COLD_C = (20.0, 20.0)
COLD = 1  # `proof.COURSES`: the warm-up
NOISES = 4  # a look of the supervisor at the wrong time moves an evening's error by more than new gains do


def played(body: str, seed: int, evening: strangers.Evening, gains: dict[str, float], stage: str = "work",
           seconds: int = strangers.SECONDS, noise: int = 0) -> tuple[strangers.Course, np.ndarray]:
    """An evening with these gains, and its record: power that the board believes (W), water and bowl as read."""
    made, settings = strangers.built(body, seed, evening)
    for name, probe in made.probes.items():
        if noise and probe is not None:
            probe._rng = random.Random(f"{noise} {name}")
    values, why = core.rig_values({**settings, **gains})
    assert values is not None, why
    profile, why = core.profile({"name": "dark", "kind": "dark"})
    assert profile is not None, why
    board, plant, course, rows, at = core.Board(values, made.probes, 0), made.plant, strangers.Course(), [], 0
    for second in range(seconds):
        if second == 2:
            why = board.warmer.start(profile, stage, 0, strangers.ROOM_C, board.now_ms)
            assert why is None, why
        while at < len(evening.acts) and evening.acts[at][0] <= second:
            evening.acts[at][1](plant)
            at += 1
        power_w = values["heater_w"] * board.level if board.warmer.guard else 0.0
        made.step(1.0, board.level, board.warmer.guard)
        board.tick()
        board.warmer.events = []
        course.bowl_c.append(plant.bowl.probe_c)
        course.wall_c.append(plant.bowl.metal_c)
        w = board.warmer
        rows.append((power_w, np.nan if w.inputs.water_c is None else w.inputs.water_c,
                     np.nan if w.inputs.bowl_c is None else w.inputs.bowl_c, w.state in ("check", "hold")))
    return course, np.array(rows, dtype=float)


def recorded(rows: np.ndarray, values: dict[str, Any]) -> dataset.Record:
    """The rows as the tuning takes them."""
    states = np.where(rows[:, 3] > 0.0, "hold", "idle")
    return dataset.record(np.arange(1.0, len(rows) + 1), *rows[:, :3].T, strangers.ROOM_C, values, states=states)


def scores(works: list[strangers.Course], cold: strangers.Course) -> dict[str, Any]:
    """What evenings became, as `bain tune` predicts it: errors (K) from half an hour on, and the warm-up (s)."""
    away = np.array([each.bowl_c[strangers.SETTLED_S:] for each in works]) - strangers.TARGET_C
    over = sum(map(strangers.over_k_min, [*works, cold]))
    return {"error_k": np.sqrt(np.mean(away**2, axis=1)).tolist(), "warm_s": strangers.warm_s(cold), "over_k_min": over}


def tuned(body: str, seed: int, tries: int = choose.TRIES, rigs: int = proof.RIGS) -> dict[str, Any]:
    """One tuning: whether it was accepted, what it predicts, and what is achieved."""
    made, settings = strangers.built(body, seed, strangers.warm_up())
    values, why = core.rig_values(settings)
    assert values is not None, why
    kg, litres = made.plant.bowl.chocolate_kg, made.plant.water_l
    out: dict[str, Any] = {"body": body, "seed": seed}
    stirred: list[tuple[int, Callable[[Any], None]]] = [
        (s, lambda p: p.bowl.stir()) for s in range(0, LEARN_S, STIR_S)]
    rows = played(body, seed, strangers.Evening(stirred, start_c=COLD_C), {}, "tune", LEARN_S)[1]
    try:
        findings, _ = identify.identify(recorded(rows, values), values)
    except FileError as error:
        return {**out, "refused": str(error)}
    task = choose.Task(findings, values, room_c=strangers.ROOM_C, bath=made.plant.liquid)
    possible = proof.feasibility(task)
    if any(not each.ok for each in possible):
        return {**out, "refused": " ".join(each.sentence for each in possible if not each.ok)}
    before = tune._before(values)
    chosen = choose.choose(task, tries=tries)
    proved = proof.prove(task, before, chosen, rigs=rigs)
    out["refused"] = " ".join(each.sentence for each in proved.findings if not each.ok)
    out["fit_k"] = findings.fit_k
    out["gains"] = chosen.gains
    out["predicted"] = {}
    for name, results in (("before", proved.before), ("after", proved.after)):
        out["predicted"][name] = [
            proof.nine_of_ten(results[proof.COURSES[0].name]["rms_k"], proof.ERROR_SPREAD),
            proof.nine_of_ten(results[proof.COURSES[COLD].name]["warm_up_s"], proof.WARM_UP_SPREAD)]
    dipping = strangers.dipping(kg, litres)
    out["achieved"] = {
        name: scores([played(body, seed, dipping, gains, noise=each)[0] for each in range(NOISES)],
                     played(body, seed, strangers.warm_up(), gains)[0])
        for name, gains in (("before", {}), ("after", chosen.gains))}
    return out


def main(first: int = 21, seeds: int = 7, tries: int = choose.TRIES, rigs: int = proof.RIGS) -> None:
    """A line of JSON for each tuning."""
    core.use()
    for seed in range(first, first + seeds):
        for body in strangers.BODIES:
            print(json.dumps(tuned(body, seed, tries, rigs)), flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
