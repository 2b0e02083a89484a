"""The least and the most of each number in a record: those of a setting are the board's own, the others are here.

A figure outside them is a damaged file. Nothing is computed with it.
"""

from __future__ import annotations

from typing import Annotated, Any

from msgspec import Meta

from bainboard import settings

_ROWS: dict[str, tuple[Any, ...]] = {str(row[settings.NAME]): row for row in settings.SETTINGS}


def least(name: str) -> float:
    """The least that a setting may be, in the setting's unit."""
    return float(_ROWS[name][settings.LOW])


def most(name: str) -> float:
    """The most that a setting may be, in the setting's unit."""
    return float(_ROWS[name][settings.HIGH])


def of_setting(name: str) -> Meta:
    """The bounds of a setting, for the type of a record's field."""
    return Meta(ge=least(name), le=most(name))


COLDEST_C, HOTTEST_C = -60.0, 300.0  # chosen: wider than any probe of a warmer reads
EARLIEST_S, LATEST_S = -2.2e9, 2.5e11  # of a date, since 1970; chosen: 1900, and before any calendar's last year
LONGEST_S = 1e6  # chosen: eleven days; no hold lasts over two

OffsetC = Annotated[float, of_setting("probe.water.offset_c")]
Gain = Annotated[float, of_setting("probe.water.gain")]
BowlOffsetC = Annotated[float, of_setting("bowl_offset_c")]
RoomC = Annotated[float, of_setting("room_c")]
ChocolateKg = Annotated[float, Meta(ge=0.0, le=most("chocolate_kg"))]

TempC = Annotated[float, Meta(ge=COLDEST_C, le=HOTTEST_C)]
StandardK = Annotated[float, Meta(ge=0.001, le=20.0)]  # a standard uncertainty; chosen: a probe's step is 0.06 K
SpreadK = Annotated[float, Meta(ge=0.0, le=100.0)]  # an expanded uncertainty, or the spread of readings; chosen
RowS = Annotated[float, of_setting("log.status_s")]  # from one row of a log to the next
DurationS = Annotated[float, Meta(ge=0.0, le=LONGEST_S)]
TimesMelted = Annotated[int, Meta(ge=1, le=1000)]  # chosen: once a week for twenty years
