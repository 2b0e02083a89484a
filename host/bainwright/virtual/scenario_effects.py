"""What each kind of scenario event does, to the warmer and to the board. One table, one function a kind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from bainwright.virtual import scenario as acts
from bainwright.virtual.plant import Warmer
from bainwright.virtual.scenario import Scenario, kind_of

SECOND_US = 1_000_000
INJECTED_ID = 1_000_000  # request ids of a scenario start after this, clear of the host's


@dataclass(frozen=True)
class Inject:
    """A request that somebody sends to the board: the wire's fields without an id."""

    fields: dict[str, Any]


@dataclass(frozen=True)
class Fault:
    """A part fails (`on`) or is repaired."""

    name: str
    on: bool


@dataclass(frozen=True)
class PowerCut:
    """The board has no supply for a while."""

    for_s: float


Action = Inject | Fault | PowerCut
Effects = list[tuple[float, Callable[[], None]]]  # seconds after the event, what to do to the plant


@dataclass(order=True)
class Due:
    """An effect at a plant time: `act` changes the plant, `action` is for the board."""

    at_us: int
    order: int
    act: Callable[[], None] | None = field(compare=False, default=None)
    action: Action | None = field(compare=False, default=None)


def to_us(seconds: float) -> int:
    """Seconds as whole microseconds."""
    return round(seconds * SECOND_US)


def schedule(scenario: Scenario, plant: Any) -> tuple[list[Due], list[Due]]:
    """The scenario's effects in order of time: on the plant, and on the board."""
    on_plant: list[Due] = []
    on_board: list[Due] = []
    for order, event in enumerate(scenario.events):
        on_plant += [Due(to_us(event.at_s + after_s), order, act=act) for after_s, act in effects(plant, event)]
        on_board += [Due(to_us(event.at_s + after_s), order, action=action) for after_s, action in actions(event)]
    return sorted(on_plant), sorted(on_board)


def effects(plant: Any, event: acts.Event) -> Effects:
    """What an event does to the plant; nothing for an event that only the board meets."""
    make = _EFFECTS.get(type(event))
    return make(plant, event) if make else []


def actions(event: acts.Event) -> list[tuple[float, Action]]:
    """What the board meets, as (seconds after the event, action)."""
    if isinstance(event, acts.BowlOff | acts.BowlOn):
        at = "off" if isinstance(event, acts.BowlOff) else "on"
        return [(0.0, Inject({"do": "bowl", "at": at}))] if event.reported else []
    if isinstance(event, acts.Announce):
        return [(0.0, Inject(_announcement(event)))]
    if isinstance(event, acts.Confirm | acts.Thicker | acts.Thinner | acts.Test | acts.Back):
        return [(0.0, Inject({"do": kind_of(event)}))]
    if isinstance(event, acts.Finish):
        return [(0.0, Inject({"do": "finish", "to": event.to}))]
    if isinstance(event, acts.FaultEvent):
        begin: list[tuple[float, Action]] = [(0.0, Fault(event.name, not event.clear))]
        return begin if event.for_s is None else [*begin, (event.for_s, Fault(event.name, event.clear))]
    if isinstance(event, acts.PowerCutEvent):
        return [(0.0, PowerCut(event.for_s))]
    return []


def _announcement(event: acts.Announce) -> dict[str, Any]:
    fields: dict[str, Any] = {"do": "announce", "in_s": round(event.in_s)}
    if event.mass_kg is not None:
        fields["mass_g"] = round(event.mass_kg * 1000)
    if event.temp_c is not None:
        fields["temp"] = round(event.temp_c * 1000)
    return fields


def _dip(plant: Warmer, event: acts.Dip) -> Effects:
    rate = event.mass_kg / event.for_s

    def change(by: float) -> None:
        plant.dip_kg_per_s = 0.0 if abs(plant.dip_kg_per_s + by) < 1e-12 else plant.dip_kg_per_s + by
        plant.renew()

    return [(0.0, lambda: change(rate)), (event.for_s, lambda: change(-rate))]


def _set(plant: Warmer, **values: Any) -> Callable[[], None]:
    def act() -> None:
        for name, value in values.items():
            setattr(plant, name, value)
        plant.renew()

    return act


_EFFECTS: dict[type, Callable[[Any, Any], Effects]] = {
    acts.Refill: lambda plant, event: [(0.0, lambda: plant.refill(event.mass_kg, event.temp_c))],
    acts.Seed: lambda plant, event: [(0.0, lambda: plant.seed(event.mass_kg, event.temp_c))],
    acts.Dip: _dip,
    acts.Stir: lambda plant, event: [(0.0, lambda: plant.stir(event.for_s))],
    acts.WaterSwap: lambda plant, event: [(0.0, lambda: plant.swap(event.litres, event.temp_c))],
    acts.WaterOut: lambda plant, event: [(0.0, lambda: plant.take_out_l(event.litres))],
    acts.WaterTopUp: lambda plant, event: [(0.0, lambda: plant.top_up(event.litres, event.temp_c))],
    acts.BowlOff: lambda plant, event: [(0.0, _set(plant, bowl_in=False))],
    acts.BowlOn: lambda plant, event: [(0.0, _set(plant, bowl_in=True))],
    acts.ColdBath: lambda plant, event: [
        (0.0, _set(plant, in_cold=True, cold_c=event.temp_c)), (event.for_s, _set(plant, in_cold=False))],
    acts.Lid: lambda plant, event: [(0.0, _set(plant, lid=event.on))],
    acts.Room: lambda plant, event: [(0.0, _set(plant, room_c=event.temp_c))],
    acts.Draught: lambda plant, event: [
        (0.0, _set(plant, draught=event.factor)), (event.for_s, _set(plant, draught=1.0))],
}
