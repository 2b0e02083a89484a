"""The simulated warmer, its probes and the scenario on one clock that the virtual board drives. No I/O."""

from __future__ import annotations

import math
from bisect import insort
from typing import Any

from bainwright.core.errors import FileError, PlantError, UseError
from bainwright.files.rig import Rig
from bainwright.virtual import scenario as acts
from bainwright.virtual.plant import Warmer
from bainwright.virtual.plugin import describe, load_plant
from bainwright.virtual.probes import Element
from bainwright.virtual.scenario import Scenario, kind_of
from bainwright.virtual.scenario_effects import SECOND_US, Action, Due, effects, schedule, to_us

WAKE_S = 1e-6  # first step of a user's plant, so that it can set its temperatures


class World:
    """A warmer in a kitchen, as seen from the board's pins and probes.

    Plant time starts at `arm`; before it `advance` changes nothing. All times are integer microseconds. `now_us` is the
    caller's clock, and only its difference to `arm` counts. `advance` applies the scenario's effects on the warmer at
    their exact microsecond; `due` returns those on the board.

    Parameters
    ----------
    plant : object or None
        A plug-in plant, or None for the built-in one.
    rig : Rig
        The warmer as built.
    scenario : Scenario or None
        The evening's events.
    seed : int
        Random seed of the probes' bias and noise.

    Attributes
    ----------
    dead : str or None
        Why the plant failed, in words; its probes then read None.
    raw_probes : bool
        The plant's temperatures are the readings, without lag, bias or noise.
    has_bowl : bool
        Whether there is a bowl probe.

    Raises
    ------
    UseError
        When the scenario acts on the warmer and the plant is not the built-in one.
    PlantError
        When the plant reports no water temperature, or fails in its first step.
    FileError
        When the scenario does not fit this rig.
    """

    def __init__(self, plant: Any, rig: Rig, scenario: Scenario | None = None, seed: int = 0) -> None:
        self.rig, self.scenario, self.seed = rig, scenario or Scenario(), seed
        if plant is not None and not isinstance(plant, Warmer):
            _refuse_physical(self.scenario)
        start = self.scenario.start.start() if self.scenario.start else None
        self.plant: Any = Warmer(rig, start) if plant is None else plant
        self.dead: str | None = None
        self.raw_probes = bool(getattr(self.plant, "raw_probes", False))
        self.plant_us = 0
        self._armed_us: int | None = None
        self._energy_j, self._row_us, self._power_w = 0.0, 0, 0.0
        self._true_c: dict[str, float] = {}
        if isinstance(self.plant, Warmer):
            _check_stock(self.scenario, self.plant)
            self._read_plant()
        else:
            self._step(0.0, WAKE_S)
            if self.dead is not None:
                raise PlantError(self.dead, wanted="temperatures from the first step on")
        self.has_bowl = "bowl" in self._true_c
        self._elements = {name: self._element(name, temp_c) for name, temp_c in self._true_c.items()}
        self._on_plant, self._on_board = self._schedule()

    # -- the clock ----------------------------------------------------------------------------------------------------

    def arm(self, now_us: int) -> None:
        """Start plant and scenario time at this time of the caller's clock."""
        if self._armed_us is None:
            self._armed_us = now_us
            self._apply_due()

    def advance(self, power_w: float, dt_us: int) -> None:
        """Let `dt_us` pass with a constant electrical power into the heater."""
        if self._armed_us is None or dt_us <= 0:
            return
        self._power_w = power_w
        end_us = self.plant_us + dt_us
        while self.plant_us < end_us:
            stop_us = min(end_us, self.plant_us + SECOND_US)
            if self._on_plant:
                stop_us = min(stop_us, self._on_plant[0].at_us)
            self._piece(power_w, stop_us - self.plant_us)
            self._apply_due()

    def next_event_us(self) -> int | None:
        """When the scenario next acts on the board, on the caller's clock; None for never."""
        if not self._on_board or self._armed_us is None:
            return None
        return self._armed_us + self._on_board[0].at_us

    def due(self, now_us: int) -> list[Action]:
        """The scenario's actions on the board that have become due, in order."""
        actions: list[Action] = []
        while self._on_board and self._armed_us is not None and self._on_board[0].at_us <= now_us - self._armed_us:
            action = self._on_board.pop(0).action
            assert action is not None
            actions.append(action)
        return actions

    def check_event(self, event: acts.Event) -> None:
        """Refuse an event that does not fit this warmer.

        Raises
        ------
        UseError, FileError
            When the plant is not the built-in one, or the event does not fit it.
        """
        alone = Scenario(source="at hand", events=(event,))
        if not isinstance(self.plant, Warmer):
            _refuse_physical(alone)
        else:
            _check_stock(alone, self.plant)

    def apply_event(self, event: acts.Event) -> None:
        """Apply an event's effects on the warmer, from now on and whatever its `at_s`."""
        for after_s, act in effects(self.plant, event):
            if after_s == 0.0:
                act()
            else:
                insort(self._on_plant, Due(self.plant_us + to_us(after_s), len(self.scenario.events), act=act))
        self._read_plant()

    # -- temperatures -------------------------------------------------------------------------------------------------

    def probe_c(self, name: str) -> float | None:
        """A probe's element reading, °C; None when the plant is dead or there is no such probe."""
        if self.dead is not None or name not in self._true_c:
            return None
        if self.raw_probes:
            return self._true_c[name]
        return self._elements[name].reading_c(self.plant_us)

    def true_c(self, name: str) -> float:
        """True temperature at a probe, °C; NaN when there is none."""
        return self._true_c.get(name, math.nan) if self.dead is None else math.nan

    def truth_row(self, now_us: int) -> tuple[int, float, float, float, float]:
        """One row of the file of true temperatures.

        Returns
        -------
        tuple of (int, float, float, float, float)
            t_ms since `arm`; true water, bowl and wall temperature, °C, NaN where unknown; mean W since the last row.
        """
        t_ms = (now_us - (now_us if self._armed_us is None else self._armed_us)) // 1000
        passed_s = (self.plant_us - self._row_us) / SECOND_US
        power_w = self._energy_j / passed_s if passed_s > 0 else self._power_w
        self._energy_j, self._row_us = 0.0, self.plant_us
        wall_c = self.plant.wall_c if isinstance(self.plant, Warmer) else math.nan
        return t_ms, self.true_c("water"), self.true_c("bowl"), wall_c, power_w

    # -- inside -------------------------------------------------------------------------------------------------------

    def _piece(self, power_w: float, dt_us: int) -> None:
        dt_s = dt_us / SECOND_US
        self.plant_us += dt_us
        self._energy_j += power_w * dt_s
        if self.dead is not None:
            return
        self._step(power_w, dt_s)
        if self.dead is None and not self.raw_probes:
            for name, element in self._elements.items():
                element.advance(self._true_c[name], dt_s)

    def _step(self, power_w: float, dt_s: float) -> None:
        try:
            self.plant.step(power_w, dt_s)
        except Exception as error:  # a user's plant may raise anything; its probes are then dead, with the reason
            self.dead = f"the plant failed at {self.plant_us / SECOND_US:.1f} s: {describe(error)}"
            return
        self._read_plant()

    def _read_plant(self) -> None:
        try:
            temps_c = self.plant.temps_c
            read = {name: float(temps_c[name]) for name in ("water", "bowl") if name in temps_c}
        except Exception as error:  # as above
            self.dead = f"the plant's temps_c failed at {self.plant_us / SECOND_US:.1f} s: {describe(error)}"
            return
        if "water" not in read and not self._true_c:
            raise PlantError("the plant's temps_c has no 'water'", wanted="°C at the water probe, and 'bowl' if fitted")
        lost = [name for name in self._true_c if name not in read]
        wrong = [name for name, temp_c in read.items() if not math.isfinite(temp_c)]
        if lost:
            self.dead = f"the plant's temps_c has no {lost[0]!r} at {self.plant_us / SECOND_US:.1f} s"
        elif wrong:
            self.dead = f"the plant's {wrong[0]} is {read[wrong[0]]} at {self.plant_us / SECOND_US:.1f} s"
        else:
            self._true_c = read

    def _element(self, name: str, temp_c: float) -> Element:
        table = self.rig.plant
        lag_s = table.water_probe_lag_s if name == "water" else table.bowl_probe_lag_s
        bias_c = table.water_probe_bias_c if name == "water" else table.bowl_probe_bias_c
        return Element(name, self.seed, lag_s, table.probe_noise_c, bias_c, temp_c)

    def _apply_due(self) -> None:
        while self._on_plant and self._on_plant[0].at_us <= self.plant_us:
            act = self._on_plant.pop(0).act
            assert act is not None
            act()
            self._read_plant()

    def _schedule(self) -> tuple[list[Due], list[Due]]:
        return schedule(self.scenario, self.plant)


def build_world(rig: Rig, plant_spec: str | None = None, scenario: Scenario | None = None, seed: int = 0) -> World:
    """A world with the built-in plant, or with the one that ``FILE.py:NAME`` names.

    Raises
    ------
    PlantError, UseError, FileError
        When the plant cannot be loaded, or the scenario cannot be done with it.
    """
    return World(load_plant(plant_spec) if plant_spec else None, rig, scenario, seed)


def _refuse_physical(scenario: Scenario) -> None:
    if scenario.physical:
        event = scenario.physical[0]
        raise UseError(f"the event {kind_of(event)!r} at {event.at_s:g} s acts on the built-in warmer, not a --plant",
                       hint="leave --plant out, or let the plant apply its own disturbances")
    if scenario.start is not None:
        raise UseError("the scenario's [start] is for the built-in warmer, not for a --plant",
                       hint="leave --plant out, or let the plant set its own start")


def _check_stock(scenario: Scenario, plant: Warmer) -> None:
    """Refuse a scenario that dips more chocolate than there is, or changes the water of a plate."""
    stock_kg = plant.chocolate_kg
    moves: list[tuple[float, float]] = []
    for event in scenario.events:
        if isinstance(event, acts.WaterSwap | acts.WaterTopUp | acts.WaterOut) and not plant.body.is_bath:
            raise FileError(f"the event {kind_of(event)!r} at {event.at_s:g} s needs a bath; this rig is a plate",
                            hint="leave the event out, or play it on a warmer with water")
        if isinstance(event, acts.Refill | acts.Seed):
            moves.append((event.at_s, event.mass_kg))
        elif isinstance(event, acts.Dip):
            moves.append((event.at_s + event.for_s, -event.mass_kg))
    for at_s, mass_kg in sorted(moves):
        stock_kg += mass_kg
        if stock_kg <= 0.0:
            raise FileError(f"scenario {scenario.source}: by {at_s:g} s it dips more than the bowl holds",
                            got=f"{-stock_kg:.2f} kg too much", wanted="some chocolate left",
                            hint="dip less, refill more, or raise chocolate_kg in [start]")
