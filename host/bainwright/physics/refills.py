"""How much may be poured into a bowl in temper, and how warm, before the bowl leaves its window.

Plain mixing of chocolate with chocolate. The bowl's wall is left out: it would soften the change a little, so leaving
it out is the careful side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from bainwright.core.errors import UseError
from bainwright.physics.chocolate_heat import HeatProperties
from bainwright.physics.materials import CP_SOLID

BISECTIONS = 40  # of a span under 100 °C: to a billionth of a degree
SOLID_LEAST = 0.60  # of its crystals; dark at 30 °C has less: half melted, it seeds badly (common practice, no source)


@dataclass(frozen=True)
class Bowl:
    """The bowl a refill goes into: what is in it, how warm, and the window it must keep."""

    in_bowl_kg: float
    temp_c: float
    low_c: float
    high_c: float

    @property
    def too_cold(self) -> bool:
        """Whether the bowl is below its window: it has to be warmed before anything goes in."""
        return self.temp_c < self.low_c


def mixed_c(in_bowl_kg: float, bowl_c: float, refill_kg: float, refill_c: float) -> float:
    """The temperature after a refill has been stirred in."""
    return (in_bowl_kg * bowl_c + refill_kg * refill_c) / (in_bowl_kg + refill_kg)


def mixed_solid_c(bowl: Bowl, solid_kg: float, solid_c: float, chocolate: HeatProperties) -> float:
    """The temperature after solid pieces, colder than the bowl, have been stirred in: they warm up and melt in part."""

    def left_over_j(end_c: float) -> float:
        given_j = bowl.in_bowl_kg * CP_SOLID.value * (bowl.temp_c - end_c)
        melted_j_per_kg = chocolate.molten_share(end_c, solid_c) * chocolate.latent.value
        return given_j - solid_kg * (CP_SOLID.value * (end_c - solid_c) + melted_j_per_kg)

    low_c, high_c = solid_c, bowl.temp_c
    for _ in range(BISECTIONS):
        middle_c = 0.5 * (low_c + high_c)
        low_c, high_c = (middle_c, high_c) if left_over_j(middle_c) > 0.0 else (low_c, middle_c)
    return 0.5 * (low_c + high_c)


def largest_kg(bowl: Bowl, refill_c: float) -> float:
    """The largest liquid refill at a temperature that keeps the bowl in its window.

    Returns
    -------
    float
        m = M (T_edge - T_b) / (T_r - T_edge) for the edge on the refill's side; infinite when the refill is itself in
        the window; 0 when the bowl is at or beyond that edge, or below its window.
    """
    if bowl.too_cold:
        return 0.0
    edge_c = bowl.high_c if refill_c > bowl.high_c else bowl.low_c if refill_c < bowl.low_c else None
    if edge_c is None:
        return math.inf
    return max(0.0, bowl.in_bowl_kg * (edge_c - bowl.temp_c) / (refill_c - edge_c))


def solid_enough(solid_c: float, chocolate: HeatProperties) -> bool:
    """Whether pieces still cool and seed a bowl: no longer from 30 °C for dark, from 28 °C with milk fat."""
    return chocolate.solid_at(solid_c) >= SOLID_LEAST


def largest_solid_kg(bowl: Bowl, solid_c: float, chocolate: HeatProperties) -> float:
    """The largest amount of solid pieces that does not pull the bowl below its window.

    They take up latent heat as well, so this is far less than of a liquid as cold.

    Returns
    -------
    float
        0 for a bowl below its window; infinite for pieces in the window themselves, which take no heat from it.
    """
    if bowl.too_cold:
        return 0.0
    if solid_c >= bowl.low_c:
        return math.inf
    taken_j_per_kg = (
        CP_SOLID.value * (bowl.low_c - solid_c) + chocolate.molten_share(bowl.low_c, solid_c) * chocolate.latent.value
    )
    return bowl.in_bowl_kg * CP_SOLID.value * (bowl.temp_c - bowl.low_c) / taken_j_per_kg


def temps_for_c(bowl: Bowl, refill_kg: float) -> tuple[float, float]:
    """The coldest and the warmest a liquid refill of a given mass may be."""
    ratio = bowl.in_bowl_kg / refill_kg
    return bowl.low_c - ratio * (bowl.temp_c - bowl.low_c), bowl.high_c + ratio * (bowl.high_c - bowl.temp_c)


def check_fits(refill_kg: float, in_bowl_kg: float, full_kg: float) -> None:
    """Refuse a refill that runs over the rim.

    Raises
    ------
    UseError
        When bowl and refill together are more than the bowl holds.
    """
    if in_bowl_kg > full_kg * (1.0 + 1e-9):
        raise UseError(
            "--in-bowl",
            got=f"{in_bowl_kg:.2f} kg",
            wanted=f"at most {full_kg:.2f} kg, what the bowl holds",
            hint="check the number and its unit",
        )
    if refill_kg + in_bowl_kg > full_kg * (1.0 + 1e-9):
        raise UseError(
            "the refill is more than the bowl holds",
            got=f"{refill_kg:.2f} kg into {in_bowl_kg:.2f} kg in a bowl of {full_kg:.2f} kg",
            wanted=f"at most {max(0.0, full_kg - in_bowl_kg):.2f} kg",
            hint="pour in less, or dip some more first (--in-bowl)",
        )
