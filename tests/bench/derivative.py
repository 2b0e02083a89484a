"""What the derivative on the bowl is worth with safe gains, on warmers as described and on slower ones. By hand:

    PYTHONPATH=firmware:host:tests/bench python tests/bench/derivative.py [relatives]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import sys
from dataclasses import replace
from typing import Any

import msgspec
import numpy as np
from ratios import SECONDS, evening, relatives

from bainwright.files.rig import Rig
from bainwright.tuning import fastsim

NOTHING = 1e-6  # used as a zero: with a true zero the board would compute the derivative itself
WORTH = ("dipping", "quiet", "warm-up", "announced")


def slower(rig: Rig) -> Rig:
    """The same warmer with a heater three times, and probes twice, as slow as its settings say."""
    plant = msgspec.structs.replace(
        rig.plant, water_probe_lag_s=min(60.0, 2.0 * rig.plant.water_probe_lag_s),
        bowl_probe_lag_s=min(60.0, 2.0 * rig.plant.bowl_probe_lag_s))
    return replace(rig.with_settings({"heater_lag_s": min(300.0, 3.0 * rig.settings["heater_lag_s"])}), plant=plant)


def scores(rig: Rig, settings: dict[str, Any]) -> list[float]:
    """Errors of an evening of dipping, a calm warm-up's time, and the error with refills announced; seconds over."""
    done = fastsim.simulate([evening(rig, settings), evening(rig, settings, True),
                             evening(rig, settings, announced=True)], SECONDS)
    return [done["rms_k"][0], done["quiet_k"][0], done["warm_up_s"][1], done["rms_k"][2], done["wall_over_s"].sum()]


def main(count: int = 30) -> None:
    """Print each figure with the derivative over that without: median and worst of all warmers."""
    for title, as_built in (("as described", lambda rig: rig), ("heater and probes slower than described", slower)):
        pairs = []
        for rig in relatives(count):
            said = dict(rig.settings)
            pairs.append([scores(as_built(rig), said), scores(as_built(rig), {**said, "gains.bowl.td_s": NOTHING})])
        table = np.array(pairs)
        share = table[:, 0, :4] / table[:, 1, :4]
        print(f"{title}, {len(table)} warmers, {table[:, 0, 4].sum():.0f} s over a ceiling; with / without:")
        for at, name in enumerate(WORTH):
            print(f"  {name:10s} median {np.nanmedian(share[:, at]):.3f}, worst {np.nanmax(share[:, at]):.3f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
