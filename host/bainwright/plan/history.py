"""What past evenings say about the next one: seed and melting time, used over planned."""

from __future__ import annotations

import statistics
from collections.abc import Callable

from bainwright.core.errors import FileError
from bainwright.core.home import hold_folders
from bainwright.record.leftovers import Leftovers, read_leftovers

EVENINGS = 5  # chosen: so many past evenings correct a plan; a person's habit may change


def past_factor(kind: str) -> tuple[float, int] | None:
    """Seed used over seed planned on past evenings of a kind, and their number; None when nobody recorded any."""
    return _drawn_to_one(lambda left: left.seed_factor if left.kind == kind else None)


def past_melt_factor(rig: str) -> tuple[float, int] | None:
    """Melting time over the time planned on past evenings of a warmer, and their number; None when there are none."""
    return _drawn_to_one(lambda left: left.melt_factor if left.rig == rig else None)


def _drawn_to_one(factor_of: Callable[[Leftovers], float | None]) -> tuple[float, int] | None:
    """The median of past factors, so that one evening with an open window does not set the next plan.

    It is drawn towards 1 as if one more evening had gone exactly as planned, because half a degree misread is a seventh
    of the seed. A record that cannot be read is skipped: a plan is not the place to complain about it.
    """
    found = []
    for folder in hold_folders():
        try:
            left = read_leftovers(folder)
        except FileError:
            continue
        factor = None if left is None else factor_of(left)
        if left is not None and factor is not None:
            found.append((left.at, factor))
    last = [factor for _, factor in sorted(found)[-EVENINGS:]]
    if not last:
        return None
    return 1.0 + (statistics.median(last) - 1.0) * len(last) / (len(last) + 1.0), len(last)
