"""The seeding balance both ways, and what refills and cold water do: plain mixing, against values worked by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from bainwright.core.errors import UseError
from bainwright.files.rig import load_rig
from bainwright.physics import heating
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.geometry import body_of
from bainwright.physics.materials import CP_SOLID
from bainwright.physics.refills import Bowl, check_fits, largest_kg, largest_solid_kg, mixed_c, temps_for_c
from bainwright.physics.seeding import Batch, end_temp_c, seed_for_melt_kg, seed_share, share_for
from bainwright.virtual import plant

DARK = HEAT_PROPERTIES["dark"]
HALF_DIGIT = 0.0005  # the values are given in per mille

melts = st.floats(40.0, 55.0)
ends = st.floats(28.0, 33.7)
seeds = st.floats(10.0, 26.0)


def melted_share(temp_c: float) -> float:
    return DARK.molten_share(temp_c, 20.0)


# -- worked values, computed on Beckett's properties -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("melt_c", "end_c", "taken_up", "share"),
    [
        (45, 33.0, 1.0, 0.231),
        (45, 33.0, 0.8, 0.259),
        (45, 32.0, 1.0, 0.250),
        (50, 33.0, 1.0, 0.299),
        (40, 33.0, 1.0, 0.149),
        (45, 33.0, 0.0, 0.492),
    ],
)
def test_seed_shares_are_the_worked_values(melt_c, end_c, taken_up, share):
    """Adiabatic, dark, seed at 20 °C, no bowl; without latent heat it would ask 49 %."""
    assert seed_share(Batch(1.0, melt_c, 20.0), end_c, taken_up) == pytest.approx(share, abs=HALF_DIGIT + 1e-4)


def test_a_fifth_would_do_for_34_but_there_the_seed_melts_out():
    """The worked value for 45 to 34 °C is 21.2 %; as a plan it is refused, as an outcome it is what 21.2 % leads to."""
    with pytest.raises(UseError, match=r"34\.0 °C, wanted below 33\.8 °C, where seed of form V melts out"):
        seed_share(Batch(1.0, 45.0, 20.0), 34.0)
    assert share_for(Batch(1.0, 45.0, 20.0), 34.0, 1.0) == pytest.approx(0.212, abs=HALF_DIGIT)
    assert end_temp_c(Batch(1.0, 45.0, 20.0), 0.212) == pytest.approx(34.0, abs=0.03)


@pytest.mark.parametrize(("share", "end_c"), [(0.20, 34.6), (0.25, 32.0)])
def test_shares_end_where_the_worked_values_say(share, end_c):
    """The other way round: 45 °C, 20 % ends at 34.6 °C, 25 % at 32.0 °C."""
    assert end_temp_c(Batch(1.0, 45.0, 20.0), share) == pytest.approx(end_c, abs=0.05)


def test_a_steel_bowl_asks_for_more_seed_and_losses_for_less():
    """1.5 kg in 0.6 kg of steel: 25.9 %; with ten minutes at 17.7 W: 17.7 %."""
    bowl_j_per_k = 0.6 * 500.0
    assert seed_share(Batch(1.5, 45.0, 20.0, bowl_j_per_k=bowl_j_per_k), 33.0) == pytest.approx(0.259, abs=HALF_DIGIT)
    cooling = Batch(1.5, 45.0, 20.0, bowl_j_per_k=bowl_j_per_k, lost_j=17.7 * 600)
    assert seed_share(cooling, 33.0) == pytest.approx(0.177, abs=HALF_DIGIT)


# -- both directions agree -------------------------------------------------------------------------------------------


@given(melts, ends, seeds, st.floats(0.1, 50.0), st.floats(0.0, 1000.0), st.floats(0.0, 2e4), st.floats(0.0, 1.0))
def test_where_a_planned_share_ends_is_where_it_was_planned_to(melt_c, end_c, seed_c, mass, bowl, lost_j, taken_up):
    """Round trip with a fixed share of latent heat, to a millikelvin."""
    batch = Batch(mass, melt_c, seed_c, bowl_j_per_k=bowl, lost_j=lost_j)
    share = seed_share(batch, end_c, taken_up)
    assume(0.0 < share < 1.0)
    assert end_temp_c(batch, share, lambda _: taken_up) == pytest.approx(end_c, abs=1e-3)


@given(melts, ends)
def test_the_melting_curve_goes_round_as_well(melt_c, end_c):
    """Round trip with the share of latent heat that the end itself settles."""
    batch = Batch(1.0, melt_c, 20.0)
    share = seed_share(batch, end_c, melted_share(end_c))
    assume(share < 1.0)
    assert end_temp_c(batch, share, melted_share) == pytest.approx(end_c, abs=1e-3)


@given(melts, ends, st.floats(0.1, 1.0))
def test_melt_weighed_first_gives_the_same_seed(melt_c, end_c, taken_up):
    """Total known, or melt known: one balance."""
    batch = Batch(2.0, melt_c, 20.0, bowl_j_per_k=300.0, lost_j=4000.0)
    share = seed_share(batch, end_c, taken_up)
    assume(0.0 < share < 1.0)
    seed_kg = seed_for_melt_kg((1.0 - share) * 2.0, batch, end_c, taken_up)
    assert seed_kg == pytest.approx(share * 2.0, rel=1e-9)


@given(melts, ends, st.floats(0.5, 20.0))
def test_seed_gives_what_the_melt_gives(melt_c, end_c, mass_kg):
    """First law, written independently: what the melt and bowl give is what seed and room take."""
    batch = Batch(mass_kg, melt_c, 20.0, bowl_j_per_k=300.0, lost_j=3000.0)
    seed_kg = seed_share(batch, end_c) * mass_kg
    assume(seed_kg > 0.0)
    given_j = ((mass_kg - seed_kg) * 1670.0 + 300.0) * (melt_c - end_c)
    taken_j = seed_kg * (1590.0 * (end_c - 20.0) + 46000.0) + 3000.0
    assert given_j == pytest.approx(taken_j, rel=1e-9)


@given(st.floats(0.0, 0.9), st.floats(0.0, 0.09))
def test_more_seed_never_ends_warmer(share, more):
    """The curve falls."""
    batch = Batch(1.0, 48.0, 20.0)
    assert end_temp_c(batch, share + more, melted_share) <= end_temp_c(batch, share, melted_share) + 1e-9


# -- what cannot be seeded -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("batch", "end_c", "words"),
    [
        (Batch(0.0, 45.0, 20.0), 32.0, "the total mass: got 0 kg, wanted above 0"),
        (Batch(-2.0, 45.0, 20.0), 32.0, "the total mass: got -2 kg, wanted above 0"),
        (Batch(math.nan, 45.0, 20.0), 32.0, "the total mass: got nan kg, wanted above 0"),
        (Batch(1.0, 45.0, 50.0), 32.0, "the seed is not colder than the melt"),
        (Batch(1.0, 45.0, 33.0), 32.0, "between the seed's 33.0 °C and the melt's 45.0 °C"),
        (Batch(1.0, 31.0, 20.0), 32.0, "between the seed's 20.0 °C and the melt's 31.0 °C"),
        (Batch(1.0, 45.0, 20.0), 33.8, "below 33.8 °C"),
    ],
)
def test_what_cannot_be_seeded_is_refused_in_words(batch, end_c, words):
    """What, got, wanted."""
    with pytest.raises(UseError) as refusal:
        seed_share(batch, end_c)
    assert words in str(refusal.value)


@pytest.mark.parametrize("share", [-0.1, 1.0, 2.0, math.nan])
def test_a_share_that_is_none_is_refused(share):
    """Shares are of one."""
    with pytest.raises(UseError, match="the share of seed"):
        end_temp_c(Batch(1.0, 45.0, 20.0), share)


def test_losses_larger_than_the_heat_are_refused():
    """A cupful that cools below its seed has no end between the two."""
    with pytest.raises(UseError, match="colder than its seed"):
        end_temp_c(Batch(0.1, 45.0, 20.0, lost_j=1e5), 0.2)


def test_losses_alone_may_need_no_seed_at_all():
    """Never a negative mass."""
    assert seed_share(Batch(0.1, 45.0, 20.0, lost_j=1e4), 32.0) == 0.0


# -- refills ---------------------------------------------------------------------------------------------------------


def test_largest_warm_refill_is_a_fifth_of_the_bowl():
    """31.5 to 33 °C with 40 °C melt: 0.214 of the bowl (computed)."""
    assert largest_kg(Bowl(1.0, 31.5, 31.0, 33.0), 40.0) == pytest.approx(0.214, abs=HALF_DIGIT)


def test_half_a_kilogram_at_40_makes_a_bowl_of_1_5_too_hot():
    """0.5 kg at 40 °C into 1.5 kg at 31.5 °C gives 33.6 °C (computed)."""
    assert mixed_c(1.5, 31.5, 0.5, 40.0) == pytest.approx(33.6, abs=0.05)
    assert largest_kg(Bowl(1.5, 31.5, 31.0, 33.0), 40.0) < 0.5


@given(st.floats(0.2, 10.0), st.floats(30.6, 31.9), st.floats(15.0, 45.0))
def test_the_largest_refill_ends_on_an_edge_of_the_window(in_bowl_kg, bowl_c, refill_c):
    """Mixed again it is at the window's edge; one in the window may be of any size."""
    bowl = Bowl(in_bowl_kg, bowl_c, 30.5, 32.0)
    most_kg = largest_kg(bowl, refill_c)
    if math.isinf(most_kg):
        assert bowl.low_c <= refill_c <= bowl.high_c
    else:
        edge_c = bowl.high_c if refill_c > bowl.high_c else bowl.low_c
        assert mixed_c(in_bowl_kg, bowl_c, most_kg, refill_c) == pytest.approx(edge_c, abs=1e-9)


@given(st.floats(0.2, 5.0), st.floats(0.05, 5.0))
def test_temperatures_for_a_refill_are_the_same_rule_turned_round(in_bowl_kg, refill_kg):
    """Coldest and warmest: of each, the largest refill is the one asked about."""
    bowl = Bowl(in_bowl_kg, 31.5, 31.0, 32.0)
    for temp_c in temps_for_c(bowl, refill_kg):
        assert largest_kg(bowl, temp_c) == pytest.approx(refill_kg, rel=1e-6)


def test_solid_pieces_take_their_latent_heat_too():
    """First law at the edge of the window; far less than of a liquid as cold."""
    bowl = Bowl(2.0, 31.5, 31.0, 32.0)
    most_kg = largest_solid_kg(bowl, 20.0, DARK)
    taken_j = most_kg * (CP_SOLID.value * 11.0 + DARK.molten_share(31.0, 20.0) * 46000.0)
    assert taken_j == pytest.approx(2.0 * CP_SOLID.value * 0.5)
    assert most_kg < largest_kg(bowl, 20.0)


def test_a_bowl_already_at_its_edge_takes_no_warm_refill():
    """Not a negative mass."""
    assert largest_kg(Bowl(2.0, 32.5, 31.0, 32.0), 40.0) == 0.0


def test_a_refill_over_the_rim_is_refused_in_words():
    """What, got, wanted, next."""
    check_fits(0.7, 1.5, 2.2)
    with pytest.raises(UseError) as refusal:
        check_fits(0.8, 1.5, 2.2)
    assert str(refusal.value) == (
        "the refill is more than the bowl holds: got 0.80 kg into 1.50 kg in a bowl of 2.20 kg, "
        "wanted at most 0.70 kg; pour in less, or dip some more first (--in-bowl)"
    )


# -- cold water ------------------------------------------------------------------------------------------------------


@given(st.floats(45.0, 58.0), st.floats(31.0, 36.0), st.floats(4.0, 25.0))
def test_swapped_water_lands_where_it_was_meant_to(water_c, aim_c, cold_c):
    """Oracle: the built-in plant's own swap, which closes its enthalpy; within 0.01 K."""
    rig = load_rig("pot")
    litres = heating.swap_l(body_of(rig), water_c, aim_c, cold_c)
    assume(litres < 1.9)
    warmer = plant.Warmer(rig, plant.Start(water_c=water_c))
    warmer.swap(litres, cold_c)
    assert warmer.water_c == pytest.approx(aim_c, abs=0.01)


def test_water_no_colder_than_the_aim_cannot_cool_a_bath():
    """Infinite, not negative; and a bath already cool enough needs none."""
    body = body_of(load_rig("pot"))
    assert heating.swap_l(body, 54.0, 33.0, 33.0) == math.inf
    assert heating.swap_l(body, 32.0, 33.0, 15.0) == 0.0
