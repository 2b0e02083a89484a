"""Textbook tuning rules on the identified warmer, each with the same cascade, filter, anti-windup and water limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bainwright.tuning.choose import Chosen, Search, Task, with_gains
from bainwright.tuning.fastsim import cascade_of
from bainwright.tuning.margins import Margins, margins
from bainwright.tuning.textbook import RULES, half_rule


@dataclass(frozen=True)
class Reference:
    """A rule's gains and their cost: by the rule itself, and slowed down to the margins of the chosen gains.

    Attributes
    ----------
    slower : float
        Factor that both gains were divided by; NaN when no factor reaches the margins.
    """

    name: str
    gains: dict[str, float]
    nominal: Margins
    cost_k: float
    slower: float
    equal_cost_k: float


def first_order(task: Task) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """(K, tau, theta) of the water per duty and of the bowl per water target, by the half rule.

    These rules take the water with its loss and its bowl as one lag. For the bowl the water loop closes in three dead
    times.
    """
    model = task.findings.model
    loss = model.bath_loss_w_per_k + model.bowl_loss_w_per_k
    store = model.water_j_per_k + model.bowl_j_per_k
    dead_s = model.dead_s + 0.5 * task.settings["period_s"]
    lags, theta_s = half_rule(0.0, [store / loss, model.heater_lag_s, model.water_lag_s], dead_s, 1)
    bowl_tau_s = model.bowl_j_per_k / (model.coupling_w_per_k + model.bowl_loss_w_per_k)
    kept, bowl_theta_s = half_rule(0.0, [bowl_tau_s, 3.0 * theta_s, model.bowl_lag_s], 0.0, 1)
    share = model.coupling_w_per_k / (model.coupling_w_per_k + model.bowl_loss_w_per_k)
    return (model.heater_w / loss, lags[0], theta_s), (share, kept[0], bowl_theta_s)


def compare(task: Task) -> list[Reference]:
    """Each rule on both loops, with the cost function of the chosen gains."""
    water, bowl = first_order(task)
    search = Search(task)
    found = []
    for name, rule in RULES.items():
        inner, outer = rule(*water), rule(*bowl)
        gains = {
            **search.base,
            "gains.water.kp": min(20.0, inner.kp), "gains.water.ti_s": inner.ti_s, "gains.water.td_s": inner.td_s,
            "gains.bowl.kp": min(20.0, outer.kp), "gains.bowl.ti_s": outer.ti_s, "gains.bowl.td_s": outer.td_s,
        }  # fmt: skip
        slower, calm = _slowed(search, gains)
        equal = search.error_k(calm) if calm else math.nan
        found.append(Reference(name, gains, _nominal(search, gains), search.error_k(gains), slower, equal))
    return found


def _nominal(search: Search, gains: dict[str, float]) -> Margins:
    cascade = cascade_of(with_gains(search.task.settings, gains))
    return max((margins(cascade, each) for each in search.nominal), key=lambda each: each.worst)


def _slowed(search: Search, gains: dict[str, float]) -> tuple[float, dict[str, float] | None]:
    """Slow both loops until every margin holds: divide gains and multiply integral times, as SIMC's tau_c would."""
    for slower in np.geomspace(1.0, 40.0, 75):
        factor = {".kp": 1.0 / slower, "ti_s": slower}
        calm = {name: value * factor.get(name[-3:], factor.get(name[-4:], 1.0)) for name, value in gains.items()}
        if search.strain(calm) <= 1e-9:
            return float(slower), calm
    return math.nan, None


def comparison_lines(references: list[Reference], chosen: Chosen) -> list[str]:
    """One sentence a rule. The cost joins the dipping error, the quiet error and the warm-up time."""
    lines = [f"The chosen gains: cost {chosen.cost_k:.3f} °C, sensitivity {chosen.nominal.worst:.2f}."]
    for each in references:
        ms = f"{each.nominal.worst:.2f}" if each.nominal.worst < 20.0 else "unlimited"
        line = f"{each.name} on both loops: cost {each.cost_k:.3f} °C, sensitivity {ms}"
        if math.isnan(each.slower):
            lines.append(line + "; it does not reach the margins at any speed.")
        else:
            lines.append(f"{line}; slowed {each.slower:.1f} times, to equal margins, {each.equal_cost_k:.3f} °C "
                         f"({each.equal_cost_k / chosen.cost_k:.2f} times the cost of the chosen gains).")
    return lines
