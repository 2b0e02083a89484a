"""A warmer without a chocolate probe: water less chocolate, by a hand thermometer, in a steady hold."""

from __future__ import annotations

import math
import statistics
from datetime import UTC, datetime

from bainwright.calibration import calibration_record, reading
from bainwright.calibration.fit import COVER, FEVER
from bainwright.calibration.measure import Report
from bainwright.calibration.warmer import Warmer
from bainwright.core.bounds import most
from bainwright.core.errors import RefusedError, UseError
from bainwright.core.masses import parse_temp_c
from bainwright.link.protocol import Link
from bainwright.words import terms

HAND_K = 0.5  # a kitchen's hand thermometer, limit; chosen
ONE_PAIR_K = 0.5  # how far one reading by hand may be from the next, where there is no next; chosen
APART_MOST_K = most("bowl_offset_c")
EXCHANGED = "in a steady hold the water is the warmer one; are they exchanged, or is one in °F?"
FEW = 3  # readings by hand that show how far they spread
LOW_C, HIGH_C = 10.0, 60.0  # of water and chocolate in a hold


def measure_by_hand(warmer: Warmer, typed: tuple[str, ...], report: Report) -> None:
    """Add readings by hand to the record, and store the offset that follows.

    Parameters
    ----------
    warmer : Warmer
        One without a chocolate probe; it must keep heating.
    typed : tuple of str
        The chocolate as read, or water and chocolate with a slash.
    report : callable
        Shows the person a line.

    Raises
    ------
    UseError, RefusedError
        If a reading cannot be, or the warmer is not in a steady hold.
    """
    if "bowl" in reading.places_of(warmer.settings):
        raise UseError("this warmer has a probe in the chocolate", hint="--bowl is for a warmer without one")
    now = datetime.now(UTC)
    bowl = warmer.record.bowl
    recent = bool(bowl.at) and now - datetime.fromisoformat(bowl.at) < calibration_record.TOGETHER
    pairs = [*(bowl.pairs if recent else []), *(_pair(warmer, text) for text in typed)]
    apart = [water_c - chocolate_c for water_c, chocolate_c in pairs]
    warmer.record.bowl = calibration_record.StoredBowl(
        pairs, round(_offset_k(apart), 3), round(max(apart) - min(apart), 3), round(_uncertainty_k(apart), 3),
        now.isoformat(timespec="seconds"))  # fmt: skip
    warmer.store(None)
    if len(pairs) < FEW:
        report(f"{len(pairs)} of {FEW} readings: take the next in a quarter of an hour, to see how far they spread")
    report("the next hold uses it with --rig; a running hold does not change")


def _offset_k(apart: list[float]) -> float:
    offset_k = statistics.fmean(apart)
    if not 0.0 <= offset_k <= APART_MOST_K:
        raise UseError("water less chocolate", got=f"{offset_k:.1f} °C", wanted=f"0 to {APART_MOST_K:g} °C",
                       hint=EXCHANGED)
    return offset_k


def _uncertainty_k(apart: list[float]) -> float:
    spread_k = statistics.stdev(apart) if len(apart) >= FEW else ONE_PAIR_K
    return COVER * math.hypot(spread_k, HAND_K / math.sqrt(3.0))


def _pair(warmer: Warmer, text: str) -> tuple[float, float]:
    water, slash, chocolate = text.partition("/")
    if slash:
        water_c, chocolate_c = (parse_temp_c(each, "--bowl", LOW_C, HIGH_C) for each in (water, chocolate))
    else:
        chocolate_c = parse_temp_c(text, "--bowl", LOW_C, HIGH_C)
        with warmer.bench.bath(FEVER) as link:
            water_c = _held_water_c(link)
    if not -HAND_K <= water_c - chocolate_c <= APART_MOST_K:  # each by itself: a mean of several would hide a slip
        raise UseError("water less chocolate", got=f"{water_c:.1f} less {chocolate_c:.1f} °C",
                       wanted=f"0 to {APART_MOST_K:g} °C", hint=EXCHANGED)
    return water_c, chocolate_c


def _held_water_c(link: Link) -> float:
    """The water's mean over half a minute of a hold."""
    link.discard()
    seen = []
    for status in reading.rows(link):
        if status.state != "hold" or status.water is None:
            raise RefusedError("the warmer is not in a steady hold", got=terms.STATES.get(status.state, status.state),
                               hint="start bain hold, wait until water and chocolate are steady, then measure")
        seen.append(status.water / 1000)
        if len(seen) == reading.STEADY_S:
            if max(seen) - min(seen) > reading.DRIFT_K_PER_MIN:
                raise UseError("the water is not steady", got=f"{max(seen) - min(seen):.1f} °C in half a minute",
                               hint="wait until the hold is steady")
            return statistics.fmean(seen)
    raise AssertionError("unreachable: rows yields until it raises")
