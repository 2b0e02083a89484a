"""A drill from the first word to the exit status."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from bainwright.core.errors import RefusedError, UseError
from bainwright.drill.hands import Bench, Hands, Person
from bainwright.drill.items import BY_NAME, ITEMS, NOT_PROVED
from bainwright.drill.overnight_permit import PASSED, UNPROVED
from bainwright.drill.record import (
    CANNOT,
    PROVED,
    Record,
    Standing,
    missing,
    read_record,
    record_path,
    standings,
    write_record,
)
from bainwright.drill.run import Drill, prepare
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import SIMULATED
from bainwright.files.rig import load_rig
from bainwright.link.session import LiveSession, Session
from bainwright.virtual.opening import open_board, refuse_two_warmers
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import Scenario, StartTable
from bainwright.virtual.session import Simulated, VirtualSession

Say = Callable[..., None]
COLD_C = 20.0  # the simulated bath at the start: as cold as a tap's


@dataclass(frozen=True)
class DrillAsked:
    """The options as they were typed."""

    virtual: str | None = None
    port: str | None = None
    rig: str | None = None
    show: bool = False
    again: bool = False
    out: str | None = None


def drill_and_tell(asked: DrillAsked, *, as_json: bool, say: Say) -> int:
    """Run or show a drill.

    Returns
    -------
    int
        0 when the drill is passed, else 1.
    """
    _refuse_combinations(asked)
    told = _show(asked) if asked.show and (asked.rig or asked.virtual) else _with_board(asked, say)
    _tell(told, as_json, say)
    return 0 if told.passed else 1


@dataclass(frozen=True)
class Told:
    """How a warmer's drill stands."""

    record: Record
    path: Path
    stands: list[Standing]

    @property
    def passed(self) -> bool:
        """Is everything proved that must be?"""
        return not missing(self.stands)


def _refuse_combinations(asked: DrillAsked) -> None:
    refuse_two_warmers(virtual=asked.virtual, port=asked.port, rig=asked.rig)
    if asked.show and asked.again:
        raise UseError("--show changes nothing and --again proves all anew", hint="leave one of them out")


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)


def _stand(asked: DrillAsked, settings: dict[str, Any], simulated: bool) -> Told:
    name = str(settings["name"])
    path = Path(asked.out) if asked.out else record_path(name, simulated)
    record = read_record(path) or Record(name, simulated)
    if (record.warmer, record.simulated) != (name, simulated):
        raise UseError(f"{path} is the drill of another warmer", got=record.warmer + _virtual(record.simulated),
                       wanted=name + _virtual(simulated), hint="name another file with --out")  # fmt: skip
    return Told(record, path, standings(record, settings, _now()))


def _virtual(simulated: bool) -> str:
    return " (VIRTUAL)" if simulated else ""


def _show(asked: DrillAsked) -> Told:
    rig = load_rig(asked.rig or asked.virtual or "")
    return _stand(asked, dict((name_probes(rig) if asked.virtual else rig).settings), asked.virtual is not None)


def _with_board(asked: DrillAsked, say: Say) -> Told:
    with open_board(asked.port, _simulated(asked)) as session:
        hello = session.link.hello()
        settings = _settings(asked, session, hello)
        told = _stand(asked, settings, session.simulated)
        return told if asked.show else _walk(asked, session, settings, told, say)


def _simulated(asked: DrillAsked) -> Simulated | None:
    if asked.virtual is None:
        return None
    rig = name_probes(load_rig(asked.rig or asked.virtual))
    start = StartTable(water_c=COLD_C, bowl_c=COLD_C, room_c=COLD_C)
    return Simulated(rig, None, Scenario(start=start), 0, None, None)


def _settings(asked: DrillAsked, session: Session, hello: dict[str, Any]) -> dict[str, Any]:
    """The rig's, or those the board has."""
    if asked.virtual is not None:
        return dict(name_probes(load_rig(asked.rig or asked.virtual)).settings)
    if asked.rig:
        return dict(load_rig(asked.rig).settings)
    return session.link.settings(hello)


def _walk(asked: DrillAsked, session: Session, settings: dict[str, Any], told: Told, say: Say) -> Told:
    def tell(text: str) -> None:
        say(text, err=True)

    if session.simulated and not isinstance(session, VirtualSession):
        raise UseError("the board on this port is a simulated one", hint="bain drill --virtual does the steps itself")
    hands: Hands
    if isinstance(session, VirtualSession):
        hands = Bench(session, load_rig(asked.rig or asked.virtual or ""))
    else:
        assert isinstance(session, LiveSession)
        hands = Person(session, tell)
    _begin(session, settings)
    drill = Drill(session, hands, settings, tell, _now)
    for number, item in enumerate(ITEMS, 1):
        stand = next(each for each in told.stands if each.name == item.name)
        if stand.state == CANNOT or (stand.state == PROVED and not asked.again):
            tell(f"{number}. {item.title}: {stand.state}" + (f" ({stand.why})" if stand.why else ""))
            continue
        tell(f"{number}. {item.title}")
        result = drill.prove(item)
        record = msgspec.structs.replace(told.record, items={**told.record.items, item.name: result})
        write_record(told.path, record)  # at once: broken off, what passed stays passed
        told = Told(record, told.path, standings(record, settings, _now()))
        took = "" if result.took_s is None else f" after {result.took_s:.1f} s"
        bound = "" if result.limit_s is None else f" (at most {result.limit_s:.1f} s)"
        said = f": {result.said}" if result.said else ""
        tell(f"  {'Proved' if result.passed else 'NOT PROVED'}{took}{bound}{said}")
    _end(session, drill, settings, told)
    return told


def _begin(session: Session, settings: dict[str, Any]) -> None:
    if session.link.hello()["state"] not in ("idle", "trip"):
        raise RefusedError("a hold is running on this warmer", hint="end it first: the drill cuts its heat off")
    mark = SIMULATED if session.simulated else UNPROVED
    prepare(session, {**settings, "drill": mark}, load_profile("dark").document())
    session.arm()
    session.run()


def _end(session: Session, drill: Drill, settings: dict[str, Any], told: Told) -> None:
    """Leave the warmer at rest, and tell a real one that it may be left overnight, for its own buttons."""
    drill.rest()
    if told.passed and not session.simulated:
        prepare(session, {**settings, "drill": PASSED}, load_profile("dark").document())


def _tell(told: Told, as_json: bool, say: Say) -> None:
    if as_json:
        say(json.dumps(_result(told), indent=2, ensure_ascii=False))
        return
    say(f"Drill of the warmer {told.record.warmer!r}" + _virtual(told.record.simulated) + f", kept in {told.path}")
    for each in told.stands:
        took = "" if each.took_s is None else f", {each.took_s:.1f} s"
        bound = "" if each.limit_s is None or each.took_s is None else f" of {each.limit_s:.1f} s"
        when = "" if each.at is None else f" {each.at[:10]}"
        why = f" ({each.why})" if each.why else ""
        say(f"  {each.state + when:28} {BY_NAME[each.name].title}{took}{bound}{why}")
    lacks = missing(told.stands)
    say("Passed: everything that this warmer must prove is proved." if not lacks else
        f"Not passed: {len(lacks)} left. bain drill goes on where it stopped; no night until then.")  # fmt: skip
    say("A drill does not prove: " + "; ".join(NOT_PROVED) + ".")


def _result(told: Told) -> dict[str, Any]:
    return {
        "warmer": told.record.warmer, "virtual": told.record.simulated, "passed": told.passed,
        "file": str(told.path), "items": [msgspec.to_builtins(each) for each in told.stands],
        "missing": [each.name for each in missing(told.stands)], "not_proved_by_a_drill": list(NOT_PROVED),
    }  # fmt: skip
