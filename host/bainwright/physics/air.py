"""Heat and vapour that leave warm surfaces to still air: pure functions of temperatures and sizes."""

from __future__ import annotations

import math

from bainwright.physics.materials import (
    AIR_GAS_J_PER_KGK,
    AIR_J_PER_KGK,
    GRAVITY_M_PER_S2,
    KELVIN,
    MAGNUS_C,
    MAGNUS_PA,
    MAGNUS_SLOPE,
    PRESSURE_PA,
    STEFAN_BOLTZMANN_W_PER_M2K4,
)

# Leading numbers of Nu = C Ra^(1/4): McAdams for a plate facing up (warm), the same plate colder than the air, and a
# vertical wall; laminar range, Ra 1e4 to 1e9.
WARM_UP, COLD_UP, UPRIGHT = 0.54, 0.27, 0.59



def air_viscosity_pa_s(temp_c: float) -> float:
    """Dynamic viscosity of air (Sutherland; US Standard Atmosphere 1976, eq. 51)."""
    temp_k = temp_c + KELVIN
    return 1.458e-6 * temp_k * math.sqrt(temp_k) / (temp_k + 110.4)


def air_conductivity_w_per_mk(temp_c: float) -> float:
    """Thermal conductivity of air (US Standard Atmosphere 1976, eq. 53)."""
    temp_k = temp_c + KELVIN
    return 2.64638e-3 * temp_k * math.sqrt(temp_k) / (temp_k + 245.4 * math.pow(10.0, -12.0 / temp_k))


def rayleigh(surface_c: float, room_c: float, length_m: float) -> float:
    """Rayleigh number of air at film temperature beside a surface of the given length."""
    film_c = 0.5 * (surface_c + room_c)
    film_k = film_c + KELVIN
    density = PRESSURE_PA / (AIR_GAS_J_PER_KGK * film_k)
    viscosity = air_viscosity_pa_s(film_c)
    diffusivity = air_conductivity_w_per_mk(film_c) / (density * AIR_J_PER_KGK)
    buoyancy = GRAVITY_M_PER_S2 * abs(surface_c - room_c) / film_k
    return buoyancy * length_m**3 * density / (viscosity * diffusivity)


def convection_w_per_m2k(surface_c: float, room_c: float, length_m: float, shape: float) -> float:
    """Film coefficient of natural convection, Nu = shape Ra^(1/4).

    Parameters
    ----------
    surface_c, room_c : float
        Surface and air temperature, °C.
    length_m : float
        Area over perimeter for a level surface, height for an upright one.
    shape : float
        `WARM_UP`, `COLD_UP` or `UPRIGHT`.
    """
    nusselt = shape * math.sqrt(math.sqrt(rayleigh(surface_c, room_c, length_m)))
    return nusselt * air_conductivity_w_per_mk(0.5 * (surface_c + room_c)) / length_m


def top_convection_w_per_m2k(surface_c: float, room_c: float, diameter_m: float) -> float:
    """Film coefficient over a round level surface open to the air."""
    shape = WARM_UP if surface_c >= room_c else COLD_UP
    return convection_w_per_m2k(surface_c, room_c, diameter_m / 4.0, shape)


def radiation_w_per_m2k(surface_c: float, room_c: float, emissivity: float) -> float:
    """Radiation to a room at air temperature as a film coefficient: exact, not linearised about one point."""
    a, b = surface_c + KELVIN, room_c + KELVIN
    return emissivity * STEFAN_BOLTZMANN_W_PER_M2K4 * (a + b) * (a * a + b * b)


def saturation_pa(temp_c: float) -> float:
    """Saturation vapour pressure over water in Magnus form."""
    return MAGNUS_PA * math.exp(MAGNUS_SLOPE * temp_c / (MAGNUS_C + temp_c))


def latent_j_per_kg(temp_c: float) -> float:
    """Latent heat of evaporation of water; a line through 2500.9 kJ/kg at 0 °C and 2382 kJ/kg at 50 °C (IAPWS)."""
    return 2500.9e3 - 2378.0 * temp_c


def evaporation_kg_per_m2s(water_c: float, room_c: float, humidity: float, pressure_pa: float = PRESSURE_PA) -> float:
    """Water leaving a still open surface (ASHRAE, pools: 0.089 dp / h_fg with dp in kPa, h_fg in kJ/kg).

    In thinner air vapour diffuses faster, in proportion to 1 / pressure (kinetic theory, from memory). Never negative:
    what condenses on a bath colder than the dew point is left out.
    """
    drive_kpa = (saturation_pa(water_c) - humidity * saturation_pa(room_c)) / 1000.0
    thin = PRESSURE_PA / pressure_pa
    return max(0.0, 0.089 * thin * drive_kpa / (latent_j_per_kg(water_c) / 1000.0))
