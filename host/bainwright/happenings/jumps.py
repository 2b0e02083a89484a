"""Readings that changed within a minute by more than heater and bath can: something was poured in, or a probe moved.

The heat balance knows nothing of the first minutes of a hold, nor of one that ended early. Readings alone do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bainwright.happenings.announced import Announced
from bainwright.happenings.balance import HELD
from bainwright.happenings.kinds import Happening, end_s
from bainwright.happenings.stray import lifted
from bainwright.physics.materials import WATER_J_PER_KGK
from bainwright.record.reader import HoldLog

Floats = NDArray[np.float64]

EACH_S = 60.0  # a change over this long is looked at
# Chosen: a kilogram in a bath 10 °C away changes by 0.3 °C in a minute, a covered bath by less without its heater.
BOWL_K, WATER_K = 0.8, 1.0
HEATER_TIMES = 2.0  # chosen: a probe beside the heater sees that much more of it
FIRST_S = 120.0  # chosen: a probe that was just put in is still on its way
BEGUN_SHARE = 0.1  # chosen: of the whole change; a probe's noise is less
NEAR_S = 300.0  # chosen: a happening so near is the same thing


@dataclass(frozen=True)
class Jump:
    """One change.

    Attributes
    ----------
    at_s, lasted_s : float
        When it began and how long it went on, s.
    store : str
        ``bowl`` or ``water``.
    from_c, to_c : float
        The readings before and after it, °C.
    bath_c : float
        The bath before it, °C; NaN is not known.
    """

    at_s: float
    lasted_s: float
    store: str
    from_c: float
    to_c: float
    bath_c: float


def jumps(log: HoldLog) -> list[Jump]:
    """Every such change in the steps that hold, in order of time; not where the bowl was reported as lifted.

    Parameters
    ----------
    log : HoldLog
        The log.
    """
    t_s, bowl_c, water_c = (np.asarray(log[name], dtype=float) for name in ("t_s", "bowl_c", "water_c"))
    held = np.isin(log["stage"], HELD) & (t_s >= FIRST_S)
    away = lifted(log, t_s) | (np.interp(t_s - EACH_S, t_s, lifted(log, t_s)) > 0.0)  # set back, it takes a minute
    bowl_c = np.where(held & ~away & ~(np.nan_to_num(log["bowl_estimated"]) > 0), bowl_c, np.nan)
    held_water_c = np.where(held, water_c, np.nan)
    found = [*_of(t_s, bowl_c, "bowl", np.full(len(t_s), BOWL_K), BOWL_K, water_c),
             *_of(t_s, held_water_c, "water", WATER_K + HEATER_TIMES * _heated_k(log, t_s), WATER_K, water_c)]
    return sorted(found, key=lambda each: each.at_s)


def _heated_k(log: HoldLog, t_s: Floats) -> Floats:
    """By how much the heat from a minute before to a minute after each row warms the bath, by watts and litres, °C."""
    rig = log.facts.get("rig")
    watts, litres = (rig.get(name) if isinstance(rig, dict) else None for name in ("heater_w", "water_l"))
    if not isinstance(watts, int | float) or not isinstance(litres, int | float) or not watts > 0.0 < litres:
        return np.zeros(len(t_s))
    steps_s = np.minimum(np.diff(t_s, append=t_s[-1:]), EACH_S)
    given_k = np.cumsum(np.nan_to_num(np.asarray(log["duty"], dtype=float)) * steps_s) * watts / (
        WATER_J_PER_KGK * litres)
    return np.interp(t_s + EACH_S, t_s, given_k) - np.interp(t_s - EACH_S, t_s, given_k)


def _of(t_s: Floats, read_c: Floats, store: str, rise_k: Floats, fall_k: float, bath_c: Floats) -> list[Jump]:
    known = np.isfinite(read_c)
    if np.count_nonzero(known) < 2:
        return []
    t_s, read_c, bath_c, rise_k = t_s[known], read_c[known], bath_c[known], rise_k[known]
    later = np.searchsorted(t_s, t_s + EACH_S, side="right") - 1  # the last row within a minute
    moved_k = read_c[later] - read_c
    side = (moved_k >= rise_k).astype(int) - (moved_k <= -fall_k).astype(int)
    spans: list[list[int]] = []
    for first in np.flatnonzero(side).tolist():
        if spans and first <= spans[-1][1] and side[first] == side[spans[-1][0]]:
            spans[-1][1] = int(later[first])
        else:
            spans.append([first, int(later[first])])
    return [_jump(t_s, read_c, bath_c, store, *span) for span in spans]


def _jump(t_s: Floats, read_c: Floats, bath_c: Floats, store: str, first: int, last: int) -> Jump:
    """The change between two rows; it began with the last reading that was still near the first."""
    gone = np.abs(read_c[first : last + 1] - read_c[first]) > BEGUN_SHARE * abs(read_c[last] - read_c[first])
    first += max(int(np.argmax(gone)) - 1, 0)
    return Jump(float(t_s[first]), float(t_s[last] - t_s[first]), store, float(read_c[first]), float(read_c[last]),
                float(bath_c[first]))


def unexplained(found: Sequence[Jump], happened: Sequence[Happening], known: Sequence[Announced]) -> list[Jump]:
    """The changes that neither the balance nor an announcement of the bowl explains."""
    times_s = [(each.at_s, end_s(each)) for each in happened]
    of_bowl_s = [(one.from_s, one.over_s) for one in known if one.bowl_c is not None]
    return [one for one in found if not any(
        from_s - NEAR_S <= one.at_s + one.lasted_s and to_s + NEAR_S >= one.at_s
        for from_s, to_s in (times_s + of_bowl_s if one.store == "bowl" else times_s))]
