"""Bodies of one temperature: a thick base, an open pan, a dry plate, a quilted mat. Pure."""

from __future__ import annotations

import random

from .air import WATER_J_PER_KGK
from .plants import BOILS_C, Plant


class Stirred(Plant):
    """One body of water under everything that follows: its element differs."""

    water_c = 0.0

    def _mixed(self, dt_s: float, into_w: float) -> None:
        """The water's own balance, with this much from its element."""
        air = self.air(dt_s)
        water_c = self.water_c
        dry_w, wet_w = self.top_w(water_c, air)
        side_w = self.side_w(water_c, air)
        taken_w, bowl_w = self.bowl.step(dt_s, water_c, self.room_c, air)
        load = self.body_j_per_k()
        self.water_c += (into_w + self.stove_w - taken_w - dry_w - wet_w - side_w) * dt_s / load
        if self.liquid and self.water_c > BOILS_C:  # what is over it boils away
            steam_j = (self.water_c - BOILS_C) * load
            self.water_c = BOILS_C
            self.lost_j += steam_j
            wet_w += steam_j / dt_s
        self.brought_j += self.stove_w * dt_s
        self.lost_j += (dry_w + wet_w + side_w + bowl_w) * dt_s
        self.leaves(dt_s, wet_w, self.water_c)

    def body_j_per_k(self) -> float:
        """The water, and what is as warm as it."""
        return self.water_j_per_k()

    def pour_water(self, litres: float, temp_c: float) -> None:
        """Mixed at once."""
        before_j = self.stored_j()
        load = self.body_j_per_k()
        more = litres * WATER_J_PER_KGK
        self.water_c = (load * self.water_c + more * temp_c) / (load + more)
        self.water_l += litres
        self.brought_j += self.stored_j() - before_j

    @property
    def warmest_c(self) -> float:
        """It has one temperature."""
        return self.water_c

    @property
    def probe_c(self) -> float:
        """As the water."""
        return self.water_c


class ThickBase(Stirred):
    """A ceramic crock: the element is glued under three slices of a thick base that give their heat for minutes."""

    name = "base"

    def _build(self, rng: random.Random, start_c: float) -> None:
        self.water_l = rng.uniform(1.0, 3.5)
        self.cover = rng.uniform(0.7, 0.95)
        self.side_m2 = 0.05 + 0.02 * self.water_l
        self.opening_m2 = 0.02 + 0.015 * self.water_l
        self.side_share = 0.7
        area_m2, thick_m = rng.uniform(0.04, 0.07), rng.uniform(0.012, 0.025)
        third_m = thick_m / 3.0
        self.slice_j_per_k = area_m2 * third_m * 2400.0 * 850.0  # stoneware: 2400 kg/m³, 850 J/kgK (from memory)
        self.slice_w_per_k = 1.5 * area_m2 / third_m  # 1.5 W/mK (from memory)
        self.under_w_per_k = rng.uniform(0.1, 0.5)
        self.slices_c = [start_c] * 3
        self.water_c = start_c
        lag_s = 2.0 * self.slice_j_per_k / self.slice_w_per_k + self.slice_j_per_k / self.slice_w_per_k
        self._declare(round(self.water_l * rng.uniform(50.0, 150.0)), lag_s, self.water_l)

    def step(self, dt_s: float, heat_w: float) -> None:
        """Through the slices upward."""
        slices_c, g = self.slices_c, self.slice_w_per_k
        under_w = self.under_w_per_k * (slices_c[0] - self.room_c)
        one_w = g * (slices_c[0] - slices_c[1])
        two_w = g * (slices_c[1] - slices_c[2])
        into_w = 2.0 * g * (slices_c[2] - self.water_c)
        slices_c[0] += (heat_w - under_w - one_w) * dt_s / self.slice_j_per_k
        slices_c[1] += (one_w - two_w) * dt_s / self.slice_j_per_k
        slices_c[2] += (two_w - into_w) * dt_s / self.slice_j_per_k
        self.lost_j += under_w * dt_s
        self._mixed(dt_s, into_w)

    def stored_j(self) -> float:
        """Of base, water and bowl."""
        return (self.slice_j_per_k * sum(self.slices_c) + self.body_j_per_k() * self.water_c
                + self.bowl.stored_j())


class OpenPan(Stirred):
    """A thin wide pan without a cover, in a draught: it needs 51 to 92 W to stay warm."""

    name = "pan"

    def _build(self, rng: random.Random, start_c: float) -> None:
        self.water_l = rng.uniform(0.8, 2.2)
        self.opening_m2 = rng.uniform(0.09, 0.15)
        self.cover = rng.uniform(0.15, 0.4)
        self.side_m2 = 0.05
        self.gusts = rng.uniform(0.05, 0.5)
        self.element_w_per_k = rng.uniform(10.0, 30.0)
        lag_s = rng.uniform(8.0, 40.0)
        self.element_j_per_k = lag_s * self.element_w_per_k
        self.element_c = self.water_c = start_c
        self._declare(round(rng.uniform(120.0, 250.0)), lag_s, self.water_l)

    def step(self, dt_s: float, heat_w: float) -> None:
        """Element to water."""
        into_w = self.element_w_per_k * (self.element_c - self.water_c)
        self.element_c += (heat_w - into_w) * dt_s / self.element_j_per_k
        self._mixed(dt_s, into_w)

    def stored_j(self) -> float:
        """Of element, water and bowl."""
        return (self.element_j_per_k * self.element_c + self.body_j_per_k() * self.water_c + self.bowl.stored_j())


class DryPlate(Stirred):
    """An aluminium plate and no water: the bowl sits on it; its builder declares the water that stores as much heat."""

    name = "plate"
    liquid = False

    def _build(self, rng: random.Random, start_c: float) -> None:
        self.plate_j_per_k = 900.0 * rng.uniform(2.0, 6.0)  # aluminium, 900 J/kgK (from memory)
        self.opening_m2, self.cover = 0.08, 0.6
        self.side_m2 = 0.03
        self.water_l = self.plate_j_per_k / WATER_J_PER_KGK
        self.bowl.outer_w_per_m2k = rng.uniform(80.0, 200.0)  # a film of air and oil under the bowl (from memory)
        self.element_w_per_k = rng.uniform(6.0, 25.0)
        lag_s = rng.uniform(8.0, 60.0)
        self.element_j_per_k = lag_s * self.element_w_per_k
        self.element_c = self.water_c = start_c
        self._declare(round(rng.uniform(60.0, 160.0)), lag_s, self.water_l)

    def body_j_per_k(self) -> float:
        """The plate."""
        return self.plate_j_per_k

    def water_j_per_k(self) -> float:
        """The plate."""
        return self.plate_j_per_k

    def leaves(self, dt_s: float, evaporated_w: float, water_c: float) -> None:
        """Nothing does."""

    def step(self, dt_s: float, heat_w: float) -> None:
        """Element to plate."""
        into_w = self.element_w_per_k * (self.element_c - self.water_c)
        self.element_c += (heat_w - into_w) * dt_s / self.element_j_per_k
        self._mixed(dt_s, into_w)

    def pour_water(self, litres: float, temp_c: float) -> None:
        """A wet cloth: it takes the heat that the water would, and is taken away again."""
        before_j = self.stored_j()
        share = min(0.1, litres * WATER_J_PER_KGK / (self.plate_j_per_k + litres * WATER_J_PER_KGK))
        self.water_c += share * (temp_c - self.water_c)
        self.brought_j += self.stored_j() - before_j

    def stored_j(self) -> float:
        """Of element, plate and bowl."""
        return (self.element_j_per_k * self.element_c + self.plate_j_per_k * self.water_c + self.bowl.stored_j())


class InsulatedMat(Stirred):
    """A mat under a pan in a quilt: next to no losses, and part of the heat comes through the pan's own wall."""

    name = "quilt"

    def _build(self, rng: random.Random, start_c: float) -> None:
        self.water_l = rng.uniform(1.5, 6.0)
        self.cover = rng.uniform(0.93, 0.985)
        self.opening_m2 = 0.02 + 0.012 * self.water_l
        self.side_m2 = 0.06 + 0.02 * self.water_l
        self.side_share = rng.uniform(0.05, 0.25)
        self.mat_w_per_k = rng.uniform(3.0, 12.0)
        lag_s = rng.uniform(20.0, 120.0)
        self.mat_j_per_k = lag_s * self.mat_w_per_k
        self.pan_j_per_k = rng.uniform(300.0, 900.0)
        self.pan_w_per_k = rng.uniform(20.0, 80.0)
        self.mat_c = self.pan_c = self.water_c = start_c
        self._declare(round(self.water_l * rng.uniform(35.0, 120.0)), lag_s, self.water_l)

    def step(self, dt_s: float, heat_w: float) -> None:
        """Mat to pan to water."""
        to_pan_w = self.mat_w_per_k * (self.mat_c - self.pan_c)
        into_w = self.pan_w_per_k * (self.pan_c - self.water_c)
        self.mat_c += (heat_w - to_pan_w) * dt_s / self.mat_j_per_k
        self.pan_c += (to_pan_w - into_w) * dt_s / self.pan_j_per_k
        self._mixed(dt_s, into_w)

    def stored_j(self) -> float:
        """Of mat, pan, water and bowl."""
        return (self.mat_j_per_k * self.mat_c + self.pan_j_per_k * self.pan_c + self.body_j_per_k() * self.water_c
                + self.bowl.stored_j())
