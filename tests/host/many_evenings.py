"""Evenings of several warmers as they lie in a home: what sums over many holds must keep apart."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from bainwright.record.columns import HEADER, NAMES

REPORT = {"below_s": 600.0, "inside_s": 6000.0, "above_s": 600.0, "unknown_s": 0.0, "in_window_fraction": 0.99,
          "bowl_low_c": 30.5, "bowl_peak_c": 31.9, "water_peak_c": 33.4, "exposure_k_min": 0.2}  # fmt: skip


def store(folder: Path, *, board: str = "b1", warmer: str = "market pot", number: int = 7, rows: int = 60, gap: int = 0,
          seed: int = 1, heater_w: float | None = 150.0, **changes: Any) -> Path:
    """A hold with readings of its own; `gap`: that many seconds are missing before its last row."""
    folder.mkdir(parents=True)
    rig = {"name": warmer} | ({"heater_w": heater_w} if heater_w else {})
    facts = {"started": "2026-11-20T22:00:00+00:00", "ended": "done", "duration_s": float(rows), "trips": [],
             "board": {"board": board, "version": "0.1.0"}, "hold": number, "rig": rig, "report": REPORT, **changes}
    (folder / "hold.json").write_text(json.dumps(facts))
    random = np.random.default_rng(seed)
    lines = [HEADER]
    for at in range(rows):
        t_s = at + 1 + (gap if at == rows - 1 else 0)
        bowl = "" if at % 7 == 3 else f"{31.5 + random.normal() / 10:.3f}"
        row = dict.fromkeys(NAMES, "0") | {
            "t_s": f"{t_s}.000", "state": "hold", "stage": "work", "water_c": f"{33 + random.normal() / 10:.3f}",
            "bowl_c": bowl, "bowl_estimated": str(int(at % 5 == 4)), "duty": f"{random.uniform():.4f}", "ask": ""}
        lines.append(",".join(row[name] for name in NAMES))
    (folder / "hold.csv").write_text("\n".join(lines) + "\n")
    return folder


def evenings(records: Path) -> None:
    """Two boards of one name in two months, a gap, a trip, a warmer without watts, one simulated, one of no known time.
    """
    profile = {"name": "dark", "kind": "dark"}
    store(records / "dark-1", seed=1)
    store(records / "dark-2", number=8, seed=2, gap=30, started="2026-10-31T23:30:00+00:00",
          trips=[{"fault": 3, "latched": True}], ended="tripped")
    store(records / "milk-1", board="b2", seed=3, rows=45, profile=profile)
    store(records / "milk-2", board="b3", warmer="kitchen 2", seed=4, heater_w=None)
    store(records / "try-1", board="b4", warmer="pot", seed=5, VIRTUAL=True)
    store(records / "old-1", board="", warmer="", seed=6, heater_w=None, started=None)
