"""A review in sections of plain sentences, for the terminal and for the printed page alike."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import numpy as np

from bainwright.archive.listing import DAMAGED
from bainwright.core.units import after, clock_words, duration_words
from bainwright.happenings import announced
from bainwright.happenings import words as happening_words
from bainwright.happenings.balance import Balance
from bainwright.happenings.outside import Course, Stretch
from bainwright.report.sentences import TEMPER_WORDS
from bainwright.review.hold_list import as_result
from bainwright.review.night import Alarm, Gap, Night
from bainwright.words import terms
from bainwright.words.advice import advise
from bainwright.words.section import Section

LEAST_K_MIN = 0.05  # chosen: a smaller sum would be shown as 0.0
MOST_NAMED = 6  # times in one sentence; chosen
LEAST_UNKNOWN_S = 60  # chosen, as in the report: a second between start and first row says nothing
PARTS = {"": "The chocolate was", "work": "While dipping, the chocolate was", "melted": "As melted stock, it was"}
TEMPERATURES = {"": "Temperatures", "work": "Temperatures while dipping", "melted": "Temperatures as melted stock"}
NEVER = {"work": "It never reached the dipping, so there are no figures for its window.",
         "melted": "It was never melted stock, so there are no figures for its window."}
UNSEEN = {announced.REFILL: "a refill", announced.LIFT: "a lift of the bowl"}
NO_REPORT = "The record has no report, because the hold has no recorded end."
NO_FACTS = "Which hold this was, and its report, are lost; below is what its rows still show."


def clock(night: Night, t_s: float) -> str:
    """A moment by the clock; the time since the start where the clock was not known."""
    started = night.entry.started
    if started is None:
        return clock_words(t_s)
    at = after(started, t_s)
    days = (at.date() - started.date()).days
    return at.strftime("%H:%M") + (f" (+{days} d)" if days else "")


def sections(night: Night) -> list[Section]:
    """The whole review; sections without anything to say are left out.

    Parameters
    ----------
    night : Night
        The review.
    """
    found = [
        Section("Verdict", [night.entry.summary or (NO_FACTS if night.entry.verdict == DAMAGED else NO_REPORT)]),
        Section("Temper", [TEMPER_WORDS[night.temper]] if TEMPER_WORDS.get(night.temper) else []),
        Section(TEMPERATURES[night.part], _temperatures(night)),
        Section("Trips and warnings", _alarms(night)),
        Section("What the readings show", _happenings(night)),
        Section("Restarts and power", _outages(night)),
        Section("Record", _record(night)),
        Section("Heat and water", _heat(night)),
    ]
    return [section for section in found if section.lines]


def _temperatures(night: Night) -> list[str]:
    f = night.figures
    spent = [
        f"{words} {duration_words(seconds)}"
        for name, words in (("below_s", "below its window"), ("inside_s", "in it"), ("above_s", "above it"),
                            ("unknown_s", "not known"))
        if (seconds := f[name]) is not None and (name != "unknown_s" or seconds >= LEAST_UNKNOWN_S)
    ]  # fmt: skip
    counted_s = [f[name] or 0.0 for name in ("below_s", "inside_s", "above_s")]
    if night.part and sum(counted_s) < 1.0 and (f["unknown_s"] or 0.0) < LEAST_UNKNOWN_S:
        return [NEVER[night.part]]
    lines = [f"{PARTS[night.part]} {', '.join(spent)}."] if spent else []
    lines += [_course(night, night.course)] if night.course else []
    if f["bowl_low_c"] is not None and f["bowl_peak_c"] is not None:
        lines.append(f"It was {f['bowl_low_c']:.1f} °C at its coldest and {f['bowl_peak_c']:.1f} °C at its warmest.")
    if f["water_peak_c"] is not None:
        lines.append(f"The water was {f['water_peak_c']:.1f} °C at its warmest.")
    if f["longest_outside_s"]:
        lines.append(f"The longest time outside was {duration_words(f['longest_outside_s'])}.")
    if (f["exposure_k_min"] or 0.0) >= LEAST_K_MIN:
        lines.append(f"Above the window it collected {f['exposure_k_min']:.1f} degree-minutes.")
    return lines


def _course(night: Night, course: Course) -> str:
    """When it was in its window, by the clock; the longest times outside are named, in their order."""
    last = course.outside[-1] if course.outside else None
    stayed = last if last is not None and last.to_s >= course.to_s else None  # outside to the end
    inside_to_s = course.to_s if stayed is None else stayed.from_s
    within = [each for each in course.outside if each is not stayed]
    longest = sorted(within, key=lambda each: each.from_s - each.to_s)[:MOST_NAMED]
    but = "; ".join(
        f"from {clock(night, each.from_s)} to {clock(night, each.to_s)} ({_worst(each)})"
        for each in sorted(longest, key=lambda each: each.from_s)
    )
    shorter = len(within) - len(longest)
    more = f"; and {shorter} shorter time{'s' if shorter > 1 else ''}" if shorter else ""
    recorded = ", as far as it was recorded" if night.gaps else ""
    said = (f"By the readings it was in its window from {clock(night, course.from_s)} to {clock(night, inside_to_s)}"
            f"{recorded}{f', but not {but}{more}' if but else ''}.")
    if stayed is None:
        return said
    side = "above" if stayed.above else "below"
    return f"{said} Then it was {side} it until {clock(night, stayed.to_s)} ({_worst(stayed)})."


def _worst(each: Stretch) -> str:
    return f"{'up' if each.above else 'down'} to {each.worst_c:.1f} °C"


def _alarms(night: Night) -> list[str]:
    """Each fault once, with its times and what to do; trips first."""
    by_fault: dict[tuple[bool, int], list[Alarm]] = {}
    for alarm in night.alarms:
        by_fault.setdefault((not alarm.trip, alarm.fault), []).append(alarm)
    lines = []
    for (is_warning, fault), alarms in sorted(by_fault.items()):
        times = ", ".join(clock(night, alarm.t_s) for alarm in alarms[:MOST_NAMED])
        more = f" and {len(alarms) - MOST_NAMED} more" if len(alarms) > MOST_NAMED else ""
        what = "Warning" if is_warning else "TRIP"
        advice = advise(fault, night.bath, sure=False)  # a row says that the heat is off, not that nothing heats
        lines.append(f"{what} at {times}{more}: {advice.seen}")
        if not is_warning:
            lines += [f"  {line}" for line in (advice.did, advice.safety, advice.chocolate, advice.first) if line]
        elif advice.first:
            lines.append(f"  {advice.first}")
    return lines


def _happenings(night: Night) -> list[str]:
    """In order of time, whatever it was found by."""
    def at(t_s: float) -> str:
        return clock(night, t_s)

    said = [(each.at_s, happening_words.left(each, at, night.bath)) for each in night.strays]
    said += [(each.at_s, happening_words.jumped(each, at, night.bath)) for each in night.jumps]
    said += _balanced(night, at) if night.balance is not None else []
    return [line for _, line in sorted(said)]


def _balanced(night: Night, at: Callable[[float], str]) -> list[tuple[float, str]]:
    assert night.balance is not None
    said = []
    for each in night.happenings:
        before = _just_before(night.balance, each.at_s)
        water_c = float(np.nanmean(night.balance.water_c if np.isnan(before[0]) else before[0]))
        known = next((one for one in night.announced if one.found is each), None)
        if known is not None and known.kind == announced.LIFT:
            line = happening_words.lifted(each, known.over_s - known.from_s, at(known.from_s))
            said.append((known.from_s, line))
            continue
        line = happening_words.sentence(each, water_c, at, known is not None, before[1])
        said.append((each.at_s, line + (" It was announced." if known is not None else "")))
    return said + [
        (one.from_s, f"{at(one.from_s)}: {UNSEEN[one.kind]} was announced, {_not_found(one)}.")
        for one in night.announced if one.found is None
    ]


def _just_before(balance: Balance, at_s: float) -> tuple[float, float]:
    """Bath and bowl in the minute before a moment, °C; NaN is not known."""
    minute = (balance.t_s < at_s) & (balance.t_s >= at_s - 60.0)
    known = [values[minute & np.isfinite(values)] for values in (balance.water_c, balance.bowl_c)]
    water_c, bowl_c = (float(each.mean()) if each.size else math.nan for each in known)
    return water_c, bowl_c


def _not_found(one: announced.Announced) -> str:
    """What to say of an announcement that the balance knows nothing of."""
    if one.bowl_c is None:
        return "and the readings do not show it"
    return f"and the bowl went from {one.bowl_c[0]:.1f} to {one.bowl_c[1]:.1f} °C at about that time"


def _outages(night: Night) -> list[str]:
    return [
        f"{clock(night, t_s)}: {terms.event(str(event['event']), _fields(event))}." for t_s, event in night.outages
    ]


def _fields(event: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in event.items() if name not in ("t_s", "event")}


def _gap_words(night: Night, gap: Gap) -> str:
    return f"from {clock(night, gap.from_s)} to {clock(night, gap.to_s)} ({duration_words(gap.to_s - gap.from_s)})"


def _record(night: Night) -> list[str]:
    if night.alone is None:
        lines = [f"{night.rows} rows, one each {night.row_s:g} s, recorded by the board alone."]
    elif not night.alone:
        lines = [f"{night.rows} rows, one a second, recorded by the PC."]
    else:
        alone = "; ".join(_gap_words(night, gap) for gap in night.alone[:MOST_NAMED])
        more = f"; and {len(night.alone) - MOST_NAMED} times more" if len(night.alone) > MOST_NAMED else ""
        lines = [f"{night.rows} rows, one a second, recorded by the PC; by the board alone, one each {night.row_s:g} s,"
                 f" {alone}{more}."]
    if night.gaps:
        gaps = "; ".join(_gap_words(night, gap) for gap in night.gaps[:MOST_NAMED])
        more = f"; and {len(night.gaps) - MOST_NAMED} more" if len(night.gaps) > MOST_NAMED else ""
        lines.append(f"Nothing was recorded {gaps}{more}. What happened there is not known.")
    return lines + [f"Of the record itself: {note}." for note in night.notes]


def _heat(night: Night) -> list[str]:
    lines = []
    if night.heat_kwh is not None and night.mean_w is not None:
        recorded = ", as far as it was recorded" if night.gaps else ""
        lines.append(f"The heater was on for {night.heat_kwh:.2f} kWh by the watts of the rig file{recorded}, "
                     f"{night.mean_w:.0f} W on average.")
    if night.evaporated_g is not None and night.evaporated_g[1] >= 1:
        least_g, most_g = night.evaporated_g
        lines.append(
            f"Between {least_g:.0f} and {most_g:.0f} g of water evaporated, by estimate: least with its ring covered, "
            "most with it open in a wide pot or a draught."
        )
        if night.top_up_due:
            lines.append("Check the water level before the next hold.")
    return lines


def as_json(night: Night) -> dict[str, Any]:
    """The review for a program; times in seconds of the hold."""
    return {
        **as_result(night.entry),
        "summary": night.entry.summary,
        **night.figures,
        "figures_of": night.part or "hold",
        "temper": night.temper,
        "alarms": [{"t_s": each.t_s, "fault": each.fault, "trip": each.trip} for each in night.alarms],
        "course": asdict(night.course) if night.course else None,
        "recorded_by_board_alone": None if night.alone is None else [
            {"from_s": each.from_s, "to_s": each.to_s} for each in night.alone],
        "notes": night.notes,
        "gaps": [{"from_s": each.from_s, "to_s": each.to_s} for each in night.gaps],
        "rows": night.rows,
        "row_s": night.row_s,
        "heat_kwh": night.heat_kwh,
        "heat_mean_w": night.mean_w,
        "evaporated_g": night.evaporated_g,
        "top_up_due": night.top_up_due,
        "happenings": [happening_words.as_json(each) for each in night.happenings],
        "strays": [asdict(each) for each in night.strays],
        "jumps": [asdict(each) for each in night.jumps],
        "announced": [{"t_s": one.from_s, "kind": one.kind,
                       "found_t_s": one.found.at_s if one.found else None} for one in night.announced],
        "own_figures": asdict(night.own) if night.own else None,
        "outages": [{"t_s": t_s, **_fields(event), "event": event["event"]} for t_s, event in night.outages],
    }
