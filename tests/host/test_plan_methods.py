"""The other methods of a plan, cool-and-re-warm and cocoa butter, and the short pages; oracles beside each check."""

from __future__ import annotations

import math

import pytest
from plan_tools import planned
from plan_tools import said_of as said

from bainwright import cli
from bainwright.chocolates.pages import PAGES
from bainwright.core.errors import BainError, UseError
from bainwright.core.figures import MEMORY, PRACTICE, READ
from bainwright.files.chocolate import bundled_profiles, load_profile, parse_profile
from bainwright.files.rig import load_rig
from bainwright.physics import heating
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Surroundings

pytestmark = pytest.mark.usefixtures("here")  # no past evenings


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
    seed = next(step for step in plan.steps if step.name == "seed")  # and on into the window, before it is set back
    assert seed.chocolate_c == plan.request.profile.high_c
    assert seed.lasts_s == pytest.approx(300.0 + plan.butter.on.likely_s)
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


# -- short pages -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("topic", PAGES)
def test_each_page_is_short_and_carries_its_mark(topic, capsys):
    assert cli.main(["profile", "about", topic]) == 0
    out = capsys.readouterr().out
    assert PAGES[topic].title in out
    assert any(mark in " ".join(out.split()) for mark in (PRACTICE, MEMORY, READ))
    assert out.count("\n") <= 12


@pytest.mark.parametrize("name", ["dark", "milk", "white"])
def test_the_page_on_cooling_has_the_windows_of_the_chocolates(name):
    profile, said = load_profile(name), " ".join(PAGES["cooling"].lines)
    assert (f"{name} to {profile.cool_low_c:g}-{profile.cool_high_c:g} and back to "
            f"{profile.low_c:g}-{profile.high_c:g} °C") in said


def test_pages_are_listed_and_an_unknown_one_is_named(capsys):
    assert cli.main(["profile", "about"]) == 0
    listed = capsys.readouterr().out
    assert all(topic in listed for topic in PAGES)
    assert cli.main(["profile", "about", "nut"]) == 2
    assert "did you mean nuts?" in capsys.readouterr().err
