"""Bands of a plan's times, what a warmer showed, and its heat, vapour and limits; oracles beside each check."""

from __future__ import annotations

import math
from dataclasses import replace

import psychrolib
import pytest
from msgspec import structs
from plan_tools import planned
from plan_tools import said_of as said

from bainwright.core.errors import UseError
from bainwright.core.masses import Shown
from bainwright.files.rig import load_rig
from bainwright.physics import heating
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Scales, Surroundings
from bainwright.plan import heat_words, history
from bainwright.plan.cautions import cautions
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.parts import Band
from bainwright.plan.planner import make_plan
from bainwright.plan.say import band, energy
from bainwright.plan.setup import Setup
from bainwright.plan.spread import Spread, ends
from bainwright.plan.tempering import FALL_MEAN, falling
from bainwright.plan.warmer import _suggested
from bainwright.plan.words import short_lines, short_text
from bainwright.tuning.gains import SAME

pytestmark = pytest.mark.usefixtures("here")  # no past evenings


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
    own = load_rig("pot").settings
    made = ["[made]", 'rig = "pot"', 'date = "2026-11-20"', 'firmware = ""',
            *(f"{name} = {float(own[name])}" for name in SAME)]
    (here / "own.toml").write_text((here / gains_file(here, 1.3)).read_text() + "\n".join(made) + "\n")
    assert planned(gains="own.toml").request.scales == learned.request.scales
    with pytest.raises(UseError, match="heater_w was"):
        planned(rig="mat", gains="own.toml")


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


@pytest.mark.parametrize("filled_c", [20.0, 80.0])
def test_a_bath_is_held_at_its_ceiling_and_one_filled_warmer_cools_down_to_it(filled_c):
    """A control holds the bath at its ceiling; a heater of 2 kW, 1.2 °C in one step of the balance, does not pass it.

    First law: an unheated bath warmer than all round it only cools.
    """
    setup = Setup(planned(water_temp="20").request)
    around = replace(setup.around, stirred=0.5)
    start = heating.Start(filled_c, 20.0, setup.chocolate)
    course = heating.heat_up(setup.body, 2000.0, around, start, 51.0, lambda water_c, c: False, 2.5 * 3600.0)
    waters_c = [row[1] for row in course.rows]
    assert max(waters_c) <= max(51.0, filled_c)
    assert waters_c[-1] == pytest.approx(51.0, abs=0.05)


def test_a_melt_whose_slow_end_nobody_knows_has_one_band_everywhere():
    """635 g in a bowl of 2 kg may settle under 45 °C: no sentence and no field gives such a melt an end."""
    made = planned(total="635g")
    assert made.melt.took.high_s is None
    assert made.steps[0].high_s is None
    assert made.ready.slow_s is None
    words = said(made)
    assert words.count(band(made.melt.took)) == 2  # the step, and the balance
    assert "or much longer after the heat goes on" in words
    assert made.melt.settles_c is None  # it ends on the way there
    at_eight = replace(made, request=replace(made.request, dip_at_min=20 * 60))
    assert at_eight.starts_min < 20 * 60 - made.ready.likely_s / 60.0


@pytest.mark.parametrize(("work", "top_up"), [("3h", False), ("40h", True)])
def test_a_stage_is_topped_up_when_it_lasts_so_long(work, top_up):
    """A tenth of 2 L is 200 g; the bath of a hold loses 5 g an hour uncovered: 40 h, good to a factor of 1.5."""
    words = said(planned(total="1.8kg", for_=work))
    assert ("Top up after" in words) == top_up


def test_a_melt_that_does_not_get_there_never_settles_where_it_should():
    """44.97 °C is shown as 45.0 °C."""
    made = planned(total="1kg", rig="plate")
    near = replace(made, melt=replace(made.melt, took=None, to_c=45.0, settles_c=44.97))
    warned = " ".join(cautions(replace(near, steps=near.steps[1:]), Shown()))
    assert "it settles just under 45.0 °C" in warned


def test_stock_melted_elsewhere_finds_its_bath_warm():
    """A hold needs its water from its first minute: the heat goes on as long before as the bath takes, slowly."""
    made = planned("melted", total="1.5kg", rig="plate", room="14")
    assert not made.melts_here
    assert made.warms_before_s == made.warm_up.took.high_s
    words = said(made)
    assert "melted elsewhere, held at 40.0 °C." in words
    assert "Heat on" in words
    assert "so that the plate is at" in words
    assert "--melt)" not in words


@pytest.mark.parametrize(("kind", "sets", "fails"), [("dark", 5, 10), ("milk", 8, 15)])
def test_a_temper_test_is_judged_by_the_minutes_of_the_chocolate_as_in_the_hold(kind, sets, fails):
    """Dark sets in about 5 minutes, and what has not in 10-15 is not in temper: common practice, no source."""
    made = planned(kind)
    assert f"it sets within {sets} min. One that has not by {fails} min is not in temper: more seed." in said(made)
    assert next(step.lasts_s for step in made.steps if step.name == "test") == 60.0 * sets


@pytest.mark.parametrize(("room", "held"), [("10", False), ("25", True)])
def test_an_uncovered_hold_that_its_wall_does_not_allow_is_not_called_enough(room, held):
    """300 g melted at 40 °C take water at 46.8 °C in a room at 10 °C: more watts than enough, and too warm a wall."""
    plan = planned("melted", total="300g", room=room)
    need = next(need for need in plan.needs if not need.covered)
    assert (need.water_c <= plan.hold.water_most_c) == held
    assert ("uncovered: not held. It takes water at" in said(plan)) == (not held)


def test_a_melt_that_is_there_from_the_start_says_nothing_of_stirring():
    made = make_plan(batch_request(PlanOptions("dark", total="1kg"), Shown()))
    at_once = replace(made, melt=replace(made.melt, stirred_s=0.0, unstirred_s=0.0))
    assert "Stirring" not in " ".join(heat_words.melting(at_once, Shown()))
    assert "Stirring" in " ".join(heat_words.melting(made, Shown()))
