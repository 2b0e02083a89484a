"""A warmer simulated from its model, to try gains on many: the built-in plant's interface at a tenth of its work.

It simulates the model and what a kitchen adds: stirring that couples the bowl better, the temper's own heat, a
draught. It is compiled with the control law (`bainwright.tuning.fastsim`), so it is written in plain numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from bainwright.physics.materials import CP_SOLID, WATER_J_PER_LK
from bainwright.tuning.model import FILM_POWER, Findings, Model

STIR_AFTER_S = 60.0  # a refill is stirred in for a minute, as in the built-in plant; chosen

# Effects of a kitchen that an experiment at rest does not show. Ends of uniform ranges, chosen: films of stirred and
# still chocolate differ up to twofold (115 and 60 W/m²K behind a water film); a temper takes up to a quarter more heat
# around 31 °C than the same chocolate without; mains is within 10 %; a calibration within a tenth of a kelvin.
STIR, TEMPER, SUPPLY, BIAS_C = (1.0, 1.8), (1.0, 1.25), (0.9, 1.1), (-0.1, 0.1)
WALL_SHARE = (0.1, 0.35)  # of the drop from water to chocolate, the share before the wall; computed from those films


@dataclass(frozen=True)
class Kitchen:
    """The particulars of one evening on one warmer."""

    stir: float = 1.3
    temper: float = 1.1
    supply: float = 1.0
    water_bias_c: float = 0.0
    bowl_bias_c: float = 0.0
    wall_share: float = 0.2
    seed: int = 1


class ModelWarmer:
    """The plant of a `Model`; temperatures in °C, everything public as in `bainwright.virtual.plant.Warmer`."""

    def __init__(self, model: Model, kitchen: Kitchen, water_c: float, bowl_c: float, fill: float = 1.0,
                 room_c: float = 20.0) -> None:
        self.water_c, self.bowl_c, self.wall_c = water_c, bowl_c, bowl_c
        self.room_c, self.draught, self.bowl_in = room_c, 1.0, True
        self.heat_w = 0.0
        self.supply, self.stir, self.temper = kitchen.supply, kitchen.stir, kitchen.temper
        self.wall_share = kitchen.wall_share
        self.heater_lag_s = model.heater_lag_s + model.dead_s
        self.water_j_per_k = model.water_j_per_k
        self.empty_j_per_k = model.empty_j_per_k
        self.full_kg = max(0.05, (model.bowl_j_per_k - model.empty_j_per_k) / CP_SOLID.value)
        self.chocolate_kg = fill * self.full_kg
        self.coupling_w_per_k = model.coupling_w_per_k
        self.bath_loss_w_per_k, self.bowl_loss_w_per_k = model.bath_loss_w_per_k, model.bowl_loss_w_per_k
        self.dip_kg_per_s = 0.0
        self._stir_s = 0.0
        self._fresh_s = 0.0

    def step(self, power_w: float, dt_s: float) -> None:
        """Let `dt_s` pass; backward Euler for water and bowl together, so that no lag is too short for the step."""
        self.heat_w += (power_w * self.supply - self.heat_w) * dt_s / (self.heater_lag_s + dt_s)
        stirred = self.dip_kg_per_s > 0.0 or self._stir_s > 0.0
        coupling = self.coupling_w_per_k * pow(self.chocolate_kg / self.full_kg, FILM_POWER)
        if stirred:
            coupling *= self.stir
        if not self.bowl_in:
            coupling = 0.0
        store_w = self.water_j_per_k / dt_s
        store_b = (self.empty_j_per_k + self.chocolate_kg * CP_SOLID.value * self.temper) / dt_s
        loss_w, loss_b = self.bath_loss_w_per_k * self.draught, self.bowl_loss_w_per_k * self.draught
        right_w = store_w * self.water_c + loss_w * self.room_c + self.heat_w
        right_b = store_b * self.bowl_c + loss_b * self.room_c
        whole_w, whole_b = store_w + loss_w + coupling, store_b + loss_b + coupling
        self.water_c = (right_w + coupling * right_b / whole_b) / (whole_w - coupling * coupling / whole_b)
        self.bowl_c = (right_b + coupling * self.water_c) / whole_b
        self.wall_c = self.water_c - self.wall_share * (self.water_c - self.bowl_c)
        self.chocolate_kg = max(0.02 * self.full_kg, self.chocolate_kg - self.dip_kg_per_s * dt_s)
        self._stir_s = max(0.0, self._stir_s - dt_s)

    def refill(self, mass_kg: float, temp_c: float) -> None:
        """Pour chocolate in and stir."""
        # the bowl's metal changes with it a little
        held = self.empty_j_per_k / CP_SOLID.value / 4.0 + self.chocolate_kg
        self.bowl_c = (held * self.bowl_c + mass_kg * temp_c) / (held + mass_kg)
        self.chocolate_kg += mass_kg
        self._stir_s = STIR_AFTER_S

    def top_up(self, litres: float, temp_c: float) -> None:
        """Pour water into the bath."""
        added = litres * WATER_J_PER_LK
        self.water_c = (self.water_j_per_k * self.water_c + added * temp_c) / (self.water_j_per_k + added)
        self.water_j_per_k += added


def draw(findings: Findings, count: int, seed: int = 0) -> list[tuple[Model, Kitchen]]:
    """Warmers that fit the log about as well as the best fit does, each in a kitchen of its own."""
    rng = np.random.default_rng(seed)
    picked = findings.samples[rng.integers(0, len(findings.samples), count)]
    return [(findings.model.with_vector(values), _kitchen(rng)) for values in picked]


def _kitchen(rng: np.random.Generator) -> Kitchen:
    ends: dict[str, Any] = {
        "stir": STIR, "temper": TEMPER, "supply": SUPPLY, "water_bias_c": BIAS_C, "bowl_bias_c": BIAS_C,
        "wall_share": WALL_SHARE,
    }
    drawn = {name: float(rng.uniform(*pair)) for name, pair in ends.items()}
    return Kitchen(**drawn, seed=int(rng.integers(1, 2**31)))


def scaled(model: Model, **factors: float) -> Model:
    """A model with some of its figures multiplied."""
    return replace(model, **{name: getattr(model, name) * by for name, by in factors.items()})
