"""How much seed brings a melt to its working temperature, and where a given amount ends: one heat balance, both ways.

The melt and its bowl give heat; the seed warms up and melts with it; some leaves to the room:

    (1 - s) M c_l (T0 - Tf) + C_bowl (T0 - Tf) - Q = s M [c_s (Tf - Ts) + x L]

with s the seed's share of the total mass M, T0 the melt, Ts the seed, Tf the end, x the share of its latent heat L that
the seed takes up. L is per kg of chocolate: it already holds the fat content.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bainwright.core.errors import UseError
from bainwright.physics.materials import CP_LIQUID, CP_SOLID, LATENT_DARK, MELTS_OUT


@dataclass(frozen=True)
class Batch:
    """A melt about to be seeded.

    Attributes
    ----------
    total_kg : float
        Melt and seed together.
    melt_c, seed_c : float
        Temperatures before they meet.
    latent_j_per_kg : float
        Of the seed, per kg of chocolate.
    bowl_j_per_k : float
        Heat the bowl stores; it starts at the melt's temperature.
    lost_j : float
        What leaves to the room meanwhile.
    """

    total_kg: float
    melt_c: float
    seed_c: float
    latent_j_per_kg: float = LATENT_DARK.value
    bowl_j_per_k: float = 0.0
    lost_j: float = 0.0


def seed_share(batch: Batch, end_c: float, taken_up: float = 1.0) -> float:
    """Share of the total mass that must be seed to end at `end_c`.

    Parameters
    ----------
    batch : Batch
        The melt.
    end_c : float
        The temperature to end at, °C.
    taken_up : float
        Share of the seed's latent heat taken up at the end, 0 to 1.

    Returns
    -------
    float
        0 when the losses alone cool it that far or further.

    Raises
    ------
    UseError
        When no amount of seed could do it: an end outside seed and melt, or over the melting point of the seed.
    """
    check_batch(batch)
    if end_c >= MELTS_OUT.value:
        raise UseError(
            "the temperature to seed down to",
            got=f"{end_c:.1f} °C",
            wanted=f"below {MELTS_OUT.value:g} °C, where seed of form V melts out",
            hint="aim at the top of the working window",
        )
    if not batch.seed_c < end_c < batch.melt_c:
        raise UseError(
            "the temperature to seed down to",
            got=f"{end_c:.1f} °C",
            wanted=f"between the seed's {batch.seed_c:.1f} °C and the melt's {batch.melt_c:.1f} °C",
            hint="keep the seed in a cooler place (--seed-temp)" if end_c <= batch.seed_c else "melt it warmer",
        )
    return share_for(batch, end_c, taken_up)


def share_for(batch: Batch, end_c: float, taken_up: float) -> float:
    """The balance itself, for figures already checked."""
    fall_k = batch.melt_c - end_c
    given_j = (batch.total_kg * CP_LIQUID.value + batch.bowl_j_per_k) * fall_k - batch.lost_j
    wanted_j_per_kg = (
        CP_LIQUID.value * fall_k + CP_SOLID.value * (end_c - batch.seed_c) + taken_up * batch.latent_j_per_kg
    )
    return max(0.0, given_j / (batch.total_kg * wanted_j_per_kg))


def seed_for_melt_kg(melt_kg: float, batch: Batch, end_c: float, taken_up: float) -> float:
    """Seed for a melt already weighed: the same balance, with the melt's mass known in place of the total.

    Of `batch` the total mass is not used.
    """
    given_j = (melt_kg * CP_LIQUID.value + batch.bowl_j_per_k) * (batch.melt_c - end_c) - batch.lost_j
    return max(0.0, given_j / (CP_SOLID.value * (end_c - batch.seed_c) + taken_up * batch.latent_j_per_kg))


def end_temp_c(batch: Batch, share: float, taken_up: Callable[[float], float] = lambda end_c: 1.0) -> float:
    """Where a batch ends with a given share of seed: the balance the other way round.

    Parameters
    ----------
    batch : Batch
        The melt.
    share : float
        Seed over total mass, 0 up to under 1.
    taken_up : callable
        Share of the latent heat taken up as a function of the end temperature; it may not fall.

    Returns
    -------
    float
        °C. By bisection, because `taken_up` bends the line; what is left over only falls as the end rises.

    Raises
    ------
    UseError
        For a share that is none, or losses so large that the batch ends colder than its seed.
    """
    check_batch(batch)
    if not 0.0 <= share < 1.0:
        raise UseError("the share of seed", got=f"{share:g}", wanted="0 up to under 1 of the total")

    def left_over_j(end_c: float) -> float:
        fall_k = batch.melt_c - end_c
        melt_j = ((1.0 - share) * batch.total_kg * CP_LIQUID.value + batch.bowl_j_per_k) * fall_k - batch.lost_j
        rise_j_per_kg = CP_SOLID.value * (end_c - batch.seed_c) + taken_up(end_c) * batch.latent_j_per_kg
        return melt_j - share * batch.total_kg * rise_j_per_kg

    low_c, high_c = batch.seed_c, batch.melt_c
    if left_over_j(low_c) < 0.0:
        raise UseError(
            "so much heat is lost that the batch ends colder than its seed",
            got=f"{batch.lost_j:.0f} J lost",
            hint="seed faster, or cover the bowl",
        )
    for _ in range(60):
        middle_c = 0.5 * (low_c + high_c)
        low_c, high_c = (middle_c, high_c) if left_over_j(middle_c) > 0.0 else (low_c, middle_c)
    return 0.5 * (low_c + high_c)


def check_batch(batch: Batch) -> None:
    """Refuse what cannot be seeded at all.

    Raises
    ------
    UseError
        For a mass that is none, or seed no colder than the melt.
    """
    if not batch.total_kg > 0.0:
        raise UseError("the total mass", got=f"{batch.total_kg:g} kg", wanted="above 0")
    if not batch.seed_c < batch.melt_c:
        raise UseError(
            "the seed is not colder than the melt",
            got=f"seed {batch.seed_c:.1f} °C, melt {batch.melt_c:.1f} °C",
            wanted="seed at room temperature",
            hint="it would add heat instead of taking it",
        )
