"""`bain plan`: what a plan says, and what it says in every kitchen."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_tools import planned, run, said_of

from bainwright.core.errors import UseError
from bainwright.core.masses import Shown, clock_text
from bainwright.files.rig import load_rig
from bainwright.physics import heating
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Surroundings
from bainwright.plan.cautions import cautions
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.page import moment_text, time_scale
from bainwright.plan.planner import make_plan
from bainwright.plan.words import text

RIGS = ("mat", "pot", "plate")


def test_seed_range_holds_the_likely_figure_and_a_factor_moves_all_three():
    """Used over planned, from evenings gone by, multiplies the seed for a melt; together they stay the total."""
    plain, wiser = planned(), planned(seed_factor=0.8)
    assert plain.seed.low_kg < plain.seed.likely_kg < plain.seed.high_kg
    per_melt = [made.seed.likely_kg / made.melt.solid_kg for made in (plain, wiser)]
    assert per_melt[1] == pytest.approx(0.8 * per_melt[0])
    assert wiser.seed.low_kg < wiser.seed.likely_kg < wiser.seed.high_kg
    for made in (plain, wiser):
        assert made.melt.solid_kg + made.seed.likely_kg == pytest.approx(2.0)


def test_losses_and_latent_heat_bound_the_range():
    """The low end is the same balance with half as much loss again and all latent heat; the high end half the loss."""
    made = planned()
    seed, melt_kg = made.seed, made.melt.solid_kg
    stored_j = (melt_kg * 1670.0 + 0.6 * 500.0) * 13.0
    lost_j = seed.lost_w * 12 * 60
    assert seed.low_kg == pytest.approx((stored_j - 1.5 * lost_j) / (1590.0 * 12 + 46000.0))
    assert seed.high_kg == pytest.approx((stored_j - 0.5 * lost_j) / (1590.0 * 12 + seed.taken_up * 46000.0))


def test_where_losses_alone_nearly_do_it_no_mass_is_named_to_begin_with():
    """A small melt in a heavy bowl: nobody weighs 0 g."""
    small = planned("milk", total="500g")
    assert small.seed.low_kg < 0.02 < small.seed.high_kg
    said = said_of(small)
    assert "a handful at a time, up to" in said
    assert " 0 g" not in said


def test_where_losses_do_all_of_it_no_zero_is_weighed_out():
    """60 g cool by themselves: seed all the same, and never "0 g of seed"."""
    made = planned(total="60g")
    assert made.seed is not None
    assert made.seed.likely_kg == 0.0
    said = said_of(made)
    assert "no mass of seed follows from its heat" in said
    assert "seed with 3 g to 6 g" in said
    assert not re.search(r"(?<![\d.])0 g\b", said)


@pytest.mark.parametrize("shown", [Shown(), Shown(pounds=True)])
def test_no_mass_is_said_to_be_nothing(shown):
    """Little evaporates under a cover; it is shown as less than the smallest figure."""
    said = text(planned(), shown)
    assert not re.search(r"(?<![\d.])0 (?:g|oz)", said)
    assert f"under {shown.mass(shown.least_kg)} an hour" in " ".join(said.split())


def test_seed_is_beside_the_melt_and_not_a_part_of_it():
    """Else somebody takes it out of what was weighed to be melted."""
    assert re.search(r"to melt; \d+ g more, in temper, as seed", said_of(planned()))


def test_pieces_make_the_mass():
    """120 pieces of 5 g with 12 % wasted: 0.6 kg / 0.88; a third of a 9 g centre's piece is 4.5 g."""
    assert planned(pieces=120, coating="5g").request.total_kg == pytest.approx(0.6 / 0.88)
    by_share = planned(pieces=100, coating="33.3333%", centre="9g", waste="10%", left="300g")
    assert by_share.request.total_kg == pytest.approx(0.45 / 0.9 + 0.3, rel=1e-4)
    heavy = planned(pieces=100, coating="60%", centre="9g")
    assert any("25 to 40 % is usual" in word for word in heavy.request.assumed)


def test_steps_follow_each_other_and_the_clock_counts_either_way():
    """Each begins where the last ended; dipping at the slow end of a plan from 18:00 starts at 18:00, to 5 minutes."""
    made = planned(at="18:00")
    assert [step.name for step in made.steps] == ["melt", "seed", "settle", "test", "work"]
    for one, other in zip(made.steps, made.steps[1:], strict=False):
        assert other.starts_s == pytest.approx(one.starts_s + one.lasts_s)
    assert moment_text(made, 0.0) == "18:00"
    slow_min = 18 * 60 + made.ready.slow_s / 60
    back = planned(dip_at=f"{math.ceil(slow_min) // 60:02d}:{math.ceil(slow_min) % 60:02d}")
    assert 18 * 60 - 5 <= back.starts_min <= 18 * 60 + 1


def test_a_plan_that_should_have_begun_already_says_so_and_when_it_is_ready():
    """For 19:00 at 17:50, two hours of melt before it; not at noon, nor at 20:00, when the 19:00 is tomorrow's."""
    def said(now_min, **options):
        made = planned(**options)
        found = [each for each in cautions(replace(made, request=replace(made.request, now_min=now_min)), Shown())
                 if "too late" in each]
        return found[0] if found else ""

    begins_min = planned(dip_at="19:00").starts_min
    late = said(begins_min + 60.0, dip_at="19:00")
    assert late.startswith(f"It is {clock_text(begins_min + 60.0)}, too late for 19:00 today")
    assert "with the heat on now, dipping begins" in late
    assert said(12 * 60.0, dip_at="19:00") == said(20 * 60.0, dip_at="19:00") == said(None, dip_at="19:00") == ""
    assert said(23 * 60.0 + 30.0, dip_at="00:30")
    assert not said(18 * 60.0 + 30.0, at="18:00")


def test_a_night_longer_than_the_warmer_waits_for_a_person_says_so():
    """Its figure is in the rig: 14 h."""
    words = " ".join(cautions(planned("melted", for_="40h"), Shown()))
    assert "With nobody there for 14 h the heat goes off" in words
    assert "12 to 24 h" in words
    assert not any("nobody" in each for each in cautions(planned("melted", for_="12h"), Shown()))


def test_a_range_of_seed_that_is_cut_at_the_melt_s_own_mass_says_so():
    """Seed at 30 °C: nearly half of the batch is seed, and the balance's high end is more than the melt weighs."""
    much = " ".join(cautions(planned(total="1.8kg", seed_temp="30"), Shown()))
    assert "half melted" in much
    assert "47 % of seed is much" in much
    assert "even as much seed as melt may not be enough" in much
    assert "as much seed as melt" not in " ".join(cautions(planned(melt="50"), Shown()))


def test_a_dipping_hour_after_midnight_starts_the_evening_before():
    """Clock times go round at midnight."""
    assert moment_text(planned(dip_at="00:30"), 0.0).startswith("22:")


def test_more_than_a_bowl_becomes_refills_that_keep_the_window():
    """3 kg on a bowl of 2.0: the rest comes as refills, in the temperatures that plain mixing allows."""
    made = planned(total="3kg")
    refills, profile = made.refills, made.request.profile
    assert made.request.batch_kg == 2.0
    assert refills.count * refills.each_kg == pytest.approx(1.0)
    for temp_c, edge_c in ((refills.coldest_c, profile.low_c), (refills.warmest_c, profile.high_c)):
        mixed = (refills.in_bowl_kg * profile.target_c + refills.each_kg * temp_c) / made.request.batch_kg
        assert mixed == pytest.approx(edge_c)


def test_a_few_grams_more_than_a_bowl_are_no_refill():
    """A bowl of 1.2 kg holds 2 lb 10.33 oz: a batch of 2 lb 10.4 oz was one "refill of 0 oz"."""
    plan = planned(total="1.201kg", rig="mat")
    assert (plan.request.batch_kg, plan.refills.count) == (1.2, 0)
    assert "the little more that was asked for is left out" in text(plan, Shown())
    assert planned(total="1.22kg", rig="mat").refills.count == 1


def test_a_refill_asked_about_is_judged():
    """0.5 kg at 40 °C into 1.5 kg at 31.5 gives 33.6 °C (computed): out of dark's window, so exit 1."""
    answer = planned(refill="500g", refill_temp="40", in_bowl="1.5kg")
    assert answer.refills.asked.ends_c == pytest.approx(33.625)
    assert not answer.ok
    assert planned(refill="500g", refill_temp="31.8", in_bowl="1.5kg").ok
    code, said = run("dark", "--total", "2kg", "--refill", "500g", "--refill-temp", "104F", "--in-bowl", "1.5kg")
    assert code == 1
    assert "out of its window" in said


def test_pieces_too_cold_to_be_a_liquid_take_up_latent_heat_as_a_refill():
    """By hand, Beckett's 1590 J/kg K and 46 kJ/kg: 59 g at 20 °C into 1.741 kg at 31.5 °C, nearly all of it melted."""
    asked = planned(total="1.8kg", refill="59g", refill_temp="20").refills.asked
    melted_j = 46e3 * HEAT_PROPERTIES["dark"].molten_share(asked.ends_c, 20.0)
    given_j = 1590.0 * (1.8 - 0.059) * (31.5 - asked.ends_c)
    assert given_j == pytest.approx(0.059 * (1590.0 * (asked.ends_c - 20.0) + melted_j), rel=1e-6)
    assert not asked.stays_in
    largest = planned(total="1.8kg", refill=f"{asked.largest_kg:.6f}kg", refill_temp="20", in_bowl="1.741kg")
    assert largest.refills.asked.ends_c == pytest.approx(31.0, abs=1e-3)


@pytest.mark.parametrize(("profile", "room"), [("white", "34"), ("dark", "33"), ("milk", "31.5")])
def test_a_room_warmer_than_the_window_is_no_room_for_it(profile, room):
    """A heater cannot cool: the bowl drifts to the room."""
    made = planned(profile, room=room, seed_temp="18")
    assert not made.ok
    assert "warmer than the window" in said_of(made)
    assert planned(profile, room="24").ok


def test_a_melt_that_may_leave_old_crystals_is_said():
    """40 to 45 °C is usual; common practice, no source."""
    assert "may leave old crystals" in said_of(planned(melt="38"))
    assert "may leave old crystals" not in said_of(planned("white", melt="40"))


@pytest.mark.parametrize(("seed", "words"), [("435g", "it ends near 32."), ("90g", "it ends near 39.0 °C"),
                                             ("800g", "Seed to 32.0 °C: no more than your 800 g")])
def test_the_step_of_seed_that_was_put_aside_says_where_it_ends(seed, words):
    assert words in said_of(planned(total="1.8kg", seed=seed))


def test_a_heater_too_small_is_said():
    """5 W hold no 2 kg at 31.5 °C: the plan says so and its status is 1; melting has to be done elsewhere."""
    request = batch_request(PlanOptions("dark", total="2kg"), Shown())
    small = make_plan(type(request)(**{**vars(request), "rig": request.rig.with_settings({"heater_w": 5.0})}))
    assert not small.ok
    assert small.melt.took is None
    said = said_of(small)
    assert "The heater cannot hold the chocolate" in said
    assert "Melt it elsewhere" in said


def test_covered_water_needs_less_heat_and_loses_less():
    """Of each stage, covered against uncovered."""
    for made in (planned(), planned("milk"), planned("melted")):
        for bare, covered in zip(made.needs[::2], made.needs[1::2], strict=True):
            assert covered.need_w < bare.need_w
            assert covered.evaporates_kg_per_h < bare.evaporates_kg_per_h


def test_a_bath_is_topped_up_when_a_tenth_of_it_is_gone():
    """Evaporation times hours is a tenth of two litres (0.9957 kg/L at 30 °C, IAPWS); a plate has no water to lose."""
    for need in planned().needs:
        assert need.evaporates_kg_per_h * need.top_up_h == pytest.approx(0.1 * 2.0 * 0.9957)
    assert {need.top_up_h for need in planned(rig="plate").needs} == {None}


def test_a_plate_that_cannot_cool_in_time_leaves_melting_to_another():
    """No water to swap: after 54 °C it takes hours to 34, and a bowl in temper cannot wait."""
    made = planned(rig="plate", melt="45")
    assert made.melt.took is not None
    assert made.swap.out_l is None
    assert not made.melts_here
    assert made.ok
    assert made.steps[0].name == "seed"
    assert "cannot wait that long" in said_of(made)


def test_a_slow_warmer_is_switched_on_long_before_the_seed_goes_in(tmp_path):
    """Water that takes two hours is not warmed within the twelve minutes of seeding: the plan says from when."""
    rig = tmp_path / "tiny.toml"
    rig.write_text(
        'name = "tiny"\nheater_w = 25\nswitch = "dc"\nperiod_s = 1\nwater_l = 2\nbowl_kg = 0.6\nchocolate_kg = 2.2\n'
        'hard_limit_c = 60\n[probe.water]\nkind = "onewire"\n'
    )
    made = planned(rig=str(rig), dip_at="19:00")
    assert made.warms_before_s == (made.warm_up.took.high_s or made.warm_up.took.likely_s) - 12 * 60.0 > 3600.0
    before_min = round(made.starts_min - made.warms_before_s / 60)
    assert f"before this, at {before_min // 60}:{before_min % 60:02d}, so that the water is at" in said_of(made)
    assert "Meanwhile warm up" not in said_of(made)
    assert made.request.water_c < made.course[0][1] < made.hold.water_c
    assert made.course[-1][1] == pytest.approx(made.hold.water_c)


def test_a_hold_the_ceiling_forbids_says_by_how_much():
    """A ceiling just over the window leaves no room for the water that the bowl's losses ask for."""
    request = batch_request(PlanOptions("dark", total="2kg"), Shown())
    profile = type(request.profile)(**{**vars(request.profile), "ceiling_c": 32.2})
    made = make_plan(type(request)(**{**vars(request), "profile": profile}))
    assert made.hold.least_kg is None
    assert not made.ok
    assert "over the 32.0 °C that the temper at the bowl's wall allows" in said_of(made)


def test_a_nearly_empty_bowl_asks_for_warmer_water():
    """Least mass: there the water needed is the water allowed."""
    body, around = body_of(load_rig("pot")), Surroundings(14.0, 0.5, 2.0, 0.7)
    full_c = heating.steady(body, 31.5, around).water_c
    least_kg = heating.least_kg(body, 31.5, around, full_c + 0.4)
    at_least = heating.steady(body, 31.5, Surroundings(14.0, 0.5, least_kg, 0.7))
    assert 0.0 < least_kg < 2.0
    assert at_least.water_c == pytest.approx(full_c + 0.4, abs=1e-3)
    assert heating.least_kg(body, 31.5, around, full_c - 0.1) == math.inf


def test_melted_stock_is_held_and_not_seeded():
    """Two steps, no seed, no swap, and the word that warmth kills nothing."""
    made = planned("melted", for_="9h")
    assert [step.name for step in made.steps] == ["melt", "melted"]
    assert made.seed is made.swap is made.refills is None
    assert "kills nothing" in said_of(made)


def test_marks_are_carried_to_the_reader():
    """What is from memory and what has no source says so in text, JSON and page."""
    code, said = run("milk", "--total", "2kg", "--sources")
    found = json.loads(run("milk", "--total", "2kg", "--json")[1])
    assert code == 0
    for mark in ("from memory", "common practice, no source", "source read", "chosen"):
        assert mark in " ".join(said.split())
        assert any(mark in figure["mark"] for figure in found["figures"])


@pytest.mark.parametrize("profile", ["dark", "milk", "white", "melted"])
@pytest.mark.parametrize("rig", RIGS)
def test_no_plan_speaks_of_seed_that_is_left_as_a_number(profile, rig):
    """No published model supports one."""
    said = said_of(planned(profile, rig=rig, room="24", humidity="65%"))
    assert not re.search(r"\d ?%[^.;:]*\b(left|alive|unmelted|remaining)\b", said)


def test_json_is_celsius_and_kilograms_whatever_is_shown():
    """Showing °F and pounds changes the words only; the numbers are JSON, without infinities."""
    plain = json.loads(run("dark", "--total", "2kg", "--json")[1], parse_constant=pytest.fail)
    other = json.loads(run("dark", "--total", "2kg", "--json", "--fahrenheit", "--pounds")[1])
    assert plain == other
    assert plain["seed"]["end_c"] == 32.0
    assert plain["heater"]["enough"] is True


def test_a_room_as_warm_as_the_chocolate_is_planned_without_infinities():
    """35 °C: nothing to hold against, and JSON has no infinity."""
    found = json.loads(
        run("dark", "--total", "2kg", "--room", "35", "--seed-temp", "20", "--json")[1], parse_constant=pytest.fail
    )
    assert found["heater"]["needs"][-1]["reserve"] is None
    assert found["cautions"][-1].startswith("The room is warm")


def plan_or_none(options):
    """The plan; None where it is refused in words."""
    try:
        return make_plan(batch_request(options, Shown()))
    except UseError:
        return None


@settings(max_examples=8, deadline=None)  # `test_plan_grid` plans forty more
@given(
    st.sampled_from(["dark", "milk", "white", "melted"]),
    st.sampled_from(RIGS),
    st.floats(0.3, 8.0),
    st.floats(10.0, 28.0),
    st.floats(0.1, 0.95),
)
def test_any_kitchen_gets_a_plan(profile, rig, total_kg, room_c, humidity):
    """Every plan can be said, drawn across its time and written as JSON, whether it is a good one or not."""
    options = PlanOptions(
        profile, total=f"{total_kg:.3f}kg", rig=rig, room=f"{room_c:.2f}", humidity=f"{100 * humidity:.1f}"
    )
    made = plan_or_none(options)
    if made is None:  # refused only where the pieces are half melted themselves: white in a hot room
        assert profile == "white"
        assert room_c > 25.0
        return
    assert json.dumps(made.as_dict(), allow_nan=False)
    assert made.request.profile.name in text(made, Shown(fahrenheit=True, pounds=True))
    times = [t_s for t_s, _, _ in made.course]
    assert times == sorted(times)
    assert float(time_scale(made.steps)(times[-1])) == pytest.approx(1.0)
