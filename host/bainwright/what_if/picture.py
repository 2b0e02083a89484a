"""The replay in one picture: the bowl as it was, and as it would have been with its band."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.display.drawing import BAND, CHOCOLATE, FAINT, PAPER, drawing
from bainwright.what_if.choice import WhatIf

AS_TRIED = "#1f6f8b"  # chosen: apart from the chocolate's brown for eyes that see no red or green
SIZE_IN, DPI = (11.5, 4.6), 110
MEAN_ROWS = 60  # a minute, so that a probe's single steps do not hide one curve behind the other; chosen
AROUND_K = 0.6  # chosen: what the axis shows about the window, so that a cold start does not flatten the rest


def draw(answer: WhatIf) -> Any:
    """The picture, as a figure of matplotlib."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with drawing():
        figure = Figure(figsize=SIZE_IN, dpi=DPI, facecolor=PAPER)
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.06, 0.13, 0.92, 0.74))
        axes.set_facecolor(PAPER)
        _curves(axes, answer)
        return figure


def _curves(axes: Any, answer: WhatIf) -> None:
    window = answer.window
    hours, was, would, low, high = (_means(each) for each in (
        answer.t_s / 3600.0, answer.was_c, answer.would_be_c, answer.low_c, answer.high_c))
    axes.axhspan(window.low_c, window.high_c, color=BAND, linewidth=0)
    axes.fill_between(hours, low, high, color=AS_TRIED, alpha=0.3, linewidth=0, label="where it may have been")
    axes.plot(hours, was, color=CHOCOLATE, linewidth=1.3, label="as it was")
    axes.plot(hours, would, color=AS_TRIED, linewidth=1.5, label="as it would have been")
    for at_s in answer.refills_s:
        axes.axvline(at_s / 3600.0, color=FAINT, linewidth=0.8, linestyle=":")
    axes.set_title("Chocolate, °C; shaded: its window. Dotted: refills that were found", loc="left", fontsize=10)
    axes.set_xlabel("hours from the start")
    axes.set_xlim(hours[0], hours[-1])
    axes.set_ylim(window.low_c - AROUND_K, window.high_c + AROUND_K)
    axes.legend(loc="lower right", frameon=False, ncols=3)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _means(values: NDArray[np.float64]) -> NDArray[np.float64]:
    rows = len(values) // MEAN_ROWS * MEAN_ROWS
    return np.asarray(values[:rows].reshape(-1, MEAN_ROWS).mean(axis=1))


def svg(answer: WhatIf) -> str:
    """The same as SVG, to be set into a page."""
    out = io.StringIO()
    with drawing():
        draw(answer).savefig(out, format="svg", facecolor=PAPER, metadata={"Date": None})
    text = out.getvalue()
    return text[text.index("<svg") :]
