"""`bain plan`: its figures against the simulated warmer, its words, its page, and what it refuses."""

from __future__ import annotations

import html
import json
import math
import re
from collections.abc import Callable
from typing import Any
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from bainwright.commands.plan import plan as command
from bainwright.core import masses
from bainwright.core.errors import BainError, FileError, UseError
from bainwright.core.masses import Shown, parse_clock_min, parse_mass_kg, parse_share, parse_temp_c
from bainwright.files.rig import load_rig
from bainwright.physics import heating
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Course, Surroundings
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.page import moment_text, time_scale
from bainwright.plan.parts import Plan
from bainwright.plan.planner import make_plan
from bainwright.plan.words import text
from bainwright.virtual.plant import Start, Warmer

RIGS = ("mat", "pot", "plate")


def planned(profile: str = "dark", **asked: Any) -> Plan:
    asked = asked if "pieces" in asked else {"total": "2kg", **asked}
    return make_plan(batch_request(PlanOptions(profile, **asked), Shown()))


def run(*arguments: str) -> tuple[int, str]:
    """Exit status and stdout."""
    done = CliRunner().invoke(command, list(arguments), standalone_mode=False)
    if done.exception:
        raise done.exception
    return int(done.return_value), done.stdout


def said_of(made: Plan) -> str:
    """A plan's words on one line."""
    return " ".join(text(made, Shown()).split())


def refused(*arguments: str) -> str:
    with pytest.raises(BainError) as refusal:
        run(*arguments)
    assert refusal.value.exit_code == 2
    return str(refusal.value)


def seconds_until(done: Callable[[], bool], warmer: Warmer, power_w: Callable[[], float]) -> int:
    """Step a simulated warmer second by second, eight hours at most."""
    for seconds in range(8 * 3600):
        if done():
            return seconds
        warmer.step(power_w(), 1.0)
    raise AssertionError(f"not in 8 h: water {warmer.water_c:.2f} °C, chocolate {warmer.bowl_c:.2f} °C")


def left_alone(made: Plan) -> Course:
    """The plan's own melting, with nobody stirring."""
    rig, solid_kg = made.request.rig, made.melt.solid_kg
    around = Surroundings(20.0, 0.5, solid_kg, rig.plant.ring_cover)
    start = heating.Start(20.0, 20.0, HEAT_PROPERTIES["dark"])
    return heating.heat_up(
        body_of(rig), rig.settings["heater_w"], around, start, made.melt.water_c, lambda w, c: c >= made.melt.to_c
    )


# -- against the simulated warmer ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", RIGS)
def test_warm_up_and_its_energy_are_those_of_the_simulated_warmer(name):
    """Oracle: the built-in plant (four heat balances) at full heat from 20 °C; time and energy within 10 %."""
    rig = load_rig(name)
    made = planned(rig=name, total=f"{rig.settings['chocolate_kg']}kg")
    warmer = Warmer(rig, Start(water_c=20.0, bowl_c=made.request.profile.low_c))
    seconds = seconds_until(lambda: warmer.water_c >= made.warm_up.water_c, warmer, lambda: rig.settings["heater_w"])
    assert made.warm_up.took.likely_s == pytest.approx(seconds, rel=0.10)
    assert made.warm_up.energy_j == pytest.approx(warmer.heat_in_j, rel=0.10)


@pytest.mark.parametrize(("name", "melt"), [("mat", "45"), ("pot", "48"), ("pot", "46")])
def test_melting_and_its_energy_are_those_of_the_simulated_warmer(name, melt):
    """Oracle: the built-in plant, solid chocolate left alone, full heat and a thermostat on the bath; within 10 %."""
    rig = load_rig(name)
    made = planned(rig=name, total="1.2kg", melt=melt)
    solid_kg, water_c = made.melt.solid_kg, made.melt.water_c
    warmer = Warmer(rig, Start(water_c=20.0, bowl_c=20.0, chocolate_kg=solid_kg, solid_kg=solid_kg))
    heater_w = rig.settings["heater_w"]
    seconds = seconds_until(
        lambda: warmer.bowl_c >= made.melt.to_c, warmer, lambda: heater_w if warmer.water_c < water_c else 0.0
    )
    course = left_alone(made)
    assert made.melt.unstirred_s == course.took_s == pytest.approx(seconds, rel=0.10)
    assert course.energy_j == pytest.approx(warmer.heat_in_j, rel=0.10)


def test_a_melt_the_simulated_plate_never_makes_is_not_promised():
    """Oracle: the built-in plant, eight hours at the bath the plan allows: short of 48 °C, and where the plan says."""
    made = planned(rig="plate", melt="48")
    warmer = Warmer(load_rig("plate"), Start(water_c=20.0, bowl_c=20.0, chocolate_kg=made.melt.solid_kg))
    for _ in range(8 * 3600):
        warmer.step(400.0 if warmer.water_c < made.melt.water_c else 0.0, 1.0)
    assert warmer.bowl_c < 48.0
    assert made.melt.took is made.melt.unstirred_s is None
    assert left_alone(made).chocolate_c == pytest.approx(warmer.bowl_c, abs=0.3)
    assert made.melt.settles_c > warmer.bowl_c  # a plan stirs


@pytest.mark.parametrize("name", RIGS)
@pytest.mark.parametrize("total", ["700g", "1.2kg", "2kg"])
def test_seed_brings_the_simulated_melt_to_the_planned_temperature(name, total):
    """Oracle: the built-in plant, whose chocolate is dark; bowl off, six portions in 12 minutes; within 0.5 K."""
    made = planned(rig=name, total=total)
    start = Start(water_c=made.melt.water_c, bowl_c=made.request.melt_c, chocolate_kg=made.melt.solid_kg)
    warmer = Warmer(load_rig(name), start)
    warmer.bowl_in = False
    warmer.renew()
    for _ in range(6):
        warmer.seed(made.seed.likely_kg / 6, 20.0)
        for _ in range(120):
            warmer.step(0.0, 1.0)
    assert warmer.bowl_c == pytest.approx(made.seed.end_c, abs=0.5)


@pytest.mark.parametrize("name", RIGS)
def test_power_water_and_vapour_to_hold_are_those_of_the_simulated_warmer(name):
    """Oracle: the built-in plant given just the planned power for 14 h stays where it was planned, within 0.5 K.

    Left alone, so its chocolate does not move; losses of vapour within 10 %.
    """
    rig = load_rig(name)
    around = Surroundings(20.0, 0.5, 2.0, rig.plant.ring_cover)
    held = heating.steady(body_of(rig), 31.5, around)
    warmer = Warmer(rig, Start(water_c=held.water_c, bowl_c=31.5, chocolate_kg=2.0))
    before_kg = warmer.water_kg
    for _ in range(14 * 3600):
        warmer.step(held.need_w, 1.0)
    assert warmer.bowl_c == pytest.approx(31.5, abs=0.5)
    assert warmer.water_c == pytest.approx(held.water_c, abs=0.5)
    assert before_kg - warmer.water_kg == pytest.approx(14 * held.vapour_kg_per_h, rel=0.10)


def test_a_bath_left_alone_cools_as_the_simulated_one_does():
    """Oracle: the built-in plant with its bowl off, 54 to 33 °C, within 10 %."""
    rig = load_rig("pot")
    warmer = Warmer(rig, Start(water_c=54.0))
    warmer.bowl_in = False
    warmer.renew()
    seconds = seconds_until(lambda: warmer.water_c <= 33.0, warmer, lambda: 0.0)
    planned_s = heating.cool_down_s(body_of(rig), 54.0, 33.0, Surroundings(20.0, 0.5, 2.0, 0.7))
    assert planned_s == pytest.approx(seconds, rel=0.10)


# -- what a plan says ------------------------------------------------------------------------------------------------


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
    assert "seed with a handful" in said
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


def test_a_refill_asked_about_is_judged():
    """0.5 kg at 40 °C into 1.5 kg at 31.5 gives 33.6 °C (computed): out of dark's window, so exit 1."""
    answer = planned(refill="500g", refill_temp="40", in_bowl="1.5kg")
    assert answer.refills.asked.ends_c == pytest.approx(33.625)
    assert not answer.ok
    assert planned(refill="500g", refill_temp="31.8", in_bowl="1.5kg").ok
    code, said = run("dark", "--total", "2kg", "--refill", "500g", "--refill-temp", "104F", "--in-bowl", "1.5kg")
    assert code == 1
    assert "out of its window" in said


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


# -- scales ----------------------------------------------------------------------------------------------------------


def test_a_difference_in_fahrenheit_has_no_32():
    """Definition: 1 K is 1.8 °F; 31.5 °C is 88.7 °F."""
    assert Shown(fahrenheit=True).difference(1.0) == "1.8 °F"
    assert Shown().difference(1.0) == "1.0 °C"
    assert Shown(fahrenheit=True).temp(31.5) == "88.7 °F"


@pytest.mark.parametrize(
    ("typed", "mass_kg"),
    [
        ("1.8kg", 1.8),
        ("800 g", 0.8),
        ("3lb", 1.36077711),
        ("1lb 8oz", 0.680388555),
        ("12 OZ", 0.3401942775),
        ("1,5kg", 1.5),
    ],
)
def test_masses_are_read_in_four_units(typed, mass_kg):
    """Avoirdupois pound 0.45359237 kg, ounce a sixteenth of it: exact by definition."""
    assert parse_mass_kg(typed, "--total", 0.01, 100.0) == pytest.approx(mass_kg, rel=1e-12)


@given(st.floats(0.001, 90.0))
def test_a_mass_shown_in_pounds_is_read_back(mass_kg):
    """To the tenth of an ounce shown."""
    back_kg = parse_mass_kg(Shown(pounds=True).mass(mass_kg), "--total", 0.0, 100.0)
    assert back_kg == pytest.approx(mass_kg, abs=0.051 * masses.OUNCE_KG)


@pytest.mark.parametrize(("typed", "temp_c"), [("31.5", 31.5), ("31.5C", 31.5), ("88.7 °F", 31.5), ("90f", 32.2222)])
def test_temperatures_are_read_on_both_scales(typed, temp_c):
    """A bare number is °C; an F makes it °F."""
    assert parse_temp_c(typed, "--to", 20.0, 45.0) == pytest.approx(temp_c, abs=1e-4)


def test_an_altitude_is_read_in_metres_and_feet():
    """1 ft is 0.3048 m by definition."""
    assert [masses.parse_metres(typed, "x") for typed in ("520", " 520 m", "-20")] == [520.0, 520.0, -20.0]
    assert masses.parse_metres("1700ft", "x") == pytest.approx(518.16)


def test_plan_typed_in_fahrenheit_is_the_plan_typed_in_celsius():
    """118.4 °F is 48 °C, 68 °F is 20 °C."""
    assert planned(melt="118.4F", room="68F").seed == planned(melt="48", room="20").seed


# -- bad input -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--total", "-2kg"], "--total: got -2kg, wanted 50 g to 100.00 kg; a mass is above 0"),
        (["--total", "900kg"], "--total: got 900kg, wanted 50 g to 100.00 kg; check the unit"),
        (["--total", "2200"], "did you mean 2200g?"),
        (["--total", "much"], "wanted a mass with its unit"),
        (["--total", "nan kg"], "wanted a mass with its unit"),
        (["--total", "2kg", "--melt", "118"], "that looks like °F, 47.8 °C: --melt 118F"),
        (["--total", "2kg", "--room", "68"], "that looks like °F, 20.0 °C: --room 68F"),
        (["--total", "2kg", "--to", "34"], "below 33.8 °C, where seed of form V melts out"),
        (["--total", "2kg", "--to", "36"], "because the seed melts out above"),
        (["--total", "2kg", "--to", "28"], "because a colder bowl is too thick to work"),
        (["--total", "2kg", "--seed-temp", "50"], "the seed is not colder than the melt"),
        (["--total", "2kg", "--melt", "31"], "above the window's 32 °C"),
        (["--total", "2kg", "--melt", "58"], "at most 55 °C, the limit of dark"),
        (["--total", "2kg", "--altitude", "9000"], "wanted -430 to 5500 m"),
        (["--total", "2kg", "--refill", "2.5kg", "--refill-temp", "32"], "as much as the bowl holds"),
        (
            ["--total", "2kg", "--refill", "1kg", "--refill-temp", "32", "--in-bowl", "1.5kg"],
            "more than the bowl holds",
        ),
        (
            ["--total", "2kg", "--refill", "200g", "--refill-temp", "32", "--in-bowl", "10kg"],
            "--in-bowl: got 10.00 kg, wanted at most 2.00 kg",
        ),
        (["--total", "2kg", "--pot-width", "12"], "--pot-width: got 12, wanted at least the bowl's 24 cm"),
        (["--pieces", "140", "--coating", "4kg"], "wanted 0.1 g to 1.00 kg"),
        (["--total", "2kg", "--refill", "1kg"], "how warm is the refill?"),
        (["--total", "2kg", "--in-bowl", "1kg"], "belong to --refill"),
        (["--total", "2kg", "--seed-factor", "nan"], "--seed-factor: got 'nan', wanted a number"),
        (["--total", "2kg", "--humidity", "0"], "--humidity: got '0', wanted 5 to 99 %"),
        (["--total", "2kg", "--at", "25:00"], "wanted a time of day"),
        (["--total", "2kg", "--at", "18:00", "--dip-at", "20:00"], "give one of them"),
        (["--total", "2kg", "--page", "plan.doc"], "wanted a name ending in"),
        (["--total", "2kg", "--page", "/no/such/folder/plan.png"], "wanted a folder that is there"),
        (["--total", "2kg", "--coating", "5g"], "--coating belongs to --pieces"),
        (["--total", "2kg", "--pieces", "9"], "--total and --pieces both say how much; give one of them"),
        (["--total", "0"], "g, kg, oz or lb; for instance"),
        (["--total", "2kg", "--altitude", "30000ft"], "got 9144 m, wanted -430 to 5500 m"),
        (["--total", "2kg", "--altitude", "high"], "wanted metres, or feet with ft"),
        (["--total", "2kg", "--room", "34"], "keep the seed in a cooler place (--seed-temp)"),
        ([], "how much chocolate?"),
        (["--pieces", "100", "--coating", "33%"], "needs the centre's mass"),
        (["--pieces", "1", "--coating", "5g"], "check the number of pieces"),
    ],
)
def test_bad_input_is_refused_in_words(options, words):
    """Exit 2; what, got, wanted, next; nothing is worked out."""
    assert words in refused("dark", *options)


def test_a_cupful_in_a_heavy_bowl_is_refused_in_words(tmp_path):
    """3 kg of bowl at 48 °C hold more heat than 0.3 kg of seed can take; wrapped by no loss in a room at 30 °C."""
    heavy = tmp_path / "heavy.toml"
    heavy.write_text(
        'name = "heavy"\nheater_w = 150\nswitch = "dc"\nperiod_s = 1\nwater_l = 2\nbowl_kg = 3\nchocolate_kg = 2\n'
        'hard_limit_c = 60\n[probe.water]\nkind = "onewire"\n'
    )
    said = refused("dark", "--total", "300g", "--rig", str(heavy), "--room", "30", "--seed-temp", "25")
    assert "there would be more seed than melt" in said


def test_melted_stock_refuses_what_only_a_temper_has():
    """No melt, no seed, no refill to be judged."""
    assert "not seeded" in refused("melted", "--total", "2kg", "--melt", "45")
    assert "no window that a refill could spoil" in refused(
        "melted", "--total", "2kg", "--refill", "1kg", "--refill-temp", "40"
    )


def test_an_unknown_chocolate_and_an_unknown_kind_are_refused(tmp_path):
    """The name is looked up, the kind checked."""
    assert "did you mean dark?" in refused("darkk", "--total", "2kg")
    odd = tmp_path / "odd.toml"
    odd.write_text('name = "odd"\nkind = "carob"\n[work]\nlow_c = 31\nhigh_c = 32\n')
    with pytest.raises(FileError, match="kind"):
        run(str(odd), "--total", "2kg")


def test_a_chocolate_that_names_no_melt_takes_its_kinds(tmp_path):
    """Common practice, no source: dark 45-50, others 40-45 °C, never over what the file allows."""
    own = tmp_path / "own.toml"
    own.write_text('name = "own"\nkind = "ruby"\nnever_above_c = 39\n[work]\nlow_c = 28.5\nhigh_c = 29\n')
    assert planned(str(own)).request.melt_c == 39.0


@pytest.mark.parametrize("typed", ["7pm", "24:00", "12:60", "-1:00", ""])
def test_no_time_of_day_is_refused(typed):
    """A day has 24 hours of 60 minutes."""
    with pytest.raises(UseError, match="time of day"):
        parse_clock_min(typed, "--at")


def test_a_share_reads_with_and_without_its_sign():
    """50 and 50 % are one."""
    assert parse_share("50", "--humidity", 0.05, 0.99) == parse_share("50 %", "--humidity", 0.05, 0.99) == 0.5


# -- the page --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("ending", "magic"), [("png", b"\x89PNG"), ("pdf", b"%PDF"), ("svg", b"<?xml")])
def test_sheet_is_written_as_its_ending_says(tmp_path, ending, magic):
    """First bytes as the formats' standards have them."""
    target = tmp_path / f"plan.{ending}"
    code, _ = run("dark", "--total", "2kg", "--page", str(target))
    assert code == 0
    assert target.read_bytes().startswith(magic)


def test_page_is_one_well_formed_picture_and_every_word_of_the_plan(tmp_path):
    """The HTML holds an SVG that parses as XML, and each sentence of the text."""
    target = tmp_path / "plan.html"
    code, said = run("dark", "--total", "2kg", "--room", "24", "--all", "--sources", "--page", str(target))
    page = target.read_text(encoding="utf-8")
    picture = page[page.index("<svg") : page.index("</svg>") + len("</svg>")]
    assert code == 0
    assert ElementTree.fromstring(picture).tag.endswith("svg")
    plain = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page.replace(picture, ""))).replace("\u00a0", " ").split())
    for paragraph in said.split("\n\n"):
        title, *lines = paragraph.split("\n")
        assert " ".join(" ".join(lines or [title]).split()) in plain


def test_same_plan_same_bytes(tmp_path):
    """No date, no random ids: pages can be compared."""
    pages = []
    for name in ("one.svg", "two.svg"):
        run("milk", "--total", "1kg", "--page", str(tmp_path / name))
        pages.append((tmp_path / name).read_bytes())
    assert pages[0] == pages[1]
