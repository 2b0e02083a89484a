"""The request for a batch's plan, checked. Figures are °C, kg, s and m."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from bainwright.files.chocolate import Profile
from bainwright.files.rig import Rig
from bainwright.physics.heating import Scales
from bainwright.plan.spread import Spread

SEEDING, BUTTER, COOLING = "seed", "butter", "cool"  # the methods of tempering
METHODS = (SEEDING, BUTTER, COOLING)


@dataclass(frozen=True)
class Refill:
    """A refill to be judged."""

    mass_kg: float
    temp_c: float
    in_bowl_kg: float


@dataclass(frozen=True)
class BatchRequest:
    """The batch to be planned, checked; the defaults are those of `plan.options`."""

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
    method: str = SEEDING
    seed_given_kg: float | None = None
    seed_factor: float = 1.0
    melt_factor: float | None = None  # time melts took over planned, on past evenings
    scales: Scales = field(default_factory=Scales)
    spread: Spread = field(default_factory=Spread)
    altitude_m: float = 0.0
    centre_c: float | None = None
    refill: Refill | None = None
    starts_min: float | None = None
    dip_at_min: float | None = None
    now_min: float | None = None  # the time of day at which it is planned; None is not known
    assumed: tuple[str, ...] = ()

    @property
    def tempered(self) -> bool:
        """Whether it is brought into temper: melted stock is not."""
        return self.profile.kind != "melted"

    @property
    def full_kg(self) -> float:
        """What the bowl holds."""
        return float(self.rig.settings["chocolate_kg"])

    @property
    def batch_kg(self) -> float:
        """What goes into the bowl first."""
        return min(self.total_kg, self.full_kg)

    @property
    def fillings(self) -> int:
        """How often the bowl is filled."""
        return math.ceil(self.total_kg / self.full_kg - 1e-9)
