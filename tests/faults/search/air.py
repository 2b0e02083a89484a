"""What warm water, metal and chocolate lose to the air of a kitchen: films, radiation and evaporation. Pure.

Figures carry their source. `test_plants.py` checks them against `iapws` and `ht`.
"""

from math import exp

WATER_J_PER_KGK = 4180.0  # 20 to 50 °C (IAPWS-IF97)
LATENT_J_PER_KG = 2.41e6  # evaporation at 38 °C (IAPWS-IF97: 2.411e6)
STEFAN_W_PER_M2K4 = 5.670e-8
ZERO_C_K = 273.15
WATER_EMISSIVITY = 0.95  # from memory
STEEL_EMISSIVITY = 0.2  # from memory


def vapour_pa(temp_c: float) -> float:
    """Saturation pressure over water (Magnus, 611.2 Pa, 17.62, 243.12)."""
    return 611.2 * exp(17.62 * temp_c / (243.12 + temp_c))


def latent_w_per_m2(water_c: float, room_c: float, humidity: float, air_m_per_s: float) -> float:
    """Heat that evaporation takes: (0.089 + 0.0782 v) W/m²Pa (Carrier 1918, as ASHRAE gives it; from memory)."""
    excess_pa = vapour_pa(water_c) - humidity * vapour_pa(room_c)
    return (0.089 + 0.0782 * air_m_per_s) * max(0.0, excess_pa)


def film_w_per_m2k(over_k: float, size_m: float, air_m_per_s: float) -> float:
    """Air's film over a warm face, 1.32 (dT / L)^(1/4) (laminar, upward; Holman's table, from memory), and a draught.

    The draught adds 3.8 W/m²K for each m/s (Jürges 1924, from memory).
    """
    still = 1.32 * (abs(over_k) / size_m) ** 0.25
    return still + 3.8 * air_m_per_s


def dry_w_per_m2(face_c: float, room_c: float, size_m: float, air_m_per_s: float, emissivity: float) -> float:
    """Heat that a face loses by convection and radiation."""
    over_k = face_c - room_c
    mean_k = ZERO_C_K + 0.5 * (face_c + room_c)
    radiated = 4.0 * emissivity * STEFAN_W_PER_M2K4 * mean_k * mean_k * mean_k
    return (film_w_per_m2k(over_k, size_m, air_m_per_s) + radiated) * over_k
