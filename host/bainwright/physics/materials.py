"""Properties of matter: the one home of every physical constant the host computes with, each with unit and source.

Figures that a plan shows to its reader are `Figure`; the rest are plain numbers. Tests that are an oracle of their own
write their values out again, on purpose.
"""

from __future__ import annotations

from bainwright.core.figures import CHOSEN, MEMORY, READ, Figure

_BECKETT = "Beckett, constants table, 4th ed."

# -- chocolate -------------------------------------------------------------------------------------------------------

CP_SOLID = Figure("specific heat of chocolate, 15-40 °C", 1590.0, "J/kg·K", READ, _BECKETT)
CP_LIQUID = Figure("specific heat of chocolate, melted", 1670.0, "J/kg·K", READ, f"{_BECKETT}, 40-60 °C")
LATENT_DARK = Figure("latent heat of dark chocolate", 46e3, "J/kg", READ, _BECKETT)
LATENT_MILK = Figure("latent heat of milk chocolate", 44e3, "J/kg", READ, _BECKETT)
LATENT_WHITE = Figure("latent heat of white chocolate", 43e3, "J/kg", MEMORY, "40 to 46 kJ/kg; the middle is chosen")
LATENT_ANY = Figure(
    "latent heat, kind not known", 46e3, "J/kg", CHOSEN, "that of dark, the highest, so that no melt is under-estimated"
)
MELTS_OUT = Figure(
    "melting point of cocoa butter, form V", 33.8, "°C", READ, "Wille & Lutton 1966; between authors about 30 to 34"
)
MILK_FAT = Figure("milk fat lowers the melting range by", 2.0, "°C", MEMORY, "1 to 3 °C; the middle is chosen")
CHOCOLATE_KG_PER_M3 = 1240.0  # between 1300 solid and 1200 at 40 °C (Beckett, constants table, 4th ed.)

# -- water -----------------------------------------------------------------------------------------------------------

WATER_J_PER_KGK = 4180.0  # 20-45 °C within 0.2 % (IAPWS)
WATER_KG_PER_L = 0.9957  # at 30 °C (IAPWS)
WATER_J_PER_LK = 4180.0  # one litre: 4162 at 30 °C, rounded up as the board's own figure is (control.rules)

# -- vessels ---------------------------------------------------------------------------------------------------------

STEEL_J_PER_KGK = 500.0  # stainless steel, from memory
INSULATION_W_PER_MK = 0.035  # foam, from memory
STEEL_EMISSIVITY = 0.2  # clean stainless steel, from memory
SURFACE_EMISSIVITY = 0.95  # chocolate and water, from memory

# -- air, vapour and the universal constants ---------------------------------------------------------------------------

KELVIN = 273.15  # 0 °C in K, exact
GRAVITY_M_PER_S2 = 9.80665  # standard gravity, exact
STEFAN_BOLTZMANN_W_PER_M2K4 = 5.670374e-8  # CODATA 2018
GAS_J_PER_MOLK = 8.314462618  # exact in the SI
PRESSURE_PA = 101325.0  # standard atmosphere, exact
AIR_GAS_J_PER_KGK = 287.053  # dry air, US Standard Atmosphere 1976
AIR_J_PER_KGK = 1006.0  # dry air near 300 K, from memory (standard tables: 1005-1007)
MAGNUS_PA, MAGNUS_SLOPE, MAGNUS_C = 611.2, 17.62, 243.12  # saturation over water: Pa, ratio, °C (WMO Guide No. 8)
