"""What is asked of an archive of many holds, each question once, as an expression that no engine's dialect is in.

A night's figures come from its rows and its report; those of a warmer, a month or a kind of chocolate from its nights.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import ibis
from ibis import Table, Value
from ibis.expr.types import BooleanValue

from bainwright.archive import schema
from bainwright.archive.listing import IN_WINDOW, NOT_DIPPED, NOT_KNOWN

_TYPES = {schema.TEXT: "string", schema.WHOLE: "int64", schema.NUMBER: "float64", schema.YES_NO: "boolean",
          schema.MOMENT: "timestamp"}  # fmt: skip
_KEYS = dict.fromkeys(schema.PARTITIONS, "string")
HOLDS = ibis.table({**{name: _TYPES[kind] for name, kind in schema.HOLDS.items()}, **_KEYS}, name="holds")
ROWS = ibis.table({**{name: _TYPES[kind] for name, kind in schema.ROWS.items()}, **_KEYS}, name="rows")

NIGHT, WARMER, MONTH, KIND = "night", "warmer", "month", "kind"
GROUPS: dict[str, tuple[str, ...]] = {WARMER: ("warmer", "warmer_name", "board"), MONTH: ("month",), KIND: ("kind",)}
WELL = (IN_WINDOW, NOT_DIPPED, NOT_KNOWN)  # a verdict of another kind wants a person's look
J_PER_KWH = 3.6e6


@dataclass(frozen=True)
class Chosen:
    """Which holds: of a warmer by its name or board, of a kind, begun at a moment (UTC, without its zone) or later."""

    warmer: str | None = None
    kind: str | None = None
    since: datetime | None = None


def chosen_holds(chosen: Chosen, folders: tuple[str, ...] | None = None) -> Table:
    """The holds that were chosen, a line each; each file in the other folders and in the months before stays closed."""
    holds = HOLDS if folders is None else HOLDS.filter(HOLDS.warmer.isin(folders))
    if chosen.warmer is not None:
        name = chosen.warmer.lower()
        holds = holds.filter((holds.warmer_name.lower() == name) | (holds.board.lower() == name))
    if chosen.kind is not None:
        holds = holds.filter((holds.kind.lower() == chosen.kind.lower())
                             | (holds.chocolate.lower() == chosen.kind.lower()))
    if chosen.since is not None:
        holds = holds.filter(_not_before(holds, chosen.since),
                             holds.started_utc >= ibis.literal(chosen.since, type="timestamp"))
    return holds


def _not_before(table: Table, since: datetime) -> BooleanValue:
    """The months that may have holds since then; the unknown month sorts after every number."""
    return table.month >= f"{since:%Y-%m}"


def warmers(chosen: Chosen) -> Table:
    """The warmers of the chosen holds, as the archive's folders name them."""
    return chosen_holds(chosen).select("warmer").distinct()


def measured(chosen: Chosen, folders: tuple[str, ...] | None) -> Table:
    """What the rows of each hold come to; only those in the folders of some warmers, where a warmer was chosen."""
    rows = ROWS
    if folders is not None:
        rows = rows.filter(rows.warmer.isin(folders))
    if chosen.since is not None:
        rows = rows.filter(_not_before(rows, chosen.since))
    bowl_known = rows.bowl_c.notnull() & ~rows.bowl_estimated
    return rows.group_by("hold_id").agg(
        rows_there=rows.count(),
        recorded_s=rows.lasts_s.sum(),
        full_heat_s=(rows.duty * rows.lasts_s).sum(),
        water_mean_c=_mean(rows.water_c, rows.lasts_s, rows.water_c.notnull()),
        bowl_mean_c=_mean(rows.bowl_c, rows.lasts_s, bowl_known),
    )


def _mean(value: Any, lasts_s: Any, known: Any) -> Value:
    """The mean over time, of the rows with a reading."""
    return (value * lasts_s).sum(where=known) / lasts_s.sum(where=known)


def nights(chosen: Chosen, folders: tuple[str, ...] | None = None) -> Table:
    """A line a hold: what it was, what its report says, and what its rows come to.

    Parameters
    ----------
    chosen : Chosen
        Which holds.
    folders : tuple of str, optional
        The warmers of those, as `warmers` gives them; None: do not ask, read the rows of all.
    """
    joined = chosen_holds(chosen, folders).left_join(measured(chosen, folders), "hold_id")
    heat_j = joined.heater_w * joined.full_heat_s
    return joined.mutate(
        heat_kwh=heat_j / J_PER_KWH,
        mean_w=heat_j / joined.recorded_s.nullif(0.0),
        look=joined.verdict.notin(WELL).cast("int64"),
        lacking=(joined.rows_there.fill_null(0) != joined.rows).cast("int64"),
    )


NIGHT_COLUMNS = ("hold", "warmer_name", "board", "started_utc", "chocolate", "kind", "verdict", "trips", "recorded_s",
                 "below_s", "inside_s", "above_s", "bowl_mean_c", "bowl_peak_c", "water_mean_c", "water_peak_c",
                 "mean_w", "heat_kwh", "virtual", "firmware", "look", "lacking")  # fmt: skip


def per(group: str, chosen: Chosen, folders: tuple[str, ...] | None = None) -> Table:
    """The nights themselves, newest first, or their sums by warmer, month or kind, most to look at first.

    Parameters
    ----------
    group : str
        `NIGHT`, `WARMER`, `MONTH` or `KIND`.
    chosen, folders
        As for `nights`.
    """
    found = nights(chosen, folders)
    if group == NIGHT:
        return found.select("hold_id", *NIGHT_COLUMNS).order_by(
            [ibis.desc("started_utc", nulls_first=False), "hold_id"]).drop("hold_id")
    keys = GROUPS[group]
    heated_s = found.recorded_s.sum(where=found.heat_kwh.notnull())
    sums = found.group_by(keys).agg(
        holds=found.count(),
        virtual_holds=found.virtual.cast("int64").sum(),
        look=found.look.sum(),
        lacking=found.lacking.sum(),
        trips=found.trips.sum(),
        recorded_s=found.recorded_s.sum(),
        below_s=found.below_s.sum(),
        inside_s=found.inside_s.sum(),
        above_s=found.above_s.sum(),
        bowl_peak_c=found.bowl_peak_c.max(),
        water_peak_c=found.water_peak_c.max(),
        mean_w=J_PER_KWH * found.heat_kwh.sum() / heated_s.nullif(0.0),
        heat_kwh=found.heat_kwh.sum(),
        last_utc=found.started_utc.max(),
    )
    order = [ibis.desc("month")] if group == MONTH else [ibis.desc("look"), ibis.desc("trips"), *keys]
    return sums.order_by(order)
