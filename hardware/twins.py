"""Plays each build's simulated twin for two hours and sets it beside its plan; and its rise from cold, bowl empty.

    python hardware/twins.py [mat pot plate]    # some minutes; stores twins.csv, from which README.md has its table

A bowl of dark in temper is set into a cold bath or onto a cold plate, in a room at 20 °C, and nobody dips.
"""

from __future__ import annotations

import csv
import json
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from tables import table

from bainwright.builds.catalogue import BUILDS, BY_NAME
from bainwright.builds.parts import Build
from bainwright.builds.rig_text import twin_name
from bainwright.core.masses import Shown
from bainwright.plan import say
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.parts import Plan
from bainwright.plan.planner import make_plan

RESULTS = Path(__file__).with_name("twins.csv")
HOURS, LAST_S = 2, 3600.0
START = "[start]\nwater_c = 20.0\nbowl_c = {:g}\nchocolate_kg = {:g}\nroom_c = 20.0\n"
EMPTY_KG, RISE_HOURS, STEEPEST_S = 0.05, 0.5, 180.0  # the least that a scenario takes; chosen
THERE_K = 0.3  # the bath counts as warm so near its steady water


def plan_of(build: Build) -> Plan:
    """The plan for a full bowl on a build's twin."""
    return make_plan(batch_request(PlanOptions("dark", f"{build.chocolate_kg}kg", rig=twin_name(build)), Shown()))


def play(build: Build) -> dict[str, str]:
    """Hold two hours and measure: warm-up after the self-test, heat and ripple in the last hour, what went wrong."""
    rows, trips = _held(build, 31.5, build.chocolate_kg, HOURS)
    empty, _ = _held(build, 20.0, EMPTY_KG, RISE_HOURS)
    return {"build": build.name, **_measured(build, rows), "rise_k_per_min": f"{_steepest(empty):.2f}",
            "trips": str(trips)}


def _held(build: Build, bowl_c: float, chocolate_kg: float, hours: float) -> tuple[list[dict[str, str]], int]:
    """A hold from cold water or a cold plate: its log, and how often it tripped."""
    with tempfile.TemporaryDirectory() as folder:
        scenario, out = Path(folder) / "cold.toml", Path(folder) / "held"
        scenario.write_text(f'title = "cold"\nrig = "{twin_name(build)}"\nduration_s = {3600 * hours:g}\n\n'
                            + START.format(bowl_c, chocolate_kg), encoding="utf-8")
        done = subprocess.run([sys.executable, "-m", "bainwright", "hold", "dark", "--virtual", twin_name(build),
                               "--scenario", str(scenario), "--for", f"{60 * hours:g}m", "--out", str(out)],
                              capture_output=True, text=True, check=False)  # fmt: skip
        if not (out / "hold.json").exists():
            raise RuntimeError(f"{build.name}: {(done.stderr or done.stdout).strip()[-300:]}")
        trips = json.loads((out / "hold.json").read_text(encoding="utf-8"))["trips"]
        with (out / "hold.csv").open(encoding="utf-8", newline="") as file:
            return [row for row in csv.DictReader(file) if row["water_c"]], len(trips)


def _steepest(rows: list[dict[str, str]]) -> float:
    """The fastest rise over three minutes of the hold, °C a minute."""
    held = [(float(row["t_s"]), float(row["water_c"])) for row in rows if row["state"] == "hold"]
    at = dict(held)
    rises_k = (at[t_s + STEEPEST_S] - water_c for t_s, water_c in held if t_s + STEEPEST_S in at)
    return max(rises_k) / (STEEPEST_S / 60.0)


def _measured(build: Build, rows: list[dict[str, str]]) -> dict[str, str]:
    tested_s = next(float(row["t_s"]) for row in rows if row["state"] == "hold")
    late = [row for row in rows if float(row["t_s"]) > 3600.0 * HOURS - LAST_S]
    steady_c = statistics.fmean(float(row["water_c"]) for row in late)
    warm_s = next(float(row["t_s"]) for row in rows if float(row["water_c"]) > steady_c - THERE_K)
    bowl = [float(row["bowl_c"]) for row in late if row["bowl_c"]]
    return {"test_s": f"{tested_s:.0f}", "warm_s": f"{warm_s - tested_s:.0f}", "water_c": f"{steady_c:.1f}",
            "heat_w": f"{build.heater_w * statistics.fmean(float(row['duty']) for row in late):.1f}",
            "low_c": f"{min(bowl):.2f}", "high_c": f"{max(bowl):.2f}"}


def twins_block() -> str:
    """Plan and play side by side, misses in words."""
    with RESULTS.open(encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    lines = []
    for row in found:
        build = BY_NAME[row["build"]]
        plan = plan_of(build)
        hold = plan.needs[-1]  # the ring covered, as the twin has it
        warm_s, heat_w = float(row["warm_s"]), float(row["heat_w"])
        lines.append((
            f"`{twin_name(build)}`", say.band(plan.warm_up.took) if plan.warm_up.took else "never",
            f"{warm_s / 60:.0f} min, after {float(row['test_s']) / 60:.0f} min of self-test",
            f"{hold.need_w:.0f} W", f"{heat_w:.0f} W", f"{hold.reserve:.1f} times",
            f"{row['low_c']} to {row['high_c']} °C", row["trips"], _miss(plan, warm_s, heat_w, row)))
    return table(("twin", "warm-up, plan", "played", "heat to hold, plan", "played", "reserve, plan",
                  "chocolate, last hour", "trips", "what the plan missed"), lines)


def _miss(plan: Plan, warm_s: float, heat_w: float, row: dict[str, str]) -> str:
    """In words, each figure outside what the plan promised; nine in ten should lie in its bands."""
    said, took, low_c, high_c = [], plan.warm_up.took, float(row["low_c"]), float(row["high_c"])
    if took is None or not took.low_s <= warm_s <= (took.high_s or warm_s):
        said.append("warm-up " + ("slower" if took is None or warm_s > took.likely_s else "quicker"))
    if not 0.8 <= heat_w / plan.needs[-1].need_w <= 1.25:
        said.append(f"heat {100 * heat_w / plan.needs[-1].need_w - 100:+.0f} %")
    profile = plan.request.profile
    if not profile.low_c <= low_c <= high_c <= profile.high_c:
        said.append("chocolate outside its window")
    return ", ".join(said) or "nothing"


def main(names: list[str]) -> None:
    """Play the builds named, or all; each result is stored as it comes."""
    with RESULTS.open(encoding="utf-8", newline="") as file:
        stored = {row["build"]: row for row in csv.DictReader(file)}
    for build in BUILDS:
        if not names or build.name in names:
            stored[build.name] = play(build)
        rows = [stored[each.name] for each in BUILDS if each.name in stored]
        with RESULTS.open("w", encoding="utf-8", newline="") as results:
            writer = csv.DictWriter(results, list(rows[0]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)


if __name__ == "__main__":
    main(sys.argv[1:])
