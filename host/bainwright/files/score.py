"""The figures of a hold from its temperatures over time, and the sentences for them. Pure functions of arrays."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.core.units import duration_words

Floats = NDArray[np.float64]

LONGEST_STEP_ROWS = 5  # chosen: the last reading bridges up to four missing rows; a longer gap counts as not known
LONGEST_STEP_S = 5.0  # that, for a log with a row a second
FOR_GOOD_S = 600.0  # chosen: after ten minutes outside it does not come back by itself
TRUE, READINGS = "true temperatures", "readings"


@dataclass(frozen=True)
class Window:
    """A chocolate's window and ceiling, °C. Melted stock has no temper to lose."""

    low_c: float
    target_c: float
    high_c: float
    ceiling_c: float
    tempered: bool = True


@dataclass(frozen=True)
class Trace:
    """Temperatures over a hold.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        Seconds since the start, rising.
    water_c, bowl_c : ndarray, shape (n,)
        °C; NaN where not known.
    target_c : ndarray, shape (n,)
        The board's target; NaN where it reported none.
    end_s : float
        When the hold ended; the last sample counts until then.
    scored_from : str
        `TRUE` or `READINGS`.
    row_s : float
        Time between samples: one second in a PC's log, more in the board's own.
    """

    t_s: Floats
    water_c: Floats
    bowl_c: Floats
    target_c: Floats
    end_s: float
    scored_from: str
    row_s: float = 1.0


@dataclass(frozen=True)
class Score:
    """The figures of a hold, from its first entry into the window to its end; None is not known or never came."""

    duration_s: float
    warm_up_s: float | None
    in_window_fraction: float | None
    bowl_rms_error_c: float | None
    bowl_peak_c: float | None
    water_peak_c: float | None
    exposure_k_min: float | None
    below_s: float
    above_s: float
    unknown_s: float
    water_peak_overall_c: float | None
    left_for_good: bool
    scored_from: str

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return asdict(self)


def step_lengths_s(t_s: Floats, end_s: float, row_s: float = 1.0) -> Floats:
    """How long each sample counts: until the next one, `LONGEST_STEP_ROWS` rows at most.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        Sample times, rising.
    end_s : float
        When the last sample stops counting.
    row_s : float
        Time between samples.

    Returns
    -------
    ndarray, shape (n,)
        Seconds.
    """
    return np.clip(np.diff(t_s, append=max(end_s, float(t_s[-1]))), 0.0, LONGEST_STEP_ROWS * row_s)


def score(trace: Trace, window: Window) -> Score:
    """Score a hold.

    Parameters
    ----------
    trace : Trace
        At least one sample.
    window : Window
        What it was held to.

    Returns
    -------
    Score
        Never in the window: fraction 0, and what is a peak or an error of the scored part is None.
        No temperature of the chocolate at all: None for everything that would need one.
    """
    known = np.isfinite(trace.bowl_c)
    inside = known & (trace.bowl_c >= window.low_c) & (trace.bowl_c <= window.high_c)
    if not known.any():
        return _unscored(trace, None)
    if not inside.any():
        return _unscored(trace, 0.0)
    first = int(np.argmax(inside))
    part = slice(first, None)
    steps_s = step_lengths_s(trace.t_s, trace.end_s, trace.row_s)[part]
    bowl_c, known, inside = trace.bowl_c[part], known[part], inside[part]
    known_s = float(steps_s[known].sum())
    target_c = np.where(np.isfinite(trace.target_c), trace.target_c, window.target_c)[part]
    error_c = bowl_c[known] - target_c[known]
    over_c = np.maximum(0.0, bowl_c[known] - window.high_c)
    return Score(
        duration_s=trace.end_s,
        warm_up_s=float(trace.t_s[first]),
        in_window_fraction=float(steps_s[inside].sum()) / known_s if known_s else 1.0,
        bowl_rms_error_c=_rms(error_c, steps_s[known]),
        bowl_peak_c=peak_c(bowl_c),
        water_peak_c=peak_c(trace.water_c[part]),
        exposure_k_min=float(over_c @ steps_s[known]) / 60,
        below_s=float(steps_s[known & (bowl_c < window.low_c)].sum()),
        above_s=float(steps_s[known & (bowl_c > window.high_c)].sum()),
        unknown_s=max(0.0, trace.end_s - float(trace.t_s[first]) - known_s),
        water_peak_overall_c=peak_c(trace.water_c),
        left_for_good=left_for_good(trace, window),
        scored_from=trace.scored_from,
    )


def _rms(error_c: Floats, steps_s: Floats) -> float:
    """Root mean square over time; a single instant is its own error."""
    if steps_s.sum() == 0:
        return float(abs(error_c[0]))
    return math.sqrt(float(error_c**2 @ steps_s) / float(steps_s.sum()))


def peak_c(temp_c: Floats) -> float | None:
    """The highest known temperature, or None."""
    known = temp_c[np.isfinite(temp_c)]
    return float(known.max()) if known.size else None


def left_for_good(trace: Trace, window: Window) -> bool:
    """Was the chocolate in its window once, and outside it for the whole of the last ten minutes?"""
    known = np.isfinite(trace.bowl_c)
    inside = known & (trace.bowl_c >= window.low_c) & (trace.bowl_c <= window.high_c)
    last = trace.t_s >= trace.end_s - FOR_GOOD_S
    return bool(inside.any() and (known & last).any() and not (inside & last).any())


def _unscored(trace: Trace, fraction: float | None) -> Score:
    """A hold without a scored part: the fraction is 0 when the chocolate was seen and never in its window."""
    return Score(
        duration_s=trace.end_s,
        warm_up_s=None,
        in_window_fraction=fraction,
        bowl_rms_error_c=None,
        bowl_peak_c=None,
        water_peak_c=None,
        exposure_k_min=None,
        below_s=0.0,
        above_s=0.0,
        unknown_s=0.0,
        water_peak_overall_c=peak_c(trace.water_c),
        left_for_good=False,
        scored_from=trace.scored_from,
    )


# -- in words ---------------------------------------------------------------------------------------------------------


def held_words(chocolate: str, s: Score) -> str:
    """What was held, for how long, and how well."""
    text = f"Held {chocolate} for {duration_words(s.duration_s)}"
    if s.in_window_fraction is None:
        return text + ". No probe was in the chocolate, so it is not known whether it was in its window."
    if s.warm_up_s is None:
        return text + ". The chocolate never reached its window."
    start = "from the first second" if s.warm_up_s < 2 else f"after {duration_words(s.warm_up_s)} of warm-up"
    return f"{text}: in its window {percent(s.in_window_fraction)} of the time {start}{_error_words(s)}."


def percent(fraction: float) -> str:
    """A share in words; 100 % only when nothing is missing."""
    whole = round(100 * fraction)
    return f"{min(whole, 99) if fraction < 1 else 100} %"


def _error_words(s: Score) -> str:
    return "" if s.bowl_rms_error_c is None else f", typically {s.bowl_rms_error_c:.2f} °C from its target"


def peak_words(s: Score, window: Window) -> str:
    """How warm it got, against the ceiling and the window."""
    words = []
    if s.water_peak_overall_c is not None:
        words.append(
            f"The warmest the water got was {s.water_peak_overall_c:.1f} °C, "
            f"{_against(s.water_peak_overall_c, window.ceiling_c, 'the ceiling')}."
        )
    if s.bowl_peak_c is not None:
        words.append(
            f"The warmest the chocolate got was {s.bowl_peak_c:.1f} °C, "
            f"{_against(s.bowl_peak_c, window.high_c, 'the top of its window')}."
        )
    return " ".join(words)


def _against(temp_c: float, limit_c: float, what: str) -> str:
    gap_c = temp_c - limit_c
    if abs(gap_c) < 0.05:
        return f"right at {what}"
    return f"{abs(gap_c):.1f} °C {'over' if gap_c > 0 else 'under'} {what}"


def outside_words(s: Score, window: Window) -> str:
    """Time outside the window, and what the person should do about it."""
    words = [
        f"{duration_words(spent_s)} {where}"
        for spent_s, where in ((s.below_s, "below"), (s.above_s, "above"))
        if spent_s >= 1
    ]
    text = f"It spent {' and '.join(words)} its window." if words else ""
    if s.left_for_good:
        text += " At the end it had been outside for ten minutes or more."
    if window.tempered:
        text += _temper_words(s, window)
    if s.unknown_s >= 60:
        text += f" For {duration_words(s.unknown_s)} its temperature is not known."
    return text.strip()


def _temper_words(s: Score, window: Window) -> str:
    """Advice after time above the window: no model gives the seed that is left, so only a test can."""
    if s.bowl_peak_c is not None and s.bowl_peak_c >= window.ceiling_c:
        return " Assume the seed is lost until a temper test passes."
    return " Test the temper before you dip again." if s.above_s >= 1 else ""


def trip_words(trips: list[dict[str, Any]]) -> str:
    """The trips, one clause each."""
    if not trips:
        return "No trips."
    each = "; ".join(f"{trip['said']} ({duration_words(trip['t_s'])} in)" for trip in trips)
    return f"{len(trips)} trip{'s' if len(trips) > 1 else ''}: {each}."


def paragraph(chocolate: str, s: Score, window: Window, trips: list[dict[str, Any]]) -> str:
    """The whole hold in a few plain sentences."""
    parts = [held_words(chocolate, s), peak_words(s, window), outside_words(s, window), trip_words(trips)]
    return " ".join(part for part in parts if part)
