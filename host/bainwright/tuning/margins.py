"""How far a cascade is from oscillating: frequency responses of its loops, computed from the firmware's own law."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard.control.cascade import Cascade
from bainboard.control.pid import Pid
from bainwright.tuning.model import Model

Complexes = NDArray[np.complexfloating[Any, Any]]

# From once in five days to once in six seconds, 40 a decade: peaks are far wider than the steps.
FREQUENCIES = np.logspace(-5.0, 0.0, 201)
S = 1j * FREQUENCIES
NOISE_C = 0.03  # a reading's noise: 1/16 K steps (0.018) and 0.02 K of its own, together; computed


@dataclass(frozen=True)
class Margins:
    """Peaks of sensitivity (`ms`) and of its complement (`mt`), at the heater and at the outer loop."""

    heater_ms: float
    heater_mt: float
    bowl_ms: float
    bowl_mt: float

    @property
    def worst(self) -> float:
        """The largest of the four."""
        return max(self.heater_ms, self.heater_mt, self.bowl_ms, self.bowl_mt)


def feedback(pid: Pid, s: Complexes) -> Complexes:
    """From measurement to minus output of one controller, its filter included."""
    out: Complexes = pid.kp + 0.0 * s
    if pid.ti_s > 0.0:
        out = out + pid.kp / (pid.ti_s * s)
    if pid.td_s > 0.0:
        out = out + pid.kp * pid.td_s * s / ((pid.tf_s * s + 1.0) * (pid.calm_s * s + 1.0))
    return out


def laws(cascade: Cascade, s: Complexes) -> tuple[Complexes, Complexes]:
    """From the water's and from the bowl's reading to minus the duty, the rest of the cascade closed.

    The terms are those of `Cascade._heat` and `Cascade._known_w`: the water's target enters directly, through the
    feedforward of the losses and the lead, and lagged as the water follows it.
    """
    gains, water, bowl = cascade.gains, cascade.water, cascade.bowl
    lagged = 1.0 / (cascade.follow_s * s + 1.0)
    target = gains.loss_w_per_k / gains.heater_w + cascade._lead_gain * (1.0 - lagged) + lagged * (
        water.kp + (water.kp / (water.ti_s * s) if water.ti_s > 0.0 else 0.0))
    to_target = feedback(bowl, s)
    integral = bowl.kp / (bowl.ti_s * s) if bowl.ti_s > 0.0 else 0.0  # it is the offset, which the heat balance omits
    out_of_balance = gains.bowl_w_per_k / gains.heater_w * (1.0 + to_target - integral)
    return feedback(water, s), target * to_target + out_of_balance


def loops(cascade: Cascade, model: Model, s: Complexes = S) -> tuple[Complexes, Complexes]:
    """Open loops, cut at the heater and cut at the bowl's reading."""
    to_water, to_bowl = model.responses(s)
    from_water, from_bowl = laws(cascade, s)
    inner = 1.0 + to_water * from_water
    return to_water * from_water + to_bowl * from_bowl, to_bowl * from_bowl / inner


def peaks(loop: Complexes) -> tuple[float, float]:
    """Ms and Mt of an open loop."""
    whole = 1.0 / (1.0 + loop)
    return float(np.max(np.abs(whole))), float(np.max(np.abs(1.0 - whole)))


def margins(cascade: Cascade, model: Model) -> Margins:
    """The four peaks of a cascade on a warmer; infinite where a loop is unstable."""
    at_heater, at_bowl = loops(cascade, model)
    if encirclements(at_heater) != 0:
        return Margins(*[float("inf")] * 4)
    return Margins(*peaks(at_heater), *peaks(at_bowl))


def encirclements(loop: Complexes) -> int:
    """How often the curve encircles -1 clockwise; 0 for a stable loop without unstable poles (Nyquist 1932).

    The loop has integrators, at most two: their closing arc at low frequency is part of the count.
    """
    angle = np.unwrap(np.angle(1.0 + loop))
    # 1 + L starts along the integrators' direction and must end at 1 turned back by exactly that much
    start = np.angle(1.0 + loop[0])
    start -= 2.0 * np.pi if start > 0.5 * np.pi else 0.0  # two integrators and a lag begin just beyond half a turn
    return round(float(angle[-1] - angle[0] + start) / (2.0 * np.pi))


def movement(cascade: Cascade) -> float:
    """Root mean square movement of the duty by the readings' noise, which is new in each second."""
    water, bowl, gains = cascade.water, cascade.bowl, cascade.gains
    target = passed(bowl)
    by_bowl = target * cascade._lead_gain + gains.bowl_w_per_k / gains.heater_w * (1.0 + target)
    return NOISE_C * float(np.hypot(passed(water), by_bowl))


def passed(pid: Pid) -> float:
    """Share of such noise that a controller's proportional and derivative actions pass on, mean over frequencies."""
    before = np.exp(-1j * np.linspace(0.0, np.pi, 501))  # a tick ago
    calm = 1.0 / (1.0 + pid.calm_s * (1.0 - before))
    slope = calm * (1.0 - before) / (1.0 + pid.tf_s * (1.0 - before))
    return float(pid.kp * np.sqrt(np.mean(np.abs(1.0 + pid.td_s * slope) ** 2)))
