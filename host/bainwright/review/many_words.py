"""Many holds summed, as a table for a terminal and as lines for a program."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from bainwright.core.units import duration_words

Line = dict[str, Any]

KEYS = {"night": ("hold", "date", "warmer", "chocolate", "verdict"), "warmer": ("warmer",), "month": ("month",),
        "kind": ("chocolate",)}  # fmt: skip
SUMS = ("holds", "to look at", "trips", "recorded", "in window", "below", "above", "warmest", "water", "heat", "energy")
OF_NIGHTS = SUMS[2:]


def as_result(line: Line) -> Line:
    """A line for JSON: moments in ISO 8601 with their zone."""
    return {name: value.replace(tzinfo=UTC).isoformat(timespec="seconds") if isinstance(value, datetime) else value
            for name, value in line.items()}


def table(per: str, lines: Sequence[Line]) -> list[tuple[str, ...]]:
    """A head row, then a row for each line.

    Parameters
    ----------
    per : str
        What the lines are of: ``night``, ``warmer``, ``month`` or ``kind``.
    lines : sequence of dict
        As an archive's engine answers.
    """
    names = [line["warmer_name"] for line in lines] if per == "warmer" else []
    twice = {name for name in names if names.count(name) > 1}
    head = KEYS[per] + (OF_NIGHTS if per == "night" else SUMS)
    return [head, *(_keys(per, line, twice) + _figures(per, line) for line in lines)]


def _keys(per: str, line: Line, twice: set[str]) -> tuple[str, ...]:
    if per == "night":
        started = line["started_utc"]
        date = started.replace(tzinfo=UTC).astimezone().date().isoformat() if started else "?"
        return line["hold"] or "?", date, _warmer(line), line["chocolate"] or "?", line["verdict"] or "?"
    if per == "warmer":
        board = f" (board {line['board'] or '?'})" if line["warmer_name"] in twice else ""
        return (_warmer(line) + board + _simulated(line),)
    return ((line[per] or "?") + _simulated(line),)


def _warmer(line: Line) -> str:
    return str(line["warmer_name"] or "?") + (" (VIRTUAL)" if line.get("virtual") else "")


def _simulated(line: Line) -> str:
    """How many of the holds were simulated: no sum passes them off as real."""
    count = line["virtual_holds"]
    if not count:
        return ""
    return " (VIRTUAL)" if count == line["holds"] else f" ({count} VIRTUAL)"


def _figures(per: str, line: Line) -> tuple[str, ...]:
    counts = () if per == "night" else (str(line["holds"]), str(line["look"] or "-"))
    return (
        *counts,
        str(line["trips"] or "-"),
        *(duration_words(line[name]) if line[name] is not None else "-"
          for name in ("recorded_s", "inside_s", "below_s", "above_s")),
        *(f"{line[name]:.1f} °C" if line[name] is not None else "-" for name in ("bowl_peak_c", "water_peak_c")),
        f"{line['mean_w']:.0f} W" if line["mean_w"] is not None else "-",
        f"{line['heat_kwh']:.2f} kWh" if line["heat_kwh"] is not None else "-",
    )  # fmt: skip
