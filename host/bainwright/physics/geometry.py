"""The warmer's sizes and films, worked out from the litres, kilograms and watts of a rig."""

from __future__ import annotations

import math
from dataclasses import dataclass

from bainwright.files.rig import PlantTable, Rig
from bainwright.physics.materials import CHOCOLATE_KG_PER_M3, LATENT_DARK, STEEL_J_PER_KGK, WATER_KG_PER_L

# A mixing bowl of 2 kg is 24 cm across and 9 cm high; others are the same shape, larger or smaller. Chosen.
BOWL_KG, BOWL_DIAMETER_M, BOWL_ASPECT = 2.0, 0.24, 0.375
POT_ASPECT = 0.55  # height of the water's space over its width, chosen
RING_CLEARANCE = 1.08  # a pot is at least this much wider than its bowl, chosen
POT_WALL_KG_PER_M2 = 6.2  # 0.8 mm of steel, chosen
ELEMENT_RISE_K = 25.0  # how much warmer than its water a heater at full power is, chosen for flat heaters
SHALLOW = 0.7  # of the water that the bowl should stand in; chosen: less wets too little of its wall
HALVINGS = 40  # of a depth in metres: far below what a bowl can be measured to
LEAST_BOWL_KG = 0.05  # a bowl of no weight has no temperature


@dataclass(frozen=True)
class Body:
    """Sizes (m, m²), heat stores (J/K) and couplings (W/K) of a warmer; see `body_of`."""

    bowl_diameter_m: float
    bowl_height_m: float
    immersion: float
    base_m2: float
    side_m2: float
    pot_diameter_m: float
    pot_height_m: float
    water_kg: float
    vessel_j_per_k: float
    wall_j_per_k: float
    element_j_per_k: float
    element_w_per_k: float
    latent_j_per_kg: float  # of the solid chocolate that is melted in it
    table: PlantTable

    @property
    def is_bath(self) -> bool:
        """Whether there is water in it (a plate has none)."""
        return self.table.bath == "water"

    @property
    def wetted_m2(self) -> float:
        """Bowl area that meets the water; on a plate only the base."""
        return self.base_m2 + (self.immersion * self.side_m2 if self.is_bath else 0.0)

    @property
    def dry_side_m2(self) -> float:
        """Bowl wall in the air."""
        return self.side_m2 * (1.0 - self.immersion if self.is_bath else 1.0)

    @property
    def pot_m2(self) -> float:
        """Area across the pot."""
        return math.pi / 4.0 * self.pot_diameter_m**2

    @property
    def ring_m2(self) -> float:
        """Water (or plate) left open round the bowl."""
        return max(0.0, self.pot_m2 - self.base_m2)

    @property
    def pot_side_m2(self) -> float:
        """Outside wall of the pot, up to the water."""
        return math.pi * self.pot_diameter_m * self.pot_height_m

    def touching_m2(self, chocolate_kg: float) -> float:
        """Bowl area the chocolate touches: the base and the wall as deep as it lies."""
        depth_m = chocolate_kg / CHOCOLATE_KG_PER_M3 / self.base_m2
        return self.base_m2 + math.pi * self.bowl_diameter_m * min(depth_m, self.bowl_height_m)

    def round_share(self, chocolate_kg: float) -> float:
        """The same area in a round bowl of this width and height, a part of a sphere, as a share of it; 1 at most."""
        half_m, volume_m3 = self.bowl_diameter_m / 2.0, chocolate_kg / CHOCOLATE_KG_PER_M3
        sphere_m = (half_m**2 + self.bowl_height_m**2) / (2.0 * self.bowl_height_m)
        low_m, high_m = 0.0, self.bowl_height_m
        for _ in range(HALVINGS):  # the depth of a cap: pi h^2 (3 R - h) / 3
            depth_m = 0.5 * (low_m + high_m)
            holds_m3 = math.pi * depth_m**2 * (3.0 * sphere_m - depth_m) / 3.0
            low_m, high_m = (depth_m, high_m) if holds_m3 < volume_m3 else (low_m, depth_m)
        return min(1.0, 2.0 * math.pi * sphere_m * low_m / self.touching_m2(chocolate_kg))


def body_of(rig: Rig) -> Body:
    """Work out a warmer's body from its rig.

    Parameters
    ----------
    rig : Rig
        Litres, kilograms and watts from its settings; its `[plant]` table overrides what follows from them.
    """
    values, table = rig.settings, rig.plant
    diameter_m = table.bowl_diameter_m or BOWL_DIAMETER_M * (values["chocolate_kg"] / BOWL_KG) ** (1 / 3)
    height_m = table.bowl_height_m or BOWL_ASPECT * diameter_m
    base_m2 = math.pi / 4.0 * diameter_m**2
    pot_m, pot_height_m = _pot(values["water_l"], diameter_m, height_m, base_m2, table)
    vessel_kg = table.vessel_kg
    if vessel_kg is None:  # a plate's metal is already in its water equivalent
        shell_m2 = math.pi * pot_m * (pot_height_m + pot_m / 4.0)
        vessel_kg = POT_WALL_KG_PER_M2 * shell_m2 if table.bath == "water" else 0.0
    element_w_per_k = values["heater_w"] / ELEMENT_RISE_K
    return Body(
        bowl_diameter_m=diameter_m,
        bowl_height_m=height_m,
        immersion=table.immersion,
        base_m2=base_m2,
        side_m2=math.pi * diameter_m * height_m,
        pot_diameter_m=pot_m,
        pot_height_m=pot_height_m,
        water_kg=values["water_l"] * WATER_KG_PER_L,
        vessel_j_per_k=vessel_kg * STEEL_J_PER_KGK,
        wall_j_per_k=max(values["bowl_kg"], LEAST_BOWL_KG) * (table.bowl_cp_j_per_kgk or STEEL_J_PER_KGK),
        element_j_per_k=element_w_per_k * values["heater_lag_s"],
        element_w_per_k=element_w_per_k,
        latent_j_per_kg=table.latent_j_per_kg or LATENT_DARK.value,
        table=table,
    )


def _pot(water_l: float, bowl_m: float, bowl_height_m: float, base_m2: float, table: PlantTable) -> tuple[float, float]:
    """Width of the pot and height of its water, with the bowl standing in it."""
    if table.bath == "plate":
        return table.pot_diameter_m or RING_CLEARANCE * bowl_m, 0.02
    space_m3 = water_l / 1000.0 + base_m2 * bowl_height_m * table.immersion
    natural_m = (4.0 * space_m3 / (math.pi * POT_ASPECT)) ** (1 / 3)
    wide_m = table.pot_diameter_m or max(natural_m, RING_CLEARANCE * bowl_m)
    return wide_m, space_m3 / (math.pi / 4.0 * wide_m**2)
