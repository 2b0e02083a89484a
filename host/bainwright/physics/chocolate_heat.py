"""How much heat chocolate takes: its liquid, the few crystals of a temper, and solid pieces that melt into it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from bainwright.core.figures import MEMORY, Figure
from bainwright.physics.materials import (
    CP_LIQUID,
    CP_SOLID,
    LATENT_ANY,
    LATENT_DARK,
    LATENT_MILK,
    LATENT_WHITE,
    MILK_FAT,
)

CHOCOLATE_J_PER_KGK = CP_SOLID.value  # of a bowl in work; the 5 % more of a melt over 40 °C is left out here
TEMPER_LOW_C, TEMPER_HIGH_C = 28.0, 34.0  # the crystals of a temper melt over this range (Schenk & Peschar: 26 to 34)
FORM_VI_C = 36.3  # melting point of the last crystals of cocoa butter (Wille & Lutton 1966)
SETS_BELOW_C = 25.0  # chosen: melted stock left in a bowl thickens from about 27 °C and is firm a few degrees lower
SEED_MELT_S = 180.0  # chosen: a piece of seed needs minutes to follow the bowl, stirred

SOLID_FAT = Figure(
    "solid share of cocoa butter at 30 °C",
    0.45,
    "",
    MEMORY,
    "Ghana, Shukla; 20 °C 0.76, 35 °C 0.01; between the points a smooth falling curve, good to about a tenth",
)
# Solid share of cocoa butter (Ghana, Shukla, from memory): °C and share. Nothing is solid from 36 °C on.
SOLID_C = (20.0, 25.0, 30.0, 35.0, 36.0)
SOLID_SHARE = (0.76, 0.70, SOLID_FAT.value, 0.01, 0.0)


def _end_slope(h0: float, h1: float, rise0: float, rise1: float) -> float:
    """Slope at an end of the curve: three points, held to the sign of the first rise (Fritsch & Butland 1984)."""
    slope = ((2.0 * h0 + h1) * rise0 - h0 * rise1) / (h0 + h1)
    if slope * rise0 <= 0.0:
        return 0.0
    return 3.0 * rise0 if rise0 * rise1 <= 0.0 and abs(slope) > 3.0 * abs(rise0) else slope


def monotone_slopes(x: Sequence[float], y: Sequence[float]) -> tuple[float, ...]:
    """Slopes of the monotone cubic (PCHIP) through points of a falling or rising table (Fritsch & Butland 1984).

    A straight line between the table's points would overstate the solid share between 30 and 35 °C, and with it the
    seed by a tenth.
    """
    h = [right - left for left, right in pairwise(x)]
    rise = [(high - low) / width for (low, high), width in zip(pairwise(y), h, strict=True)]
    inner = []
    for (h0, h1), (d0, d1) in zip(pairwise(h), pairwise(rise), strict=True):
        w0, w1 = 2.0 * h1 + h0, h1 + 2.0 * h0
        inner.append(0.0 if d0 * d1 <= 0.0 else (w0 + w1) / (w0 / d0 + w1 / d1))
    return (_end_slope(h[0], h[1], rise[0], rise[1]), *inner, _end_slope(h[-1], h[-2], rise[-1], rise[-2]))


SOLID_SLOPE = monotone_slopes(SOLID_C, SOLID_SHARE)


def solid_share(temp_c: float) -> float:
    """Solid fat share of cocoa butter at rest: a monotone cubic through the table, level below its first point."""
    if temp_c <= SOLID_C[0]:
        return SOLID_SHARE[0]
    if temp_c >= SOLID_C[-1]:
        return 0.0
    at = bisect_right(SOLID_C, temp_c) - 1
    width = SOLID_C[at + 1] - SOLID_C[at]
    t = (temp_c - SOLID_C[at]) / width
    u = 1.0 - t
    return (
        (1.0 + 2.0 * t) * u * u * SOLID_SHARE[at]
        + t * t * (3.0 - 2.0 * t) * SOLID_SHARE[at + 1]
        + width * t * u * (u * SOLID_SLOPE[at] - t * SOLID_SLOPE[at + 1])
    )


def molten_share(temp_c: float, milk_fat_k: float = 0.0) -> float:
    """Share of its latent heat that seed stored at 20 °C has taken up at a temperature.

    Milk fat moves the melting range down by `milk_fat_k`.
    """
    return max(0.0, 1.0 - solid_share(temp_c + milk_fat_k) / solid_share(SOLID_C[0] + milk_fat_k))


def specific_heat_j_per_kgk(temp_c: float, temper_j_per_kg: float) -> float:
    """Apparent specific heat: that of the liquid, and the latent heat of the temper spread over 28-34 °C."""
    if not TEMPER_LOW_C < temp_c < TEMPER_HIGH_C:
        return CHOCOLATE_J_PER_KGK
    part = (temp_c - TEMPER_LOW_C) / (TEMPER_HIGH_C - TEMPER_LOW_C)
    return CHOCOLATE_J_PER_KGK + temper_j_per_kg * 6.0 * part * (1.0 - part) / (TEMPER_HIGH_C - TEMPER_LOW_C)


def enthalpy_j_per_kg(temp_c: float, temper_j_per_kg: float) -> float:
    """Integral of `specific_heat_j_per_kgk` from 0 °C."""
    part = min(1.0, max(0.0, (temp_c - TEMPER_LOW_C) / (TEMPER_HIGH_C - TEMPER_LOW_C)))
    return CHOCOLATE_J_PER_KGK * temp_c + temper_j_per_kg * part * part * (3.0 - 2.0 * part)


def temperature_c(enthalpy: float, temper_j_per_kg: float) -> float:
    """The temperature of a given enthalpy (J/kg): Newton on a rising curve, from the sensible part."""
    temp_c = (enthalpy - 0.5 * temper_j_per_kg) / CHOCOLATE_J_PER_KGK
    for _ in range(60):
        error = enthalpy_j_per_kg(temp_c, temper_j_per_kg) - enthalpy
        if abs(error) < 1e-6:
            break
        temp_c -= error / max(specific_heat_j_per_kgk(temp_c, temper_j_per_kg), CHOCOLATE_J_PER_KGK)
    return temp_c


@dataclass(frozen=True)
class HeatProperties:
    """How a kind of chocolate takes up heat: its latent heat, and how far milk fat lowers its melting range."""

    latent: Figure
    milk_fat_k: float = 0.0

    def molten_share(self, temp_c: float, stored_c: float) -> float:
        """Share of its latent heat that chocolate takes up from `stored_c` to `temp_c`; 0 when no warmer.

        The whole latent heat belongs to chocolate stored at 20 °C; warmer pieces have taken up a part of it already.
        """
        melted = solid_share(stored_c + self.milk_fat_k) - solid_share(temp_c + self.milk_fat_k)
        return max(0.0, melted / solid_share(SOLID_C[0] + self.milk_fat_k))

    def solid_at(self, temp_c: float) -> float:
        """Share of its crystals, as stored at 20 °C, that is still solid at a temperature."""
        return 1.0 - molten_share(temp_c, self.milk_fat_k)

    def figures(self) -> list[Figure]:
        """The figures its heat balance uses."""
        return [CP_SOLID, CP_LIQUID, self.latent, SOLID_FAT, *([MILK_FAT] if self.milk_fat_k else [])]


HEAT_PROPERTIES = {
    "dark": HeatProperties(LATENT_DARK),
    "milk": HeatProperties(LATENT_MILK, MILK_FAT.value),
    "white": HeatProperties(LATENT_WHITE, MILK_FAT.value),
    "ruby": HeatProperties(LATENT_WHITE, MILK_FAT.value),
    "caramelised_white": HeatProperties(LATENT_WHITE, MILK_FAT.value),
    "melted": HeatProperties(LATENT_ANY),
}
