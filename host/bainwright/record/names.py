"""The names of the files that make a hold."""

from __future__ import annotations

import os
from pathlib import Path

CSV, PARQUET, EVENTS, FACTS = "hold.csv", "hold.parquet", "events.jsonl", "hold.json"
TESTS = "temper.json"


def is_hold(folder: Path) -> bool:
    """Does the folder have the record of a hold, or a part of one?"""
    return any(os.path.isfile(folder / name) for name in (CSV, PARQUET, FACTS))
