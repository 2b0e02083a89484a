"""What a batch's plan is made of: what was wanted, and each part of the answer. Figures are °C, kg, s, W, J and L."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from bainwright.core.figures import Figure
from bainwright.files.chocolate import Profile
from bainwright.files.rig import Rig

STAGE_NAMES = {
    "melt": "melt",
    "seed": "seed",
    "settle": "settle",
    "test": "temper test",
    "work": "dip",
    "melted": "keep melted",
}


@dataclass(frozen=True)
class Refill:
    """A refill somebody asks about."""

    mass_kg: float
    temp_c: float
    in_bowl_kg: float


@dataclass(frozen=True)
class BatchRequest:
    """What is to be planned, checked; see `plan_options` for where the defaults come from."""

    profile: Profile
    rig: Rig
    total_kg: float
    room_c: float
    humidity: float
    melt_c: float
    end_c: float
    seed_c: float
    water_c: float
    cold_c: float
    work_s: float
    seed_factor: float = 1.0
    altitude_m: float = 0.0
    centre_c: float | None = None
    refill: Refill | None = None
    starts_min: float | None = None
    dip_at_min: float | None = None
    assumed: tuple[str, ...] = ()

    @property
    def tempered(self) -> bool:
        """Melted stock is out of temper: it is melted and kept, not seeded."""
        return self.profile.kind != "melted"

    @property
    def full_kg(self) -> float:
        """What the bowl holds."""
        return float(self.rig.settings["chocolate_kg"])

    @property
    def batch_kg(self) -> float:
        """What goes into the bowl at first."""
        return min(self.total_kg, self.full_kg)


HANDFUL_KG = 0.02  # chosen: what a hand of pieces weighs


@dataclass(frozen=True)
class Seed:
    """How much seed; the low figure goes in first and the high one is kept ready."""

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
        """What may go in at once; None when that is less than a handful, for a small melt in a heavy bowl."""
        return self.low_kg if self.low_kg >= HANDFUL_KG else None


@dataclass(frozen=True)
class Melt:
    """Melting the chocolate in the bath at full heat; a time that is None is never reached."""

    solid_kg: float
    to_c: float
    water_c: float
    took_s: float | None
    stirred_s: float | None
    unstirred_s: float | None
    energy_j: float
    settles_c: float


@dataclass(frozen=True)
class Heat:
    """The bath alone (the bowl in it, already molten) up to its working temperature."""

    took_s: float | None
    energy_j: float
    water_c: float


@dataclass(frozen=True)
class Swap:
    """Water out and cold water in between the melt and the hold; None is not possible."""

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
    """What a refill somebody asked about would do."""

    mass_kg: float
    temp_c: float
    in_bowl_kg: float
    ends_c: float
    largest_kg: float | None
    stays_in: bool


@dataclass(frozen=True)
class Refills:
    """Refills: those a large total needs, the largest by temperature, and the one asked about."""

    count: int
    each_kg: float
    in_bowl_kg: float
    coldest_c: float
    warmest_c: float
    warm: tuple[RefillRow, ...]
    cold: tuple[RefillRow, ...]
    solid: RefillRow
    asked: RefillAnswer | None


@dataclass(frozen=True)
class Need:
    """Holding a chocolate temperature: heater and water."""

    stage: str
    covered: bool
    chocolate_c: float
    water_c: float
    need_w: float
    reserve: float | None  # heater over need; None where the room itself is warm enough
    evaporates_kg_per_h: float
    top_up_h: float | None


@dataclass(frozen=True)
class Hold:
    """The work stage: what the water must be, and how far the bowl may go down; None: not even when full."""

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
    """One of tonight's steps."""

    name: str
    starts_s: float
    lasts_s: float
    chocolate_c: float
    water_c: float


@dataclass(frozen=True)
class Plan:
    """A planned batch."""

    request: BatchRequest
    seed: Seed | None
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
    def starts_min(self) -> float | None:
        """When the heat goes on, minutes after midnight, if a time of day was given."""
        if self.request.dip_at_min is not None:
            return self.request.dip_at_min - self.steps[-1].starts_s / 60.0
        return self.request.starts_min

    @property
    def heater_enough(self) -> bool:
        """Does the heater hold the last stage with the ring covered?"""
        last = self.steps[-1].name
        return all((need.reserve or 1.0) >= 1.0 for need in self.needs if need.covered and need.stage == last)

    @property
    def melts_here(self) -> bool:
        """Is the chocolate melted on this warmer? Not if it cannot, or could not cool down in time after it."""
        return self.steps[0].name == "melt"

    @property
    def warms_before_s(self) -> float:
        """How long before the first step the heat goes on, for chocolate melted elsewhere: the water is to be ready."""
        if self.melts_here or self.warm_up.took_s is None:
            return 0.0
        return max(0.0, self.warm_up.took_s - self.steps[0].lasts_s)

    @property
    def ok(self) -> bool:
        """Can it be done as asked? Melting elsewhere is a way to do it."""
        asked_ok = self.refills is None or self.refills.asked is None or self.refills.asked.stays_in
        return self.heater_enough and self.hold.least_kg is not None and asked_ok

    def as_dict(self) -> dict[str, Any]:
        """For JSON: °C, kg, s, W, J, L whatever is shown."""
        request = self.request
        result: dict[str, Any] = {
            "ok": self.ok,
            "chocolate": request.profile.name,
            "kind": request.profile.kind,
            "warmer": request.rig.name,
            "total_kg": request.total_kg,
            "batch_kg": request.batch_kg,
            "warms_before_s": self.warms_before_s,
        }
        for part in ("seed", "melt", "warm_up", "swap", "refills", "hold", "room"):
            value = getattr(self, part)
            result[part] = None if value is None else asdict(value)
        result["heater"] = {
            "power_w": request.rig.settings["heater_w"],
            "enough": self.heater_enough,
            "needs": [asdict(need) for need in self.needs],
        }
        result["steps"] = [asdict(step) for step in self.steps]
        result["starts_min"] = self.starts_min
        result["melts_here"] = self.melts_here
        result["figures"] = [asdict(figure) for figure in self.figures]
        return result
