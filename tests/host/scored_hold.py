"""Play a whole hold and recompute its every figure with the second scorer, from `hold.csv` and the truth."""

from __future__ import annotations

import contextlib
import csv
import io
import json
from pathlib import Path
from unittest import mock

import pytest
from independent_scorer import Row, check_sentences, rescore

from bainwright import cli
from bainwright.files.score import Window
from bainwright.virtual.session import VirtualSession

WINDOWS = {"dark": Window(31.0, 31.5, 32.0, 34.5), "milk": Window(30.0, 30.5, 31.0, 33.5)}


def agree(result: dict, wanted: dict) -> None:
    """Each figure of the second scorer is in the result, and the same."""
    for name, value in wanted.items():
        if value is None:
            assert result[name] is None, name
        else:
            assert result[name] == pytest.approx(value, rel=1e-9, abs=1e-9), name


def known(value: float) -> float | None:
    """A reading, or None for NaN."""
    return None if value != value else float(value)


def recompute(chocolate: str, options: list[str], folder: Path, for_: str = "40m") -> int:
    """Play a hold into `folder`; returns how many claims of its sentences were checked.

    From `hold.csv` alone for a plant whose readings are what is scored; else from the truth beside the target.
    """
    read, truths, out = VirtualSession.truth, [], io.StringIO()

    def remembered(session):
        truths.append(read(session))
        return truths[-1]

    with mock.patch.object(VirtualSession, "truth", remembered), contextlib.redirect_stdout(out):
        cli.main(["hold", chocolate, *options, "--for", for_, "--json", "--out", str(folder)])
    result = json.loads(out.getvalue())
    (truth,) = truths
    with open(folder / "hold.csv", newline="") as file:
        log = [(float(row["t_s"]), row["target_c"]) for row in csv.DictReader(file)]
    window, end_s, n, rows = WINDOWS[chocolate], result["duration_s"], 0, []
    for t_ms, water_c, bowl_c in zip(truth["t_ms"], truth["water_c"], truth["bowl_c"], strict=True):
        if t_ms / 1000 > end_s:
            break
        while n + 1 < len(log) and log[n + 1][0] <= t_ms / 1000:
            n += 1
        rows.append(Row(t_ms / 1000, known(water_c), known(bowl_c), float(log[n][1] or window.target_c)))
    wanted = rescore(rows, end_s, window.low_c, window.high_c)
    agree(result, wanted)
    noisy = any("Raw" in option for option in options)
    assert result["scored_from"] == ("noisy readings of the plant" if noisy else "true temperatures")
    return check_sentences(result["summary"], wanted, window.low_c, window.high_c, window.ceiling_c,
                           "plate" if "plate" in options else "water")
