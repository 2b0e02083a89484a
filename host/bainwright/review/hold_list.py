"""The list of holds as lines for a terminal, and as rows for a program."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from bainwright.archive.listing import Entry
from bainwright.core.terminal import one_line
from bainwright.core.units import duration_words

HEAD = ("hold", "date", "from", "to", "length", "chocolate", "verdict", "trips", "peak", "warmer")
RIGHT = ("length", "trips", "peak", "outside", "coldest", "warmest", "water", "heat", "per degree", "bath-bowl",
         "alarms", "holds", "to look at", "recorded", "in window", "below", "above", "energy")  # fmt: skip


def as_result(hold: Entry) -> dict[str, Any]:
    """A hold for JSON; moments in ISO 8601 with their zone."""

    def moment(at: datetime | None) -> str | None:
        return at.isoformat(timespec="seconds") if at else None

    return {
        "name": hold.name, "folder": hold.folder, "started": moment(hold.started), "ended": moment(hold.ended_at),
        "duration_s": hold.duration_s, "chocolate": hold.chocolate, "kind": hold.kind, "stage": hold.stage,
        "verdict": hold.verdict, "in_window_fraction": hold.in_window, "bowl_peak_c": hold.bowl_peak_c,
        "water_peak_c": hold.water_peak_c, "trips": hold.trips, "warmer": hold.warmer, "board": hold.board,
        "hold": hold.hold, "firmware": hold.firmware, "virtual": hold.virtual,
    }  # fmt: skip


def _cells(hold: Entry) -> tuple[str, ...]:
    started = hold.started
    ended = hold.ended_at
    days = (ended.date() - started.date()).days if started and ended else 0
    moment = started.isoformat() if started else ""
    return (
        hold.name,
        moment[:10] or "?",
        moment[11:16] or "?",
        (ended.isoformat()[11:16] + (f" +{days}" if days else "")) if ended else "?",
        _length(hold),
        hold.chocolate or "?",
        hold.verdict,
        str(hold.trips or "-"),
        f"{hold.bowl_peak_c:.1f} °C" if hold.bowl_peak_c is not None else "-",
        (hold.warmer or "?") + (" (VIRTUAL)" if hold.virtual else ""),
    )


def _length(hold: Entry) -> str:
    length_s = hold.recorded_s if hold.duration_s is None else hold.duration_s
    return "?" if length_s is None else duration_words(length_s)


def lines(holds: Sequence[Entry]) -> list[str]:
    """The list as a table, a line a hold.

    Parameters
    ----------
    holds : sequence of Entry
        In the order they are shown.
    """
    return aligned([HEAD, *map(_cells, holds)])


def aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """A table for the terminal: the first row is the head, numbers are flush right, each row is one line."""
    columns = []
    for name, *texts in zip(*rows, strict=True):
        cells = list(map(one_line, texts))
        width = max(len(name), max(map(len, cells), default=0))
        side = ">" if name in RIGHT else "<"
        columns.append([f"{cell:{side}{width}}" for cell in (name, *cells)])
    return ["  ".join(row).rstrip() for row in zip(*columns, strict=True)]
