"""What `bain plan` promises, against the virtual board: the firmware's own way there, on a warmer the plan never saw.

Oracle: the built-in plant behind the board. It solves balances of its own, but shares sizes, films and air with the
plan; a solver that shares nothing is in test_plan_times. Its probes are a sixteenth of a degree off.
"""

from __future__ import annotations

import numpy as np
import pytest

from bainwright import cli
from bainwright.core.masses import Shown
from bainwright.files.rig import load_rig
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.parts import Plan
from bainwright.plan.planner import make_plan
from bainwright.record.reader import HoldLog, read_log


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own: no evenings gone by, nothing left behind."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def planned(rig: str, total: str, chocolate: str = "dark", **options: str) -> Plan:
    """A plan in a room of 20 °C."""
    return make_plan(batch_request(PlanOptions(chocolate, total=total, rig=rig, room="20", **options), Shown()))


def played(here, rig: str, stage: str, for_: str, start: dict[str, float], events: list[str],
           chocolate: str = "dark") -> HoldLog:
    """The log of a hold on the virtual board with these happenings."""
    begin = "\n".join(f"{name} = {value}" for name, value in start.items())
    (here / "s.toml").write_text(f"[start]\n{begin}\n\n" + "\n".join(f"[[event]]\n{event}\n" for event in events))
    out = here / f"{rig}-{stage}"
    cli.main(["hold", chocolate, "--virtual", rig, "--from", stage, "--scenario", "s.toml", "--for", for_,
              "--room", "20", "--out", str(out)])
    return read_log(out)


def heat_j(log: HoldLog, watts: float) -> np.ndarray:
    """Electrical heat so far, a figure a row: the measured on-time of each second."""
    return np.cumsum(log["on_ms"]) / 1000.0 * watts


@pytest.mark.parametrize(
    ("rig", "total", "chocolate"),
    [("pot", "2.2kg", "dark"), ("pot", "1kg", "dark"), ("mat", "1.2kg", "dark"), ("pot", "2kg", "milk"),
     ("mat", "1kg", "white"), ("pot", "1.5kg", "ruby")],
)
def test_the_planned_seed_ends_within_half_a_kelvin_of_where_it_was_planned_to(here, rig, total, chocolate):
    """The melt as planned, straight from its bath, in six handfuls on the table in the plan's twelve minutes."""
    plan = planned(rig, total, chocolate)
    seed_kg = plan.seed.likely_kg
    events = ['at_s = 1\nkind = "bowl_off"\nreported = true']
    events += [f'at_s = {2 + 120 * n}\nkind = "seed"\nmass_kg = {seed_kg / 6}\ntemp_c = 20.0' for n in range(6)]
    melt_kg = plan.request.batch_kg - seed_kg
    start = {"water_c": plan.melt.water_c, "bowl_c": plan.request.melt_c, "chocolate_kg": melt_kg}
    log = played(here, rig, "seed", "13m", start, events, chocolate)
    ended = np.argmax(log["t_s"] >= 722.0)
    assert log["bowl_c"][ended] == pytest.approx(plan.seed.end_c, abs=0.5)


@pytest.mark.parametrize("rig", ["pot", "mat"])
def test_warming_up_takes_the_planned_time_and_energy(here, rig):
    """A bowl in temper into a cold bath. Time counts from the first full second of heat; both within 10 %."""
    settings = load_rig(rig).settings
    plan = planned(rig, f"{settings['chocolate_kg']}kg")
    log = played(here, rig, "work", "40m", {"water_c": 20.0, "bowl_c": 31.0}, [])
    used_j = heat_j(log, settings["heater_w"])
    there = int(np.argmax(log["water_c"] >= plan.warm_up.water_c))
    assert there > 0
    heated_s = used_j[there] / settings["heater_w"]
    assert heated_s == pytest.approx(plan.warm_up.took.likely_s, rel=0.10)
    assert used_j[there] == pytest.approx(plan.warm_up.energy_j, rel=0.10)


@pytest.mark.parametrize(("rig", "total", "melt"), [("pot", "2.2kg", "48"), ("mat", "0.8kg", "45")])
def test_melting_takes_the_planned_time_and_energy(here, rig, total, melt):
    """Stirred half of the time, as the plan takes it; from the end of the self-test to the question; within 10 %."""
    settings = load_rig(rig).settings
    (here / "mine.toml").write_text(f'name = "mine"\nkind = "dark"\nmelt_c = {melt}\n[work]\nlow_c = 31\nhigh_c = 32\n')
    plan = planned(rig, total, melt=melt)
    solid_kg = plan.melt.solid_kg
    start = {"water_c": 20.0, "bowl_c": 20.0, "chocolate_kg": solid_kg, "solid_kg": solid_kg}
    stirs = [f'at_s = {at}\nkind = "stir"\nfor_s = 240' for at in range(300, 9000, 480)]
    for_m = round(1.1 * plan.melt.took.likely_s / 60 + 10)  # and the self-test
    log = played(here, rig, "melt", f"{for_m}m", start, stirs, "mine.toml")
    asked = int(np.argmax(log["ask"] == "all_melted"))
    assert asked > 0
    checked_s = next(event["t_s"] for event in log.events if event["event"] == "checked")
    assert log["t_s"][asked] - checked_s == pytest.approx(plan.melt.took.likely_s, rel=0.10)
    assert heat_j(log, settings["heater_w"])[asked] == pytest.approx(plan.melt.energy_j, rel=0.10)
