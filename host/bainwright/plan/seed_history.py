"""What past evenings say about seed: used over planned, for the next plan to correct itself by."""

from __future__ import annotations

import statistics

from bainwright.core.errors import FileError
from bainwright.core.home import hold_folders
from bainwright.plan.leftovers import read_leftovers

FACTOR_LOW, FACTOR_HIGH = 0.5, 2.0  # chosen: beyond it a mass was mistyped
EVENINGS = 5  # chosen: so many past evenings correct a plan; a person's habit may change


def past_factor(kind: str) -> tuple[float, int] | None:
    """Seed used over seed planned on past evenings of a kind, and their number; None when nobody recorded any.

    The median, so that one evening with an open window does not set the next plan. It is drawn towards 1 as if one
    more evening had gone exactly as planned, because half a degree misread is a seventh of the seed. A record that
    cannot be read is skipped: a plan is not the place to complain about it.
    """
    found = []
    for folder in hold_folders():
        try:
            left = read_leftovers(folder)
        except FileError:
            continue
        if left is not None and left.kind == kind and left.seed_factor is not None:
            found.append((left.at, left.seed_factor))
    last = [factor for _, factor in sorted(found)[-EVENINGS:]]
    if not last:
        return None
    return 1.0 + (statistics.median(last) - 1.0) * len(last) / (len(last) + 1.0), len(last)
