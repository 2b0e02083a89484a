"""Simulated evenings and nights with known events, as the logs a PC would have recorded. For tests and benches.

The law and the plant run compiled (`bainwright.tuning.fastsim`); the readings get their probe's lag, noise and steps
here. `PLANTS` are three structures: the built-in warmer, the lumped model, and a bath in two layers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from layered_warmer import LayeredWarmer, Sizes
from scipy.signal import lfilter  # type: ignore[import-untyped]

from bainwright.files.rig import Rig
from bainwright.physics.materials import WATER_J_PER_LK
from bainwright.record.reader import HoldLog
from bainwright.tuning import fastsim, surrogate
from bainwright.tuning.model import guess
from bainwright.virtual.plant import Start, Warmer

HOLD = {"low_c": 31.0, "target_c": 31.5, "high_c": 32.0, "ceiling_c": 34.5}
MELTED = {"low_c": 39.0, "target_c": 40.0, "high_c": 41.0, "ceiling_c": 45.0}
Row = tuple[float, float, float, float]


@dataclass(frozen=True)
class Night:
    """The circumstances that a plant is made with.

    Attributes
    ----------
    room_c, fill : float
        The true room, and the bowl's fill as a share.
    start_c : (float, float)
        Water and bowl at the start.
    lid : bool
        Whether the bowl is covered.
    warmer : int
        Seed of a drawn warmer: the same number is the same warmer.
    """

    room_c: float
    fill: float
    start_c: tuple[float, float]
    lid: bool
    warmer: int


@dataclass(frozen=True)
class Truth:
    """One event as it was played: its second, its kind, its size (kg, litres, seconds) and its temperature, °C."""

    at_s: float
    kind: str
    size: float
    temp_c: float = float("nan")

FRESH_C = (33.0, 31.5)  # water and bowl of a warmer that has just been filled
LID_SHARE = 0.5  # of the lumped bowl's loss that remains under a lid, chosen: the wall's loss stays


def rows_of(truths: list[Truth]) -> list[Row]:
    """The events as the simulation takes them."""
    rows: list[Row] = []
    for each in truths:
        if each.kind == "refill":
            rows.append((each.at_s, fastsim.REFILL, each.size, each.temp_c))
        elif each.kind == "top_up":
            rows.append((each.at_s, fastsim.TOP_UP, each.size, each.temp_c))
        elif each.kind == "lift":
            rows += [(each.at_s, fastsim.BOWL, 0.0, 0.0), (each.at_s + each.size, fastsim.BOWL, 1.0, 0.0)]
        elif each.kind == "draught":
            rows += [(each.at_s, fastsim.DRAUGHT, each.temp_c, 0.0), (each.at_s + each.size, fastsim.DRAUGHT, 1.0, 0.0)]
        elif each.kind == "room":
            rows.append((each.at_s, fastsim.ROOM, each.temp_c, 0.0))
        elif each.kind == "dip":
            rate = each.temp_c / 1000.0  # its third figure is g/s
            rows += [(each.at_s, fastsim.DIP, rate, 0.0), (each.at_s + each.size, fastsim.DIP, -rate, 0.0)]
    return sorted(rows)


def built_in(rig: Rig, settings: dict[str, Any], night: Night) -> Any:
    """The warmer that ships."""
    kg = night.fill * float(settings["chocolate_kg"])
    return Warmer(rig, Start(*night.start_c, kg, room_c=night.room_c, lid=night.lid))


def lumped(rig: Rig, settings: dict[str, Any], night: Night) -> Any:
    """Two heat stores, drawn about what litres, kilograms and watts suggest."""
    rng = np.random.default_rng(night.warmer)
    factors = {name: float(np.exp(spread * rng.standard_normal())) for name, spread in (
        ("water_j_per_k", 0.1), ("bowl_j_per_k", 0.1), ("coupling_w_per_k", 0.2), ("bath_loss_w_per_k", 0.3),
        ("bowl_loss_w_per_k", 0.2))}
    kitchen = surrogate.Kitchen(stir=float(rng.uniform(1.0, 1.8)), temper=float(rng.uniform(1.0, 1.25)))
    factors["bowl_loss_w_per_k"] *= LID_SHARE if night.lid else 1.0
    return surrogate.ModelWarmer(
        surrogate.scaled(guess(settings), **factors), kitchen, *night.start_c, night.fill, night.room_c)


def layered(rig: Rig, settings: dict[str, Any], night: Night) -> Any:
    """A bath in two layers, its films drawn."""
    rng = np.random.default_rng(night.warmer)
    sizes = Sizes(settings["water_l"], settings["bowl_kg"], settings["heater_lag_s"], settings["chocolate_kg"])
    return LayeredWarmer(sizes, *night.start_c, night.fill, night.room_c, float(rng.uniform(0.8, 1.2)), night.lid)


PLANTS = {"built-in": built_in, "lumped": lumped, "layered": layered}


def play(rig: Rig, settings: dict[str, Any], truths: list[Truth], hours: float, *, plant: str = "built-in",
         room_c: float = 20.0, fill: float = 1.0, seed: int = 1, watts: float = 1.0, bias_c: float = 0.0,
         said_room_c: float = 20.0, hold: dict[str, float] = HOLD, water: float = 1.0, lid: bool = False,
         start_c: tuple[float, float] = FRESH_C, warmer: int | None = None, stage: str = "work",
         announced: bool = False) -> HoldLog:
    """The log of one evening.

    Parameters
    ----------
    rig : Rig
        The true warmer.
    settings : dict
        What the board believes.
    truths : list of Truth
        What happens.
    watts, water : float
        The true heater and the true water as shares of what the rig says.
    bias_c : float
        Of the bowl probe.
    lid, start_c, warmer
        As in `Night`; the seed draws the warmer where none is given.
    announced : bool
        Whether each refill is announced as long before it as the bath leads for one.
    """
    made = PLANTS[plant](rig, settings, Night(room_c, fill, start_c, lid, seed if warmer is None else warmer))
    if water != 1.0 and hasattr(made, "water_kg"):
        made.water_kg *= water
    elif water != 1.0:
        made.water_j_per_k -= (1.0 - water) * settings["water_l"] * WATER_J_PER_LK
    kit = fastsim.kit_of(rig, room_c=said_room_c, seed=float(seed), bowl_bias_c=bias_c, **hold)
    kit.heater_w *= watts
    seconds = round(3600 * hours)
    presses = [(each.at_s - fastsim.LEAD_S, fastsim.ANNOUNCE, float(each.temp_c >= hold["target_c"]), 0.0)
               for each in truths if each.kind == "refill" and announced]
    run = fastsim.Run(fastsim.cascade_of(settings), made, kit, sorted([*rows_of(truths), *presses]))
    trace = fastsim.simulate([run], seconds, stride=1).trace[0]
    rng = np.random.default_rng(seed)

    def read(true_c: np.ndarray, lag_s: float, bias: float, step_c: float) -> np.ndarray:
        keep = np.exp(-1.0 / lag_s)
        lagged, _ = lfilter([1.0 - keep], [1.0, -keep], true_c, zi=[keep * true_c[0]])
        noisy = lagged + bias + kit.noise_c * rng.standard_normal(len(true_c))
        return np.asarray(np.round(noisy / step_c) * step_c)

    water_c = read(trace[:, 0], kit.water_lag_s, 0.0, kit.water_step_c)
    bowl_c = read(trace[:, 1], kit.bowl_lag_s, bias_c, kit.bowl_step_c)
    rows = np.stack([water_c, bowl_c, trace[:, 3], trace[:, 4]], axis=1)
    return log_of(settings, rows, hold, said_room_c, stage)


def log_of(settings: dict[str, Any], rows: np.ndarray, hold: dict[str, float], room_c: float, stage: str) -> HoldLog:
    """The log of a hold, of rows a second of water, bowl, duty and the water's target."""
    count = len(rows)
    columns = {
        "t_s": np.arange(1.0, count + 1), "state": np.full(count, "hold"), "stage": np.full(count, stage),
        "water_c": rows[:, 0], "bowl_c": rows[:, 1], "bowl_estimated": np.zeros(count),
        "target_c": np.full(count, hold["target_c"]), "water_target_c": rows[:, 3], "duty": rows[:, 2],
        "on_ms": 1000 * rows[:, 2], "fault": np.zeros(count), "warn": np.zeros(count), "ask": np.full(count, ""),
    }
    facts = {"rig": settings, "room_c": room_c, "row_s": 1.0, "stage": stage,
             "profile": {"name": "dark", "kind": "dark", **hold}}
    return HoldLog(columns, [], facts, [])


def drawn(seed: int, hours: float = 6.0) -> tuple[list[Truth], dict[str, float]]:
    """An evening's events, at least 25 minutes apart, and its room and fill."""
    rng = np.random.default_rng(seed)
    at_s, found = float(rng.uniform(2400, 3600)), []
    kinds = ["refill", "top_up", "lift", "draught"]
    while at_s < 3600 * hours - 1500:
        kind = kinds[int(rng.integers(len(kinds)))]
        if kind == "refill":
            found.append(Truth(at_s, kind, float(rng.uniform(0.1, 0.4)), float(rng.choice([22.0, 24.0, 26.0, 40.0]))))
        elif kind == "top_up":
            found.append(Truth(at_s, kind, float(rng.uniform(0.05, 0.2)), float(rng.uniform(10.0, 20.0))))
        elif kind == "lift":
            found.append(Truth(at_s, kind, float(rng.uniform(120.0, 600.0))))
        else:
            found.append(Truth(at_s, kind, float(rng.uniform(300.0, 1200.0)), float(rng.uniform(1.5, 3.0))))
        at_s += float(rng.uniform(1500, 4200)) + (found[-1].size if kind in ("lift", "draught") else 0.0)
    fill = float(rng.uniform(0.4, 1.0))
    dips_s = [(at + float(rng.uniform(0, 900)), float(rng.uniform(1200, 3000)))
              for at in np.arange(1500.0, 3600 * hours - 1200, 4500.0)]  # a tray, a pause, a tray
    rate = 0.5 * fill * 2000.0 / sum(lasted_s for _, lasted_s in dips_s)  # half of 2 kg goes out
    found += [Truth(at, "dip", lasted_s, rate) for at, lasted_s in dips_s]
    return sorted(found, key=lambda each: each.at_s), {"room_c": float(rng.uniform(17.0, 24.0)), "fill": fill}


def scaled(truths: list[Truth], settings: dict[str, Any]) -> list[Truth]:
    """The same for a warmer of this size: chocolate as drawn for 2 kg but 100 g at least, water as drawn for 1 L."""
    by = settings["chocolate_kg"] / 2.0
    sized = {"refill": lambda each: replace(each, size=max(0.1, by * each.size)),
             "top_up": lambda each: replace(each, size=settings["water_l"] * each.size),
             "dip": lambda each: replace(each, temp_c=by * each.temp_c)}
    return [sized.get(each.kind, lambda each: each)(each) for each in truths]


def changed_in_mid_night(rig: Rig, at_s: float, hours: float, *, plant: str, seed: int, slip_c: float = 0.0,
                         watts: float = 1.0, lid_off: bool = False, hold: dict[str, float] = MELTED) -> HoldLog:
    """A quiet night in which something about the warmer changes at a moment: its bowl probe, its heater, or its lid.

    Law and plant run uncompiled here, second by second, because the compiled ones have no such event.
    """
    settings = dict(rig.settings)
    made = PLANTS[plant](rig, settings, Night(20.0, 1.0, (hold["target_c"] + 2.0, hold["target_c"]), True, seed))
    law = fastsim.cascade_of(settings)
    kit, rng = fastsim.kit_of(rig), np.random.default_rng(seed)
    seconds = round(3600 * hours)
    noise_c = kit.noise_c * rng.standard_normal((seconds, 2))
    element_c, duty, rows = np.array([made.water_c, made.bowl_c]), 0.0, np.empty((seconds, 4))
    keep = np.exp(-1.0 / np.array([kit.water_lag_s, kit.bowl_lag_s]))
    law.reset(made.water_c, made.bowl_c)
    for second in range(seconds):
        after = second >= at_s
        made.step(duty * kit.heater_w * (watts if after else 1.0), 1.0)
        if after and lid_off and made.lid:
            made.lid = False
            made._fresh_s = 0.0
        element_c = keep * element_c + (1.0 - keep) * np.array([made.water_c, made.bowl_c + slip_c * after])
        read_c = np.round((element_c + noise_c[second]) / fastsim.ONEWIRE_STEP_C) * fastsim.ONEWIRE_STEP_C
        duty = law.step(*map(float, read_c), hold["target_c"], hold["ceiling_c"], 20.0, 1.0, False, False)
        law.applied(duty)
        rows[second] = *read_c, duty, law.water_target_c
    return log_of(settings, rows, hold, 20.0, "melted")
