"""A warmer that shares no code with the product: for checking a plan's times against physics from elsewhere.

Oracles: natural convection from `ht` (Churchill-Chu on upright walls, McAdams on level surfaces), evaporation by the
Chilton-Colburn analogy on the film over the water, vapour pressure and latent heat from `psychrolib` and a line of the
steam tables, and the stiff solver of `scipy`. Chocolate melts over a bell of temperatures instead of a table of solid
fat. Sizes and films are drawn at random from what homemade warmers have; all ranges are chosen, from memory of the
handbooks named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import psychrolib
from ht.conv_free_immersed import Nu_vertical_plate_Churchill
from scipy.integrate import solve_ivp

psychrolib.SetUnitSystem(psychrolib.SI)
SIGMA = 5.67e-8
FOAM_W_PER_MK = 0.035  # from memory: expanded polystyrene and its kind


@dataclass(frozen=True)
class OwnWarmer:
    """One warmer of its own: m, kg, W, W/m²·K, J/kg·K."""

    heater_w: float
    water_kg: float
    pot_m: float
    water_m: float
    open_share: float
    bowl_m: float
    bowl_kg: float
    chocolate_kg: float
    water_film: float
    rest_film: float
    stirred_film: float
    stirred: float
    cp_solid: float
    cp_liquid: float
    latent: float
    melts_at_c: float
    melts_over_c: float
    draught: float
    pot_steel_kg: float
    room_c: float
    humidity: float
    foam_m: float = 0.0  # round the pot
    plate: bool = False  # the bowl stands dry on metal: no vapour, and only its base is warmed


def drawn(rng: np.random.Generator, heater_w: float, litres: float, bowl_kg: float, chocolate_kg: float,
          full_kg: float) -> OwnWarmer:
    """A warmer that somebody built from a heater, some litres and a bowl."""
    bowl_m = 0.24 * (full_kg / 2.0) ** (1 / 3) * rng.uniform(0.92, 1.08)
    pot_m = bowl_m * rng.uniform(1.05, 1.35)
    return OwnWarmer(
        heater_w=heater_w * rng.uniform(0.96, 1.04),
        water_kg=litres * rng.uniform(0.93, 1.07),
        pot_m=pot_m,
        water_m=rng.uniform(0.06, 0.11),
        open_share=rng.uniform(0.1, 0.7),
        bowl_m=bowl_m,
        bowl_kg=bowl_kg * rng.uniform(0.9, 1.1),
        chocolate_kg=chocolate_kg,
        water_film=rng.uniform(180.0, 400.0),
        rest_film=rng.uniform(45.0, 80.0),
        stirred_film=rng.uniform(90.0, 160.0),
        stirred=rng.uniform(0.3, 0.7),
        cp_solid=rng.uniform(1500.0, 1680.0),
        cp_liquid=rng.uniform(1600.0, 1740.0),
        latent=rng.uniform(40e3, 50e3),
        melts_at_c=rng.uniform(29.5, 32.5),
        melts_over_c=rng.uniform(2.0, 3.5),
        draught=rng.uniform(0.9, 1.5),
        pot_steel_kg=rng.uniform(0.5, 1.4),
        room_c=20.0,
        humidity=rng.uniform(0.4, 0.6),
    )


def foamed(rng: np.random.Generator, w: OwnWarmer) -> OwnWarmer:
    """The same in foam, its water covered but for a gap."""
    return replace(w, foam_m=rng.uniform(0.007, 0.013), open_share=rng.uniform(0.03, 0.25))


def on_a_plate(rng: np.random.Generator, w: OwnWarmer) -> OwnWarmer:
    """The same on a plate: an air gap of 0.1 to 0.2 mm (air 0.026 W/m·K) under the bowl."""
    return replace(w, plate=True, water_m=rng.uniform(0.01, 0.03), water_film=0.026 / rng.uniform(1e-4, 2e-4),
                   open_share=1.0, pot_m=rng.uniform(0.24, 0.28), pot_steel_kg=0.0)


def _air_film(surface_c: float, room_c: float, length_m: float, upright: bool) -> float:
    """Natural convection in air near 300 K, W/m²·K."""
    rise_k = max(0.5, abs(surface_c - room_c))
    grashof = 9.81 * rise_k / 300.0 * length_m**3 / (1.57e-5) ** 2
    nusselt = Nu_vertical_plate_Churchill(0.71, grashof) if upright else 0.54 * (0.71 * grashof) ** 0.25
    return float(nusselt) * 0.0262 / length_m


def _radiation(surface_c: float, room_c: float, emissivity: float) -> float:
    a, b = surface_c + 273.15, room_c + 273.15
    return emissivity * SIGMA * (a + b) * (a * a + b * b)


def _vapour_w_per_m2(w: OwnWarmer, water_c: float, film: float) -> float:
    """Chilton-Colburn: mass follows heat with a Lewis number of 0.87, on vapour densities."""
    gas_j_per_kgk = 461.5
    over = psychrolib.GetSatVapPres(water_c) / (gas_j_per_kgk * (water_c + 273.15))
    far = w.humidity * psychrolib.GetSatVapPres(w.room_c) / (gas_j_per_kgk * (w.room_c + 273.15))
    speed = film / (1.19 * 1006.0 * 0.87 ** (2.0 / 3.0))
    return max(0.0, speed * (over - far)) * (2501e3 - 2360.0 * water_c)


def _chocolate_cp(w: OwnWarmer, temp_c: float) -> float:
    bell = math.exp(-0.5 * ((temp_c - w.melts_at_c) / w.melts_over_c) ** 2) / (w.melts_over_c * math.sqrt(2 * math.pi))
    liquid = 1.0 / (1.0 + math.exp(-(temp_c - w.melts_at_c)))
    return w.cp_solid + (w.cp_liquid - w.cp_solid) * liquid + w.latent * bell


def melting_s(w: OwnWarmer, water_c: float, melt_c: float, fill_c: float | None = None) -> float:
    """Seconds at full heat until the chocolate is at `melt_c`, the bath held at `water_c`; infinite if not in 12 h.

    The bath is filled at `fill_c`, or at the room's temperature.
    """
    base = math.pi / 4.0 * w.bowl_m**2
    pot = math.pi / 4.0 * w.pot_m**2
    sunk = 0.0 if w.plate else 0.6
    wetted = base + math.pi * w.bowl_m * sunk * 0.36 * w.bowl_m
    dry = math.pi * w.bowl_m * (1.0 - sunk) * 0.36 * w.bowl_m
    depth = min(0.36 * w.bowl_m, w.chocolate_kg / 1250.0 / base)
    inside = base + math.pi * w.bowl_m * depth
    film = 1.0 / (w.stirred / w.stirred_film + (1.0 - w.stirred) / w.rest_film)
    film = 0.5 * (film + w.stirred * w.stirred_film + (1.0 - w.stirred) * w.rest_film)  # between the two means

    def rates(_: float, y: np.ndarray) -> list[float]:
        bath, wall, chocolate = y
        over_water = w.draught * _air_film(bath, w.room_c, w.pot_m / 4.0, False)
        side = w.draught * _air_film(bath, w.room_c, w.water_m, True) + _radiation(bath, w.room_c, 0.25)
        side = 1.0 / (1.0 / side + w.foam_m / FOAM_W_PER_MK)
        open_m2 = w.open_share * max(0.0, pot - base)
        bath_w = (side * math.pi * w.pot_m * w.water_m + 2.0 * pot) * (bath - w.room_c)
        bath_w += open_m2 * (over_water + _radiation(bath, w.room_c, 0.95)) * (bath - w.room_c)
        bath_w += 0.0 if w.plate else open_m2 * _vapour_w_per_m2(w, bath, over_water)
        wall_film = w.draught * _air_film(wall, w.room_c, 0.36 * w.bowl_m, True) + _radiation(wall, w.room_c, 0.2)
        top = w.draught * _air_film(chocolate, w.room_c, w.bowl_m / 4.0, False) + _radiation(chocolate, w.room_c, 0.93)
        into_wall = w.water_film * wetted * (bath - wall)
        into_chocolate = film * inside * (wall - chocolate)
        need_w = bath_w + into_wall
        power_w = w.heater_w if bath < water_c else min(w.heater_w, max(0.0, need_w))
        return [
            (power_w - bath_w - into_wall) / (w.water_kg * 4180.0 + w.pot_steel_kg * 490.0),
            (into_wall - into_chocolate - wall_film * dry * (wall - w.room_c)) / (w.bowl_kg * 490.0),
            (into_chocolate - top * base * (chocolate - w.room_c)) / (w.chocolate_kg * _chocolate_cp(w, chocolate)),
        ]

    def melted(_: float, y: np.ndarray) -> float:
        return float(y[2] - melt_c)

    melted.terminal = True
    start = [w.room_c if fill_c is None else fill_c, w.room_c, w.room_c]
    solved = solve_ivp(rates, (0.0, 12 * 3600.0), start, method="LSODA", events=melted, max_step=60.0, rtol=1e-5)
    return float(solved.t_events[0][0]) if solved.t_events[0].size else math.inf
