"""What somebody announced to the board, beside what the readings show of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard.refill import LATE_MS, LEAD_MS
from bainwright.happenings import kinds
from bainwright.happenings.kinds import Happening

Floats = NDArray[np.float64]

REFILL, LIFT = "refill", "lift"
# What each may look like.
SHOWS = {REFILL: (kinds.COLD_REFILL, kinds.WARM_REFILL, kinds.TOP_UP, kinds.CHOCOLATE_COOLED),
         LIFT: (kinds.LIFTED, kinds.CHOCOLATE_COOLED, kinds.COOLED)}  # fmt: skip
AWAITED_S = (LEAD_MS + LATE_MS) / 1000.0  # the board waits so long for a refill
NEAR_S = 180.0  # chosen: as far apart as two things that the search shows as one
BEFORE_S, MOVED_K = 60.0, 0.5  # chosen: a bowl that moves by more did so for a reason
LEAST_LIFT_S = 120.0  # chosen: a bowl that is away for less does not cool by what a probe shows


@dataclass(frozen=True)
class Announced:
    """One announcement.

    Attributes
    ----------
    kind : str
        `REFILL` or `LIFT`.
    from_s, to_s : float
        When it may have begun, s of the hold.
    over_s : float
        When it was over at the latest, s.
    found : Happening or None
        What the balance shows of it.
    bowl_c : tuple of float, optional
        Where nothing was found, and yet the bowl's reading went from one temperature to another about then, °C.
    """

    kind: str
    from_s: float
    to_s: float
    over_s: float
    found: Happening | None
    bowl_c: tuple[float, float] | None = None


def moved(t_s: Floats, bowl_c: Floats, one: Announced) -> Announced:
    """An announcement that nothing was found of, with what the bowl's own reading did about then."""
    known = np.isfinite(bowl_c)
    before_c = bowl_c[known & (t_s >= one.from_s - BEFORE_S) & (t_s <= one.from_s)]
    then_c = bowl_c[known & (t_s > one.from_s) & (t_s <= one.over_s + NEAR_S)]
    if one.found is not None or not before_c.size or not then_c.size:
        return one
    was_c = float(np.median(before_c))
    went_c = float(then_c[np.argmax(np.abs(then_c - was_c))])
    return replace(one, bowl_c=(was_c, went_c)) if abs(went_c - was_c) >= MOVED_K else one


def announced(events: Sequence[Mapping[str, Any]], happened: Sequence[Happening], end_s: float) -> list[Announced]:
    """Every announcement with what was found of it; each happening belongs to one at most.

    Parameters
    ----------
    events : sequence of mapping
        Of the log, in order.
    happened : sequence of Happening
        What was found.
    end_s : float
        End of the hold, s.
    """
    left, out = list(happened), []
    for kind, from_s, to_s, over_s in _spans(events, end_s):
        near = [each for each in left if each.kind in SHOWS[kind] and from_s - NEAR_S <= each.at_s <= to_s + NEAR_S]
        found = max(near, key=lambda each: each.strength, default=None)
        if found is not None:
            left.remove(found)
        out.append(Announced(kind, from_s, to_s, over_s, found))
    return out


def _spans(events: Sequence[Mapping[str, Any]], end_s: float) -> list[tuple[str, float, float, float]]:
    """Kind, between which moments it may have begun, and its end; a refill that was taken back is left out."""
    spans: list[tuple[str, float, float, float]] = []
    refill_s = lift_s = None
    for event in events:
        name, t_s = event.get("event"), float(event["t_s"])
        if name == "announced":
            spans += [_refill(refill_s, refill_s + AWAITED_S)] if refill_s is not None else []
            refill_s = t_s
        elif name == "refill" and refill_s is not None:
            spans.append(_refill(refill_s, t_s))
            refill_s = None
        elif name == "no_refill":
            refill_s = None
        elif name == "bowl_off":
            lift_s = t_s
        elif name == "bowl_on" and lift_s is not None:
            spans += [(LIFT, lift_s, lift_s, t_s)] if t_s - lift_s >= LEAST_LIFT_S else []
            lift_s = None
    if refill_s is not None:  # an older board did not report that it came
        spans.append(_refill(refill_s, min(end_s, refill_s + AWAITED_S)))
    return sorted(spans, key=lambda each: each[1])


def _refill(from_s: float, to_s: float) -> tuple[str, float, float, float]:
    return REFILL, from_s, to_s, to_s
