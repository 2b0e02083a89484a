"""The last hour as a curve of text: chocolate and water on one grid, with the window shaded and the ceiling marked."""

from __future__ import annotations

from collections.abc import Iterable

from bainwright.display.scene import CURVE_S, Scene

CHOCOLATE, WATER, CEILING, WINDOW, NOTHING = "●", "∙", "╌", "▒", " "
LABEL_CELLS = 7
LEAST_RANGE_C = 4.0


def curve_rows(scene: Scene, cells: int, rows: int) -> list[tuple[str, str]]:
    """The curve, top row first.

    Parameters
    ----------
    scene : Scene
        What to show; its `curve` has the samples.
    cells, rows : int
        The space, labels included.

    Returns
    -------
    list of (str, str)
        For each row its label (°C, or empty) and a string of glyphs: chocolate over water over ceiling over window.
    """
    low_c, high_c = _range_c(scene)
    width = cells - LABEL_CELLS
    step_c = (high_c - low_c) / max(1, rows - 1)

    def row_of(temp_c: float) -> int:
        return min(rows - 1, max(0, round((high_c - temp_c) / step_c)))

    grid = [[NOTHING] * width for _ in range(rows)]
    for row in range(row_of(scene.window.high_c), row_of(scene.window.low_c) + 1):
        grid[row] = [WINDOW] * width
    if low_c <= scene.window.ceiling_c <= high_c:
        grid[row_of(scene.window.ceiling_c)] = [CEILING] * width
    for glyph, column in ((WATER, 1), (CHOCOLATE, 2)):
        for sample in scene.curve:
            temp_c = sample[column]
            if temp_c is not None:
                grid[row_of(temp_c)][_cell(scene, sample[0], width)] = glyph
    marks_c = (high_c, low_c, scene.window.low_c, scene.window.high_c)
    labels = {row_of(temp_c): f"{temp_c:5.1f}" for temp_c in marks_c}
    return [(labels.get(row, "").ljust(LABEL_CELLS), "".join(line)) for row, line in enumerate(grid)]


def _cell(scene: Scene, t_s: float, width: int) -> int:
    """The column of a moment: the present is at the right end."""
    return max(0, width - 1 - int((scene.t_s - t_s) / CURVE_S * width))


def _range_c(scene: Scene) -> tuple[float, float]:
    """From the coldest to the warmest of the hour, window included, whole degrees."""
    known = [temp_c for sample in scene.curve for temp_c in sample[1:] if temp_c is not None]
    low_c, high_c = _ends([*known, scene.window.low_c, scene.window.high_c])
    return (low_c, high_c) if high_c - low_c >= LEAST_RANGE_C else (low_c - 1.0, high_c + 1.0)


def _ends(temps_c: Iterable[float]) -> tuple[float, float]:
    temps_c = list(temps_c)
    return float(int(min(temps_c))), float(int(max(temps_c)) + 1)
