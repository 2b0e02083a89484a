"""The figures of a hold from its temperatures over time. Pure functions of arrays."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LONGEST_STEP_ROWS = 5  # chosen: the last reading bridges up to four missing rows; a longer gap counts as unknown
LONGEST_STEP_S = 5.0  # the same, for a log with a row a second
FOR_GOOD_S = 600.0  # chosen: after ten minutes outside, the bowl does not return by itself
ENTRY_S = 60.0  # chosen: in the window for a minute is an entry; one noisy reading in it is not
TRUE, READINGS = "true temperatures", "readings"
RAW = "noisy readings of the plant"  # a plant with `raw_probes` gives no true temperatures


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
        °C; NaN where unknown.
    target_c : ndarray, shape (n,)
        The board's target; NaN where it reported none.
    end_s : float
        When the hold ended; the last sample counts until then.
    scored_from : str
        `TRUE`, `READINGS` or `RAW`.
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

    def until(self, end_s: float) -> Trace:
        """The part before a moment."""
        part = self.t_s < end_s
        return Trace(self.t_s[part], self.water_c[part], self.bowl_c[part], self.target_c[part], end_s,
                     self.scored_from, self.row_s)


@dataclass(frozen=True)
class Figures:
    """Times and temperatures over some part of a hold; None where no temperature is known."""

    below_s: float
    inside_s: float
    above_s: float
    longest_outside_s: float  # the longest stretch on one side of the window
    bowl_low_c: float | None
    bowl_peak_c: float | None
    water_peak_c: float | None
    exposure_k_min: float | None  # integral of the degrees over the window's top


@dataclass(frozen=True)
class Score:
    """The figures of a hold.

    Attributes
    ----------
    duration_s : float
        Its length.
    warm_up_s : float or None
        When the chocolate first came into its window and stayed for `ENTRY_S`; None if it never did.
    scored_from_s, scored_to_s : float or None
        The scored span: from that entry to the end of the hold, or of its work.
    in_window_fraction, bowl_rms_error_c : float or None
        Over the scored span: share of the known time in the window, and error against the board's target.
    whole : Figures
        Over the whole hold.
    counted : Figures
        Over the steps that are scored: the same as `whole`, but for an evening with melting and seeding.
    unknown_s : float
        Time of the hold without a temperature of the chocolate.
    left_for_good : bool
        It was in its window, but outside it for the last ten minutes.
    scored_from : str
        What kind of temperatures these are: `TRUE`, `READINGS` or `RAW`.
    """

    duration_s: float
    warm_up_s: float | None
    scored_from_s: float | None
    scored_to_s: float | None
    in_window_fraction: float | None
    bowl_rms_error_c: float | None
    whole: Figures
    counted: Figures
    unknown_s: float
    left_for_good: bool
    scored_from: str

    def as_dict(self) -> dict[str, Any]:
        """For JSON: the figures of the whole hold beside those of the scored span."""
        values = asdict(self)
        counted = values.pop("counted")
        values |= values.pop("whole")
        return values if self.counted == self.whole else {**values, "dipping": counted}


SCORE_KEYS = tuple(
    name for name in (*Score.__annotations__, *Figures.__annotations__) if name not in ("whole", "counted")
)


def step_lengths_s(t_s: Floats, end_s: float, row_s: float = 1.0) -> Floats:
    """How long each sample counts: until the next one, but at most `LONGEST_STEP_ROWS` rows.

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


def score(trace: Trace, window: Window, counts: Flags | None = None) -> Score:
    """Score a hold.

    Parameters
    ----------
    trace : Trace
        At least one sample.
    window : Window
        The chocolate's window.
    counts : ndarray of bool, shape (n,), optional
        The samples of the steps that are scored, where melting and seeding came before; default: all.

    Returns
    -------
    Score
        If the chocolate was never in the window, the fraction is 0 and the error None; without a temperature both are
        None.
    """
    steps_s = step_lengths_s(trace.t_s, trace.end_s, trace.row_s)
    counts = np.ones(len(trace.t_s), dtype=bool) if counts is None else counts
    known = np.isfinite(trace.bowl_c)
    whole = figures(trace, window, steps_s, np.ones(len(known), dtype=bool))
    counted = figures(trace, window, steps_s, counts)
    inside = counts & known & (trace.bowl_c >= window.low_c) & (trace.bowl_c <= window.high_c)
    first = entry(inside, known & counts, steps_s)
    fraction = error_c = span_s = None
    if first is None:
        fraction = 0.0 if (known & counts).any() else None
    else:
        scored = counts & known & (np.arange(len(known)) >= first)
        known_s = float(steps_s[scored].sum())
        fraction = float(steps_s[scored & inside].sum()) / known_s if known_s else 1.0
        target_c = np.where(np.isfinite(trace.target_c), trace.target_c, window.target_c)
        error_c = _rms(trace.bowl_c[scored] - target_c[scored], steps_s[scored])
        last = int(np.flatnonzero(counts)[-1])
        span_s = float(trace.t_s[first]), trace.end_s if last == len(counts) - 1 else float(trace.t_s[last + 1])
    return Score(
        duration_s=trace.end_s,
        warm_up_s=span_s[0] if span_s else None,
        scored_from_s=span_s[0] if span_s else None,
        scored_to_s=span_s[1] if span_s else None,
        in_window_fraction=fraction,
        bowl_rms_error_c=error_c,
        whole=whole,
        counted=counted,
        unknown_s=max(0.0, trace.end_s - float(steps_s[known].sum())),
        left_for_good=first is not None and _outside_at_the_end(trace.t_s, known & counts, inside),
        scored_from=trace.scored_from,
    )


def figures(trace: Trace, window: Window, steps_s: Floats, part: Flags) -> Figures:
    """Times and temperatures over the samples in `part`.

    Parameters
    ----------
    trace : Trace
        The hold.
    window : Window
        The chocolate's window.
    steps_s : ndarray, shape (n,)
        How long each sample counts.
    part : ndarray of bool, shape (n,)
        The samples to look at.
    """
    known = part & np.isfinite(trace.bowl_c)
    below, above = known & (trace.bowl_c < window.low_c), known & (trace.bowl_c > window.high_c)
    over_k = np.where(above, trace.bowl_c - window.high_c, 0.0)
    bowl_c, water_c = trace.bowl_c[known], trace.water_c[part & np.isfinite(trace.water_c)]
    return Figures(
        below_s=float(steps_s[below].sum()),
        inside_s=float(steps_s[known & ~below & ~above].sum()),
        above_s=float(steps_s[above].sum()),
        longest_outside_s=max(longest_s(below, steps_s), longest_s(above, steps_s)),
        bowl_low_c=float(bowl_c.min()) if bowl_c.size else None,
        bowl_peak_c=float(bowl_c.max()) if bowl_c.size else None,
        water_peak_c=float(water_c.max()) if water_c.size else None,
        exposure_k_min=float(over_k @ steps_s) / 60 if bowl_c.size else None,
    )


def entry(inside: Flags, known: Flags, steps_s: Floats) -> int | None:
    """The first sample of the first stay in the window of `ENTRY_S` or more; None if there is none.

    A single noisy reading in the window is not an entry. A record shorter than `ENTRY_S` counts as a stay if the
    chocolate is in the window throughout.
    """
    if known.any() and (inside == known).all():
        return int(np.argmax(known))
    for start, end in _stretches(inside):
        if float(steps_s[start:end].sum()) >= ENTRY_S:
            return start
    return None


def longest_s(flags: Flags, steps_s: Floats) -> float:
    """Length of the longest unbroken stretch of true flags, seconds."""
    return max((float(steps_s[start:end].sum()) for start, end in _stretches(flags)), default=0.0)


def _stretches(flags: Flags) -> list[tuple[int, int]]:
    """First and one-past-last index of each unbroken stretch of true flags."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return [(int(start), int(end)) for start, end in zip(edges[::2], edges[1::2], strict=True)]


def _rms(error_c: Floats, steps_s: Floats) -> float:
    """Root mean square over time; a single instant is its own error."""
    if steps_s.sum() == 0:
        return float(abs(error_c[0]))
    return math.sqrt(float(error_c**2 @ steps_s) / float(steps_s.sum()))


def _outside_at_the_end(t_s: Floats, known: Flags, inside: Flags) -> bool:
    """Is every known sample of the last `FOR_GOOD_S` outside the window?"""
    last = known & (t_s >= float(t_s[known][-1]) - FOR_GOOD_S)
    return not (inside & last).any()
