"""When in an evening a fault comes: each phase sets the warmer up, starts the hold and says when it strikes."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from bainboard.heat_balance import largest_load_j_per_k
from bainboard.selftest import LOOK_S, PROBE_S, PROMISE_K, SelfTest
from bainwright.files.chocolate import load_profile
from bainwright.virtual import scenario as acts

from .rigs import Warmer
from .world import Mishap

START_S = 1.0  # when the start is asked for
QUIET_S = 1500.0  # after the self-test: a hold that began near its window is quiet by then
TARGET_C, NIGHT_C = 31.5, 40.0


@dataclass
class Setting:
    """A case under construction.

    Attributes
    ----------
    warmer : Warmer
        What it is played on; `rig_changes` replace settings of it.
    strike_s : float
        When the fault comes.
    limit_c : float
        What the water's limit is in this stage.
    """

    warmer: Warmer
    rng: random.Random
    profile: dict[str, Any]
    water_c: float = 25.0
    bowl_c: float = 29.0
    room_c: float = 20.0
    fill: float = 1.0
    stage: str = "work"
    start_s: float = START_S
    strike_s: float = 0.0
    end_s: float = 0.0
    events: list[acts.Event] = field(default_factory=list)
    mishaps: list[Mishap] = field(default_factory=list)
    rig_changes: dict[str, Any] = field(default_factory=dict)
    play: dict[str, Any] = field(default_factory=dict)
    upload: bytes = b""  # settings sent in this case

    @property
    def values(self) -> dict[str, Any]:
        """The settings the board has."""
        return {**self.warmer.rig.settings, **self.rig_changes}

    @property
    def check_s(self) -> float:
        """The longest self-test that suspects nothing."""
        return float(SelfTest(self.values, 0).left_s(0))

    @property
    def pulse_s(self) -> float:
        """Length of one of its pulses."""
        return float(PROMISE_K * largest_load_j_per_k(self.values) / self.values["heater_w"])

    @property
    def drain_s(self) -> float:
        """Length of one of its waits."""
        return float(self.values["heater_lag_s"]) + PROBE_S

    @property
    def chocolate_kg(self) -> float:
        """In the bowl at the start."""
        return max(0.05, self.fill * float(self.values["chocolate_kg"]))


def _check(offset: Callable[[Setting], float]) -> Callable[[Setting], None]:
    def set_up(s: Setting) -> None:
        s.bowl_c = s.water_c + s.rng.uniform(-1.0, 1.0)
        s.strike_s = START_S + offset(s)

    return set_up


def _idle(s: Setting) -> None:
    s.bowl_c = s.water_c + s.rng.uniform(-1.0, 1.0)
    s.strike_s, s.start_s = s.rng.uniform(3.0, 20.0), 60.0


def _warm_up(s: Setting) -> None:
    s.strike_s = START_S + s.check_s + s.rng.uniform(20.0, 120.0)


def _near(s: Setting) -> None:
    s.water_c, s.bowl_c = TARGET_C + s.rng.uniform(0.0, 1.0), TARGET_C - s.rng.uniform(0.0, 1.0)
    s.strike_s = START_S + s.check_s + QUIET_S + s.rng.uniform(0.0, 120.0)


def _refill(s: Setting) -> None:
    _near(s)
    s.events.append(acts.Refill(
        at_s=s.strike_s - s.rng.uniform(5.0, 90.0), mass_kg=0.2 * s.chocolate_kg, temp_c=s.rng.uniform(24.0, 30.0)))


def _pause(s: Setting) -> None:
    _near(s)
    at_s = s.strike_s - s.rng.uniform(5.0, 60.0)
    s.mishaps.append(Mishap(at_s, "request", "", {"do": "pause"}))
    s.mishaps.append(Mishap(at_s + 240.0, "request", "", {"do": "resume"}))


def _night(s: Setting) -> None:
    s.stage, s.profile = "melted", load_profile("melted").document()
    s.water_c, s.bowl_c = NIGHT_C + s.rng.uniform(0.0, 1.5), NIGHT_C - s.rng.uniform(0.0, 1.0)
    s.strike_s = START_S + s.check_s + QUIET_S + s.rng.uniform(0.0, 600.0)


PHASES: dict[str, Callable[[Setting], None]] = {
    "idle": _idle,
    "look": _check(lambda s: s.rng.uniform(1.0, 0.9 * LOOK_S)),
    "guard_pulse": _check(lambda s: LOOK_S + 0.5 * s.pulse_s),
    "switch_pulse": _check(lambda s: LOOK_S + 1.5 * s.pulse_s),
    "wait": _check(lambda s: LOOK_S + 2.0 * s.pulse_s + 0.5 * s.drain_s),
    "warm_pulse": _check(lambda s: LOOK_S + 2.0 * s.pulse_s + s.drain_s + 2.0),
    "warm_up": _warm_up,
    "quiet": _near,
    "refill": _refill,
    "pause": _pause,
    "night": _night,
}
CHECKING = ("look", "guard_pulse", "switch_pulse", "wait", "warm_pulse")
BEFORE = ("idle", "look")  # the whole self-test is still to come
HOLDING = ("warm_up", "quiet", "refill", "night")


def set_up(warmer: Warmer, phase: str, seed: int) -> Setting:
    """The evening up to the strike."""
    rng = random.Random(f"{warmer.name} {phase} {seed}")
    s = Setting(warmer, rng, load_profile("dark").document())
    s.room_c, s.fill = rng.uniform(14.0, 28.0), rng.uniform(0.2, 1.0)
    s.water_c, s.bowl_c = rng.uniform(max(18.0, s.room_c), 29.0), rng.uniform(27.0, 30.5)
    PHASES[phase](s)
    return s
