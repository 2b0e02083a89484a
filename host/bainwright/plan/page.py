"""The page to print: the evening as a picture with its steps below, alone or with everything the plan says."""

from __future__ import annotations

import html
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from bainwright.core.atomic_write import save_file
from bainwright.core.masses import Shown, clock_text
from bainwright.core.units import duration_words
from bainwright.display.drawing import BAND, CEILING, CHOCOLATE, FAINT, PAPER, WATER, drawing
from bainwright.plan import say
from bainwright.plan.cautions import cautions
from bainwright.plan.parts import STAGE_NAMES, STEP_MIN, Plan, Step
from bainwright.plan.say import filled, unbroken
from bainwright.plan.temper_words import for_crystals, have_ready
from bainwright.plan.words import SOURCES_TITLE, headline, sections
from bainwright.words.section import Section

STRIPE = "#f3ede2"
SIZE_IN, SMALL_IN, DPI = (11.69, 8.27), (8.6, 4.6), 150  # A4 landscape; across an upright page
LAST_SHARE = 0.28  # of the width for the last step: hours of a straight line need no room, the half hour before does
STEP_WIDTH = 70
LIST_Y, LOOK_OUT_Y = 0.352, 0.045  # of the sheet's height: the steps begin, and the first caution ends
LINE_Y, SMALL_LINE_Y = 0.0202, 0.0175  # a line of 8.9 points with its gap, and one of 8, of the sheet's height
GAP_LINES = 0.6  # between two steps
TIME_IN = 0.42  # a time of day under the picture is as wide as this

_STYLE = """
@page { size: A4; margin: 14mm }
body { font: 10pt/1.38 Georgia, 'DejaVu Serif', serif; color: #3a322c; background: #fffdf8; margin: 0 auto;
  max-width: 190mm; padding: 4mm }
h1 { font-size: 15pt; line-height: 1.25; margin: 0 0 3mm }
h2 { font-size: 11.5pt; color: #5d3217; margin: 0 0 1mm; break-after: avoid }
svg { width: 100%; height: auto; display: block }
main { columns: 2; column-gap: 8mm; margin-top: 4mm }
section { margin-bottom: 4mm } p { margin: 0 0 1.2mm; break-inside: avoid }
section.warn { column-span: all; border-left: 3px solid #a2457a; padding-left: 3mm }
section.small { font-size: 8.5pt; color: #6b6058 }
@media print { body { background: none; padding: 0; font-size: 9.3pt; line-height: 1.3 }
  section { margin-bottom: 2.5mm } section.small { font-size: 7.6pt } }
"""


def write_page(path: Path, plan: Plan, shown: Shown) -> None:
    """Write the page; its ending says as what.

    Parameters
    ----------
    path : Path
        ``.html`` is the picture and everything the plan says; ``.svg``, ``.png`` and ``.pdf`` are the picture with the
        steps, one sheet for the kitchen wall.
    plan : Plan
        What to draw.
    shown : Shown
        The scales to show in.

    Raises
    ------
    FileError
        If it cannot be written; the page before it stays.
    """
    ending = path.suffix.lower()
    content = _html(plan, shown) if ending == ".html" else draw(plan, shown, ending.removeprefix("."))
    save_file(path, content, what="the page")


def draw(plan: Plan, shown: Shown, file_format: str, *, with_steps: bool = True) -> bytes:
    """Draw the evening.

    Parameters
    ----------
    plan : Plan
        What to draw.
    shown : Shown
        The scales to show in.
    file_format : str
        ``svg``, ``png`` or ``pdf``.
    with_steps : bool
        A whole sheet with title and steps, or the picture alone.
    """
    from matplotlib.figure import Figure

    with drawing():
        figure = Figure(figsize=SIZE_IN if with_steps else SMALL_IN, dpi=DPI, facecolor=PAPER)
        axes = figure.add_axes((0.06, 0.43, 0.775, 0.45) if with_steps else (0.075, 0.12, 0.70, 0.85))
        _evening(axes, plan, shown)
        if with_steps:
            figure.text(0.06, 0.965, filled(headline(plan, shown), 92), fontsize=13, fontweight="bold", va="top")
            _step_list(figure, plan, shown)
        out = io.BytesIO()
        stamp = {"svg": {"Date": None}, "png": {"Software": None}, "pdf": {"CreationDate": None}}[file_format]
        figure.savefig(out, format=file_format, metadata={**stamp, "Title": headline(plan, shown)})
    return out.getvalue()


# -- the picture -----------------------------------------------------------------------------------------------------


def time_scale(steps: tuple[Step, ...]) -> Callable[[Any], Any]:
    """Seconds of the evening to 0..1 across the picture; the last step takes a fixed share of it.

    A single step has the whole width.
    """
    last, end_s = steps[-1], steps[-1].starts_s + steps[-1].lasts_s
    if last.starts_s == 0.0:
        return lambda t_s: np.asarray(t_s) / end_s
    return lambda t_s: np.interp(t_s, [0.0, last.starts_s, end_s], [0.0, 1.0 - LAST_SHARE, 1.0])


def _evening(axes: Any, plan: Plan, shown: Shown) -> None:
    across = time_scale(plan.steps)
    t_s, water_c, chocolate_c = (np.array(column) for column in zip(*plan.course, strict=True))
    profile = plan.request.profile
    low_c = min(water_c.min(), chocolate_c.min(), profile.low_c) - 2.0
    high_c = max(water_c.max(), chocolate_c.max(), profile.ceiling_c) + 4.5
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(shown.degrees(low_c), shown.degrees(high_c))
    axes.set_facecolor(PAPER)
    axes.set_ylabel(shown.degree, rotation=0, labelpad=10)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    _bands(axes, plan, shown, across)
    axes.plot(across(t_s), _degrees(shown, water_c), color=WATER, lw=1.8, solid_joinstyle="round")
    axes.plot(across(t_s), _degrees(shown, chocolate_c), color=CHOCOLATE, lw=2.8, solid_joinstyle="round")
    _line_names(axes, plan, shown)
    _notes(axes, plan, shown, across)
    _times(axes, plan, across)


def _degrees(shown: Shown, temps_c: Any) -> Any:
    """Temperatures of a line on the scale shown."""
    return np.array([shown.degrees(temp_c) for temp_c in temps_c])


def _bands(axes: Any, plan: Plan, shown: Shown, across: Callable[[Any], Any]) -> None:
    """Steps as stripes with their numbers, the window and the ceiling."""
    profile = plan.request.profile
    for number, step in enumerate(plan.steps, start=1):
        left, right = across(step.starts_s), across(step.starts_s + step.lasts_s)
        if number % 2:
            axes.axvspan(left, right, color=STRIPE, lw=0, zorder=0)
        name = f"{number}  {STAGE_NAMES[step.name]}" if right - left > 0.1 else str(number)
        axes.text(
            0.5 * (left + right),
            0.975,
            name,
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="top",
            fontweight="bold",
        )
    tempering = (step.starts_s for step in plan.steps if step.name in ("seed", "cool"))
    window_from = across(next(tempering, plan.steps[-1].starts_s))
    axes.fill_between(
        [window_from, 1.0], shown.degrees(profile.low_c), shown.degrees(profile.high_c), color=BAND, lw=0, zorder=1
    )
    axes.plot([window_from, 1.0], [shown.degrees(profile.ceiling_c)] * 2, color=CEILING, lw=1.2, ls=(0, (5, 3)))


def _line_names(axes: Any, plan: Plan, shown: Shown) -> None:
    """Each line's name at its right end, moved apart so that none covers another."""
    profile = plan.request.profile
    names = [
        (
            profile.target_c,
            f"chocolate {shown.temp(profile.target_c)}\nwindow {shown.temps(profile.low_c, profile.high_c)}",
            CHOCOLATE,
        ),
        (plan.hold.water_c, f"{say.bath(plan)} near {shown.temp(plan.hold.water_c)}", WATER),
        (profile.ceiling_c, f"ceiling {shown.temp(profile.ceiling_c)}", CEILING),
    ]
    low, high = axes.get_ylim()
    gap, last = 0.062 * (high - low), -1e9
    for temp_c, name, colour in names:
        at = max(shown.degrees(temp_c) - (0.03 * (high - low) if colour == CHOCOLATE else 0.0), last + gap)
        axes.annotate(
            name,
            (1.0, at),
            xytext=(6, 0),
            textcoords="offset points",
            color=colour,
            va="center",
            fontsize=9,
            fontweight="bold",
            annotation_clip=False,
            linespacing=1.3,
        )
        last = at + (0.25 * gap if colour == CHOCOLATE else 0.0)


def _notes(axes: Any, plan: Plan, shown: Shown, across: Callable[[Any], Any]) -> None:
    """What to weigh out and pour, where it happens."""
    steps = {step.name: step for step in plan.steps}
    melt, seed, swap = plan.melt, plan.seed, plan.swap
    box = {"boxstyle": "round,pad=0.35", "fc": PAPER, "ec": FAINT, "lw": 0.6}
    if "melt" in steps:
        lasts_s = steps["melt"].lasts_s
        axes.annotate(
            f"{say.bath(plan)}, to {shown.temp(melt.water_c)}",
            _spot(plan, shown, across, 0.62 * lasts_s, 1),
            xytext=(-8, 8),
            textcoords="offset points",
            color=WATER,
            fontsize=9,
            fontweight="bold",
            ha="right",
        )
        axes.annotate(
            f"{shown.mass(melt.solid_kg)}, to {shown.temp(melt.to_c)}",
            _spot(plan, shown, across, 0.42 * lasts_s, 2),
            xytext=(10, -12),
            textcoords="offset points",
            color=CHOCOLATE,
            fontsize=9,
            fontweight="bold",
            va="top",
        )
    if (seed or plan.seed_answer) and "seed" in steps:
        words = _seed_words(plan, shown)
        if swap and swap.out_l and plan.melts_here:
            words += f"\nmeanwhile {swap.out_l:.1f} L of\nwater out, as much\nat {shown.temp(swap.cold_c)} in"
        step = steps["seed"]
        axes.annotate(
            words,
            _spot(plan, shown, across, step.starts_s + 0.22 * step.lasts_s, 2),
            xytext=(0.74, 0.74),
            textcoords="axes fraction",
            fontsize=8.5,
            va="center",
            bbox=box,
            linespacing=1.35,
            arrowprops={"arrowstyle": "-", "color": FAINT, "lw": 0.8},
        )


def _seed_words(plan: Plan, shown: Shown) -> str:
    """The seed, as the steps say it."""
    seed, answer = plan.seed, plan.seed_answer
    if answer:
        stays = round(answer.ends_c, 1) < plan.request.profile.low_c
        ends = f"to {shown.temp(plan.request.profile.high_c)}" if stays else f"ends near {shown.temp(answer.ends_c)}"
        return f"seed: your {shown.little(answer.mass_kg)},\nin portions,\n{ends}"
    if seed is None or seed.likely_kg < shown.least_kg:
        return f"seed: {for_crystals(plan, shown)}"
    first = f"{shown.mass(seed.first_kg)} first" if seed.first_kg else "by handfuls"
    return f"seed: {first},\nabout {shown.little(seed.likely_kg)} in all,\n{shown.mass(seed.high_kg)} ready"


def _spot(plan: Plan, shown: Shown, across: Callable[[Any], Any], t_s: float, column: int) -> tuple[float, float]:
    """A place on a line of the picture; column 1 is the water, 2 the chocolate."""
    points = np.array(plan.course)
    return float(across(t_s)), shown.degrees(float(np.interp(t_s, points[:, 0], points[:, column])))


def _times(axes: Any, plan: Plan, across: Callable[[Any], Any]) -> None:
    """When each step begins and the evening ends, on two levels where they would touch."""
    moments = [*(step.starts_s for step in plan.steps), plan.steps[-1].starts_s + plan.steps[-1].lasts_s]
    places = [float(across(t_s)) for t_s in moments]
    gap = TIME_IN / (axes.figure.get_size_inches()[0] * axes.get_position().width)
    level, labels = 0, []
    for at, (place, t_s) in enumerate(zip(places, moments, strict=True)):
        level = 1 - level if at and place - places[at - 1] < gap else 0
        labels.append("\n" * level + moment_text(plan, t_s))
    axes.set_xticks(places, labels)
    if len(plan.steps) > 1:
        axes.annotate(
            "//",
            (1.0 - 0.5 * LAST_SHARE, 0.0),
            xycoords="axes fraction",
            ha="center",
            va="center",
            color=FAINT,
            fontsize=11,
            annotation_clip=False,
        )


def moment_text(plan: Plan, t_s: float) -> str:
    """A moment of the evening to five minutes: the time of day if one was given, else hours since the heat went on."""
    minutes = int(STEP_MIN * round(t_s / 60 / STEP_MIN))
    if plan.starts_min is not None:
        return clock_text(plan.starts_min + minutes)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _step_list(figure: Any, plan: Plan, shown: Shown) -> None:
    """The steps and what to have ready under the picture, in two columns read downward."""
    said = next(section for section in sections(plan, shown) if section.title == "Tonight's steps")
    blocks = [
        *((str(number), line) for number, line in enumerate(said.lines, start=1)),
        ("!", f"Have ready: {have_ready(plan, shown)}"),
    ]
    floor = LOOK_OUT_Y + _look_out(figure, plan, shown)
    written = [(sign, filled(line, STEP_WIDTH)) for sign, line in blocks]
    left = _left_column([text.count("\n") + 1 for _, text in written])
    columns = (written[:left], written[left:])
    most = max(sum(text.count("\n") + 1 + GAP_LINES for _, text in column) for column in columns)
    line_y = min(LINE_Y, (LIST_Y - floor) / most)
    size = 8.9 * line_y / LINE_Y
    for number, column in enumerate(columns):
        x, y = 0.06 + 0.47 * number, LIST_Y
        for sign, text in column:
            figure.text(x, y, sign, fontsize=13, fontweight="bold", color=CHOCOLATE, va="top")
            figure.text(x + 0.025, y, text, fontsize=size, va="top", linespacing=1.35)
            y -= line_y * (text.count("\n") + 1 + GAP_LINES)
    foot = (
        "A plan, not a measurement: the steps after melting are drawn as people do them. Only a temper test shows "
        "the temper."
    )
    if plan.starts_min is None:
        foot += f" Times count from the start; the last step is {duration_words(plan.steps[-1].lasts_s)}."
    figure.text(0.06, 0.022, foot, fontsize=8, color=FAINT)


def _look_out(figure: Any, plan: Plan, shown: Shown) -> float:
    """The first thing to look out for, over the foot; how high it is, of the sheet."""
    warned = cautions(plan, shown)
    if not warned:
        return 0.0
    more = f" ({len(warned) - 1} more in the plan)" if len(warned) > 1 else ""
    words = filled(f"Look out: {warned[0]}{more}", 170)
    figure.text(0.06, LOOK_OUT_Y, words, fontsize=8, color=CEILING, va="bottom")
    return SMALL_LINE_Y * (words.count("\n") + 1.5)


def _left_column(lines: list[int]) -> int:
    """How many of the blocks, by their lines, stand in the left of two columns that are to be as high as each other."""
    return min(range(1, len(lines)), key=lambda at: max(sum(lines[:at]) + at, sum(lines[at:]) + len(lines) - at))


# -- the page --------------------------------------------------------------------------------------------------------


def _html(plan: Plan, shown: Shown) -> str:
    picture = draw(plan, shown, "svg", with_steps=False).decode()
    picture = picture[picture.index("<svg") :]
    title = html.escape(headline(plan, shown))
    body = "\n".join(_section(section) for section in sections(plan, shown))
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f"<style>{_STYLE}</style></head>\n<body><h1>{title}</h1>\n"
        f'<div role="img" aria-label="Water and chocolate over the evening">{picture}</div>\n<main>\n{body}\n</main>'
        "</body></html>\n"
    )


def _section(section: Section) -> str:
    kinds = {"Look out": "warn", SOURCES_TITLE: "small", "Assumed": "small"}
    lines = "\n".join(f"<p>{html.escape(unbroken(line))}</p>" for line in section.lines)
    return (
        f'<section class="{kinds.get(section.title, "plain")}"><h2>{html.escape(section.title)}</h2>\n{lines}</section>'
    )
