"""What another choice would have changed on a recorded evening: other gains, another target, refills announced.

The warmer is identified from the record, and the evening is played again on warmers that fit it (`replay`), with the
choice as it was and with the new one. Both meet the same refills, lifts and draughts, because the record has them, so
only the difference between the two counts. It is added to what was recorded. Where the record cannot carry an answer,
it is refused in words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard.refill import EDGE_K
from bainwright.core.errors import FileError, UseError
from bainwright.files.score import Window
from bainwright.happenings.kinds import WARM_REFILL, Happening
from bainwright.record.reader import HoldLog
from bainwright.tuning.gains import Notes, foreign
from bainwright.what_if.outcome import BOWL, ERROR, OUTSIDE, STEP_S, WARM_UP, WATER, Outcome, outcome, scored
from bainwright.what_if.recorded_evening import LEAD_S, Recorded, law_of, recorded
from bainwright.what_if.replay import EASES, LEADS, Evening

Floats = NDArray[np.float64]

MOST_AHEAD_S = 3600.0  # chosen: the bath leads in the last `LEAD_S` only, whenever it was announced
SHARE = 0.9  # of the evenings inside the interval; of the warmers that fit, before it is widened
# What a model of two stores misses, beside what its figures leave open: a share of a change, and at the least so much.
# Chosen on other evenings than those that tests/bench/RESULTS.md judges.
OFF_BY = 0.6
LEAST = {ERROR: 0.018, OUTSIDE: 4.0, WARM_UP: 2.5, WATER: 0.1, BOWL: 0.12}
PEAKS = (WATER, BOWL)
WIDER = 2.0  # chosen on other evenings than those that tests/bench/RESULTS.md judges
LEAST_WARM_UP_MIN = 2.0  # chosen: a hold that begins in its window has no warm-up


@dataclass(frozen=True)
class Choice:
    """What is tried: gains by their setting names, a target in °C, and how long before it each refill is announced."""

    gains: Mapping[str, Any] | None = None
    gains_file: str = ""
    gains_notes: Notes = field(default_factory=Notes)
    target_c: float | None = None
    announce_s: float | None = None


@dataclass(frozen=True)
class Figure:
    """One figure as it was, what it would have been, and the ends of that one's interval."""

    name: str
    was: float
    would_be: float
    low: float
    high: float

    @property
    def sure(self) -> bool:
        """Does the interval exclude that nothing changes?"""
        return not self.low <= self.was <= self.high


@dataclass(frozen=True)
class WhatIf:
    """The answer.

    Attributes
    ----------
    choice : Choice
        What was tried.
    window : Window
        Of the hold, with the target as it was.
    figures : list of Figure
        Error (°C), minutes outside the window, minutes to warm up (only of a hold that began by it), warmest water and
        bowl (°C).
    t_s, was_c, would_be_c, low_c, high_c : ndarray, shape (n,)
        Seconds of the hold, each `STEP_S`, and the bowl: recorded, replayed, and the ends of the interval.
    refills_s : list of float
        The refills that were announced.
    foreign : list of str
        Signs that the gains are another warmer's.
    """

    choice: Choice
    window: Window
    figures: list[Figure]
    t_s: Floats
    was_c: Floats
    would_be_c: Floats
    low_c: Floats
    high_c: Floats
    refills_s: list[float]
    foreign: list[str]


@dataclass(frozen=True)
class Refused:
    """The record cannot carry the answer, and why."""

    choice: Choice
    why: str


def try_again(log: HoldLog, happened: Sequence[Happening], choice: Choice) -> WhatIf | Refused:
    """Play a recorded hold again with another choice; what the record cannot carry is a value.

    Raises
    ------
    UseError
        When the target is outside the window.
    """
    try:
        return what_if(recorded(log, happened), choice)
    except FileError as why:
        return Refused(choice, str(why))


def what_if(record: Recorded, choice: Choice) -> WhatIf:
    """Play a record again with another choice.

    Raises
    ------
    FileError
        When the record has nothing that the choice is about.
    UseError
        When the target is outside the window.
    """
    other = _chosen(record, choice)
    law = law_of({**record.values, **(choice.gains or {})})
    tried = outcome(other, law, record.models, record.window)
    low, middle, high = _interval(tried.shift_c - record.as_it_was.shift_c)
    at_s, was_c = record.evening.at_s[::STEP_S], record.evening.bowl_c[::STEP_S]
    return WhatIf(choice, record.window, _figures(record, tried), at_s, was_c, was_c + middle,
                  was_c + low, was_c + high, [each.at_s for each in record.refills],
                  foreign(choice.gains_notes, record.values))


def _chosen(record: Recorded, choice: Choice) -> Evening:
    """The same evening with the new target, and its refills announced."""
    evening, window = record.evening, record.window
    if choice.target_c is not None:
        low_c, high_c = window.low_c + EDGE_K, window.high_c - EDGE_K
        if not low_c <= choice.target_c <= high_c:
            raise UseError(f"--target {choice.target_c:g} is outside what the board aims at in this window",
                           wanted=f"{low_c:.1f} to {high_c:.1f} °C")  # fmt: skip
        moved_c = evening.target_c + (choice.target_c - window.target_c)
        evening = replace(evening, target_c=np.clip(moved_c, low_c, high_c))
    if choice.announce_s is not None:
        if not record.refills:
            raise FileError("the readings show no refill plainly enough to play it again with an announcement",
                            hint="choose an evening with a larger refill, or leave --announce out")
        comes = evening.comes.copy()
        for each in record.refills:
            begin_s = each.at_s - min(choice.announce_s, LEAD_S)
            leads = EASES if each.kind == WARM_REFILL else LEADS
            comes[(evening.at_s >= begin_s) & (evening.at_s < each.at_s)] = leads
        evening = replace(evening, comes=comes)
    return evening


def _interval(changed: Floats) -> tuple[Floats, Floats, Floats]:
    """Low end, middle and high end over the first axis."""
    low, middle, high = np.quantile(changed, [0.5 - SHARE / 2.0, 0.5, 0.5 + SHARE / 2.0], axis=0)
    return middle - WIDER * (middle - low), middle, middle + WIDER * (high - middle)


def _figures(record: Recorded, tried: Outcome) -> list[Figure]:
    evening, as_it_was = record.evening, record.as_it_was
    was = scored(evening, evening.water_c, evening.bowl_c, record.window)
    warms_up = record.from_start and was[WARM_UP] >= LEAST_WARM_UP_MIN
    played_otherwise = not np.array_equal(tried.shift_c, as_it_was.shift_c)
    found = []
    for name, value in was.items():
        changed = np.array([new[name] - old[name] for new, old in zip(tried.figures, as_it_was.figures, strict=True)])
        if not (np.isfinite(value) and np.isfinite(changed).all()) or (name == WARM_UP and not warms_up):
            continue
        least = LEAST[name] if played_otherwise else 0.0
        found.append(Figure(name, value, *_ends(value, _interval(changed), name, least)))
    return found


def _ends(value: float, changed: tuple[Floats, Floats, Floats], name: str, least: float
          ) -> tuple[float, float, float]:
    """What the figure would have been, and its ends: never under 0 where it is a time or an error."""
    low, middle, high = map(float, changed)
    model = np.hypot(OFF_BY * middle, least)
    mid = value + middle
    ends = (mid, mid - np.hypot(middle - low, model), mid + np.hypot(high - middle, model))
    would_be, low, high = (each if name in PEAKS else max(0.0, each) for each in map(float, ends))
    return would_be, low, high
