"""Water that is not mixed: two zones, and five layers. Pure."""

from __future__ import annotations

import random

from .air import WATER_J_PER_KGK
from .bowl import Bowl
from .plants import Plant


class TwoZones(Plant):
    """An element at the bottom, warm water that rises past the bowl, and a cold lower zone that mixes slowly."""

    name = "zones"

    def _build(self, rng: random.Random, start_c: float) -> None:
        self.water_l = rng.uniform(1.2, 5.0)
        self.cover = rng.uniform(0.6, 0.95)
        self.opening_m2 = 0.02 + 0.015 * self.water_l
        self.side_m2 = 0.05 + 0.02 * self.water_l
        self.low_share = rng.uniform(0.25, 0.6)
        self.up_w_per_k, self.down_w_per_k = rng.uniform(120.0, 500.0), rng.uniform(6.0, 25.0)
        self.element_w_per_k = rng.uniform(15.0, 40.0)
        lag_s = rng.uniform(8.0, 60.0)
        self.element_j_per_k = lag_s * self.element_w_per_k
        self.probe_low = rng.random() < 0.4
        self.element_c = self.low_c = self.high_c = start_c
        self._declare(round(min(900.0, self.water_l * rng.uniform(45.0, 200.0))), lag_s, self.water_l)

    def step(self, dt_s: float, heat_w: float) -> None:
        """Element to the lower zone; the zones exchange fast when the lower is the warmer."""
        air = self.air(dt_s)
        low_c, high_c = self.low_c, self.high_c
        dry_w, wet_w = self.top_w(high_c, air)
        low_side_w = self.side_w(low_c, air) * self.low_share
        high_side_w = self.side_w(high_c, air) * (1.0 - self.low_share)
        taken_w, bowl_w = self.bowl.step(dt_s, high_c, self.room_c, air)
        up_w = (self.up_w_per_k if low_c > high_c else self.down_w_per_k) * (low_c - high_c)
        from_w = self.element_w_per_k * (self.element_c - low_c)
        whole = self.water_l * WATER_J_PER_KGK
        # what moves between the zones in one step cannot pass their mean
        most_w = abs(low_c - high_c) * whole * self.low_share * (1.0 - self.low_share) / dt_s
        up_w = max(-most_w, min(most_w, up_w))
        self.element_c += (heat_w - from_w) * dt_s / self.element_j_per_k
        self.low_c += (from_w - up_w - low_side_w + self.stove_w) * dt_s / (whole * self.low_share)
        self.high_c += (up_w - taken_w - high_side_w - dry_w - wet_w) * dt_s / (whole * (1.0 - self.low_share))
        self.brought_j += self.stove_w * dt_s
        self.lost_j += (dry_w + wet_w + low_side_w + high_side_w + bowl_w) * dt_s
        self.leaves(dt_s, wet_w, self.low_share * self.low_c + (1.0 - self.low_share) * self.high_c)

    def pour_water(self, litres: float, temp_c: float) -> None:
        """On top, into the upper zone; the zones' shares stay."""
        before_j = self.stored_j()
        high_l = self.water_l * (1.0 - self.low_share)
        mixed_c = (high_l * self.high_c + litres * temp_c) / (high_l + litres)
        low_l = self.water_l * self.low_share
        self.water_l += litres
        new_low_l = self.water_l * self.low_share
        self.low_c = (low_l * self.low_c + (new_low_l - low_l) * mixed_c) / new_low_l
        self.high_c = mixed_c
        self.brought_j += self.stored_j() - before_j

    def stored_j(self) -> float:
        """Of element, water and bowl."""
        mean_c = self.low_share * self.low_c + (1.0 - self.low_share) * self.high_c
        return self.element_j_per_k * self.element_c + self.water_j_per_k() * mean_c + self.bowl.stored_j()

    @property
    def warmest_c(self) -> float:
        """Of both zones."""
        return self.low_c if self.low_c > self.high_c else self.high_c

    @property
    def probe_c(self) -> float:
        """In one of the zones."""
        return self.low_c if self.probe_low else self.high_c

    @property
    def second_c(self) -> float:
        """In the other."""
        return self.high_c if self.probe_low else self.low_c


class Layers(Plant):
    """A tall pot in five layers that turn over only when the lower is the warmer; chocolate nobody stirs, in shells."""

    name = "layers"
    LAYERS = 5

    def _bowl(self, rng: random.Random, bowl_c: float) -> Bowl:
        kg = rng.uniform(0.6, 3.0)
        return Bowl(kg * rng.uniform(0.4, 1.0), 0.15 + 0.25 * kg, bowl_c, 200.0, 5, 1.0)

    def _build(self, rng: random.Random, start_c: float) -> None:
        self.water_l = rng.uniform(1.5, 5.0)
        self.cover = rng.uniform(0.6, 0.95)
        self.opening_m2, self.side_m2 = 0.05, 0.06 + 0.025 * self.water_l
        self.layers_c = [start_c] * self.LAYERS
        self.between_w_per_k = rng.uniform(4.0, 20.0)
        self.turn_w_per_k = rng.uniform(200.0, 600.0)
        self.heated = rng.choice((1, 1, 2))  # a band round the lower part
        self.element_w_per_k = rng.uniform(10.0, 30.0)
        lag_s = rng.uniform(10.0, 60.0)
        self.element_j_per_k = lag_s * self.element_w_per_k
        self.element_c = start_c
        self.probe_layer = rng.randrange(1, self.LAYERS)
        self.second_layer = rng.randrange(0, self.LAYERS)
        self._declare(round(min(900.0, self.water_l * rng.uniform(50.0, 200.0))), lag_s, self.water_l)

    def step(self, dt_s: float, heat_w: float) -> None:
        """The band into its layers; neighbours exchange; the bowl hangs in the upper ones."""
        count, layers_c, heated = self.LAYERS, self.layers_c, self.heated
        air = self.air(dt_s)
        load = self.water_l * WATER_J_PER_KGK / count
        band_c = sum(layers_c[:heated]) / heated
        from_w = self.element_w_per_k * (self.element_c - band_c)
        self.element_c += (heat_w - from_w) * dt_s / self.element_j_per_k
        bowl_c = (layers_c[2] + layers_c[3] + layers_c[4]) / 3.0
        taken_w, lost_w = self.bowl.step(dt_s, bowl_c, self.room_c, air)
        dry_w, wet_w = self.top_w(layers_c[-1], air)
        most_w_per_k = 0.25 * load / dt_s
        flow_w = 0.0
        new_c = []
        for at in range(count):
            c = layers_c[at]
            side_w = self.side_w(c, air) / count
            net_w = flow_w - side_w
            lost_w += side_w
            if at + 1 < count:
                g = self.turn_w_per_k if c > layers_c[at + 1] else self.between_w_per_k
                flow_w = min(g, most_w_per_k) * (c - layers_c[at + 1])
                net_w -= flow_w
            else:
                net_w -= dry_w + wet_w
            if at < heated:
                net_w += (from_w + self.stove_w) / heated
            if at >= 2:
                net_w -= taken_w / 3.0
            new_c.append(c + net_w * dt_s / load)
        self.layers_c = new_c
        self.brought_j += self.stove_w * dt_s
        self.lost_j += (lost_w + dry_w + wet_w) * dt_s
        self.leaves(dt_s, wet_w, sum(new_c) / count)

    def pour_water(self, litres: float, temp_c: float) -> None:
        """On top: it is spread over the upper three layers."""
        before_j = self.stored_j()
        each_l, more_l = self.water_l / self.LAYERS, litres / 3.0
        for at in (2, 3, 4):
            self.layers_c[at] = (each_l * self.layers_c[at] + more_l * temp_c) / (each_l + more_l)
        self.water_l += litres
        self.brought_j += self.stored_j() - before_j

    def stored_j(self) -> float:
        """Of band, layers and bowl."""
        mean_c = sum(self.layers_c) / self.LAYERS
        return self.element_j_per_k * self.element_c + self.water_j_per_k() * mean_c + self.bowl.stored_j()

    @property
    def warmest_c(self) -> float:
        """The warmest layer."""
        return max(self.layers_c)

    @property
    def probe_c(self) -> float:
        """In its layer."""
        return self.layers_c[self.probe_layer]

    @property
    def second_c(self) -> float:
        """In another, or the same."""
        return self.layers_c[self.second_layer]
