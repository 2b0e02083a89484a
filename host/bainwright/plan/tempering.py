"""How a melt is brought into temper: by seed, by cocoa butter, and where seed that was put aside ends."""

from __future__ import annotations

import math

from bainwright.core.errors import UseError
from bainwright.physics import heating, seeding
from bainwright.physics.seeding import Batch
from bainwright.plan.parts import Butter, Seed, SeedAnswer
from bainwright.plan.request import BUTTER, SEEDING
from bainwright.plan.setup import Setup
from bainwright.plan.timing import table_cooling

SEED_FOR_S = 12 * 60.0  # chosen: in portions, each stirred until it is gone
# 15 to 25 % of the batch is usual (common practice, no source). The limit is chosen: over half, more pieces than melt
# go in, and the balance depends on losses that nobody knows so well.
MOST_SEED = 0.5
LOSS_LOW, LOSS_HIGH = 0.5, 1.5  # of the losses while seeding, chosen: a bowl wrapped in a towel, a bowl in a draught
BUTTER_SHARE = 0.01  # of the mass; common practice, no source
BUTTER_HIGH_C = 34.0  # cocoa butter seed is stirred in at 33-34 °C; common practice, no source
BUTTER_UNDER_CEILING_K = 0.5  # chosen: with milk fat the crystals of the seed melt that much earlier
BUTTER_RANGE_K = 1.0
# The mean of `falling` over the step: what the bowl loses meanwhile goes by its mean temperature.
FALL_MEAN = 1.0 / 3.0 - math.exp(-3.0) / (1.0 - math.exp(-3.0))


def falling(part: float) -> float:
    """From 1 to 0 over a step of seeding, quick at first: the first portion is the largest."""
    return (math.exp(-3.0 * part) - math.exp(-3.0)) / (1.0 - math.exp(-3.0))


def plan_seed(setup: Setup) -> Seed | None:
    """How much seed takes the melt to its end temperature.

    None for another method, for melted stock, and where seed was put aside and no amount of it would do.

    Raises
    ------
    UseError
        When no amount of seed can do it.
    """
    request = setup.request
    if not request.tempered or request.method != SEEDING:
        return None
    end_c, batch_kg = request.end_c, request.batch_kg
    if end_c <= request.seed_c < request.melt_c:
        own = "the room is" if request.seed_c == request.room_c else "the seed is"
        raise UseError(
            f"{own} too warm for seed",
            got=f"seed at {request.seed_c:.1f} °C",
            wanted=f"colder than {end_c:.1f} °C, where seeding ends",
            hint="cool the room, or keep the seed in a cooler place (--seed-temp)",
        )
    taken_up = setup.chocolate.molten_share(end_c, request.seed_c)
    planned = seeding.seed_share(_batch(setup, 1.0), end_c, taken_up)
    share = _share_by_experience(planned, request.seed_factor)
    if planned >= MOST_SEED or share >= MOST_SEED:
        if request.seed_given_kg is not None:
            return None
        raise UseError(
            "there would be more seed than melt",
            got=f"{math.ceil(100 * max(planned, share))} % of {batch_kg:.2f} kg",
            wanted=f"under {100 * MOST_SEED:g} %",
            hint="use a cooler melt (--melt), colder seed, a lighter bowl or more chocolate; --method cool needs none",
        )
    melt_kg = (1.0 - share) * batch_kg  # weighed out for the likely case; the range is for this melt
    low_kg = seeding.seed_for_melt_kg(melt_kg, _batch(setup, LOSS_HIGH), end_c, 1.0)
    high_kg = seeding.seed_for_melt_kg(melt_kg, _batch(setup, LOSS_LOW), end_c, taken_up)
    factor = request.seed_factor
    return Seed(
        low_kg=min(factor * low_kg, share * batch_kg),
        likely_kg=share * batch_kg,
        high_kg=min(max(factor * high_kg, share * batch_kg), melt_kg),  # never more seed than melt
        share=share,
        taken_up=taken_up,
        lost_w=_lost_w(setup),
        factor=factor,
        end_c=end_c,
    )


def answer_seed(setup: Setup) -> SeedAnswer | None:
    """Where the batch ends with the seed that was put aside; None when nobody asked."""
    request = setup.request
    if request.seed_given_kg is None:
        return None
    given = request.seed_given_kg / request.batch_kg
    share = _share_by_experience(given, 1.0 / request.seed_factor)  # what the balance would have asked for in its place

    def ends_c(losses: float, latent: float) -> float:
        batch = _batch(setup, losses)
        low_c = request.seed_c
        try:
            return seeding.end_temp_c(
                batch, share, lambda temp_c: min(1.0, latent * setup.chocolate.molten_share(temp_c, low_c))
            )
        except UseError:  # so much is lost that it ends as cold as its seed
            return low_c

    return SeedAnswer(
        mass_kg=request.seed_given_kg,
        share=given,
        coldest_c=ends_c(LOSS_HIGH, 1.15),
        ends_c=ends_c(1.0, 1.0),
        warmest_c=ends_c(LOSS_LOW, 0.9),
    )


def plan_butter(setup: Setup) -> Butter | None:
    """Cocoa butter seed: its mass, when it goes in, and how long the melt cools on the table before."""
    request = setup.request
    if request.method != BUTTER:
        return None
    high_c = min(BUTTER_HIGH_C, request.profile.ceiling_c - BUTTER_UNDER_CEILING_K)
    down = table_cooling(setup, request.melt_c, high_c)
    low_c = high_c - BUTTER_RANGE_K
    on = table_cooling(setup, low_c, request.profile.high_c)
    return Butter(BUTTER_SHARE * request.batch_kg, low_c, high_c, down, on)


def _lost_w(setup: Setup) -> float:
    """Heat that the bowl on the table loses while it is seeded."""
    request = setup.request
    mean_c = request.end_c + FALL_MEAN * (request.melt_c - request.end_c)
    return max(0.0, heating.bowl_off_w(setup.body, mean_c, setup.around))  # a room as warm takes none


def _batch(setup: Setup, losses: float) -> Batch:
    """The batch, with some of the losses that the bowl on the table has while it is seeded."""
    request = setup.request
    return Batch(
        request.batch_kg,
        request.melt_c,
        request.seed_c,
        setup.chocolate.latent.value,
        setup.body.wall_j_per_k,
        losses * _lost_w(setup) * SEED_FOR_S,
    )


def _share_by_experience(planned: float, factor: float) -> float:
    """Share of seed after evenings gone by, which compare seed with a melt that was weighed."""
    per_melt = factor * planned / (1.0 - planned)
    return per_melt / (1.0 + per_melt)
