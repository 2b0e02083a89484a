"""What changed from night to night: a Hotelling test on the figures of nights in their order, and the likely cause.

Nights differ without a fault: the room is misjudged, the bath is filled by eye, mains wanders. That spread is chosen at
first, and joined with what the nights themselves show. A change counts when its statistic, over every place where the
nights can be cut in two, is so large that chance gives it once in `1 / RATE` comparisons (Hotelling 1931, from memory;
Bonferroni's bound over the cuts). Which figures moved together names the cause.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bainwright.review.night_figures import NightFigures

Floats = NDArray[np.float64]

RATE = 0.001  # false changes a comparison, whatever the number of nights and figures; chosen
PRIOR_NIGHTS = 20.0  # how many nights' worth the chosen spread counts for; chosen
ROOM_SHARE = 0.1  # spread of need and lead together: 2 °C of a misjudged room, of 20 °C over it; chosen
NEED_SHARE, RISE_SHARE = 0.02, 0.03  # spread of need and of rise alone: mains, a bath filled by eye; chosen
LEAD_SHARE, LEAD_K = 0.05, 0.05  # spread of the lead alone, by the bowl's fill and by the probe; chosen
ALIKE_K = 3.0  # baths farther apart are not compared: loss per degree grows with the excess; chosen
PROBE_K = 0.5  # spread of a probe that reads wrong or has slipped a little; chosen
FITS = 0.01  # the best cause fits when chance would miss it by as much at least this often; chosen
NEAR = 4.0  # causes this much worse than the best are named as well: odds of one to seven; chosen

NEED, RISE, LEAD = range(3)  # logarithm of need and of rise, and the lead in °C

WEAKER, STRONGER = "heater_weaker", "heater_stronger"
LESS_WATER, MORE_WATER = "less_water", "more_water"
MORE_LOSS, LESS_LOSS = "more_loss", "less_loss"
LEAD_UP, LEAD_DOWN = "lead_up", "lead_down"
SEVERAL = "several"

# What each cause moves: directions of (need, rise, lead) and the sign of all of them, its cost in squared distance, so
# that simple causes come first (chosen), and the spread of its size, if it has one. A lost lid shows in need, lead or
# both; by the lead alone it is likelier than a probe from 1 °C on.
CAUSES: tuple[tuple[str, tuple[tuple[float, float, float], ...], float, float, float], ...] = (
    (WEAKER, ((1.0, -1.0, 0.0),), 1.0, 4.0, np.inf),
    (STRONGER, ((1.0, -1.0, 0.0),), -1.0, 4.0, np.inf),
    (LESS_WATER, ((0.0, 1.0, 0.0),), 1.0, 4.0, np.inf),
    (MORE_WATER, ((0.0, 1.0, 0.0),), -1.0, 4.0, np.inf),
    (LEAD_UP, ((0.0, 0.0, 1.0),), 1.0, 4.0, PROBE_K),
    (LEAD_DOWN, ((0.0, 0.0, 1.0),), -1.0, 4.0, PROBE_K),
    (MORE_LOSS, ((1.0, 0.0, 0.0),), 1.0, 4.0, np.inf),
    (LESS_LOSS, ((1.0, 0.0, 0.0),), -1.0, 4.0, np.inf),
    (MORE_LOSS, ((0.0, 0.0, 1.0),), 1.0, 8.0, np.inf),
    (LESS_LOSS, ((0.0, 0.0, 1.0),), -1.0, 8.0, np.inf),
    (MORE_LOSS, ((1.0, 0.0, 0.0), (0.0, 0.0, 1.0)), 1.0, 8.0, np.inf),
    (LESS_LOSS, ((1.0, 0.0, 0.0), (0.0, 0.0, 1.0)), -1.0, 8.0, np.inf),
)


@dataclass(frozen=True)
class Drift:
    """A change between two nights that chance does not explain.

    Attributes
    ----------
    first : int
        The first night after it, as a place in the sequence that was compared.
    causes : tuple of str
        Those that fit, the likeliest first; `SEVERAL` alone where none does.
    change, spread : ndarray, shape (3,)
        Logarithms of need and rise, and the lead in °C: how far each moved, and half its 95 % interval. NaN for a
        figure that all nights on one side lack.
    chance : float
        How often chance would show as much, over all places.
    """

    first: int
    causes: tuple[str, ...]
    change: Floats
    spread: Floats
    chance: float

    @property
    def moved(self) -> NDArray[np.bool_]:
        """Which figures moved beyond their interval."""
        with np.errstate(invalid="ignore"):
            return np.asarray(np.abs(self.change) > self.spread)


def alike(nights: Sequence[NightFigures]) -> list[list[int]]:
    """The nights in groups that can be compared: baths within `ALIKE_K` of the group's first, the same probes."""
    groups: list[list[int]] = []
    for at, night in enumerate(nights):
        near = next((group for group in groups if _is_like(nights[group[0]], night)), None)
        if near is None:
            groups.append([at])
        else:
            near.append(at)
    return groups


def _is_like(one: NightFigures, other: NightFigures) -> bool:
    return abs(one.water_c - other.water_c) <= ALIKE_K and np.isnan(one.lead_k) == np.isnan(other.lead_k)


def drifts(nights: Sequence[NightFigures]) -> list[Drift]:
    """Every change among alike nights, in order.

    Parameters
    ----------
    nights : sequence of NightFigures
        In order of time, of one warmer.
    """
    values = np.array([[np.log(each.need_w_per_k), np.log(each.rise_k_per_j), each.lead_k] for each in nights])
    own = np.array([[each.need_sd, each.rise_sd, each.lead_sd] for each in nights]) ** 2
    if len(nights) < 2:
        return []
    return sorted(_within(values, own, 0), key=lambda each: each.first)


def _within(values: Floats, own: Floats, begin: int) -> list[Drift]:
    """The strongest change, and those on either side of it."""
    count = len(values)
    if count < 2:
        return []
    best = min((_cut(values, own, at) for at in range(1, count)), key=lambda each: each.chance)
    if not best.chance * (count - 1) < RATE:
        return []
    at = best.first
    found = Drift(begin + at, best.causes, best.change, best.spread, best.chance * (count - 1))
    return [found, *_within(values[:at], own[:at], begin), *_within(values[at:], own[at:], begin + at)]


def _cut(values: Floats, own: Floats, at: int) -> Drift:
    """The change where the nights are cut in two before night `at`, with its chance at this place alone."""
    from scipy.special import fdtrc, stdtrit  # scipy.stats has the same, and takes longer to load than all of a review

    change, spread = np.full(3, np.nan), np.full(3, np.nan)
    there = np.isfinite(values) & np.isfinite(own)
    known = np.asarray(there[:at].any(axis=0) & there[at:].any(axis=0))
    if not known.any():
        return Drift(at, (SEVERAL,), change, spread, 1.0)
    values, own, there = values[:, known], own[:, known], there[:, known]
    moved = _means(values[at:], there[at:]) - _means(values[:at], there[:at])
    covariance, free = _covariance(values, own, there, at, known)
    dims = int(known.sum())
    # With this scaling the squared distance is a multiple of F with (dims, free) degrees of freedom.
    distance = float(moved @ np.linalg.solve(covariance, moved))
    chance = float(fdtrc(dims, free, distance / dims))
    change[known], spread[known] = moved, stdtrit(free, 0.975) * np.sqrt(np.diag(covariance))
    return Drift(at, _causes(moved, covariance, known, free), change, spread, chance)


def _means(values: Floats, there: NDArray[np.bool_]) -> Floats:
    """Of each figure, over the nights that have it."""
    return np.asarray(np.where(there, values, 0.0).sum(axis=0) / there.sum(axis=0))


def _covariance(values: Floats, own: Floats, there: NDArray[np.bool_], at: int, known: NDArray[np.bool_]
                ) -> tuple[Floats, float]:
    """Covariance of the change of the known figures, and its degrees of freedom.

    A night that lacks a figure adds the chosen spread to it, and no scatter. Each step is a sum, or a product element
    by element, of positive matrices, so the result is positive too.
    """
    lead_c = values[:at, -1][there[:at, -1]] if known[LEAD] else np.zeros(1)
    chosen = _chosen(float(lead_c.mean()))[np.ix_(known, known)]
    scatter = np.diag((~there).sum(axis=0) * np.diag(chosen))
    shares, noise = np.zeros_like(chosen), np.zeros(len(chosen))
    for side in (slice(None, at), slice(at, None)):
        centred = np.where(there[side], values[side] - _means(values[side], there[side]), 0.0)
        scatter += centred.T @ centred
        weights = there[side] / there[side].sum(axis=0)
        shares += weights.T @ weights
        noise += (weights**2 * np.where(there[side], own[side], 0.0)).sum(axis=0)
    pooled = (PRIOR_NIGHTS * chosen + scatter) / (PRIOR_NIGHTS + len(values) - 2)
    free = PRIOR_NIGHTS + int(there.sum(axis=0).min()) - 2 - len(chosen) + 1
    return np.asarray(pooled * shares + np.diag(noise)), free


def _chosen(lead_k: float) -> Floats:
    """How nights differ without a fault."""
    room = ROOM_SHARE * np.array([1.0, 0.0, lead_k])
    alone = np.array([NEED_SHARE, RISE_SHARE, np.hypot(LEAD_SHARE * lead_k, LEAD_K)])
    return np.asarray(np.outer(room, room) + np.diag(alone**2))


def _causes(moved: Floats, covariance: Floats, known: NDArray[np.bool_], free: float) -> tuple[str, ...]:
    """The causes that explain a change, the best first; a cause pays for each direction and for an unlikely size."""
    from scipy.special import fdtrc

    inverse = np.linalg.inv(covariance)
    costs: dict[str, float] = {}
    for name, directions, sign, cost, size in CAUSES:
        drawn = np.array(directions)[:, known]
        if not drawn.any(axis=1).all():
            continue
        sizes = np.linalg.solve(drawn @ inverse @ drawn.T, drawn @ inverse @ moved)
        left = moved - sizes @ drawn
        over, distance = len(moved) - len(drawn), float(left @ inverse @ left)
        if (sizes * sign > 0.0).all() and (over == 0 or fdtrc(over, free, distance / over) > FITS):
            costs[name] = min(costs.get(name, np.inf), distance + cost + float((sizes[0] / size) ** 2))
    near = min(costs.values(), default=0.0) + NEAR
    return tuple(sorted((name for name in costs if costs[name] <= near), key=costs.__getitem__)) or (SEVERAL,)
