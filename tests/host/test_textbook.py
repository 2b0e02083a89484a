"""The textbooks' rules against the textbooks' worked examples, and margins against python-control."""

from __future__ import annotations

import math

import control  # type: ignore[import-untyped]
import numpy as np
import pytest

from bainwright.tuning import textbook
from bainwright.tuning.textbook import Isa, half_rule, simc


def isa_close(got: Isa, want: tuple[float, float, float]) -> None:
    assert (got.kp, got.ti_s, got.td_s) == pytest.approx(want, rel=1e-3)


# -- Skogestad 2003, Table 4 (from memory; recomputed): model by the half rule, tau_c = theta ------------------------

WORKED = [  # zero_s, lags, dead, PI (kc, ti), series PID (kc, ti, td) or None
    (0.0, [1.0, 0.2], 0.0, (5.5, 0.8), None),
    (0.0, [1.0, 1.0, 1.0, 1.0], 0.0, (0.3, 1.5), (0.5, 1.5, 1.0)),
    (0.0, [20.0, 2.0], 1.0, (5.25, 16.0), (10.0, 8.0, 2.0)),
    (0.0, [1.0, 1.0], 1.0, (0.5, 1.5), (0.5, 1.0, 1.0)),
    (1.0, [6.0, 2.0, 2.0], 1.0, (0.7, 7.0), (1.0, 6.0, 3.0)),
]


@pytest.mark.parametrize(("zero_s", "lags_s", "dead_s", "pi", "pid"), WORKED)
def test_simc_gives_skogestad_s_table(zero_s, lags_s, dead_s, pi, pid):
    (tau_s,), theta_s = half_rule(zero_s, lags_s, dead_s, 1)
    got = simc(1.0, tau_s, theta_s)
    assert (got.kp, got.ti_s) == pytest.approx(pi, rel=0.02)
    if pid is not None:
        (tau1_s, tau2_s), theta_s = half_rule(zero_s, lags_s, dead_s, 2)
        want = textbook.from_series(*pid)
        isa_close(simc(1.0, tau1_s, theta_s, tau2_s=tau2_s), (want.kp, want.ti_s, want.td_s))


def test_simc_for_an_integrator_with_two_lags_gives_skogestad_s_table():
    """1/(s(s+1)²): the integrator is the remaining lag; PI 0.333, 12; series PID 1, 4, 1.5 (from memory)."""
    got = textbook.simc_integrating(1.0, 1.0 + 0.5)
    assert (got.kp, got.ti_s) == pytest.approx((0.333, 12.0), rel=0.01)
    assert textbook.simc_integrating(1.0, 0.5, tau2_s=1.5) == textbook.from_series(1.0, 4.0, 1.5)


def test_series_to_isa_keeps_the_controller():
    """Oracle: the two transfer functions at a frequency."""
    s = 0.3j
    isa = textbook.from_series(10.0, 8.0, 2.0)
    series = 10.0 * (1 + 1 / (8.0 * s)) * (1 + 2.0 * s)
    assert isa.kp * (1 + 1 / (isa.ti_s * s) + isa.td_s * s) == pytest.approx(series)


# -- the other rules' check values -----------------------------------------------------------------------------------


def test_amigo_gives_the_book_s_example():
    """Astrom & Hagglund 2004: T 1.04, L 0.075: PID 6.44, 0.361, 0.0367."""
    pid = textbook.amigo(1.0, 1.04, 0.075)
    assert (pid.kp, pid.ti_s, pid.td_s) == pytest.approx((6.44, 0.361, 0.0367), rel=0.005)


def test_ultimate_rules_share_their_constants():
    """Ziegler & Nichols 1942, Tyreus & Luyben 1992."""
    isa_close(textbook.ziegler_nichols(10.0, 8.0), (4.5, 6.667, 0.0))
    isa_close(textbook.ziegler_nichols(10.0, 8.0, derivative=True), (6.0, 4.0, 1.0))
    isa_close(textbook.tyreus_luyben(3.2, 1.0), (1.0, 2.2, 0.0))
    isa_close(textbook.tyreus_luyben(2.2, 6.3, derivative=True), (1.0, 13.86, 1.0))


def test_ultimate_gain_is_where_python_control_says():
    """Oracle: the gain margin of 2 e^-s/(20 s + 1), its dead time as a Pade fraction of order 10."""
    ku, tu_s = textbook.ultimate(2.0, 20.0, 1.0)
    plant = control.tf([2.0], [20.0, 1.0]) * control.tf(*control.pade(1.0, 10))
    gain, _, at, _ = control.margin(plant)
    assert ku == pytest.approx(gain, rel=1e-3)
    assert tu_s == pytest.approx(2 * math.pi / at, rel=1e-3)


# -- margins ---------------------------------------------------------------------------------------------------------


def peak(pid: Isa, plant) -> float:
    s = 1j * np.logspace(-4, 2, 20000)
    law = pid.kp * (1 + 1 / (pid.ti_s * s) + pid.td_s * s)
    return float(np.max(np.abs(1 / (1 + law * plant(s)))))


def test_simc_margins_are_the_exact_ones():
    """tau_c = theta: first order Ms 1.59 (GM 3.14, PM 61.4°), integrating Ms 1.70 (computed, exact)."""
    first = simc(1.0, 8.0, 1.0)
    assert peak(first, lambda s: np.exp(-s) / (8 * s + 1)) == pytest.approx(1.59, abs=0.01)
    assert peak(textbook.simc_integrating(1.0, 1.0), lambda s: np.exp(-s) / s) == pytest.approx(1.70, abs=0.01)
    loop = control.tf([first.kp * first.ti_s, first.kp], [first.ti_s, 0]) * control.tf([1], [8, 1])
    gain, phase, *_ = control.margin(loop * control.tf(*control.pade(1.0, 12)))
    assert gain == pytest.approx(3.14, abs=0.01)
    assert phase == pytest.approx(61.4, abs=0.1)


@pytest.mark.parametrize("ratio", [0.02, 0.05, 0.1, 0.2])
def test_each_rule_s_sensitivity_is_in_the_facts_band(ratio: float):
    """Ms over theta/tau 0.02 to 0.2 (computed there)."""
    ku, tu_s = textbook.ultimate(1.0, 1.0, ratio)

    def plant(s):
        return np.exp(-ratio * s) / (s + 1)

    bands = {
        textbook.ziegler_nichols(ku, tu_s): (2.3, 2.8),
        textbook.tyreus_luyben(ku, tu_s): (1.6, 2.1),
        simc(1.0, 1.0, ratio): (1.6, 1.7),
        textbook.improved_simc(1.0, 1.0, ratio): (1.45, 1.45),
        textbook.amigo(1.0, 1.0, ratio): (1.41, 1.41),
    }
    for pid, (low, high) in bands.items():
        wide = np.logspace(-3, 3, 30000) / 1.0 * 1j
        law = pid.kp * (1 + 1 / (pid.ti_s * wide) + pid.td_s * wide)
        ms = float(np.max(np.abs(1 / (1 + law * plant(wide)))[np.abs(wide) < 3 / ratio]))
        assert low - 0.08 <= ms <= high + 0.08, (pid, ms)
