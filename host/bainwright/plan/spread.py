"""How far a warmer may differ from what its litres, kilograms and watts suggest, and what that does to a time."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

from bainwright.core.figures import CHOSEN, Figure
from bainwright.physics.heating import Scales

Factors = tuple[float, float]  # the low and the high factor that hold nine warmers in ten


@dataclass(frozen=True)
class Spread:
    """Low and high factor of each of the `Scales`, and of the plan's own simplifications. All chosen.

    Attributes
    ----------
    store : pair
        Litres by eye and a pot of unknown weight.
    chocolate : pair
        Latent heat and melting curve differ between makers.
    film : pair
        Still and stirred chocolate, thick bowls: the films are good to a third.
    bath_loss : pair
        Draughts and surfaces; wider where the pot's width or its cover is a guess.
    bowl_loss : pair
        Draughts, and a hand that stirs.
    heater : pair
        The tolerance of a heater, and of the voltage it runs at.
    model : pair
        Three lumps instead of a warmer.
    stirred : pair
        Shares of the time that people stir a melt.
    """

    store: Factors = (0.88, 1.15)
    chocolate: Factors = (0.92, 1.10)
    film: Factors = (0.65, 1.35)
    bath_loss: Factors = (0.70, 1.50)
    bowl_loss: Factors = (0.70, 1.60)
    heater: Factors = (0.95, 1.05)
    model: Factors = (0.94, 1.08)
    stirred: Factors = (0.2, 0.8)


GUESSED_POT: Factors = (0.60, 2.0)  # of the bath's losses: a pot a third wider or with no cover loses twice as much

SPREAD_FIGURES = [
    Figure("losses of the bath may be off by a factor of", 1.5, "", CHOSEN, "draughts and surfaces"),
    Figure("the same with the pot's width or cover unknown", GUESSED_POT[1], "", CHOSEN, "an open pot a third wider"),
    Figure("heat into the chocolate may be off by a factor of", 1.35, "", CHOSEN, "films are good to a third"),
]


def each_alone(spread: Spread, scales: Scales) -> Iterator[Scales]:
    """The scales with one of them at its low or high end, for every one of them."""
    for name in (each.name for each in fields(Scales)):
        for factor in getattr(spread, name):
            yield replace(scales, **{name: getattr(scales, name) * factor})


def ends(likely: float, others: list[float], model: Factors) -> tuple[float, float]:
    """Ends of a band from a likely value and the values with one figure changed at a time.

    Changes of the same direction add as squares do, since they are independent of each other. An infinite value makes
    the upper end infinite.
    """
    quicker = sum((likely - other) ** 2 for other in others if other < likely)
    slower = sum((other - likely) ** 2 for other in others if other > likely)
    low = likely - math.hypot(math.sqrt(quicker), likely * (1.0 - model[0]))
    high = likely + math.hypot(math.sqrt(slower), likely * (model[1] - 1.0))
    return max(0.4 * likely, low), high
