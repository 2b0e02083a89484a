"""The search's bodies against figures from elsewhere: `iapws` for water, `ht` for films, and their own balance."""

from __future__ import annotations

import math
import random

import pytest
from ht import Nu_horizontal_plate_McAdams
from iapws import IAPWS95

from .search import air, rig
from .search.bowl import Bowl
from .search.catalogue import PLANTS
from .search.plants import LEAST_L

SEEDS = (1, 2, 3)


@pytest.mark.parametrize("temp_c", [20.0, 33.0, 45.0, 60.0])
def test_vapour_pressure_and_latent_heat_are_water_s(temp_c: float) -> None:
    """`iapws`: pressure within 0.7 %, latent heat within 2.5 % (one figure for 20 to 60 °C), heat capacity 0.2 %."""
    liquid, vapour = (IAPWS95(T=air.ZERO_C_K + temp_c, x=x) for x in (0, 1))
    assert air.vapour_pa(temp_c) == pytest.approx(1e6 * liquid.P, rel=0.007)
    assert pytest.approx(1000.0 * (vapour.h - liquid.h), rel=0.025) == air.LATENT_J_PER_KG
    assert pytest.approx(1000.0 * liquid.cp, rel=0.002) == air.WATER_J_PER_KGK


@pytest.mark.parametrize(("over_k", "size_m"), [(10.0, 0.1), (15.0, 0.24), (30.0, 0.3)])
def test_a_still_film_is_mcadams(over_k: float, size_m: float) -> None:
    """`ht`: Nu = 0.54 Ra^(1/4) for a warm face upward in air of 30 °C, within 10 %."""
    conductivity, viscosity, prandtl = 0.0265, 1.60e-5, 0.71  # air at 30 °C, one bar (`ht`'s own examples' range)
    grashof = 9.81 / (air.ZERO_C_K + 30.0) * over_k * size_m**3 / viscosity**2
    film = Nu_horizontal_plate_McAdams(prandtl, grashof, buoyancy=True) * conductivity / size_m
    if prandtl * grashof < 1e7:
        assert air.film_w_per_m2k(over_k, size_m, 0.0) == pytest.approx(film, rel=0.10)
    else:  # turbulent there: the search's film is the laminar one, within a third
        assert air.film_w_per_m2k(over_k, size_m, 0.0) == pytest.approx(film, rel=0.35)


@pytest.mark.parametrize(("water_c", "low", "high"), [(33.0, 265.0, 356.0), (45.0, 682.0, 868.0)])
def test_an_open_bath_evaporates_as_shah_and_ashrae_have_it(water_c: float, low: float, high: float) -> None:
    """Latent 265-356 W/m² at 33 °C and 682-868 at 45 °C, air of 20 °C and 50 % (computed from both correlations)."""
    assert low * 0.97 < air.latent_w_per_m2(water_c, 20.0, 0.5, 0.0) < high * 1.03


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", PLANTS)
def test_every_body_balances_its_heat(name: str, seed: int) -> None:
    """What it stores changes by what came, less what left: within 0.2 % of what came, acts included."""
    plant = PLANTS[name](random.Random(seed), 25.0, 28.0, 19.0)
    before_j, came_j = plant.stored_j(), 0.0
    for second in range(5000):
        heat_w = plant.heater_w if second % 3 else 0.0
        if plant.warmest_c > 60.0:
            heat_w = 0.0
        plant.step(1.0, heat_w)
        came_j += heat_w
        if second == 900:
            plant.pour_water(0.2, 15.0)
        if second == 1200:
            plant.pour_chocolate(0.3, 40.0)
        if second == 1500:
            plant.bowl.away = True
        if second == 2100:
            plant.bowl.away = False
            plant.stove_w = 50.0
        if second == 2400:
            plant.stove_w, plant.leak_l_per_s = 0.0, 2e-4
            plant.air_m_per_s = 0.5
    change_j = plant.stored_j() - before_j
    assert change_j == pytest.approx(came_j + plant.brought_j - plant.lost_j, abs=0.002 * came_j)
    assert plant.lost_j > 0.05 * came_j


def test_a_mat_of_200_w_warms_3_kg_of_water_as_the_sum_says() -> None:
    """A worked balance: 200 W x 60 s / (3 kg x 4180 J/kgK) = 0.957 K; mat and pan, which warm too, take their share."""
    plant = PLANTS["quilt"](random.Random(4), 20.0, 20.0, 20.0)
    plant.water_l, plant.bowl.away, plant.lid, plant.room_c = 3.0, True, True, 30.0
    for _ in range(900):
        plant.step(1.0, 200.0)
    before_c = plant.probe_c
    for _ in range(60):
        plant.step(1.0, 200.0)
    share = 3.0 * 4180.0 / (3.0 * 4180.0 + plant.mat_j_per_k + plant.pan_j_per_k)
    assert plant.probe_c - before_c == pytest.approx(0.957 * share, rel=0.02)


@pytest.mark.parametrize("name", PLANTS)
def test_every_body_survives_what_the_search_does_to_it(name: str) -> None:
    """Boiled dry, the bowl empty and all heat on: temperatures stay finite, and water is never less than none."""
    for seed in range(12):
        plant = PLANTS[name](random.Random(seed), 20.0, 20.0, 15.0)
        plant.water_l = LEAST_L if plant.liquid else plant.water_l
        plant.pour_chocolate(-10.0, 30.0)
        for second in range(1200):
            plant.step(1.0, plant.heater_w if second % 200 < 60 else 0.0)
            assert math.isfinite(plant.warmest_c + plant.bowl.probe_c)
            assert 14.0 < plant.bowl.probe_c < 600.0
        assert plant.water_l >= LEAST_L or not plant.liquid


def test_the_open_pan_needs_what_an_open_pan_needs() -> None:
    """51 to 92 W at 33 °C in a draught (measured on thin uncovered pots): the pans' middle lies there."""
    needs_w = []
    for seed in range(60):
        plant = PLANTS["pan"](random.Random(seed), 33.0, 31.0, 20.0)
        needs_w.append(rig.losses_w_per_k(plant) * (rig.WORKING_C - plant.room_c))
    needs_w.sort()
    assert 51.0 < needs_w[len(needs_w) // 2] < 92.0
    assert needs_w[0] > 25.0


def test_a_bowl_cools_as_a_full_steel_bowl_does() -> None:
    """2 kg in 0.6 kg of metal, 32 °C on a bench at 20 °C: 0.18 K/min within a half (computed from handbook films)."""
    bowl = Bowl(2.0, 0.6, 32.0, 300.0, 2, 3.0)
    bowl.away = True
    for _ in range(600):
        bowl.step(1.0, 20.0, 20.0, 0.0)
    assert 0.09 < (32.0 - bowl.mean_c) / 10.0 < 0.27


def test_bodies_differ_in_how_they_answer() -> None:
    """Two minutes of full heat, then none: how long until half of the rise at the probe has come."""
    half_s = {}
    for name in PLANTS:
        plant = PLANTS[name](random.Random(5), 30.0, 30.0, 20.0)
        rises = []
        for second in range(1200):
            plant.step(1.0, plant.heater_w if second < 120 else 0.0)
            rises.append(plant.probe_c - 30.0)
        top_k = max(rises)
        half_s[name] = next(at for at, rise in enumerate(rises) if rise >= 0.5 * top_k)
    assert max(half_s.values()) > 2 * min(half_s.values())
