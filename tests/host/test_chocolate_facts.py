"""Facts on chocolate, rooms and kitchens, against their sources; each source is beside its check."""

from __future__ import annotations

import math

import psychrolib
import pytest
from fake_board import status_line
from iapws import IAPWS97
from plan_cases import planned, words_of

from bainboard.programme import NUDGE_K
from bainwright.core.errors import UseError
from bainwright.core.figures import MEMORY, READ
from bainwright.evening.prompts import EveningPrompts
from bainwright.files.chocolate import CAPS, bundled_profiles, load_profile
from bainwright.files.rig import Rig, load_rig
from bainwright.link.messages import Status, decode
from bainwright.physics import air, chocolate_heat, heating, kitchen, materials
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Surroundings
from bainwright.physics.materials import CHOCOLATE_KG_PER_M3, WATER_J_PER_KGK
from bainwright.virtual.scenario import Draught, load_scenario

psychrolib.SetUnitSystem(psychrolib.SI)

# Melting points of cocoa butter, forms I to VI, °C. Inputs only: the authors differ, so nothing is checked to a digit.
WILLE_LUTTON_1966 = (17.3, 23.3, 25.5, 27.5, 33.8, 36.3)  # read, through a secondary copy
LOVEGREN_1976 = (13.0, 20.0, 23.0, 25.0, 30.0, 33.5)  # from memory
DAVIS_DIMICK_1986 = (13.1, 17.7, 22.4, 26.4, 30.7, 33.8)  # from memory
AUTHORS = (WILLE_LUTTON_1966, LOVEGREN_1976, DAVIS_DIMICK_1986)
FORM_IV, FORM_V, FORM_VI = 3, 4, 5
ALPHA_1999, BETA_PRIME_1999, BETA_1999 = (17.0, 22.0), (20.0, 27.0), (29.0, 34.0)  # van Malssen et al., from memory
TEMPERED = [name for name in bundled_profiles() if name != "melted"]
# Cocoa butter itself (Beckett, constants table, 4th ed., read): J/kg·K solid and liquid, J/kg; no plan needs them.
BUTTER_CP_SOLID, BUTTER_CP_LIQUID, BUTTER_LATENT = 2010.0, 2090.0, 157e3
FORM_V_LATENT = (120e3, 157e3)  # J/kg, from memory
SUGAR_CP = 1244.0  # J/kg·K, sucrose at 25 °C, from memory
CONDUCTIVITY_W_PER_MK = 0.27  # of chocolate at 30 °C (Beckett, constants table, 4th ed., read)


def status_of(*, bowl_c: float) -> Status:
    """A status line of a bowl that is dipped from."""
    return decode(status_line(1, 1000, bowl=round(1000 * bowl_c))[:-1])


def bowl_of_2_kg() -> Rig:
    """2 kg of chocolate in a bare bowl 24 cm across."""
    return load_rig("pot").with_settings({"chocolate_kg": 2.0})


# -- polymorphs and windows ------------------------------------------------------------------------------------------


def test_the_melting_point_used_is_the_one_read():
    """Form V, Wille & Lutton 1966 (read, secondary copy); the others put it at 30 to 34 °C."""
    assert materials.MELTS_OUT.value == WILLE_LUTTON_1966[FORM_V]
    assert materials.MELTS_OUT.mark == READ
    assert all(30.0 <= author[FORM_V] <= 34.0 for author in AUTHORS)


def test_darks_window_lies_above_form_iv_and_below_form_v():
    """Above every author's form IV, and below the form V of Wille & Lutton that the ceiling follows."""
    dark = load_profile("dark")
    assert dark.low_c > max(author[FORM_IV] for author in AUTHORS)
    assert dark.high_c < WILLE_LUTTON_1966[FORM_V] < dark.ceiling_c < 36.3


@pytest.mark.parametrize("name", TEMPERED)
@pytest.mark.parametrize("author", AUTHORS)
def test_a_melt_leaves_no_crystal_and_a_window_none_but_form_v(name, author):
    """By every author: melt and stock are over form VI, the window's lower end over form IV (van Malssen: beta')."""
    profile = load_profile(name)
    assert min(profile.melt_c, profile.keep_c) > author[FORM_VI]
    lowered_k = HEAT_PROPERTIES[profile.kind].milk_fat_k
    assert profile.low_c > max(author[FORM_IV], BETA_PRIME_1999[1])
    assert BETA_1999[0] - lowered_k < profile.low_c < profile.high_c < BETA_1999[1] - lowered_k


def test_a_room_fit_to_work_in_is_where_the_worst_crystal_melts():
    """Alpha melts at 17-22 °C (van Malssen et al. 1999, from memory): colder, a shell may set in it and bloom."""
    assert ALPHA_1999[0] < kitchen.ROOM_LOW_C < kitchen.ROOM_HIGH_C <= ALPHA_1999[1]


@pytest.mark.parametrize(
    ("name", "cools_to"),
    [("dark", (27, 29)), ("milk", (26, 28)), ("white", (25, 27)), ("ruby", (26, 28)), ("caramelised_white", (26, 28))],
)
def test_seeding_goes_to_the_top_of_the_window_and_not_down_to_where_others_cool(name, cools_to):
    """Cooling first and warming up again is another method's (common practice): no plan of ours goes so far down."""
    request = planned(name, "1kg").request
    assert request.end_c == request.profile.high_c > cools_to[1]
    assert request.profile.low_c >= cools_to[1]


def test_dark_that_sagged_some_degrees_is_warmed_back_and_not_given_up():
    """Common practice, no source: 32 °C may sag a few degrees and be warmed back; only warmth takes the seed."""
    watched = EveningPrompts(load_profile("dark"), load_rig("pot"))
    assert watched.see(status_of(bowl_c=29.0)) == []
    assert "assume the seed is lost" in watched.see(status_of(bowl_c=34.6))[0]


@pytest.mark.parametrize(("name", "low_c", "high_c"), [("dark", 45, 50), ("milk", 40, 45), ("white", 40, 45)])
def test_melts_are_those_of_the_trade(name, low_c, high_c):
    """Common practice, no source: dark 45-50, milk and white 40-45 °C."""
    assert low_c <= load_profile(name).melt_c <= high_c
    assert low_c <= CAPS[name].melt_c <= high_c


def test_every_kind_has_its_stuff():
    """Whatever the board calls a kind can be planned."""
    assert set(HEAT_PROPERTIES) == set(CAPS)


def test_darks_window_is_where_form_v_seed_lives():
    """Greweling 2007 (read): over 34 °C form V melts, under 29 °C form IV is likely too, best at about 32 °C."""
    dark = load_profile("dark")
    assert 29.0 < dark.low_c < dark.high_c < 34.0
    assert dark.target_c == pytest.approx(32.0, abs=0.5)


def test_a_ceiling_is_a_probe_error_over_or_under_where_seed_is_lost():
    """Over 34 °C for dark, 1 to 2 K lower with milk fat: common practice, no source; the ceilings are chosen by it."""
    assert CAPS["dark"].ceiling_c == pytest.approx(34.0, abs=0.5)
    for kind in ("milk", "white"):
        assert 1.0 <= CAPS["dark"].ceiling_c - CAPS[kind].ceiling_c <= 2.0


def test_melted_stock_waits_at_40_and_an_unknown_kind_is_treated_as_milk():
    """40 °C overnight: common practice, no source; over 50 °C casein denatures (Coady, read)."""
    stock = load_profile("melted")
    assert stock.target_c == 40.0
    assert stock.of == "milk"
    assert stock.never_above_c == CAPS["milk"].never_above_c == 50.0
    assert all(load_profile(kind).keep_c == 40.0 for kind in ("dark", "milk", "white", "ruby"))


# -- properties ------------------------------------------------------------------------------------------------------


def test_properties_are_becketts():
    """Constants table, 4th ed. (read): cp 1590 and 1670 J/kg·K; latent 46 dark, 44 kJ/kg milk; white from memory."""
    assert (materials.CP_SOLID.value, materials.CP_LIQUID.value) == (1590.0, 1670.0)
    assert (HEAT_PROPERTIES["dark"].latent.value, HEAT_PROPERTIES["milk"].latent.value) == (46e3, 44e3)
    assert {materials.CP_SOLID.mark, HEAT_PROPERTIES["dark"].latent.mark, HEAT_PROPERTIES["milk"].latent.mark} == {READ}
    assert 40e3 <= HEAT_PROPERTIES["white"].latent.value <= 46e3
    assert HEAT_PROPERTIES["white"].latent.mark == MEMORY


def test_latent_heat_is_that_of_the_butter_in_it_and_not_multiplied_by_it_again():
    """Over cocoa butter's 157 (form V alone 120-157) kJ/kg it is a share of fat that chocolate has: 25 to 42 %."""
    for kind in ("dark", "milk", "white"):
        least, most = (HEAT_PROPERTIES[kind].latent.value / latent for latent in reversed(FORM_V_LATENT))
        assert 0.25 < least < most < 0.42


@pytest.mark.parametrize(
    ("of_butter", "of_chocolate"),
    [(BUTTER_CP_SOLID, materials.CP_SOLID.value), (BUTTER_CP_LIQUID, materials.CP_LIQUID.value)],
)
def test_specific_heat_is_that_of_butter_and_sugar_mixed(of_butter, of_chocolate):
    """Cocoa butter 2010 solid, 2090 liquid (Beckett, read), sugar for the rest (from memory): within an eighth."""
    fat_share = HEAT_PROPERTIES["dark"].latent.value / BUTTER_LATENT
    assert of_chocolate == pytest.approx(fat_share * of_butter + (1 - fat_share) * SUGAR_CP, rel=0.125)


def test_film_of_a_bowl_left_alone_is_more_than_conduction_and_less_than_stirring():
    """0.27 W/m·K (Beckett, read). A ball of the bowl's radius that only conducts has 5 k/R between wall and mean, under
    a steady flow (from memory: Carslaw & Jaeger, conduction in a sphere); the film is chosen, good to a third.
    """
    body = body_of(bowl_of_2_kg())
    conducts_w_per_m2k = 5.0 * CONDUCTIVITY_W_PER_MK / (0.5 * body.bowl_diameter_m)
    assert conducts_w_per_m2k == pytest.approx(11.25)
    assert 2.0 * conducts_w_per_m2k < body.table.rest_film_w_per_m2k < body.table.stirred_film_w_per_m2k


def test_plan_and_simulated_warmer_stand_on_the_same_dark_chocolate():
    """One figure, two users: the plan's heat of dark chocolate is the built-in plant's."""
    assert HEAT_PROPERTIES["dark"].latent.value == body_of(load_rig("pot")).latent_j_per_kg
    assert materials.CP_SOLID.value == chocolate_heat.CHOCOLATE_J_PER_KGK


@pytest.mark.parametrize(("temp_c", "share"), [(20, 0.76), (25, 0.70), (30, 0.45), (35, 0.01)])
def test_solid_fat_is_the_table_from_memory(temp_c, share):
    """Cocoa butter, Ghana, Shukla: from memory, and marked so."""
    assert chocolate_heat.solid_share(temp_c) == pytest.approx(share)
    assert HEAT_PROPERTIES["dark"].molten_share(temp_c, 20.0) == pytest.approx(1 - share / 0.76)
    assert chocolate_heat.SOLID_FAT.mark == MEMORY


def test_milk_fat_moves_melting_down_by_one_to_three_kelvin():
    """From memory and common practice: 1 to 3 K."""
    assert 1.0 <= HEAT_PROPERTIES["milk"].milk_fat_k <= 3.0
    assert HEAT_PROPERTIES["milk"].molten_share(30.0, 20.0) > HEAT_PROPERTIES["dark"].molten_share(30.0, 20.0)


def test_a_kilogram_from_20_to_45_takes_85_8_kilojoules():
    """Computed on Beckett's 1590 J/kg·K and 46 kJ/kg; 1 % for the liquid's higher specific heat above 40 °C."""
    start = heating.Start(20.0, 20.0, HEAT_PROPERTIES["dark"])
    steps = 25000
    middles_c = (20.0 + 25.0 * (at + 0.5) / steps for at in range(steps))
    taken_j = sum(heating.apparent_j_per_kgk(temp_c, start) * 25.0 / steps for temp_c in middles_c)
    assert taken_j == pytest.approx(85.8e3, rel=0.01)


def test_a_melt_thickens_by_half_from_40_to_31_5():
    """Ea 32.5-39.6 kJ/mol over 25-45 °C (Lee 2024, read) makes 1.42-1.53 (computed), to the last digit given."""
    least, most = kitchen.thicker_by(40.0, 31.5)
    assert least == pytest.approx(1.42, abs=0.007)
    assert most == pytest.approx(1.53, abs=0.007)


def test_a_nudge_thins_by_a_percent_or_two_and_says_that_this_is_not_what_it_is_for():
    """0.3-0.5 K at a time (common practice); by Lee 2024's 32.5-39.6 kJ/mol that is 1.2 to 2.6 % thinner (computed)."""
    assert 0.3 <= NUDGE_K <= 0.5
    said = EveningPrompts(load_profile("dark"), load_rig("pot")).event("thicker", {})[0]
    by_hand = [math.exp(e / 8.314 * (1 / (273.15 + 31.5) - 1 / (273.15 + 31.5 + NUDGE_K))) for e in (32.5e3, 39.6e3)]
    assert f"thins it by only {100 * (by_hand[0] - 1):.0f} to {100 * (by_hand[1] - 1):.0f} %" in said


def test_what_a_melt_at_40_flows_like_is_said_of_the_melt_alone():
    """Flow at 40 °C does not predict tempered flow (Talbot 2005, read): the plan says so beside its figure."""
    said = words_of(planned("dark", "2kg"))
    assert "1.4 to 1.5 times as thick as at 40.0 °C before any crystal forms" in said


def test_cocoa_butter_melts_over_a_range():
    """One butter starts at 26, is half molten at 30.5 and all at 34 °C (Schenk & Peschar, read); here within 1 K."""
    assert chocolate_heat.molten_share(26.0) < 0.2
    half_c = next(c / 10 for c in range(200, 400) if chocolate_heat.molten_share(c / 10) >= 0.5)
    assert half_c == pytest.approx(30.5, abs=1.0)
    assert chocolate_heat.molten_share(35.0) > 0.97


def test_density_lies_between_solid_and_melted():
    """1300 kg/m³ solid, 1200 at 40 °C (Beckett, constants table, 4th ed., read); a warm bowl is between."""
    assert 1200.0 < CHOCOLATE_KG_PER_M3 < 1250.0


def test_heater_power_cannot_show_crystals():
    """1 % of 2 kg setting in an hour is 0.3 W (computed on 46 kJ/kg): a hundredth of what the room takes meanwhile."""
    setting_w = 0.01 * 2.0 * HEAT_PROPERTIES["dark"].latent.value / 3600.0
    assert setting_w == pytest.approx(0.3, abs=0.05)
    around = Surroundings(20.0, 0.5, 2.0, 0.7)
    held = heating.steady(body_of(bowl_of_2_kg()), 31.5, around)
    assert setting_w < 0.02 * held.need_w


# -- moist air and boiling -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("temp_c", "expected_pa"), [(20, 2333), (33, 5020), (45, 9580), (50, 12345)])
def test_saturation_pressure_is_magnus(temp_c, expected_pa):
    """611.2 Pa, 17.62, 243.12 °C, to the digits of the table (computed)."""
    assert air.saturation_pa(temp_c) == pytest.approx(expected_pa, abs=1.0)


def test_dew_point_of_a_half_moist_room():
    """9.26 °C at 20 °C and 50 % (computed)."""
    assert kitchen.dew_point_c(20.0, 0.5) == pytest.approx(9.26, abs=0.005)


@pytest.mark.parametrize(("temp_c", "humidity"), [(15, 0.4), (20, 0.5), (24, 0.65), (30, 0.8), (38, 0.99)])
def test_dew_point_agrees_with_psychrolib(temp_c, humidity):
    """Oracle: psychrolib (ASHRAE Fundamentals), within 0.1 K for another saturation formula."""
    theirs = psychrolib.GetTDewPointFromRelHum(temp_c, humidity)
    assert kitchen.dew_point_c(temp_c, humidity) == pytest.approx(theirs, abs=0.1)


def test_water_boils_at_99_97_at_the_sea():
    """IAPWS at 101.325 kPa."""
    assert kitchen.boiling_c(0.0) == pytest.approx(99.97, abs=0.005)


@pytest.mark.parametrize("altitude_m", [-400, 500, 1500, 3000, 5000])
def test_boiling_point_at_altitude_agrees_with_psychrolib_and_iapws(altitude_m):
    """Oracles: psychrolib's standard atmosphere within 0.1 %, `iapws` for the saturation line within 1 mK."""
    pressure_pa = kitchen.pressure_pa(altitude_m)
    assert pressure_pa == pytest.approx(psychrolib.GetStandardAtmPressure(altitude_m), rel=1e-3)
    assert kitchen.boiling_c(altitude_m) == pytest.approx(IAPWS97(P=pressure_pa / 1e6, x=0).T - 273.15, abs=1e-3)


@pytest.mark.parametrize("altitude_m", [-431, 5501, 29029, float("nan"), float("inf")])
def test_altitude_out_of_range_is_refused_in_words(altitude_m):
    """Below the Dead Sea, above the highest town, feet for metres, and no number at all."""
    with pytest.raises(UseError, match=r"--altitude: got .* m, wanted -430 to 5500 m"):
        kitchen.boiling_c(altitude_m)


# -- what leaves a bath and a bowl -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("water_c", "ashrae", "shah", "latent_w"),
    [(33.0, 0.51, (0.39, 0.44), (265, 356)), (45.0, 1.126, (1.03, 1.16), (682, 868))],
)
def test_evaporation_is_that_of_the_tables(water_c, ashrae, shah, latent_w):
    """kg/m²·h, air 20 °C 50 %: ASHRAE within 1 % (45 °C computed); Shah bounds it within 30 %; latent W/m²."""
    flux = air.evaporation_kg_per_m2s(water_c, 20.0, 0.5)
    assert 3600 * flux == pytest.approx(ashrae, rel=0.01)
    assert shah[0] <= 3600 * flux <= 1.3 * shah[1]
    assert latent_w[0] <= flux * air.latent_j_per_kg(water_c) <= latent_w[1]


def test_evaporation_of_a_rig_is_flux_times_open_water():
    """All of the ring open, none of it, and no bowl in the water: the flux of the table on the area left."""
    body = body_of(bowl_of_2_kg())
    flux = air.evaporation_kg_per_m2s(45.0, 20.0, 0.5)
    bare, closed = (Surroundings(20.0, 0.5, 2.0, cover) for cover in (0.0, 1.0))
    assert heating.vapour_kg_per_s(body, 45.0, bare) == pytest.approx(flux * body.ring_m2)
    assert heating.vapour_kg_per_s(body, 45.0, closed) == 0.0
    assert heating.vapour_kg_per_s(body, 45.0, closed, bowl_off=True) == pytest.approx(flux * body.pot_m2)


def test_a_bowl_of_2_kg_at_32_loses_6_watts_up_and_5_sideways():
    """Computed, Nu = 0.54 Ra^(1/4) up, 0.59 upright, emissivity 0.95 and 0.2: 6.0, 5.2 W, 0.93 W/K; within 5 %."""
    body = body_of(Rig("bare", bowl_of_2_kg().settings))
    around = Surroundings(20.0, 0.5, 2.0, 0.0)
    top_w = 12.0 * heating.top_w_per_k(body, 32.0, around)
    bare_w = 12.0 * heating.side_w_per_k(body, 32.0, around, bowl_off=True) - 12.0 * 2.0 * body.base_m2
    assert top_w == pytest.approx(6.0, rel=0.05)
    assert bare_w == pytest.approx(5.2, rel=0.05)
    assert (top_w + bare_w) / 12.0 == pytest.approx(0.93, rel=0.05)
    store_j_per_k = 2.0 * materials.CP_LIQUID.value + 0.6 * 500.0
    assert store_j_per_k / ((top_w + bare_w) / 12.0) / 3600 == pytest.approx(1.1, rel=0.05)  # its time constant, h
    assert 60.0 * (top_w + bare_w) / store_j_per_k == pytest.approx(0.18, rel=0.05)  # unheated, K/min


def test_a_draught_doubles_what_a_bowl_loses():
    """A draught may (computed): that of the bundled evening, 2.5 times still air's convection, does within 10 %."""
    (draught,) = [event for event in load_scenario("orange_sticks").events if isinstance(event, Draught)]
    body = body_of(Rig("bare", bowl_of_2_kg().settings))

    def lost_w_per_k(factor: float) -> float:
        around = Surroundings(20.0, 0.5, 2.0, 0.0, draught=factor)
        side = heating.side_w_per_k(body, 32.0, around, bowl_off=True) - 2.0 * body.base_m2
        return heating.top_w_per_k(body, 32.0, around) + side

    assert lost_w_per_k(draught.factor) == pytest.approx(2.0 * lost_w_per_k(1.0), rel=0.1)


def test_200_watts_lift_3_kg_of_water_by_0_96_kelvin_a_minute():
    """Computed, on water alone; a real warmer's pot, bowl and losses take up to a quarter of that away."""
    water_j_per_k = 3.0 * WATER_J_PER_KGK
    assert 200.0 / water_j_per_k * 60.0 == pytest.approx(0.96, abs=0.005)
    rig = load_rig("mat").with_settings({"heater_w": 200.0, "water_l": 3.0})
    around = Surroundings(20.0, 0.5, 1.2, 1.0)
    course = heating.heat_up(body_of(rig), 200.0, around, heating.Start(20.0, 20.0), 99.0, lambda w, c: w >= 30.0)
    rise_k_per_min = 60 * (course.rows[-1][1] - course.rows[6][1]) / (course.rows[-1][0] - course.rows[6][0])
    assert rise_k_per_min == pytest.approx(0.84, abs=0.12)
