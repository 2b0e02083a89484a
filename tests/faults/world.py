"""A warmer whose parts can fail in ways no pin shows: the simulated kitchen with more mishaps, for both engines."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

from bainwright.virtual.scenario_effects import SECOND_US, Action, Due, Fault, Inject, PowerCut, to_us
from bainwright.virtual.world import World


@dataclass(frozen=True)
class DeskAct:
    """Something that happens to the board's clock, flash or link; only the fast engine can do it."""

    name: str
    arg: float = 0.0


@dataclass(frozen=True)
class Mishap:
    """Something at a second of the case: `what` is request, fault, cut, world or desk."""

    at_s: float
    what: str
    name: str = ""
    value: Any = 1.0

    def action(self) -> Action | DeskAct | None:
        """What the board meets; None for what happens to the warmer."""
        if self.what == "request":
            return Inject(dict(self.value))
        if self.what == "fault":
            return Fault(self.name, bool(self.value))
        if self.what == "cut":
            return PowerCut(float(self.value))
        return DeskAct(self.name, float(self.value)) if self.what == "desk" else None


class Kitchen(World):
    """The world with mishaps.

    Attributes
    ----------
    away : dict
        Share of the air in what a probe feels, by probe: 1 lies on the table.
    swapped : float
        The probes hang in each other's place.
    drift_k_per_h : float
        How fast the water probe's calibration runs away.
    watts_share, outside_w : float
        Of the heater's nominal power; heat that comes into the warmer from elsewhere.
    """

    def __init__(self, mishaps: tuple[Mishap, ...], rig: Any, scenario: Any, seed: int) -> None:
        self.away = {"water": 0.0, "bowl": 0.0}
        self.swapped = self.drift_k_per_h = self.outside_w = 0.0
        self.watts_share = 1.0
        self._mishaps = mishaps
        super().__init__(None, rig, scenario, seed)

    def _schedule(self) -> tuple[list[Due], list[Due]]:
        on_plant, on_board = super()._schedule()
        for order, mishap in enumerate(self._mishaps, 1000):
            action: Any = mishap.action()
            act = partial(self.befall, mishap.name, mishap.value) if action is None else None
            due = Due(to_us(mishap.at_s), order, act=act, action=action)
            (on_plant if action is None else on_board).append(due)
        return sorted(on_plant), sorted(on_board)

    def befall(self, name: str, value: float) -> None:
        """A mishap of the warmer's."""
        if name in ("water_out", "bowl_out"):
            self.away[name.removesuffix("_out")] = value
        elif name == "dry":
            self.plant.water_kg = max(0.05, self.plant.water_kg * value)
            self.plant.renew()
        else:
            if not hasattr(self, name):
                raise ValueError(f"no such mishap: {name}")
            setattr(self, name, value)

    def advance(self, power_w: float, dt_us: int) -> None:
        """Let time pass; what another source adds goes through the same element."""
        super().advance(power_w * self.watts_share + self.outside_w, dt_us)

    def _piece(self, power_w: float, dt_us: int) -> None:
        dt_s = dt_us / SECOND_US
        self.plant_us += dt_us
        self._energy_j += (power_w - self.outside_w) * dt_s  # the record of truth tells the heater's own
        self.plant.step(power_w, dt_s)
        plant, elements = self.plant, self._elements
        water_c, bowl_c = plant.water_c, plant.bowl_c
        true_c = self._true_c
        true_c["water"], true_c["bowl"] = water_c, bowl_c
        if self.swapped:
            water_c, bowl_c = bowl_c, water_c
        room_c, away = plant.room_c, self.away
        elements["water"].advance(water_c + away["water"] * (room_c - water_c), dt_s)
        elements["bowl"].advance(bowl_c + away["bowl"] * (room_c - bowl_c), dt_s)
        if self.drift_k_per_h:
            elements["water"].bias_c += self.drift_k_per_h * dt_s / 3600.0


def _make(mishaps: tuple[Mishap, ...], rig: Any, plant_spec: Any, scenario: Any, seed: int) -> Kitchen:
    return Kitchen(mishaps, rig, scenario, seed)


def maker(mishaps: tuple[Mishap, ...]) -> Any:
    """What `VirtualBoard(make_world=...)` takes."""
    return partial(_make, mishaps)
