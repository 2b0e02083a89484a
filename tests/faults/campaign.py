"""The whole board's campaign: cases by part, each result a line of a file that a later run extends."""

from __future__ import annotations

import hashlib
import itertools
import json
import multiprocessing
import os
import random
from collections.abc import Callable, Generator, Iterable, Iterator
from pathlib import Path
from typing import Any

from bainboard import faults
from bainwright.core.errors import FileError

from .cases import Case, parse
from .evenings import EVERYDAY
from .hands import RUDE
from .judge import play
from .phases import PHASES
from .rigs import KIN, THREE, warmer
from .strikes import BY_NAME, STRIKES, possible

KINS = 20
FIRMWARE = Path(faults.__file__).parent
FIRST_SINGLE = 1000  # seed
CUTS = 14  # flash operations of a start and a trip, and some more


def _singles(rounds: int) -> Iterator[Case]:
    """Each fault in each phase on the three warmers."""
    for seed, strike, phase, rig in itertools.product(range(rounds), STRIKES, PHASES, THREE):
        if possible(strike, warmer(rig)):
            yield Case(FIRST_SINGLE + seed, rig, phase, (strike.name,))


def _kin(rounds: int) -> Iterator[Case]:
    """Each fault on twenty relatives in the phases in which it must be reported, or in one drawn."""
    for seed, strike, number in itertools.product(range(rounds), STRIKES, range(KINS)):
        rig = f"{KIN}{number}"
        phases = strike.phases or (random.Random(f"{seed} {strike.name} {number}").choice(tuple(PHASES)),)
        if possible(strike, warmer(rig)):
            yield from (Case(2000 + seed, rig, phase, (strike.name,)) for phase in phases)


def _pairs(rounds: int) -> Iterator[Case]:
    """All pairs of faults, each on a warmer and in a phase drawn."""
    rng = random.Random("pairs")
    rigs = (*THREE, *(f"{KIN}{number}" for number in range(KINS)))
    for seed in range(rounds):
        for one, two in itertools.combinations(STRIKES, 2):
            rig, phase = rng.choice(rigs), rng.choice(tuple(PHASES))
            if possible(one, warmer(rig)) and possible(two, warmer(rig)):
                yield Case(3000 + seed, rig, phase, (one.name, two.name))


def _flash(rounds: int) -> Iterator[Case]:
    """The supply fails at each flash operation, before it and half way through."""
    cuts = [sign * number for number in range(1, CUTS + 1) for sign in (1, -1)]
    for seed, rig, phase, cut in itertools.product(range(rounds), THREE, ("idle", "look", "quiet", "pause"), cuts):
        yield Case(4000 + seed, rig, phase, ("water_open", f"flash_cut@{cut}"))
    for seed, rig, cut in itertools.product(range(rounds), THREE, [0, *cuts]):
        yield Case(4000 + seed, rig, "idle", (f"upload@{cut}",))


def _link(rounds: int) -> Iterator[Case]:
    """Messages nobody should send, and a host that reads nothing: the heater must do the same as without."""
    for seed, rig, phase in itertools.product(range(rounds), THREE, PHASES):
        yield Case(5000 + seed, rig, phase, ("host@1",))
        for number in range(len(RUDE)):
            yield Case(5000 + seed, rig, phase, (f"say@{number}",))


def _clock(rounds: int) -> Iterator[Case]:
    """The port's counter wraps just before, at and after each part of a hold."""
    for seed, rig, phase in itertools.product(range(rounds), THREE, PHASES):
        for seconds in (2, 60, 61, 200, 600, 1700):
            yield Case(6000 + seed, rig, phase, (f"wrap@{seconds}",))


def _everyday(rounds: int) -> Iterator[Case]:
    """Each everyday act on each warmer."""
    rigs = (*THREE, *(f"{KIN}{number}" for number in range(KINS)))
    for seed, act, rig in itertools.product(range(rounds), EVERYDAY, rigs):
        yield Case(7000 + seed, rig, "quiet", (act,))


def _soak(rounds: int) -> Iterator[Case]:
    """Ordinary evenings and nights."""
    rigs = (*THREE, *(f"{KIN}{number}" for number in range(KINS)))
    for seed, rig, kind in itertools.product(range(rounds), rigs, ("evening", "melted_night")):
        yield Case(8000 + seed, rig, kind, ())


# part: its cases, and the rounds of the whole campaign
PARTS: dict[str, tuple[Callable[[int], Iterator[Case]], int]] = {
    "singles": (_singles, 1), "kin": (_kin, 1), "everyday": (_everyday, 1), "flash": (_flash, 1), "clock": (_clock, 1),
    "link": (_link, 1), "pairs": (_pairs, 1), "soak": (_soak, 1),
}


def cases(part: str, rounds: int | None = None) -> list[Case]:
    """Cases of one part."""
    make, usual = PARTS[part]
    return list(make(usual if rounds is None else rounds))


def order(todo: list[Case]) -> list[Case]:
    """What is promised first, each fault where it must be reported on the three warmers; then all the rest mixed.

    A run broken off has then played a fair sample of every part.
    """
    mixed = random.Random("order").sample(todo, len(todo))
    return sorted(mixed, key=lambda case: not _promised(case))


def _promised(case: Case) -> bool:
    return case.seed == FIRST_SINGLE and case.phase in BY_NAME[case.acts[0]].phases


def sample(part: str, count: int) -> list[Case]:
    """So many cases of a part, evenly picked."""
    everything = cases(part, 1)
    return everything[:: max(1, len(everything) // count)][:count]


def firmware_hash() -> str:
    """Which firmware is played."""
    digest = hashlib.sha256()
    for path in sorted(FIRMWARE.rglob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def read_results(path: Path, firmware: str | None = None) -> list[dict[str, Any]]:
    """Results kept in a file, of one firmware or of all; a last line cut short is dropped.

    Raises
    ------
    FileError
        When the file is no results file.
    """
    if not path.exists():
        return []
    rows = []
    lines = path.read_text(encoding="utf-8").split("\n")
    for number, line in enumerate(lines[:-1], 1):
        try:
            row = json.loads(line)
            parse(row["case"])
            row["firmware"]
        except (ValueError, KeyError, TypeError) as error:
            raise FileError(f"{path}, line {number}: not a result of the campaign", got=line[:60]) from error
        if firmware is None or row["firmware"] == firmware:
            rows.append(row)
    return rows


def _played(line: str) -> dict[str, Any]:
    try:
        return play(parse(line)).as_row()
    except Exception as error:  # a case that cannot be played is a result too: the run goes on and names it
        return {"case": line, "broken": [f"not played: {type(error).__name__}: {error}"], "missed": "", "seconds": 0}


def _humble() -> None:
    os.nice(max(0, 10 - os.nice(0)))


def run(todo: Iterable[Case], jobs: int) -> Iterator[dict[str, Any]]:
    """Play cases on so many cores; results as they come."""
    lines = [str(case) for case in todo]
    if jobs == 1:
        yield from map(_played, lines)
        return
    with multiprocessing.get_context("fork").Pool(jobs, _humble) as pool:
        yield from pool.imap_unordered(_played, lines, chunksize=4)


def keep(path: Path, rows: Iterable[dict[str, Any]], firmware: str) -> Generator[dict[str, Any], None, None]:
    """Append each result to a file before handing it on."""
    with path.open("a", encoding="utf-8") as file:
        for row in rows:
            file.write(json.dumps({**row, "firmware": firmware}) + "\n")
            file.flush()
            yield row


def good(row: dict[str, Any]) -> bool:
    """Nothing broken, nothing missed."""
    return not row["broken"] and not row["missed"]
