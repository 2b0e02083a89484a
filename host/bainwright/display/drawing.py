"""What all our drawings share: colours, letters, and that only one is drawn at a time."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import RLock

# Our own colours. Blue and brown differ in lightness as well as hue, so that they stay apart in grey and for
# colour-blind people.
PAPER, INK, FAINT = "#fffdf8", "#3a322c", "#9a8f85"
CHOCOLATE, WATER, HEAT, CEILING, BAND, BAND_INK = "#5d3217", "#4b93b8", "#d99a3d", "#a2457a", "#f3e2bd", "#8d6f2d"

_ONE_AT_A_TIME = RLock()


@contextmanager
def drawing(points: float = 10.0) -> Iterator[None]:
    """Draw and save within: with our letters of so many points, and the same file from the same figures.

    Matplotlib's settings belong to the whole process, and the page draws in threads beside a hold that ends.
    """
    import matplotlib as mpl

    with _ONE_AT_A_TIME, mpl.rc_context({
        "svg.hashsalt": "bainwright",
        "font.family": "DejaVu Sans",
        "font.size": points,
        "axes.edgecolor": FAINT,
        **dict.fromkeys(("text.color", "axes.labelcolor", "xtick.color", "ytick.color"), INK),
        "text.parse_math": False,  # a dollar in a name is a dollar
    }):  # fmt: skip
        yield
