"""What the tests of the drill share: a rig, a record in which everything passed, and how each item is found."""

from __future__ import annotations

import datetime
from typing import Any

from bainboard import settings
from bainwright.drill import record
from bainwright.drill.items import ITEMS
from bainwright.drill.record import Record, Result

NOW = datetime.datetime(2026, 11, 25, 12, tzinfo=datetime.UTC)


def rig(**changes: Any) -> dict[str, Any]:
    """A rig's settings, whole."""
    values, why = settings.check(settings.SETTINGS, {
        "name": "Oma", "probe.bowl.kind": "onewire", "float": changes.get("guard", True), **changes})
    assert why is None
    return dict(values)


def passed(values: dict[str, Any], at: datetime.datetime = NOW, *, without: tuple[str, ...] = ()) -> Record:
    """The record of a drill in which everything passed."""
    done = {item.name: Result(True, at, record.hash_now(item, values), version=item.version)
            for item in ITEMS if item.name not in without}  # fmt: skip
    return Record(str(values["name"]), False, done)


def states(stored: Record | None, values: dict[str, Any], now: datetime.datetime = NOW) -> dict[str, str]:
    """How each item found."""
    return {each.name: each.state for each in record.statuses(stored, values, now)}
