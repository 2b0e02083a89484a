"""Tuning rules of the textbooks, as references to compare the chosen gains with; none of them is the default.

For the plant K e^(-theta s)/(tau s + 1), or an ultimate gain and period. A rule's PID is given in the ISA form
kp (1 + 1/(ti s) + td s); what its source gives in series form is converted.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Isa:
    """Gains of the ISA form; `td_s` 0 is a PI."""

    kp: float
    ti_s: float
    td_s: float = 0.0


def from_series(kc: float, ti_s: float, td_s: float) -> Isa:
    """Series to ISA: f = 1 + td/ti gives kc f, ti f, td/f."""
    f = 1.0 + td_s / ti_s
    return Isa(kc * f, ti_s * f, td_s / f)


def simc(k: float, tau1_s: float, theta_s: float, closed_s: float | None = None, tau2_s: float = 0.0) -> Isa:
    """SIMC (Skogestad 2003): kc = tau1 / (k (tau_c + theta)), ti = min(tau1, 4 (tau_c + theta)), td = tau2, series.

    Parameters
    ----------
    k, tau1_s, theta_s : float
        Gain, first lag and effective dead time.
    closed_s : float, optional
        The closed loop's time constant; the rule's own choice is theta.
    tau2_s : float
        A second lag, which becomes the derivative time.
    """
    wait_s = (theta_s if closed_s is None else closed_s) + theta_s
    ti_s = min(tau1_s, 4.0 * wait_s)
    return from_series(tau1_s / (k * wait_s), ti_s, tau2_s)


def simc_integrating(slope: float, theta_s: float, closed_s: float | None = None, tau2_s: float = 0.0) -> Isa:
    """SIMC for slope e^(-theta s)/s."""
    wait_s = (theta_s if closed_s is None else closed_s) + theta_s
    return from_series(1.0 / (slope * wait_s), 4.0 * wait_s, tau2_s)


def improved_simc(k: float, tau1_s: float, theta_s: float, closed_s: float | None = None) -> Isa:
    """Improved SIMC (Grimholt & Skogestad 2018): the series PID with td = theta / 3 for a first-order plant."""
    wait_s = (theta_s if closed_s is None else closed_s) + theta_s
    return from_series(tau1_s / (k * wait_s), min(tau1_s, 4.0 * wait_s), theta_s / 3.0)


def amigo(k: float, tau_s: float, theta_s: float) -> Isa:
    """AMIGO (Astrom & Hagglund 2004), PID: kp = (0.2 + 0.45 T/L)/K, ti = L (0.4 L + 0.8 T)/(L + 0.1 T),
    td = 0.5 L T/(0.3 L + T)."""
    kp = (0.2 + 0.45 * tau_s / theta_s) / k
    ti_s = theta_s * (0.4 * theta_s + 0.8 * tau_s) / (theta_s + 0.1 * tau_s)
    return Isa(kp, ti_s, 0.5 * theta_s * tau_s / (0.3 * theta_s + tau_s))


def ziegler_nichols(ku: float, tu_s: float, derivative: bool = False) -> Isa:
    """Ziegler & Nichols 1942, from the ultimate gain and period."""
    return Isa(0.6 * ku, tu_s / 2.0, tu_s / 8.0) if derivative else Isa(0.45 * ku, tu_s / 1.2)


def tyreus_luyben(ku: float, tu_s: float, derivative: bool = False) -> Isa:
    """Tyreus & Luyben 1992."""
    return Isa(ku / 2.2, 2.2 * tu_s, tu_s / 6.3) if derivative else Isa(ku / 3.2, 2.2 * tu_s)


def half_rule(zero_s: float, lags_s: list[float], dead_s: float, kept: int) -> tuple[list[float], float]:
    """Skogestad's half rule: (remaining lags, effective dead time) of a chain of lags, longest first.

    Half of the largest lag left out is added to the last remaining lag, half to the dead time. The other lags and a
    positive zero's time `zero_s` are added to the dead time.
    """
    lags = sorted(lags_s, reverse=True)
    left = lags[kept:]
    half_s = left[0] / 2.0 if left else 0.0
    kept_s = [*lags[: kept - 1], lags[kept - 1] + half_s]
    return kept_s, dead_s + zero_s + half_s + sum(left[1:])


def ultimate(k: float, tau_s: float, theta_s: float) -> tuple[float, float]:
    """Exact ultimate gain and period of K e^(-theta s)/(tau s + 1), by bisection of its phase."""
    low, high = 1e-9, math.pi / theta_s
    for _ in range(200):
        mid = 0.5 * (low + high)
        if math.atan(tau_s * mid) + theta_s * mid < math.pi:
            low = mid
        else:
            high = mid
    return math.hypot(1.0, tau_s * mid) / k, 2.0 * math.pi / mid


# The rules of a comparison: name and rule from (K, tau, theta). PID where the source gives one for such a plant.
RULES: dict[str, Callable[[float, float, float], Isa]] = {
    "SIMC": simc,
    "improved SIMC": improved_simc,
    "AMIGO": amigo,
    "Tyreus-Luyben": lambda k, tau_s, theta_s: tyreus_luyben(*ultimate(k, tau_s, theta_s)),
    "Ziegler-Nichols": lambda k, tau_s, theta_s: ziegler_nichols(*ultimate(k, tau_s, theta_s)),
}
