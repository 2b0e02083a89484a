"""The three methods of a plan, seed that was put aside, and what a warmer showed; oracles beside each check."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Any

import psychrolib
import pytest
from msgspec import structs
from scipy.interpolate import PchipInterpolator

from bainwright import cli
from bainwright.chocolates.pages import PAGES
from bainwright.core.errors import BainError, UseError
from bainwright.core.figures import MEMORY, PRACTICE, READ
from bainwright.core.masses import Shown
from bainwright.files.chocolate import bundled_profiles, load_profile, parse_profile
from bainwright.files.rig import load_rig
from bainwright.physics import chocolate_heat, heating
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Scales, Surroundings
from bainwright.plan import history
from bainwright.plan.cautions import cautions
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.parts import Band, Plan
from bainwright.plan.planner import make_plan
from bainwright.plan.say import band, energy
from bainwright.plan.spread import Spread, ends
from bainwright.plan.tempering import FALL_MEAN, falling
from bainwright.plan.warmer import _suggested
from bainwright.plan.words import short_lines, short_text, text

SOLID = PchipInterpolator([20.0, 25.0, 30.0, 35.0, 36.0], [0.76, 0.70, 0.45, 0.01, 0.0])  # Ghana, Shukla, from memory


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own: no past evenings."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def planned(profile: str = "dark", **asked: Any) -> Plan:
    return make_plan(batch_request(PlanOptions(profile, **{"total": "2kg", **asked}), Shown()))


def said(plan: Plan) -> str:
    return " ".join(text(plan, Shown()).split())


# -- the melting curve and the seed ----------------------------------------------------------------------------------


@pytest.mark.parametrize("tenth", range(200, 365, 5))
def test_solid_fat_is_the_monotone_cubic_through_the_table(tenth):
    """Oracle: scipy's PCHIP through the same points."""
    temp_c = tenth / 10
    expected = float(SOLID(temp_c)) if temp_c < 36.0 else 0.0
    assert chocolate_heat.solid_share(temp_c) == pytest.approx(expected, abs=1e-12)


def test_slopes_at_ends_and_turns_are_those_of_scipy():
    """Oracle: scipy on tables that turn, lie level, and end steeply."""
    for x, y in (
        ([0.0, 1.0, 3.0, 4.0], [0.0, 2.0, 1.0, 1.0]),
        ([0.0, 1.0, 2.0], [0.0, 0.1, 5.0]),
        ([0.0, 2.0, 3.0], [5.0, 0.0, 4.0]),
    ):
        theirs = PchipInterpolator(x, y).derivative()(x)
        assert chocolate_heat.monotone_slopes(x, y) == pytest.approx(list(theirs))


@pytest.mark.parametrize("total", ["1kg", "1.8kg"])
def test_planned_seed_is_the_first_law_by_hand(total):
    """What melt and steel give is what seed and room take: 1670, 1590 J/kg·K, 46 kJ/kg (Beckett), 500 of steel."""
    plan = planned(total=total)
    seed, melt_kg = plan.seed, plan.melt.solid_kg
    taken_up = (0.76 - float(SOLID(32.0))) / 0.76
    given_j = (melt_kg * 1670.0 + 0.6 * 500.0) * (45.0 - 32.0) - seed.lost_w * 720.0
    assert seed.likely_kg * (1590.0 * 12.0 + taken_up * 46e3) == pytest.approx(given_j, rel=1e-9)


@pytest.mark.parametrize("profile", ["dark", "milk", "white", "ruby"])
def test_the_default_melt_wants_a_usual_share_of_seed(profile):
    """15 to 25 % is usual (common practice, no source); a batch of 1.8 kg in the bundled pot."""
    assert 0.15 <= planned(profile, total="1.8kg").seed.share <= 0.25


def test_warm_seed_has_taken_up_a_part_of_its_heat_before():
    """From 30 to 32 °C only what melts between them: (0.45 - s(32)) / 0.76, by hand on the table's curve."""
    dark = chocolate_heat.HEAT_PROPERTIES["dark"]
    assert dark.molten_share(32.0, 30.0) == pytest.approx((0.45 - float(SOLID(32.0))) / 0.76)


@pytest.mark.parametrize("share", [0.1, 0.2, 0.3])
def test_seed_put_aside_ends_where_heat_says(share):
    """First law by hand at the end that is said, and colder with more loss."""
    plan = planned(seed=f"{100 * share:g}%")
    answer = plan.seed_answer
    seed_kg = 2.0 * share
    assert answer.mass_kg == pytest.approx(seed_kg)
    end_c = answer.ends_c
    taken_up = (0.76 - float(SOLID(min(end_c, 36.0)))) / 0.76
    given_j = ((2.0 - seed_kg) * 1670.0 + 300.0) * (45.0 - end_c) - plan.seed.lost_w * 720.0
    assert seed_kg * (1590.0 * (end_c - 20.0) + taken_up * 46e3) == pytest.approx(given_j, rel=1e-6)
    assert answer.coldest_c < end_c < answer.warmest_c


@pytest.mark.parametrize(
    ("seed", "word", "ok"),
    [("5%", "Take more seed", False), ("19%", "Stir until it cools there", True), ("26%", "in its window", True),
     ("35%", "Stop adding seed", True), ("400g", "in its window", True)],
)  # fmt: skip
def test_seed_put_aside_comes_with_what_to_do(seed, word, ok):
    """Too warm, a little above, in the window, below it."""
    plan = planned(seed=seed, total="1.7kg" if seed == "400g" else "2kg")
    assert word in said(plan)
    assert plan.ok == ok


@pytest.mark.parametrize(("seed", "words"), [("95%", "0.5 to 90 %"), ("2kg", "under nine tenths"), ("much", "mass")])
def test_seed_that_cannot_be_is_refused_in_words(seed, words):
    with pytest.raises(BainError, match=words):
        planned(seed=seed)


@pytest.mark.parametrize(("melt", "much"), [("45", False), ("50", True)])
def test_more_than_a_usual_seed_is_a_word_of_caution(melt, much):
    """15-25 % is usual, over 30 % starts needlessly warm (common practice, no source); 45 °C takes 24 %, 50 °C 32 %."""
    plan = planned(total="1.8kg", melt=melt)
    assert (plan.seed.share > 0.30) == much
    assert ("% of seed is much" in said(plan)) == much


def test_seeding_is_said_to_take_the_minutes_it_is_planned_for():
    plan = planned()
    minutes = next(step.lasts_s for step in plan.steps if step.name == "seed") / 60.0
    assert f"Seeding: {minutes:g} min" in said(plan)


# -- cool and warm back, and cocoa butter ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "low_c", "high_c"), [("dark", 27, 28), ("milk", 26, 27), ("white", 25, 26), ("ruby", 26, 27)]
)
def test_cooling_ends_where_the_trade_cools_to(name, low_c, high_c):
    """Common practice, no source: dark 27-28, milk 26-27, white 25-26 °C."""
    profile = load_profile(name)
    assert (profile.cool_low_c, profile.cool_high_c) == (low_c, high_c)
    assert "cool_low_c" not in profile.document()  # the board never needs it


@pytest.mark.parametrize("name", [name for name in bundled_profiles() if name != "melted"])
def test_cool_and_warm_back_is_a_path_of_its_own(name):
    """Melt, cool, warm back, test, dip; no seed; the window and its cautions are said."""
    plan = planned(name, method="cool")
    assert [step.name for step in plan.steps] == ["melt", "cool", "rewarm", "test", "work"]
    assert plan.seed is plan.butter is None
    assert plan.melt.solid_kg == plan.request.batch_kg
    profile = plan.request.profile
    assert profile.cool_low_c < plan.steps[1].chocolate_c < profile.cool_high_c
    words = said(plan)
    assert f"Cool to {profile.cool_low_c:.1f} to {profile.cool_high_c:.1f} °C" in words
    assert "scraping the wall" in words
    assert "start again from the melt" in words
    assert f"bain hold {name} --from melt --method cool calls you" in words


def test_a_room_too_warm_to_cool_in_uses_cold_water_or_says_no():
    """At 30 °C a basin of the room's water cools nothing to 27 °C; tap water does; water at 27 °C does not."""
    assert planned(room="30", method="cool", cold_water="12").cooling.basin_c == 12.0
    hot = planned(room="30", method="cool", cold_water="27")
    assert hot.cooling.down is None
    assert not hot.ok
    assert "does not cool that far" in said(hot)


def test_warming_back_takes_as_long_as_the_bath_can_give_heat():
    """t = C / UA ln((Tw - T0) / (Tw - T1)): quickest stirred and without latent heat, slowest left alone and with it.

    1.8 kg at 1590 J/kg·K and 0.6 kg of steel; 46 kJ/kg of latent heat, a third of it between 27.5 and 31.25 °C by the
    table of solid fat; UA from 3 to 6 W/K, films of 60 to 115 W/m²K on 0.08 m² of wall in series with the water's.
    """
    plan = planned(total="1.8kg", method="cool")
    water_c, store = plan.hold.water_most_c, 1.8 * 1590.0 + 0.6 * 500.0
    rise = math.log((water_c - 27.5) / (water_c - 31.25))
    latent = 1.8 * 46e3 / 3.0 / 3.75
    assert store / 6.0 * rise < plan.cooling.back.likely_s < (store + latent) / 3.0 * rise


def test_a_bowl_on_the_table_cools_as_newton_says():
    """t = C / UA ln((T0 - Tr) / (T1 - Tr)), with UA between that of the warm and of the cool end."""
    body, around = body_of(load_rig("pot")), Surroundings(20.0, 0.5, 2.0, 0.7)
    store = 2.0 * 1670.0 + 0.6 * 500.0
    w_per_k = [heating.bowl_off_w(body, at_c, around) / (at_c - 20.0) for at_c in (45.0, 34.0)]
    times = [store / each * math.log(25.0 / 14.0) for each in w_per_k]
    assert times[0] < heating.bowl_cools_s(body, 45.0, 34.0, around) < times[1]


@pytest.mark.parametrize(("name", "low_c", "high_c"), [("dark", 33, 34), ("milk", 32, 33), ("white", 31, 32)])
def test_cocoa_butter_is_a_hundredth_and_goes_in_below_where_it_melts(name, low_c, high_c):
    """1 % of the mass at 33-34 °C (common practice, no source); with milk fat under the wall's ceiling (chosen)."""
    plan = planned(name, method="butter")
    assert plan.butter.mass_kg == pytest.approx(0.02)
    assert (plan.butter.low_c, plan.butter.high_c) == (low_c, high_c)
    assert [step.name for step in plan.steps] == ["melt", "cool", "seed", "settle", "test", "work"]
    assert plan.melt.solid_kg == pytest.approx(1.98)


@pytest.mark.parametrize(
    ("asked", "words"),
    [({"method": "magic"}, "wanted seed, butter or cool"), ({"method": "cool", "seed": "300g"}, "--method seed"),
     ({"method": "butter", "to": "32"}, "--method seed"), ({"to": "28"}, "--method cool")],
)  # fmt: skip
def test_methods_that_cannot_be_are_refused_in_words(asked, words):
    with pytest.raises(UseError, match=words):
        planned(**asked)


def test_a_file_s_cooling_must_lie_below_its_window():
    """From 20 °C up and under the window's foot."""
    good = {"name": "own", "kind": "dark", "work": {"low_c": 31.0, "high_c": 32.0},
            "cool": {"low_c": 27.5, "high_c": 28.5}}  # fmt: skip
    assert parse_profile(good).cool_high_c == 28.5
    for cool in ({"high_c": 31.5}, {"low_c": 15.0}, {"low_c": 29.0, "high_c": 28.0}):
        with pytest.raises(BainError, match=r"\[cool\]"):
            parse_profile({**good, "cool": cool})
    low = parse_profile({"name": "low", "kind": "milk", "work": {"low_c": 26.5, "high_c": 27.5}})
    assert low.cool_high_c == 25.5  # an unusually cool window moves it down


# -- bands, and what this warmer showed ------------------------------------------------------------------------------


def test_ends_of_a_band_add_as_squares_do():
    """3 and 4 make 5, by hand; a model that is exact adds nothing."""
    assert ends(100.0, [97.0, 96.0, 103.0, 104.0], (1.0, 1.0)) == pytest.approx((95.0, 105.0))
    assert ends(100.0, [100.0], (0.9, 1.2)) == pytest.approx((90.0, 120.0))
    assert ends(100.0, [math.inf], (1.0, 1.0))[1] == math.inf


@pytest.mark.parametrize(
    ("found", "words"),
    [(Band(4210.0, 5000.0, 5690.0), "1 h 10 min to 1 h 35 min"), (Band(610.0, 700.0, 790.0), "10 min to 14 min"),
     (Band(4210.0, 5000.0, None), "1 h 10 min or much longer"), (Band(10.0, 20.0, 30.0), "1 min to 2 min")],
)  # fmt: skip
def test_a_band_is_said_to_five_minutes_outwards(found, words):
    assert band(found) == words


def test_a_swap_of_four_fifths_of_the_bath_asks_for_colder_water():
    """By hand: from 51.0 to 32.7 °C, 27 °C water takes 76 % of water alone, and the pot's own heat a little more."""
    for cold_c, share, warned in (("27", 0.797, False), ("28", 0.832, True)):
        plan = planned(cold_water=cold_c)
        assert plan.swap.out_l / plan.swap.bath_l == pytest.approx(share, abs=0.002)
        assert any("colder water would do with less" in said for said in cautions(plan, Shown())) == warned


def test_a_seeded_bowl_falls_from_its_melt_to_its_end_and_its_mean_is_what_loses_heat():
    """Half of the fall after a quarter of the step: (e^-0.75 - e^-3) / (1 - e^-3) is 0.45; its mean by a sum."""
    assert (falling(0.0), falling(1.0)) == (1.0, 0.0)
    assert falling(0.25) == pytest.approx(0.4447, abs=1e-4)
    assert sum(falling((at + 0.5) / 1000) for at in range(1000)) / 1000 == pytest.approx(FALL_MEAN, abs=1e-5)


def test_a_meter_s_unit_is_a_thousand_watts_for_an_hour():
    assert energy(1000.0 * 3600.0) == "1.00 kWh"


def test_no_time_is_promised_to_the_minute():
    """Melt, warm-up and readiness are bands in the short plan and in the whole one."""
    plan = planned(dip_at="19:00")
    assert plan.melt.took.low_s < plan.melt.took.likely_s < plan.melt.took.high_s
    lines = short_lines(plan, Shown())
    assert 6 <= len(lines) <= len(short_text(plan, Shown()).split("\n")) <= 10  # as a terminal shows them
    assert "ready 1" in lines[0]
    assert " to 19:00" in lines[0]
    assert any("Assumed: the pot is" in line for line in lines)


def test_a_pot_that_is_known_narrows_the_band_and_one_that_is_not_is_named():
    """Width and cover are options; each one missing is reported."""
    guessed, known = planned(), planned(pot_width="27cm", cover="70%")
    assert any("cm wide (--pot-width)" in each for each in guessed.request.assumed)
    assert not any("--pot-width" in each or "--cover" in each for each in known.request.assumed)
    assert known.melt.took.high_s < guessed.melt.took.high_s
    wide = planned(pot_width="15in", cover="0%")
    assert wide.melt.took.likely_s > known.melt.took.likely_s
    assert wide.needs[0].evaporates_kg_per_h > known.needs[0].evaporates_kg_per_h
    for typed in ("3cm", "wide", "12cm"):
        with pytest.raises(UseError, match="--pot-width"):
            planned(pot_width=typed)


def gains_file(here, factor: float, **other: float) -> str:
    """What bain tune would write for a pot whose water stores so many times what its litres suggest."""
    store = heating.bath_j_per_k(body_of(load_rig("pot"))) * factor
    model = {"water_j_per_k": store, **other}
    lines = ["[water]", "kp = 0.2", "[model]", *(f"{name} = {value}" for name, value in model.items()),
             "[intervals]", *(f"{name} = [{0.97 * value}, {1.03 * value}]" for name, value in model.items())]
    (here / "g.toml").write_text("\n".join(lines) + "\n")
    return "g.toml"


def test_what_tuning_learned_replaces_the_guess(here):
    """30 % more heat in the water lengthens its warm-up by nearly as much, and its band is narrower."""
    plain, learned = planned(), planned(gains=gains_file(here, 1.3))
    assert learned.request.scales == Scales(store=pytest.approx(1.3))
    assert 1.15 < learned.warm_up.took.likely_s / plain.warm_up.took.likely_s < 1.3
    width = [(took.high_s - took.low_s) / took.likely_s for took in (learned.warm_up.took, plain.warm_up.took)]
    assert width[0] < width[1]
    with pytest.raises(UseError, match="the file of this warmer"):
        planned(gains=gains_file(here, 9.0))


def test_melts_of_past_evenings_correct_the_next(monkeypatch):
    """A melt that took 1.3 times the plan makes the next 1.3 times as long, with a narrow band."""
    plain = planned()
    monkeypatch.setattr("bainwright.plan.options.past_melt_factor", lambda rig: (1.3, 2) if rig == "pot" else None)
    wiser = planned()
    assert wiser.melt.took.likely_s == pytest.approx(1.3 * plain.melt.took.likely_s)
    assert wiser.melt.took.high_s - wiser.melt.took.low_s < plain.melt.took.high_s - plain.melt.took.low_s
    assert "1.30 times as long" in said(wiser)
    assert wiser.course[-1][0] == pytest.approx(wiser.steps[-1].starts_s + wiser.steps[-1].lasts_s)
    assert history.past_melt_factor("pot") is None


# -- heat, vapour and limits -----------------------------------------------------------------------------------------


def test_evaporation_grows_as_the_air_gets_thinner():
    """Vapour diffuses as 1 / pressure: at 3,000 m 1.445 times the sea's, by psychrolib's standard atmosphere."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    thinner = psychrolib.GetStandardAtmPressure(0.0) / psychrolib.GetStandardAtmPressure(3000.0)
    body = body_of(load_rig("pot"))
    low, high = (
        heating.vapour_kg_per_s(body, 45.0, Surroundings(20.0, 0.5, 2.0, 0.0, pressure_pa=pressure))
        for pressure in (101325.0, psychrolib.GetStandardAtmPressure(3000.0))
    )
    assert high / low == pytest.approx(thinner, rel=1e-6)
    assert thinner == pytest.approx(1.445, abs=0.001)


def test_a_draught_takes_vapour_along_in_proportion():
    """Twice the air, twice the vapour: the mass transfer follows the film."""
    body, still = body_of(load_rig("pot")), Surroundings(20.0, 0.5, 2.0, 0.0)
    windy = replace(still, draught=2.0)
    assert heating.vapour_kg_per_s(body, 45.0, windy) == pytest.approx(2.0 * heating.vapour_kg_per_s(body, 45.0, still))


def test_a_lid_leaves_what_two_films_in_series_leave():
    """Bare, 9.8 W/m²K (radiation 5.8, air 4). A steel lid: 7.8 below it, 5 above, so 3.0: a third, and more still air
    than the sum has (by hand). Between 0.15 and 0.4.
    """
    body, open_bowl = body_of(load_rig("pot")), Surroundings(20.0, 0.5, 2.0, 0.7)
    under_lid = heating.top_w_per_k(body, 40.0, replace(open_bowl, lid=True))
    assert 0.15 < under_lid / heating.top_w_per_k(body, 40.0, open_bowl) < 0.40


def test_no_planned_bath_comes_near_the_trip_limit():
    """A limit of 50 °C and a melt of 45: the bath stays two degrees under it, not six over the melt."""
    request = batch_request(PlanOptions("dark", total="1kg"), Shown())
    tight = replace(request, rig=request.rig.with_settings({"hard_limit_c": 50.0}))
    assert make_plan(tight).melt.water_c == 48.0
    assert make_plan(request).melt.water_c == 51.0


@pytest.mark.parametrize(("more_kg", "count"), [(0.1, 1), (0.66, 1), (0.67, 2), (1.4, 3), (2.0, 3), (2.01, 4)])
def test_refills_are_a_third_of_a_bowl_at_most(more_kg, count):
    """By hand: bowls of 2 kg, so 0.667 kg a refill, rounded up to whole refills of equal mass."""
    request = batch_request(PlanOptions("dark", total="2kg", rig="plate"), Shown())
    refills = make_plan(replace(request, total_kg=2.0 + more_kg)).refills
    assert refills.count == count
    assert refills.each_kg == pytest.approx(more_kg / count)


def test_scales_act_on_what_they_are_named_for():
    """Twice the loss, half the film: watts and couplings follow, exactly."""
    body, plain = body_of(load_rig("pot")), Surroundings(20.0, 0.5, 2.0, 0.7)
    scaled = replace(plain, scales=Scales(film=0.5, bath_loss=2.0, bowl_loss=3.0))
    assert heating.couplings_w_per_k(body, scaled)[0] == pytest.approx(0.5 * heating.couplings_w_per_k(body, plain)[0])
    assert heating.pot_w_per_k(body, 40.0, scaled) == pytest.approx(2.0 * heating.pot_w_per_k(body, 40.0, plain))
    assert heating.top_w_per_k(body, 40.0, scaled) == pytest.approx(3.0 * heating.top_w_per_k(body, 40.0, plain))
    assert all(low <= 1.0 <= high for low, high in vars(Spread()).values() if low > 0.3)


# -- short pages -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("topic", PAGES)
def test_each_page_is_short_and_carries_its_mark(topic, capsys):
    assert cli.main(["profile", "about", topic]) == 0
    out = capsys.readouterr().out
    assert PAGES[topic].title in out
    assert any(mark in " ".join(out.split()) for mark in (PRACTICE, MEMORY, READ))
    assert out.count("\n") <= 12


def test_pages_are_listed_and_an_unknown_one_is_named(capsys):
    assert cli.main(["profile", "about"]) == 0
    listed = capsys.readouterr().out
    assert all(topic in listed for topic in PAGES)
    assert cli.main(["profile", "about", "nut"]) == 2
    assert "did you mean nuts?" in capsys.readouterr().err


def test_the_bath_s_suggested_loss_is_the_steady_balance_without_the_bowl():
    """Oracle: the heat that holds open water near 40 °C, less the heater's leak and what the bowl gives to the room."""
    rig = load_rig("pot")
    rig = replace(rig, plant=structs.replace(rig.plant, ring_cover=0.0))
    body, around = body_of(rig), Surroundings(20.0, 0.5, 2.0, 0.0)
    held = heating.steady(body, 37.3, around)
    over_k, leak = held.water_c - 20.0, body.table.heater_leak
    bath_w = (held.need_w - leak * body.element_w_per_k * over_k) / (1.0 + leak)
    bowl_w = 17.3 * heating.top_w_per_k(body, 37.3, around) + (held.wall_c - 20.0) * heating.side_w_per_k(
        body, held.wall_c, around)
    assert _suggested(body, 2.0, rig)["bath_loss_w_per_k"] == pytest.approx((bath_w - bowl_w) / over_k, rel=0.03)


def test_the_suggested_coupling_is_two_films_in_series():
    """1/UA = 1/(h A) of the water outside + 1/(h A) of the chocolate inside, by hand from the rig's films."""
    rig = load_rig("pot")
    body = body_of(rig)
    outside = rig.plant.water_film_w_per_m2k * body.wetted_m2
    inside = rig.plant.rest_film_w_per_m2k * body.touching_m2(2.0)
    assert 1.0 / _suggested(body, 2.0, rig)["coupling_w_per_k"] == pytest.approx(1.0 / outside + 1.0 / inside)


def test_a_bowl_that_is_dipped_from_is_stirred_and_takes_cooler_water():
    """The film inside is 115 W/m²K stirred and 60 left alone: what the top loses crosses it with less of a drop."""
    plan = planned(room="20")
    need = next(each for each in plan.needs if each.stage == "work" and not each.covered)
    body, around = body_of(plan.request.rig), Surroundings(20.0, 0.5, 2.0, 0.0)
    top_w = heating.top_w_per_k(body, 31.5, around) * 11.5
    drop_k = top_w / body.touching_m2(2.0) * (1.0 / 60.0 - 1.0 / 115.0)
    still = heating.steady(body, 31.5, around)
    assert still.water_c - need.water_c == pytest.approx(drop_k, rel=0.15)


def test_the_drawn_seeding_is_drawn_over_its_own_time():
    """Twelve equal pieces from the step's start to its end."""
    plan = planned()
    seed = next(step for step in plan.steps if step.name == "seed")
    times = [t_s for t_s, _, _ in plan.course if seed.starts_s <= t_s <= seed.starts_s + seed.lasts_s]
    pieces = {round(after - before, 3) for before, after in itertools.pairwise(times) if after > before}
    assert seed.lasts_s / 12.0 == pytest.approx(min(pieces))
    assert max(pieces) == pytest.approx(min(pieces), abs=0.01)
