"""Digits to read from across the kitchen: our own 5 x 7 figures, scaled to the space available."""

from __future__ import annotations

FIGURES = {
    "0": (".###.", "#...#", "#...#", "#...#", "#...#", "#...#", ".###."),
    "1": ("..#..", ".##..", "..#..", "..#..", "..#..", "..#..", ".###."),
    "2": (".###.", "#...#", "....#", "..##.", ".#...", "#....", "#####"),
    "3": ("####.", "....#", "....#", ".###.", "....#", "....#", "####."),
    "4": ("#..#.", "#..#.", "#..#.", "#####", "...#.", "...#.", "...#."),
    "5": ("#####", "#....", "####.", "....#", "....#", "#...#", ".###."),
    "6": ("..##.", ".#...", "#....", "####.", "#...#", "#...#", ".###."),
    "7": ("#####", "....#", "...#.", "...#.", "..#..", "..#..", "..#.."),
    "8": (".###.", "#...#", "#...#", ".###.", "#...#", "#...#", ".###."),
    "9": (".###.", "#...#", "#...#", ".####", "....#", "...#.", ".##.."),
    ".": ("..", "..", "..", "..", "..", "##", "##"),
    "-": (".....", ".....", ".....", "#####", ".....", ".....", "....."),
}
GAP = 1  # columns of the grid between two figures
ROWS = 7


def big_text(text: str, width: int, height: int) -> list[str]:
    """Figures as rows of blocks.

    Parameters
    ----------
    text : str
        Digits, points and dashes.
    width, height : int
        The space in terminal cells, which are about twice as high as wide.

    Returns
    -------
    list of str
        Rows of at most `width` cells; the plain text where there is no space for figures.
    """
    columns = sum(len(FIGURES[letter][0]) for letter in text) + GAP * (len(text) - 1)
    high = min(height // ROWS, width // columns)
    if high < 1:
        return [text]
    wide = min(width // columns, 2 * high)
    grid = [(GAP * ".").join(FIGURES[letter][row] for letter in text) for row in range(ROWS)]
    return ["".join(("█" if dot == "#" else " ") * wide for dot in line).rstrip() for line in grid for _ in range(high)]
