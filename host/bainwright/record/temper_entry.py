"""`bain temper`: show the temper tests of a hold, complete the last one, or add one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from bainboard import stages
from bainwright.core.atomic_write import alone
from bainwright.core.errors import FileError, UseError
from bainwright.core.json_text import json_text
from bainwright.core.units import parse_room_c
from bainwright.record.names import FACTS, TESTS
from bainwright.record.reader import HoldLog, read_log
from bainwright.record.taken_back import take_back
from bainwright.record.temper_tests import (
    BY_PERSON,
    LONGEST_MIN,
    TemperTest,
    chocolate_at,
    judge,
    logged_tests,
    read_tests,
    room_c_of,
    save_tests,
)
from bainwright.words import terms

MOLTEN = ("this hold was so warm that no crystal was left: the test counts for what was seeded again since, and its "
          "verdict stays")
MELTED = {"melt", "melted"}  # the steps in which no chocolate is in temper

Say = Callable[..., None]


@dataclass(frozen=True)
class TemperOptions:
    """The options as typed."""

    minutes: float | None = None
    not_set: bool = False
    gloss: str | None = None
    streaks: str | None = None
    room: str | None = None
    undo: bool = False


def run_temper(folder: Path, options: TemperOptions, *, as_json: bool, say: Say) -> int:
    """`bain temper`.

    Parameters
    ----------
    folder : Path
        The hold's folder.
    options : TemperOptions
        What was typed.

    Returns
    -------
    int
        The exit status: 1 when the last test did not pass.
    """
    log = read_log(folder)
    if options.undo:
        _refuse_both(options)
        with alone(folder):
            take_back(folder / TESTS, "temper test")
    if options.room and not _has_entry(options):
        raise UseError("--room belongs to a test", hint="add --minutes, --gloss or --streaks")
    if _has_entry(options):
        with alone(folder):
            tests = _entered(_tests(folder, log), options, log)
            save_tests(folder, tests)
        if not as_json and _molten(log):
            say(f"bain: {MOLTEN}", err=True)
    else:
        tests = _tests(folder, log)
    if as_json:
        say(json_text([asdict(test) for test in tests]))
    else:
        for test in tests:
            say(test.words())
    if not tests:
        say("bain: no temper test in this hold; --minutes adds one", err=True)
        return 0
    return 0 if tests[-1].verdict in (stages.GOOD, stages.SLOW) else 1


def _molten(log: HoldLog) -> bool:
    """Whether the report says that no crystal was left at the end."""
    report = log.facts.get("report")
    return isinstance(report, dict) and report.get("temper") == "molten"


def _tests(folder: Path, log: HoldLog) -> list[TemperTest]:
    return read_tests(folder) or logged_tests(log.events, log.facts)


def _has_entry(options: TemperOptions) -> bool:
    return _has_time(options) or bool(options.gloss or options.streaks)


def _refuse_both(options: TemperOptions) -> None:
    if _has_entry(options) or options.room:
        raise UseError("--undo takes the last entry back and enters nothing", hint="leave the other options out")


def _has_time(options: TemperOptions) -> bool:
    return options.minutes is not None or options.not_set


def _check(options: TemperOptions) -> None:
    if options.minutes is not None and options.not_set:
        raise UseError("--minutes and --not-set contradict each other", hint="leave one of them out")
    if options.not_set and options.gloss == "good":
        raise UseError("--not-set and --gloss good contradict each other", hint="leave one of them out")
    least_min = terms.LEAST_SET_S / 60
    if options.minutes is not None and not least_min <= options.minutes <= LONGEST_MIN:  # NaN fails too
        raise UseError("--minutes", got=f"{options.minutes:g}", wanted=f"{least_min:g} to {LONGEST_MIN:g}",
                       hint="a piece that did not set: --not-set")


def _entered(tests: list[TemperTest], options: TemperOptions, log: HoldLog) -> list[TemperTest]:
    """The tests with what was typed: looks alone complete the last test, a time adds a test."""
    own = log.facts.get("profile")
    if not isinstance(own, dict) or "set_min" not in own:
        raise FileError(f"{FACTS} does not say which chocolate this was", hint="a hold's folder of this version has it")
    _check(options)
    steps = set(map(str, log["stage"]))
    if steps & MELTED and steps <= MELTED | {"rest"}:
        raise UseError("this hold melted chocolate and tempered none, so it has no temper to test",
                       hint="name the hold in which it was seeded, or cooled and warmed back: bain holds")  # fmt: skip
    room_c = parse_room_c(options.room) if options.room else None
    return _added(tests, options, log, room_c) if _has_time(options) else _completed(tests, options, log, room_c)


def _added(tests: list[TemperTest], options: TemperOptions, log: HoldLog, room_c: float | None) -> list[TemperTest]:
    end_s = float(log["t_s"][-1])
    profile = chocolate_at(log.events, log.facts, end_s)
    verdict = judge(profile, options.minutes, options.gloss, options.streaks)
    room_c = room_c_of(log.facts) if room_c is None else room_c
    test = TemperTest(end_s, str(profile["kind"]), room_c, options.minutes, options.gloss, options.streaks, verdict,
                      BY_PERSON)
    return [*tests, test]


def _completed(tests: list[TemperTest], options: TemperOptions, log: HoldLog, room_c: float | None) -> list[TemperTest]:
    if not tests:
        raise UseError("there is no test in this hold to complete", hint="say how long it took: --minutes 4.5")
    last = tests[-1]
    profile = chocolate_at(log.events, log.facts, last.t_s)
    gloss, streaks = options.gloss or last.gloss, options.streaks or last.streaks
    completed = replace(last, kind=str(profile["kind"]), room_c=last.room_c if room_c is None else room_c, gloss=gloss,
                        streaks=streaks, verdict=judge(profile, last.minutes, gloss, streaks))
    return [*tests[:-1], completed]
