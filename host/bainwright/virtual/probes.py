"""A probe's sensing element: lag, bias and noise. Resolution and codes belong to the device around it."""

from __future__ import annotations

import math
import zlib

MASK = (1 << 64) - 1
BIAS_C = 0.06  # spread of the error that a calibration leaves, chosen: a sixteenth of a degree
NOISE_PERIOD_US = 250_000  # noise changes four times a second, so two readings at one time agree


def mix(number: int) -> int:
    """Scramble 64 bits (SplitMix64, public domain), so that neighbouring numbers give unrelated ones."""
    number = (number + 0x9E3779B97F4A7C15) & MASK
    number = ((number ^ (number >> 30)) * 0xBF58476D1CE4E5B9) & MASK
    number = ((number ^ (number >> 27)) * 0x94D049BB133111EB) & MASK
    return number ^ (number >> 31)


def normal(number: int) -> float:
    """A nearly normal deviate of unit spread, never beyond 3.5: the sum of four uniform deviates."""
    bits = mix(number)
    total = (bits & 0xFFFF) + (bits >> 16 & 0xFFFF) + (bits >> 32 & 0xFFFF) + (bits >> 48)
    return (total / 65535.0 - 2.0) * math.sqrt(3.0)


class Element:
    """One probe's sensing element.

    Parameters
    ----------
    name : str
        ``water`` or ``bowl``; two probes of one seed differ.
    seed : int
        Random seed of the bias and the noise.
    lag_s : float
        First-order lag; 0 follows at once.
    noise_c : float
        Spread of the noise.
    bias_c : float or None
        Error of the reading; None draws a small one.
    temp_c : float
        Temperature around it at power-on; it starts settled.
    """

    def __init__(self, name: str, seed: int, lag_s: float, noise_c: float, bias_c: float | None, temp_c: float) -> None:
        self._key = mix(seed & MASK) ^ zlib.crc32(name.encode())
        self.lag_s, self.noise_c, self.temp_c = lag_s, noise_c, temp_c
        self.bias_c = BIAS_C * normal(self._key) if bias_c is None else bias_c

    def advance(self, temp_c: float, dt_s: float) -> None:
        """Let `dt_s` pass in surroundings at `temp_c`."""
        if self.lag_s > 0.0:
            self.temp_c += (temp_c - self.temp_c) * -math.expm1(-dt_s / self.lag_s)
        else:
            self.temp_c = temp_c

    def reading_c(self, plant_us: int) -> float:
        """The element's reading at a plant time, with its bias and noise."""
        noise = normal(self._key + plant_us // NOISE_PERIOD_US + 1) if self.noise_c else 0.0
        return self.temp_c + self.bias_c + self.noise_c * noise
