"""A hold from the board's own log, stored like one that the PC watched, and merged with what the PC recorded."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Any, cast

from bainboard import settings
from bainwright import __version__
from bainwright.core.atomic_write import (
    move_folder_into_place,
    move_into_place,
    replace_file,
    scratch_folder,
)
from bainwright.core.errors import FileError
from bainwright.core.home import remember
from bainwright.core.os_errors import reason
from bainwright.core.read_file import LOG_BYTES, read_bytes
from bainwright.display.scene import Scene
from bainwright.display.view import NoView
from bainwright.evening import endings
from bainwright.evening.options import HoldSetup
from bainwright.evening.runner import Outcome, Runner, window_of
from bainwright.evening.watch import Watch
from bainwright.files.chocolate import Profile
from bainwright.link.messages import Message, Status
from bainwright.link.session import Session
from bainwright.record.boardlog import BoardHold
from bainwright.record.columns import status_of
from bainwright.record.names import CSV, EVENTS, FACTS
from bainwright.record.reader import HoldLog
from bainwright.record.scraps import COMING
from bainwright.record.writer import LiveLog, next_folder
from bainwright.report.report import Report, report
from bainwright.report.shelf import SAME_EVENT_MS, WHOLE, Origin, Shelf

AT_AN_EDGE = ("started", "ended", "boot", "gap")  # each side has its own of these, or its own time for them
PC_EVENTS = ("lost", "found", "gap", "another_pot")  # written by the PC, not by a board


def store(shelf: Shelf, hold: BoardHold) -> Report | None:
    """Write a hold's folder, or update the existing one.

    Parameters
    ----------
    shelf : Shelf
        The folders there are of this board.
    hold : BoardHold
        The board's own record.

    Returns
    -------
    Report or None
        The report; None when nothing is new.
    """
    origin, found = shelf.origin, shelf.find(hold)
    folder, there = found or (next_folder(shelf.parent, str(hold.asked["name"])), None)
    facts = there.facts if there else {}
    row_s = float(origin.rig["log.status_s"])  # how often the board logs a row
    if facts.get("through") == hold.through or (there and _is_whole(there, hold, row_s)):
        return None
    try:
        # A new hold's files come into its folder together: of half of them the next collection would not know whose.
        with scratch_folder(folder if found else shelf.parent, COMING) as made:
            scratch = made / folder.name
            scratch.mkdir()
            done = _replay(scratch, folder, origin, hold, there, row_s)
            done.notes = [note.replace(str(scratch), str(folder)) for note in done.notes]  # where the files go next
            if found:
                done.notes += _keep_originals(scratch, folder)
                _move(scratch, folder)
            else:
                move_folder_into_place(scratch, folder)
    except OSError as failed:
        raise _unwritten(folder, reason(failed)) from failed
    finally:
        if not any(folder.iterdir()):  # nothing was written
            folder.rmdir()
    if not found:
        shelf.add(hold.hold, folder)
        done.notes += filter(None, [remember(folder)])  # a folder outside the home
    return done


def _keep_originals(scratch: Path, folder: Path) -> list[str]:
    """Copy a file whose lines do not all come back in the new one: nothing that a PC wrote is ever lost."""
    said = []
    for name in (CSV, EVENTS):
        if not (folder / name).exists():
            continue
        before = read_bytes(folder / name, limit=LOG_BYTES)
        if set(before.splitlines()) <= set((scratch / name).read_bytes().splitlines()):
            continue
        kept = next(path for at in count(1) if not (path := folder / f"{name}.before-{at}").exists())
        replace_file(kept, before, follow=False)
        said.append(f"{folder / name} was damaged and is completed from the board; the original is {kept.name}")
    return said


def _unwritten(folder: Path, got: str) -> FileError:
    return FileError(f"{folder} cannot be written", got=got,
                     hint="the board's log is safe under boards/; free some space and collect again")  # fmt: skip


def _is_whole(there: HoldLog, hold: BoardHold, row_s: float) -> bool:
    """Did the PC record all of it?"""
    ended = there.facts.get("ended") in WHOLE
    return ended and not _missing(there, hold, row_s) and not _missing_events(there, hold)


def _missing_events(there: HoldLog, hold: BoardHold) -> list[dict[str, Any]]:
    """The board's events that the existing log lacks: a line that is lost on the wire may be a trip's."""
    new = _join(there.events, hold.events)[len(there.events) :]
    return [event for event in new if event["event"] not in AT_AN_EDGE]


def _missing(there: HoldLog, hold: BoardHold, row_s: float) -> list[Status]:
    """The board's rows from moments that the existing log lacks."""
    times_ms = [round(1000 * t_s) for t_s in there["t_s"]]
    return [row for row in hold.rows if _distance_ms(times_ms, row.t) > 500 * row_s]


def _distance_ms(times_ms: list[int], t_ms: int) -> float:
    at = bisect_left(times_ms, t_ms)
    return min((abs(times_ms[i] - t_ms) for i in (at - 1, at) if 0 <= i < len(times_ms)), default=math.inf)


# -- replayed as if the PC had watched ---------------------------------------------------------------------------------


def _replay(
    scratch: Path, folder: Path, origin: Origin, hold: BoardHold, there: HoldLog | None, row_s: float
) -> Report:
    rows, events = hold.rows, hold.events
    facts = _facts(origin, hold, row_s)
    if there:
        rows = sorted([*_statuses(there), *_missing(there, hold, row_s)], key=lambda row: row.t)
        events = _join(_confirmed(rows, there.events), [_after(rows, event) for event in hold.events])
        facts = {**facts, **{key: value for key, value in there.facts.items() if key not in ("through", "row_s")}}
    setup = _setup(hold)
    scene = Scene(
        setup.profile.name,
        f"the warmer {hold.asked.get('warmer', '')!r}",
        window_of(setup),
        origin.simulated,
        setup.for_s,
        float(origin.rig["heater_w"]),
    )
    course = Watch(scene, LiveLog(scratch, facts, may_move=False), NoView(), stay=True)
    for message in _messages(rows, events, row_s):
        _take(course, message)
    course.ended = course.ended or (endings.RESTARTED if course.restarted else _missing_end(origin, hold, course))
    runner = Runner(setup, cast(Session, _StoredSession(origin.simulated)), NoView())
    done = report(runner, Outcome(course, 0.0, {}), None, folder)
    if course.log.refusal:
        raise _unwritten(folder, course.log.refusal)
    if hold.gaps:
        gaps = "there is a gap" if len(hold.gaps) == 1 else f"there are {len(hold.gaps)} gaps"
        done.notes.append(f"{gaps} in the board's record of it")
    return done


def _take(course: Watch, message: Message) -> None:
    if isinstance(message, dict) and message["event"] in PC_EVENTS:
        fields = {key: value for key, value in message.items() if key not in ("event", "t")}
        course.note(message["t"], message["event"], fields)
    else:
        course.take(message)


def _missing_end(origin: Origin, hold: BoardHold, course: Watch) -> str:
    """How it ended, where the board could not report it."""
    if origin.runs(hold):
        return endings.LEFT
    return endings.TRIPPED if any(trip["latched"] for trip in course.trips) else endings.RESTARTED


def _messages(rows: list[Status], events: list[dict[str, Any]], row_s: float) -> Iterator[Message]:
    """Rows and events in the order a board sends them; rows are numbered so that missing ones show."""
    waiting = deque(sorted(events, key=lambda event: event["t"]))
    number, last_ms = 0, 0
    for row in rows:
        while waiting and _comes_before(waiting[0], row):
            yield waiting.popleft()
        apart = round((row.t - last_ms) / (1000 * row_s))
        tripped = row.state == "trip"  # the board logs these less often on purpose
        number, last_ms = number + (1 if tripped else max(1, apart)), row.t
        yield Status(number, *[getattr(row, name) for name in Status.__struct_fields__[1:]])
    yield from waiting


def _comes_before(event: dict[str, Any], row: Status) -> bool:
    """Nothing after the end of a hold or a restart is followed, so a row of its last moment comes first."""
    if event["event"] in ("ended", "boot") and row.t > 0:
        return bool(event["t"] < row.t)
    return bool(event["t"] <= row.t)


def _statuses(log: HoldLog) -> Iterator[Status]:
    """A log's rows as the status lines they came from."""
    for i in range(len(log)):
        yield status_of(i + 1, {name: column[i] for name, column in log.columns.items()})


def _after(rows: list[Status], event: dict[str, Any]) -> dict[str, Any]:
    """A board that lost its power gives the restart the time of its last stored row, and the PC may have later ones."""
    return {**event, "t": max(event["t"], rows[-1].t)} if rows and event["event"] in ("ended", "boot") else event


def _confirmed(rows: list[Status], there: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The events, but no end or restart after which the hold continues: nothing later would count."""
    last_s = rows[-1].t / 1000
    return [{**event, "t_s": max(event["t_s"], last_s)} if event["event"] in ("ended", "boot") else event
            for event in there
            if event["event"] not in ("ended", "boot") or event["t_s"] >= last_s - SAME_EVENT_MS / 1000]  # fmt: skip


def _join(there: list[dict[str, Any]], board: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The events of both, without duplicates."""
    joined = []
    for event in there:
        fields = {key: value for key, value in event.items() if key != "t_s"}
        joined.append({**fields, "t": round(1000 * event["t_s"])})
    left: dict[str, list[int]] = {}  # the times of those without a twin, by name
    for event in sorted(joined, key=lambda event: event["t"]):
        left.setdefault(event["event"], []).append(event["t"])
    for event in board:
        times_ms = left.get(event["event"], [])
        at = bisect_left(times_ms, event["t"] - SAME_EVENT_MS)
        if at < len(times_ms) and times_ms[at] <= event["t"] + SAME_EVENT_MS:
            del times_ms[at]
        else:
            joined.append(event)
    return joined


def _setup(hold: BoardHold) -> HoldSetup:
    asked = hold.asked
    # A board of an older version logged fewer figures; those missing are not needed for the score.
    figures = {str(row[settings.NAME]) for row in settings.PROFILE if row[settings.KIND] == settings.FLOAT}
    profile = Profile(asked["name"], asked["kind"], **{name: asked[name] / 1000 for name in figures & set(asked)})
    for_s = asked["for_ms"] / 1000 or None
    return HoldSetup(profile, asked["stage"], for_s, asked["room"] / 1000, None, {}, None, None, None)


def _facts(origin: Origin, hold: BoardHold, row_s: float) -> dict[str, Any]:
    setup = _setup(hold)
    started = datetime.fromtimestamp(hold.started_s, UTC).isoformat(timespec="seconds") if hold.started_s else None
    return {
        "VIRTUAL": origin.simulated,
        "started": started,
        "profile": setup.profile.document(),
        "stage": setup.stage,
        "for_s": setup.for_s,
        "room_c": setup.room_c,
        "rig": origin.rig if hold.asked.get("settings") == origin.hello.get("settings") else {},
        "gains": {},
        "board": origin.hello,
        "boot": hold.boot,
        "hold": hold.hold,
        "log": origin.log,
        "through": hold.through,
        "gaps": hold.gaps,
        "row_s": row_s,
        "bainwright": __version__,
    }


def _move(scratch: Path, folder: Path) -> None:
    """Move file by file, each atomically; other files in the folder stay."""
    # The facts last: they record how far the other files reach.
    for path in sorted(scratch.iterdir(), key=lambda path: path.name == FACTS):
        move_into_place(path, folder / path.name)


@dataclass(frozen=True)
class _StoredSession:
    """What a report needs to know about a board that is no longer connected."""

    simulated: bool
    virtual: bool = False
