"""The second engine: the same case on the virtual board, real MicroPython and all, and how far the two lie apart.

Both use the same world, bench and scenario, so what differs is the interpreter and what a call costs: the virtual
board charges two microseconds a time call and its own way through the bus, so an edge or a conversion may lie some
milliseconds elsewhere. Both have double floats. A reading may then round to the next sixteenth of a kelvin, and the
duty differ for a while by what the control makes of one such step.
"""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import serial

from bainboard import wire
from bainwright.core.errors import LinkError
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.truth import read_truth

from . import campaign
from .cases import Built, Case, build
from .fast import Player, usual_files
from .strikes import BY_NAME
from .world import maker

DUTY_APART = 0.15  # root mean square: what single steps of 1/16 K and looks of another sign do to it
WATER_APART_K = 0.5  # a look's swing, once up and once down
PASSES_APART = 3  # when a fault is reported
SILENCE_S = 20.0  # real time; a board that says nothing for so long is gone


class Status(NamedTuple):
    """A status line, as far as both engines tell it."""

    state: str
    fault: int
    warn: int
    duty: float
    water_c: float | None


@dataclass
class Outcome:
    """How two plays of a case compare."""

    case: Case
    faults: tuple[list[int], list[int]]
    told_apart: int
    duty_apart: float
    warmest_apart_k: float
    passes: int

    @property
    def good(self) -> bool:
        """The same faults, near enough the same duty and water."""
        return (self.faults[0] == self.faults[1] and self.told_apart <= PASSES_APART
                and self.duty_apart <= DUTY_APART and self.warmest_apart_k <= WATER_APART_K)

    def __str__(self) -> str:
        words = "agree" if self.good else "DIFFER"
        return (f"{words}: {self.case}: faults {self.faults[0]} and {self.faults[1]}, {self.told_apart} passes apart; "
                f"duty {self.duty_apart:.4f} rms, warmest water {self.warmest_apart_k:.3f} K over {self.passes} passes")


def sample(count: int) -> list[Case]:
    """Cases that the virtual board has hands for, evenly from the singles, relatives and everyday acts."""
    able = [case for part in ("singles", "kin", "everyday") for case in campaign.cases(part, 1)
            if not any(act in BY_NAME and BY_NAME[act].fast_only for act in case.acts)]
    return able[:: max(1, len(able) // count)][:count]


def statuses(built: Built, count: int, truth: Path) -> tuple[list[Status], dict[str, Any]]:
    """So many status lines of a case on the virtual board, and its report."""
    play = built.play
    files: dict[str, bytes | None] = {**usual_files(play.rig, play.profile), **play.files}
    rows: list[Status] = []
    with VirtualBoard(play.rig, None, play.scenario, play.seed, None, files, truth=truth,
                      make_world=maker(play.mishaps)) as board, serial.Serial(board.path, timeout=SILENCE_S) as port:
        board.arm()
        board.run_clock()
        assembler = wire.Assembler()
        while len(rows) < count:
            data = port.read(max(1, port.in_waiting))
            if not data:
                raise LinkError("the virtual board fell silent", got=f"{len(rows)} lines of {count}")
            rows += [row for line in assembler.feed(data) if line for row in _status(bytes(line))]
        board.hold_clock()
        return rows, board.report()


def _status(line: bytes) -> list[Status]:
    doc, _ = wire.decode(line.strip())
    if not doc or "status" not in doc:
        return []
    water = doc["water"]
    water_c = None if water is None else water / 1000
    return [Status(doc["state"], doc["fault"], doc["warn"], doc["duty"] / 10000, water_c)]


def compare(case: Case) -> Outcome:
    """Play a case on both engines."""
    built = build(case)
    fast = Player(built.play).run()
    with tempfile.TemporaryDirectory() as folder:
        truth = Path(folder) / "truth"
        board, _ = statuses(built, len(fast.rows), truth)
        lived = read_truth(truth)
    # A busy PC reads late, and the board has run on meanwhile.
    warmest_c = float(lived["water_c"][lived["t_ms"] <= fast.truth[-1][0]].max())
    ours = [Status(row.state, row.fault, row.warn, row.duty, row.water_c) for row in fast.rows]
    # A pulse of the self-test that begins a pass sooner differs by all of its duty, and by nothing that matters.
    pairs = [(a, b) for a, b in zip(ours, board, strict=False) if "check" not in (a.state, b.state)]
    square = [(a.duty - b.duty) ** 2 for a, b in pairs]
    return Outcome(
        case, (_order(ours), _order(board)), _told_apart(ours, board), (sum(square) / max(1, len(square))) ** 0.5,
        abs(warmest_c - max(row[1] for row in fast.truth)), len(square))


def _order(rows: list[Status]) -> list[int]:
    """Faults in force, in order."""
    order = [row.fault for row in rows]
    return [fault for before, fault in zip([0, *order], order, strict=False) if fault not in (before, 0)]


def _told_apart(ours: list[Status], board: list[Status]) -> int:
    def first(rows: list[Status]) -> int:
        return next((at for at, row in enumerate(rows) if row.fault), -1)

    return abs(first(ours) - first(board))


def play_on_board(case: Case) -> Any:
    """Compare, as a result for the replay command."""
    from .judge import Result

    outcome = compare(case)
    result = Result(case, digest=json.dumps(outcome.faults))
    if not outcome.good:
        result.broken.append(str(outcome))
    return result
