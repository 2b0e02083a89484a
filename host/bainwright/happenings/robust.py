"""A linear fit that outliers do not pull, with a guess for each factor. Pure.

Weighted least squares in rounds: a row that is missed by much counts less in the next round (Cauchy's weights), and the
spread that says what is much comes from the median of the misses (from memory: Huber, Robust Statistics).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SD_PER_MEDIAN = 1.4826  # a normal distribution's spread over the median of its absolute deviations


class Fit(NamedTuple):
    """Factors, the normal matrix that they solve (its inverse is their covariance), and what they leave of each row."""

    factors: Floats
    normal: Floats
    missed: Floats


def fitted(
    rows: Floats, parts: Floats, prior: Floats, aim: Floats, *, noise: float, shared: int, rounds: int,
    first: float | None = None,
) -> Fit:  # fmt: skip
    """The factors x with which ``x @ parts`` explains the rows.

    Parameters
    ----------
    rows : array, shape (n,)
        What is to be explained.
    parts : array, shape (factors, n)
        What explains it.
    prior, aim : array
        The guess: inverse variances of the factors as a matrix, and that matrix times the guessed factors.
    noise : float
        The least spread that is believed.
    shared : int
        Neighbouring rows that have the same readings in them, and together count as one.
    rounds : int
        How often the weights are renewed.
    first : float, optional
        The spread in the first round, which takes every row as it is; `noise` by default.
    """
    scale, missed = noise if first is None else first, np.zeros(len(rows))
    for _ in range(rounds):
        weight = 1.0 / (1.0 + (missed / (2.0 * scale)) ** 2) / scale**2 / shared
        normal = (parts * weight) @ parts.T + prior
        factors = np.linalg.solve(normal, (parts * weight) @ rows + aim)
        missed = rows - factors @ parts
        scale = max(noise, spread(missed)) if len(missed) else noise
    return Fit(np.asarray(factors), np.asarray(normal), np.asarray(missed))


def spread(misses: NDArray[Any]) -> float:
    """The spread of deviations from zero, by their median."""
    return SD_PER_MEDIAN * float(np.median(np.abs(misses)))
