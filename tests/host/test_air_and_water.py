"""Air, vapour and water of the simulated warmer against reference libraries."""

from __future__ import annotations

import psychrolib
import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from ht.conv_free_immersed import (
    Nu_free_vertical_plate,
    Nu_horizontal_plate_McAdams,
    Nu_vertical_cylinder_McAdams_Weiss_Saunders,
)
from iapws import IAPWS97

from bainwright.physics import air, materials


@pytest.mark.parametrize("temp_c", [0.0, 20.0, 40.0, 60.0])
def test_air_properties_are_those_of_the_standard_atmosphere(temp_c):
    """Oracle: fluids' US Standard Atmosphere 1976, 0.1 %."""
    kelvin = temp_c + 273.15
    assert air.air_viscosity_pa_s(temp_c) == pytest.approx(ATMOSPHERE_1976.viscosity(kelvin), rel=1e-3)
    expected = ATMOSPHERE_1976.thermal_conductivity(kelvin)
    assert air.air_conductivity_w_per_mk(temp_c) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(("surface_c", "diameter_m"), [(25.0, 0.3), (32.0, 0.24), (45.0, 0.2), (60.0, 0.12)])
def test_convection_over_a_warm_bowl_is_mcadams(surface_c, diameter_m):
    """Oracle: ht's McAdams plate with air of Pr 0.707 (from memory); 2 % for our own air properties."""
    length_m = diameter_m / 4
    grashof = air.rayleigh(surface_c, 20.0, length_m) / 0.707
    expected = Nu_horizontal_plate_McAdams(0.707, grashof, buoyancy=True)
    k_air = air.air_conductivity_w_per_mk(0.5 * (surface_c + 20.0))
    ours = air.top_convection_w_per_m2k(surface_c, 20.0, diameter_m) * length_m / k_air
    assert ours == pytest.approx(expected, rel=0.02)


def test_convection_over_a_surface_colder_than_the_room_is_half():
    """Oracle: ht's McAdams plate without buoyancy's help, 2 %."""
    grashof = air.rayleigh(12.0, 20.0, 0.06) / 0.707
    k_air = air.air_conductivity_w_per_mk(16.0)
    ours = air.top_convection_w_per_m2k(12.0, 20.0, 0.24) * 0.06 / k_air
    assert ours == pytest.approx(Nu_horizontal_plate_McAdams(0.707, grashof, buoyancy=False), rel=0.02)


@pytest.mark.parametrize(("surface_c", "height_m"), [(25.0, 0.08), (32.0, 0.09), (45.0, 0.15)])
def test_convection_along_a_wall_is_between_two_correlations(surface_c, height_m):
    """Oracles: ht's McAdams-Weiss-Saunders, the same law, 2 %; ht's Churchill plate, another fit to data, 15 %."""
    grashof = air.rayleigh(surface_c, 20.0, height_m) / 0.707
    k_air = air.air_conductivity_w_per_mk(0.5 * (surface_c + 20.0))
    ours = air.convection_w_per_m2k(surface_c, 20.0, height_m, air.UPRIGHT) * height_m / k_air
    assert ours == pytest.approx(Nu_vertical_cylinder_McAdams_Weiss_Saunders(0.707, grashof), rel=0.02)
    assert ours == pytest.approx(Nu_free_vertical_plate(0.707, grashof), rel=0.15)


@pytest.mark.parametrize("temp_c", [9.26, 20.0, 33.0, 45.0, 50.0])
def test_saturation_pressure_agrees_with_psychrolib(temp_c):
    """Oracle: psychrolib (ASHRAE 2017, SI), 0.5 %."""
    assert air.saturation_pa(temp_c) == pytest.approx(psychrolib.GetSatVapPres(temp_c), rel=5e-3)


def test_dew_point_of_a_half_moist_room_is_where_evaporation_ends():
    """Oracle: psychrolib's dew point at 20 °C and 50 %, 9.3 °C; a colder bath does not evaporate, a warmer one does."""
    dew_c = psychrolib.GetTDewPointFromRelHum(20.0, 0.5)
    assert air.evaporation_kg_per_m2s(dew_c - 0.1, 20.0, 0.5) == 0.0
    assert air.evaporation_kg_per_m2s(dew_c + 0.1, 20.0, 0.5) > 0.0


@pytest.mark.parametrize(
    ("water_c", "ashrae", "shah_low", "shah_high"), [(33.0, 0.51, 0.39, 0.44), (45.0, 1.126, 1.03, 1.16)]
)
def test_open_water_evaporates_as_ashrae_says(water_c, ashrae, shah_low, shah_high):
    """kg/m²h at 20 °C, 50 %. ASHRAE's pool formula within 1 % (its 45 °C figure computed on one from memory).

    Shah's analogy, another author: ours is within a third of his span.
    """
    ours = 3600.0 * air.evaporation_kg_per_m2s(water_c, 20.0, 0.5)
    assert ours == pytest.approx(ashrae, rel=0.01)
    assert shah_low / 1.33 < ours < shah_high * 1.33


def test_latent_heat_is_that_of_steam_tables():
    """Oracle: IAPWS-97, hg - hf at saturation, 0.1 % from 20 to 50 °C."""
    for temp_c in (20.0, 33.0, 50.0):
        kelvin = temp_c + 273.15
        steam = (IAPWS97(T=kelvin, x=1).h - IAPWS97(T=kelvin, x=0).h) * 1000.0
        assert air.latent_j_per_kg(temp_c) == pytest.approx(steam, rel=1e-3)


def test_water_is_that_of_steam_tables():
    """Oracle: IAPWS-97 at 0.101325 MPa: specific heat 0.2 % from 20 to 45 °C, density 0.4 % from 20 to 40 °C."""
    for temp_c in (20.0, 33.0, 45.0):
        water = IAPWS97(T=temp_c + 273.15, P=0.101325)
        assert pytest.approx(water.cp, rel=2e-3) == materials.WATER_J_PER_KGK * 1e-3
    for temp_c in (20.0, 30.0, 40.0):
        water = IAPWS97(T=temp_c + 273.15, P=0.101325)
        assert pytest.approx(water.rho, rel=4e-3) == materials.WATER_KG_PER_L * 1e3
