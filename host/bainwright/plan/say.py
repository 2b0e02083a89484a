"""Small words that every part of a plan's text shares."""

from __future__ import annotations

import math
import re
import textwrap

from bainwright.core.masses import clock_text
from bainwright.core.units import duration_words
from bainwright.plan.parts import Band, Plan

WIDTH = 96
FINE_S, COARSE_S = 60.0, 300.0  # a band is said to five minutes, a short one to one
SHORT_S = 20 * 60.0

_UNIT = re.compile(r"(?<=\d) (?=°|%|(?:kg|g|lb|oz|L|W|kWh|cm|h|min|m)\b)|(?<=\d h) (?=\d+ min)")


def band(found: Band) -> str:
    """A band in words, its ends rounded outwards: ``1 h 10 min to 1 h 35 min``."""
    step_s = FINE_S if (found.high_s or found.likely_s) < SHORT_S else COARSE_S
    low_s = max(60.0, step_s * math.floor(found.low_s / step_s))
    low = "1 min" if low_s < 90.0 else duration_words(low_s)
    if found.high_s is None:
        return f"{low} or much longer"
    high = duration_words(max(120.0, step_s * math.ceil(found.high_s / step_s)))
    return f"{low} to {high}"


def between(quick_s: float, slow_s: float | None) -> str:
    """The time between two ends in words; None: nobody knows the later one."""
    return band(Band(quick_s, quick_s, slow_s))


def clock_band(starts_min: float, quick_s: float, slow_s: float | None) -> str:
    """When something happens, as a time of day to five minutes: ``18:35 to 19:00``, or ``18:35 or much later``."""
    early = clock_text(5.0 * math.floor((starts_min + quick_s / 60.0) / 5.0))
    if slow_s is None:
        return f"{early} or much later"
    return f"{early} to {clock_text(5.0 * math.ceil((starts_min + slow_s / 60.0) / 5.0))}"


def capital(words: str) -> str:
    """Words as a sentence."""
    return f"{words[0].upper()}{words[1:]}."


def energy(energy_j: float) -> str:
    """An energy as a meter shows it."""
    return f"{energy_j / 3.6e6:.2f} kWh"


def bath(plan: Plan) -> str:
    """What the bowl is warmed by: the water, or the plate."""
    return plan.request.rig.bath


def unbroken(words: str) -> str:
    """Words whose numbers stay on one line with their units."""
    return _UNIT.sub("\u00a0", words)


def filled(words: str, width: int, indent: str = "") -> str:
    """Words broken into lines, never between a number and its unit; later lines are indented twice as far."""
    return textwrap.fill(unbroken(words), width, initial_indent=indent, subsequent_indent=2 * indent).replace(
        "\u00a0", " "
    )
