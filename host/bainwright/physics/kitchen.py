"""The room a batch is worked in: dew point, dampness, boiling point, and the effect of warmth on food and flow."""

from __future__ import annotations

import math

from bainwright.core.errors import UseError
from bainwright.core.figures import MEMORY, PRACTICE, READ, Figure
from bainwright.physics.air import saturation_pa
from bainwright.physics.materials import GAS_J_PER_MOLK, KELVIN, MAGNUS_C, MAGNUS_PA, MAGNUS_SLOPE, PRESSURE_PA

ROOM_LOW_C, ROOM_HIGH_C = 18.0, 22.0  # common practice, no source
DRY_ENOUGH, TOO_DAMP = 0.50, 0.60  # relative humidity; common practice, no source
CENTRE_LOW_C, CENTRE_HIGH_C = 20.0, 25.0  # common practice, no source
THICKENS_FROM, SEIZES_FROM = (0.005, 0.01), (0.015, 0.03)  # share of water stirred into chocolate; from memory
WATER_ACTIVITY = 0.4  # of chocolate (Beckett, constants table, 4th ed.; read)
GROWTH_FROM = 0.60  # water activity below which nothing grows (Beuchat 1983, from memory)
TOXIN_FROM = 0.85  # water activity below which nothing makes toxin (21 CFR 114.3, from memory)
FLOW_J_PER_MOL = (32.5e3, 39.6e3)  # activation energy of chocolate's viscosity, 25-45 °C (Lee 2024)
D50_MIN, Z_K = 1574.0, 14.0  # dark chocolate (Krapf & Gantenbein-Demarchi 2010, LWT 43(4) 720-723; read)
ALTITUDE_LOW_M, ALTITUDE_HIGH_M = -430.0, 5500.0  # the Dead Sea's shore to above the highest town

ROOM_FIGURES = [
    Figure("room to work in, at most", ROOM_HIGH_C, "°C", PRACTICE, "18 to 22 °C"),
    Figure("humidity of the room, at most", 100 * TOO_DAMP, "%", PRACTICE, "better under 50 %"),
    Figure(
        "humidity above which dark chocolate takes up water",
        82.0,
        "%",
        MEMORY,
        "82 to 85 %, milk 78 %; believed to stand in Beckett's chapter on storage",
    ),
    Figure("centres to dip, at least", CENTRE_LOW_C, "°C", PRACTICE, "20 to 25 °C"),
    Figure("water in chocolate that thickens it, from", 100 * THICKENS_FROM[0], "%", MEMORY, "0.5 to 1 %"),
    Figure("water in chocolate that makes it seize, from", 100 * SEIZES_FROM[0], "%", MEMORY, "1.5 to 3 %"),
    Figure("water activity of chocolate", WATER_ACTIVITY, "", READ, "Beckett, constants table, 4th ed."),
    Figure("water activity below which nothing grows", GROWTH_FROM, "", MEMORY, "Beuchat 1983"),
    Figure("water activity below which nothing makes toxin", TOXIN_FROM, "", MEMORY, "21 CFR 114.3"),
    Figure(
        "time at 50 °C in which germs in dark chocolate fall to a tenth",
        D50_MIN,
        "min",
        READ,
        "Krapf & Gantenbein-Demarchi 2010, LWT 43(4) 720-723; ten times longer for each 14 °C less",
    ),
]

# IAPWS-IF97, region 4, the equation of the saturation line solved for temperature (eq. 31, table 34).
_IF97 = (
    1167.0521452767,
    -724213.16703206,
    -17.073846940092,
    12020.824702470,
    -3232555.0322333,
    14.915108613530,
    -4823.2657361591,
    405113.40542057,
    -0.23855557567849,
    650.17534844798,
)


def dew_point_c(temp_c: float, humidity: float) -> float:
    """Temperature at which the room's air sheds water (Magnus form, 611.2 Pa, 17.62, 243.12 °C)."""
    log = math.log(humidity * saturation_pa(temp_c) / MAGNUS_PA)
    return MAGNUS_C * log / (MAGNUS_SLOPE - log)


def pressure_pa(altitude_m: float) -> float:
    """Air pressure at an altitude (US Standard Atmosphere 1976, below 11 km).

    Raises
    ------
    UseError
        For an altitude where nobody has a kitchen.
    """
    if not ALTITUDE_LOW_M <= altitude_m <= ALTITUDE_HIGH_M:  # NaN fails too
        raise UseError(
            "--altitude",
            got=f"{altitude_m:g} m",
            wanted=f"{ALTITUDE_LOW_M:g} to {ALTITUDE_HIGH_M:g} m",
            hint="metres above the sea; 1 ft is 0.3048 m",
        )
    return float(PRESSURE_PA * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)


def boiling_c(altitude_m: float) -> float:
    """Boiling point of water at an altitude, at standard pressure."""
    return boiling_at_c(pressure_pa(altitude_m))


def boiling_at_c(air_pa: float) -> float:
    """Boiling point of water at an air pressure, Pa: IAPWS-IF97's saturation line."""
    beta = math.sqrt(math.sqrt(air_pa / 1e6))
    n = _IF97
    e = beta * beta + n[2] * beta + n[5]
    f = n[0] * beta * beta + n[3] * beta + n[6]
    g = n[1] * beta * beta + n[4] * beta + n[7]
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    return 0.5 * (n[9] + d - math.sqrt((n[9] + d) ** 2 - 4.0 * (n[8] + n[9] * d))) - KELVIN


def thicker_by(warm_c: float, cool_c: float) -> tuple[float, float]:
    """How many times thicker a melt is at `cool_c` than at `warm_c`, before any crystal forms: least and most."""
    step = (1.0 / (cool_c + KELVIN) - 1.0 / (warm_c + KELVIN)) / GAS_J_PER_MOLK
    least, most = (math.exp(energy * step) for energy in FLOW_J_PER_MOL)
    return least, most


def tenfold_min(temp_c: float) -> float:
    """Minutes in which germs in dark chocolate fall to a tenth: days, at any temperature a bowl is held at."""
    return float(D50_MIN * 10.0 ** ((50.0 - temp_c) / Z_K))


def room_cautions(temp_c: float, humidity: float, centre_c: float | None) -> list[str]:
    """What is wrong with the room, in words without units of temperature; empty when it suits the work."""
    said = []
    if temp_c > ROOM_HIGH_C:
        said.append(
            "The room is warm for this work: pieces set slowly and may bloom. Cool it, or work at a cooler hour."
        )
    if temp_c < ROOM_LOW_C:
        said.append("The room is cold for this work: the bowl's top and rim set early and the water has to be warmer.")
    if humidity > TOO_DAMP:
        said.append("The room is too damp: moisture on a piece dissolves sugar and leaves a grey film. Dry it first.")
    elif humidity > DRY_ENOUGH:
        said.append("The room is on the damp side; under half humidity is better.")
    if centre_c is not None and centre_c <= dew_point_c(temp_c, humidity):
        said.append(
            "The centres are colder than the dew point: they sweat, and water thickens chocolate. "
            "Let them come to the room, wrapped, before you dip."
        )
    elif centre_c is not None and centre_c < CENTRE_LOW_C:
        said.append("The centres are on the cold side: the shell sets in a shock, dulls, and cracks as they warm up.")
    elif centre_c is not None and centre_c > CENTRE_HIGH_C:
        said.append("The centres are on the warm side: they soften, and keep the shell from setting.")
    return said
