"""How often a review finds what changed about a warmer in the middle of a quiet night. By hand, four minutes:

    PYTHONPATH=firmware:host:tests/host:tests/bench python tests/bench/mid_night.py [first seed] [nights]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import sys
from collections import Counter
from typing import Any

import numpy as np
from played_nights import PLANTS, changed_in_mid_night
from ratios import relatives

from bainwright.happenings import kinds as found
from bainwright.happenings.search import find

HOURS, NEAR_S = 6.0, 120.0
CHANGES: tuple[tuple[str, dict[str, Any], set[str]], ...] = (
    ("bowl probe slips by 0.5 °C", {"slip_c": 0.5}, {found.PROBE_SLIPPED}),
    ("bowl probe slips by -0.5 °C", {"slip_c": -0.5}, {found.PROBE_SLIPPED}),
    ("lid left off", {"lid_off": True}, {found.COOLED, found.CHOCOLATE_COOLED, found.LIFTED}),
    ("heater 20 % weaker", {"watts": 0.8}, {found.COOLED, found.WATER_COOLED}),
    ("nothing", {}, set()),
)


def main(first: int = 600, nights: int = 12) -> None:
    """Print a row a change: how often something was found at its time, and of the right kind; then the false ones."""
    rigs = [rig for rig in relatives(30) if rig.plant.bath == "water"]
    for name, change, right in CHANGES:
        played, seen, named, false = 0, 0, 0, Counter[str]()
        for number in range(nights):
            seed, plant = first + number, list(PLANTS)[number % len(PLANTS)]
            if "lid_off" in change and plant == "lumped":
                continue  # two lumped stores have no lid to take off
            rig = rigs[seed % len(rigs)]
            at_s = float(np.random.default_rng(seed).uniform(6000.0, 10000.0))
            log = changed_in_mid_night(rig, at_s, HOURS, plant=plant, seed=seed, **change)
            _, happened = find(log, rig.settings)
            near = [each for each in happened if change and abs(each.at_s - at_s) <= NEAR_S]
            played += 1
            seen += bool(near)
            named += any(each.kind in right for each in near)
            false.update(each.kind for each in happened if each not in near)
        print(f"{name:28s} {played} nights, found {seen}, of the right kind {named}; elsewhere {dict(false)}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
