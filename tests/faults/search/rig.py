"""A plant with its heater's wiring and its probes, and what can go wrong with them. Pure."""

from __future__ import annotations

import random
from typing import Any

from .air import WATER_EMISSIVITY, dry_w_per_m2
from .catalogue import PLANTS
from .plants import Plant
from .probes import Probe
from .wrongs import WRONGS

WORKING_C = 33.0  # where losses are learnt


class Rig:
    """Steps the plant with the heat that its wiring lets through; sets what its probes lie in."""

    def __init__(self, plant: Plant, watts: float, probes: dict[str, Any]) -> None:
        self.plant, self.watts, self.probes = plant, watts, probes
        self.shorted = self.welded = self.swapped = False
        self.sticks_s = 0.0  # how long the switch stays on after each pass that asked for heat
        self._stuck_s = 0.0
        self.heat_share = 1.0
        self.slips: dict[str, tuple[float, float]] = {}  # probe: (seconds it takes, share left in its medium)

    def step(self, dt_s: float, level: float, guard: int) -> None:
        """One step at a level of the switch's pin and the guard's."""
        if self.sticks_s and level > 0.0:
            self._stuck_s = self.sticks_s
        if self._stuck_s > 0.0:
            self._stuck_s -= dt_s
            level = 1.0
        if self.shorted:
            level = 1.0
        heat_w = self.watts * self.heat_share * level if guard or self.welded else 0.0
        plant = self.plant
        plant.step(dt_s, heat_w)
        bath_c, bowl_c = plant.probe_c, plant.bowl.probe_c
        if self.swapped:
            bath_c, bowl_c = bowl_c, bath_c
        self._feel("water", bath_c, dt_s)
        self._feel("bowl", bowl_c, dt_s)
        self._feel("second", plant.second_c, dt_s)

    def _feel(self, place: str, at_c: float, dt_s: float) -> None:
        probe = self.probes[place]
        if probe is None:
            return
        probe.at_c, probe.room_c = at_c, self.plant.room_c
        if place in self.slips:
            takes_s, left = self.slips[place]
            probe.wet = max(left, probe.wet - (1.0 - left) * dt_s / takes_s)
        probe.pass_s(dt_s)

    def fail(self, name: str, dose: float, rng: random.Random) -> None:
        """The fault begins."""
        WRONGS[name].begin(self, dose, rng)


def losses_w_per_k(plant: Plant) -> float:
    """What it loses per kelvin over the room at its working temperature, as a tuning run would find."""
    dry_w, wet_w = plant.top_w(WORKING_C, 0.5 * plant.gusts)
    bowl = plant.bowl
    bowl_w = bowl.top_m2 * dry_w_per_m2(WORKING_C - 1.0, plant.room_c, bowl.size_m, 0.0, WATER_EMISSIVITY)
    lost_w = dry_w + wet_w + plant.side_w(WORKING_C, 0.0) + bowl_w
    return lost_w / max(5.0, WORKING_C - plant.room_c)


def bowl_w_per_k(plant: Plant) -> float:
    """From the bath to the middle of the chocolate."""
    bowl = plant.bowl
    shells = len(bowl.shells_c)
    resistance = 1.0 / (bowl.outer_w_per_m2k * bowl.wetted_m2) + shells / (2.0 * bowl.inner_w_per_k)
    return 1.0 / resistance


def build(plant_name: str, seed: int, start_c: float, bowl_c: float, room_c: float,
          witness: str, gains: str) -> tuple[Rig, dict[str, Any]]:
    """A rig and the settings that its builder would send, a few per cent beside the truth as builders are."""
    rng = random.Random(f"{plant_name} {seed}")
    plant = PLANTS[plant_name](rng, start_c, bowl_c, room_c)
    settings = dict(plant.settings)
    watts = settings["heater_w"] * rng.uniform(0.9, 1.1)
    settings["water_l"] = round(settings["water_l"] * rng.uniform(0.9, 1.15), 2)
    settings["heater_lag_s"] = round(max(5.0, min(300.0, settings["heater_lag_s"] * rng.uniform(0.7, 1.4))), 1)
    settings["chocolate_kg"] = round(settings["chocolate_kg"] * rng.uniform(1.0, 1.3), 2)
    fitted = {"water": True, "bowl": witness == "bowl", "second": witness == "second"}
    probes: dict[str, Any] = {}
    for place, c in (("water", start_c), ("bowl", bowl_c), ("second", start_c)):
        sound = Probe(rng, c)  # drawn for every witness, so that a seed is the same warmer with each
        probes[place] = sound if fitted[place] else None
    if fitted["bowl"]:
        settings["probe.bowl.kind"] = "onewire"
    if gains == "learnt":
        error = rng.uniform(0.85, 1.15)
        bowl = bowl_w_per_k(plant)
        settings["gains.loss_w_per_k"] = round(error * losses_w_per_k(plant), 3)
        settings["gains.water_j_per_k"] = round(plant.water_j_per_k() * rng.uniform(0.9, 1.1))
        settings["gains.bowl_w_per_k"] = round(bowl * rng.uniform(0.8, 1.2), 2)
        settings["gains.bowl_tau_s"] = round(plant.bowl.load_j_per_k() / bowl)
    return Rig(plant, watts, probes), settings
