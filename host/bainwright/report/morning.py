"""How a night of melted stock went, in one sentence. Pure functions of a log."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.core.units import after, clock_words, duration_words
from bainwright.files.chocolate import overheated
from bainwright.files.rig import Rig
from bainwright.files.score import Window
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES, SETS_BELOW_C
from bainwright.record.reader import HoldLog

SHORT_OF_WINDOW_K = 3.0  # chosen: a dip of that much under its window sets nothing
SHOWN_K, MOST_WITHIN_K = 0.05, 2  # chosen: what a tenth of a degree does not show; wider is said by its ends
STEADY_SHARE = 0.98  # chosen: the spread covers this share of the time, so that a lid lifted once does not count

Floats = NDArray[np.float64]


def sentence(
    log: HoldLog, window: Window, never_above_c: float, remelt_s: float | None, *, went_off: bool = False
) -> str:
    """The night in a sentence: ``40 ± 1 °C for 8 h, no trip, fit to temper``.

    Parameters
    ----------
    log : HoldLog
        Only its rows of the stage ``melted`` count.
    window : Window
        The stock's window.
    never_above_c : float
        The temperature it must never exceed.
    remelt_s : float or None
        How long it would take to melt again from its last temperature; None is not known.
    went_off : bool
        The heat went off at the end of the log, by a trip or with the board: the stock's state since then is not known.

    Returns
    -------
    str
        Empty when the stock was never melted during the log, or no temperature is known.
    """
    known = (log["stage"] == "melted") & np.isfinite(log["bowl_c"])
    t_s, bowl_c = log["t_s"][known], log["bowl_c"][known]
    warm = np.flatnonzero(bowl_c >= window.low_c)
    if not warm.size:
        return ""
    t_s, bowl_c = t_s[warm[0] :], bowl_c[warm[0] :]
    trips = sum(event["event"] == "trip" for event in log.events)
    if bowl_c[-1] < SETS_BELOW_C:
        return _set_since(log, t_s, bowl_c, remelt_s)
    said = [f"{_spread(bowl_c, window)} for {duration_words(float(t_s[-1] - t_s[0]))}", _trips(trips)]
    return ", ".join([*said, _verdict(bowl_c, window, never_above_c, went_off)])


def _spread(bowl_c: Floats, window: Window) -> str:
    """The target and how far from it the stock was nearly always, in whole degrees, one at least."""
    off_k = float(np.quantile(np.abs(bowl_c - window.target_c), STEADY_SHARE))
    within_k = max(1, math.ceil(off_k - SHOWN_K))
    if within_k > MOST_WITHIN_K:
        return f"between {bowl_c.min():.0f} and {bowl_c.max():.0f} °C"
    low_c, high_c = float(bowl_c.min()), float(bowl_c.max())
    said = [f"{low_c:.1f} °C at its coldest"] if low_c < window.target_c - within_k - SHOWN_K else []
    said += [f"{high_c:.1f} °C at its warmest"] if high_c > window.target_c + within_k + SHOWN_K else []
    return f"{window.target_c:g} ± {within_k} °C" + (f" nearly always ({', '.join(said)})" if said else "")


def _trips(count: int) -> str:
    return "no trip" if not count else f"{count} trip{'s' if count > 1 else ''}"


def _verdict(bowl_c: Floats, window: Window, never_above_c: float, went_off: bool) -> str:
    if overheated(float(bowl_c.max()), never_above_c):
        return f"NOT fit to temper: it was at {bowl_c.max():.0f} °C, and it must never be over {never_above_c:g} °C"
    low_c = float(bowl_c.min())
    if low_c < SETS_BELOW_C:
        return f"it had set on the way ({low_c:.0f} °C): melt it all before you temper it"
    if low_c < window.low_c - SHORT_OF_WINDOW_K:
        return f"it fell to {low_c:.0f} °C on the way: stir it and melt it all, then it is fit to temper"
    return "then the heat went off: look at it before you temper it" if went_off else "fit to temper"


def _set_since(log: HoldLog, t_s: Floats, bowl_c: Floats, remelt_s: float | None) -> str:
    molten = np.flatnonzero(bowl_c >= SETS_BELOW_C)
    since_s = float(t_s[min(molten[-1] + 1, len(t_s) - 1)])
    again = "" if remelt_s is None else f"; re-melting takes about {duration_words(60 * round(remelt_s / 60))}"
    return f"set since {_clock(log.facts, since_s)}{again}"


def _clock(facts: Mapping[str, Any], t_s: float) -> str:
    """The time of day where it is known, else the time since the hold began."""
    started = facts.get("started")
    if not started or facts.get("VIRTUAL"):
        return clock_words(t_s)
    return after(datetime.fromisoformat(str(started)), t_s).strftime("%H:%M")


def remelt_s(log: HoldLog, kind: str, window: Window, settings: Mapping[str, Any], room_c: float) -> float | None:
    """How long the warmer takes to melt the chocolate again, from where the log ends.

    Parameters
    ----------
    log : HoldLog
        The log.
    kind : str
        The kind of chocolate.
    window : Window
        The window of melted stock.
    settings : mapping
        The warmer's settings.
    room_c : float
        Room temperature.

    Returns
    -------
    float or None
        Seconds at full heat; None when a temperature is not known or the heater cannot do it.
    """
    from bainwright.physics import heating
    from bainwright.physics.geometry import body_of

    water_c, bowl_c = float(log["water_c"][-1]), float(log["bowl_c"][-1])
    if not (np.isfinite(water_c) and np.isfinite(bowl_c)):
        return None
    body = body_of(Rig("", settings))
    full_kg = float(settings["chocolate_kg"])
    around = heating.Surroundings(room_c, 0.5, full_kg, body.table.ring_cover, lid=True, stirred=0.5)
    course = heating.heat_up(
        body, float(settings["heater_w"]), around, heating.Start(water_c, bowl_c, HEAT_PROPERTIES[kind]),
        window.ceiling_c, lambda water, chocolate: chocolate >= window.low_c,
    )
    return course.took_s if course.reached else None
