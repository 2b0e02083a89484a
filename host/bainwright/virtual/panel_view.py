"""A virtual board's panel: display, lamps and buzzer as text and as a picture, and keys for its buttons."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard import pins
from bainwright.core.atomic_write import save_file
from bainwright.virtual.standins._shared import (
    DISPLAY_FLIPPED,
    DISPLAY_INVERSE,
    DISPLAY_MIRRORED,
    DISPLAY_ON,
    DISPLAY_PUMP,
)

WIDTH, HEIGHT = 128, 64
LAMPS = ("lamp_below", "lamp_in", "lamp_above")
LAMP_WORDS = ("below", "in", "above")
COLUMNS = 80  # width of the terminal that this fits
ROWS_FOR_BLOCKS = 44  # terminals this high get block characters, which are sharper; lower ones Braille, half as high
SHORT_MS, LONG_MS, HELD_MS = 300, 1600, 3600  # a short press, a long one, one of three seconds
WIDE = WIDTH // 2  # the display's width in characters of either kind

# key: (buttons pressed together, ms, what it does)
KEYS: dict[str, tuple[tuple[str, ...], int, str]] = {
    "y": (("yes",), SHORT_MS, "yes: done, passed"),
    "r": (("yes",), LONG_MS, "yes long: refill coming"),
    "n": (("no",), SHORT_MS, "no: failed, it thickens"),
    "w": (("no",), LONG_MS, "no long: water pause"),
    "l": (("yes", "no"), HELD_MS, "both 3 s: lock or unlock"),
    "c": (("recessed",), HELD_MS, "recessed 3 s: stop; clear a trip"),
}

# Quarters of a cell by their bits: upper left 1, upper right 2, lower left 4, lower right 8.
BLOCKS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
BRAILLE = 0x2800
BRAILLE_BITS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))  # the dots of a cell, row by row

# The slate case and pale blue display are our own; the lamps are those of the build in hardware/, left to right.
CASE, SCREEN, DOT, PRINT, DIM = "#3b4148", "#0d1014", "#bfe6ff", "#f1ede4", "#5a626b"
LAMP_COLOURS = ("#e6c34a", "#46b89a", "#e0574f")


@dataclass(frozen=True)
class PanelView:
    """What a person at the warmer sees and hears.

    Attributes
    ----------
    dots : ndarray of bool
        The display, row by row from the top; all False when it is off.
    lamps : tuple of bool
        Below, in and above the window.
    buzzer : bool
        Whether it sounds.
    fitted : bool
        Whether there is a display.
    """

    dots: NDArray[np.bool_]
    lamps: tuple[bool, ...]
    buzzer: bool
    fitted: bool

    def __eq__(self, other: object) -> bool:
        return isinstance(other, PanelView) and self._key() == other._key()

    def __hash__(self) -> int:
        return hash(self._key())

    def _key(self) -> tuple[Any, ...]:
        return self.dots.tobytes(), self.lamps, self.buzzer, self.fitted


def read_panel(board: Any) -> PanelView:
    """A virtual board's panel at this moment.

    Parameters
    ----------
    board : VirtualBoard
        The board.
    """
    fitted, state, memory = board.display()
    levels = board.report()["pins"]
    wired = pins.RP2
    return PanelView(dots_of(state, memory), tuple(bool(levels[wired[name]]) for name in LAMPS),
                 bool(levels[wired["buzzer"]]), fitted)


def dots_of(state: int, memory: bytes) -> NDArray[np.bool_]:
    """The display as a person sees it, plug on top, from its controller's state and memory.

    Parameters
    ----------
    state : int
        Bits of ``standins._shared``, DISPLAY_ON and so on.
    memory : bytes
        Eight rows of 128 columns of eight dots, the lowest bit on top.
    """
    columns = np.frombuffer(memory, np.uint8).reshape(HEIGHT // 8, WIDTH)
    dots = np.unpackbits(columns[:, None, :], axis=1, bitorder="little").reshape(HEIGHT, WIDTH).astype(bool)
    if not state & DISPLAY_ON or not state & DISPLAY_PUMP:
        return np.zeros_like(dots)
    if state & DISPLAY_INVERSE:
        dots = ~dots
    if not state & DISPLAY_MIRRORED:
        dots = dots[:, ::-1]
    return dots if state & DISPLAY_FLIPPED else dots[::-1]


def blocks(dots: NDArray[np.bool_]) -> list[str]:
    """The dots as block characters of two by two dots: 64 x 32 of them."""
    bits = dots[::2, ::2] + 2 * dots[::2, 1::2] + 4 * dots[1::2, ::2] + 8 * dots[1::2, 1::2]
    return ["".join(BLOCKS[bit] for bit in row) for row in bits]


def braille(dots: NDArray[np.bool_]) -> list[str]:
    """The dots as Braille characters of two by four dots: 64 x 16 of them, for a low terminal."""
    bits = sum(BRAILLE_BITS[y][x] * dots[y::4, x::2].astype(int) for y in range(4) for x in range(2))
    return ["".join(chr(BRAILLE + bit) for bit in row) for row in np.asarray(bits)]


def text(view: PanelView, height: int) -> list[str]:
    """The panel as lines of at most 80 characters.

    Parameters
    ----------
    view : PanelView
        What is seen.
    height : int
        Rows of the terminal.

    Returns
    -------
    list of str
        Display, lamps, buzzer, and the keys.
    """
    lamps = "   ".join(f"{'●' if lit else '○'} {word}" for lit, word in zip(view.lamps, LAMP_WORDS, strict=True))
    sound = "♪ buzzer" if view.buzzer else "  buzzer"
    lines = [f"  {lamps}{sound:>{WIDE - len(lamps)}}"]
    if view.fitted:
        rows = blocks(view.dots) if height >= ROWS_FOR_BLOCKS else braille(view.dots)
        top, bottom = "─ VIRTUAL ".ljust(WIDE, "─"), "─" * WIDE
        lines = [f"  ┌{top}┐", *(f"  │{row}│" for row in rows), f"  └{bottom}┘", *lines]
    keys = list(KEYS.items())
    for left, right in zip(keys[::2], keys[1::2], strict=True):
        lines.append(f"  {left[0]}  {left[1][2]:<30}{right[0]}  {right[1][2]}")
    return lines


def press(board: Any, key: str) -> bool:
    """Press a key's buttons on a virtual board; returns whether there is such a key."""
    if key not in KEYS:
        return False
    buttons, for_ms, _ = KEYS[key]
    with board.clock_held():  # so that two buttons go down at the same virtual time at any speed
        for button in buttons:
            board.press(button, for_ms)
    return True


def save(view: PanelView, path: Path, name: str) -> None:
    """Save the panel as a PNG; the file is always complete.

    Parameters
    ----------
    view : PanelView
        What is seen.
    path : Path
        The file.
    name : str
        The rig's name.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    from matplotlib.figure import Figure
    from matplotlib.patches import Circle, Rectangle

    figure = Figure(figsize=(7.2, 5.4), dpi=150, facecolor=CASE)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, 144)
    axes.set_ylim(108, 0)
    axes.axis("off")
    axes.text(8, 5.5, f"VIRTUAL · {name}", color=PRINT, fontsize=9, va="center", parse_math=False)
    for place, (lit, word, colour) in enumerate(zip(view.lamps, LAMP_WORDS, LAMP_COLOURS, strict=True)):
        x = 58 + 24 * place
        axes.add_patch(Circle((x, 5.5), 2.6, facecolor=colour if lit else CASE, edgecolor=colour, linewidth=1.6))
        axes.text(x + 4.5, 5.5, word, color=PRINT, fontsize=8, va="center")
    axes.text(136, 5.5, "BEEP" if view.buzzer else "quiet", color=PRINT if view.buzzer else DIM, fontsize=8,
              va="center", ha="right")
    axes.add_patch(Rectangle((6, 11), 132, 68, facecolor=SCREEN, edgecolor=DIM, linewidth=1.2))
    if view.fitted:
        for y, x in np.argwhere(view.dots):
            axes.add_patch(Rectangle((8.06 + x, 13.06 + y), 0.88, 0.88, facecolor=DOT, linewidth=0))
    else:
        axes.text(72, 45, "no display", color=DIM, fontsize=12, ha="center", va="center")
    for x, title, short, long in ((31, "YES", "done, passed", "long: refill coming"),
                                  (91, "NO", "failed, it thickens", "long: water pause")):
        axes.add_patch(Rectangle((x - 23, 83), 46, 15, facecolor=DIM, edgecolor=PRINT, linewidth=1.2))
        axes.text(x, 87, title, color=PRINT, fontsize=13, weight="bold", ha="center", va="center")
        axes.text(x, 93.4, f"{short}  ·  {long}", color=PRINT, fontsize=6, ha="center", va="center")
    axes.text(61, 102.5, "both held 3 s: lock or unlock for the night", color=PRINT, fontsize=7, ha="center",
              va="center")
    axes.add_patch(Circle((128, 89), 1.8, facecolor=SCREEN, edgecolor=PRINT, linewidth=1.0))
    axes.text(128, 96, "held 3 s: stop;\nclear a trip", color=PRINT, fontsize=6.5, ha="center", va="center")
    drawn = io.BytesIO()
    figure.savefig(drawn, format="png", facecolor=CASE, metadata={"Software": None})
    save_file(path, drawn.getvalue(), what="the picture", hint="choose another file for --png")
