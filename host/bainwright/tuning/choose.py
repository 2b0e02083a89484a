"""Choosing gains: the smallest error over an evening within the margins, on every warmer that fits the findings.

The outer and the inner controller are searched together. Each candidate is the firmware's own cascade: its margins come
from `margins`, its evenings from `fastsim`. A candidate whose margins fail is not simulated; its score is how far it
fails, which leads the search back.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from bainboard.control import rules
from bainwright.tuning import fastsim, textbook
from bainwright.tuning.margins import Margins, margins, movement
from bainwright.tuning.model import LAGS, NAMES, Findings, Model, lag_sum_s
from bainwright.tuning.surrogate import STIR, TEMPER, Kitchen, ModelWarmer, draw, scaled

Floats = NDArray[np.float64]
Event = tuple[float, float, float, float]  # a row of `fastsim`: at_s, kind, and the kind's two values

NOMINAL, CORNER = 1.6, 2.0  # largest Ms and Mt allowed, at the fit and at every corner of the possible range
MOST_MOVEMENT = 0.1  # largest root mean square movement of the duty by the readings' noise; chosen
FILLS = (1.0, 0.5, 0.2)
CORNERS = 12  # drawn warmers beside the extremes; each at every fill
EVENING_S = 4 * 3600
COLD_C = (16.0, 18.0)  # water and bowl of a warm-up
# Weights in a candidate's score beside its error while dipping, K: the error in quiet hours, and an hour of warm-up.
QUIET_WORTH, WARM_UP_K_PER_H = 0.5, 0.2  # chosen
REFILLED = 3  # how many of the warmers also have an evening with a cold refill each hour; chosen
REFILLS_S = (3600.0, 7200.0, 10800.0)  # when those come
SEARCHES = 6  # one from each start, the others from the best so far; chosen
TRIES = 120  # candidates a search may try before it restarts, with wide steps, at its best; chosen

# What is searched, on a logarithmic scale.
SEARCHED = ("gains.water.kp", "gains.water.ti_s", "gains.water.td_s",
            "gains.bowl.kp", "gains.bowl.ti_s", "gains.bowl.td_s")
MODELLED = ("gains.water_j_per_k", "gains.bowl_w_per_k", "gains.bowl_tau_s", "gains.loss_w_per_k")
LOW = np.log([0.005, 20.0, 1.0, 0.2, 60.0, 2.0])  # a board takes no derivative under a second
HIGH = np.log([5.0, 8000.0, 120.0, 15.0, 7200.0, 300.0])


@dataclass(frozen=True)
class Task:
    """The warmer and the chocolate that gains are chosen for."""

    findings: Findings
    settings: Mapping[str, Any]
    target_c: float = 31.5
    low_c: float = 31.0
    high_c: float = 32.0
    ceiling_c: float = 34.5
    room_c: float = 20.0
    bath: bool = True  # water can be topped up


@dataclass(frozen=True)
class Chosen:
    """Gains by their settings' names, with their margins: at the fit, and the worst over all corners.

    `cost_k` is the cost they were chosen by, see `Search.error_k`.
    """

    gains: dict[str, float]
    nominal: Margins
    worst: float
    movement: float
    cost_k: float


def modelled(model: Model, target_c: float, room_c: float) -> dict[str, float]:
    """Gains that follow from the model alone: those of the feedforward."""
    water_c = model.water_for_c(target_c, room_c)
    return {
        "gains.water_j_per_k": model.water_j_per_k,
        "gains.bowl_w_per_k": model.coupling_w_per_k,
        "gains.bowl_tau_s": model.bowl_j_per_k / model.coupling_w_per_k,
        "gains.loss_w_per_k": model.needed_w(target_c, room_c) / max(1.0, water_c - room_c),
    }


def corners(findings: Findings, count: int = CORNERS, seed: int = 1) -> list[Model]:
    """Warmers at the ends of the possible range, each at every fill.

    Drawn ones, and the quickest and slowest water with the longest and shortest lags, each with chocolate that is
    stirred and in temper; the fit itself with both.
    """
    low, high = findings.low, findings.high
    model = findings.model
    found = [each for each, _ in draw(findings, count, seed)]
    quick = replace(model, water_j_per_k=low.water_j_per_k)
    if findings.lags_known_together:
        slowest = findings.samples[np.argmax(lag_sum_s(findings.samples))]
        found.append(replace(quick, **{name: float(slowest[NAMES.index(name)]) for name in LAGS}))
    else:
        found.append(replace(quick, heater_lag_s=high.heater_lag_s, dead_s=high.dead_s))
    found.append(scaled(model, coupling_w_per_k=STIR[1]))
    found.append(scaled(model, bowl_j_per_k=TEMPER[1]))
    return [each.at_fill(fill) for each in found for fill in FILLS]


def with_gains(settings: Mapping[str, Any], gains: Mapping[str, float]) -> dict[str, Any]:
    """Settings with these gains in them."""
    return {**settings, **gains}


def dips(kg: float, *parts: tuple[float, float, float]) -> list[Event]:
    """Chocolate taken out of a bowl of `kg`; each part is (start in s, length in s, share of the bowl)."""
    rows: list[Event] = []
    for at_s, for_s, share in parts:
        rate = share * kg / for_s
        rows += [(at_s, fastsim.DIP, rate, 0.0), (at_s + for_s, fastsim.DIP, -rate, 0.0)]
    return rows


def dipping(kg: float, water_l: float) -> list[Event]:
    """Dipping to a third of the bowl, a cold and a warm refill, a cold top-up of an eighth of the water, a draught."""
    rows = dips(kg, (120.0, 4560.0, 0.57), (4860.0, 4080.0, 0.18), (9060.0, 4080.0, 0.16))
    rows += [(2700.0, fastsim.DRAUGHT, 2.0, 0.0), (3060.0, fastsim.DRAUGHT, 1.0, 0.0)]
    rows += [(4800.0, fastsim.REFILL, 0.136 * kg, 24.0), (9000.0, fastsim.REFILL, 0.136 * kg, 34.0)]
    if water_l > 0.0:
        rows.append((7200.0, fastsim.TOP_UP, water_l / 8.0, 15.0))
    return sorted(rows)


def refilled(kg: float, _: float) -> list[Event]:
    """Dipping with a cold refill each hour, the later ones announced five minutes ahead."""
    rows = dips(kg, (120.0, 3000.0, 0.5), *((at_s + 120.0, 3000.0, 0.14) for at_s in REFILLS_S))
    rows += [(at_s, fastsim.REFILL, 0.14 * kg, 24.0) for at_s in REFILLS_S]
    rows += [(at_s - fastsim.LEAD_S, fastsim.ANNOUNCE, 0.0, 0.0) for at_s in REFILLS_S[1:]]
    return sorted(rows)


def evening(task: Task, model: Model, kitchen: Kitchen, settings: Mapping[str, Any], *, seconds: int = EVENING_S,
            start_c: tuple[float, float] | None = None, fill: float = 1.0, room_c: float | None = None,
            acts: Callable[[float, float], list[Event]] | None = dipping) -> fastsim.Run:
    """One evening's run: dipping, other acts for (kg, litres), or none; from a settled hold unless a start is given."""
    room_c = task.room_c if room_c is None else room_c
    water_c, bowl_c = start_c or (min(task.ceiling_c, model.water_for_c(task.target_c, room_c)), task.target_c + 0.2)
    warmer = ModelWarmer(model, kitchen, water_c, bowl_c, fill, room_c)
    kit = fastsim.Kit(
        model.heater_w, settings["period_s"], model.water_lag_s, model.bowl_lag_s, kitchen.water_bias_c,
        kitchen.bowl_bias_c, target_c=task.target_c, low_c=task.low_c, high_c=task.high_c, ceiling_c=task.ceiling_c,
        room_c=task.room_c, seed=float(kitchen.seed), bowl_probe=settings["probe.bowl.kind"] != "none",
    )  # fmt: skip
    events = acts(warmer.full_kg * fill, settings["water_l"] if task.bath else 0.0) if acts else []
    return fastsim.Run(fastsim.cascade_of(dict(settings)), warmer, kit, events)


def holds(task: Task, model: Model) -> bool:
    """Can the warmest allowed water and full heat hold a warmer's bowl in the window, with a little to spare?"""
    top_c = task.ceiling_c - task.settings["gains.ceiling_margin_c"]
    return model.held_by(top_c, task.room_c) > task.target_c and (
        model.needed_w(task.target_c, task.room_c) < 0.8 * model.heater_w)


class Search:
    """Scores candidates; lower is better."""

    def __init__(self, task: Task, progress: Callable[[int], None] | None = None) -> None:
        self.task, self.progress = task, progress
        self.base = modelled(task.findings.model, task.target_c, task.room_c)
        self.nominal = [task.findings.model.at_fill(fill) for fill in FILLS]
        self.corners = corners(task.findings)
        # a drawn warmer that no gains could hold in its window would outweigh all others
        drawn = sorted(draw(task.findings, 20, seed=3), key=lambda each: not holds(task, each[0]))
        self.evenings = [(task.findings.model, Kitchen()), *drawn[:5]]
        self.looked_at = 0

    def gains(self, x: Floats) -> dict[str, float]:
        """A candidate's gains."""
        searched = dict(zip(SEARCHED, map(float, np.exp(np.clip(x, LOW, HIGH))), strict=True))
        return {**self.base, **searched}

    def strain(self, gains: Mapping[str, float]) -> float:
        """How far the margins are exceeded; 0 when none is."""
        cascade = fastsim.cascade_of(with_gains(self.task.settings, gains))
        over = max(0.0, movement(cascade) / MOST_MOVEMENT - 1.0)
        for most, models in ((NOMINAL, self.nominal), (CORNER, self.corners)):
            worst = max(min(margins(cascade, each).worst, 20.0) for each in models)
            over += max(0.0, worst / most - 1.0)
        return over

    def error_k(self, gains: Mapping[str, float]) -> float:
        """The cost of a candidate, K: error while dipping, plus quiet error and warm-up by their weights."""
        settings = with_gains(self.task.settings, gains)
        runs = [evening(self.task, model, kitchen, settings) for model, kitchen in self.evenings]
        runs += [evening(self.task, model, kitchen, settings, acts=refilled)
                 for model, kitchen in self.evenings[:REFILLED]]
        held = slice(len(runs))
        runs += [evening(self.task, model, kitchen, settings, start_c=COLD_C, acts=None)
                 for model, kitchen in self.evenings[:2]]
        done = fastsim.simulate(runs, EVENING_S, batch=4)
        warm_h = np.nan_to_num(done["warm_up_s"][held.stop :], nan=EVENING_S).mean() / 3600.0
        over_h = done["wall_over_s"].sum() / 3600.0
        return float(fastsim.pooled(done["rms_k"][held]) + QUIET_WORTH * fastsim.pooled(
            np.nan_to_num(done["quiet_k"][held])) + WARM_UP_K_PER_H * warm_h + over_h)

    def score(self, x: Floats) -> float:
        """Strain first, then error."""
        self.looked_at += 1
        if self.progress is not None:
            self.progress(self.looked_at)
        outside = float(np.sum(np.maximum(0.0, LOW - x) + np.maximum(0.0, x - HIGH)))
        gains = self.gains(x)
        strain = self.strain(gains) + outside
        return 10.0 + strain if strain > 1e-9 else self.error_k(gains)


def choose(task: Task, progress: Callable[[int], None] | None = None, tries: int = TRIES) -> Chosen:
    """The gains with the smallest error within every margin.

    Parameters
    ----------
    task : Task
        The findings and the chocolate.
    progress : callable, optional
        Called with the number of candidates tried.
    tries : int
        How many candidates a search may try before it restarts.
    """
    search = Search(task, progress)
    best, best_x = np.inf, np.zeros(0)
    tried = [feasible(search, start) for start in starts(task)]
    for at in range(SEARCHES):
        # a simplex that shrank onto the margins' edge moves along it only with wide steps, each time the other way
        start, step = (tried[at], 0.3) if at < len(tried) else (best_x, 0.3 * (-1.0) ** at)
        simplex = np.vstack([start, *(start + step * row for row in np.eye(len(start)))])
        done = minimize(search.score, start, method="Nelder-Mead",
                        options={"maxfev": tries, "initial_simplex": simplex, "xatol": 0.02, "fatol": 1e-4})
        if done.fun < best:
            best, best_x = float(done.fun), done.x
    return judged(task, search.gains(best_x))


def starts(task: Task) -> list[Floats]:
    """Where the search begins: by rule on the identified warmer, the same with a livelier bowl, and the gains that the
    board computes by itself. There are several because the cost has ridges.
    """
    model = task.findings.model
    lags = [model.heater_lag_s, model.water_lag_s]
    theta_s = model.dead_s + 0.5 * task.settings["period_s"] + min(lags) + 0.5 * max(lags)
    inner = textbook.simc_integrating(model.heater_w / model.water_j_per_k, theta_s, 1.5 * theta_s)
    wait_s = 2.5 * theta_s + model.bowl_lag_s
    kp, ti_s = rules.bowl_rule(model.bowl_j_per_k / model.coupling_w_per_k, wait_s)
    own = safe(task.settings)
    by_rule = np.log([inner.kp, inner.ti_s, max(1.0, model.water_lag_s), kp, ti_s, wait_s / 2.0])
    return [by_rule, by_rule + np.array([0.0, 0.5, 0.0, 0.3, -0.7, 0.3]),
            np.log([*(max(own[name], 1.0 if name.endswith("_s") else 0.0) for name in SEARCHED[:-1]), wait_s / 2.0])]


def safe(settings: Mapping[str, Any]) -> dict[str, float]:
    """The gains the board computes by itself, by their settings' names."""
    gains = rules.safe_gains({**settings, **dict.fromkeys((*SEARCHED, *MODELLED), 0.0)})
    plain = {name: getattr(gains, name.removeprefix("gains.").replace(".", "_")) for name in (*SEARCHED, *MODELLED)}
    return {name: float(value) for name, value in plain.items()}


def feasible(search: Search, x: Floats) -> Floats:
    """The start, slowed down until its margins hold; after a dozen attempts the last one, for the search to improve."""
    slower = np.array([-0.15, 0.15, 0.0, -0.2, 0.15, -0.1])
    for _ in range(12):
        if search.strain(search.gains(x)) <= 1e-9:
            break
        x = x + slower
    return x


def judged(task: Task, gains: Mapping[str, float]) -> Chosen:
    """Gains with their margins and their error."""
    search = Search(task)
    cascade = fastsim.cascade_of(with_gains(task.settings, gains))
    nominal = max((margins(cascade, each) for each in search.nominal), key=lambda each: each.worst)
    worst = max(margins(cascade, each).worst for each in search.corners)
    return Chosen(dict(gains), nominal, worst, movement(cascade), search.error_k(gains))
