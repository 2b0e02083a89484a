"""A chocolate's temperature through an evening, drawn in characters."""

from __future__ import annotations

from itertools import pairwise

from bainwright.core.masses import Shown
from bainwright.files.chocolate import Profile

WIDTH, HEIGHT = 60, 17
COLD_C = 20.0  # the room, where a chocolate starts
CHOCOLATE, BAND, CEILING, NEVER = "●", "░", "┄", "═"

# Corners as shares of the width, and where each step's name begins.
_TEMPERED = ((0.0, COLD_C), (0.26, "melt_c"), (0.30, "melt_c"), (0.42, "high_c"), (0.50, "target_c"), (1.0, "target_c"))
_MELTED = ((0.0, COLD_C), (0.35, "target_c"), (1.0, "target_c"))
_STEPS = ((0.08, "melt"), (0.32, "seed"), (0.46, "settle, test"), (0.74, "work"))
_NIGHT = ((0.1, "melt"), (0.55, "held melted"))


def short(temp_c: float, shown: Shown) -> str:
    """A temperature without needless digits: a bag in °F gives hundredths of a °C that nobody measures."""
    return f"{round(shown.degrees(temp_c), 1):g} {shown.degree}"


def draw(profile: Profile, shown: Shown) -> list[str]:
    """The picture, a line each: degrees on the left, the steps below, the window as a band.

    Parameters
    ----------
    profile : Profile
        The chocolate.
    shown : Shown
        °C or °F.
    """
    tempered = profile.kind != "melted"
    corners = [(x, temp if isinstance(temp, float) else float(getattr(profile, temp)))
               for x, temp in (_TEMPERED if tempered else _MELTED)]
    top_c = profile.never_above_c + 1.0
    rows = [[" "] * WIDTH for _ in range(HEIGHT)]
    _band(rows, profile, top_c)
    for column in range(WIDTH):
        row = rows[_row(_at(corners, column / (WIDTH - 1)), top_c)]
        if row[column] != BAND or column % 2:  # the window is narrower than two lines: show both
            row[column] = CHOCOLATE
    lines = [f"{_label(profile, row, top_c, shown):>8} {''.join(cells)}".rstrip() for row, cells in enumerate(rows)]
    return [*lines, " " * 9 + _names(_STEPS if tempered else _NIGHT), *_legend(profile, shown)]


def _row(temp_c: float, top_c: float) -> int:
    share = (top_c - temp_c) / (top_c - COLD_C)
    return min(HEIGHT - 1, max(0, round(share * (HEIGHT - 1))))


def _at(corners: list[tuple[float, float]], x: float) -> float:
    for (x0, temp0), (x1, temp1) in pairwise(corners):
        if x <= x1:
            return temp0 + (temp1 - temp0) * (x - x0) / (x1 - x0)
    return corners[-1][1]


def _band(rows: list[list[str]], p: Profile, top_c: float) -> None:
    start = round(WIDTH * (0.42 if p.kind != "melted" else 0.35))
    for row in range(_row(p.high_c, top_c), _row(p.low_c, top_c) + 1):
        rows[row][start:] = BAND * (WIDTH - start)
    rows[_row(p.ceiling_c, top_c)][start:] = CEILING * (WIDTH - start)
    rows[_row(p.never_above_c, top_c)][:] = NEVER * WIDTH


def _label(p: Profile, row: int, top_c: float, shown: Shown) -> str:
    """The figure of this row; the target first."""
    figures = (p.target_c, p.melt_c, p.never_above_c, p.ceiling_c, COLD_C)
    return next((short(temp_c, shown) for temp_c in figures if _row(temp_c, top_c) == row), "")


def _names(steps: tuple[tuple[float, str], ...]) -> str:
    line = [" "] * (WIDTH + 12)
    for x, name in steps:
        at = round(x * WIDTH)
        line[at : at + len(name)] = name
    return "".join(line).rstrip()


def _legend(p: Profile, shown: Shown) -> list[str]:
    window = f"{short(p.low_c, shown).split()[0]} to {short(p.high_c, shown)}"
    return [
        f"         {CHOCOLATE} chocolate   {BAND} window {window}   {CEILING} the bowl's wall at most "
        f"{short(p.ceiling_c, shown)}",
        f"         {NEVER} never above {short(p.never_above_c, shown)}, not even melting",
    ]
