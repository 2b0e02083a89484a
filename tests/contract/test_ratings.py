"""Every rating in the builds' tables, doubled and halved: a rule breaks, or what is made from it changes."""

from __future__ import annotations

import csv
import math
import re
import sys
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from bainwright.builds.catalogue import BUILDS, BY_NAME
from bainwright.builds.electrical import half_on_w
from bainwright.builds.parts import Build
from bainwright.builds.rig_text import rig_text, twin_name, twin_text
from bainwright.builds.rules import broken, partly_shorted_mat_c
from bainwright.builds.switch_heat import half_on, unfelt_w
from bainwright.core.masses import Shown
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.planner import make_plan

HARDWARE = Path(__file__).parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE))

import box_circuit  # noqa: E402 - scripts beside the pages, not a package
import build_figures  # noqa: E402
import gate_circuit  # noqa: E402
import labels  # noqa: E402
import power_circuit  # noqa: E402
import twins  # noqa: E402
import wrong_files  # noqa: E402

Where = tuple[str | int, ...]


def ratings(part: Any, where: Where = ()) -> Iterator[tuple[Where, float]]:
    """Every number in a table, with the way to it."""
    if is_dataclass(part):
        for field in fields(part):
            yield from ratings(getattr(part, field.name), (*where, field.name))
    elif isinstance(part, tuple):
        for at, each in enumerate(part):
            yield from ratings(each, (*where, at))
    elif isinstance(part, float):
        yield where, part


def changed(part: Any, where: Where, factor: float) -> Any:
    """The same table with one number times a factor."""
    if not where:
        return part * factor
    first, *rest = where
    if isinstance(first, int):
        return tuple(changed(each, tuple(rest), factor) if at == first else each for at, each in enumerate(part))
    return replace(part, **{first: changed(getattr(part, first), tuple(rest), factor)})


def made(build: Build) -> tuple[str, ...]:
    """Lists, tables, labels, rig files, and the words and values of the drawing."""
    blocks = (build_figures.parts_block, build_figures.vessel_block, build_figures.values_block,
              build_figures.rules_block, labels.labels_svg, rig_text, twin_text)
    return (*[block(build) for block in blocks], str(power_circuit.parts(build)))


def name_of(where: Where) -> str:
    """As the list below writes it."""
    return ".".join(str(each) for each in where if not isinstance(each, int))


EACH = [(name, where) for name, build in BY_NAME.items() for where, _ in ratings(build)]

# Ratings that may be twice or half of what they are without breaking a rule, and why that is no contradiction.
FREE = {
    "bowl_offset_c": "follows from the plan: see the test below",
    "switch.switched_nc": "a tenth of a watt: the guides show it, and twice as much leaves the junction cool enough",
}


def test_the_tables_have_the_ratings_that_they_are_known_for() -> None:
    names = {name_of(where) for _, where in EACH}
    known = {"mat.power_w", "fuse.marked_c", "on_vessel.opens_c", "switch.threshold_v", "base.thick_m", "supply_a"}
    assert known <= names
    assert len(EACH) > 110


@pytest.mark.parametrize("factor", [0.5, 2.0])
@pytest.mark.parametrize("build", BUILDS, ids=list(BY_NAME))
def test_a_rating_that_changes_breaks_a_rule_or_changes_what_is_made(build: Build, factor: float) -> None:
    before = made(build)
    silent = []
    for where, _ in ratings(build):
        other = changed(build, where, factor)
        if not broken(other) and made(other) == before:
            silent.append(name_of(where))
    assert silent == []


def test_ratings_that_no_rule_bounds_on_either_side_are_known_by_name() -> None:
    free = {name_of(where) for _, where in EACH}
    for name, where in EACH:
        if any(broken(changed(BY_NAME[name], where, factor)) for factor in (0.5, 2.0)):
            free.discard(name_of(where))
    assert free == set(FREE)


@pytest.mark.parametrize("build", BUILDS, ids=list(BY_NAME))
def test_offset_of_each_rig_file_is_the_plan_s_for_a_full_bowl(build: Build) -> None:
    """Oracle: the plan's balance of films for the same sizes, stirred now and then, good to a third."""
    plan = make_plan(batch_request(PlanOptions("dark", f"{build.chocolate_kg}kg", rig=twin_name(build)), Shown()))
    assert build.bowl_offset_c == pytest.approx(plan.hold.water_c - 31.5, abs=0.3)


def test_what_the_safety_page_says_by_hand_of_cut_outs_fuses_and_supplies_is_the_tables() -> None:
    page = (HARDWARE / "SAFETY.md").read_text(encoding="utf-8")
    mat, pot, plate = BUILDS
    assert (mat.on_mat.opens_c, mat.fuse.marked_c) == (plate.on_mat.opens_c, plate.fuse.marked_c)
    assert {build.on_vessel.opens_c for build in BUILDS} == {mat.on_vessel.opens_c}
    assert {build.supply_off_v for build in BUILDS} == {mat.supply_off_v}
    for row in (
        f"| bimetal, {mat.on_mat.opens_c:g} °C (pot {pot.on_mat.opens_c:g} °C) |",
        f"| bimetal, {mat.on_vessel.opens_c:g} °C |",
        f"| one-shot, on the mat, {mat.fuse.marked_c:g} °C (pot {pot.fuse.marked_c:g} °C) |",
        f"own shut-off ({mat.supply_off_v:g} V or less: {(mat.supply_off_v / 24.0) ** 2:.1f} times the heat)",
        f"| {mat.fuse_a:g} A, {mat.supply_w:.0f} W (pot {pot.fuse_a:g} A, {pot.supply_w:.0f} W; "
        f"plate {plate.fuse_a:g} A, {plate.supply_w:.0f} W) |",
        f"a quarter of the heat itself, {half_on_w(mat):.0f} to {half_on_w(plate):.0f} W,",
        f"the tab at {math.ceil(max(half_on(build).tab_c for build in BUILDS))} °C at most. Under "
        f"{unfelt_w(mat):.1f} W it may stay closed, and the tab under {mat.on_switch.latest_c:g} °C",
        f"keep its wire under {math.ceil(max(partly_shorted_mat_c(build) for build in BUILDS))} °C",
    ):
        assert row in page, row
    assert max(half_on(build).after_s for build in BUILDS) <= 210.0  # "within 3.5 minutes"
    assert {build.sink for build in BUILDS} == {mat.sink}


def test_no_twin_missed_its_plan() -> None:
    """Warm-up, heat and chocolate as played (`twins.csv`) lie within what the plan says of the same warmer."""
    rows = [line.split(" | ") for line in twins.twins_block().splitlines()[2:]]
    assert [row[-1].strip(" |") for row in rows] == ["nothing"] * len(BUILDS)


def test_rise_of_each_twin_lies_in_the_band_of_the_first_power_up() -> None:
    """Oracle: the simulated warmer, played from cold with its bowl all but empty (`twins.csv`)."""
    page = (HARDWARE / "first-power-up.md").read_text(encoding="utf-8")
    line = next(line for line in page.splitlines() if line.startswith("| rise in a hold from cold"))
    bands = [tuple(map(float, re.findall(r"[\d.]+", cell))) for cell in line.strip("| ").split(" | ")[1:]]
    with twins.RESULTS.open(encoding="utf-8", newline="") as file:
        rises = [float(row["rise_k_per_min"]) for row in csv.DictReader(file)]
    assert all(low < rise < high for rise, (low, high) in zip(rises, bands, strict=True)), (rises, bands)


def test_each_wrong_file_and_part_is_met_and_no_right_one_is() -> None:
    """Every pair of builds and files as played (`wrong_files.csv`), and parts that are not as stated."""
    rows = {row["case"]: wrong_files.met(row) for row in wrong_files.read()}
    assert list(rows) == [case.title for case in wrong_files.cases()]
    assert {case for case, met in rows.items() if not met} == {f"{build.name}: its own file" for build in BUILDS}


@pytest.mark.parametrize("part", [part for part in (*gate_circuit.PARTS, *box_circuit.PARTS) if part.kind in "RC"],
                         ids=lambda part: part.ref)  # fmt: skip
def test_a_part_s_label_is_made_from_its_value(part: gate_circuit.Part) -> None:
    number = part.value if part.kind == "R" else 1e6 * part.value
    scale = {"k": 1e3, "Ω": 1.0, "µF": 1.0, "n": 1e-3}
    words = part.label.removeprefix(part.ref).split()
    unit = next(unit for unit in scale if unit in "".join(words[:2]))
    assert float(words[0].rstrip("kn")) * scale[unit] == pytest.approx(number)
