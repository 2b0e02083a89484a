"""The picture of a hold: chocolate and water as curves, each labelled at its end instead of in a legend."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard import stages
from bainwright.core.atomic_write import save_file
from bainwright.display.captions import Caption, is_late, place_captions
from bainwright.display.drawing import BAND, BAND_INK, CEILING, CHOCOLATE, FAINT, HEAT, INK, PAPER, WATER, drawing
from bainwright.files.score import Window
from bainwright.record.reader import HoldLog
from bainwright.words import terms

PNG, SVG = "hold.png", "hold.svg"

SIZE_IN, DPI = (11.5, 7.0), 150
LINE = 0.025  # of the figure's height: a line of the summary
BIN_S = 30.0  # the heat is drawn as means over this time: single seconds of a time-proportioned heater look like noise
MOST_BINS = 600  # across the picture, chosen: finer than a screen or a printer shows it
ROOM_BELOW_C = (
    3.0  # chosen: the window fills the picture; a cold start begins below its edge and gets a label there
)
FROM_BELOW = 0.07  # of the picture's height: a line of words
IMPORTANT = ("tested", "trip", "warn", "boot", "lost")  # what decides an evening, and what went wrong


def draw_hold(
    folder: Path,
    log: HoldLog,
    truth: Any,
    window: Window,
    summary: str,
    played: list[Caption],
    *,
    virtual: bool,
    name: str,
) -> None:
    """Draw a hold as PNG and SVG.

    Parameters
    ----------
    folder : Path
        Folder for the two files.
    log : HoldLog
        The readings.
    truth : mapping or None
        A virtual board's true temperatures (``t_ms``, ``water_c``, ``bowl_c``); drawn instead of the readings, and
        labelled as true.
    window : Window
        The chocolate's window and ceiling.
    summary : str
        The summary in sentences; the first becomes the title.
    played : list of Caption
        What the scenario did without a report to the board.
    virtual : bool
        Mark the picture VIRTUAL.
    name : str
        The chocolate's name.

    Raises
    ------
    FileError
        If a file cannot be written; the one before it stays.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with drawing():
        figure = Figure(figsize=SIZE_IN, dpi=DPI, facecolor=PAPER)
        FigureCanvasAgg(figure)
        temps, heat = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": [6, 1], "hspace": 0.07})
        end_s = max(60.0, float(log["t_s"][-1]))
        captions = place_captions(_all_captions(log, played), end_s)
        rows = 1 + max((level for _, level in captions), default=-1)
        more_lines = max(0, len(wrapped(summary)[1]) - 3)
        figure.subplots_adjust(left=0.06, right=0.86, top=0.835 - 0.034 * rows - LINE * more_lines, bottom=0.08)
        _temperatures(temps, log, truth, window, end_s)
        _heat(heat, log)
        _times(heat, end_s)
        _captions(temps, captions, end_s)
        _title(figure, summary, virtual)
        _save(figure, folder / PNG, {"Software": None})
        _save(figure, folder / SVG, {"Date": None, "Title": f"A hold of {name}"})


def _save(figure: Any, path: Path, metadata: dict[str, str | None]) -> None:
    """Draw in memory, then write the file whole: a full disk leaves no half picture."""
    drawn = io.BytesIO()
    figure.savefig(drawn, format=path.suffix.removeprefix("."), metadata=metadata)
    save_file(path, drawn.getvalue(), what="the picture", follow=False)


# -- the parts -------------------------------------------------------------------------------------------------------


def wrapped(summary: str) -> tuple[list[str], list[str]]:
    """The first sentence as a title and the others as lines; a figure stays beside its unit."""
    first, _, rest = summary.replace(" °C", "\u00a0°C").partition(". ")
    return textwrap.wrap(first, 82), textwrap.wrap(rest, 138)


def _title(figure: Any, summary: str, virtual: bool) -> None:
    title, lines = wrapped(summary)
    figure.text(0.06, 0.955, "\n".join(title), fontsize=13.5, fontweight="bold", va="center")
    figure.text(
        0.06, 0.925, "\n".join(lines), fontsize=9.5, va="top", color=INK, linespacing=1.35
    )
    if virtual:
        figure.text(
            0.985,
            0.965,
            "VIRTUAL",
            fontsize=12,
            fontweight="bold",
            ha="right",
            va="center",
            color=PAPER,
            bbox={"facecolor": CEILING, "edgecolor": "none", "boxstyle": "round,pad=0.35"},
        )
        figure.text(0.985, 0.928, "a simulated warmer", fontsize=8, ha="right", va="center", color=CEILING)


def _temperatures(axes: Any, log: HoldLog, truth: Any, window: Window, end_s: float) -> None:
    lines = _lines(log, truth, end_s)
    axes.set_facecolor(PAPER)
    for start_s, stop_s in window_spans(log, window, end_s):
        axes.fill_between((start_s, stop_s), window.low_c, window.high_c, color=BAND, lw=0, zorder=0)
        axes.plot((start_s, stop_s), 2 * (window.ceiling_c,), color=CEILING, lw=1.4, dashes=(6, 3), zorder=1)
    labels = [
        ((window.low_c + window.high_c) / 2, f"window\n{window.low_c:g} to {window.high_c:g} °C", BAND_INK),
        (window.ceiling_c, f"ceiling {window.ceiling_c:g} °C", CEILING),
    ]
    for t_s, temp_c, label, colour, width in lines:
        rows = thinned(temp_c)
        axes.plot(t_s[rows], temp_c[rows], color=colour, lw=width, zorder=3, solid_joinstyle="round")
        known = temp_c[np.isfinite(temp_c)]
        if known.size:
            labels.append((float(known[-1]), label, colour))
    low_c, high_c = _limits_c([temp_c for _, temp_c, *_ in lines], window)
    axes.set_ylim(low_c, high_c)
    axes.set_xlim(0, end_s)
    _side_labels(axes, labels, end_s, low_c, high_c)
    _from_below(axes, lines, low_c, high_c, end_s)
    axes.set_ylabel("°C")
    axes.grid(axis="y", color=FAINT, alpha=0.25, lw=0.6)
    axes.tick_params(axis="x", length=0)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def thinned(values: NDArray[Any]) -> NDArray[np.intp]:
    """The rows that draw the same curve: of each of `MOST_BINS` pieces the ends, the extremes and a missing row.

    With every second of a night in it a drawing has half a megabyte, and a report of a month does not open on a phone.
    """
    if len(values) <= 4 * MOST_BINS:
        return np.arange(len(values))
    kept: set[int] = set()
    for piece in np.array_split(np.arange(len(values)), MOST_BINS):
        known = piece[np.isfinite(values[piece])]
        kept.update((int(piece[0]), int(piece[-1])))
        if known.size:
            kept.update((int(known[np.argmin(values[known])]), int(known[np.argmax(values[known])])))
        if known.size < piece.size:
            kept.update(map(int, piece[~np.isfinite(values[piece])]))
    return np.array(sorted(kept), dtype=np.intp)


def window_spans(log: HoldLog, window: Window, end_s: float) -> list[tuple[float, float]]:
    """The spans in which window and ceiling apply: not while chocolate is melted or seeded, nor at rest."""
    applies = np.isin(log["stage"], stages.TEMPERED if window.tempered else ("melted",))
    if not applies.any():  # a log from before there were steps
        return [(0.0, end_s)]
    edges = np.flatnonzero(np.diff(np.concatenate(([0], applies.astype(np.int8), [0]))))
    times_s = [0.0 if row == 0 else end_s if row == len(log) else float(log["t_s"][row]) for row in edges.tolist()]
    return list(zip(times_s[::2], times_s[1::2], strict=True))


Line = tuple[NDArray[Any], NDArray[Any], str, str, float]


def _lines(log: HoldLog, truth: Any, end_s: float) -> list[Line]:
    """The curves, water or plate first so that the chocolate lies over it."""
    if truth is not None and np.isfinite(np.asarray(truth["bowl_c"], dtype=float)).any():
        t_s = np.asarray(truth["t_ms"], dtype=float) / 1000
        held = t_s <= end_s  # how far the warmer ran on after the hold depends on this PC's speed
        return [
            (t_s[held], np.asarray(truth["water_c"], dtype=float)[held], f"{log.bath}\n(true)", WATER, 1.3),
            (t_s[held], np.asarray(truth["bowl_c"], dtype=float)[held], "chocolate\n(true)", CHOCOLATE, 2.2),
        ]
    bowl = "chocolate\n(estimated)" if (log["bowl_estimated"] == 1).mean() > 0.5 else "chocolate"
    return [(log["t_s"], log["water_c"], log.bath, WATER, 1.3), (log["t_s"], log["bowl_c"], bowl, CHOCOLATE, 2.2)]


def _limits_c(series: Iterable[NDArray[Any]], window: Window) -> tuple[float, float]:
    """The least and the most that the picture shows: all but what is colder than its edge from the start on."""
    edge_c, top_c = window.low_c - ROOM_BELOW_C, window.ceiling_c + 0.6
    lows_c = [window.low_c - 0.3]
    for temp_c in series:
        known = temp_c[np.isfinite(temp_c)]
        if not known.size:
            continue
        from_row = int(np.argmax(known >= edge_c))  # 0 where it never gets so warm: then all of it is shown
        lows_c.append(float(known[from_row:].min()) - 0.3)
        top_c = max(top_c, float(known.max()) + 0.5)
    return min(lows_c), top_c


def _side_labels(axes: Any, labels: list[tuple[float, str, str]], end_s: float, low_c: float, high_c: float) -> None:
    """Labels at the right end of the curves, moved apart where they would touch."""
    line_c = (high_c - low_c) * 0.042  # height of a line of text
    placed_c = low_c
    for temp_c, text, colour in sorted(labels):
        half_c = line_c * (1 + text.count("\n")) / 2
        at_c = max(temp_c, placed_c + half_c)
        placed_c = at_c + half_c + 0.15 * line_c
        axes.annotate(
            text,
            (end_s, at_c),
            xytext=(8, 0),
            textcoords="offset points",
            va="center",
            color=colour,
            fontsize=9.5,
            fontweight="bold",
            linespacing=1.1,
            annotation_clip=False,
        )


def _from_below(axes: Any, lines: list[Line], low_c: float, high_c: float, end_s: float) -> None:
    """Labels of the curves that start below the picture's edge, one over the other, right of where the last enters."""
    below = [(label, colour, t_s[known], temp_c[known]) for t_s, temp_c, label, colour, _ in lines
             if (known := np.isfinite(temp_c)).any() and temp_c[known][0] < low_c]  # fmt: skip
    over_c = low_c + FROM_BELOW * len(below) * (high_c - low_c)
    comes_s = max((float(t_s[np.argmax(temp_c >= over_c)]) for _, _, t_s, temp_c in below), default=0.0)
    for number, (label, colour, _, temp_c) in enumerate(below):
        axes.annotate(
            f"{label.splitlines()[0]} from {temp_c[0]:.0f} °C",
            (comes_s + 0.012 * end_s, low_c),
            xytext=(0, 5 + 14 * number),
            textcoords="offset points",
            color=colour,
            fontsize=8.5,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8, "alpha": 0.85},  # over a line it may cross
            zorder=5,
        )


def _heat(axes: Any, log: HoldLog) -> None:
    """The heat as means over `BIN_S`, or longer in a long hold, in a strip."""
    t_s, duty = log["t_s"], log["duty"]
    bin_s = max(BIN_S, float(t_s[-1]) / MOST_BINS)
    edges = np.arange(0.0, float(t_s[-1]) + bin_s, bin_s)
    bins = np.digitize(t_s, edges) - 1
    counts = np.bincount(bins, minlength=len(edges))
    means = np.bincount(bins, weights=np.nan_to_num(duty), minlength=len(edges)) / np.maximum(counts, 1)
    axes.set_facecolor(PAPER)
    axes.fill_between(edges, 100 * means, step="post", color=HEAT, lw=0)
    axes.set_ylim(0, 105)
    axes.set_yticks([0, 50, 100], ["0", "50", "100 %"])
    axes.annotate(
        "heat",
        (1, 0.5),
        xytext=(8, 0),
        xycoords="axes fraction",
        textcoords="offset points",
        va="center",
        color=HEAT,
        fontsize=9.5,
        fontweight="bold",
    )
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _times(axes: Any, end_s: float) -> None:
    """Round times along the bottom, in hours and minutes."""
    step_s = next(
        step for step in (60, 300, 600, 900, 1800, 3600, 7200, 14400, 28800) if end_s / step <= 10 or step == 28800
    )
    ticks = np.arange(0, end_s + 1, step_s)
    axes.set_xticks(ticks, [f"{int(t // 3600)}:{int(t // 60 % 60):02d}" for t in ticks])
    axes.set_xlabel("hours and minutes since the start", color=FAINT, fontsize=9)


def _all_captions(log: HoldLog, played: list[Caption]) -> list[Caption]:
    captions, stage = [], str(log["stage"][0])
    for event in log.events:
        name = str(event.get("event"))
        stage = str(event.get("stage")) if name == "stage" else stage
        if name in terms.CAPTIONED and not (name == "warn" and terms.expected_in_step(event, stage)):
            captions.append(Caption(float(event["t_s"]), terms.event(name, event, stage, log.bath), name in IMPORTANT))
    return sorted([*played, *captions], key=lambda caption: caption.t_s)


def _captions(axes: Any, captions: list[tuple[Caption, int]], end_s: float) -> None:
    """Captions over the picture, each with a line down to its moment."""
    for caption, level in captions:
        height = 1.03 + 0.05 * level
        late = is_late(caption, end_s)
        axes.annotate(
            caption.text,
            (caption.t_s, 0),
            xycoords=("data", "axes fraction"),
            xytext=(caption.t_s, height),
            textcoords=("data", "axes fraction"),
            fontsize=8.2,
            color=INK,
            ha="right" if late else "left",
            va="bottom",
            annotation_clip=False,
            zorder=4,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6},
        )
        axes.plot(
            [caption.t_s, caption.t_s],
            [0, height],
            transform=axes.get_xaxis_transform(),
            color=FAINT,
            lw=0.7,
            dashes=(1, 2),
            clip_on=False,
            zorder=1,
        )
