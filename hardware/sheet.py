"""A schemdraw sheet with the few gestures that the circuits of this folder need, and the pins as they are written."""

from __future__ import annotations

from itertools import pairwise

import schemdraw
from schemdraw import elements as elm

from bainboard import pins

PINS: dict[str, int] = pins.RP2

# Where a GPIO comes out on the 40-pin board of a Raspberry Pi Pico (its pinout, from memory).
HEADER = {
    0: 1, 1: 2, 2: 4, 3: 5, 4: 6, 5: 7, 6: 9, 7: 10, 8: 11, 9: 12, 10: 14, 11: 15, 12: 16, 13: 17, 14: 19, 15: 20,
    16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34,
}

Point = tuple[float, float]
TEXT, SMALL = 12.0, 10.5  # points before the sheet is fitted to A3; in print they are 6 and 5 points


def pin_text(name: str) -> str:
    """A pin as the drawing writes it: GPIO, the firmware's name, place on the board's edge."""
    return f"GP{PINS[name]} {name} · pin {HEADER[PINS[name]]}"


class Sheet:
    """A schemdraw drawing with the few gestures this circuit needs, all at absolute places."""

    def __init__(self) -> None:
        schemdraw.svgconfig.text = "text"  # words stay words: small, searchable, and testable
        self.drawing = schemdraw.Drawing(canvas="svg", show=False)
        self.drawing.config(fontsize=TEXT, lw=1.2, font="DejaVu Sans,sans-serif", margin=0.4)

    def part(self, element: elm.Element2Term, start: Point, end: Point, text: str = "", side: str = "top") -> None:
        """A two-ended part between two points."""
        element.endpoints(start, end)
        if text:
            element.label(text, loc=side, fontsize=TEXT)
        self.drawing.add(element)

    def wire(self, *points: Point) -> None:
        """A wire through points."""
        for start, end in pairwise(points):
            self.drawing.add(elm.Line().endpoints(start, end))

    def dot(self, *points: Point) -> None:
        """Joints."""
        for point in points:
            self.drawing.add(elm.Dot().at(point))

    def joint(self, *points: Point) -> None:
        """Places that come apart: plugs and links."""
        for point in points:
            self.drawing.add(elm.Dot(open=True).at(point))

    def test_point(self, point: Point, ref: str, aside: Point = (0.12, 0.42)) -> None:
        """A place for a meter's tip: a square with its name."""
        x, y = point
        self.drawing.add(elm.Rect(corner1=(x - 0.13, y - 0.13), corner2=(x + 0.13, y + 0.13)).at((0, 0)).theta(0).fill(
            "black"))
        self.words((x + aside[0], y + aside[1]), ref, SMALL)

    def ground(self, *points: Point) -> None:
        """0 V."""
        for point in points:
            self.drawing.add(elm.GroundSignal().at(point))

    def rail(self, point: Point, text: str) -> None:
        """A supply rail."""
        self.drawing.add(elm.Vdd().at(point).label(text, fontsize=TEXT))

    def tag(self, point: Point, text: str, *, leftward: bool = True) -> None:
        """A named net that ends here and comes back elsewhere under the same name."""
        tag = elm.Tag(width=0.6 + 0.0152 * TEXT * len(text), height=0.66).at(point).label(text, fontsize=TEXT)
        self.drawing.add(tag.left() if leftward else tag.right())

    def words(
        self, point: Point, text: str, size: float = TEXT, *, colour: str = "black", middle: bool = False
    ) -> None:
        """Free words, their left end at the point."""
        across = "center" if middle else "left"
        label = elm.Label().at(point).label(text, fontsize=size, color=colour, halign=across, valign="center")
        self.drawing.add(label)

    def frame(self, low: Point, high: Point, title: str, *, colour: str = "dimgray") -> None:
        """A dashed frame with its title over its top left corner."""
        self.drawing.add(elm.Rect(corner1=low, corner2=high).at((0, 0)).theta(0).linestyle("--").color(colour))
        self.words((low[0] + 0.1, high[1] + 0.35), title, 13, colour=colour)

    def box(self, low: Point, high: Point, text: str, size: float = TEXT) -> None:
        """A box with words in its middle."""
        self.drawing.add(elm.Rect(corner1=low, corner2=high).at((0, 0)).theta(0))
        self.words(((low[0] + high[0]) / 2, (low[1] + high[1]) / 2), text, size, middle=True)

    def mosfet(self, drain: Point) -> tuple[Point, Point]:
        """An n-channel MOSFET hanging from its drain: (gate, source)."""
        fet = self.drawing.add(elm.NMos().at(drain).anchor("drain").theta(0))
        return tuple(fet.gate), tuple(fet.source)
