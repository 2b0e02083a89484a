"""The record of every alarm, a line of JSON each in the home of records: where it went, when, whether it arrived."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from bainwright.alarms.rules import Alarm
from bainwright.core.home import home

FILE = "alarms.jsonl"


def record(alarm: Alarm, way: str, why: str, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
    """Append one delivery.

    Parameters
    ----------
    alarm : Alarm
        What was sent.
    way : str
        The name of the way, without passwords.
    why : str
        Why it did not arrive; empty where it did.
    now : callable
        The time of day.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    line = {"at": now().isoformat(timespec="seconds"), "way": way, "arrived": not why, "why": why, "cause": alarm.cause,
            "now": alarm.now, "call": alarm.call, "chocolate": alarm.chocolate, "warmer": alarm.warmer,
            "title": alarm.title, "words": alarm.words}  # fmt: skip
    path: Path = home() / FILE
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8", errors="backslashreplace") as file:
        file.write(json.dumps(line, ensure_ascii=False) + "\n")
