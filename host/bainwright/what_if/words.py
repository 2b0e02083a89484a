"""What a replay found, in plain sentences and for a program."""

from __future__ import annotations

from typing import Any

from bainwright.core.units import duration_words
from bainwright.what_if.choice import SHARE, Choice, Figure, Refused, WhatIf
from bainwright.what_if.outcome import BOWL, ERROR, OUTSIDE, WARM_UP, WATER
from bainwright.words.section import Section

TITLE = "What if"


def section(tried: WhatIf | Refused) -> Section:
    """The answer, or why the record has none."""
    if isinstance(tried, Refused):
        return Section(TITLE, [f"This record cannot say: {tried.why}."])
    return Section(TITLE, [
        f"The hold played again {_choice_words(tried.choice)}, with all that happened in it:",
        *(_line(each) for each in tried.figures),
        *(f"Is this another pot? {each[0].upper()}{each[1:]}." for each in tried.foreign),
        "All of these are by the probes' readings.",
        f"In brackets: where it would have been on {100 * SHARE:.0f} of 100 such evenings.",
    ])  # fmt: skip


def _choice_words(choice: Choice) -> str:
    said = []
    if choice.gains is not None:
        said.append(f"with the gains in {choice.gains_file}" if choice.gains_file else "with other gains")
    if choice.target_c is not None:
        said.append(f"with a target of {choice.target_c:.1f} °C")
    if choice.announce_s is not None:
        said.append(f"with each refill announced {duration_words(choice.announce_s)} before it came")
    return " and ".join(said)


def _line(each: Figure) -> str:
    """One figure: what it would have been, and what it was."""
    name, unit, decimals = {
        ERROR: ("Its usual distance from the target", "°C", 2),
        OUTSIDE: ("Time outside the window after the warm-up", "min", 0),
        WARM_UP: ("Time until it was in its window", "min", 0),
        WATER: ("Warmest water", "°C", 1),
        BOWL: ("Warmest chocolate", "°C", 1),
    }[each.name]
    would, was, low, high = (f"{value:.{decimals}f}" for value in (each.would_be, each.was, each.low, each.high))
    then = f"instead of {was} {unit}." if each.sure else f"and it was {was} {unit}: no sure difference."
    return f"{name}: {would} {unit} ({low} to {high}) {then}"


def as_json(tried: WhatIf | Refused) -> dict[str, Any]:
    """The same for a program; temperatures in °C, times in minutes."""
    choice = tried.choice
    asked = {"gains": None if choice.gains is None else dict(choice.gains), "target_c": choice.target_c,
             "announce_s": choice.announce_s}  # fmt: skip
    if isinstance(tried, Refused):
        return {"asked": asked, "refused": tried.why, "figures": None}
    figures = {each.name: {"was": each.was, "would_be": each.would_be, "low": each.low, "high": each.high,
                           "sure": each.sure} for each in tried.figures}  # fmt: skip
    return {"asked": asked, "refused": None, "interval": SHARE, "figures": figures,
            "gains_of_another_warmer": tried.foreign}
