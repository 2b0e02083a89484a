"""What the replays of an evening come to: how each bowl differs from the recorded one, and the figures of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bainboard.control.cascade import Cascade
from bainwright.files.score import READINGS, Trace, Window, score
from bainwright.tuning.model import Model
from bainwright.what_if.replay import Evening, play

Floats = NDArray[np.float64]

STEP_S = 10  # chosen: an answer of the bowl to other heat changes over minutes; of two days each second takes 83 MB
ERROR, OUTSIDE, WARM_UP, WATER, BOWL = "error_c", "outside_min", "warm_up_min", "water_peak_c", "bowl_peak_c"


@dataclass(frozen=True)
class Outcome:
    """The replays of one evening with one choice.

    Attributes
    ----------
    shift_c : ndarray, shape (replays, n / STEP_S)
        By how much the bowl differs from the recorded one, °C, each `STEP_S`.
    figures : list of dict
        Of each replay, as `scored` gives them, from its readings of each second.
    """

    shift_c: Floats
    figures: list[dict[str, float]]


def outcome(evening: Evening, law: Cascade, models: Sequence[Model], window: Window) -> Outcome:
    """Play an evening again on each warmer, and keep what counts of it."""
    shift_c = np.empty((len(models), len(evening.at_s[::STEP_S])))
    figures = []
    for at, played in enumerate(play(evening, law, models)):
        shift_c[at] = played.shift_c[::STEP_S]
        figures.append(scored(evening, played.water_c, played.bowl_c, window))
    return Outcome(shift_c, figures)


def scored(evening: Evening, water_c: Floats, bowl_c: Floats, window: Window) -> dict[str, float]:
    """The figures of one replay, by the definitions of a hold's score and over the same seconds."""
    first = int(np.argmax(evening.counts))
    t_s = np.arange(len(evening.counts), dtype=float)[first:]
    trace = Trace(t_s, water_c[first:], bowl_c[first:], evening.target_c[first:], float(t_s[-1] + 1.0), READINGS)
    found = score(trace, window, evening.counts[first:])
    span_s = (found.scored_to_s or 0.0) - (found.scored_from_s or 0.0)
    inside = found.in_window_fraction
    values = {
        ERROR: found.bowl_rms_error_c,
        OUTSIDE: None if not inside else (1.0 - inside) * span_s / 60.0,
        WARM_UP: None if found.warm_up_s is None else (found.warm_up_s - first) / 60.0,
        WATER: found.counted.water_peak_c,
        BOWL: found.counted.bowl_peak_c,
    }
    return {name: float("nan") if value is None else float(value) for name, value in values.items()}
