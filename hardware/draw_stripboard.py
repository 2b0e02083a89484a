"""Draws the strip-board of the heartbeat gate, from both sides.

    python hardware/draw_stripboard.py
"""

from __future__ import annotations

from html import escape
from pathlib import Path

from gate_circuit import BESIDE, BY_REF
from stripboard import COLUMNS, IN_A_ROW, ROWS, Hole, Placed, StripBoard, strip_board

SHEET = Path(__file__).with_name("gate-stripboard.svg")
PITCH_MM = 2.54
SCALE = 1.7  # of the side with the parts; the other is full size
LEFT_MM, TOP_MM = 24.0, 29.0
CAUTION = "A hobby build, not certified. Read SAFETY.md first; local electrical codes override this."


class _View:
    """One view of the board in SVG: millimetres on paper from rows and columns."""

    def __init__(self, x_mm: float, y_mm: float, scale: float, mirrored: bool) -> None:
        self.x_mm, self.y_mm, self.step, self.mirrored = x_mm, y_mm, PITCH_MM * scale, mirrored
        self.lines: list[str] = []

    def at(self, hole: Hole) -> tuple[float, float]:
        row, column = hole
        across = COLUMNS - 1 - column if self.mirrored else column
        return self.x_mm + across * self.step, self.y_mm + row * self.step

    def strip(self, piece: list[Hole]) -> None:
        if piece:
            (x1, y), (x2, _) = sorted([self.at(piece[0]), self.at(piece[-1])])
            half = 0.36 * self.step
            self.lines.append(f'<rect x="{x1 - half:.2f}" y="{y - half:.2f}" width="{x2 - x1 + 2 * half:.2f}" '
                              f'height="{2 * half:.2f}" fill="#e4e4e4"/>')

    def holes(self) -> None:
        for row in range(len(ROWS)):
            for column in range(COLUMNS):
                x, y = self.at((row, column))
                self.lines.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{0.1 * self.step:.2f}" fill="white"/>')

    def numbers(self) -> None:
        """Holes counted along the upper edge, strips down the right one, from 1."""
        for column in (0, *range(4, COLUMNS, 5)):
            x, y = self.at((0, column))
            self.words(x, y - 1.3 * PITCH_MM, str(column + 1), 1.9)
        for row in range(len(ROWS)):
            x = self.x_mm + (COLUMNS - 0.2) * self.step
            self.words(x, self.at((row, 0))[1], str(row + 1), 1.7, anchor="start")

    def line(self, one: Hole, other: Hole, width: float, dash: str = "") -> None:
        (x1, y1), (x2, y2) = self.at(one), self.at(other)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.lines.append(f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" stroke="black" '
                          f'stroke-width="{width:g}"{dashed}/>')

    def dot(self, hole: Hole) -> None:
        x, y = self.at(hole)
        self.lines.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{0.17 * self.step:.2f}" fill="black"/>')

    def cross(self, hole: Hole) -> None:
        x, y = self.at(hole)
        half = 0.36 * self.step
        for sign in (1, -1):
            self.lines.append(f'<line x1="{x - half:.2f}" y1="{y - sign * half:.2f}" x2="{x + half:.2f}" '
                              f'y2="{y + sign * half:.2f}" stroke="black" stroke-width="0.5"/>')

    def body(self, low: Hole, high: Hole, text: str, *, grow: float = 0.3) -> None:
        (x1, y1), (x2, y2) = self.at(low), self.at(high)
        edge = grow * self.step
        self.lines.append(f'<rect x="{x1 - edge:.2f}" y="{y1 - edge:.2f}" width="{x2 - x1 + 2 * edge:.2f}" '
                          f'height="{y2 - y1 + 2 * edge:.2f}" fill="white" stroke="black" stroke-width="0.3"/>')
        self.words(x2 + edge + 0.42 * self.step, (y1 + y2) / 2, text, 2.3, upright=True, weight="bold")

    def words(self, x: float, y: float, text: str, size: float = 2.1, *, upright: bool = False, anchor: str = "middle",
              weight: str = "normal") -> None:
        turned = f' transform="rotate(-90 {x:.2f} {y:.2f})"' if upright else ""
        self.lines.append(f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" text-anchor="{anchor}" '
                          f'dominant-baseline="central" font-weight="{weight}"{turned}>{escape(text)}</text>')


def _shown(part: Placed, view: _View) -> None:
    """A part: its body between its holes, its name on it, a mark at pin 1 or at the cathode."""
    rows, columns = zip(*part.holes, strict=True)
    low, high = (min(rows), min(columns)), (max(rows), max(columns))
    kind = BY_REF[part.ref].kind if part.ref in BY_REF else next((p.kind for p in BESIDE if p.ref == part.ref), "IC")
    if kind == "IC":
        view.body(low, high, "")
        (x1, y1), (x2, y2) = view.at(low), view.at(high)
        view.words(x1 + 0.72 * (x2 - x1), (y1 + y2) / 2, part.ref, 2.3, upright=True, weight="bold")
        view.words(*_beside(view, part.holes[0], -0.62, 0.0), "1", 1.9)
    elif kind in IN_A_ROW:
        wide = 1 if kind == "NMOS" else 0
        view.body((low[0], low[1] - wide), (high[0], high[1] + wide), part.ref)
        for pin, name in enumerate(("C", "B", "E") if kind == "PNP" else ("D", "G", "S")):
            view.words(*_beside(view, part.holes[pin], -0.62, 0.0), name, 1.9)
    else:
        view.line(*part.holes, 0.3)
        inset = 0 if high[0] - low[0] < 3 else 1
        wide = 1 if kind == "C" and part.ref.startswith("C1") else 0
        view.body((low[0] + inset, low[1] - wide), (high[0] - inset, high[1] + wide), part.ref)
        if kind == "D":  # a bar at the cathode
            x, y = view.at(part.holes[1])
            view.lines.append(f'<line x1="{x - 1.4:.2f}" y1="{y:.2f}" x2="{x + 1.4:.2f}" y2="{y:.2f}" stroke="black" '
                              'stroke-width="0.9"/>')
    for hole in part.holes:
        view.dot(hole)


def _beside(view: _View, hole: Hole, across: float, down: float) -> tuple[float, float]:
    x, y = view.at(hole)
    return x + across * view.step, y + down * view.step


def _top(board: StripBoard) -> list[str]:
    view = _View(LEFT_MM, TOP_MM, SCALE, mirrored=False)
    for piece in board.strips():
        view.strip(piece)
    view.holes()
    view.numbers()
    for one, other in board.links:
        view.line(one, other, 0.9)
        view.dot(one)
        view.dot(other)
    for part in board.parts:
        _shown(part, view)
    for net, hole in board.terminals.items():
        view.dot(hole)
        view.words(*_beside(view, hole, -0.6, 0.0), {"0": "0 V", "vcc": "3.3 V", "24v_k": "24 V K"}.get(net, net), 3.0,
                   anchor="end", weight="bold")
    for cut in board.cuts:
        view.cross(cut)
    return view.lines


def _bottom(board: StripBoard, y_mm: float) -> list[str]:
    view = _View(LEFT_MM, y_mm, 1.0, mirrored=True)
    for piece in board.strips():
        view.strip(piece)
    view.holes()
    view.numbers()
    for hole in [hole for part in board.parts for hole in part.holes] + [hole for pair in board.links for hole in pair]:
        view.dot(hole)
    for hole in board.terminals.values():
        view.dot(hole)
    for cut in board.cuts:
        view.cross(cut)
    return view.lines


def draw() -> str:
    """The sheet as SVG text, A4."""
    board = strip_board()
    under_mm = TOP_MM + len(ROWS) * PITCH_MM * SCALE + 12.0
    words = _View(LEFT_MM, 0.0, 1.0, mirrored=False)
    said = [
        (10.0, 4.6, "bold", "Heartbeat gate on strip-board"),
        (16.0, 3.2, "normal", CAUTION),
        (21.0, 3.2, "normal", f"Side with the parts, {SCALE:g} times full size; {len(ROWS)} strips of {COLUMNS} holes, "
         "2.54 mm. Thick lines: links. Crosses: cut under the ICs."),
        (under_mm - 7.0, 3.2, "normal", "Copper side, full size, mirrored: cut at the crosses, look for bridges."),
    ]
    for y, size, weight, text in said:
        words.words(10.0, y, text, size, anchor="start", weight=weight)
    beside = LEFT_MM + COLUMNS * PITCH_MM + 8.0
    notes = ("Values: table of the gate's parts.", "Bars: cathodes. ICs in sockets.",
             "K1, the lamps and Q1 are off the",
             "board; R14 and R15 sit at Q1 itself.", "J1: two pins and a jumper.", "A part between neighbours stands",
             "upright. Q2's tab is its drain: let it", "touch nothing.")
    for at, text in enumerate(notes):
        words.words(beside, under_mm + 5.0 + 5.0 * at, text, 3.2, anchor="start")
    lines = ['<rect width="210" height="297" fill="white"/>', *words.lines, *_top(board), *_bottom(board, under_mm)]
    return ('<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="297mm" viewBox="0 0 210 297" '
            'font-family="DejaVu Sans,sans-serif">\n' + "\n".join(lines) + "\n</svg>\n")


if __name__ == "__main__":
    SHEET.write_text(draw(), encoding="utf-8")
