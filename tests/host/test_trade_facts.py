"""Rules of thumb of the trade, each against what the plan makes of it."""

from __future__ import annotations

import pytest
from plan_cases import planned, words_of

from bainwright.core.figures import MEMORY, PRACTICE
from bainwright.files.chocolate import load_profile
from bainwright.physics import kitchen, seeding
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.seeding import Batch
from bainwright.plan import batch_mass
from bainwright.record.leftovers import DISCARD, Leftovers, judge
from bainwright.tuning.model import PARAMETERS


@pytest.mark.parametrize("share", [0.20, 0.25])
def test_a_fifth_to_a_quarter_lands_near_32_to_33(share):
    """Common practice, no source: dark at 45 °C; here 1.5 kg in 0.6 kg of steel, 10 minutes at 17.7 W; within 1.5 K."""
    batch = Batch(1.5, 45.0, 20.0, bowl_j_per_k=300.0, lost_j=17.7 * 600)
    end_c = seeding.end_temp_c(batch, share, lambda temp_c: HEAT_PROPERTIES["dark"].molten_share(temp_c, 20.0))
    assert end_c == pytest.approx(32.5, abs=1.5)
    assert HEAT_PROPERTIES["dark"].molten_share(end_c, 20.0) < 1.0  # some seed is still unmelted


def test_blade_test_takes_what_the_trade_says():
    """Common practice, no source: dark 5 minutes or less, milk and white somewhat longer, never over 10 to 15."""
    dark, milk = load_profile("dark"), load_profile("milk")
    assert dark.set_min == 5 < milk.set_min <= 10
    assert 10 <= dark.fail_min <= milk.fail_min <= 15


def test_coating_and_waste_are_those_of_the_trade():
    """Common practice, no source: coating 25-40 % of the piece, waste 10-15 %."""
    assert (batch_mass.COATING_LOW, batch_mass.COATING_HIGH) == (0.25, 0.40)
    assert batch_mass.COATING_LOW <= batch_mass.DEFAULT_COATING <= batch_mass.COATING_HIGH
    assert 0.10 <= batch_mass.DEFAULT_WASTE <= 0.15


def test_room_to_work_in_is_that_of_the_trade():
    """Common practice, no source, and marked so: 18-22 °C, relative humidity under 50 to 60 %."""
    assert (kitchen.ROOM_LOW_C, kitchen.ROOM_HIGH_C) == (18.0, 22.0)
    assert (kitchen.DRY_ENOUGH, kitchen.TOO_DAMP) == (0.50, 0.60)
    assert kitchen.ROOM_FIGURES[0].mark == kitchen.ROOM_FIGURES[1].mark == PRACTICE
    assert kitchen.room_cautions(20.0, 0.5, 20.0) == []


def test_a_room_is_too_damp_well_before_the_surface_takes_up_water():
    """82 to 85 % relative humidity for dark, 78 % for milk (from memory: Beckett's chapter on storage)."""
    (takes_up,) = [figure for figure in kitchen.ROOM_FIGURES if "takes up water" in figure.what]
    assert (takes_up.value, takes_up.mark) == (82.0, MEMORY)
    assert "milk 78 %" in takes_up.source
    assert "too damp" in kitchen.room_cautions(20.0, 0.779, None)[0]


@pytest.mark.parametrize(("total", "thick", "seizes"), [("2kg", "10 g", "30 g"), ("1kg", "5 g", "15 g")])
def test_how_much_water_spoils_a_bowl_is_given_in_grams(total, thick, seizes):
    """Thickens from 0.5-1 % added, seizes at 1.5-3 % (from memory, and marked so)."""
    plan = planned("dark", total)
    assert f"From about {thick} of water this bowl thickens, from {seizes} it may seize" in words_of(plan)
    assert {figure.mark for figure in plan.figures if "water in chocolate" in figure.what} == {MEMORY}
    verdict, why = judge(Leftovers("dark", "dark", water=True), 55.0)
    assert verdict == DISCARD
    assert "1.5 to 3 %" in why


@pytest.mark.parametrize(
    ("temp_c", "humidity", "centre_c", "word"),
    [
        (22.1, 0.45, None, "warm"),
        (17.9, 0.45, None, "cold"),
        (20.0, 0.61, None, "too damp"),
        (20.0, 0.55, None, "damp side"),
        (20.0, 0.50, 9.0, "dew point"),  # the one word, though 9 °C is colder than 20 as well
        (20.0, 0.50, 19.9, "cold side"),  # centres at 20-25 °C: common practice, no source
        (20.0, 0.50, 25.1, "warm side"),
    ],
)
def test_a_room_or_centre_that_will_not_do_is_named(temp_c, humidity, centre_c, word):
    """One caution each, at the trade's limits; the centre at the dew point of 9.26 °C."""
    said = kitchen.room_cautions(temp_c, humidity, centre_c)
    assert len(said) == 1
    assert word in said[0]


def test_what_is_held_overnight_grows_nothing_and_the_plan_says_why():
    """About 0.4 (Beckett, read); growth from 0.60 (Beuchat 1983), toxin from 0.85 (21 CFR 114.3): both from memory."""
    said = words_of(planned("melted", "2kg"))
    assert "kills nothing" in said
    assert "water activity of chocolate is about 0.4, growth needs 0.6 and toxins 0.85" in said


def test_holding_warm_is_no_kill_step():
    """D50 = 1574 min, z = 14 K for dark; D45 = 3582 min is computed from them."""
    assert kitchen.tenfold_min(50.0) == pytest.approx(1574.0)
    assert kitchen.tenfold_min(45.0) == pytest.approx(3582.0, abs=1.0)


def test_what_was_learned_of_a_warmer_is_said_in_degrees():
    """A cook never meets K."""
    for name, unit, what in PARAMETERS:
        assert "K" not in f"{unit} {what}", name
