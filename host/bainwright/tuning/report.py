"""The tuning report: pictures and sentences in one self-contained HTML page."""

from __future__ import annotations

import base64
import html
import io
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.core.atomic_write import save_file
from bainwright.display.drawing import BAND, CEILING, CHOCOLATE, FAINT, HEAT, INK, PAPER, WATER
from bainwright.tuning import fastsim, identify, margins
from bainwright.tuning.choose import CORNER, NOMINAL, Chosen, Task, with_gains
from bainwright.tuning.model import PARAMETERS, Findings
from bainwright.tuning.proof import COURSES, STRIDE_S, Proof

Floats = NDArray[np.float64]


def draw(task: Task, fitted: identify.Fitted, before: dict[str, float], chosen: Chosen, proof: Proof) -> bytes:
    """The four pictures as one PNG: record and fit, evenings with bands, warm-up with bands, sensitivity curves."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(12.0, 9.0), dpi=120, facecolor=PAPER, layout="constrained")
    places: Any = figure.subplots(2, 2)
    _record(places[0][0], fitted)
    _sensitivity(places[0][1], task, before, chosen)
    _bands(places[1][0], task, proof, COURSES[0].name, "load: an evening of dipping")
    _bands(places[1][1], task, proof, COURSES[1].name, "step: a warm-up from cold")
    return _saved(figure, list(places.ravel()))


def draw_record(fitted: identify.Fitted) -> bytes:
    """The record and its fit alone, as a PNG: where no gains were chosen."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 4.5), dpi=120, facecolor=PAPER, layout="constrained")
    place = figure.subplots()
    _record(place, fitted)
    return _saved(figure, [place])


def _saved(figure: Any, places: list[Any]) -> bytes:
    for place in places:
        place.set_facecolor(PAPER)
        place.tick_params(colors=INK)
        for side in ("top", "right"):
            place.spines[side].set_visible(False)
    out = io.BytesIO()
    figure.savefig(out, format="png")
    return out.getvalue()


def _record(place: Any, fitted: identify.Fitted) -> None:
    for time_s, read, made in zip(fitted.time_s, fitted.read_c, fitted.made_c, strict=True):
        minutes = time_s / 60.0
        for column, colour, name in ((0, WATER, "water"), (1, CHOCOLATE, "chocolate")):
            place.plot(minutes, read[:, column], color=FAINT, lw=3.0)
            place.plot(minutes, made[:, column], color=colour, lw=1.2)
            if np.isfinite(made[-1, column]) and time_s is fitted.time_s[-1]:
                place.annotate(name, (minutes[-1], made[-1, column]), color=colour, xytext=(4, 0),
                               textcoords="offset points", va="center")
    place.set(title="log (grey) and model, from the same heat", xlabel="minutes", ylabel="°C")


def _sensitivity(place: Any, task: Task, before: dict[str, float], chosen: Chosen) -> None:
    models = [task.findings.model.at_fill(fill) for fill in (1.0, 0.2)]
    minutes = 2.0 * np.pi / margins.FREQUENCIES / 60.0
    for gains, colour, name in ((before, FAINT, "before"), (chosen.gains, HEAT, "after")):
        cascade = fastsim.cascade_of(with_gains(task.settings, gains))
        for model, style in zip(models, ("-", "--"), strict=True):
            for loop in margins.loops(cascade, model):
                place.loglog(minutes, np.abs(1.0 / (1.0 + loop)), style, color=colour, lw=1.2)
        place.plot([], [], color=colour, label=name)
    for bound in (NOMINAL, CORNER):
        place.axhline(bound, color=CEILING, lw=0.8, ls=":")
    place.invert_xaxis()
    place.legend(frameon=False)
    place.set(title="sensitivity of both loops, full (line) and a fifth full (dashes)", ylim=(0.02, 3.0),
              xlabel="period of a disturbance, minutes", ylabel="share that remains")


def _bands(place: Any, task: Task, proof: Proof, course: str, title: str) -> None:
    bowl = fastsim.TRACE.index("bowl_c")
    hours = np.arange(1, proof.after[course].trace.shape[1] + 1) * STRIDE_S / 3600.0
    place.axhspan(task.low_c, task.high_c, color=BAND)
    for outcomes, colour, name in ((proof.before, FAINT, "before"), (proof.after, CHOCOLATE, "after")):
        low, middle, high = np.percentile(outcomes[course].trace[:, :, bowl], [5, 50, 95], axis=0)
        place.fill_between(hours, low, high, color=colour, alpha=0.25, lw=0)
        place.plot(hours, middle, color=colour, lw=1.2, label=name)
    place.legend(frameon=False, loc="lower right")
    place.set(title=title + ", 9 of 10 warmers", xlabel="hours", ylabel="°C",
              ylim=(task.low_c - 3.0, task.high_c + 1.0))


def page(title: str, sentences: list[str], figures: list[str], references: list[str], picture: bytes) -> str:
    """One HTML page, the picture inside it."""
    def items(lines: list[str]) -> str:
        return "\n".join(f"<li>{html.escape(line)}</li>" for line in lines)

    coded = base64.b64encode(picture).decode()
    shows = "record and fit, sensitivity, evenings before and after" if references else "record and fit"
    compared = f"<h2>Compared with textbook rules</h2>\n<ul>\n{items(references)}\n</ul>\n" if references else ""
    return (
        f"<!doctype html>\n<html lang='en'><meta charset='utf-8'><title>{html.escape(title)}</title>\n"
        f"<style>body{{font:16px/1.5 sans-serif;max-width:60em;margin:2em auto;padding:0 1em;background:{PAPER};"
        f"color:{INK}}} img{{max-width:100%}}</style>\n<h1>{html.escape(title)}</h1>\n<h2>What was found</h2>\n"
        f"<ul>\n{items(sentences)}\n</ul>\n<img alt='{shows}' "
        f"src='data:image/png;base64,{coded}'>\n<h2>The warmer in figures</h2>\n<ul>\n{items(figures)}\n</ul>\n"
        f"{compared}</html>\n"
    )


def write(path: Path, text: str) -> None:
    """Write the page.

    Raises
    ------
    FileError
        If it cannot be.
    """
    save_file(path, text, what="the report")


def fit_sentences(findings: Findings) -> list[str]:
    """How well the model fits the log."""
    lines = [f"The model matches the log to within {findings.fit_k:.2f} °C."]
    if np.isfinite(findings.validation_k):
        lines.append(f"Fitted to the first part only, it predicts the rest to within {findings.validation_k:.2f} °C.")
    return lines


def figure_lines(findings: Findings) -> list[str]:
    """One line for each figure."""
    lines = []
    for name, unit, what in PARAMETERS:
        low, high = getattr(findings.low, name), getattr(findings.high, name)
        if name in findings.identified:
            lines.append(f"{what}: {_short(getattr(findings.model, name))} {unit} "
                         f"(95 %: {_short(low)} to {_short(high)})")
        else:
            lines.append(f"{what}: not identified; assumed between {_short(low)} and {_short(high)} {unit}")
    return lines


def _short(value: float) -> str:
    return f"{value:.3g}" if value < 1000 else f"{value:.0f}"
