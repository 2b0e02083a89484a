"""Records of warmers simulated by scipy.signal, with the experiment's own relay: known truth to identify."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import signal  # type: ignore[import-untyped]

from bainboard import settings as board
from bainboard.control.rules import safe_gains
from bainboard.experiment import Experiment

NAMES = ("water_j_per_k", "bowl_j_per_k", "coupling_w_per_k", "bath_loss_w_per_k", "bowl_loss_w_per_k", "heater_lag_s",
         "water_lag_s", "bowl_lag_s", "dead_s")


@dataclass
class Made:
    """A record and the truth behind it."""

    time_s: np.ndarray
    power_w: np.ndarray
    water_c: np.ndarray
    bowl_c: np.ndarray
    truth: dict[str, float]
    settings: dict[str, Any]


def settings_of(**changes: Any) -> dict[str, Any]:
    """A rig's settings, checked."""
    values, why = board.check(board.SETTINGS, {"probe.bowl.kind": "onewire", **changes})
    assert why is None, why
    return values


def matrices(truth: dict[str, float]) -> tuple[np.ndarray, np.ndarray]:
    """The same balances as the model's, written down a second time: element, water, bowl, two probes, over the room."""
    t = truth
    a = np.array([
        [-1 / t["heater_lag_s"], 0, 0, 0, 0],
        [1 / t["water_j_per_k"], -(t["coupling_w_per_k"] + t["bath_loss_w_per_k"]) / t["water_j_per_k"],
         t["coupling_w_per_k"] / t["water_j_per_k"], 0, 0],
        [0, t["coupling_w_per_k"] / t["bowl_j_per_k"],
         -(t["coupling_w_per_k"] + t["bowl_loss_w_per_k"]) / t["bowl_j_per_k"], 0, 0],
        [0, 1 / t["water_lag_s"], 0, -1 / t["water_lag_s"], 0],
        [0, 0, 1 / t["bowl_lag_s"], 0, -1 / t["bowl_lag_s"]],
    ])
    return a, np.array([[1 / t["heater_lag_s"]], [0], [0], [0], [0]])


def heated(settings: dict[str, Any], truth: dict[str, float], seconds: int = 3600, *, start_c: float = 20.0,
           room_c: float = 20.0, noise_c: float = 0.02, step_c: float = 0.0625, seed: int = 1,
           sun_w: float = 0.0) -> Made:
    """Run the board's experiment on a linear warmer; `scipy.signal` steps it exactly, a second at a time."""
    a, b = matrices(truth)
    b = np.hstack([b, [[0], [1 / truth["water_j_per_k"]], [0], [0], [0]]])
    phi, gamma, *_ = signal.cont2discrete((a, b, np.eye(5), np.zeros((5, 2))), 1.0)
    gains = safe_gains(settings)
    experiment = Experiment(gains, settings["heater_lag_s"], 32.7, 34.3, room_c)
    rng = np.random.default_rng(seed)
    x = np.array([0.0, *[start_c - room_c] * 4])
    whole = int(truth["dead_s"])
    part = truth["dead_s"] - whole
    power, rows = [0.0] * (whole + 2), []
    for _ in range(seconds):
        read = room_c + x[3:] + noise_c * rng.standard_normal(2)
        read = np.round(read / step_c) * step_c if step_c else read
        power.append(experiment.step(float(read[0])) * settings["heater_w"])
        late = (1 - part) * power[-1 - whole] + part * power[-2 - whole]
        x = phi @ x + gamma @ np.array([late, sun_w])
        seen = room_c + x[3:] + noise_c * rng.standard_normal(2)
        rows.append(np.round(seen / step_c) * step_c if step_c else seen)
    read = np.array(rows)
    return Made(np.arange(1.0, seconds + 1), np.array(power[whole + 2 :]), read[:, 0], read[:, 1], truth, settings)


def drawn(seed: int) -> tuple[dict[str, Any], dict[str, float]]:
    """A relative (60 to 1000 W, 0.8 to 6 L, heater lag 5 to 120 s, probe lag 5 to 30 s), said with a builder's care."""
    rng = np.random.default_rng(seed)
    litres = float(np.exp(rng.uniform(np.log(0.8), np.log(6.0))))
    watts = float(np.exp(rng.uniform(np.log(max(60.0, 40.0 * litres)), np.log(min(1000.0, 300.0 * litres)))))
    kg = litres * float(rng.uniform(0.6, 1.2))
    lag_s = float(np.exp(rng.uniform(np.log(5.0), np.log(120.0))))
    settings = settings_of(heater_w=round(watts), water_l=round(litres, 1), chocolate_kg=round(kg, 1),
                           bowl_kg=round(0.25 * kg, 2), heater_lag_s=round(lag_s))

    def near(value: float, spread: float) -> float:
        return value * float(np.exp(spread * rng.standard_normal()))

    truth = {
        "water_j_per_k": near(4300.0 * litres, 0.1), "bowl_j_per_k": near(1700.0 * kg, 0.1),
        "coupling_w_per_k": near(1.9 * kg ** (2 / 3) * 1.4, 0.25),
        "bath_loss_w_per_k": near(0.8 * (litres / 2) ** (2 / 3), 0.4),
        "bowl_loss_w_per_k": near(0.6 * (kg / 2) ** (2 / 3), 0.25), "heater_lag_s": near(lag_s, 0.25),
        "water_lag_s": float(rng.uniform(5.0, 30.0)), "bowl_lag_s": float(rng.uniform(15.0, 50.0)),
        "dead_s": float(rng.uniform(1.0, 4.0)),
    }
    return settings, truth
