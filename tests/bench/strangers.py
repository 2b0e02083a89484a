"""Control on warmers that share no code with the shipped simulation, over a bound for each of them. By hand:

    PYTHONPATH=.:firmware:host:tests/bench python tests/bench/strangers.py [first seed] [seeds]

The untouched core (`tests.faults.search.core`) holds the fault search's six bodies, as their builders describe them.
Rules are chosen on seeds from 1 on; seeds from 101 on are held out: they are only reported.

The bound knows the plant, its masses and each event, but not the future, nor what was poured into the bowl before a
probe of a quarter of a minute shows it. It plans the heat of the next 40 minutes on the plant's own `step`, linearised.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import copy
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numba import njit  # type: ignore[import-untyped]
from tests.faults.search import core, rig

BODIES = ("zones", "base", "pan", "plate", "quilt", "layers")
TARGET_C, LOW_C, HIGH_C, CEILING_C, ROOM_C = 31.5, 31.0, 32.0, 34.5, 20.0
SECONDS = 4 * 3600
SETTLED_S = 1800  # what comes before is the self-test's doing, and is not scored; the first event comes later
QUIET_AFTER_S = 900
LEAD_S = 300
EVENTS_S = (3600, 3960, 5700, 7800, 10000)  # a draught's begin and end, refills, a top-up
SEEN_S = 15.0  # a bowl probe's lag
STEP_S, AGAIN_S = 20, 300  # a plan's step; a plant that changes slowly is linearised again so often
BLOCKS = (1, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18)  # steps in which its heat is constant
STEPS = sum(BLOCKS)
OVER_WEIGHT, WALL_MARGIN_C = 5.0, 0.1


@dataclass
class Evening:
    """Acts by their second; what is scored begins at `from_s`."""

    acts: list[tuple[int, Callable[[Any], None]]]
    announced_s: tuple[tuple[int, float], ...] = ()
    start_c: tuple[float, float] = (33.0, 31.7)
    from_s: int = SETTLED_S


def dipping(kg: float, litres: float, announced: bool = False) -> Evening:
    """Two thirds of the bowl dipped, a cold and a warm refill, a draught, a cold top-up of an eighth of the water."""
    acts: list[tuple[int, Callable[[Any], None]]] = []
    for at_s, until_s, share in ((600, 5700, 0.5), (5700, 10000, 0.18), (10000, SECONDS, 0.16)):
        each_kg = share * kg * STEP_S / (until_s - at_s)
        acts += [(s, lambda p, kg=each_kg: p.pour_chocolate(-kg, p.bowl.mean_c)) for s in range(at_s, until_s, STEP_S)]
    acts += [(3600, lambda p: setattr(p, "air_m_per_s", 0.4)), (3960, lambda p: setattr(p, "air_m_per_s", 0.0))]
    acts += [(s, lambda p, c=c: p.pour_chocolate(0.136 * kg, c)) for s, c in ((5700, 24.0), (10000, 34.0))]
    acts.append((7800, lambda p: p.pour_water(litres / 8.0 if p.liquid else 0.0, 15.0)))
    told = ((5700, 24.0), (10000, 34.0)) if announced else ()
    return Evening(sorted(acts, key=lambda each: each[0]), told)


def warm_up() -> Evening:
    """From cold, stirred now and then."""
    return Evening([(s, lambda p: p.bowl.stir()) for s in range(0, SECONDS, STEP_S)], start_c=(16.0, 18.0), from_s=0)


@dataclass
class Course:
    """What an evening became, a value each second, and the heat that was given (W)."""

    bowl_c: list[float] = field(default_factory=list)
    wall_c: list[float] = field(default_factory=list)
    heat_w: list[float] = field(default_factory=list)
    checked_s: int = 0


def built(body: str, seed: int, evening: Evening) -> tuple[rig.Rig, dict[str, Any]]:
    """A warmer with calibrated probes, and the settings of its builder."""
    made, settings = rig.build(body, seed, *evening.start_c, ROOM_C, "bowl", "safe")
    for probe in made.probes.values():
        if probe is not None:
            probe.offset_c = probe.drift_c_per_h = 0.0
    return made, settings


def held(body: str, seed: int, evening: Evening) -> Course:
    """The firmware's evening."""
    made, settings = built(body, seed, evening)
    values, why = core.rig_values(settings)
    assert values is not None, why
    profile, why = core.profile({"name": "dark", "kind": "dark"})
    assert profile is not None, why
    board, plant, course = core.Board(values, made.probes, 0), made.plant, Course()
    at, told = 0, 0
    for second in range(SECONDS):
        if second == 2:
            why = board.warmer.start(profile, "work", 0, ROOM_C, board.now_ms)
            assert why is None, why
        while at < len(evening.acts) and evening.acts[at][0] <= second:
            evening.acts[at][1](plant)
            at += 1
        if told < len(evening.announced_s) and second >= evening.announced_s[told][0] - LEAD_S:
            due_s, temp_c = evening.announced_s[told]
            why = board.warmer.act("announce", board.now_ms, in_ms=1000 * (due_s - second), leads=temp_c < TARGET_C)
            assert why is None, why
            told += 1
        heat_w = made.watts * board.level if board.warmer.guard else 0.0
        made.step(1.0, board.level, board.warmer.guard)
        board.tick()
        course.bowl_c.append(plant.bowl.probe_c)
        course.wall_c.append(plant.bowl.metal_c)
        course.heat_w.append(heat_w)
        if board.warmer.state != "hold" and course.checked_s == second:
            course.checked_s = second + 1
        board.warmer.events = []
    return course


# -- the bound --------------------------------------------------------------------------------------------------------


def states(plant: Any) -> list[tuple[Any, Any]]:
    """Where a plant holds its temperatures: (container, key) of each."""
    found: list[tuple[Any, Any]] = []
    for holder in (vars(plant), vars(plant.bowl)):
        for name, value in holder.items():
            if not name.endswith("_c") or name == "room_c":
                continue
            found += [(value, at) for at in range(len(value))] if isinstance(value, list) else [(holder, name)]
    return found


def read(plant: Any) -> np.ndarray:
    """Its temperatures."""
    return np.array([float(holder[key]) for holder, key in states(plant)])


class Planned:
    """The plant about its present temperatures as x' = A x + B u + c over `STEP_S`, and what a heat does to it."""

    def __init__(self, plant: Any, watts: float) -> None:
        twin = copy.deepcopy(plant)
        twin.gusts = 0.0
        here = read(twin)
        litres, kg = twin.water_l, twin.bowl.chocolate_kg

        def after(x: np.ndarray, heat_w: float) -> np.ndarray:
            for (holder, key), value in zip(states(twin), x, strict=True):
                holder[key] = float(value)
            twin.water_l, twin.bowl.chocolate_kg = litres, kg
            twin.step(1.0, heat_w)
            return read(twin)

        count, rest = len(here), after(here, 0.0)
        once = np.zeros((count + 2, count + 2))
        for at in range(count):
            moved = here.copy()
            moved[at] += 0.05
            once[:count, at] = (after(moved, 0.0) - rest) / 0.05
        once[:count, count] = after(here, watts) - rest
        once[:count, count + 1] = rest - once[:count, :count] @ here
        once[count, count] = once[count + 1, count + 1] = 1.0
        step = np.linalg.matrix_power(once, STEP_S)
        names = [(key if holder is vars(twin.bowl) else None) for holder, key in states(twin)]
        wall = names.index("metal_c")
        shells = twin.bowl.shells_c
        bowl = next(at for at, (holder, key) in enumerate(states(twin))
                    if holder is shells and key == twin.bowl.probe_shell)
        mixed = [at for at, (holder, _) in enumerate(states(twin)) if holder is shells]
        step[mixed] = step[mixed].mean(axis=0)  # whoever dips or warms it up stirs
        self.free, self.heat = {}, {}
        power, rows = np.eye(count + 2), []
        for _ in range(STEPS):
            power = step @ power
            rows.append(power)
        blocks = np.repeat(np.eye(len(BLOCKS)), BLOCKS, axis=0)
        for name, row in (("bowl", bowl), ("wall", wall)):
            free = np.array([each[row] for each in rows])
            self.free[name] = np.delete(free, count, axis=1)
            pulse = np.array([(rows[at - 1] if at else np.eye(count + 2))[row, :count] @ step[:count, count]
                              for at in range(STEPS)])
            each = np.array([[pulse[t - s] if t >= s else 0.0 for s in range(STEPS)] for t in range(STEPS)])
            self.heat[name] = each @ blocks

    def best(self, x: np.ndarray, duties: np.ndarray) -> np.ndarray:
        """Duties that follow the target with the wall under its ceiling, from a first guess."""
        start = np.append(x, 1.0)
        bowl, wall = self.free["bowl"] @ start - TARGET_C, self.free["wall"] @ start - (CEILING_C - WALL_MARGIN_C)
        heat, square = self.heat["bowl"], self.heat["bowl"].T @ self.heat["bowl"]
        for _ in range(6):  # the part of the wall's course that is over its ceiling is found by trying
            over = wall + self.heat["wall"] @ duties > 0.0
            pushed = OVER_WEIGHT * self.heat["wall"][over].T
            before = duties
            duties = descend(square + pushed @ self.heat["wall"][over], heat.T @ bowl + pushed @ wall[over], duties)
            if float(np.abs(duties - before).max()) < 1e-3:
                break
        return duties


@njit(cache=True)
def descend(square, slope, duties):
    """The least of d S d / 2 + slope d for duties from 0 to 1, one duty after another."""
    duties = duties.copy()
    for _ in range(400):
        moved = 0.0
        for at in range(len(duties)):
            fresh = duties[at] - (square[at] @ duties + slope[at]) / (square[at, at] + 1e-9)
            fresh = min(1.0, max(0.0, fresh))
            moved = max(moved, abs(fresh - duties[at]))
            duties[at] = fresh
        if moved < 1e-4:
            break
    return duties


def bound(body: str, seed: int, evening: Evening, first_w: list[float]) -> Course:
    """The bound's evening, after the heat that the firmware's self-test gave."""
    made, _ = built(body, seed, evening)
    plant, course = made.plant, Course()
    at, duty, duties = 0, 0.0, np.zeros(len(BLOCKS))
    unseen = np.zeros(len(read(plant)))  # what a pour changed and the probe has yet to show
    model, made_at = Planned(plant, made.watts), 0
    for second in range(SECONDS):
        while at < len(evening.acts) and evening.acts[at][0] <= second:
            before_c, before_kg = read(plant), plant.bowl.chocolate_kg
            evening.acts[at][1](plant)
            if plant.bowl.chocolate_kg > before_kg:
                unseen += before_c - read(plant)
            at += 1
        unseen *= 1.0 - 1.0 / SEEN_S
        if second - made_at >= AGAIN_S or second in EVENTS_S:
            model, made_at = Planned(plant, made.watts), second
        if second % STEP_S == 0 and second >= len(first_w):
            duties = model.best(read(plant) + unseen, duties)
            duty = float(duties[0])
        heat_w = first_w[second] if second < len(first_w) else duty * made.watts
        plant.step(1.0, heat_w)
        course.bowl_c.append(plant.bowl.probe_c)
        course.wall_c.append(plant.bowl.metal_c)
    return course


# -- the figures ------------------------------------------------------------------------------------------------------


def error_k(course: Course, evening: Evening, quiet: bool = False) -> float:
    """Root mean square distance of the chocolate from its target, K."""
    away = np.array(course.bowl_c[evening.from_s:]) - TARGET_C
    if quiet:
        since = np.array([min((s - e for e in EVENTS_S if e <= s), default=10**6)
                          for s in range(evening.from_s, SECONDS)])
        away = away[since > QUIET_AFTER_S]
    return float(np.sqrt(np.mean(away**2)))


def warm_s(course: Course) -> float:
    """When the chocolate reaches its window; NaN: never."""
    there = np.flatnonzero((np.array(course.bowl_c) >= LOW_C) & (np.array(course.bowl_c) <= HIGH_C))
    return float(there[0]) if there.size else float("nan")


def over_k_min(course: Course) -> float:
    """How long and far the wall was over its ceiling, K min."""
    return float(np.maximum(0.0, np.array(course.wall_c) - CEILING_C).sum() / 60.0)


def row(body: str, seed: int) -> list[float]:
    """A warmer's figures, see `COLUMNS`."""
    plant = built(body, seed, warm_up())[0].plant
    kg, litres = plant.bowl.chocolate_kg, plant.water_l
    work, cold, told = dipping(kg, litres), warm_up(), dipping(kg, litres, announced=True)
    runs = [held(body, seed, each) for each in (work, cold, told)]
    best = [bound(body, seed, each, run.heat_w[:run.checked_s])
            for each, run in zip((work, cold), runs[:2], strict=True)]
    least_k = error_k(best[0], work)
    return [least_k, error_k(runs[0], work) / least_k,
            error_k(runs[0], work, quiet=True) / error_k(best[0], work, quiet=True), error_k(runs[2], work) / least_k,
            warm_s(runs[1]) / warm_s(best[1]), sum(map(over_k_min, runs)), warm_s(best[1]) / 60.0]


# Error of the bound, K; then over the bound: errors of the evening, of its quiet hours, of the evening with its refills
# announced, and the warm-up's time; what the wall was over its ceiling, K min; the bound's own warm-up, min.
COLUMNS = ("bound K", "dipping", "quiet", "announced", "warm-up", "over K min", "bound's warm-up min")


def main(first: int = 1, seeds: int = 3) -> None:
    """A row for each warmer, then the medians and the worst."""
    core.use()
    rows = []
    print("body   seed  " + "  ".join(COLUMNS))
    for body in BODIES:
        for seed in range(first, first + seeds):
            rows.append(row(body, seed))
            cells = [f"{value:{len(name)}.3f}" for name, value in zip(COLUMNS, rows[-1], strict=True)]
            print(f"{body:6s} {seed:4d}  " + "  ".join(cells), flush=True)
    table = np.array(rows)
    for at, name in enumerate(COLUMNS[1:5], 1):
        never = int(np.isnan(table[:, at]).sum())
        print(f"{name}: median {np.nanmedian(table[:, at]):.3f}, worst {np.nanmax(table[:, at]):.3f}"
              + (f", {never} without a figure" if never else ""))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
