"""The list of holds: one short entry a hold, read from its facts, remembered so that ten thousand list at once."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Iterable
from contextlib import nullcontext
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import msgspec

from bainboard import stages
from bainwright.core.atomic_write import replace_file
from bainwright.core.bounds import LATEST_S, LONGEST_S, DurationS
from bainwright.core.errors import FileError
from bainwright.core.home import hold_paths, home
from bainwright.core.progress import progress
from bainwright.core.read_file import read_struct
from bainwright.core.terminal import one_line
from bainwright.core.units import after
from bainwright.record.names import CSV, EVENTS, FACTS, PARQUET, TESTS

if TYPE_CHECKING:
    from bainwright.record.reader import HoldLog

REMEMBERED = "list.json"  # under the home; only a copy of what the facts say, so it may be deleted at any time
SCHEMA = 5
AHEAD_S = 3600.0  # chosen: by so much the clocks of two PCs may differ
LIST_BYTES = 64 << 20  # chosen: ten thousand holds are a tenth of it

IN_WINDOW = "in window"
LEFT_WINDOW = "left window"
NEVER_THERE = "never there"
NOT_KNOWN = "not known"  # no probe in the chocolate, or no report
NOT_DIPPED = "not dipped"  # an evening that was over before its dipping
TOO_WARM = "too warm"
TEMPER_LOST = "temper lost"
TEST_FAILED = "test failed"
HAS_SET = "it set"
OVERHEATED = "overheated"
TRIPPED = "tripped"
CUT_SHORT = "cut short"
LOST = "board lost"
RUNNING = "no end"
DAMAGED = "facts lost"  # there is a log, and nothing says which chocolate or warmer it was
TEMPERS = {"spoilt": OVERHEATED, "molten": TEMPER_LOST, "lost": TEMPER_LOST, "set": HAS_SET, stages.FAILED: TEST_FAILED}
GOOD_FRACTION = 0.95  # chosen: three minutes an hour outside, as a cold refill costs


class Entry(msgspec.Struct, frozen=True, omit_defaults=True):
    """One hold as the list shows it.

    Attributes
    ----------
    folder : str
        Absolute path.
    name : str
        The folder's name, such as ``dark-3``.
    started_s : float or None
        Start, seconds since 1970; None when nobody knew the time.
    duration_s : float or None
        None while it runs, or when its end was never recorded.
    recorded_s : float or None
        How far the rows of such a hold go.
    chocolate, kind, stage, warmer, board, firmware : str
        Empty when not recorded.
    hold : int or None
        The board's own number of it.
    virtual : bool
        A simulated warmer.
    in_window : float or None
        Fraction of the scored span.
    bowl_peak_c, water_peak_c : float or None
        Highest temperatures, °C.
    dipped : bool
        False if it ended before its dipping began.
    temper : str
        What became of the temper: ``spoilt``, ``molten``, ``lost``, ``set``, ``doubtful``, ``failed`` or empty.
    trips : int
        How many.
    ended : str
        How it ended, as `bainwright.evening.watch` names it.
    summary : str
        The report in sentences.
    """

    folder: str
    name: str
    started_s: Annotated[float, msgspec.Meta(ge=0.0, le=LATEST_S)] | None = None
    duration_s: DurationS | None = None
    recorded_s: DurationS | None = None
    chocolate: str = ""
    kind: str = ""
    stage: str = ""
    warmer: str = ""
    board: str = ""
    hold: int | None = None
    firmware: str = ""
    virtual: bool = False
    in_window: float | None = None
    bowl_peak_c: float | None = None
    water_peak_c: float | None = None
    above_s: float | None = None
    dipped: bool = True
    temper: str = ""
    trips: int = 0
    ended: str = ""
    summary: str = ""

    @property
    def started(self) -> datetime | None:
        """Start in local time with its zone."""
        return None if self.started_s is None else datetime.fromtimestamp(self.started_s).astimezone()

    @property
    def ended_at(self) -> datetime | None:
        """End in local time."""
        started = self.started
        return None if started is None or self.duration_s is None else after(started, self.duration_s)

    @property
    def verdict(self) -> str:
        """How it went, in two words."""
        if self.trips or self.ended == "tripped":
            return TRIPPED
        if not self.ended:
            return RUNNING if self.chocolate or self.warmer else DAMAGED
        if self.ended == "lost":
            return LOST
        if self.ended == "restarted":
            return CUT_SHORT
        if self.temper in TEMPERS:
            return TEMPERS[self.temper]
        if not self.dipped:
            return NOT_DIPPED
        if self.in_window is None and self.bowl_peak_c is None:
            return NOT_KNOWN
        if not self.in_window:
            return NEVER_THERE
        if self.in_window >= GOOD_FRACTION:
            return IN_WINDOW
        return TOO_WARM if (self.above_s or 0.0) > (1 - self.in_window) * (self.duration_s or 0.0) / 2 else LEFT_WINDOW


def _text(facts: dict[str, Any], *path: str) -> str:
    value: Any = facts
    for name in path:
        value = value.get(name) if isinstance(value, dict) else None
    return one_line(value) if isinstance(value, str) else ""


def _number(value: Any) -> float | None:
    """A finite number, or None for whatever else a damaged file has there."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    number = float(value)
    return number if math.isfinite(number) else None


def _duration_s(facts: dict[str, Any]) -> float | None:
    duration_s = _number(facts.get("duration_s"))
    return duration_s if duration_s is not None and 0.0 <= duration_s <= LONGEST_S else None


def _moment_s(text: str) -> float | None:
    try:
        moment_s = datetime.fromisoformat(text).timestamp()
        return moment_s if 0.0 <= moment_s <= LATEST_S else None
    except (ValueError, OverflowError, OSError):
        return None


def entry_of(folder: Path, facts: dict[str, Any]) -> Entry:
    """A hold's entry from its facts; whatever is missing or damaged stays empty.

    Parameters
    ----------
    folder : Path
        The hold's folder.
    facts : dict
        Its ``hold.json``. A temper test beside it that somebody entered later settles what became of the temper.
    """
    report = facts.get("report")
    figures: dict[str, Any] = report if isinstance(report, dict) else {}
    dipping = figures.get("dipping")  # melting goes far over the window, and that is no peak of the evening's work
    scored: dict[str, Any] = dipping if isinstance(dipping, dict) else figures
    trips, number = facts.get("trips"), facts.get("hold")
    return Entry(
        folder=str(folder),
        name=folder.name,
        started_s=_moment_s(_text(facts, "started")),
        duration_s=_duration_s(facts),
        chocolate=_text(facts, "profile", "name"),
        kind=_text(facts, "profile", "kind"),
        stage=_text(facts, "stage"),
        warmer=_text(facts, "rig", "name") or _text(facts, "board", "name"),
        board=_text(facts, "board", "board"),
        hold=number if isinstance(number, int) and not isinstance(number, bool) else None,
        firmware=_text(facts, "board", "version"),
        virtual=facts.get("VIRTUAL") is True,
        in_window=_number(figures.get("in_window_fraction")),
        bowl_peak_c=_number(scored.get("bowl_peak_c")),
        water_peak_c=_number(scored.get("water_peak_c")),
        above_s=_number(scored.get("above_s")),
        dipped=scored.get("bowl_peak_c") is not None or figures.get("bowl_peak_c") is None,
        temper=_temper(folder, _text(figures, "temper")),
        trips=len(trips) if isinstance(trips, list) else 0,
        ended=_text(facts, "ended"),
        summary=_text(figures, "summary"),
    )


def entry_of_log(folder: Path, log: HoldLog) -> Entry:
    """A hold's entry from its facts. Where they lack its end, what its rows and events tell of it so far.

    Parameters
    ----------
    folder : Path
        The hold's folder.
    log : HoldLog
        Its log.
    """
    entry = entry_of(folder, log.facts)
    if entry.ended:
        return entry
    trips = sum(event["event"] == "trip" for event in log.events)
    worked = (log["bowl_estimated"] == 0) & ((log["stage"] == "work") | (log["stage"] == "melted"))
    return msgspec.structs.replace(
        entry,
        recorded_s=float(log["t_s"][-1]),
        trips=max(entry.trips, trips),
        bowl_peak_c=_first_known(entry.bowl_peak_c, _highest(log["bowl_c"][worked])),
        water_peak_c=_first_known(entry.water_peak_c, _highest(log["water_c"])),
    )


def _highest(values: Any) -> float | None:
    known = values[values == values]  # NaN is unlike itself
    return float(known.max()) if len(known) else None


def _first_known(*values: float | None) -> float | None:
    return next((value for value in values if value is not None), None)


def _temper(folder: Path, reported: str) -> str:
    """What became of the temper: as reported, unless the last test says otherwise."""
    from bainwright.record.temper_tests import BY_PERSON, read_tests

    if reported == "spoilt" or not os.path.isfile(folder / TESTS):
        return reported
    try:
        last = next(reversed(read_tests(folder)), None)
    except FileError:  # whoever shows the tests says so
        return reported
    if last is not None and last.verdict == stages.FAILED:
        return stages.FAILED
    passed = last is not None and last.by == BY_PERSON and last.verdict in (stages.GOOD, stages.SLOW)
    return "" if passed and reported != "molten" else reported  # no test makes crystals


class _Known(msgspec.Struct):
    """An entry with the state of the files it was read from."""

    mtime_ns: int
    size: int
    entry: Entry


class _Remembered(msgspec.Struct):
    schema: int
    holds: dict[str, _Known]


def _remembered() -> dict[str, _Known]:
    """What was listed the last time; nothing where that is damaged or of another version."""
    try:
        found = read_struct(home() / REMEMBERED, _Remembered, "a list of holds", limit=LIST_BYTES)
    except FileError:
        return {}
    return found.holds if found.schema == SCHEMA else {}


def _read(folder: Path) -> Entry:
    """The entry of a hold's folder."""
    # These bring NumPy, which a list that is remembered does without.
    from bainwright.record.reader import read_facts, read_log

    entry = entry_of(folder, read_facts(folder))
    if entry.ended:
        return entry
    try:
        return entry_of_log(folder, read_log(folder))
    except FileError:  # it has no row; whoever shows it says so
        return entry


def _state(folder: str, *, unended: bool = False) -> tuple[int, int] | None:
    """Time and size of what changes with the entry: the facts, or the log where they are gone, and the temper tests.

    That of a hold without an end changes with its log, too.
    """
    found = next((stat for name in (FACTS, PARQUET, CSV) if (stat := _stat(f"{folder}/{name}"))), None)
    if found is None:
        return None
    more = [_stat(f"{folder}/{name}") for name in (TESTS, *((CSV, EVENTS) if unended else ()))]
    return (found.st_mtime_ns + sum(stat.st_mtime_ns for stat in more if stat),
            found.st_size + sum(stat.st_size for stat in more if stat))


def _stat(path: str) -> os.stat_result | None:
    try:
        return os.stat(path)
    except OSError:
        return None


def list_holds(notes: list[str] | None = None, *, shown: bool = False) -> list[Entry]:
    """Every hold, the newest first; those without a known start, or with one after now, come last, by name.

    Parameters
    ----------
    notes : list of str, optional
        Takes what could not be listed, in words.
    shown : bool
        Show on stderr how far it is: those without an end are read whole.

    Returns
    -------
    list of Entry
        Folders that are gone are left out. One that lost its facts is there, with what its Parquet file still says.
    """
    before, now, changed = _remembered(), dict[str, _Known](), dict[str, tuple[int, int]]()
    for path in map(os.path.abspath, hold_paths(notes)):
        known = before.get(path)
        state = _state(path, unended=known is None or not known.entry.ended)
        if state is None:
            continue
        if known is None or (known.mtime_ns, known.size) != state:
            changed[path] = state
        else:
            now[path] = known
    with progress("reading new holds", len(changed)) if shown and changed else nullcontext(lambda _: None) as done:
        for number, (path, state) in enumerate(changed.items()):
            done(number)
            entry = _read(Path(path))
            now[path] = _Known(*(state if not entry.ended else _state(path) or state), entry)
    if now != before:
        _remember(now)
    latest_s = time.time() + AHEAD_S
    return sorted((known.entry for known in now.values()), key=lambda entry: _newest_first(entry, latest_s))


def _newest_first(entry: Entry, latest_s: float) -> tuple[float, str]:
    """One that began after now was stored by a clock that was ahead: it is not the last one until then."""
    began_s = entry.started_s
    return (math.inf if began_s is None or began_s > latest_s else -began_s), entry.name


def is_ahead(entry: Entry) -> bool:
    """Did it begin after now, by the clock of its PC?"""
    return entry.started_s is not None and entry.started_s > time.time() + AHEAD_S


def _remember(holds: dict[str, _Known]) -> None:
    """Store the list; a read-only or full disk only makes the next listing slower."""
    try:
        replace_file(home() / REMEMBERED, msgspec.json.encode(_Remembered(SCHEMA, holds)))
    except (OSError, UnicodeEncodeError):  # the latter: a text with half a character
        return


def select(
    holds: Iterable[Entry], *, warmer: str | None = None, kind: str | None = None, since: datetime | None = None
) -> list[Entry]:
    """Those of one warmer, of one kind of chocolate, begun at a moment or later.

    Parameters
    ----------
    holds : iterable of Entry
        All of them.
    warmer : str, optional
        Its name or its board's id: one name may stand for two boards. Without regard to case, as `kind`.
    kind : str, optional
        A kind of chocolate, or a chocolate's name.
    since : datetime, optional
        Holds without a known start are left out when it is given.
    """
    return [
        hold for hold in holds
        if (warmer is None or warmer.lower() in (hold.warmer.lower(), hold.board.lower()))
        and (kind is None or kind.lower() in (hold.kind.lower(), hold.chocolate.lower()))
        and (since is None or (hold.started is not None and hold.started >= since))
    ]  # fmt: skip
