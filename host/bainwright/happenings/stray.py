"""A bowl that fell over a warmer bath, as the screen shows it: the balance leaves it out or takes it for normal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bainwright.evening.falling import MINUTES, WATCHED, Falling
from bainwright.happenings.balance import HELD
from bainwright.happenings.kinds import Happening, end_s
from bainwright.happenings.sense import FALLS
from bainwright.record.reader import HoldLog

EACH_S = 10.0  # rows that are looked at; a board's own log has no more
LEVEL_S, LEVEL_C = 240.0, 0.1  # chosen: a reading that falls by less in so long is level; a step of a probe is 0.06
LONG_S = 1800.0  # chosen: nobody holds a bowl up for so long, and a balance fitted to it would take it for usual

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Stray:
    """One fall.

    Attributes
    ----------
    at_s, lasted_s : float
        When it began and how long it went on, s.
    from_c, to_c : float
        What the bowl read then, and at its coldest, °C.
    over_k : float
        How much warmer the bath was at the coldest, °C.
    held : bool
        It happened while the warmer held, in a step that a balance is made of.
    """

    at_s: float
    lasted_s: float
    from_c: float
    to_c: float
    over_k: float
    held: bool

    @property
    def end_s(self) -> float:
        """When the bowl was at its coldest, s."""
        return self.at_s + self.lasted_s


def strays(log: HoldLog) -> list[Stray]:
    """Every such fall of a hold, as the screen would have shown it; not where the bowl was reported as lifted.

    Parameters
    ----------
    log : HoldLog
        The log.
    """
    seen = np.isin(log["stage"], ["", *WATCHED]) & (log["state"] == "hold")
    if not seen.any():
        return []
    t_s, bowl_c, bath_c = (np.asarray(log[name], dtype=float) for name in ("t_s", "bowl_c", "water_c"))
    known = np.isfinite(bowl_c) & np.isfinite(bath_c) & ~(np.nan_to_num(log["bowl_estimated"]) > 0)
    known &= ~lifted(log, t_s)
    seen &= known
    check = Falling()
    found: list[Stray] = []
    for row in np.flatnonzero(np.diff(np.floor(t_s / EACH_S), prepend=-1.0) > 0):
        now_s, bowl, bath = float(t_s[row]), float(bowl_c[row]), float(bath_c[row])
        said = check.step(now_s, bowl if seen[row] else None, bath if seen[row] else None)
        if said:
            over = found[-1].end_s if found else -np.inf
            since_s, from_c = _began(t_s, bowl_c, known & (t_s > over), now_s - 60.0 * MINUTES)
            found.append(Stray(since_s, now_s - since_s, from_c, bowl, bath - bowl, str(log["stage"][row]) in HELD))
        elif check.words and bowl < found[-1].to_c:
            last = found[-1]
            found[-1] = Stray(last.at_s, now_s - last.at_s, last.from_c, bowl, bath - bowl, last.held)
    return found


def lifted(log: HoldLog, t_s: Floats) -> NDArray[np.bool_]:
    """Where somebody said that the bowl was off."""
    away = np.zeros(len(t_s), dtype=bool)
    for event in log.events:
        if event.get("event") in ("bowl_off", "bowl_on"):
            away[t_s >= float(event["t_s"])] = event["event"] == "bowl_off"
    return away


def _began(t_s: Floats, bowl_c: Floats, known: NDArray[np.bool_], seen_s: float) -> tuple[float, float]:
    """When a fall that was seen by a moment began, s, and what the bowl read, °C: back to where it is level."""
    t_s, bowl_c = t_s[known], bowl_c[known]

    def mean_c(from_s: float, to_s: float) -> float:
        part = bowl_c[(t_s >= from_s) & (t_s <= to_s)]
        return float(part.mean()) if part.size else np.nan

    at_s = seen_s
    while mean_c(at_s - LEVEL_S - 60.0, at_s - LEVEL_S) > mean_c(at_s - 60.0, at_s) + LEVEL_C:
        at_s -= 60.0
    rows = np.flatnonzero((t_s >= at_s - LEVEL_S) & (t_s <= seen_s + LEVEL_S))
    if not rows.size:
        return seen_s, mean_c(-np.inf, np.inf)
    level_c = mean_c(at_s - LEVEL_S, at_s)
    level = rows[bowl_c[rows] >= (bowl_c[rows[0]] if np.isnan(level_c) else level_c) - LEVEL_C]
    last = int(level[-1]) if level.size else int(rows[0])
    return float(t_s[last]), float(bowl_c[last])


def not_balanced(found: Sequence[Stray]) -> list[tuple[float, float]]:
    """Begin and end of the falls that no balance may take for normal, s."""
    return [(each.at_s, each.end_s) for each in found if each.held and each.lasted_s >= LONG_S]


def unexplained(found: Sequence[Stray], happened: Sequence[Happening]) -> list[Stray]:
    """The falls that the balance does not explain."""
    falls = [each for each in happened if each.kind in FALLS]
    return [one for one in found if not one.held or not any(
        each.at_s < one.end_s and end_s(each) > one.at_s for each in falls)]
