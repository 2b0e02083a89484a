"""What this PC recorded of a hold before this program took it over, so that curves and events begin where it began."""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

from bainwright.archive.listing import Entry, list_holds
from bainwright.core.errors import BainError
from bainwright.display.scene import UNKNOWN, Seen, place_of
from bainwright.evening.window_news import EDGES
from bainwright.files.chocolate import Profile, window_at
from bainwright.record.names import CSV
from bainwright.record.reader import HoldLog, read_log
from bainwright.words import terms

NEAR_S = 120.0  # chosen: between two looks at the clock of one PC; an erased board gives its numbers again
NEAR_SHARE = 0.1  # chosen: simulated time goes as fast as the PC can, so not evenly


class Running(NamedTuple):
    """A hold that runs: the board's id, its own number of the hold, how long it has run, and is it simulated?"""

    board: str
    hold: int | None
    t_s: float
    simulated: bool


class Earlier(NamedTuple):
    """Its course up to now, in order of time, and what happened, in words."""

    course: list[Seen]
    events: list[tuple[float, str]]


def earlier(running: Running, profile: Profile, bath: str, now_s: float) -> Earlier:
    """Read what is recorded of a hold that runs; nothing where it cannot be read.

    Parameters
    ----------
    running : Running
        The hold.
    profile : Profile
        Its chocolate.
    bath : str
        What the bowl is in or on.
    now_s : float
        The time of day, s since 1970.
    """
    course: dict[float, Seen] = {}
    events: dict[tuple[float, str], None] = {}
    for entry in list_holds():
        if running.hold is None or (entry.board, entry.hold) != (running.board, running.hold):
            continue
        try:
            log = read_log(Path(entry.folder))
            if entry.chocolate != profile.name or not _is_of(running, entry, log, now_s):
                continue
        except (BainError, OSError):
            continue
        course |= {each.t_s: each for each in _course(log, profile) if each.t_s < running.t_s}
        events |= dict.fromkeys(_events(log, bath))
    return Earlier([course[t_s] for t_s in sorted(course)], sorted(events))


def _is_of(running: Running, entry: Entry, log: HoldLog, now_s: float) -> bool:
    """Is this record's hold as far along by now as the running one? All simulated boards have one id."""
    if entry.started_s is None or entry.virtual != running.simulated:
        return False
    first_s, last_s = 0.0, float(log["t_s"][-1])
    pace, near_s = 1.0, NEAR_S
    if running.simulated:  # one that was joined began for its record with its first row
        first_s = float(log["t_s"][0])
        took_s = (Path(entry.folder) / CSV).stat().st_mtime - entry.started_s
        pace = (last_s - first_s) / max(took_s, 1.0)
        near_s = NEAR_S * max(1.0, pace) + NEAR_SHARE * running.t_s
    return abs(first_s + pace * (now_s - entry.started_s) - running.t_s) <= near_s and last_s <= running.t_s + NEAR_S


def _course(log: HoldLog, profile: Profile) -> list[Seen]:
    windows = {str(stage): window_at(profile, str(stage)) for stage in set(log["stage"])}
    found = []
    for t_s, stage, water_c, bowl_c in zip(log["t_s"], log["stage"], log["water_c"], log["bowl_c"], strict=True):
        unknown = math.isnan(bowl_c) or stage == "change"
        place = UNKNOWN if unknown else place_of(float(bowl_c), windows[str(stage)])
        found.append(Seen(float(t_s), _known(water_c), _known(bowl_c), place))
    return found


def _known(temp_c: float) -> float | None:
    return None if math.isnan(temp_c) else float(temp_c)


def _events(log: HoldLog, bath: str) -> list[tuple[float, str]]:
    """As they were shown; the events of the window's edges are not."""
    found, stage = [], ""
    for event in log.events:
        name = str(event.get("event"))
        stage = str(event.get("stage")) if name == "stage" else stage
        if name not in EDGES:
            found.append((float(event["t_s"]), terms.event(name, event, stage, bath)))
    return found
