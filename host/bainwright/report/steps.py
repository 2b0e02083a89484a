"""The steps of an evening as the log has them: which ran when, how warm each got, and which of them are scored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard import stages
from bainwright.evening import held_back
from bainwright.files.score import Flags, Floats, Trace, Window
from bainwright.record.reader import HoldLog
from bainwright.record.temper_tests import valid_tests
from bainwright.words import terms

BEFORE_WORK = tuple(str(row[stages.NAME]) for row in stages.STAGES if row[stages.NEXT])  # each leads to another step


@dataclass(frozen=True)
class Step:
    """One run of a step."""

    name: str
    start_s: float
    end_s: float
    water_peak_c: float | None
    bowl_low_c: float | None
    bowl_peak_c: float | None
    bowl_end_c: float | None  # the last that is known


def at_samples(log: HoldLog, t_s: Floats) -> NDArray[Any]:
    """The step at each sample time; a step counts from its row until the next row."""
    rows = np.clip(np.searchsorted(log["t_s"], t_s, side="right") - 1, 0, len(log) - 1)
    return log["stage"][rows]


def held_back_s(log: HoldLog) -> float:
    """For how long the board held its heat back beside a bath far under its target, as `HeldBack` says it live, s."""
    t_s, water_c = log["t_s"], log["water_c"]
    lengths_s = np.diff(t_s, append=t_s[-1:])
    with np.errstate(invalid="ignore"):
        short = (log["state"] == "hold") & (log["water_target_c"] - water_c > held_back.SHORT_K)
    total_s, at = 0.0, 0
    while at < len(t_s):
        end = at
        while end < len(t_s) and short[end] and t_s[end] - t_s[at] < held_back.MEANT_S:
            end += 1
        if end > at and end < len(t_s) and short[end]:
            heat_s, lasted_s = float((log["duty"][at:end] * lengths_s[at:end]).sum()), float(t_s[end] - t_s[at])
            if heat_s < lasted_s * held_back.LITTLE / 10_000 and water_c[end] - water_c[at] < held_back.RISES_K:
                total_s += lasted_s
        at = max(end, at + 1)
    return total_s


def changed_s(log: HoldLog) -> float:
    """When another chocolate came into the bath: what follows is not scored by the window of the first."""
    times_s = [float(event["t_s"]) for event in log.events if event.get("event") == "changed"]
    return min(times_s, default=float("inf"))


def next_bowls(log: HoldLog) -> list[str]:
    """The chocolates that came into the bath after the first, in order."""
    names: list[str] = []
    coming = ""
    for event in log.events:
        if event.get("event") == "changed":
            coming = str(event.get("name") or "another chocolate")
        elif event.get("event") == "stage" and event.get("stage") != "change" and coming:  # it is in the bath
            names.append(coming)
            coming = ""
    return names


def scored(names: NDArray[Any], t_s: Floats, window: Window, until_s: float) -> Flags | None:
    """The samples that are scored: the work, or melted stock; None where the hold has no other step.

    Parameters
    ----------
    names : ndarray, shape (n,)
        The step at each sample.
    t_s : ndarray, shape (n,)
        Sample times.
    window : Window
        The window of the scored step.
    until_s : float
        When another chocolate came into the bath.
    """
    # Only by its own window: leftovers at rest, or melted for the night, are not a temper that went wrong.
    own, other = ("work", "melted") if window.tempered else ("melted", "work")
    after = (other, "rest") if (names == own).any() else ()
    if not np.isin(names, (*BEFORE_WORK, *after)).any() and not only_rests(names):
        return None
    counts: Flags = (names == own) & (t_s < until_s)
    return counts


def only_rests(names: NDArray[Any]) -> bool:
    """Did the hold begin with the rest? Chocolate that is left to set has no window."""
    return bool((names == "rest").any() and np.isin(names, ("rest", "")).all())


def in_temper(log: HoldLog, names: NDArray[Any], t_s: Floats) -> Flags:
    """The samples with a temper in the first bowl since its last test that passed: the test settles what was before."""
    passed_s = [float(event["t_s"]) for event in valid_tests(log.events)
                if terms.verdict_of(event) in (stages.GOOD, stages.SLOW)]
    until_s = changed_s(log)
    since_s = max((at_s for at_s in passed_s if at_s < until_s), default=0.0)
    # A log from before there were steps names none.
    return np.isin(names, (*stages.TEMPERED, "")) & (t_s >= since_s) & (t_s < until_s)


def runs(names: NDArray[Any], trace: Trace) -> list[Step]:
    """Each unbroken run of a step, in order of time."""
    starts = [0, *(np.flatnonzero(names[1:] != names[:-1]) + 1).tolist()] if len(names) else []
    found = []
    for start, end in zip(starts, [*starts[1:], len(names)], strict=True):
        if names[start] == "":
            continue
        end_s = trace.end_s if end == len(names) else float(trace.t_s[end])
        water, bowl = (_known_c(series_c[start:end]) for series_c in (trace.water_c, trace.bowl_c))
        found.append(Step(str(names[start]), float(trace.t_s[start]), end_s, _highest_c(water), _lowest_c(bowl),
                          _highest_c(bowl), float(bowl[-1]) if bowl.size else None))
    return found


def _known_c(temp_c: Floats) -> Floats:
    """The temperatures without those that are not known."""
    return temp_c[np.isfinite(temp_c)]


def _lowest_c(known: Floats) -> float | None:
    return float(known.min()) if known.size else None


def _highest_c(known: Floats) -> float | None:
    return float(known.max()) if known.size else None
