"""A finished hold as it lies on disk."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from bainwright.record.columns import HEADER, NAMES

FACTS: dict[str, Any] = {
    "VIRTUAL": False, "started": "2026-11-20T18:00:00+00:00", "stage": "work", "ended": "done", "duration_s": 7200.0,
    "trips": [], "hold": 4,
    "profile": {"name": "dark", "kind": "dark", "low_c": 31.0, "target_c": 31.5, "high_c": 32.0, "ceiling_c": 34.5,
                "never_above_c": 55.0, "melt_c": 48.0, "keep_c": 40.0, "set_min": 5.0, "fail_min": 10.0},
    "rig": {"name": "my pot"}, "board": {"board": "0011", "version": "0.1.0"},
    "report": {"in_window_fraction": 0.99, "bowl_peak_c": 31.9, "water_peak_c": 33.4, "above_s": 0.0,
               "summary": "Held dark for 2 h: in its window 99 % of the time."},
}  # fmt: skip


def store(folder: Path, **changes: Any) -> Path:
    """A hold's folder with facts and a short log."""
    folder.mkdir(parents=True)
    (folder / "hold.json").write_text(json.dumps({**FACTS, **changes}))
    texts = {"state": "hold", "stage": "work", "water_c": "33.0", "bowl_c": "31.5", "ask": ""}
    row = dict.fromkeys(NAMES, "0") | texts
    rows = [",".join(str({**row, "t_s": f"{t_s}.000"}[name]) for name in NAMES) for t_s in range(3)]
    (folder / "hold.csv").write_text("\n".join([HEADER, *rows]) + "\n")
    (folder / "events.jsonl").write_text(json.dumps({"t_s": 1.0, "event": "thicker"}) + "\n")
    return folder
