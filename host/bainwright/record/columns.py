"""The columns of a hold's log, each from one field of the board's status line, and both ways between them."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from typing import Any, NamedTuple

from bainwright.core.terminal import one_line
from bainwright.link.messages import Status, bounds


class Column(NamedTuple):
    """A column, the field it holds, and how many decimals of its unit the wire counts in: 3 for m°C as °C."""

    name: str
    field: str
    decimals: int = 0

    @property
    def is_text(self) -> bool:
        """Does it hold a word?"""
        return bool(Status.__annotations__[self.field] == "str")

    @property
    def may_be_empty(self) -> bool:
        """May its number be unknown?"""
        return "None" in Status.__annotations__[self.field]

    def bounds(self) -> tuple[float, float]:
        """The least and the most that its number may be."""
        least, most = bounds(self.field)
        return least / 10**self.decimals, most / 10**self.decimals

    def text(self, value: Any) -> str:
        """The field as the log has it; an unknown temperature is empty, never a number."""
        if value is None:
            return ""
        return one_line(value) if isinstance(value, str) else f"{value / 10**self.decimals:.{self.decimals}f}"

    def field_value(self, value: Any) -> int | str | None:
        """The log's value as the status line had it."""
        if self.is_text:
            return str(value)
        return None if math.isnan(value) else round(value * 10**self.decimals)


# Board time only: wall time is in hold.json. The numbers of the line and the lines it lost are the link's business.
COLUMNS = (
    Column("t_s", "t", 3),
    Column("state", "state"),
    Column("stage", "stage"),
    Column("water_c", "water", 3),
    Column("bowl_c", "bowl", 3),
    Column("bowl_estimated", "est"),
    Column("target_c", "target", 3),
    Column("water_target_c", "water_target", 3),
    Column("duty", "duty", 4),
    Column("on_ms", "on"),
    Column("fault", "fault"),
    Column("warn", "warn"),
    Column("ask", "ask"),
)
NAMES = tuple(column.name for column in COLUMNS)
HEADER = ",".join(NAMES)
TEXTS = tuple(column.name for column in COLUMNS if column.is_text)
MAY_BE_EMPTY = tuple(column.name for column in COLUMNS if column.may_be_empty)
BOUNDS = {column.name: column.bounds() for column in COLUMNS if not column.is_text}


def row(t_ms: int, status: Status) -> str:
    """A status line as a row of the log, at the time of the log."""
    line = io.StringIO()
    fields = [column.text(getattr(status, column.field)) for column in COLUMNS[1:]]
    csv.writer(line, lineterminator="\n").writerow([COLUMNS[0].text(t_ms), *fields])
    return line.getvalue()


def status_of(number: int, values: Mapping[str, Any]) -> Status:
    """A row of the log as the status line it came from."""
    fields: dict[str, Any] = {column.field: column.field_value(values[column.name]) for column in COLUMNS}
    return Status(status=number, drops=0, **fields)
