"""A warmer in physical terms: two heat stores, the coupling between them, their losses, and the lags."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard.control import rules

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating[Any, Any]]

# name, unit, words for a person
PARAMETERS = (
    ("water_j_per_k", "J/°C", "heat that lifts the water by 1 °C"),
    ("bowl_j_per_k", "J/°C", "heat that lifts bowl and chocolate by 1 °C"),
    ("coupling_w_per_k", "W/°C", "heat from water to chocolate"),
    ("bath_loss_w_per_k", "W/°C", "loss of the bath to the room"),
    ("bowl_loss_w_per_k", "W/°C", "loss of the chocolate to the room"),
    ("heater_lag_s", "s", "lag of the heater"),
    ("water_lag_s", "s", "lag of the water probe"),
    ("bowl_lag_s", "s", "lag of bowl wall and chocolate probe"),
    ("dead_s", "s", "dead time, reading and switch included"),
)
NAMES = tuple(row[0] for row in PARAMETERS)

LAGS = ("heater_lag_s", "water_lag_s", "dead_s")  # one after the other, from heater to reading

# How far a guess from litres, kilograms and watts may be off: the spread of the logarithm, chosen from differences
# between homemade warmers (a marked scale and a full pot 15 %; films of stirred and still chocolate a factor of two).
SPREAD = dict(zip(NAMES, (0.25, 0.25, 0.5, 0.7, 0.5, 0.6, 0.6, 0.6, 0.6), strict=True))
FILM_SHARE = 0.8  # of bowl wall to chocolate alone, for the water's film before it: 250 over 250 + 60 W/m²K; chosen
WATER_PROBE_S, BOWL_LAG_S, DEAD_S = 10.0, 30.0, 2.0  # chosen, see rules.PROBE_LAG_S and WALL_LAG_S
IDENTIFIED = 1.6  # a figure counts as identified when its interval's ends differ by less than this factor; chosen
FILM_POWER = 0.26  # exponent of the coupling over the fill, which makes a fifth-full bowl match rules.FIFTH; computed


@dataclass(frozen=True)
class Model:
    """One warmer with one vessel, full; see `PARAMETERS` for its figures. Watts are those at the heater's plug."""

    water_j_per_k: float
    bowl_j_per_k: float
    coupling_w_per_k: float
    bath_loss_w_per_k: float
    bowl_loss_w_per_k: float
    heater_lag_s: float
    water_lag_s: float
    bowl_lag_s: float
    dead_s: float
    heater_w: float
    empty_j_per_k: float = 0.0  # the empty bowl's part of `bowl_j_per_k`

    def vector(self) -> Floats:
        """The parameters, in the order of `NAMES`."""
        return np.array([getattr(self, name) for name in NAMES])

    def with_vector(self, values: Floats) -> Model:
        """The same warmer with other parameters."""
        return replace(self, **dict(zip(NAMES, map(float, values), strict=True)))

    def at_fill(self, fill: float) -> Model:
        """The warmer with its bowl filled to a share: less chocolate to warm, and less wall in contact with it."""
        stored = self.empty_j_per_k + fill * (self.bowl_j_per_k - self.empty_j_per_k)
        return replace(self, bowl_j_per_k=stored, coupling_w_per_k=self.coupling_w_per_k * fill**FILM_POWER)

    def needed_w(self, target_c: float, room_c: float) -> float:
        """Heat that holds the chocolate at a target."""
        return self.bath_loss_w_per_k * (self.water_for_c(target_c, room_c) - room_c) + self.bowl_loss_w_per_k * (
            target_c - room_c)

    def water_for_c(self, target_c: float, room_c: float) -> float:
        """Water that holds the chocolate at a target, °C."""
        return target_c + self.bowl_loss_w_per_k / self.coupling_w_per_k * (target_c - room_c)

    def held_by(self, water_c: float, room_c: float) -> float:
        """Temperature of the chocolate over water of this temperature, °C."""
        u, lost = self.coupling_w_per_k, self.bowl_loss_w_per_k
        return (u * water_c + lost * room_c) / (u + lost)

    def continuous(self) -> tuple[Floats, Floats]:
        """State matrices of dx/dt = A x + B u.

        Returns
        -------
        A : array, shape (5, 5)
            Over heat arriving (W), water, bowl, water reading, bowl reading (K over the room).
        B : array, shape (5, 3)
            From heater power, extra heat into the water, extra heat into the bowl (W).
        """
        u, cw, cb = self.coupling_w_per_k, self.water_j_per_k, self.bowl_j_per_k
        a, b = np.zeros((5, 5)), np.zeros((5, 3))
        a[0, 0], b[0, 0] = -1.0 / self.heater_lag_s, 1.0 / self.heater_lag_s
        a[1, :3] = [1.0 / cw, -(u + self.bath_loss_w_per_k) / cw, u / cw]
        a[2, 1:3] = [u / cb, -(u + self.bowl_loss_w_per_k) / cb]
        a[3, [1, 3]] = [1.0 / self.water_lag_s, -1.0 / self.water_lag_s]
        a[4, [2, 4]] = [1.0 / self.bowl_lag_s, -1.0 / self.bowl_lag_s]
        b[1, 1], b[2, 2] = 1.0 / cw, 1.0 / cb
        return a, b

    def responses(self, s: Complexes) -> tuple[Complexes, Complexes]:
        """Water and bowl readings per unit duty, at complex frequencies."""
        u, lw, lb = self.coupling_w_per_k, self.bath_loss_w_per_k, self.bowl_loss_w_per_k
        heat = self.heater_w * np.exp(-self.dead_s * s) / (self.heater_lag_s * s + 1.0)
        follow = u / (self.bowl_j_per_k * s + u + lb)
        water = heat / (self.water_j_per_k * s + lw + u * (1.0 - follow))
        return water / (self.water_lag_s * s + 1.0), water * follow / (self.bowl_lag_s * s + 1.0)


@dataclass(frozen=True)
class Findings:
    """A model and how well its figures are known.

    Attributes
    ----------
    model : Model
        The best fit.
    low, high : Model
        Ends of the 95 % interval of each figure; where it was not identified, its pessimistic bounds.
    samples : array, shape (n, len(NAMES))
        Parameter sets that fit the log about as well as the best, with their correlations.
    identified : tuple of str
        Figures that the data determine; the others are guesses from litres, kilograms and watts.
    fit_k, validation_k : float
        Root mean square error of the readings, in the fit and on data it did not use.
    """

    model: Model
    low: Model
    high: Model
    samples: Floats
    identified: tuple[str, ...]
    fit_k: float = math.nan
    validation_k: float = math.nan
    notes: list[str] = field(default_factory=list)

    @property
    def lags_known_together(self) -> bool:
        """Is the sum of the lags from heater to reading known, if not each alone? One record of readings can hardly
        say which of two lags comes first, and it matters little for the control."""
        low, high = np.percentile(lag_sum_s(self.samples), [2.5, 97.5])
        return bool(high / low < IDENTIFIED)

    @property
    def unidentified(self) -> tuple[str, ...]:
        """Figures that are guesses."""
        return tuple(name for name in NAMES if name not in self.identified)


def lag_sum_s(samples: Floats) -> Floats:
    """Heater lag, water probe's lag and dead time together, of parameter sets (n, len(NAMES))."""
    return np.asarray(samples[:, [NAMES.index(name) for name in LAGS]].sum(axis=1))


def guess(settings: Mapping[str, Any]) -> Model:
    """The likeliest warmer by its litres, kilograms and watts, before any data."""
    gains = rules.given_gains(settings)
    kg, litres = settings["chocolate_kg"], settings["water_l"]
    empty = settings["bowl_kg"] * rules.STEEL_J_PER_KGK
    return Model(
        water_j_per_k=gains.water_j_per_k,
        bowl_j_per_k=kg * rules.CHOCOLATE_J_PER_KGK + empty,
        coupling_w_per_k=FILM_SHARE * gains.bowl_w_per_k,
        bath_loss_w_per_k=rules.BATH_W_PER_K * (litres / 2.0) ** (2.0 / 3.0),
        bowl_loss_w_per_k=rules.BOWL_LOSS_W_PER_K * (kg / 2.0) ** (2.0 / 3.0),
        heater_lag_s=settings["heater_lag_s"],
        water_lag_s=WATER_PROBE_S,
        bowl_lag_s=BOWL_LAG_S,
        dead_s=DEAD_S,
        heater_w=settings["heater_w"],
        empty_j_per_k=empty,
    )
