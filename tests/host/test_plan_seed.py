"""How much seed a plan asks for, and what seed that was put aside does; oracles beside each check."""

from __future__ import annotations

import itertools

import pytest
from plan_tools import planned
from plan_tools import said_of as said
from scipy.interpolate import PchipInterpolator

from bainwright.core.errors import BainError, UseError
from bainwright.core.masses import Shown
from bainwright.physics import chocolate_heat
from bainwright.plan.cautions import cautions
from bainwright.plan.page import _seed_words

SOLID = PchipInterpolator([20.0, 25.0, 30.0, 35.0, 36.0], [0.76, 0.70, 0.45, 0.01, 0.0])  # Ghana, Shukla, from memory


pytestmark = pytest.mark.usefixtures("here")  # no past evenings


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


def test_seed_put_aside_is_answered_where_no_amount_of_it_would_do():
    """White in a warm room: pieces at 27 °C hardly cool a melt, and the question is where it ends."""
    plan = planned("white", total="1.8kg", room="27", seed="30%")
    assert plan.seed_answer.ends_c > 29.5
    assert "more seed than melt; bain plan --method cool needs none" in said(plan)
    with pytest.raises(UseError, match=r"wanted under 50 %; .* --method cool needs none"):
        planned("white", total="1.8kg", room="27")


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


@pytest.mark.parametrize(
    ("kind", "asked", "much"),
    [
        ("ruby", {"total": "900g", "seed": "20%", "room": "24"}, False),  # the balance asks for more than a usual share
        ("dark", {"total": "1.8kg", "seed": "25%", "melt": "50"}, False),
        ("milk", {"total": "340g", "seed": "225g"}, True),
        ("dark", {"total": "1.8kg", "seed": "50%"}, True),
    ],
)
def test_a_usual_share_is_judged_by_the_seed_that_was_put_aside(kind, asked, much):
    """15-25 % is usual (common practice, no source); nobody puts in what the balance would have asked for instead."""
    warned = " ".join(cautions(planned(kind, **asked), Shown()))
    assert ("% of seed is much" in warned) == much
    assert ("comes out again" in warned) == much


@pytest.mark.parametrize("rig", ["plate", "pot"])
def test_a_bowl_that_cools_by_itself_is_seeded_for_its_crystals_on_the_table(rig):
    """No seed, no temper; over a bath that was at the melt's heat, or on a plate, it would not come down."""
    made = planned(total="200g", rig=rig)
    assert made.seed.likely_kg < 0.001
    words = said(made)
    assert "in its bath" not in words
    assert "It needs some for its crystals: stir in 10 g to 20 g" in words
    assert "10 g to 20 g more, in temper, as seed" in words


def test_seeding_is_said_to_take_the_minutes_it_is_planned_for():
    plan = planned()
    minutes = next(step.lasts_s for step in plan.steps if step.name == "seed") / 60.0
    assert f"Seeding: {minutes:g} min" in said(plan)


def test_the_drawn_seeding_is_drawn_over_its_own_time():
    """Twelve equal pieces from the step's start to its end."""
    plan = planned()
    seed = next(step for step in plan.steps if step.name == "seed")
    times = [t_s for t_s, _, _ in plan.course if seed.starts_s <= t_s <= seed.starts_s + seed.lasts_s]
    pieces = {round(after - before, 3) for before, after in itertools.pairwise(times) if after > before}
    assert seed.lasts_s / 12.0 == pytest.approx(min(pieces))
    assert max(pieces) == pytest.approx(min(pieces), abs=0.01)


@pytest.mark.parametrize("factor", [0.8, 1.0, 1.6])
def test_seed_put_aside_ends_where_the_plan_would_have_ended_it(factor):
    """Whatever past evenings taught of seed, the likely mass and its answer are one balance."""
    likely_kg = planned(seed_factor=factor).seed.likely_kg
    answer = planned(seed=f"{1000 * likely_kg:.3f}g", seed_factor=factor).seed_answer
    assert answer.ends_c == pytest.approx(32.0, abs=0.01)


@pytest.mark.parametrize(("seed", "ends_c"), [("25%", 31.0), ("20%", 32.5)])
def test_the_drawn_seeding_ends_where_the_seed_put_aside_ends(seed, ends_c):
    """Facts of the trade: a quarter of the whole ends near 32 °C, a fifth above that; here with a bowl's losses."""
    made = planned(seed=seed)
    step = next(step for step in made.steps if step.name == "seed")
    inside = made.seed_answer.ends_c >= 31.0
    assert step.chocolate_c == pytest.approx(made.seed_answer.ends_c if inside else 32.0)
    assert made.seed_answer.ends_c == pytest.approx(ends_c, abs=1.5)
    assert "your" in _seed_words(made, Shown())
