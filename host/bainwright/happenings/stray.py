"""A bowl that fell over a warmer bath while it settled or was tested: steps that the heat balance leaves out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bainwright.evening.falling import MINUTES, WATCHED, Falling
from bainwright.happenings.balance import HELD
from bainwright.record.reader import HoldLog

EACH_S = 10.0  # rows that are looked at; a board's own log has no more


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
        How much warmer the bath was when it showed, °C.
    """

    at_s: float
    lasted_s: float
    from_c: float
    to_c: float
    over_k: float


def strays(log: HoldLog) -> list[Stray]:
    """Every such fall of a hold, as the screen would have told it; not where the bowl was reported as lifted.

    Parameters
    ----------
    log : HoldLog
        The log.
    """
    seen = np.isin(log["stage"], [each for each in WATCHED if each not in HELD]) & (log["state"] == "hold")
    if not seen.any():
        return []
    seen &= np.isfinite(log["bowl_c"]) & np.isfinite(log["water_c"]) & ~(np.nan_to_num(log["bowl_estimated"]) > 0)
    t_s, bowl_c, bath_c = (np.asarray(log[name], dtype=float) for name in ("t_s", "bowl_c", "water_c"))
    lifts = [(float(event["t_s"]), event["event"] == "bowl_off") for event in log.events
             if event.get("event") in ("bowl_off", "bowl_on")]
    check, found = Falling(), []
    for row in np.flatnonzero(np.diff(np.floor(t_s / EACH_S), prepend=-1.0) > 0):
        now_s = float(t_s[row])
        away = next((off for at_s, off in reversed(lifts) if at_s <= now_s), False)
        known = bool(seen[row]) and not away
        said = check.step(now_s, float(bowl_c[row]) if known else None, float(bath_c[row]) if known else None)
        if said:
            since_s = now_s - 60.0 * MINUTES
            from_c = float(bowl_c[int(np.searchsorted(t_s, since_s))])
            found.append(Stray(since_s, now_s - since_s, from_c, float(bowl_c[row]), float(bath_c[row] - bowl_c[row])))
        elif check.words and bowl_c[row] < found[-1].to_c:
            last = found[-1]
            found[-1] = Stray(last.at_s, now_s - last.at_s, last.from_c, float(bowl_c[row]), last.over_k)
    return found
