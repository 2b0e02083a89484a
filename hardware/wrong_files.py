"""Plays each build with the rig file of each other one, and with other parts than its file states.

    python hardware/wrong_files.py        # some minutes; stores wrong_files.csv for electronics.md

A full bowl of dark in temper is set into a cold bath or onto a cold plate, in a room at 20 °C, for 50 minutes.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tables import table

from bainboard import faults
from bainwright.builds import overload
from bainwright.builds.catalogue import BUILDS, BY_NAME
from bainwright.builds.rig_text import twin_name
from bainwright.core.errors import RefusedError
from bainwright.drill.heater_power import verdict
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document, flash_of
from bainwright.files.rig import Rig, load_rig
from bainwright.link import ports
from bainwright.link.messages import Status
from bainwright.link.protocol import Link
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import Scenario, StartTable

RESULTS = Path(__file__).with_name("wrong_files.csv")
PLAYED_S = 3000
COLD_C, TEMPERED_C = 20.0, 31.5


@dataclass(frozen=True)
class Case:
    """What is wired, what the file says, and what the table calls it."""

    title: str
    built: Rig
    stated: Rig
    ohm: float | None = None  # where the meter shows another than the watts at 24 V


def _twin(name: str, **changes: object) -> Rig:
    rig = name_probes(load_rig(name))
    return name_probes(rig.with_settings(changes)) if changes else rig


def cases() -> Iterator[Case]:
    """Every file on every build, then the parts that are not as stated."""
    twins = {build.name: _twin(twin_name(build)) for build in BUILDS}
    for built in twins:
        for stated in twins:
            title = "its own file" if built == stated else f"the file of the {stated}"
            yield Case(f"{built}: {title}", twins[built], twins[stated])
    pot = twins["pot"]
    quarter = _twin("pot24", heater_w=pot.settings["heater_w"] / 4.0)
    yield Case("pot: a supply of 12 V", quarter, pot)
    # 12.5 A is all that its supply gives, and over so few ohms that comes to about the right watts.
    limit_a, watts = overload.limit_a(BY_NAME["pot"]), float(pot.settings["heater_w"])
    yield Case("pot: a mat of 12 V, its supply at its limit", _twin("pot24", heater_w=limit_a**2 * 144.0 / watts), pot,
               144.0 / watts)
    yield Case("pot: a thermistor in the file, a DS18B20 in the water's plug", pot,
               pot.with_settings({"probe.water.kind": "ntc"}))
    yield Case("pot: a thermistor in the file, a DS18B20 in the chocolate's plug", pot,
               pot.with_settings({"probe.bowl.kind": "ntc"}))
    yield Case("pot: `float = true` without a float", pot, pot.with_settings({"float": True}))


def play(case: Case) -> dict[str, str]:
    """Start it and watch for 50 minutes: the self-test, the first fault or warning, and the chocolate."""
    full_kg = float(case.built.settings["chocolate_kg"])
    scenario = Scenario(start=StartTable(water_c=COLD_C, bowl_c=TEMPERED_C, chocolate_kg=full_kg, room_c=COLD_C))
    with VirtualBoard(case.built, scenario=scenario, flash_files=flash_of(case.stated)) as board:
        link = Link(ports.open_port(board.path))
        try:
            return {"case": case.title, **_watched(board, link), "meter": _meter(case)}
        finally:
            link.transport.close()


def _watched(board: VirtualBoard, link: Link) -> dict[str, str]:
    link.hello()
    profile = load_profile("dark")
    link.upload("profile", document("profile", profile.document()))
    board.arm()
    try:
        link.request("start", stage="work", for_ms=0)
    except RefusedError as refused:
        return {"test": "", "fault": "", "fault_s": "", "in_s": "", "last_c": "", "refused": str(refused)}
    board.run_clock()
    test, first, bowl = "", ("", ""), []
    now_s, ended = 0.0, False
    while now_s < PLAYED_S and not ended:
        for message in link.poll():
            if isinstance(message, Status):
                now_s = message.t / 1000
                if message.state == "hold" and message.bowl is not None:
                    bowl.append((now_s, message.bowl / 1000))
            elif message.get("event") == "checked":
                test = "masked" if message["masked"] else "passed"
            elif message.get("event") == "water_low":
                first, ended = ("water_low", f"{message['t'] / 1000:.0f}"), True
            elif message.get("event") in ("trip", "warn") and not first[0]:
                first = (faults.row(message["fault"])[faults.NAME], f"{message['t'] / 1000:.0f}")
                ended = message["event"] == "trip" and not test  # no start
    low_c, high_c = profile.low_c, profile.high_c
    outside = [at_s for at_s, c in bowl if not low_c <= c <= high_c]
    there_s = 0.0 if not outside else outside[-1]
    return {"test": test, "fault": first[0], "fault_s": first[1], "refused": "",
            "in_s": f"{there_s:.0f}" if there_s < PLAYED_S - 2 else "", "last_c": f"{bowl[-1][1]:.1f}" if bowl else ""}


def _meter(case: Case) -> str:
    """What the drill says of the meter's figures: 24 V on what gives the watts that are there."""
    ohm = case.ohm or 24.0**2 / float(case.built.settings["heater_w"])
    passed, _ = verdict(dict(case.stated.settings), 24.0, [ohm])
    return "passed" if passed else "refused"


def read() -> list[dict[str, str]]:
    """The stored results."""
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def met(row: dict[str, str]) -> bool:
    """Is it met by the drill's meter, the self-test, or a number at once?"""
    return row["meter"] == "refused" or not row["test"] or row["fault"] == "bowl_probe"


def wrong_files_block() -> str:
    """What each did, and which look meets it."""
    return table(("what was wrong", "self-test", "the evening of 50 min", "the drill's meter"),
                 [(row["case"], _tested(row), _evening(row), row["meter"]) for row in read()])


def _tested(row: dict[str, str]) -> str:
    if row["refused"]:
        return "**no start**, in words"
    return {"masked": "passed, unsure", "": "**no start**"}.get(row["test"], row["test"])


def _evening(row: dict[str, str]) -> str:
    if row["fault"] == "water_low":
        return "no heat: it asks for water"
    if row["fault"] == "bowl_probe":
        return "warns at once with `bowl_probe`, and holds by the water"
    if row["refused"] or not row["test"]:
        return f"no heat: {row['refused'] or '`' + row['fault'] + '`'}"
    there = f"{row['last_c']} °C at the end"
    if row["in_s"]:
        there = f"in its window after {float(row['in_s']) / 60:.0f} min"
    seen = f"; `{row['fault']}` after {float(row['fault_s']) / 60:.0f} min" if row["fault"] else "; no number shown"
    return there + seen


def main(names: list[str]) -> None:
    """Play the cases whose title begins with one of the names, or all; the rest stays as stored."""
    stored = {row["case"]: row for row in read()} if RESULTS.exists() else {}
    for case in cases():
        if not names or case.title.startswith(tuple(names)):
            stored[case.title] = play(case)
            print(stored[case.title], flush=True)
        rows = [stored[case.title] for case in cases() if case.title in stored]
        _store(rows)


def _store(rows: list[dict[str, str]]) -> None:
    with RESULTS.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, ("case", "test", "fault", "fault_s", "in_s", "last_c", "refused", "meter"),
                                lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main(sys.argv[1:])
