"""Nights of one warmer in one picture: the bowl's curves laid over each other, and the warmer's figures by night."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np

from bainwright.display.drawing import CEILING, CHOCOLATE, FAINT, PAPER, drawing
from bainwright.review.night import Night
from bainwright.review.nights import Comparison

SIZE_IN, DPI = (11.5, 8.0), 110
MOST_NAMED = 16  # nights that fit under an axis by their names; chosen
PALEST = 0.25  # of the oldest night's curve; chosen
MEAN_ROWS = 30  # five minutes, so that a probe's single steps do not hide one curve behind another; chosen
AROUND_K = 1.0  # chosen: what the curves' axis shows about the target, so that a cold start does not flatten them


def draw(compared: Comparison) -> Any:
    """The picture, as a figure of matplotlib.

    Parameters
    ----------
    compared : Comparison
        The nights in order of their start; the older, the paler.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with drawing(9.0):
        figure = Figure(figsize=SIZE_IN, dpi=DPI, facecolor=PAPER)
        FigureCanvasAgg(figure)
        grid = figure.add_gridspec(5, 2, width_ratios=[1.2, 1.0], left=0.06, right=0.98, top=0.93, bottom=0.16,
                                   hspace=0.5, wspace=0.18)  # fmt: skip
        _curves(figure.add_subplot(grid[:, 0]), compared.nights)
        axes = [figure.add_subplot(grid[row, 1]) for row in range(5)]
        _figures(axes, compared)
        return figure


def svg(compared: Comparison) -> str:
    """The same as SVG, to be set into a page."""
    out = io.StringIO()
    with drawing(9.0):
        draw(compared).savefig(out, format="svg", facecolor=PAPER, metadata={"Date": None})
    text = out.getvalue()
    return text[text.index("<svg") :]


def _curves(axes: Any, nights: Sequence[Night]) -> None:
    drawn = [night for night in nights if night.balance is not None and np.isfinite(night.balance.bowl_c).any()]
    axes.set_title("Bowl, °C; the darker, the later", loc="left")
    levels = []
    for number, night in enumerate(drawn):
        balance = night.balance
        assert balance is not None
        shade = PALEST + (1.0 - PALEST) * (number + 1) / len(drawn)
        rows = len(balance.t_s) // MEAN_ROWS * MEAN_ROWS
        hours, bowl_c = ((each[:rows].reshape(-1, MEAN_ROWS).mean(axis=1)) for each in (balance.t_s, balance.bowl_c))
        axes.plot((hours - balance.t_s[0]) / 3600.0, bowl_c, color=CHOCOLATE, alpha=shade, linewidth=1.4)
        levels.append(float(np.nanmedian(balance.bowl_c)))
    axes.set_xlabel("hours from the start")
    _plain(axes)
    if levels:
        axes.set_ylim(min(levels) - AROUND_K, max(levels) + AROUND_K)
    else:
        axes.text(0.5, 0.5, "no settled bowl readings", ha="center", transform=axes.transAxes)


def _figures(axes: Sequence[Any], compared: Comparison) -> None:
    """Each night's own figures with their 95 % intervals; a line before each night from which something changed."""
    nights = compared.nights
    rows = (
        ("heat per degree over the room, W/°C",
         [(own.need_w_per_k, own.need_sd * own.need_w_per_k) if (own := night.own) else (np.nan, 0.0)
          for night in nights]),
        ("rise of the bath by 10 Wh, °C",
         [(36000 * own.rise_k_per_j, 36000 * own.rise_sd * own.rise_k_per_j) if (own := night.own) else (np.nan, 0.0)
          for night in nights]),
        ("bath over bowl, °C",
         [(own.lead_k, own.lead_sd) if (own := night.own) else (np.nan, 0.0) for night in nights]),
        ("bath to a bowl that warms up, W/°C",
         [(own.lags.coupling_w_per_k, own.lags.coupling_sd_w_per_k) if (own := night.own) else (np.nan, 0.0)
          for night in nights]),
        ("lag from heater to bath, s",
         [(own.lags.lag_s, own.lags.lag_sd_s) if (own := night.own) else (np.nan, 0.0) for night in nights]),
    )  # fmt: skip
    drifted = {nights.index(change.first) for change in compared.changes}
    marked = {nights.index(mark.first) for mark in compared.marks}
    places = np.arange(len(nights))
    for each, (title, values) in zip(axes, rows, strict=True):
        mean, spread = np.array(values).T
        each.errorbar(places, mean, 1.96 * np.nan_to_num(spread), fmt="o", color=CHOCOLATE, markersize=4, capsize=2)
        for at in drifted:
            each.axvline(at - 0.5, color=CEILING, linewidth=1.5)
        for at in marked:
            each.axvline(at - 0.5, color=FAINT, linewidth=1.0, linestyle="--")
        each.set_title(title, loc="left")
        each.set_xlim(-0.6, len(nights) - 0.4)
        _plain(each)
        each.set_xticks([])
    step = -(-len(nights) // MOST_NAMED)
    axes[-1].set_xticks(places[::step], [_label(night) for night in nights[::step]], rotation=60, ha="right")
    axes[0].figure.text(0.06, 0.03, "95 % intervals. Solid line: the warmer changed. Dashed: somebody changed settings,"
                        " gains or firmware.", fontsize=9)  # fmt: skip


def _label(night: Night) -> str:
    return night.entry.name.replace("$", r"\$")  # matplotlib takes a dollar for mathematics


def _plain(axes: Any) -> None:
    axes.set_facecolor(PAPER)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
