"""A world in which nothing moves but what a test scripts: for tests of the board rather than of the warmer."""

from __future__ import annotations

from functools import partial
from typing import Any


class StillWorld:
    """Fixed temperatures, scripted actions, and a list of the powers it was given."""

    def __init__(self, water_c: float, bowl_c: float, script: tuple[tuple[float, Any], ...]) -> None:
        self.dead: str | None = None
        self.raw_probes = False
        self.temps_c = {"water": water_c, "bowl": bowl_c}
        self._script = sorted(((round(at_s * 1e6), action) for at_s, action in script), key=lambda entry: entry[0])
        self._zero_us = 0
        self.energy_j = 0.0
        self._row_j = 0.0

    def arm(self, now_us: int) -> None:
        self._zero_us = now_us

    def advance(self, power_w: float, dt_us: int) -> None:
        self.energy_j += power_w * dt_us / 1e6

    def probe_c(self, name: str) -> float | None:
        return self.temps_c[name]

    def next_event_us(self) -> int | None:
        return self._zero_us + self._script[0][0] if self._script else None

    def due(self, now_us: int) -> list[Any]:
        due = [action for at_us, action in self._script if self._zero_us + at_us <= now_us]
        self._script = self._script[len(due):]
        return due

    def truth_row(self, now_us: int) -> tuple[float, ...]:
        """The power column is the mean of the second."""
        joules, self._row_j = self.energy_j - self._row_j, self.energy_j
        return ((now_us - self._zero_us) / 1000, self.temps_c["water"], self.temps_c["bowl"], float("nan"), joules)


def _make(water_c: float, bowl_c: float, script: tuple[tuple[float, Any], ...], *_: Any) -> StillWorld:
    return StillWorld(water_c, bowl_c, script)


def still(water_c: float = 31.0, bowl_c: float = 29.5, script: tuple[tuple[float, Any], ...] = ()) -> Any:
    """What `VirtualBoard(make_world=...)` takes."""
    return partial(_make, water_c, bowl_c, script)
