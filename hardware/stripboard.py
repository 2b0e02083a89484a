"""The heartbeat gate on strip-board, placed from the gate's own table: one net to a strip, each part across two strips.

Strips run from left to right. The order of the nets is chosen here; the columns follow from it. The tests read the
nets back from the finished board, hole by hole, and compare them with the table.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from gate_circuit import BESIDE, PARTS, Part

Hole = tuple[int, int]  # row from the top, column from the left, both from 0

COLUMNS = 40
IC_COLUMN, IC_WIDE = 20, 3  # of pin 1; a DIP's two rows are 0.3 inch apart
# The pins of an 8-pin dual comparator, down its left side and down its right (TLC393 data sheet, from memory).
LEFT_PINS, RIGHT_PINS = (1, 2, 3, 4), (8, 7, 6, 5)
PIN_OF = {"A": {2: 1, 1: 2, 0: 3, 4: 4, 3: 8}, "B": {0: 5, 1: 6, 2: 7, 4: 4, 3: 8}}  # part's pin: the package's pin

# Top to bottom. A strip beside an IC is cut under it: its left net, then its right one.
# 24 V lies at the edge beside 0 V; the order of the rest keeps the parts' wires short.
ROWS: tuple[tuple[str, ...], ...] = (
    ("24v_k",), ("0",), ("coil",), ("gate",), ("drive",), ("q5_base",), ("between",), ("q4_base",), ("guard",),
    ("vcc",),
    ("IC2", "0"), ("IC2", "1"), ("IC2", "2"), ("IC2", "3"), ("IC1", "0"), ("IC1", "1"), ("IC1", "2"), ("IC1", "3"),
    ("ref_1",), ("store",), ("heartbeat",), ("beat",),
    ("a",), ("b_in",), ("a_mid",), ("b_mid",), ("a_top",), ("b_top",), ("0",),
)  # fmt: skip
FILM_LEGS_MM, FILM_THICK_MM = 5.0, 7.2  # of a film capacitor of 4.7 µF and 50 V (data sheets, from memory)
WIDE = {"C": 3, "NMOS": 3}  # columns that a body covers: a film capacitor, or a TO-220 of 5 mm (M)
NAME_WIDE = 1  # columns left free beside a body for its name
ROOM = {"C2": 1, "C3": 1, "C4": 1}  # the small ones
NEAR = {"C3": "IC1", "C4": "IC2"}  # across whose supply
TERMINALS = ("heartbeat", "guard", "vcc", "0", "coil", "24v_k")  # wires to elsewhere, at the left edge
IN_A_ROW = {"PNP": (2, 1, 0), "NMOS": (1, 0, 2)}  # legs in the order of the package: E B C, and G D S


class Placed(NamedTuple):
    """A part on the board: the hole of each of its pins, in the order of its nets; an IC's by their numbers."""

    ref: str
    holes: tuple[Hole, ...]
    nets: tuple[str, ...]


@dataclass
class StripBoard:
    """The finished board.

    Attributes
    ----------
    parts : list of Placed
        Every part of the gate.
    links : list of (Hole, Hole)
        Pieces of wire.
    cuts : list of Hole
        Holes at which a strip is cut.
    terminals : dict of str to Hole
        Where wires leave.
    """

    parts: list[Placed] = field(default_factory=list)
    links: list[tuple[Hole, Hole]] = field(default_factory=list)
    cuts: list[Hole] = field(default_factory=list)
    terminals: dict[str, Hole] = field(default_factory=dict)

    def strips(self) -> Iterator[list[Hole]]:
        """The holes of each piece of strip, between the cuts; a cut hole belongs to none."""
        for row in range(len(ROWS)):
            piece: list[Hole] = []
            for column in range(COLUMNS):
                if (row, column) in self.cuts:
                    yield piece
                    piece = []
                else:
                    piece.append((row, column))
            yield piece


class _Placer:
    """Takes the free columns from the left."""

    def __init__(self) -> None:
        self.board = StripBoard()
        self._taken: set[Hole] = set()
        self._pieces: dict[str, list[tuple[int, int, int]]] = {}  # of each net: row, first and last column

    def place(self) -> StripBoard:
        """Packages first, because they cut strips; then transistors, then what is long."""
        for row, names in enumerate(ROWS):
            if len(names) == 1:
                self._pieces.setdefault(names[0], []).append((row, 0, COLUMNS - 1))
        for package in ("IC1", "IC2"):
            self._package(package)
        for net in TERMINALS:
            self._terminal(net)
        rest = [part for part in (*PARTS, *BESIDE) if part.kind not in ("COMPARATOR", "COIL")]
        for part in sorted(rest, key=lambda part: (part.kind not in IN_A_ROW, -self._span(part))):
            self._part(part)
        for net in self._pieces:
            self._link(net)
        return self.board

    def _terminal(self, net: str) -> None:
        row = next(row for row, first, last in self._pieces[net] if (first, last) == (0, COLUMNS - 1))
        self.board.terminals[net] = (row, 0)
        self._taken.add((row, 0))

    def _package(self, package: str) -> None:
        first = ROWS.index((package, "0"))
        inside = {part.ref[-1]: part for part in (*PARTS, *BESIDE) if part.ref.startswith(package)}
        nets = {PIN_OF[half][pin]: net for half, part in inside.items() for pin, net in enumerate(part.nets)}
        left, right = IC_COLUMN, IC_COLUMN + IC_WIDE
        holes = {}
        for at in range(4):
            row = first + at
            self.board.cuts.append((row, IC_COLUMN + 1))
            for pin, column, low, high in ((LEFT_PINS[at], left, 0, left), (RIGHT_PINS[at], right, left + 2,
                                                                           COLUMNS - 1)):
                holes[pin] = (row, column)
                if nets[pin]:
                    self._pieces.setdefault(nets[pin], []).append((row, low, high))
            self._taken |= {(row, column) for column in range(left, right + 1)}
        pins = sorted(holes)
        self.board.parts.append(Placed(package, tuple(holes[pin] for pin in pins), tuple(nets[pin] for pin in pins)))

    def _span(self, part: Part) -> int:
        choices = self._choices(part)
        return min(max(rows) - min(rows) for rows, _, _ in choices)

    def _choices(self, part: Part) -> list[tuple[tuple[int, ...], int, int]]:
        """The rows that its pins may have, with the columns that all of these strips share; the shortest first."""
        choices: list[tuple[tuple[int, ...], int, int]] = [((), 0, COLUMNS - 1)]
        for net in part.nets:
            choices = [(((*rows, row)), max(low, first), min(high, last))
                       for rows, low, high in choices for row, first, last in self._pieces[net]]
        found = [each for each in choices if each[1] <= each[2] and len(set(each[0])) == len(each[0])]
        if part.kind in IN_A_ROW:
            found = [each for each in found if self._fits_legs(part, each[0])]
        near = ROWS.index((NEAR[part.ref], "0")) if part.ref in NEAR else None
        return sorted(found, key=lambda each: max(each[0]) - min(each[0]) if near is None else
                      sum(abs(row - near) for row in each[0]))

    @staticmethod
    def _fits_legs(part: Part, rows: tuple[int, ...]) -> bool:
        legs = [rows[pin] for pin in IN_A_ROW[part.kind]]
        return [abs(legs[0] - legs[1]), abs(legs[1] - legs[2]), abs(legs[0] - legs[2])] == [1, 1, 2]

    def _part(self, part: Part) -> None:
        wide = ROOM.get(part.ref, WIDE.get(part.kind, 1))
        for rows, low, high in self._choices(part):
            for column in range(max(low, 1) + wide // 2, high + 1 - wide // 2):
                body = {(row, at) for row in range(min(rows), max(rows) + 1)
                        for at in range(column - wide // 2, column + wide // 2 + 1 + NAME_WIDE)}
                if not body & self._taken:
                    self._taken |= body
                    self.board.parts.append(Placed(part.ref, tuple((row, column) for row in rows), part.nets))
                    return
        raise ValueError(f"{part.ref}: no column is free for it; make the board wider than {COLUMNS}")

    def _link(self, net: str) -> None:
        """Join the pieces of a net by straight wires, each to the nearest that is joined already."""
        first, *others = self._pieces[net]
        joined = [first]
        for piece in sorted(others, key=lambda piece: abs(piece[0] - first[0])):
            self.board.links.append(self._wire(net, piece, joined))
            joined.append(piece)

    def _wire(self, net: str, piece: tuple[int, int, int], joined: list[tuple[int, int, int]]) -> tuple[Hole, Hole]:
        for other in sorted(joined, key=lambda other: abs(other[0] - piece[0])):
            for column in range(max(piece[1], other[1], 1), min(piece[2], other[2]) + 1):
                rows = range(min(piece[0], other[0]), max(piece[0], other[0]) + 1)
                if not {(row, column) for row in rows} & self._taken:
                    self._taken |= {(row, column) for row in rows}
                    return (piece[0], column), (other[0], column)
        raise ValueError(f"{net}: no column is free for a link; make the board wider than {COLUMNS}")


def strip_board() -> StripBoard:
    """The gate, placed."""
    return _Placer().place()
