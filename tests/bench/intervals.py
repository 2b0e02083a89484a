"""How often the identified figures lie inside their own 95 % intervals, on simulated warmers. By hand, a few minutes:

    PYTHONPATH=firmware:host:tests/host python tests/bench/intervals.py [warmers] [seconds]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: small matrices, and threads would only wait

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from heated import NAMES, drawn, heated

from bainwright.tuning import dataset, identify


def one(seed: int, seconds: int) -> tuple[list[bool], list[float], list[bool]]:
    """For each figure: is it inside its interval, the interval's width as a factor, is it identified?"""
    settings, truth = drawn(seed)
    made = heated(settings, truth, seconds, seed=seed)
    found, _ = identify.identify(
        dataset.record(made.time_s, made.power_w, made.water_c, made.bowl_c, 20.0, settings), settings)
    pairs = [(getattr(found.low, name), getattr(found.high, name)) for name in NAMES]
    inside = [low <= truth[name] <= high for name, (low, high) in zip(NAMES, pairs, strict=True)]
    return inside, [high / low for low, high in pairs], [name in found.identified for name in NAMES]


def main(warmers: int = 200, seconds: int = 3600) -> None:
    """Print a table."""
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        rows = list(pool.map(one, range(warmers), [seconds] * warmers))
    inside, width, known = (np.array(column) for column in zip(*rows, strict=True))
    print(f"{warmers} warmers, {seconds / 60:g} min each: figure, inside its interval, identified in, median width")
    for at, name in enumerate(NAMES):
        print(f"{name:20s} {100 * inside[:, at].mean():5.1f} %  {100 * known[:, at].mean():5.1f} %  "
              f"x {np.median(width[:, at]):.2f}")
    print(f"all figures together {100 * inside.mean():5.1f} %; identified ones alone "
          f"{100 * inside[known].mean():5.1f} %")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
