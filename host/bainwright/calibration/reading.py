"""What the probes read in a bath: a steady half minute of status lines, with the calibration taken out."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from bainwright.core.errors import LinkError, RefusedError, UseError
from bainwright.link.messages import Status
from bainwright.link.protocol import Link
from bainwright.link.stopping import heats
from bainwright.words import terms

PLACES = ("water", "bowl")
NAMES = {"water": "water probe", "bowl": "chocolate probe"}
STEADY_S = 30  # lines of a reading; chosen: several lags of a probe
PATIENCE_S = 240  # lines waited for a bath to come to rest; chosen
DRIFT_K_PER_MIN = 0.5  # a stirred pot of 38 °C cools by a fifth of that; chosen
SCATTER_K = 0.08  # about its own line: the steps of 1/16 K and a probe's noise stay under it; chosen
FAR_K = 4.0  # a probe this far from the bath is in another one: the worst part is wrong by half of that; chosen
LIFTED_K = 1.5  # the one that was lifted moved by so much more than the other; chosen
SILENT_S = 5.0
LOCK_S = 1800  # the lock lapses by itself, for a PC that goes away; every reading renews it; chosen


@dataclass(frozen=True)
class Reading:
    """A probe's steady reading, uncalibrated, and its standard uncertainty."""

    raw_c: float
    u_k: float


def places_of(settings: Mapping[str, Any]) -> list[str]:
    """Where this warmer has probes."""
    return [place for place in PLACES if settings[f"probe.{place}.kind"] != "none"]


def lock(link: Link, for_s: float) -> None:
    """Lock the heat out for so long; 0 ends it. Earlier status lines are dropped: the probes were elsewhere then.

    Raises
    ------
    RefusedError
        While a hold runs, or a trip is latched.
    """
    link.request("cold", for_ms=round(1000 * for_s))
    link.discard()


def rows(link: Link, clock: Callable[[], float] = time.monotonic) -> Any:
    """The board's status lines as they come.

    Raises
    ------
    LinkError
        When none comes for some seconds.
    """
    heard_s = clock()
    while True:
        read = [message for message in link.poll() if isinstance(message, Status)]
        yield from read
        if read:
            heard_s = clock()
        elif clock() - heard_s > SILENT_S:
            raise LinkError(f"no reading from the board for {SILENT_S:g} s", hint="what was measured before is stored")


def steady(link: Link, settings: Mapping[str, Any], places: Sequence[str], true_c: float,
           report: Callable[[str], None] = lambda text: None) -> dict[str, Reading]:
    """Wait until every probe is steady in the bath, then take the mean of half a minute.

    Parameters
    ----------
    link : Link
        An idle board.
    settings : mapping
        Those the board has: its lines are calibrated by them, which is taken out here.
    places : sequence of str
        Which probes are in the bath.
    true_c : float
        What the bath is at.
    report : callable
        Shows the person how it goes.

    Raises
    ------
    UseError
        When a probe gives no reading, is in another bath, or does not become steady.
    """
    lock(link, LOCK_S)
    seen: list[list[float]] = []
    for count, status in enumerate(rows(link), 1):
        _refuse_unless_cold(status)
        seen.append([_raw(status, settings, place) for place in places])
        last = np.array(seen[-STEADY_S:])
        if len(last) == STEADY_S and not _restless(last):
            return {place: _reading(place, column, true_c) for place, column in zip(places, last.T, strict=True)}
        if count % STEADY_S == 0:
            report("not steady yet: stir, and keep the probes still")
        if count >= PATIENCE_S:
            raise _unsteady(last, places)
    raise AssertionError("unreachable: rows yields until it raises")


def _refuse_unless_cold(status: Status) -> None:
    if heats(status):  # it has accepted the lock
        raise RefusedError("the warmer's heat is locked out for the calibration, and yet it reports a hold or heat",
                           hint="pull the heater's plug before you go on")
    if status.state != "idle":
        raise RefusedError("probes are calibrated on an idle warmer",
                           got=terms.STATES.get(status.state, status.state), hint="clear it first")


def _raw(status: Status, settings: Mapping[str, Any], place: str) -> float:
    milli = getattr(status, place)
    if milli is None or (place == "bowl" and status.est):
        return math.nan
    raw_c: float = (milli / 1000 - settings[f"probe.{place}.offset_c"]) / settings[f"probe.{place}.gain"]
    return raw_c


def _line(column: Any) -> tuple[float, float]:
    """Drift, K/min, and scatter about it, K."""
    t_min = np.arange(len(column)) / 60.0
    slope, level = np.polyfit(t_min, column, 1)
    return float(slope), float(np.std(column - level - slope * t_min))


def _restless(last: Any) -> bool:
    if not np.isfinite(last).all():
        return True
    return any(abs(drift) > DRIFT_K_PER_MIN or scatter > SCATTER_K for drift, scatter in map(_line, last.T))


def _unsteady(last: Any, places: Sequence[str]) -> UseError:
    for place, column in zip(places, last.T, strict=True):
        if not np.isfinite(column).all():
            return UseError(f"the {NAMES[place]} gives no reading", hint="look at its plug and cable")
        drift, scatter = _line(column)
        if abs(drift) > DRIFT_K_PER_MIN or scatter > SCATTER_K:
            return UseError(f"the {NAMES[place]} does not become steady", got=f"{drift:+.1f} °C/min, scatter "
                            f"{scatter:.2f} °C", wanted=f"under {DRIFT_K_PER_MIN:g} °C/min and {SCATTER_K:g} °C",
                            hint="stir all the time, and keep the probes off walls and ice; earlier results stay")
    raise AssertionError("unreachable: the bath is steady")


def _reading(place: str, column: Any, true_c: float) -> Reading:
    raw_c = float(np.mean(column))
    if abs(raw_c - true_c) > FAR_K:
        raise UseError(f"the {NAMES[place]}", got=f"{raw_c:.1f} °C in a bath of {true_c:.1f} °C",
                       wanted=f"within {FAR_K:g} °C of it",
                       hint="is it in the bath, and is that the bath's temperature?")
    drift, scatter = _line(column)
    moved_k = abs(drift) * len(column) / 60.0 / math.sqrt(12.0)
    step_k = 0.0625 / math.sqrt(12.0)  # of the digital probe; a mean of still readings does not beat it
    return Reading(raw_c, math.hypot(moved_k, step_k, scatter / math.sqrt(len(column))))


def lifted(link: Link, settings: Mapping[str, Any], wait_s: int = 60) -> str:
    """Which of two probes is being lifted out of the bath: the one whose reading leaves the other's.

    Raises
    ------
    UseError
        When neither does.
    """
    lock(link, LOCK_S)
    first: dict[str, float] = {}
    for count, status in enumerate(rows(link), 1):
        _refuse_unless_cold(status)
        now = {place: _raw(status, settings, place) for place in PLACES}
        first = first or {place: raw_c for place, raw_c in now.items() if not math.isnan(raw_c)}
        moved = {place: abs(now[place] - first.get(place, math.nan)) for place in PLACES}
        for place, other in (PLACES, PLACES[::-1]):
            if moved[place] > LIFTED_K + moved[other]:
                return place
        if count > wait_s:
            raise UseError("neither probe's reading moved away from the other's", got=", ".join(
                f"{NAMES[place]} {moved[place]:.1f} °C" for place in PLACES), wanted=f"{LIFTED_K:g} °C in {wait_s} s",
                hint="lift one of them out of a warm bath, into the air")
    raise AssertionError("unreachable: rows yields until it raises")
