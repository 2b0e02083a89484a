"""Warmers whose structure differs from the shipped simulation's: six bodies, each a class. Pure.

A plant is stepped with the heat of its element (W) and balances it: what was stored changes by what came, less what
left. Each constructor takes a `random.Random` that settles its figures, and `settings` are what its builder would
declare. Losses: `air`. All temperatures °C.
"""

from __future__ import annotations

import random
from typing import Any

from .air import LATENT_J_PER_KG, STEEL_EMISSIVITY, WATER_EMISSIVITY, WATER_J_PER_KGK, dry_w_per_m2, latent_w_per_m2
from .bowl import Bowl

OUTER_W_PER_M2K = 300.0  # still water at a wall a few degrees apart: 200 to 500 (computed, natural convection)
LEAST_L = 0.1  # what a bath boiled dry still has under its bowl, and a step of a second needs
BOILS_C = 99.0


class Plant:
    """What every body has: a room, a bowl, water that comes and goes, an opening to the air."""

    name = ""
    liquid = True  # a bath of water, and no plate
    stated_share = 1.0  # of the real litres, what its builder declares

    def __init__(self, rng: random.Random, start_c: float, bowl_c: float, room_c: float) -> None:
        self.room_c = room_c
        self.humidity = rng.uniform(0.3, 0.6)
        self.air_m_per_s = 0.0
        self.gusts = 0.0  # how strong the wind of a leaky window is
        self.stove_w = 0.0
        self.leak_l_per_s = 0.0
        self.lid = False
        self.lost_j = 0.0  # to the room, and with water that left
        self.brought_j = 0.0  # with what was poured in
        self._rng = rng
        self._gust = 0.0
        self.opening_m2 = 0.05
        self.cover = 0.85
        self.side_m2 = 0.08
        self.side_share = 1.0  # bare steel; insulation leaves less
        self.water_l = 2.0
        self.settings: dict[str, Any] = {}
        self.bowl = self._bowl(rng, bowl_c)
        self._build(rng, start_c)

    def _bowl(self, rng: random.Random, bowl_c: float) -> Bowl:
        kg = rng.uniform(0.6, 3.0)
        return Bowl(kg * rng.uniform(0.4, 1.0), 0.15 + 0.25 * kg, bowl_c, OUTER_W_PER_M2K, 2, rng.uniform(1.0, 3.0))

    def _build(self, rng: random.Random, start_c: float) -> None:
        raise NotImplementedError

    def _declare(self, heater_w: float, lag_s: float, water_l: float) -> None:
        self.heater_w = heater_w
        self.settings = {
            "heater_w": heater_w, "heater_lag_s": min(300.0, lag_s), "water_l": round(water_l * self.stated_share, 3),
            "chocolate_kg": round(self.bowl.chocolate_kg, 2), "bowl_kg": round(self.bowl.metal_j_per_k / 600.0, 2)}

    # -- the air -----------------------------------------------------------------------------------------------------

    def air(self, dt_s: float) -> float:
        """How fast it moves now: the draught, and gusts that last half a minute."""
        if not self.gusts:
            return self.air_m_per_s
        self._gust += self._rng.gauss(0.0, self.gusts * (dt_s / 15.0) ** 0.5) - self._gust * dt_s / 30.0
        return self.air_m_per_s + abs(self._gust)

    def top_w(self, surface_c: float, air_m_per_s: float) -> tuple[float, float]:
        """What the open water loses: (dry, by evaporation)."""
        cover = 0.97 if self.lid else self.cover if not self.bowl.away else 0.0
        free_m2 = self.opening_m2 * (1.0 - cover)
        size_m = self.opening_m2 ** 0.5
        dry_w = free_m2 * dry_w_per_m2(surface_c, self.room_c, size_m, air_m_per_s, WATER_EMISSIVITY)
        if not self.liquid or self.water_l <= LEAST_L:
            return dry_w, 0.0
        return dry_w, free_m2 * latent_w_per_m2(surface_c, self.room_c, self.humidity, air_m_per_s)

    def side_w(self, wall_c: float, air_m_per_s: float) -> float:
        """What the pot's wall loses."""
        return self.side_m2 * self.side_share * dry_w_per_m2(
            wall_c, self.room_c, 0.12, air_m_per_s, STEEL_EMISSIVITY)

    def leaves(self, dt_s: float, evaporated_w: float, water_c: float) -> None:
        """Water that evaporated or ran out, and the heat that it took beyond its latent heat."""
        litres = min(evaporated_w * dt_s / LATENT_J_PER_KG + self.leak_l_per_s * dt_s, self.water_l - LEAST_L)
        if litres > 0.0:
            self.lost_j += litres * WATER_J_PER_KGK * water_c
            self.water_l -= litres

    # -- what the search asks ----------------------------------------------------------------------------------------

    def step(self, dt_s: float, heat_w: float) -> None:
        """One step with this much heat in the element."""
        raise NotImplementedError

    def pour_water(self, litres: float, temp_c: float) -> None:
        """Water comes in on top; as much as was there before at most."""
        raise NotImplementedError

    def scoop(self, litres: float) -> None:
        """Water taken out; every zone gives its share."""
        litres = min(litres, self.water_l - LEAST_L)
        if litres > 0.0 and self.liquid:
            before_j = self.stored_j()
            self.water_l -= litres
            self.lost_j += before_j - self.stored_j()

    def stored_j(self) -> float:
        """Heat over 0 °C of everything."""
        raise NotImplementedError

    @property
    def warmest_c(self) -> float:
        """The warmest water, or plate."""
        raise NotImplementedError

    @property
    def probe_c(self) -> float:
        """At the water probe."""
        raise NotImplementedError

    @property
    def second_c(self) -> float:
        """At a second water probe, elsewhere."""
        return self.probe_c

    def pour_chocolate(self, kg: float, temp_c: float) -> None:
        """A refill, or with fewer than 0 kg what was dipped out."""
        self.brought_j += self.bowl.pour(kg, temp_c)

    def water_j_per_k(self) -> float:
        """Heat that lifts the bath alone by 1 K."""
        return self.water_l * WATER_J_PER_KGK
