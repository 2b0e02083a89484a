"""The three reference warmers and their relatives, each drawn from its number."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import msgspec

from bainwright.core.errors import UseError
from bainwright.files.rig import Rig, load_rig
from bainwright.virtual.probe_ids import name_probes

THREE = ("mat", "pot", "plate")
KIN = "kin-"
LEAST_W_PER_L, MOST_W_PER_L = 40.0, 300.0  # a heater that can hold its bath, and one a builder would choose


@dataclass(frozen=True)
class Warmer:
    """A rig and the range its bowl is filled over."""

    name: str
    rig: Rig
    watts_per_l: float


def _log(rng: random.Random, low: float, high: float) -> float:
    return float(low * (high / low) ** rng.random())


@cache
def warmer(name: str) -> Warmer:
    """One of the three by name, or the relative ``kin-N``.

    Raises
    ------
    UseError
        When it is neither.
    """
    if name in THREE:
        rig = name_probes(load_rig(name))
    elif name.startswith(KIN) and name.removeprefix(KIN).isdecimal():
        rig = name_probes(_relative(int(name.removeprefix(KIN))))
    else:
        raise UseError("no such warmer", got=name, wanted="mat, pot, plate, or kin- and a whole number")
    return Warmer(name, rig, rig.settings["heater_w"] / rig.settings["water_l"])


def _relative(number: int) -> Rig:
    """60-1000 W, 0.8-6 L, heater lag 5-120 s, probe lag 5-30 s: the stated ranges."""
    rng = random.Random(f"kin {number}")
    water_l = _log(rng, 0.8, 6.0)
    heater_w = _log(rng, max(60.0, LEAST_W_PER_L * water_l), min(1000.0, MOST_W_PER_L * water_l))
    chocolate_kg = water_l * rng.uniform(0.6, 1.2)
    kinds = {f"probe.{place}.kind": rng.choice(("onewire", "ntc")) for place in ("water", "bowl")}
    changes: dict[str, Any] = {
        "heater_w": round(heater_w, 1), "water_l": round(water_l, 2), "heater_lag_s": round(_log(rng, 5.0, 120.0), 1),
        "chocolate_kg": round(chocolate_kg, 2), "bowl_kg": round(0.25 * chocolate_kg, 2), "name": f"{KIN}{number}",
        "switch": rng.choice(("dc", "zero_cross")), "period_s": rng.choice((1.0, 2.0)), **kinds,
    }
    rig = load_rig("pot").with_settings(changes, f"relative {number}")
    table: Any = msgspec.structs.replace(
        rig.plant, water_probe_lag_s=rng.uniform(5.0, 30.0), bowl_probe_lag_s=rng.uniform(5.0, 30.0),
        ring_cover=rng.uniform(0.5, 0.95), insulation_mm=rng.choice((0.0, 5.0, 10.0)))
    return replace(rig, name=f"{KIN}{number}", plant=table, vessels={})
