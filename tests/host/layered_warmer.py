"""A warmer of another structure than the one that ships: a bath in two layers, with losses that grow with the excess.

The heater warms the lower layer, water rises into the upper one, and the probe sits in the upper one. Heat leaves by
films that grow as free convection does, with the fourth root of the excess (Holman, laminar air; from memory), and by
vapour from the ring. It is compiled with the control law, so it is written in plain numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

from bainwright.physics.materials import CP_SOLID, WATER_J_PER_LK


@dataclass(frozen=True)
class Sizes:
    """What a warmer of this structure is made of; films in W/m²K at an excess of 20 °C, vapour in W/m² at 20 °C."""

    water_l: float
    bowl_kg_steel: float
    heater_lag_s: float
    full_kg: float
    mix_w_per_k: float = 60.0
    film_w_per_m2k: float = 9.0
    vapour_w_per_m2: float = 160.0


class LayeredWarmer:
    """Everything public as in `bainwright.virtual.plant.Warmer`."""

    def __init__(self, sizes: Sizes, water_c: float, bowl_c: float, fill: float, room_c: float,
                 film: float, lid: bool) -> None:
        self.water_c, self.lower_c, self.wall_c, self.bowl_c, self.heat_w = water_c, water_c, bowl_c, bowl_c, 0.0
        self.room_c, self.draught, self.bowl_in, self.lid = room_c, 1.0, True, lid
        self.heater_lag_s, self.mix_w_per_k = sizes.heater_lag_s, sizes.mix_w_per_k
        self.film, self.vapour_w_per_m2 = film * sizes.film_w_per_m2k, sizes.vapour_w_per_m2
        self.full_kg, self.chocolate_kg = sizes.full_kg, fill * sizes.full_kg
        self.water_j_per_k = sizes.water_l * WATER_J_PER_LK
        self.wall_j_per_k = sizes.bowl_kg_steel * 500.0
        wide_m = 0.26 * pow(sizes.water_l / 2.0, 1.0 / 3.0)  # chosen: a pot of two litres
        self.pot_m2, self.bowl_m2, self.ring_m2 = 2.0 * wide_m**2, 0.7 * wide_m**2, 0.1 * wide_m**2
        self.dip_kg_per_s, self._fresh_s, self._stir_s = 0.0, 0.0, 0.0

    def step(self, power_w: float, dt_s: float) -> None:
        """Let `dt_s` pass; forward Euler, as every lag here is many times a second."""
        self.heat_w += (power_w - self.heat_w) * dt_s / (self.heater_lag_s + dt_s)
        mix = self.mix_w_per_k * (self.lower_c - self.water_c)
        if self.lower_c < self.water_c:
            mix = 0.2 * mix  # warm water on top does not sink
        inner = 110.0 if self.dip_kg_per_s > 0.0 or self._stir_s > 0.0 else 65.0
        touching = self.bowl_m2 * pow(self.chocolate_kg / self.full_kg, 0.5)
        outer = 250.0 * self.bowl_m2 if self.bowl_in else 0.0
        upper_w, lower_w = 0.4 * outer * (self.water_c - self.wall_c), 0.6 * outer * (self.lower_c - self.wall_c)
        into_w = inner * touching * (self.wall_c - self.bowl_c)
        pot_w = self.film * self.draught * self.pot_m2 * self._grown(self.water_c)
        open_w = self.vapour_w_per_m2 * self.draught * self.ring_m2 * pow(
            max(0.0, self.water_c - self.room_c) / 20.0, 1.5)
        top_w = self.film * self.draught * 0.6 * self.bowl_m2 * self._grown(self.bowl_c) * (0.3 if self.lid else 1.0)
        bare_w = 0.0 if self.bowl_in else self.film * self.draught * self.bowl_m2 * self._grown(self.wall_c)
        half = 0.5 * self.water_j_per_k
        self.lower_c += (self.heat_w - mix - lower_w - 0.5 * pot_w) * dt_s / half
        self.water_c += (mix - upper_w - 0.5 * pot_w - open_w) * dt_s / half
        self.wall_c += (upper_w + lower_w - into_w - bare_w) * dt_s / self.wall_j_per_k
        self.bowl_c += (into_w - top_w) * dt_s / (self.chocolate_kg * CP_SOLID.value)
        self.chocolate_kg = max(0.02 * self.full_kg, self.chocolate_kg - self.dip_kg_per_s * dt_s)
        self._stir_s = max(0.0, self._stir_s - dt_s)

    def _grown(self, surface_c: float) -> float:
        """Excess over the room, °C, with the film's own growth."""
        excess = surface_c - self.room_c
        return excess * pow(max(1.0, abs(excess)) / 20.0, 0.25)

    def refill(self, mass_kg: float, temp_c: float) -> None:
        """Pour chocolate in and stir."""
        self.bowl_c = (self.chocolate_kg * self.bowl_c + mass_kg * temp_c) / (self.chocolate_kg + mass_kg)
        self.chocolate_kg += mass_kg
        self._stir_s = 60.0

    def top_up(self, litres: float, temp_c: float) -> None:
        """Pour water into the bath."""
        added = litres * WATER_J_PER_LK
        self.water_c = (self.water_j_per_k * self.water_c + added * temp_c) / (self.water_j_per_k + added)
        self.lower_c = (self.water_j_per_k * self.lower_c + added * temp_c) / (self.water_j_per_k + added)
        self.water_j_per_k += added
