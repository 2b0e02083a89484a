"""The chart of a hold that is over, drawn from its record."""

from __future__ import annotations

from typing import Any

import numpy as np

from bainwright.core.bounds import COLDEST_C, HOTTEST_C
from bainwright.display.scene import Sample
from bainwright.evening.window_news import EDGES
from bainwright.page.chart import MOST_POINTS, chart
from bainwright.record.gaps import longest_steps_s, row_s_of
from bainwright.record.reader import HoldLog
from bainwright.words import terms


def chart_of(log: HoldLog) -> str:
    """Draw a record.

    Parameters
    ----------
    log : HoldLog
        The record.

    Returns
    -------
    str
        The SVG; empty where the record does not have the chocolate's window.
    """
    profile = log.facts.get("profile")
    ends = [profile.get(name) for name in ("low_c", "high_c", "ceiling_c")] if isinstance(profile, dict) else []
    numbers = [float(end) for end in ends if isinstance(end, int | float) and COLDEST_C <= end <= HOTTEST_C]
    if len(numbers) != 3 or not numbers[0] < numbers[1] < numbers[2]:
        return ""
    low_c, high_c, ceiling_c = numbers
    return chart(
        _samples(log), (low_c, high_c, ceiling_c), bath=log.bath, label=f"The whole hold: chocolate and {log.bath}",
        events=[_mark(event, log.bath) for event in log.events if event.get("event") not in EDGES],
    )  # fmt: skip


def _samples(log: HoldLog) -> list[Sample]:
    """Evenly taken rows; a gap in the record is a sample without values."""
    t_s = np.asarray(log["t_s"], dtype=float)
    step = max(1, -(-len(t_s) // MOST_POINTS))
    longest_s = step * longest_steps_s(log["state"], row_s_of(log))
    samples: list[Sample] = []
    for at in range(0, len(t_s), step):
        if samples and t_s[at] - samples[-1][0] > longest_s[at]:
            samples.append((float(t_s[at]), None, None))
        samples.append((float(t_s[at]), _known(log["water_c"][at]), _known(log["bowl_c"][at])))
    return samples


def _known(temp_c: float) -> float | None:
    return float(temp_c) if COLDEST_C <= temp_c <= HOTTEST_C else None


def _mark(event: dict[str, Any], bath: str) -> tuple[float, str]:
    return float(event["t_s"]), terms.event(str(event.get("event")), event, "", bath)
