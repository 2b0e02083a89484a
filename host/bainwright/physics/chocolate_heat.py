"""How much heat chocolate holds: its liquid, the small crystal of a temper, and solid seed melting into it."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

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
TEMPER_LOW_C, TEMPER_HIGH_C = 28.0, 34.0  # a temper's crystal melts over this range (Schenk & Peschar: 26 to 34)
SEED_MELT_S = 180.0  # time a piece of seed needs to follow, chosen: minutes, stirred

# Solid share of cocoa butter (Ghana, Shukla, from memory): °C and share.
SOLID_C = (20.0, 25.0, 30.0, 35.0, 36.0)
SOLID_SHARE = (0.76, 0.70, 0.45, 0.01, 0.0)


def solid_share(temp_c: float) -> float:
    """Solid fat share of cocoa butter at rest, linear between the table's points."""
    if temp_c <= SOLID_C[0]:
        return SOLID_SHARE[0]
    if temp_c >= SOLID_C[-1]:
        return 0.0
    at = bisect_right(SOLID_C, temp_c)
    low_c, high_c = SOLID_C[at - 1], SOLID_C[at]
    part = (temp_c - low_c) / (high_c - low_c)
    return SOLID_SHARE[at - 1] * (1.0 - part) + SOLID_SHARE[at] * part


def molten_share(temp_c: float, milk_fat_k: float = 0.0) -> float:
    """Share of its latent heat that seed stored at 20 °C takes up on reaching a temperature.

    Milk fat moves the table down by some kelvins.
    """
    return max(0.0, 1.0 - solid_share(temp_c + milk_fat_k) / solid_share(SOLID_C[0] + milk_fat_k))


def specific_heat_j_per_kgk(temp_c: float, temper_j_per_kg: float) -> float:
    """Apparent specific heat: the liquid's, and the temper's latent heat spread over 28-34 °C."""
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


SOLID_FAT = Figure("solid share of cocoa butter at 30 °C", 0.45, "", MEMORY, "Ghana, Shukla; 20 °C 0.76, 35 °C 0.01")


@dataclass(frozen=True)
class HeatProperties:
    """How a kind of chocolate takes up heat: its latent heat, and how far milk fat lowers its melting range."""

    latent: Figure
    milk_fat_k: float = 0.0

    def molten_share(self, temp_c: float, stored_c: float) -> float:
        """Share of its latent heat that chocolate stored at `stored_c` has taken up at `temp_c`; 0 when no warmer."""
        stored = solid_share(stored_c + self.milk_fat_k)
        if stored <= 0.0:
            return 1.0
        return max(0.0, 1.0 - solid_share(temp_c + self.milk_fat_k) / stored)

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
