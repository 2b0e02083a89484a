"""One hold shown again from its record: when, how it went, its stages and events by the clock, and its picture."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import msgspec
import numpy as np

from bainwright.archive.listing import Entry, entry_of_log
from bainwright.core.errors import FileError
from bainwright.core.os_errors import refusal
from bainwright.core.units import after, clock_words, duration_words
from bainwright.display.picture import PNG, SVG, draw_hold
from bainwright.evening.window_news import EDGES, WindowNews
from bainwright.files.chocolate import Profile, window_at
from bainwright.plan.past_evenings import PastEvenings
from bainwright.record.columns import NAMES, status_of
from bainwright.record.leftovers import read_leftovers
from bainwright.record.names import CSV, PARQUET
from bainwright.record.reader import HoldLog, read_log
from bainwright.record.temper_tests import chocolate_at, read_tests
from bainwright.record.writer import seal
from bainwright.review.hold_list import as_result
from bainwright.words import terms

T = TypeVar("T")

NO_REPORT = "The record has no report: the hold has no recorded end."


@dataclass(frozen=True)
class Stage:
    """A step of the evening: its name on the board, and where it lies, in seconds of the hold."""

    name: str
    from_s: float
    to_s: float


@dataclass
class Shown:
    """A hold shown again: lines for the terminal, the result for a program, the picture if there is one."""

    lines: list[str]
    result: dict[str, Any]
    picture: Path | None
    notes: list[str] = field(default_factory=list)
    exit_code: int = 0  # 1 when something was missing and could not be made


def stages_of(log: HoldLog) -> list[Stage]:
    """The steps in their order; a step that came twice is listed twice."""
    names, t_s = log["stage"], log["t_s"]
    starts = [0, *(np.flatnonzero(names[1:] != names[:-1]) + 1).tolist()]
    ends = [*(float(t_s[at]) for at in starts[1:]), float(t_s[-1])]
    return [Stage(str(names[at]), float(t_s[at]), to_s) for at, to_s in zip(starts, ends, strict=True)]


def look(folder: Path) -> Shown:
    """Read a hold's record and put it into words.

    Parameters
    ----------
    folder : Path
        The hold's folder.

    Raises
    ------
    FileError
        When it has no log that can be read.
    """
    log = read_log(folder)
    entry = entry_of_log(folder.absolute(), log)
    notes = [*log.notes]
    refused = _make_missing(folder, log, entry)
    notes += refused
    picture = folder / PNG if (folder / PNG).exists() else None
    stages = stages_of(log)
    started = entry.started
    tests, left = _readable(read_tests, folder, notes) or [], _readable(read_leftovers, folder, notes)
    left = PastEvenings().judged(folder, left) if left else None
    lines = [_title(entry), _when(entry), ""]
    lines += [entry.summary or NO_REPORT]
    lines += ["", "Steps", *(_stage_line(stage, started) for stage in stages if stage.name)]
    happened = [f"  {_clock(t_s, started)}{text}" for t_s, text in _happened(log, stages)]
    lines += ["", "What happened", *happened] if happened else []
    lines += ["", "Temper tests", *(f"  {test.words().strip()}" for test in tests)] if tests else []
    lines += ["", "What was left", "  " + left.why[:1].upper() + left.why[1:]] if left else []
    lines += ["", f"Picture: {picture}" if picture else "There is no picture.", f"Log: {folder}"]
    result = {
        **as_result(entry),
        "summary": entry.summary,
        "stages": [{"stage": each.name, "from_s": each.from_s, "to_s": each.to_s} for each in stages],
        "events": log.events,
        "temper_tests": [vars(test) for test in tests],
        "left": msgspec.to_builtins(left) if left else None,
        "picture": str(picture) if picture else None,
        "log": str(folder),
    }
    return Shown(lines, result, picture, notes, 1 if refused else 0)


def _readable(read: Callable[[Path], T], folder: Path, notes: list[str]) -> T | None:
    """What one of the files beside the log says; None, with a note, where that is damaged: the rest is shown."""
    try:
        return read(folder)
    except FileError as failed:
        notes.append(str(failed))
        return None


def _title(entry: Entry) -> str:
    of = f"{entry.chocolate} chocolate" if entry.chocolate and entry.kind != "melted" else "melted stock"
    return f"{entry.name}: {of}, {entry.verdict}" + ("  (VIRTUAL)" if entry.virtual else "")


def _when(entry: Entry) -> str:
    started, ended = entry.started, entry.ended_at
    on = f"on the warmer {entry.warmer!r}" if entry.warmer else "on an unnamed warmer"
    board = f", board {entry.board}" if entry.board else ""
    firmware = f", firmware {entry.firmware}" if entry.firmware else ""
    if started is None:
        return f"start not known, {on}{board}{firmware}"
    to = f" to {ended.strftime('%H:%M')}" if ended else ", no end recorded"
    if ended and ended.date() != started.date():
        to += ended.strftime(" on %a %d %b")
    length = f" ({duration_words(entry.duration_s)})" if entry.duration_s is not None else ""
    length = length if entry.recorded_s is None else f" ({duration_words(entry.recorded_s)} recorded)"
    zone = started.strftime(" %Z")
    if ended and ended.tzname() != started.tzname():  # the clock was changed meanwhile
        to, zone = zone + to, ended.strftime(" %Z")
    return f"{started.strftime('%a %d %b %Y, %H:%M')}{to}{zone}{length}, {on}{board}{firmware}"


def _clock(t_s: float, started: datetime | None) -> str:
    """A moment as the hold's own clock showed it, and by the clock on the wall where that was known."""
    own = f"{clock_words(t_s):>8}  "
    return own if started is None else f"{after(started, t_s).strftime('%H:%M:%S')}  {own}"


def _stage_line(stage: Stage, started: datetime | None) -> str:
    length = duration_words(stage.to_s - stage.from_s)
    return f"  {_clock(stage.from_s, started)}{terms.stage(stage.name)}, {length}"


def _happened(log: HoldLog, stages: list[Stage]) -> list[tuple[float, str]]:
    """What the person who watched was shown, at the same moments; the board's every edge of the window is not."""
    found = [(float(event["t_s"]), _event(event, stages, log.bath))
             for event in log.events if event["event"] not in EDGES]
    return sorted([*found, *_window_news(log)], key=lambda each: each[0])


def _window_news(log: HoldLog) -> list[tuple[float, str]]:
    """When the chocolate left its window and came back, as `WindowNews` found it while the hold ran."""
    profile, news, away = _profile(log), WindowNews(), False
    acts = deque(event for event in log.events if event["event"] in ("bowl_off", "bowl_on", "changed"))
    found: list[tuple[float, str]] = []
    for at, t_s in enumerate(log["t_s"].tolist()):
        while acts and float(acts[0]["t_s"]) <= t_s:
            act = acts.popleft()["event"]
            away = act == "bowl_off" or (away and act != "bowl_on")
            profile = _profile(log, t_s) if act == "changed" else profile
        if profile is None or away:
            continue
        status = status_of(at, {name: log[name][at] for name in NAMES})
        text = news.see(status, window_at(profile, status.stage))
        found += [(t_s, text)] if text else []
    return found


def _profile(log: HoldLog, t_s: float = 0.0) -> Profile | None:
    """The chocolate in the bath at a moment; None if the facts lack it."""
    try:
        return Profile(**chocolate_at(log.events, log.facts, t_s))
    except TypeError:
        return None


def _event(event: dict[str, Any], stages: list[Stage], bath: str) -> str:
    t_s = float(event["t_s"])
    at = next((stage.name for stage in reversed(stages) if stage.from_s <= t_s), "")
    fields = {name: value for name, value in event.items() if name not in ("t_s", "event")}
    return terms.event(str(event["event"]), fields, at, bath)


def _make_missing(folder: Path, log: HoldLog, entry: Entry) -> list[str]:
    """Seal a log that has its end, and draw a picture that is missing; returns what could not be made."""
    works: list[Callable[[], object]] = []
    if entry.ended and (folder / CSV).exists() and not (folder / PARQUET).exists():
        works.append(lambda: seal(folder))
    if not all((folder / name).exists() for name in (PNG, SVG)):
        works.append(lambda: _draw(folder, log, entry))
    return [why for work in works if (why := refusal(work))]


def _draw(folder: Path, log: HoldLog, entry: Entry) -> None:
    """Draw a hold from its readings: a virtual board's true temperatures are not stored."""
    profile = _profile(log)
    if profile is None:
        raise FileError("the record does not say which chocolate this was, so no picture can be drawn")
    window = window_at(profile, "melted" if entry.stage == "melted" else "work")
    if math.isfinite(window.low_c):
        draw_hold(folder, log, None, window, entry.summary or NO_REPORT, [], virtual=entry.virtual, name=profile.name)
