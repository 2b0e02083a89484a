"""When the chocolate was in its window and when not, from its readings: what minutes and peaks do not say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.core.errors import BainError
from bainwright.files.chocolate import Profile, window_at
from bainwright.files.score import Window
from bainwright.happenings.balance import HELD
from bainwright.record.gaps import longest_steps_s
from bainwright.record.reader import HoldLog
from bainwright.report.steps import changed_s

Floats = NDArray[np.float64]

LEAST_S = 60.0  # chosen: what is shorter, inside or outside, is a probe's noise at the edge or a stir


@dataclass(frozen=True)
class Stretch:
    """A time outside the window, s of the hold, and the reading that was farthest outside, °C."""

    from_s: float
    to_s: float
    worst_c: float
    above: bool


@dataclass(frozen=True)
class Course:
    """From when to when there are readings that count, once the chocolate had come into its window; and when not."""

    from_s: float
    to_s: float
    outside: list[Stretch]


def course_of(log: HoldLog, row_s: float) -> Course | None:
    """The course of a hold; None where it was never in its window, or the record does not have the window.

    Parameters
    ----------
    log : HoldLog
        The log.
    row_s : float
        Time from row to row.
    """
    window, names = _window(log)
    if window is None:
        return None
    t_s = np.asarray(log["t_s"], dtype=float)
    known = np.isfinite(log["bowl_c"]) & (np.nan_to_num(log["bowl_estimated"]) == 0)
    known &= np.isin(log["stage"], names) & (t_s < changed_s(log))
    steps_s = longest_steps_s(log["state"][known], row_s)
    return course(t_s[known], np.asarray(log["bowl_c"], dtype=float)[known], window.low_c, window.high_c, steps_s)


def _window(log: HoldLog) -> tuple[Window | None, tuple[str, ...]]:
    facts: Any = log.facts.get("profile")
    held = log["stage"][np.isin(log["stage"], HELD)]
    try:
        profile = Profile(**facts)
        stage = "melted" if profile.kind == "melted" or (len(held) and (held == "melted").all()) else "work"
        return window_at(profile, stage), ("", stage)
    except (BainError, TypeError, ValueError, KeyError):  # damaged facts; the review says what else it lacks
        return None, ()


def course(t_s: Floats, bowl_c: Floats, low_c: float, high_c: float, longest_s: Floats) -> Course | None:
    """The same from readings that all count.

    Parameters
    ----------
    t_s, bowl_c : ndarray, shape (n,)
        Times and readings without missing ones.
    low_c, high_c : float
        The window.
    longest_s : ndarray, shape (n,)
        As `longest_steps_s`.
    """
    side = (bowl_c > high_c).astype(int) - (bowl_c < low_c).astype(int)
    if not (side == 0).any():
        return None
    first = int(np.argmax(side == 0))
    t_s, bowl_c, side, longest_s = t_s[first:], bowl_c[first:], side[first:], longest_s[first:]
    outside: list[Stretch] = []
    edges = np.flatnonzero((np.diff(side) != 0) | (np.diff(t_s) > longest_s[1:])) + 1
    for begin, end in zip([0, *edges], [*edges, len(t_s)], strict=True):
        if side[begin] == 0:
            continue
        above = bool(side[begin] > 0)
        joins = end < len(t_s) and t_s[end] - t_s[end - 1] <= longest_s[end]  # the last row counts until the next one
        worst_c = float(bowl_c[begin:end].max() if above else bowl_c[begin:end].min())
        each = Stretch(float(t_s[begin]), float(t_s[end] if joins else t_s[end - 1]), worst_c, above)
        before = outside[-1] if outside else None
        if before and before.above == above and each.from_s - before.to_s < LEAST_S:
            worst_c = max(before.worst_c, worst_c) if above else min(before.worst_c, worst_c)
            outside[-1] = Stretch(before.from_s, each.to_s, worst_c, above)
        else:
            outside.append(each)
    return Course(float(t_s[0]), float(t_s[-1]), [each for each in outside if each.to_s - each.from_s >= LEAST_S])
