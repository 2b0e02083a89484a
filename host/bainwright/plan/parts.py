"""The parts of a batch's plan, as the answer to a request. Figures are °C, kg, s, W, J and L."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

from bainwright.core.figures import Figure
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.refills import solid_enough
from bainwright.plan.request import SEEDING, BatchRequest

STAGE_NAMES = {
    "melt": "melt",
    "seed": "seed",
    "cool": "cool",
    "rewarm": "warm back",
    "settle": "settle",
    "test": "temper test",
    "work": "dip",
    "melted": "hold melted",
}
HANDFUL_KG = 0.02  # chosen: what a hand of pieces weighs
OPEN_END = 2.0  # chosen: times its likely time is allowed before guests come for a step whose slow end nobody knows
STEP_MIN = 5.0  # chosen: a plan rounds its clock times to five minutes


@dataclass(frozen=True)
class Band:
    """A time that nobody can promise to the minute.

    Attributes
    ----------
    low_s, high_s : float
        Quick and slow end, which hold nine warmers in ten; `high_s` is None where the slow end may never get there.
    likely_s : float
        Between them.
    """

    low_s: float
    likely_s: float
    high_s: float | None


@dataclass(frozen=True)
class Seed:
    """How much seed: the low figure goes in first, the high one is held ready."""

    low_kg: float
    likely_kg: float
    high_kg: float
    share: float
    taken_up: float
    lost_w: float
    factor: float
    end_c: float

    @property
    def first_kg(self) -> float | None:
        """What may go in at once; None when that is less than a handful, as for a small melt in a heavy bowl."""
        return self.low_kg if self.low_kg >= HANDFUL_KG else None


@dataclass(frozen=True)
class SeedAnswer:
    """Where a batch ends with the seed somebody put aside: likely, and with much and little heat lost meanwhile."""

    mass_kg: float
    share: float
    coldest_c: float
    ends_c: float
    warmest_c: float


@dataclass(frozen=True)
class Butter:
    """Cocoa butter seed: how much, between which temperatures it is stirred in, and how long the melt cools for it.

    `down` is until it goes in, and `on` from there into the window; None in too warm a room.
    """

    mass_kg: float
    low_c: float
    high_c: float
    down: Band | None
    on: Band | None


@dataclass(frozen=True)
class Cooling:
    """Cooling the bowl without seed, and warming it back.

    Attributes
    ----------
    low_c, high_c : float
        Where cooling ends.
    basin_c : float
        Water of the basin that the bowl cools in.
    down, back : Band or None
        How long each takes; None where it does not get there.
    """

    low_c: float
    high_c: float
    basin_c: float
    down: Band | None
    back: Band | None


@dataclass(frozen=True)
class Melt:
    """Melting the chocolate in the bath at full heat.

    Attributes
    ----------
    took : Band or None
        Stirred now and then; None when it does not get there.
    stirred_s, unstirred_s : float or None
        Stirred all the time, and left alone; None is never.
    settles_c : float or None
        Where the chocolate settles when it does not get there; None when it does, since the melt ends on the way.
    covered_does : bool
        Whether it does not get there as the warmer is, but would with the bath covered.
    """

    solid_kg: float
    to_c: float
    water_c: float
    took: Band | None
    stirred_s: float | None
    unstirred_s: float | None
    energy_j: float
    settles_c: float | None
    covered_does: bool


@dataclass(frozen=True)
class Heat:
    """The bath, with a bowl already molten in it, up to its working temperature; `took` is None when it never is."""

    took: Band | None
    energy_j: float
    water_c: float


@dataclass(frozen=True)
class Swap:
    """Cooling the bath between melt and hold: water out, cold water in; None where that is not possible."""

    from_c: float
    to_c: float
    cold_c: float
    out_l: float | None
    bath_l: float
    by_itself_s: float | None


@dataclass(frozen=True)
class RefillRow:
    """The largest refill of a temperature, as a share of what is in the bowl."""

    temp_c: float
    share: float


@dataclass(frozen=True)
class RefillAnswer:
    """What the refill to be judged would do."""

    mass_kg: float
    temp_c: float
    in_bowl_kg: float
    ends_c: float
    largest_kg: float | None
    stays_in: bool
    solid: bool  # pieces, which take up latent heat as well


@dataclass(frozen=True)
class Refills:
    """Refills: those a large total needs, the largest for a temperature, and the one to be judged."""

    count: int
    each_kg: float
    in_bowl_kg: float
    coldest_c: float
    warmest_c: float
    warm: tuple[RefillRow, ...]
    cold: tuple[RefillRow, ...]
    solid: RefillRow | None  # None for pieces too warm to cool a bowl
    asked: RefillAnswer | None


@dataclass(frozen=True)
class Need:
    """Holding a chocolate temperature: heater and water."""

    stage: str
    covered: bool
    chocolate_c: float
    water_c: float
    need_w: float
    reserve: float | None  # heater over need; None where the room alone is warm enough
    evaporates_kg_per_h: float
    top_up_h: float | None


@dataclass(frozen=True)
class Hold:
    """The work stage: the water it takes, and the least chocolate it holds; None when not even a full bowl."""

    water_c: float
    water_most_c: float
    offset_measured: bool
    least_kg: float | None


@dataclass(frozen=True)
class Room:
    """The room, and the thermometer's fixed points there."""

    temp_c: float
    humidity: float
    dew_point_c: float
    altitude_m: float
    boiling_c: float
    centre_c: float | None


@dataclass(frozen=True)
class Step:
    """One step of the evening: when it likely begins, and how long it lasts; `high_s` as in `Band`."""

    name: str
    starts_s: float
    lasts_s: float
    low_s: float
    high_s: float | None
    chocolate_c: float
    water_c: float


@dataclass(frozen=True)
class Ready:
    """How long after the first step begins dipping (or holding) may begin; `slow_s` None where nobody knows."""

    quick_s: float
    likely_s: float
    slow_s: float | None


@dataclass(frozen=True)
class Plan:
    """A planned batch."""

    request: BatchRequest
    seed: Seed | None
    seed_answer: SeedAnswer | None
    butter: Butter | None
    cooling: Cooling | None
    melt: Melt
    warm_up: Heat
    swap: Swap | None
    refills: Refills | None
    needs: tuple[Need, ...]
    hold: Hold
    room: Room
    steps: tuple[Step, ...]
    course: tuple[tuple[float, float, float], ...]
    figures: tuple[Figure, ...]

    @property
    def ready(self) -> Ready:
        """How long after the first step begins the last one may begin."""
        before = self.steps[:-1]
        slows_s = [step.high_s for step in before if step.high_s is not None]
        slow_s = sum(slows_s) if len(slows_s) == len(before) else None
        return Ready(sum(step.low_s for step in before), sum(step.lasts_s for step in before), slow_s)

    @property
    def starts_min(self) -> float | None:
        """When the first step begins, minutes after midnight, if a time of day was given.

        For a time to dip at it is early enough for the slow end of every step: a bowl in temper waits, guests do not.
        """
        if self.request.dip_at_min is not None:
            allowed_s = sum(OPEN_END * each.lasts_s if each.high_s is None else each.high_s for each in self.steps[:-1])
            return STEP_MIN * math.floor((self.request.dip_at_min - allowed_s / 60.0) / STEP_MIN)
        return self.request.starts_min

    @property
    def too_warm_room(self) -> bool:
        """Whether the room is warmer than the window: a warmer cannot cool."""
        return self.room.temp_c > self.request.profile.high_c

    @property
    def heater_enough(self) -> bool:
        """Whether the heater holds the last stage with the ring covered."""
        last = self.steps[-1].name
        return all((need.reserve or 1.0) >= 1.0 for need in self.needs if need.covered and need.stage == last)

    @property
    def melts_here(self) -> bool:
        """Whether the chocolate is melted on this warmer: not if it cannot, or cannot cool down in time afterwards."""
        return self.steps[0].name == "melt"

    @property
    def warms_before_s(self) -> float:
        """How long before the first step the heat goes on, to have the water ready for chocolate melted elsewhere."""
        took = self.warm_up.took
        if self.melts_here or took is None:
            return 0.0
        meanwhile_s = self.steps[0].lasts_s if len(self.steps) > 1 else 0.0  # a hold needs its bath from its start
        return max(0.0, (took.high_s or took.likely_s) - meanwhile_s)

    @property
    def seed_enough(self) -> bool:
        """Whether the seed that was put aside, if any, brings the bowl under its ceiling."""
        return self.seed_answer is None or self.seed_answer.ends_c <= self.request.profile.ceiling_c

    @property
    def half_melted_seed(self) -> bool:
        """Whether the seed is too warm to be seed: more of it is no remedy."""
        request = self.request
        seeds = request.tempered and request.method == SEEDING
        return seeds and not solid_enough(request.seed_c, HEAT_PROPERTIES[request.profile.kind])

    @property
    def cools(self) -> bool:
        """Whether a method that cools the bowl gets there and back."""
        if self.cooling is not None:
            return self.cooling.down is not None and self.cooling.back is not None
        return self.butter is None or (self.butter.down is not None and self.butter.on is not None)

    @property
    def ok(self) -> bool:
        """Whether it can be done as asked; melting elsewhere is one way to do it."""
        refill_ok = self.refills is None or self.refills.asked is None or self.refills.asked.stays_in
        possible = self.heater_enough and self.hold.least_kg is not None and not self.too_warm_room
        return possible and refill_ok and self.cools and self.seed_enough

    def as_dict(self) -> dict[str, Any]:
        """For JSON: °C, kg, s, W, J, L whatever scale is shown."""
        request = self.request
        result: dict[str, Any] = {
            "ok": self.ok,
            "chocolate": request.profile.name,
            "kind": request.profile.kind,
            "method": request.method,
            "warmer": request.rig.name,
            "total_kg": request.total_kg,
            "batch_kg": request.batch_kg,
            "warms_before_s": self.warms_before_s,
            "ready": asdict(self.ready),
        }
        parts = ("seed", "seed_answer", "butter", "cooling", "melt", "warm_up", "swap", "refills", "hold", "room")
        for part in parts:
            value = getattr(self, part)
            result[part] = None if value is None else asdict(value)
        result["heater"] = {
            "power_w": request.rig.settings["heater_w"],
            "enough": self.heater_enough,
            "needs": [asdict(need) for need in self.needs],
        }
        result["steps"] = [asdict(step) for step in self.steps]
        result["starts_min"] = self.starts_min
        result["dip_at_min"] = request.dip_at_min
        result["melts_here"] = self.melts_here
        result["figures"] = [asdict(figure) for figure in self.figures]
        return result
