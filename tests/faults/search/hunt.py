"""The search: random cases of every name, then a climb from the worst so far, round after round. Deterministic.

A name is a plant, a fault, a witness and gains. Each round draws a few new seeds for each name and varies the worst
case that the name has so far; a variation that does better is varied on. So a run that is broken off has given every
name the same share, and a longer run only adds to it.
"""

from __future__ import annotations

import hashlib
import json
import random
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from . import bounds, core
from .catalogue import PLANTS
from .genes import GAINS, WITNESSES, Line
from .play import NotPlayedError, play
from .wrongs import WRONGS

FRESH, CLIMBS = 2, 3  # a round's new seeds and variations of each name
Row = dict[str, Any]


def firmware_hash() -> str:
    """Which core is played: its files that the search loads, so that a display's change voids no result."""
    digest = hashlib.sha256()
    for path in core.use().files:
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def names(only: str = "") -> list[Line]:
    """Every name that this firmware can play, in an order that mixes them; `only`: those with this in it."""
    found = []
    for plant in PLANTS:
        for wrong in WRONGS.values():
            for witness in WITNESSES:
                if wrong.name == "none" or (wrong.part in ("bowl", "second") and wrong.part != witness):
                    continue
                if witness == "second" and not core.has_second_probe():
                    continue
                found += [Line(0, (), plant, wrong.name, witness, gains) for gains in GAINS]
    found = [line for line in found if only in line.name]
    random.Random("names").shuffle(found)
    return found


def played(line: Line) -> Row:
    """A result as a row; a case that cannot be played is a row too, and says why."""
    try:
        return asdict(play(line))
    except NotPlayedError as error:
        return {"line": str(line), "refused": str(error)}
    except Exception as error:  # a plant or firmware that raises is a finding, and the search continues
        return {"line": str(line), "raised": f"{type(error).__name__}: {error}"}


def search(rounds: int, todo: list[Line], known: dict[str, Row], until: Callable[[], bool]) -> Iterator[Row]:
    """Rows as they come; what `known` has is not played again but climbed from."""
    worst: dict[str, tuple[float, Line]] = {}
    for at in range(rounds):
        for name in todo:
            fresh = [Line(1 + at * FRESH + n, (), *_parts(name)) for n in range(FRESH)]
            for line in fresh:
                if until():
                    return
                yield from _one(line, known, worst)
            for n in range(CLIMBS):
                if until() or name.name not in worst:
                    break
                base = worst[name.name][1]
                yield from _one(Line(base.seed, (*base.varied, at * CLIMBS + n), *_parts(name)), known, worst)


def _parts(line: Line) -> tuple[str, str, str, str]:
    return line.plant, line.fault, line.witness, line.gains


def _one(line: Line, known: dict[str, Row], worst: dict[str, tuple[float, Line]]) -> Iterator[Row]:
    row = known.get(str(line))
    if row is None:
        row = known[str(line)] = played(line)
        yield row
    score = row.get("score_k", -999.0)
    if line.name not in worst or score > worst[line.name][0]:
        worst[line.name] = score, line


def healthy(hours: float, part: tuple[int, int], known: dict[str, Row], until: Callable[[], bool]) -> Iterator[Row]:
    """Evenings with everyday acts on every plant until so many hours are played; of `part` (n, of) each of-th seed."""
    seconds, seed = 0, part[0] - part[1]
    while seconds < hours * 3600.0 and not until():
        seed += part[1]
        for number, plant in enumerate(PLANTS):
            witnesses = [witness for witness in WITNESSES if witness != "second" or core.has_second_probe()]
            line = Line(seed, (), plant, "none", witnesses[(seed + number) % len(witnesses)], GAINS[seed // 3 % 2])
            row = known.get(str(line))
            if row is None:
                row = known[str(line)] = played(line)
                yield row
            seconds += row.get("seconds", 0)


def each(todo: list[str], known: dict[str, Row], until: Callable[[], bool]) -> Iterator[Row]:
    """Each line of bounds once, in an order that mixes them."""
    for line in random.Random("bounds").sample(todo, len(todo)):
        if until():
            return
        if line not in known:
            known[line] = bounds.played(line)
            yield known[line]


def keep(path: Path, rows: Iterator[Row]) -> Iterator[Row]:
    """Append each row to a file before it is handed on."""
    firmware = firmware_hash()
    with path.open("a", encoding="utf-8") as file:
        for row in rows:
            file.write(json.dumps({**row, "firmware": firmware}) + "\n")
            file.flush()
            yield row


def load(path: Path, firmware: str | None) -> dict[str, Row]:
    """What a file holds of a firmware, or of all; a last line cut short is left out.

    Raises
    ------
    ValueError
        In words, when it is no file of the search's results.
    """
    if not path.exists():
        return {}
    rows: dict[str, Row] = {}
    for number, text in enumerate(path.read_text(encoding="utf-8").split("\n")[:-1], 1):
        try:
            row = json.loads(text)
            if firmware is None or row["firmware"] == firmware:
                rows[row["line"]] = row
        except (ValueError, KeyError, TypeError) as error:
            raise ValueError(f"{path}, line {number}: not a result of the search, got {text[:60]!r}") from error
    return rows


def clock(minutes: float) -> Callable[[], bool]:
    """True once so many minutes are over."""
    end_s = time.monotonic() + 60.0 * minutes
    return lambda: time.monotonic() > end_s
