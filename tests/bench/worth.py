"""What each part of the control contributes, and how tight the practical bound is. By hand, some minutes:

    PYTHONPATH=firmware:host:tests/bench python tests/bench/worth.py [rig ...]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from ratios import SECONDS, Event, announced_ahead, commissioned, evening
from reference import reference, scored

from bainboard.control.cascade import Cascade
from bainwright.files.rig import Rig, load_rig
from bainwright.tuning import choose, fastsim, references
from bainwright.virtual.plant import Start, Warmer

NOTHING = 1e-6  # used as a zero gain: with a true zero the board would compute the gain itself


def cold_refills(kg: float, water_l: float) -> list[Event]:
    """Four hours with a refill each hour that drops the bowl by 1.7 K at once, a cold top-up and a draught."""
    rows = choose.dips(kg, (120.0, 3000.0, 0.55), *((at_s + 60.0, 3000.0, 0.136) for at_s in choose.REFILLS_S))
    rows += [(at_s, fastsim.REFILL, 0.136 * kg, 24.0) for at_s in choose.REFILLS_S]
    rows += [(1800.0, fastsim.DRAUGHT, 2.0, 0.0), (2400.0, fastsim.DRAUGHT, 1.0, 0.0)]
    rows.append((5400.0, fastsim.TOP_UP, water_l / 8.0, 15.0))
    return sorted(rows)


class Layered(Warmer):
    """An unstirred bath: the heater is in a lower layer, the probe and the bowl in the upper one."""

    LOWER, MIXED_W_PER_K = 0.4, 40.0  # share of the water below; heat carried up per kelvin between the layers

    def __init__(self, rig: Rig, start: Start) -> None:
        super().__init__(rig, start)
        self.low_c = start.water_c
        self.low_j_per_k = self.LOWER * self.water_kg * 4180.0
        self.water_kg *= 1.0 - self.LOWER

    def step(self, power_w: float, dt_s: float) -> None:
        """The layers' exchange, then the upper one's own second."""
        rises_w = self.MIXED_W_PER_K * (self.low_c - self.water_c)
        self.low_c += (power_w - rises_w) * dt_s / self.low_j_per_k
        super().step(rises_w, dt_s)


def slowly(plant: Any, kit: fastsim.Kit, events: list[Event], control: Callable[[float, float], float]) -> np.ndarray:
    """An evening in plain Python, for parts that are not compiled; (seconds, 2): bowl and wall."""
    rng, at, duty = np.random.default_rng(5), 0, 0.0
    read_c, lags_s = np.array([plant.water_c, plant.bowl_c]), np.array([kit.water_lag_s, kit.bowl_lag_s])
    out = np.zeros((SECONDS, 2))
    for second in range(1, SECONDS + 1):
        plant.step(kit.heater_w * duty, 1.0)
        read_c += (np.array([plant.water_c, plant.bowl_c]) - read_c) * (1.0 - np.exp(-1.0 / lags_s))
        while at < len(events) and events[at][0] <= second:
            _, kind, a, b = events[at]
            at += 1
            if kind == fastsim.DIP:
                plant.dip_kg_per_s = max(0.0, plant.dip_kg_per_s + a)
            elif kind == fastsim.REFILL:
                plant.refill(a, b)
            elif kind == fastsim.TOP_UP:
                plant.top_up(a, b)
            else:
                plant.draught = a
        shown_c = np.round((read_c + kit.noise_c * rng.standard_normal(2)) * 16.0) / 16.0
        duty = control(float(shown_c[0]), float(shown_c[1]))
        out[second - 1] = plant.bowl_c, plant.wall_c
    return out


def thermostat(rig: Rig, events: list[Event]) -> np.ndarray:
    """A thermostat on the water at the exact offset that holds the bowl; half a kelvin of hysteresis, as sold."""
    run = evening(rig, dict(rig.settings))
    on = False

    def control(water_c: float, _: float) -> float:
        nonlocal on
        on = water_c < WATER_C[rig.name] - 0.25 or (on and water_c < WATER_C[rig.name] + 0.25)
        return float(on)

    return slowly(run.warmer, run.kit, events, control)


def layered(rig: Rig) -> None:
    """A new rig whose structure the model lacks: identified, tuned and held."""
    tuned = commissioned(rig, plant_of=Layered)
    run = evening(rig, tuned)
    course = reference(run, SECONDS)
    bound = scored(course[:, 1], course[:, 2], run)
    print(f"\n{rig.name}, layered water: error K, over the bound of its stirred twin, quiet K, s over ceiling")
    for name, settings in (("safe gains", dict(rig.settings)), ("tuned", tuned)):
        law = fastsim.cascade_of(settings)
        law.reset(33.0, 31.7)

        def control(water_c: float, bowl_c: float, law: Cascade = law) -> float:
            duty = law.step(water_c, bowl_c, 31.5, 34.5, 20.0, 1.0)
            law.applied(duty)
            return float(duty)

        held = slowly(Layered(rig, Start(33.0, 31.7)), run.kit, run.events, control)
        found = scored(held[:, 0], held[:, 1], run)
        print(f"{name:32s} {found['rms_k']:6.3f} {found['rms_k'] / bound['rms_k']:6.2f} {found['quiet_k']:6.3f} "
              f"{found['wall_over_s']:5.0f}")


WATER_C: dict[str, float] = {}  # water that holds a rig's bowl; found by a calm evening


def calm_water(rig: Rig, settings: dict[str, Any]) -> float:
    """Water at the end of four calm hours."""
    run = evening(rig, settings)
    run.events = []
    return float(fastsim.simulate([run], SECONDS, stride=60).trace[0][-60:, 0].mean())


def table(rig: Rig, tuned: dict[str, Any]) -> None:
    """Controllers from the plainest to the practical bound, on one evening: error, over the bound, quiet error."""
    WATER_C[rig.name] = calm_water(rig, tuned)
    water_l = rig.settings["water_l"] if rig.plant.bath == "water" else 0.0
    events = cold_refills(rig.settings["chocolate_kg"], water_l)

    def bound(announced_s: float) -> dict[str, float]:
        run = evening(rig, tuned)
        run.events = events
        course = reference(run, SECONDS, announced_s)
        return scored(course[:, 1], course[:, 2], run)

    def held(settings: dict[str, Any], rows: list[Event] = events, probe: bool = True) -> dict[str, float]:
        run = evening(rig, settings)
        run.events, run.kit.bowl_probe = rows, probe
        done = fastsim.simulate([run], SECONDS)
        return {name: float(done[name][0]) for name in ("rms_k", "quiet_k", "wall_over_s")}

    run = evening(rig, tuned)
    run.events = events
    switched = thermostat(rig, events)
    offset = {"bowl_offset_c": WATER_C[rig.name] - run.kit.target_c}
    best = bound(0.0)
    rows = [
        ("thermostat on the water", scored(switched[:, 0], switched[:, 1], run)),
        ("PID on the water, offset known", held({**tuned, **offset}, probe=False)),
        ("cascade, safe gains", held(dict(rig.settings))),
        ("cascade, tuned", held(tuned)),
        ("cascade, tuned, announced", held(tuned, announced_ahead(events))),
        ("practical bound", best),
        ("practical bound, announced", bound(300.0)),
    ]
    print(f"\n{rig.name}, a cold refill each hour: error K, times the bound, quiet error K, s over the ceiling")
    for name, found in rows:
        print(f"{name:32s} {found['rms_k']:6.3f} {found['rms_k'] / best['rms_k']:6.2f} {found['quiet_k']:6.3f} "
              f"{found['wall_over_s']:5.0f}")


def ablations(rig: Rig, tuned: dict[str, Any]) -> None:
    """The same evening with one thing changed at a time."""
    def gains(**factors: float) -> dict[str, Any]:
        return {**tuned, **{name: tuned[name] * by for name, by in
                            ((each.replace("__", "."), by) for each, by in factors.items())}}

    cases = (
        ("tuned", tuned, False), ("refills announced", tuned, True),
        ("no losses fed forward", gains(gains__loss_w_per_k=NOTHING), False),
        ("no bowl's balance fed forward", gains(gains__bowl_w_per_k=NOTHING), False),
        ("no derivative on the bowl", gains(gains__bowl__td_s=0.0), False),
        ("as if not learnt: wall is water", {**tuned, "gains.bowl_w_per_k": 0.0}, False),
        ("bowl's gain x 0.7, as if fuller", gains(gains__bowl__kp=0.7), False),
        ("bowl's gain x 1.4, as if emptier", gains(gains__bowl__kp=1.4), False),
        ("water to 0.3 K over the ceiling", {**tuned, "gains.ceiling_margin_c": -0.3}, False),
        ("water to 1 K under the ceiling", {**tuned, "gains.ceiling_margin_c": 1.0}, False),
    )
    print(f"\n{rig.name}, ablations: error K, quiet error K, warm-up min, wall's peak °C")
    for name, settings, announced in cases:
        done = fastsim.simulate([evening(rig, settings, announced=announced)], SECONDS)
        cold = fastsim.simulate([evening(rig, settings, cold=True)], SECONDS)
        peak_c = max(done["wall_peak_c"][0], cold["wall_peak_c"][0])
        print(f"{name:32s} {done['rms_k'][0]:6.3f} {done['quiet_k'][0]:6.3f} {cold['warm_up_s'][0] / 60:6.1f} "
              f"{peak_c:6.2f}")


def main(*names: str) -> None:
    """All tables, a rig at a time."""
    layered(load_rig("pot"))
    for name in names or ("pot", "mat", "plate"):
        rig = load_rig(name)
        tuned, task, chosen = commissioned(rig, whole=True)
        table(rig, tuned)
        ablations(rig, tuned)
        print(f"\n{name}, textbook rules at equal margins")
        print("\n".join(references.comparison_lines(references.compare(task), chosen)), flush=True)
    runs = [choose.evening(task, task.findings.model, choose.Kitchen(seed=n + 1), tuned) for n in range(200)]
    fastsim.simulate(runs[:16], 60)
    began_s = time.perf_counter()
    fastsim.simulate(runs, SECONDS)
    took_s = time.perf_counter() - began_s
    print(f"\nproof: {200 * SECONDS / took_s / 1e6:.1f} million rig-seconds a second on {os.cpu_count()} processors")


if __name__ == "__main__":
    main(*sys.argv[1:])
