"""Several nights side by side as a table, and what changed between them in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from bainwright.core.units import duration_words
from bainwright.review import drift
from bainwright.review.drift import LEAD, NEED, RISE, Drift
from bainwright.review.night import Night
from bainwright.review.nights import Change, Comparison, Mark
from bainwright.words.section import Section

TITLE = "What changed between the nights"
CAUSES = {
    drift.WEAKER: "the heater gives less heat: low mains, a worn heater, or a mat that has come off the pot",
    drift.STRONGER: "the heater gives more heat: high mains, or another heater than the rig says",
    drift.LESS_WATER: "there is less water in the bath",
    drift.MORE_WATER: "there is more water in the bath",
    drift.MORE_LOSS: "more heat is lost: a lid left off, the ring of water uncovered, a draught, or a colder room",
    drift.LESS_LOSS: "less heat is lost: a lid or more cover than before, or a warmer room",
    drift.LEAD_UP: "the bowl's probe reads low or the bath's reads high, one of them has slipped, or the bowl takes its"
    " heat less well",
    drift.LEAD_DOWN: "the bowl's probe reads high or the bath's reads low, one of them has slipped, or the bowl takes"
    " its heat better",
    drift.SEVERAL: "more than one thing, as no single cause fits",
}
MOST_MARKS = 6  # changed settings that are named; chosen


def table(nights: Sequence[Night]) -> list[tuple[str, ...]]:
    """A head row, then a row a night."""

    def cell(value: float | None, form: str) -> str:
        return "-" if value is None or np.isnan(value) else form.format(value)

    def outside(night: Night) -> str:
        below_s, above_s = night.figures["below_s"], night.figures["above_s"]
        if below_s is None or above_s is None or night.figures["bowl_low_c"] is None:  # it never came to dip
            return "-"
        return duration_words(below_s + above_s)

    head = ("hold", "date", "verdict", "outside", "coldest", "warmest", "water", "heat", "per degree", "bath-bowl",
            "alarms")  # fmt: skip
    rows = [
        (
            night.entry.name,
            night.entry.started.strftime("%Y-%m-%d") if night.entry.started else "?",
            night.entry.verdict,
            outside(night),
            cell(night.figures["bowl_low_c"], "{:.1f} °C"),
            cell(night.figures["bowl_peak_c"], "{:.1f} °C"),
            cell(night.figures["water_peak_c"], "{:.1f} °C"),
            cell(night.mean_w, "{:.0f} W"),
            cell(night.own.need_w_per_k if night.own else None, "{:.2f} W/°C"),
            cell(night.own.lead_k if night.own else None, "{:.1f} °C"),
            str(len(night.alarms) or "-"),
        )
        for night in nights
    ]
    return [head, *rows]


def sections(compared: Sequence[Comparison]) -> list[Section]:
    """What changed, as a section; none where nothing could be compared."""
    said = lines(compared)
    return [Section(TITLE, said)] if said else []


def lines(compared: Sequence[Comparison]) -> list[str]:
    """What changed, warmer by warmer; nothing where nothing could be compared."""
    out: list[str] = []
    tested = any(each.groups for each in compared)
    for each in compared:
        said = _warmer_lines(each)
        if said and len(compared) > 1:
            out.append(f"{warmer(each)}:")
        out += said
    return out + ([f"A change is reported only where chance would show it once in {1 / drift.RATE:,.0f} comparisons."]
                  if tested else [])  # fmt: skip


def warmer(each: Comparison) -> str:
    """Whose nights these are, by name and board: two boards may have one name."""
    entry = each.nights[0].entry
    return f"{entry.warmer or 'A warmer without a name'}{f', board {entry.board}' if entry.board else ''}"


def _warmer_lines(each: Comparison) -> list[str]:
    out = [_change_line(change, each) for change in each.changes]
    out += [_mark_line(mark) for mark in each.marks]
    count = sum(map(len, each.groups))
    if count and not each.changes:
        out.append(f"No change of the warmer stands out among the {count} nights that can be compared.")
    if each.apart and len(each.nights) > 1:
        out.append(f"Like no other night in temperature or probes, so not compared: {_names(each.apart)}.")
    if each.short:
        out.append(f"Too short, too disturbed or damaged, or without the rig's sizes: {_names(each.short)}.")
    return out + [
        f"By the clock {after.entry.name} came after {before.entry.name}, but the board counted it before. Was a clock"
        " set back, or the board's log erased? The order of these nights may be wrong."
        for before, after in pairwise(each.nights)
        if before.entry.hold is not None and after.entry.hold is not None and after.entry.hold < before.entry.hold
    ]


def _names(nights: Sequence[Night]) -> str:
    return ", ".join(night.entry.name for night in nights)


def _when(night: Night) -> str:
    started = night.entry.started
    return f"{night.entry.name} ({started.strftime('%d %b').lstrip('0')})" if started else night.entry.name


def _change_line(change: Change, each: Comparison) -> str:
    causes = ", or ".join(CAUSES[name] for name in change.drift.causes)
    same = next((mark for mark in each.marks if mark.first is change.first), None)
    changed = f" These settings changed on the same day: {_marks(same)}." if same else ""
    return f"From {_when(change.first)} on, {_moves(change.drift)}. Likely: {causes}.{changed}"


def _moves(found: Drift) -> str:
    said = []
    low, high = found.change - found.spread, found.change + found.spread
    if found.moved[NEED]:
        said.append(f"the bath takes {_share(found.change[NEED])} heat per degree over the room"
                    f" ({_shares(low[NEED], high[NEED])})")  # fmt: skip
    if found.moved[RISE]:
        said.append(f"the same heat warms it {_share(found.change[RISE])} ({_shares(low[RISE], high[RISE])})")
    if found.moved[LEAD]:
        than = "warmer" if found.change[LEAD] > 0 else "cooler"
        said.append(f"it reads {abs(found.change[LEAD]):.1f} °C {than} against the bowl than before"
                    f" ({_range(low[LEAD], high[LEAD])})")  # fmt: skip
    return " and ".join(said).replace("it reads", "the bath reads") or "the warmer behaves in another way"


def _share(moved: float) -> str:
    return f"{abs(100 * np.expm1(moved)):.0f} % {'more' if moved > 0 else 'less'}"


def _shares(low: float, high: float) -> str:
    ends = sorted(abs(100 * np.expm1(end)) for end in (low, high))
    return f"95 % sure: {ends[0]:.0f} to {ends[1]:.0f} %"


def _range(low: float, high: float) -> str:
    ends = sorted(map(abs, (low, high)))
    return f"95 % sure: {ends[0]:.1f} to {ends[1]:.1f} °C"


def _mark_line(mark: Mark) -> str:
    return f"Changed before {_when(mark.first)}: {_marks(mark)}."


def _marks(mark: Mark) -> str:
    said = [f"{name} from {_value(before)} to {_value(after)}" for name, before, after in mark.what[:MOST_MARKS]]
    more = len(mark.what) - MOST_MARKS
    return "; ".join(said) + (f"; and {more} more" if more > 0 else "")


def _value(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def as_json(each: Comparison) -> dict[str, Any]:
    """One warmer's comparison for a program; changes of need and rise as factors."""
    return {
        "warmer": each.nights[0].entry.warmer,
        "board": each.nights[0].entry.board,
        "compared": [[night.entry.name for night in group] for group in each.groups],
        "not_compared": [night.entry.name for night in (*each.apart, *each.short)],
        "false_rate": drift.RATE,
        "changes": [_change_json(change) for change in each.changes],
        "marks": [
            {"from": mark.first.entry.name,
             "what": [{"name": name, "before": before, "after": after} for name, before, after in mark.what]}
            for mark in each.marks
        ],
    }  # fmt: skip


def _change_json(change: Change) -> dict[str, Any]:
    found = change.drift
    low, high = found.change - found.spread, found.change + found.spread

    def figure(at: int, scale: Any) -> dict[str, float] | None:
        if np.isnan(found.change[at]):
            return None
        return {"change": float(scale(found.change[at])), "low": float(scale(low[at])), "high": float(scale(high[at]))}

    return {
        "from": change.first.entry.name,
        "causes": list(found.causes),
        "chance": found.chance,
        "need_factor": figure(NEED, np.exp),
        "rise_factor": figure(RISE, np.exp),
        "bath_over_bowl_c": figure(LEAD, float),
    }
