"""Several nights of one warmer, in their order: what drifted between them, and what somebody changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from bainwright.review.drift import Drift, alike, drifts
from bainwright.review.night import Night

NAMES_ONLY = {"name", "room_c"}  # of the rig: they change nothing about the warmer


@dataclass(frozen=True)
class Change:
    """A drift, and the nights it lies between.

    Attributes
    ----------
    last, first : Night
        The last night before it, and the first after it.
    drift : Drift
        What moved.
    """

    last: Night
    first: Night
    drift: Drift


@dataclass(frozen=True)
class Mark:
    """What somebody changed between two nights that followed each other: name, value before and value after."""

    first: Night
    what: list[tuple[str, Any, Any]]


@dataclass(frozen=True)
class Comparison:
    """One warmer's nights.

    Attributes
    ----------
    nights : list of Night
        In order of their start.
    groups : list of list of Night
        Those whose figures were compared with each other: two or more, at like temperatures.
    apart : list of Night
        Those with figures that are like no other's.
    short : list of Night
        Those without figures.
    changes : list of Change
        In order.
    marks : list of Mark
        In order.
    """

    nights: list[Night]
    groups: list[list[Night]]
    apart: list[Night]
    short: list[Night]
    changes: list[Change]
    marks: list[Mark]


def compare(nights: Sequence[Night]) -> list[Comparison]:
    """The nights of each warmer compared; two boards of one name are two warmers.

    Parameters
    ----------
    nights : sequence of Night
        In any order. One without a known start is left out, and copies of one hold count once.

    Returns
    -------
    list of Comparison
        Of every warmer with two nights or more.
    """
    warmers: dict[tuple[str, str], dict[float, Night]] = {}
    for night in sorted(nights, key=lambda each: (each.own is not None, each.rows), reverse=True):  # best first
        started_s = night.entry.started_s  # no board starts two holds in one second
        if started_s is not None:
            warmers.setdefault((night.entry.board, night.entry.warmer), {}).setdefault(started_s, night)
    return [_compare([each[at] for at in sorted(each)]) for each in warmers.values() if len(each) > 1]


def _compare(nights: list[Night]) -> Comparison:
    known = [(night, night.own) for night in nights if night.own is not None]
    groups = [[known[at] for at in group] for group in alike([own for _, own in known])]
    changes = []
    for group in (each for each in groups if len(each) > 1):
        for drift in drifts([own for _, own in group]):
            changes.append(Change(group[drift.first - 1][0], group[drift.first][0], drift))
    return Comparison(
        nights,
        [[night for night, _ in group] for group in groups if len(group) > 1],
        [group[0][0] for group in groups if len(group) == 1],
        [night for night in nights if night.own is None],
        sorted(changes, key=lambda each: each.first.entry.started_s or 0.0),
        [mark for pair in pairwise(nights) if (mark := _mark(*pair)).what],
    )


def _mark(before: Night, after: Night) -> Mark:
    """Settings, gains and firmware that differ; what one of the two records does not have is no change."""
    what = []
    for part in ("rig", "gains"):
        one, other = before.setup.get(part), after.setup.get(part)
        if isinstance(one, dict) and isinstance(other, dict):
            both = sorted((set(one) & set(other)) - NAMES_ONLY)
            what += [(name, one[name], other[name]) for name in both if one[name] != other[name]]
    if before.entry.firmware and after.entry.firmware and before.entry.firmware != after.entry.firmware:
        what.append(("firmware", before.entry.firmware, after.entry.firmware))
    return Mark(after, what)
