"""The simulated kitchen with what an evening brings that no pin shows, for both engines."""

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
    bowl_out : float
        Share of the air in what the bowl's probe feels: 1 lies on the table.
    watts_share, outside_w : float
        Of the heater's nominal power; heat that comes into the warmer from elsewhere.
    """

    def __init__(self, mishaps: tuple[Mishap, ...], rig: Any, scenario: Any, seed: int) -> None:
        self.bowl_out = self.outside_w = 0.0
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
        if name not in ("bowl_out", "outside_w", "watts_share"):
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
        elements["water"].advance(water_c, dt_s)
        elements["bowl"].advance(bowl_c + self.bowl_out * (plant.room_c - bowl_c), dt_s)


def _make(mishaps: tuple[Mishap, ...], rig: Any, plant_spec: Any, scenario: Any, seed: int) -> Kitchen:
    return Kitchen(mishaps, rig, scenario, seed)


def maker(mishaps: tuple[Mishap, ...]) -> Any:
    """What `VirtualBoard(make_world=...)` takes."""
    return partial(_make, mishaps)
