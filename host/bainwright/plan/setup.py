"""What every part of a plan works with: the warmer's body, its surroundings and its limits, from one request."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

from bainwright.physics.chocolate_heat import HEAT_PROPERTIES, HeatProperties
from bainwright.physics.geometry import Body, body_of
from bainwright.physics.heating import Surroundings
from bainwright.physics.kitchen import pressure_pa
from bainwright.plan.request import BatchRequest

OVER_MELT_K = 6.0  # chosen: the bath over the melt it makes; quick, and little water to swap later
UNDER_HARD_LIMIT_K = 2.0  # chosen: room below the trip limit for the element's overshoot


class Setup:
    """One request with what follows from it."""

    def __init__(self, request: BatchRequest) -> None:
        self.request = request
        self.profile, self.settings = request.profile, request.rig.settings
        self.heater_w = float(self.settings["heater_w"])
        self.stage = "work" if request.tempered else "melted"

    @cached_property
    def body(self) -> Body:
        """Sizes and films of the warmer."""
        return body_of(self.request.rig)

    @cached_property
    def chocolate(self) -> HeatProperties:
        """How the chocolate takes up heat."""
        return HEAT_PROPERTIES[self.profile.kind]

    @cached_property
    def around(self) -> Surroundings:
        """The room and the full batch, left alone."""
        request = self.request
        return Surroundings(
            request.room_c,
            request.humidity,
            request.batch_kg,
            request.rig.plant.ring_cover,
            pressure_pa=pressure_pa(request.altitude_m),
            scales=request.scales,
        )

    @cached_property
    def working(self) -> Surroundings:
        """The room while the last stage is held: stirred by dipping, or under a lid."""
        tempered = self.request.tempered
        return replace(self.around, stirred=1.0 if tempered else 0.0, lid=not tempered)

    @property
    def hard_most_c(self) -> float:
        """The most a planned bath may reach under the trip limit, °C."""
        return float(self.settings["hard_limit_c"]) - UNDER_HARD_LIMIT_K

    @property
    def water_most_c(self) -> float:
        """The most the bath may reach while the bowl is in it: the wall is taken to be as warm as the water."""
        margin_k = float(self.settings["gains.ceiling_margin_c"])
        return min(self.profile.ceiling_c - margin_k, self.hard_most_c)

    @property
    def melt_water_c(self) -> float:
        """The bath while melting: never warmer than the chocolate may ever be."""
        most_c = self.profile.never_above_c if self.request.tempered else self.water_most_c
        return min(self.request.melt_c + OVER_MELT_K, most_c, self.hard_most_c)
