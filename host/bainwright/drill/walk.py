"""A drill from the first word to the exit status."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from bainwright.core.errors import RefusedError, UseError
from bainwright.core.json_text import json_text
from bainwright.drill import board_check
from bainwright.drill.hands import Hands, Person, VirtualHands
from bainwright.drill.items import BY_NAME, ITEMS, Item
from bainwright.drill.plate_words import not_tested, worded
from bainwright.drill.record import (
    CANNOT,
    PASSED,
    ItemStatus,
    Record,
    Result,
    read_record,
    record_path,
    statuses,
    unfinished,
    write_record,
)
from bainwright.drill.run import Drill
from bainwright.files import documents
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import OPEN, SIMULATED, document, short_hash
from bainwright.files.rig import Rig, load_rig
from bainwright.link.protocol import settings_damaged
from bainwright.link.session import LiveSession, Session
from bainwright.link.stopping import stopped_on_error
from bainwright.rigs.board import changed_words, refuse_another, refuse_lost_corrections
from bainwright.rigs.warnings import check_ids
from bainwright.virtual.interpreter import require_micropython
from bainwright.virtual.opening import open_board, refuse_two_warmers
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import Scenario, StartTable
from bainwright.virtual.session import Simulated, VirtualSession
from bainwright.words.advice import refuse_heat_at_rest

Say = Callable[..., None]
COLD_C = 20.0  # the simulated bath at the start: as cold as tap water


@dataclass(frozen=True)
class DrillOptions:
    """The options as typed."""

    virtual: str | None = None
    port: str | None = None
    rig: str | None = None
    show: bool = False
    again: bool = False
    board_check: bool = False
    out: str | None = None

    def named_rig(self) -> Rig | None:
        """The rig that the options name, a simulated one with ids for its probes; None when the board's own counts."""
        if self.virtual is None:
            return load_rig(self.rig) if self.rig else None
        return name_probes(load_rig(self.rig or self.virtual))


@dataclass(frozen=True)
class DrillReport:
    """A warmer's drill today."""

    record: Record
    path: Path
    items: list[ItemStatus]
    bath: str
    firmware: str | None = None  # the board's; None where none was asked

    @property
    def passed(self) -> bool:
        """Has everything passed that must?"""
        return not unfinished(self.items)

    def with_result(self, item: Item, result: Result, settings: dict[str, Any]) -> DrillReport:
        """The same with one result more."""
        result = msgspec.structs.replace(result, firmware=self.firmware or "")
        record = msgspec.structs.replace(self.record, items={**self.record.items, item.name: result})
        return self.of(record, settings)

    def of(self, record: Record, settings: dict[str, Any]) -> DrillReport:
        """The same with another record."""
        return replace(self, record=record, items=statuses(record, settings, _now(), self.firmware))


def run_drill(options: DrillOptions, *, as_json: bool, say: Say) -> int:
    """Run or show a drill.

    Returns
    -------
    int
        0 when the drill is passed, else 1.
    """
    refuse_two_warmers(virtual=options.virtual, port=options.port, rig=options.rig)
    if options.board_check:
        return _check_board(options, as_json, say)
    if options.show and options.again:
        raise UseError("--show changes nothing and --again tests everything", hint="leave one of them out")
    rig = options.named_rig()
    if options.show and rig is not None and options.port is None:
        report = _report(options, dict(rig.settings), options.virtual is not None, _bath(rig))
    else:
        report = _with_board(options, rig, say)
    _show(report, as_json, say)
    if report.firmware is None and not report.record.simulated and not as_json:
        say("The board was not asked: with --port its firmware counts too.")
    return 0 if report.passed else 1


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)


def _bath(rig: Rig | None) -> str:
    """What the warmer heats, for the words; a board's own settings do not state it."""
    return rig.plant.bath if rig is not None else "water"


def _report(options: DrillOptions, settings: dict[str, Any], simulated: bool, bath: str) -> DrillReport:
    """What is stored about this warmer.

    Raises
    ------
    UseError
        If the file is another warmer's.
    """
    name = str(settings["name"])
    path = Path(options.out) if options.out else record_path(name, simulated)
    record = read_record(path) or Record(name, simulated)
    if (record.warmer, record.simulated) != (name, simulated):
        raise UseError(f"{path} is the drill of another warmer", got=record.warmer + _virtual(record.simulated),
                       wanted=name + _virtual(simulated), hint="name another file with --out")  # fmt: skip
    return DrillReport(record, path, statuses(record, settings, _now()), bath)


def _of_board(report: DrillReport, hello: Mapping[str, Any], settings: dict[str, Any]) -> DrillReport:
    """The report of this very board: one of another says nothing about it, though both have one name.

    Raises
    ------
    UseError
        If the file is another board's.
    """
    record, board = report.record, str(hello["board"])
    if record.simulated:
        return report
    report = replace(report, firmware=str(hello.get("version")))
    if record.board == board:
        return report.of(record, settings)
    if record.board:
        raise UseError(f"{report.path} is the drill of another board of that name", got=record.board, wanted=board,
                       hint="name another file with --out; if this board replaced it, move the file away")  # fmt: skip
    record = msgspec.structs.replace(record, items={}, board=board)  # results that name no board may be another's
    return report.of(record, settings)


def _virtual(simulated: bool) -> str:
    return " (VIRTUAL)" if simulated else ""


# -- with the board ----------------------------------------------------------------------------------------------------


def _with_board(options: DrillOptions, rig: Rig | None, say: Say) -> DrillReport:
    if rig is not None:
        check_ids(rig)  # before anything is sent over the settings that the board has
    with open_board(options.port, _simulated(rig) if options.virtual is not None else None) as session:
        hello = session.link.hello()
        settings = session.link.settings(hello) if rig is None else dict(rig.settings)
        report = _of_board(_report(options, settings, session.simulated, _bath(rig)), hello, settings)
        if options.show:
            return report
        refuse_heat_at_rest(hello)
        if rig is not None and not session.virtual:
            refuse_another(hello, rig)
            if not settings_damaged(hello):
                before = session.link.settings(hello)
                refuse_lost_corrections(before, rig)
                for note in changed_words(hello, before, rig):
                    say(note, err=True)
        write_record(report.path, report.record)  # now, so that a folder nobody may write to is known at once
        return _walk(options, session, _hands(session, rig, say), settings, report, say)


def _check_board(options: DrillOptions, as_json: bool, say: Say) -> int:
    """The checklist for a bare board, in place of the drill."""
    if options.show or options.again:
        raise UseError("--board-check is not part of the drill", hint="leave --show and --again out")
    path = Path(options.out or "board-check.json")
    if path.is_dir() or not path.parent.is_dir():  # known now, not after a quarter of an hour
        raise UseError(f"the report {path} cannot be written", wanted="a file in a folder that is there")
    rig = options.named_rig()
    with open_board(options.port, _simulated(rig) if options.virtual is not None else None) as session:
        say(board_check.UNPLUGGED, err=True)
        session.arm()
        session.run()
        hands = _hands(session, rig, say)
        check = board_check.BoardCheck(session, hands, lambda text: say(text, err=True), board_check.LISTEN_S)
        if check.hello["state"] not in ("idle", "trip"):
            raise RefusedError("a hold is running on this warmer", hint="end it first")
        refuse_heat_at_rest(check.hello)
        with stopped_on_error(session, lambda text: say(text, err=True)):
            done = check.run()
        report = board_check.write_report(path, check, done, _now())
    if as_json:
        say(json_text(report))
    else:
        passed = sum(each["passed"] for each in report["checks"])
        say(f"{passed} of {len(report['checks'])} checks passed. The report to send is {path}.")
    return 0 if report["passed"] else 1


def _simulated(rig: Rig | None) -> Simulated:
    assert rig is not None
    require_micropython("a simulated drill")  # only there can its hands break parts and press buttons
    start = StartTable(water_c=COLD_C, bowl_c=COLD_C, room_c=COLD_C)
    return Simulated(rig, None, Scenario(start=start), 0, None, None)


def _hands(session: Session, rig: Rig | None, say: Say) -> Hands:
    if isinstance(session, VirtualSession):
        assert rig is not None
        return VirtualHands(session, rig)
    if session.simulated:
        raise UseError("the board on this port is a simulated one", hint="bain drill --virtual does the steps itself")
    assert isinstance(session, LiveSession)
    return Person(session, lambda text: say(text, err=True), bath=_bath(rig))


def _walk(options: DrillOptions, session: Session, hands: Hands, settings: dict[str, Any], report: DrillReport,
          say: Say) -> DrillReport:  # fmt: skip
    """Go through the items; each result is stored at once, so that a drill which is interrupted resumes there."""
    session.link.tells = False  # its items make the faults
    _begin(session, settings)
    with stopped_on_error(session, lambda text: say(text, err=True)):
        drill = Drill(session, hands, settings, lambda text: say(text, err=True), _now)
        report = _each(options, drill, settings, report, say)
        _end(session, drill, settings, report)
    return report


def _each(options: DrillOptions, drill: Drill, settings: dict[str, Any], report: DrillReport, say: Say) -> DrillReport:
    for number, item in enumerate(ITEMS, 1):
        status = next(each for each in report.items if each.name == item.name)
        title = worded(item, report.bath).title
        if status.state == CANNOT or (status.state == PASSED and not options.again):
            say(f"{number}. {title}: {status.state}" + (f" ({status.why})" if status.why else ""), err=True)
            continue
        say(f"{number}. {title}", err=True)
        result = drill.test(item)
        report = report.with_result(item, result, settings)
        write_record(report.path, report.record)
        say("  " + _result_words(result), err=True)
    return report


def _result_words(result: Result) -> str:
    took = "" if result.took_s is None else f" after {result.took_s:.1f} s"
    limit = "" if result.limit_s is None else f" (at most {result.limit_s:.1f} s)"
    note = f": {result.note}" if result.note else ""
    return f"{'Passed' if result.passed else 'FAILED'}{took}{limit}{note}"


def _begin(session: Session, settings: dict[str, Any]) -> None:
    if session.link.hello()["state"] not in ("idle", "trip"):
        raise RefusedError("a hold is running on this warmer", hint="end it first: the drill takes its heat away")
    status = SIMULATED if session.simulated else OPEN
    _prepare(session, {**settings, "drill": status}, load_profile("dark").document())
    session.arm()
    session.run()


def _end(session: Session, drill: Drill, settings: dict[str, Any], report: DrillReport) -> None:
    """Leave the warmer idle, and permit a real one overnight holds, its own buttons' too."""
    drill.rest()
    if report.passed and not session.simulated:
        _prepare(session, {**settings, "drill": documents.PASSED}, load_profile("dark").document())


# -- showing it --------------------------------------------------------------------------------------------------------


def _show(report: DrillReport, as_json: bool, say: Say) -> None:
    if as_json:
        say(json_text(_as_dict(report)))
        return
    board = f", board {report.record.board}" if report.record.board else ""
    say(f"Drill of the warmer {report.record.warmer!r}{_virtual(report.record.simulated)}{board}, stored in "
        f"{report.path}")
    for each in report.items:
        limit = "" if each.limit_s is None else f" of {each.limit_s:.1f}"
        took = "" if each.took_s is None else f", {each.took_s:.1f}{limit} s"
        when = "" if each.at is None else f" {each.at[:10]}"
        why = f" ({each.why})" if each.why else ""
        say(f"  {each.state + when:18} {worded(BY_NAME[each.name], report.bath).title}{took}{why}")
    left = unfinished(report.items)
    if left:
        say(f"Not passed: {len(left)} left. Until then overnight holds are refused. bain drill resumes there.")
    else:
        skipped = [worded(BY_NAME[each.name], report.bath).title for each in report.items if each.state == CANNOT]
        done = f"Passed: {len(report.items) - len(skipped)} of {len(report.items)} items."
        say(f"{done} Not possible on this warmer: {'; '.join(skipped)}." if skipped else done)
    say("A drill does not test " + ", ".join(not_tested(report.bath)) + ".")


def _as_dict(report: DrillReport) -> dict[str, Any]:
    return {
        "warmer": report.record.warmer, "board": report.record.board,
        "virtual": report.record.simulated, "passed": report.passed,
        "file": str(report.path), "items": [msgspec.to_builtins(each) for each in report.items],
        "missing": [each.name for each in unfinished(report.items)],
        "not_tested_by_a_drill": list(not_tested(report.bath)),
    }  # fmt: skip


def _prepare(session: Session, settings: dict[str, Any], profile: dict[str, Any]) -> None:
    """Give a resting board what the drill runs on, where it has something else."""
    hello = session.link.hello()
    for what, values in (("settings", settings), ("profile", profile)):
        payload = document(what, values)
        if short_hash(payload) != hello.get(what):
            session.link.upload(what, payload)
