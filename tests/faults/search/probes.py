"""Probes as they read, and as they fail: a lag, an offset, a step and noise, then a fault over time. Pure."""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable

NO_ANSWER = 1  # `bainboard.drivers.codes.NO_PRESENCE`


class Probe:
    """The firmware's driver interface: `start`, `read`. Its medium is `at_c`, which the caller sets each second.

    Attributes
    ----------
    fault : callable or None
        Makes of (what a sound probe would read, seconds since the fault) what is read; None: no answer.
    """

    accuracy_unknown = False

    def __init__(self, rng: random.Random, start_c: float) -> None:
        self.lag_s = rng.uniform(5.0, 30.0)
        self.offset_c = max(-0.5, min(0.5, rng.gauss(0.0, 0.2)))
        self.step_c = rng.choice((0.0625, 0.0625, 0.01))
        self.noise_c = rng.choice((0.0, 0.01, 0.03))
        self.drift_c_per_h = rng.gauss(0.0, 0.02)
        self.at_c = self.tip_c = start_c
        self.wet = 1.0  # share of it in its medium; the rest is in the room's air
        self.room_c = 20.0
        self.fault: Callable[[float, float], float | None] | None = None
        self.fault_s = -1.0
        self._rng = rng
        self._t_s = 0.0
        self._word: tuple[float | None, int] = (start_c, 0)

    def pass_s(self, dt_s: float) -> None:
        """Time passes."""
        self._t_s += dt_s
        around_c = self.room_c + self.wet * (self.at_c - self.room_c)
        self.tip_c += (around_c - self.tip_c) * min(1.0, dt_s / self.lag_s)
        if self.fault_s >= 0.0:
            self.fault_s += dt_s

    def start(self) -> None:
        """A conversion: what is read next is the temperature of now."""
        self._word = self._converted()

    def read(self) -> tuple[float | None, int]:
        """(°C, 0), or (None, a code)."""
        return self._word

    def _converted(self) -> tuple[float | None, int]:
        c: float | None = self.tip_c + self.offset_c + self.drift_c_per_h * self._t_s / 3600.0
        if self.noise_c:
            c += self._rng.gauss(0.0, self.noise_c)
        if self.fault is not None and self.fault_s >= 0.0:
            c = self.fault(c, self.fault_s)
            if c is None:
                return None, NO_ANSWER
        return self.step_c * round(c / self.step_c), 0


# -- faults of a probe: each makes the function that `Probe.fault` is -------------------------------------------------


def stuck() -> Callable[[float, float], float]:
    """At what it read last."""
    held: list[float] = []

    def fault(c: float, t_s: float) -> float:
        if not held:
            held.append(c)
        return held[0]

    return fault


def dithering(rng: random.Random, reach_c: float) -> Callable[[float, float], float]:
    """Round a stuck value."""
    still = stuck()
    return lambda c, t_s: still(c, t_s) + rng.uniform(-reach_c, reach_c)


def drifting(k_per_min: float) -> Callable[[float, float], float]:
    """Away from the truth, for ever."""
    return lambda c, t_s: c + k_per_min * t_s / 60.0


def wandering(k_per_min: float, most_k: float) -> Callable[[float, float], float]:
    """Away from the truth, and then it stays so far away."""
    return lambda c, t_s: c + max(-most_k, min(most_k, k_per_min * t_s / 60.0))


def late(delay_s: float) -> Callable[[float, float], float]:
    """What was true so long ago."""
    past: deque[float] = deque()

    def fault(c: float, t_s: float) -> float:
        past.append(c)
        return past.popleft() if len(past) > delay_s else past[0]

    return fault


def intermittent(each: int) -> Callable[[float, float], float | None]:
    """No answer each so many readings."""
    count = [0]

    def fault(c: float, t_s: float) -> float | None:
        count[0] += 1
        return None if count[0] % each == 0 else c

    return fault


def halved(gain: float) -> Callable[[float, float], float]:
    """Only a part of every change from now on."""
    first: list[float] = []

    def fault(c: float, t_s: float) -> float:
        if not first:
            first.append(c)
        return first[0] + gain * (c - first[0])

    return fault


def jumped(step_c: float) -> Callable[[float, float], float]:
    """So much beside the truth at once."""
    return lambda c, t_s: c + step_c


def open_circuit() -> Callable[[float, float], None]:
    """No answer any more."""
    return lambda c, t_s: None
