"""How often a review finds what happened, on simulated evenings whose truth is known. By hand, two minutes:

    PYTHONPATH=firmware:host:tests/host:tests/bench python tests/bench/happenings.py [first seed] [evenings]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import sys
from collections import Counter, defaultdict

import numpy as np
from played_nights import PLANTS, Truth, drawn, play, scaled
from ratios import relatives

from bainwright.happenings import kinds as found
from bainwright.happenings.search import find
from bainwright.happenings.words import poured_share
from bainwright.physics.materials import WATER_J_PER_KGK

HOURS, NEAR_S, BATH_C = 6.0, 120.0, 33.0
SLOW = {found.COOLED, found.CHOCOLATE_COOLED, found.WATER_COOLED, found.LIFTED}
RIGHT = {"refill": {found.COLD_REFILL, found.WARM_REFILL}, "top_up": {found.TOP_UP}, "lift": {found.LIFTED},
         "draught": SLOW}  # a strong draught is reported as "lifted, or in a strong draught"  # fmt: skip


def main(first: int = 20_000, evenings: int = 300) -> None:
    """Print a row for each kind, then the false ones."""
    rigs = [rig for rig in relatives(30) if rig.plant.bath == "water"]
    played, seen, right, late_s, false = Counter(), Counter(), Counter(), defaultdict(list), Counter()
    strong, shares, poured = Counter(), [], []
    for seed in range(first, first + evenings):
        rig, plant = rigs[seed % len(rigs)], list(PLANTS)[seed // len(rigs) % len(PLANTS)]
        truths, kitchen = drawn(seed, HOURS)
        truths = scaled(truths, rig.settings)
        log = play(rig, dict(rig.settings), truths, HOURS, plant=plant, seed=seed, **kitchen)
        balance, happened = find(log, rig.settings)
        left = list(happened)
        for truth in (each for each in truths if each.kind != "dip"):
            played[truth.kind] += 1
            near = [each for each in left if abs(each.at_s - truth.at_s) <= NEAR_S]
            if not near:
                continue
            best = max(near, key=lambda each: each.strength)
            left.remove(best)
            seen[truth.kind] += 1
            right[truth.kind] += best.kind in RIGHT[truth.kind]
            late_s[truth.kind].append(abs(best.at_s - truth.at_s))
            strong[best.strength >= 20.0, True] += 1
            if best.kind in RIGHT["refill"] and truth.kind == "refill":
                minute = (balance.t_s < best.at_s) & (balance.t_s >= best.at_s - 60.0)
                bowl_c = float(np.nanmean(balance.bowl_c[minute]))
                held_kg = _held_kg(truths, truth.at_s, kitchen["fill"] * rig.settings["chocolate_kg"])
                poured.append((plant, held_kg * poured_share(best.bowl_k, bowl_c, truth.temp_c) / truth.size))
            if best.kind == found.TOP_UP and truth.kind == "top_up":
                shares.append(-best.water_j / WATER_J_PER_KGK / (BATH_C - truth.temp_c) / truth.size)
        lasting = [each.at_s + each.size for each in truths if each.kind in ("lift", "draught")]
        for each in left:
            if any(abs(each.at_s - end_s) < NEAR_S for end_s in lasting):
                continue  # the end of something that lasted
            false[each.kind] += 1
            strong[each.strength >= 20.0, False] += 1
    print(f"{evenings} evenings of {HOURS:g} h: kind, played, found, and of the right kind, %; time, 95 % within, s; "
          "of those within 1 min, %")
    for kind in played:
        print(f"{kind:8s} {played[kind]:4d} {100 * seen[kind] / played[kind]:6.1f} "
              f"{100 * right[kind] / played[kind]:6.1f} {np.percentile(late_s[kind], 95):6.0f} "
              f"{100 * np.mean(np.array(late_s[kind]) <= 60.0):6.1f}")
    print(f"false: {10 * sum(false.values()) / HOURS / evenings:.2f} in ten hours, {dict(false)}")
    near_share = np.mean(np.abs(np.array(shares) - 1.0) < 0.25)
    print(f"litres of {len(shares)} top-ups, their temperature known: within 25 % in {100 * near_share:.0f} %, "
          f"5 to 95 %: {np.percentile(shares, 5):.2f} to {np.percentile(shares, 95):.2f} of the truth")
    for plant in PLANTS:
        ratios = np.array([ratio for name, ratio in poured if name == plant])
        print(f"refills, {plant}: mass for each kg in the bowl, temperature known, within 25 % in "
              f"{100 * np.mean(np.abs(ratios - 1.0) < 0.25):.0f} % of {len(ratios)}, 5 to 95 %: "
              f"{np.percentile(ratios, 5):.2f} to {np.percentile(ratios, 95):.2f} of the truth")
    for level, words in ((True, "strong"), (False, "weak")):
        print(f"{words}: {strong[level, True]} true, {strong[level, False]} false")


def _held_kg(truths: list[Truth], at_s: float, kg: float) -> float:
    """What was in the bowl at a moment."""
    for each in truths:
        if each.kind == "refill" and each.at_s < at_s:
            kg += each.size
        elif each.kind == "dip":
            kg -= each.temp_c / 1000.0 * max(0.0, min(at_s - each.at_s, each.size))  # its third figure is g/s
    return kg


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
