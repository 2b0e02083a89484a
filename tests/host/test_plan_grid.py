"""`bain plan` over thousands of kitchens: no exception, no absurd mass, and monotone where physics is."""

from __future__ import annotations

import random
from dataclasses import asdict, replace

import pytest
from plan_cases import check_numbers, check_words, requests

from bainwright.core.errors import UseError
from bainwright.core.masses import Shown
from bainwright.physics.refills import Bowl, largest_kg, largest_solid_kg
from bainwright.plan.holding import plan_hold, plan_needs, plan_swap
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.parts import Plan, Seed
from bainwright.plan.planner import make_plan
from bainwright.plan.refilling import plan_refills
from bainwright.plan.request import BatchRequest
from bainwright.plan.setup import Setup
from bainwright.plan.tempering import answer_seed, plan_seed

CASES, CHUNKS = 1200, 3


def planned(profile: str = "dark", **asked: str) -> Plan:
    return make_plan(batch_request(PlanOptions(profile, **asked), Shown()))


def seed_of(request: BatchRequest) -> Seed | None:
    """The seed; None where none is planned or no amount will do."""
    try:
        return plan_seed(Setup(request))
    except UseError:
        return None


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_masses_over_twelve_hundred_kitchens(chunk):
    """Every part of a plan that is not a course of temperatures: finite, not negative, in order.

    `tests/bench/plan_grid.py` makes the whole plans of as many kitchens as are asked for.
    """
    for request in requests(chunk, CASES // CHUNKS):
        setup = Setup(request)
        seed, hold, refills = seed_of(request), plan_hold(setup), plan_refills(setup)
        parts = [seed, answer_seed(setup), hold, refills, plan_swap(setup, hold), *plan_needs(setup)]
        for part in parts:
            check_numbers({} if part is None else asdict(part))
        if seed:
            assert seed.low_kg <= seed.likely_kg <= seed.high_kg
            assert 0.0 <= seed.likely_kg < 0.5 * request.batch_kg
            assert seed.high_kg <= request.batch_kg - seed.likely_kg + 1e-9  # never more seed than melt
        if refills and refills.asked is None:
            assert refills.in_bowl_kg + refills.each_kg <= request.full_kg * (1.0 + 1e-9)
            assert refills.coldest_c < refills.warmest_c <= request.profile.never_above_c


@pytest.mark.parametrize("chunk", range(4))
def test_whole_plans_speak_of_every_kitchen(chunk):
    """Text, the short text and JSON; the ends of each band in order."""
    for request in requests(1000 + chunk, 10):
        try:
            plan = make_plan(request)
        except UseError:
            continue
        check_numbers(plan.as_dict())
        check_words(plan)
        for band in (plan.melt.took, plan.warm_up.took):
            assert band is None or band.low_s <= band.likely_s <= (band.high_s or band.likely_s)


@pytest.mark.parametrize("chunk", range(4))
def test_seed_moves_the_way_heat_does(chunk):
    """First law: a warmer melt, a warmer seed and a smaller loss ask for more seed; so does a larger batch."""
    for request in requests(2000 + chunk, 100):
        seed = seed_of(request)
        if seed is None or seed.share > 0.6:
            continue
        melt_c = min(request.melt_c + 2.0, request.profile.never_above_c)
        warmer = [
            replace(request, melt_c=melt_c),
            replace(request, seed_c=request.seed_c + 1.0) if request.seed_c + 1.0 < request.end_c else request,
            replace(request, total_kg=1.1 * request.total_kg),
        ]
        for other in warmer:
            more = seed_of(other)
            assert more is None or more.likely_kg >= seed.likely_kg - 1e-9


@pytest.mark.parametrize("chunk", range(4))
def test_more_seed_put_aside_never_ends_warmer(chunk):
    """Of the same batch: the more seed, the colder the end; more losses end colder too."""
    rnd = random.Random(chunk)
    for request in requests(3000 + chunk, 100):
        if not request.tempered or request.method != "seed" or request.seed_c > 25.0:
            continue
        share = rnd.uniform(0.05, 0.5)
        less, more = (answer_seed(Setup(replace(request, seed_given_kg=part * request.batch_kg)))
                      for part in (share, share + 0.1))
        assert more.ends_c <= less.ends_c + 1e-6
        assert less.coldest_c <= less.ends_c <= less.warmest_c


@pytest.mark.parametrize("solid_c", [20.0, 29.9, 30.9, 31.0, 31.1, 35.0])
def test_pieces_near_the_window_divide_nothing_by_zero(solid_c):
    """Colder than the window they take heat, first more and more of them; in it they take none: any amount."""
    bowl = Bowl(1.0, 31.5, 31.0, 32.0)
    share = largest_solid_kg(bowl, solid_c, Setup(next(requests(1, 1))).chocolate)
    assert share > 0.0
    assert (share == float("inf")) == (solid_c >= 31.0)


@pytest.mark.parametrize(
    ("profile", "asked"),
    [
        ("dark", {"seed_temp": "31"}),
        ("dark", {"seed_temp": "30.9"}),
        ("dark", {"room": "31"}),
        ("milk", {"room": "30"}),
        ("milk", {"room": "29.9"}),
        ("white", {"seed_temp": "28.5"}),
    ],
)
def test_seed_as_warm_as_the_window_s_foot_is_refused_or_warned_of(profile, asked):
    """Half melted from 30 °C for dark, earlier with milk fat: common practice, no source."""
    code, said = 0, ""
    try:
        said = " ".join(cautions_of(planned(profile, total="2kg", **asked)))
    except UseError as refusal:
        code, said = 2, str(refusal)
    assert code == 2 or "half melted" in said


def cautions_of(plan: Plan) -> list[str]:
    from bainwright.plan.cautions import cautions

    return cautions(plan, Shown())


def test_cold_seed_sweats_below_the_dew_point_and_not_above_it():
    """Oracle: psychrolib, 20 °C and 60 %: 12.0 °C. Seed at 4 °C from a refrigerator is warned of, at 13 °C is not."""
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    dew_c = psychrolib.GetTDewPointFromRelHum(20.0, 0.6)
    for seed_c, sweats in ((4.0, True), (dew_c - 0.3, True), (dew_c + 0.3, False)):
        said = " ".join(cautions_of(planned(total="2kg", humidity="60%", seed_temp=f"{seed_c:.2f}")))
        assert ("it sweats" in said) == sweats


def test_a_bowl_below_its_window_takes_no_refill():
    """It is too cold for one: nothing may be poured in, however warm, until it is back."""
    cold = Bowl(2.0, 30.5, 31.0, 32.0)
    assert cold.too_cold
    assert [largest_kg(cold, temp_c) for temp_c in (24.0, 31.5, 40.0)] == [0.0, 0.0, 0.0]


def test_many_refills_are_a_word_of_caution():
    """10 kg on a bowl of 2 kg: each of the refills has to be tempered by somebody."""
    plan = planned(total="10kg")
    assert plan.refills.count > 10
    assert any("each tempered before it goes in" in said for said in cautions_of(plan))
