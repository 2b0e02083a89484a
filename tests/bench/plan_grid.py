"""Whole plans for thousands of kitchens: ``python tests/bench/plan_grid.py 1000 7`` plans a thousand drawn by seed 7.

The suite plans a few dozen of them and checks the parts on thousands.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "host"))

from plan_cases import check_numbers, check_words, requests

from bainwright.core.errors import UseError
from bainwright.plan.planner import make_plan


def main(number: int, seed: int) -> None:
    """Plan this many kitchens; an exception or an absurd figure ends the run."""
    begun, refused = time.perf_counter(), 0
    for at, request in enumerate(requests(seed, number), 1):
        try:
            plan = make_plan(request)
        except UseError:
            refused += 1
            continue
        check_numbers(plan.as_dict())
        check_words(plan)
        if at % 500 == 0:
            print(f"{at} kitchens, {refused} refused in words, {time.perf_counter() - begun:.0f} s", flush=True)


if __name__ == "__main__":
    main(*(int(each) for each in (sys.argv[1:] or (5000, 7))))
