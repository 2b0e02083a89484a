"""The cascade's loops against python-control, and against the law itself run on a sine."""

from __future__ import annotations

from dataclasses import replace

import control  # type: ignore[import-untyped]
import numpy as np
import pytest

from bainboard.control.pid import Pid
from bainwright.files.rig import load_rig
from bainwright.tuning import fastsim, margins, model

POT = load_rig("pot").settings


def warmer(**changes: float) -> model.Model:
    """The pot as litres and kilograms make it likely."""
    return replace(model.guess(POT), **changes)


def as_control(which: model.Model) -> tuple[control.TransferFunction, control.TransferFunction]:
    """Water and bowl reading per duty from the state matrices, dead time left out."""
    a, b = which.continuous()
    system = control.ss(a, b[:, :1] * which.heater_w, [[0, 0, 0, 1, 0], [0, 0, 0, 0, 1]], np.zeros((2, 1)))
    return system[0, 0], system[1, 0]


def test_responses_are_those_of_the_state_matrices():
    """Oracle: python-control's frequency response. Two ways from the same balances, so to rounding."""
    which = warmer(dead_s=0.0)
    for mine, theirs in zip(which.responses(margins.S), as_control(which), strict=True):
        assert mine == pytest.approx(theirs(margins.S), rel=1e-6)


def test_static_gain_is_the_heat_balance_by_hand():
    """100 W into 1 W/K of bath and, through 4 W/K, 1 W/K of bowl: 100 / (1 + 4/5) = 55.6 K, the bowl at 0.8 of it."""
    which = warmer(bath_loss_w_per_k=1.0, coupling_w_per_k=4.0, bowl_loss_w_per_k=1.0, heater_w=100.0)
    water, bowl = which.responses(np.array([1e-12j]))
    assert abs(water[0]) == pytest.approx(100 / 1.8)
    assert abs(bowl[0] / water[0]) == pytest.approx(0.8)


def test_feedback_of_a_pid_is_python_control_s():
    pid = Pid(0.8, 200.0, 12.0)
    s = control.tf("s")
    law = 0.8 * (1 + 1 / (200 * s) + 12 * s / (pid.tf_s * s + 1))
    assert margins.feedback(pid, margins.S) == pytest.approx(law(margins.S), rel=1e-9)


def test_peaks_are_python_control_s_for_a_known_loop():
    """Ms of SIMC on an integrator with dead time: 1.70 (Skogestad 2003)."""
    theta_s = 30.0
    s = margins.S
    loop = (1 + 1 / (8 * theta_s * s)) / (2 * theta_s) / s * np.exp(-theta_s * s)
    assert margins.peaks(loop)[0] == pytest.approx(1.70, abs=0.01)


@pytest.mark.parametrize(("speed", "stable"), [(1.0, True), (6.0, False)])
def test_an_unstable_loop_is_found_by_its_encirclements(speed: float, stable: bool):
    """Oracle: closed-loop poles of python-control, the dead time as a Pade fraction of order 4."""
    which = warmer(dead_s=20.0)
    settings = {**POT, "gains.water.kp": 0.35 * speed, "gains.water.ti_s": 400.0, "gains.bowl.kp": 0.001,
                "gains.bowl.ti_s": 7000.0, "gains.bowl_w_per_k": 0.001}
    water, _ = as_control(which)
    loop = water * control.tf(*control.pade(20.0, 4)) * control.tf([0.35 * speed * 400.0, 0.35 * speed], [400.0, 0.0])
    assert bool(np.all(control.feedback(loop, 1).poles().real < 0)) is stable
    assert np.isfinite(margins.margins(fastsim.cascade_of(settings), which).heater_ms) is np.bool_(stable)


def test_the_law_s_frequency_response_is_what_the_firmware_does_to_a_sine():
    """The cascade itself on sines in water and bowl about its working point, no rail. Tolerance 3 %, its second."""
    settings = {**POT, "gains.water.kp": 0.05, "gains.water.ti_s": 300.0, "gains.bowl.kp": 1.5,
                "gains.bowl.ti_s": 800.0, "gains.bowl.td_s": 60.0, "gains.slew_c_per_min": 20.0}
    omega = 2 * np.pi / 600.0
    for column in (0, 1):
        cascade = fastsim.cascade_of(settings)
        cascade.reset(32.7, 31.5)
        duties, times = [], np.arange(0, 24000.0)
        for t in times:
            wave = 0.05 * np.sin(omega * t)
            readings = (32.7 + wave, 31.5) if column == 0 else (32.7, 31.5 + wave)
            duties.append(cascade.step(*readings, 31.5, 45.0, 20.0, 1.0))
            cascade.applied(duties[-1])
        part = np.array(duties[-12000:])
        at = times[-12000:]
        drift = np.polyfit(at, part, 1)
        got = 2 / len(at) * np.sum((part - np.polyval(drift, at)) * np.exp(-1j * omega * at)) / 0.05 * 1j
        want = -margins.laws(cascade, np.array([1j * omega]))[column][0]
        assert 0.0 < part.min() < part.max() < 1.0
        assert abs(got - want) <= 0.03 * abs(want)
