"""The chart of a hold as an inline SVG: chocolate and water, the window, the ceiling. No script, no fetched library."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from bainwright.core.terminal import visible
from bainwright.core.units import clock_words
from bainwright.display.scene import Sample

WIDTH, HEIGHT = 440, 260  # of the drawing, near the width of a phone, so that letters stay readable; the page scales it
LEFT, RIGHT, TOP, BOTTOM = 26, 112, 12, 24  # room for the axis, the names of the lines, the times
BELOW_C, ABOVE_C = 2.0, 1.5  # shown below the window and above the ceiling, chosen: the window fills the chart
NAME_GAP = 16.0  # between the names of two lines
TICKS_S = (300, 600, 900, 1800, 3600, 7200, 10800, 21600)
MOST_TICKS = 5
TICKS_C, MOST_TICKS_C = (1, 2, 5, 10, 50), 9
MOST_POINTS = 720  # of a line; a phone has no more dots across


def chart(
    samples: Sequence[Sample],
    window: tuple[float, float, float],
    *,
    bath: str,
    label: str,
    events: Iterable[tuple[float, str]] = (),
) -> str:
    """Draw samples as an SVG.

    Parameters
    ----------
    samples : sequence of (s, °C or None, °C or None)
        Time, water and chocolate; None breaks a line.
    window : tuple of float
        Low and high end of the chocolate's window and the water's ceiling, °C.
    bath : str
        What is under the bowl: water or plate.
    label : str
        What the drawing shows, for those who hear it read out.
    events : iterable of (s, str)
        Marked at the bottom, with their words as a title.

    Returns
    -------
    str
        The SVG; empty for fewer than two samples.
    """
    if len(samples) < 2:
        return ""
    scale = _Scale(samples, window)
    parts = [
        f'<svg class="chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(label)}">',
        *_background(scale, window),
        *_axis(scale),
        *(_mark(scale, t_s, text) for t_s, text in events if scale.from_s <= t_s <= scale.to_s),
        _line(scale, samples, 1, "water"),
        _line(scale, samples, 2, "chocolate"),
        *_names(scale, samples, window[2], bath),
        "</svg>",
    ]
    return "".join(parts)


def thinned(samples: Sequence[Sample], most: int = MOST_POINTS) -> Sequence[Sample]:
    """About so many samples, evenly taken; the last one is among them, and each one that breaks the lines."""
    step = -(-len(samples) // most)
    if step <= 1:
        return samples
    return [each for at, each in enumerate(samples, 1 - len(samples)) if at % step == 0 or each[1:] == (None, None)]


class _Scale:
    """From seconds and °C to the drawing's own units."""

    def __init__(self, samples: Sequence[Sample], window: tuple[float, float, float]) -> None:
        low_c, _, ceiling_c = window
        measured = [temp_c for sample in samples for temp_c in sample[1:] if temp_c is not None]
        self.from_s, self.to_s = samples[0][0], max(samples[-1][0], samples[0][0] + 60.0)
        self.low_c, self.high_c = min(low_c - BELOW_C, *measured), max(ceiling_c + ABOVE_C, *measured)

    def x(self, t_s: float) -> float:
        return LEFT + (t_s - self.from_s) / (self.to_s - self.from_s) * (WIDTH - LEFT - RIGHT)

    def y(self, temp_c: float) -> float:
        share = (temp_c - self.low_c) / (self.high_c - self.low_c)
        return TOP + (1.0 - share) * (HEIGHT - TOP - BOTTOM)


def _background(scale: _Scale, window: tuple[float, float, float]) -> list[str]:
    low_c, high_c, ceiling_c = window
    top, bottom, right = scale.y(high_c), scale.y(low_c), WIDTH - RIGHT
    return [
        f'<rect class="window" x="{LEFT}" y="{top:.1f}" width="{right - LEFT}" height="{bottom - top:.1f}"/>',
        f'<path class="ceiling" d="M{LEFT} {scale.y(ceiling_c):.1f}H{right}"/>',
    ]


def _axis(scale: _Scale) -> list[str]:
    parts = []
    step_c = next((step for step in TICKS_C if (scale.high_c - scale.low_c) / step < MOST_TICKS_C), TICKS_C[-1])
    for temp_c in range((int(scale.low_c) // step_c + 1) * step_c, int(scale.high_c) + 1, step_c):
        y = scale.y(temp_c)
        parts.append(f'<path class="grid" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>')
        parts.append(f'<text class="tick" x="{LEFT - 5}" y="{y + 4:.1f}" text-anchor="end">{temp_c}</text>')
    step_s = next((step for step in TICKS_S if (scale.to_s - scale.from_s) / step <= MOST_TICKS), TICKS_S[-1])
    t_s = -(-int(scale.from_s) // step_s) * step_s
    while t_s <= scale.to_s:
        hours = clock_words(t_s)[:-3]  # without the seconds
        parts.append(f'<text class="tick" x="{scale.x(t_s):.1f}" y="{HEIGHT - 6}" text-anchor="middle">{hours}</text>')
        t_s += step_s
    return parts


def _mark(scale: _Scale, t_s: float, text: str) -> str:
    """A moment at which something happened."""
    x, bottom, words = scale.x(t_s), HEIGHT - BOTTOM, f"{clock_words(t_s)} {escape(visible(text))}"
    return f'<path class="mark" d="M{x:.1f} {bottom}v-9"><title>{words}</title></path>'


def _line(scale: _Scale, samples: Sequence[Sample], column: int, name: str) -> str:
    """One line; a sample without a value lifts the pen."""
    path, drawing = [], False
    for sample in thinned(samples):
        temp_c = sample[column]
        if temp_c is None:
            drawing = False
            continue
        path.append(f"{'L' if drawing else 'M'}{scale.x(sample[0]):.1f} {scale.y(temp_c):.1f}")
        drawing = True
    return f'<path class="{name}" d="{"".join(path)}"/>'


def _names(scale: _Scale, samples: Sequence[Sample], ceiling_c: float, bath: str) -> list[str]:
    """Each line's name at its right end, moved apart so that none covers another."""
    ends = [("ceiling", ceiling_c), *(
        (name, temp_c) for name, column in (("water", 1), ("chocolate", 2))
        if (temp_c := samples[-1][column]) is not None
    )]
    parts, above, x = [], -NAME_GAP, WIDTH - RIGHT + 6
    for name, temp_c in sorted(ends, key=lambda end: -end[1]):
        above = max(scale.y(temp_c), above + NAME_GAP)
        said = bath if name == "water" else name
        parts.append(f'<text class="name {name}" x="{x}" y="{above + 4:.1f}">{escape(said)} {temp_c:.1f}</text>')
    return parts
