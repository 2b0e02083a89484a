"""What can be wrong with one warmer: each a row with the change it makes at its moment, by a dose from 0 to 1. Pure."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from . import probes


@dataclass(frozen=True)
class Wrong:
    """A fault.

    Attributes
    ----------
    part : str
        water, second, bowl: that probe; else the warmer's own parts.
    begin : callable
        Given (rig, dose, rng); changes the rig.
    single : bool
        One part has failed; otherwise it is two, or heat that is not the warmer's.
    leaves : bool
        Water leaves, so the bound is wider.
    """

    name: str
    part: str
    begin: Callable[[Any, float, random.Random], None]
    single: bool = True
    leaves: bool = False


def between(dose: float, low: float, high: float) -> float:
    """A dose on a logarithmic scale."""
    return float(low * (high / low) ** dose)


def _reads(make: Callable[[float, random.Random], Callable[[float, float], float | None]], place: str) -> Any:
    def begin(rig: Any, dose: float, rng: random.Random) -> None:
        probe = rig.probes[place]
        if probe is not None:
            probe.fault, probe.fault_s = make(dose, rng), 0.0

    return begin


READS: dict[str, Callable[[float, random.Random], Callable[[float, float], float | None]]] = {
    "stuck": lambda dose, rng: probes.stuck(),
    "dithering": lambda dose, rng: probes.dithering(rng, between(dose, 0.03, 1.0)),
    "drifts_low": lambda dose, rng: probes.drifting(-between(dose, 0.05, 3.0)),
    "drifts_high": lambda dose, rng: probes.drifting(between(dose, 0.05, 3.0)),
    "settles_low": lambda dose, rng: probes.wandering(-between(rng.random(), 0.05, 3.0), between(dose, 1.0, 15.0)),
    "late": lambda dose, rng: probes.late(between(dose, 20.0, 900.0)),
    "skips": lambda dose, rng: probes.intermittent(2 + int(3 * dose)),
    "half_gain": lambda dose, rng: probes.halved(0.25 + 0.5 * dose),
    "jumps_low": lambda dose, rng: probes.jumped(-between(dose, 0.5, 20.0)),
    "open": lambda dose, rng: probes.open_circuit(),
}


def _slips(place: str) -> Callable[[Any, float, random.Random], None]:
    """Out of its medium over 1 to 25 minutes; it ends almost, or wholly, in the air."""

    def begin(rig: Any, dose: float, rng: random.Random) -> None:
        if rig.probes[place] is not None:
            rig.slips[place] = (between(dose, 60.0, 1500.0), rng.choice((0.0, 0.0, 0.2, 0.5)))

    return begin


def _swapped(rig: Any, dose: float, rng: random.Random) -> None:
    rig.swapped = True


def _shorted(rig: Any, dose: float, rng: random.Random) -> None:
    rig.shorted = True


def _sticks(rig: Any, dose: float, rng: random.Random) -> None:
    rig.sticks_s = between(dose, 5.0, 600.0)


def _welded(rig: Any, dose: float, rng: random.Random) -> None:
    rig.welded = True


def _both(rig: Any, dose: float, rng: random.Random) -> None:
    rig.shorted = rig.welded = True


def _share(low: float, high: float) -> Callable[[Any, float, random.Random], None]:
    def begin(rig: Any, dose: float, rng: random.Random) -> None:
        rig.heat_share = between(dose, low, high)

    return begin


def _cold(rig: Any, dose: float, rng: random.Random) -> None:
    rig.heat_share = 0.0


def _leaks(rig: Any, dose: float, rng: random.Random) -> None:
    """Empty after 5 to 120 minutes."""
    rig.plant.leak_l_per_s = rig.plant.water_l / between(dose, 300.0, 7200.0)


def _dries(rig: Any, dose: float, rng: random.Random) -> None:
    """Evaporates: nobody tops up for days, so little is left."""
    rig.plant.water_l *= between(dose, 0.1, 0.6) if rig.plant.liquid else 1.0


def _stove(rig: Any, dose: float, rng: random.Random) -> None:
    rig.plant.stove_w = between(dose, 20.0, 800.0)


WRONGS = {wrong.name: wrong for wrong in (
    Wrong("none", "", lambda rig, dose, rng: None),
    *(Wrong(f"water_{name}", "water", _reads(make, "water")) for name, make in READS.items()),
    Wrong("water_slips", "water", _slips("water")),
    *(Wrong(f"bowl_{name}", "bowl", _reads(READS[name], "bowl"))
      for name in ("stuck", "drifts_low", "drifts_high", "open", "jumps_low")),
    Wrong("bowl_slips", "bowl", _slips("bowl")),
    *(Wrong(f"second_{name}", "second", _reads(READS[name], "second")) for name in ("stuck", "drifts_low", "open")),
    Wrong("swapped", "bowl", _swapped),
    Wrong("switch_shorted", "", _shorted),
    Wrong("switch_sticks", "", _sticks),
    Wrong("guard_welded", "", _welded),
    Wrong("both_failed", "", _both, single=False),
    Wrong("heater_half", "", _share(0.3, 0.7)),
    Wrong("heater_open", "", _cold),
    Wrong("heater_strong", "", _share(1.3, 4.0)),
    Wrong("leaks", "", _leaks, leaves=True),
    Wrong("dries", "", _dries, leaves=True),
    Wrong("stove", "", _stove, single=False),
)}
