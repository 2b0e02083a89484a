"""After one commissioning each: errors divided by the reference's, on the bundled rigs and on relatives. By hand:

    PYTHONPATH=firmware:host:tests/bench python tests/bench/ratios.py [relatives]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import sys
from dataclasses import replace
from typing import Any

import msgspec
import numpy as np
from reference import reference, scored

from bainboard.control.rules import safe_gains
from bainboard.experiment import Experiment
from bainwright.files.rig import Rig, load_rig
from bainwright.tuning import choose, dataset, fastsim, identify
from bainwright.virtual.plant import Start, Warmer
from bainwright.virtual.probes import Element

SECONDS = 4 * 3600
Event = tuple[float, float, float, float]


def relatives(count: int) -> list[Rig]:
    """The bundled rigs, then drawn ones (60-1000 W, 0.8-6 L, heater lag 5-120 s, probe lag 5-30 s), then odd ones."""
    found = [load_rig(name) for name in ("pot", "mat", "plate")]
    base = load_rig("pot")
    for seed in range(count):
        rng = np.random.default_rng(1000 + seed)
        litres = float(np.exp(rng.uniform(np.log(0.8), np.log(6.0))))
        watts = float(np.exp(rng.uniform(np.log(max(60.0, 45.0 * litres)), np.log(min(1000.0, 300.0 * litres)))))
        kg = litres * float(rng.uniform(0.6, 1.1))
        lag_s = float(np.exp(rng.uniform(np.log(5.0), np.log(120.0))))
        changes: dict[str, Any] = {
            "name": f"relative {seed}", "heater_w": round(watts), "water_l": round(litres, 1),
            "bowl_kg": round(kg / 4, 2), "chocolate_kg": round(kg, 1), "heater_lag_s": round(lag_s),
            "bowl_offset_c": 1.2}
        plant = msgspec.structs.replace(
            base.plant, water_probe_lag_s=float(rng.uniform(5.0, 30.0)), bowl_probe_lag_s=float(rng.uniform(5.0, 30.0)),
            ring_cover=float(rng.uniform(0.3, 0.9)), rest_film_w_per_m2k=float(rng.uniform(50.0, 80.0)))
        found.append(replace(base.with_settings(changes), plant=plant, name=changes["name"]))
    ceramic = msgspec.structs.replace(base.plant, bowl_cp_j_per_kgk=840.0, water_film_w_per_m2k=120.0)
    odd = (("ceramic bowl", {"bowl_kg": 1.6}, ceramic), ("five times the heater", {"heater_w": 750.0}, base.plant),
           ("latent heat", {}, msgspec.structs.replace(base.plant, temper_latent_j_per_kg=6000.0)))
    return found + [replace(base.with_settings({**c, "name": n}), plant=p, name=n) for n, c, p in odd]


def commissioned(rig: Rig, whole: bool = False, plant_of: Any = Warmer) -> Any:
    """Settings with the gains chosen after one experiment from cold; `whole`: with the task they were chosen for."""
    values, table = rig.settings, rig.plant
    warmer = plant_of(rig, Start(20.0, 20.0))
    elements = [Element(name, 1, lag_s, table.probe_noise_c, 0.0, 20.0)
                for name, lag_s in (("water", table.water_probe_lag_s), ("bowl", table.bowl_probe_lag_s))]
    experiment = Experiment(safe_gains(values), values["heater_lag_s"], 31.5 + values["bowl_offset_c"], 34.3, 20.0)
    read, rows = [20.0, 20.0], []
    for second in range(1, 3601):
        power_w = values["heater_w"] * experiment.step(read[0])
        warmer.step(power_w, 1.0)
        rows.append((power_w, *read))
        for at, (element, true_c) in enumerate(zip(elements, (warmer.water_c, warmer.bowl_c), strict=True)):
            element.advance(true_c, 1.0)
            read[at] = round(element.reading_c(second * 1_000_000) * 16) / 16
    power, water, bowl = np.array(rows).T
    findings, _ = identify.identify(dataset.record(np.arange(1.0, 3601), power, water, bowl, 20.0, values), values)
    task = choose.Task(findings, values, bath=table.bath == "water")
    chosen = choose.choose(task)
    settings = choose.with_gains(values, chosen.gains)
    return (settings, task, chosen) if whole else settings


def evening(rig: Rig, settings: dict[str, Any], cold: bool = False, announced: bool = False) -> fastsim.Run:
    """A dipping evening, its refills announced five minutes ahead or not, or a calm one from cold; built-in plant."""
    run = fastsim.run_of(rig, settings, None, seed=5.0)
    start = (16.0, 18.0) if cold else (33.0, 31.7)
    run.warmer.water_c, run.warmer.bowl_c = start
    run.warmer.element_c, run.warmer.wall_c = start
    water_l = rig.settings["water_l"] if rig.plant.bath == "water" else 0.0
    run.events = [] if cold else choose.dipping(rig.settings["chocolate_kg"], water_l)
    if announced:
        run.events = announced_ahead(run.events)
    return run


def announced_ahead(events: list[Event]) -> list[Event]:
    """The same evening with each refill announced, the warm ones as warm."""
    said = [(at_s - fastsim.LEAD_S, fastsim.ANNOUNCE, float(temp_c >= fastsim.Kit.target_c), 0.0)
            for at_s, kind, _, temp_c in events if kind == fastsim.REFILL]
    return sorted([*events, *said])


def main(count: int = 30) -> None:
    """Print a row for each rig, then medians and the worst."""
    print("rig                     bound K   safe  tuned  quiet bound  safe  tuned  warm-up safe tuned  announced  "
          "over s")
    rows = []
    for rig in relatives(count):
        plain, tuned = dict(rig.settings), commissioned(rig)
        bound = {}
        for cold in (False, True):
            run = evening(rig, plain, cold)
            course = reference(run, SECONDS)
            bound[cold] = scored(course[:, 1], course[:, 2], run)
        row = [bound[False]["rms_k"]]
        done = {name: [fastsim.simulate([evening(rig, settings, cold)], SECONDS) for cold in (False, True)]
                for name, settings in (("safe", plain), ("tuned", tuned))}
        row += [done[name][0]["rms_k"][0] / row[0] for name in done]
        row.append(bound[False]["quiet_k"])
        row += [done[name][0]["quiet_k"][0] for name in done]
        row += [done[name][1]["warm_up_s"][0] / bound[True]["warm_up_s"] for name in done]
        told = fastsim.simulate([evening(rig, tuned, announced=True)], SECONDS)
        row.append(told["rms_k"][0] / row[0])
        row.append(sum(each["wall_over_s"][0] for each in (*done["tuned"], told)))
        rows.append(row)
        print(f"{rig.name:22s}  {row[0]:7.3f} {row[1]:6.3f} {row[2]:6.3f}  {row[3]:9.3f}  {row[4]:6.3f} {row[5]:6.3f}  "
              f"{row[6]:8.2f} {row[7]:7.2f} {row[8]:9.3f} {row[9]:7.0f}", flush=True)
    table = np.array(rows)
    print("tuned ratio: median {:.3f}, worst {:.3f}; safe {:.3f}, {:.3f}; quiet {:.2f}; warm-up {:.2f}; "
          "announced {:.2f}".format(
        *(f(table[:, c]) for c, f in ((2, np.median), (2, np.max), (1, np.median), (1, np.max))),
        np.median(table[:, 5] / table[:, 3]), np.nanmedian(table[:, 7]), np.median(table[:, 8])))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
