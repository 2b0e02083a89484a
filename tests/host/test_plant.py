"""The built-in warmer against handbooks and reference libraries: each check names its oracle and its tolerance."""

from __future__ import annotations

import itertools
import math

import psychrolib
import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from ht.conv_free_immersed import (
    Nu_horizontal_plate_McAdams,
    Nu_vertical_cylinder_McAdams_Weiss_Saunders,
)
from msgspec.structs import replace as changed

from bainwright.files.rig import PlantTable, Rig, load_rig
from bainwright.physics import air, chocolate_heat, geometry, materials
from bainwright.virtual.plant import Start, Warmer

HOUR_S = 3600

psychrolib.SetUnitSystem(psychrolib.SI)


def rig_of(settings: dict[str, float] | None = None, base: str = "pot", **table: object) -> Rig:
    rig = load_rig(base).with_settings(settings or {})
    return Rig(rig.name, rig.settings, changed(rig.plant, **table), rig.vessels, rig.source, rig.written)


def run(warmer: Warmer, seconds: int, power_w: float = 0.0) -> Warmer:
    for _ in range(seconds):
        warmer.step(power_w, 1.0)
    return warmer


def hold_at(warmer: Warmer, bowl_c: float, seconds: int = 30000) -> float:
    """Bring the chocolate to a steady temperature; the last power, W."""
    lead_c = power_w = 0.0
    for _ in range(seconds):
        error_c = bowl_c - warmer.bowl_c
        lead_c += 0.002 * error_c
        power_w = max(0.0, min(150.0, 40.0 * (bowl_c + 1.0 + 3.0 * error_c + lead_c - warmer.water_c)))
        warmer.step(power_w, 1.0)
    return power_w


# -- the energy balance ----------------------------------------------------------------------------------------------


def test_energy_of_an_evening_closes_to_a_thousandth():
    """First law: stored = put in - lost + carried by matter, within 0.1 % of the heat put in, vapour included."""
    warmer = Warmer(load_rig("pot"), Start(water_c=20.0, bowl_c=24.0, solid_kg=0.4))
    before_j = warmer.energy_j()
    run(warmer, 1800, 120.0)
    warmer.refill(0.3, 24.0)
    warmer.dip_kg_per_s = 1e-4
    run(warmer, 1800, 60.0)
    warmer.seed(0.3, 20.0)
    warmer.swap(0.5, 60.0)
    warmer.draught, warmer.lid = 2.5, True
    run(warmer, 1800, 20.0)
    warmer.top_up(0.25, 15.0)
    warmer.bowl_in, warmer.dip_kg_per_s = False, 0.0
    run(warmer, 1800, 0.0)
    stored_j = warmer.energy_j() - before_j
    assert stored_j == pytest.approx(warmer.heat_in_j - warmer.lost_j + warmer.matter_j, abs=1e-3 * warmer.heat_in_j)


def test_steady_power_is_the_sum_of_hand_made_losses():
    """At rest the heater replaces what ht, the ASHRAE pool formula and Stefan-Boltzmann say is lost; within 3 %.

    The libraries are fed the warmer's surfaces and temperatures only. Foam, the base and the leak are plain W/K.
    """
    warmer = Warmer(load_rig("pot"), Start(water_c=33.0, bowl_c=31.5))
    power_w = hold_at(warmer, 31.5)
    sizes, room_c = warmer.body, 20.0

    def film(surface_c: float, length_m: float, nusselt, emissivity: float) -> float:
        kelvin = 0.5 * (surface_c + room_c) + 273.15
        k_air = ATMOSPHERE_1976.thermal_conductivity(kelvin)
        nu_m2_s = ATMOSPHERE_1976.viscosity(kelvin) / ATMOSPHERE_1976.density(kelvin, 101325.0)
        grashof = 9.80665 / kelvin * (surface_c - room_c) * length_m**3 / nu_m2_s**2
        h_radiant = emissivity * 5.670374e-8 * ((surface_c + 273.15) ** 4 - 293.15**4) / (surface_c - room_c)
        return nusselt(0.707, grashof) * k_air / length_m + h_radiant

    top_w = film(warmer.bowl_c, sizes.bowl_diameter_m / 4, Nu_horizontal_plate_McAdams, 0.95) * sizes.base_m2
    wall = film(warmer.wall_c, sizes.bowl_height_m, Nu_vertical_cylinder_McAdams_Weiss_Saunders, 0.2)
    side = film(warmer.water_c, sizes.pot_height_m, Nu_vertical_cylinder_McAdams_Weiss_Saunders, 0.2)
    open_m2 = 0.3 * sizes.ring_m2
    ring = film(warmer.water_c, sizes.pot_diameter_m / 4, Nu_horizontal_plate_McAdams, 0.95)
    drive_pa = psychrolib.GetSatVapPres(warmer.water_c) - 0.5 * psychrolib.GetSatVapPres(room_c)
    vapour_w = 0.089 * open_m2 * drive_pa  # kPa over kJ/kg, times J/kg
    losses_w = (
        top_w * (warmer.bowl_c - room_c)
        + wall * sizes.dry_side_m2 * (warmer.wall_c - room_c)
        + (side * sizes.pot_side_m2 + ring * open_m2 + 2.0 * sizes.pot_m2) * (warmer.water_c - room_c)
        + vapour_w
        + 0.05 * sizes.element_w_per_k * (warmer.element_c - room_c)
    )
    assert power_w == pytest.approx(losses_w, rel=0.03)


def test_step_of_a_second_agrees_with_a_step_of_a_twentieth():
    """Oracle: the same equations at a step twenty times finer; within 0.02 K through a warm-up at full power."""
    fine, coarse = Warmer(load_rig("pot")), Warmer(load_rig("pot"))
    for _ in range(300):
        coarse.step(150.0, 1.0)
        for _ in range(20):
            fine.step(150.0, 0.05)
    assert coarse.temps_c == pytest.approx(fine.temps_c, abs=0.02)


# -- chocolate -------------------------------------------------------------------------------------------------------


def test_melting_a_kilogram_takes_the_handbook_heat():
    """20 to 45 °C: 85.8 kJ (Beckett's 1590 J/kgK and 46 kJ/kg); 3 %, for the temper's own latent heat is on top."""
    warmer = Warmer(rig_of(), Start(water_c=20.0, bowl_c=20.0, chocolate_kg=1.0, solid_kg=1.0))
    start_j = warmer.energy_j() - warmer.body.wall_j_per_k * warmer.wall_c
    warmer.water_c = warmer.element_c = warmer.bowl_c = 45.0
    warmer._molten = chocolate_heat.molten_share(45.0)
    heat_j = warmer.energy_j() - warmer.body.wall_j_per_k * warmer.wall_c - start_j
    water_j = (warmer.water_kg * 4180.0 + warmer.body.vessel_j_per_k + warmer.body.element_j_per_k) * 25.0
    assert heat_j - water_j == pytest.approx(85.8e3, rel=0.03)


@pytest.mark.parametrize(("share", "ends_c", "within_k"), [(0.20, 34.6, 0.6), (0.259, 33.0, 0.3)])
def test_seed_cools_the_melt_as_the_balance_says(share, ends_c, within_k):
    """45 °C and seed at 20 °C: 20 % ends at 34.6 °C, 25.9 % at 33.0 °C with a fifth still solid (heat balance).

    The balance gives the melt 1670 J/kg·K, the plant 1590: a twentieth less heat, half a degree of the fall. The first
    row also lets all the seed melt where ours leaves a fifteenth: within 0.6 K; the second within 0.3 K.
    """
    warmer = Warmer(rig_of({"bowl_kg": 0.0}), Start(bowl_c=45.0, chocolate_kg=2.0 * (1 - share), room_c=34.0))
    warmer.bowl_in = False
    warmer.seed(2.0 * share, 20.0)
    run(warmer, 1200)
    assert warmer.bowl_c == pytest.approx(ends_c, abs=within_k)


def test_milk_s_seed_takes_up_more_at_the_same_temperature_and_energy_still_closes():
    """Milk fat moves melting down by 1 to 3 K (from memory): at 30 °C what dark has at 32 °C, over its own store."""
    at_32_c, at_22_c = chocolate_heat.solid_share(32.0), chocolate_heat.solid_share(22.0)
    assert chocolate_heat.molten_share(30.0, 2.0) == pytest.approx(1.0 - at_32_c / at_22_c)
    warmer = Warmer(rig_of(latent_j_per_kg=44e3, milk_fat_k=2.0), Start(water_c=33.0, bowl_c=43.0, chocolate_kg=1.5))
    dark = Warmer(rig_of(), Start(water_c=33.0, bowl_c=43.0, chocolate_kg=1.5))
    for each in (warmer, dark):
        from_j = each.energy_j() - each.heat_in_j + each.lost_j - each.matter_j
        each.seed(0.4, 20.0)
        run(each, 900)
        assert each.energy_j() - each.heat_in_j + each.lost_j - each.matter_j == pytest.approx(from_j, abs=50.0)
    assert warmer.bowl_c < dark.bowl_c - 0.1


def test_enthalpy_is_the_integral_of_the_specific_heat_and_inverts():
    """Oracle: the trapezoid rule over 0.01 K, 1 ppm; and there and back to 1 µK."""
    total = 20.0 * chocolate_heat.CHOCOLATE_J_PER_KGK
    for step in range(2000):
        at_c = 20.0 + 0.01 * step
        total += 0.005 * sum(chocolate_heat.specific_heat_j_per_kgk(end_c, 1500.0) for end_c in (at_c, at_c + 0.01))
        held = chocolate_heat.enthalpy_j_per_kg(at_c, 1500.0)
        assert chocolate_heat.temperature_c(held, 1500.0) == pytest.approx(at_c, abs=1e-6)
    assert chocolate_heat.enthalpy_j_per_kg(40.0, 1500.0) == pytest.approx(total, rel=1e-6)


# -- whole warmers ---------------------------------------------------------------------------------------------------


def test_bowl_of_two_kilograms_loses_what_the_handbook_forms_give():
    """32 °C in 20 °C: 6.0 W top, 5.2 W bare side, computed with the same forms; 5 %, a check of arithmetic."""
    warmer = Warmer(rig_of({"chocolate_kg": 2.0}), Start(bowl_c=32.0, water_c=32.0))
    warmer.bowl_in = False
    warmer.body = geometry.body_of(rig_of({"chocolate_kg": 2.0}, base_w_per_m2k=0.0))
    warmer._refresh()
    assert warmer._bowl_loss * 12.0 == pytest.approx(6.0, rel=0.05)
    assert warmer._wall_loss * 12.0 == pytest.approx(5.2, rel=0.05)


def test_unheated_bowl_of_two_kilograms_cools_at_the_known_pace():
    """2 kg in 0.6 kg of steel: 0.18 K/min at first, time constant 1.1 h (computed; its UA is known to 30 %); 15 %."""
    rig = rig_of({"chocolate_kg": 2.0, "bowl_kg": 0.6}, base_w_per_m2k=0.0, temper_latent_j_per_kg=0.0)
    warmer = Warmer(rig, Start(bowl_c=32.0, water_c=32.0))
    warmer.bowl_in = False
    run(warmer, 300)  # let the wall come to its own temperature
    from_c = warmer.bowl_c
    run(warmer, 600)
    fall_k_per_min = (from_c - warmer.bowl_c) / 10.0
    assert fall_k_per_min == pytest.approx(0.18, rel=0.15)
    assert (from_c - 20.0) / fall_k_per_min / 60.0 == pytest.approx(1.1, rel=0.15)


def test_mat_of_two_hundred_watts_warms_three_litres_at_the_known_pace():
    """200 W into 3 kg of water: 0.96 K/min (arithmetic, no losses, no pot); 3 %, in a moist room as warm."""
    settings = {"heater_w": 200.0, "water_l": 3.0 / materials.WATER_KG_PER_L, "heater_lag_s": 5.0}
    rig = rig_of(settings, vessel_kg=0.0, heater_leak=0.0, humidity=1.0)
    warmer = Warmer(rig, Start(water_c=20.0, bowl_c=20.0, room_c=22.0))
    warmer.bowl_in = False
    run(warmer, 60, 200.0)
    from_c = warmer.water_c
    run(warmer, 120, 200.0)
    assert (warmer.water_c - from_c) / 2.0 == pytest.approx(0.96, rel=0.03)


def test_nearly_empty_pot_is_held_under_the_ceiling():
    """0.8 kg left, room 20 °C, untouched: 31.5 °C asks for water under 34.2 °C (the design's limit); full, for less."""
    empty = Warmer(load_rig("pot"), Start(water_c=33.0, bowl_c=31.5, chocolate_kg=0.8))
    full = Warmer(load_rig("pot"), Start(water_c=33.0, bowl_c=31.5))
    hold_at(empty, 31.5)
    hold_at(full, 31.5)
    assert 31.5 < full.water_c < empty.water_c < 34.2


def test_cold_refill_drops_the_bowl_by_a_kelvin_and_a_half():
    """0.30 kg at 24 °C into 0.95 kg at 31.5 °C: 1.5 to 2 K at once (the design's simulated rigs)."""
    warmer = Warmer(load_rig("pot"), Start(water_c=33.0, bowl_c=31.5, chocolate_kg=0.95))
    warmer.refill(0.30, 24.0)
    assert 1.5 < 31.5 - warmer.bowl_c < 2.0


def test_hot_refill_mixes_to_the_weighted_mean():
    """0.5 kg at 40 °C into 1.5 kg at 31.5 °C gives 33.6 °C (computed; one specific heat, no temper); 0.05 K."""
    warmer = Warmer(rig_of(temper_latent_j_per_kg=0.0), Start(water_c=33.0, bowl_c=31.5, chocolate_kg=1.5))
    warmer.refill(0.5, 40.0)
    assert warmer.bowl_c == pytest.approx(33.6, abs=0.05)


def test_water_swap_mixes_to_the_weighted_mean():
    """Half of the bath from 30 to 50 °C gives 40 °C in a pot of no weight; by hand."""
    warmer = Warmer(rig_of(vessel_kg=0.0), Start(water_c=30.0))
    litres = warmer.water_kg / materials.WATER_KG_PER_L
    warmer.swap(litres / 2.0, 50.0)
    assert warmer.water_c == pytest.approx(40.0, abs=1e-6)


@pytest.mark.parametrize("heater_w", [60.0, 1000.0])
def test_every_relative_warms_up_and_settles(heater_w):
    """Heater 60-1000 W, water 0.8-6 L, lag 5-120 s, bowl 0.3-4 kg: full heat warms in order, no heat only cools."""
    for water_l, lag_s, chocolate_kg in itertools.product((0.8, 6.0), (5.0, 120.0), (0.3, 4.0)):
        settings = {"heater_w": heater_w, "water_l": water_l, "heater_lag_s": lag_s, "chocolate_kg": chocolate_kg}
        warmer = Warmer(rig_of(settings))
        run(warmer, 120, heater_w)
        assert warmer.element_c > warmer.water_c > 25.0
        assert warmer.element_c - warmer.water_c < 30.0
        run(warmer, 400)
        highest_c = max(warmer.element_c, warmer.water_c, warmer.wall_c, warmer.bowl_c)
        assert math.isfinite(highest_c)
        before_j = warmer.energy_j()
        run(warmer, HOUR_S)
        assert warmer.energy_j() < before_j


@pytest.mark.parametrize("lag_s", [5.0, 30.0, 120.0])
def test_heater_lag_is_the_time_its_excess_takes_to_fall_to_an_eth(lag_s):
    """First-order decay: exp(-1) of the element's excess over the water is left after one lag; 10 % of the time."""
    warmer = Warmer(rig_of({"heater_lag_s": lag_s}, heater_leak=0.0))
    run(warmer, 1200, 150.0)
    excess_k, passed_s = warmer.element_c - warmer.water_c, 0.0
    while warmer.element_c - warmer.water_c > excess_k / math.e:
        warmer.step(0.0, 0.1)
        passed_s += 0.1
    assert passed_s == pytest.approx(lag_s, rel=0.1)


def test_lid_and_insulation_save_heat_and_a_draught_costs_it():
    """Signs: a lid and foam lower the power that holds 31.5 °C, an open ring raises it."""
    plain = hold_at(Warmer(rig_of(), Start(bowl_c=31.5, water_c=33.0)), 31.5)
    lidded = hold_at(Warmer(rig_of(), Start(bowl_c=31.5, water_c=33.0, lid=True)), 31.5)
    wrapped = hold_at(Warmer(rig_of(insulation_mm=10.0), Start(bowl_c=31.5, water_c=33.0)), 31.5)
    uncovered = hold_at(Warmer(rig_of(ring_cover=0.0), Start(bowl_c=31.5, water_c=33.0)), 31.5)
    windy_warmer = Warmer(rig_of(), Start(bowl_c=31.5, water_c=33.0))
    windy_warmer.draught = 2.0
    assert max(lidded, wrapped) < plain < min(uncovered, hold_at(windy_warmer, 31.5))


def test_radiation_is_the_difference_of_fourth_powers():
    """Oracle: Stefan-Boltzmann's law itself, 1 ppm, near and far from the room."""
    for surface_c in (20.5, 33.0, 80.0):
        flux = 0.95 * 5.670374e-8 * ((surface_c + 273.15) ** 4 - 293.15**4)
        ours = air.radiation_w_per_m2k(surface_c, 20.0, 0.95) * (surface_c - 20.0)
        assert ours == pytest.approx(flux, rel=1e-6)


def test_draught_carries_off_vapour_as_many_times():
    """ASHRAE's pool formula grows in step with the air that passes; here by the event's factor."""
    still, windy = (Warmer(rig_of(), Start(water_c=45.0)) for _ in range(2))
    windy.draught = 2.5
    for warmer in (still, windy):
        warmer.renew()
        run(warmer, 1)
    gone_kg = [warmer.body.water_kg - warmer.water_kg for warmer in (still, windy)]
    assert gone_kg[1] == pytest.approx(2.5 * gone_kg[0], rel=1e-3)


def test_stirring_couples_the_bowl_better_for_a_minute_after_a_refill():
    """The chocolate meets warm water faster while it is dipped, and for a minute after a refill; then as before."""

    def rise_k(dip_kg_per_s: float, stirred: bool, after_s: int) -> float:
        warmer = Warmer(rig_of(), Start(water_c=34.0, bowl_c=29.0))
        warmer.dip_kg_per_s = dip_kg_per_s
        if stirred:
            warmer.refill(1e-9, 29.0)
        warmer.renew()
        run(warmer, after_s)
        from_c = warmer.bowl_c
        warmer.water_c = 34.0
        run(warmer, 30)
        return warmer.bowl_c - from_c

    resting = rise_k(0.0, False, 0)
    assert rise_k(1e-9, False, 0) > 1.3 * resting
    assert rise_k(0.0, True, 0) > 1.3 * resting
    assert rise_k(0.0, True, 90) == pytest.approx(rise_k(0.0, False, 90), rel=0.1)


def test_foam_saves_what_its_conductance_says():
    """Thermal resistances in series by hand: 1 / (1/film + 0.010 m / 0.035 W/mK), 1 %."""
    bare, wrapped = (Warmer(rig_of(insulation_mm=mm), Start(water_c=33.0)) for mm in (0.0, 10.0))
    side_m2 = bare.body.pot_side_m2
    film = bare._upright_film(33.0, bare.body.pot_height_m)
    saved = bare._pot_w_per_k() - wrapped._pot_w_per_k()
    assert saved == pytest.approx(side_m2 * (film - 1.0 / (1.0 / film + 0.010 / 0.035)), rel=0.01)


def test_bath_never_boils_dry_below_nothing():
    """Days of evaporation leave a trace of water and finite temperatures, and then no more vapour."""
    little = {"water_l": 0.1, "heater_w": 10.0, "chocolate_kg": 0.1, "bowl_kg": 0.1}
    warmer = Warmer(rig_of(little, ring_cover=0.0), Start(water_c=60.0, bowl_c=30.0))
    warmer.bowl_in = False
    run(warmer, 20000, 60.0)
    assert warmer.water_kg == pytest.approx(0.02)
    assert math.isfinite(warmer.water_c)
    assert warmer._vapour_w == 0.0


def test_plate_neither_wets_nor_steams():
    """A plate has no bath: no vapour, and the bowl meets it with its base alone."""
    warmer = Warmer(load_rig("plate"), Start(water_c=36.0, bowl_c=31.0))
    run(warmer, 60, 100.0)
    assert warmer._vapour_w == 0.0
    assert warmer.body.wetted_m2 == warmer.body.base_m2


def test_default_table_needs_no_figure():
    """Every key of [plant] has a default, so a rig of eight figures is enough."""
    assert PlantTable() == load_rig("pot").plant
