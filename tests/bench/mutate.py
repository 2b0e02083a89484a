"""Change one comparison, operator or constant at a time and see whether a test notices; by hand.

``python tests/bench/mutate.py 120`` tries 120 mutants, drawn evenly over the modules below, in a copy of the host's
source, each against the tests listed for its module, and prints what became of each. ``... 40 files/score.py`` tries
only that module's, ``... 40 seed=3 files/score.py`` another draw of them, and ``... 0 files/score.py`` the unchanged
source. Some mutants cannot differ from the original in any test (a tolerance, a limit of iterations): the reader must
judge those that live.
"""

from __future__ import annotations

import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
# Quick tests first.
PLAN = ("test_plan_seed.py", "test_plan_methods.py", "test_plan_heat.py", "test_seeding.py", "test_chocolate_facts.py",
        "test_ramp.py", "test_trade_facts.py", "test_stock.py", "test_tonight.py", "test_plan_input.py",
        "test_plan_times.py", "test_plan_simulated.py", "test_plan.py", "test_plan_page.py", "test_plan_grid.py")
CALIBRATION = ("test_calibration_fit.py", "test_calibration_record.py", "test_calibrate_dialogue.py",
               "test_calibrate.py")
MODULES = {
    "physics/refills.py": PLAN, "physics/seeding.py": PLAN, "physics/chocolate_heat.py": PLAN, "physics/air.py": PLAN,
    "physics/kitchen.py": PLAN, "physics/heating.py": PLAN,
    "plan/batch_mass.py": PLAN, "plan/holding.py": PLAN, "plan/options.py": PLAN, "plan/refilling.py": PLAN,
    "plan/schedule.py": PLAN, "plan/setup.py": PLAN, "plan/spread.py": PLAN, "plan/tempering.py": PLAN,
    "plan/timing.py": PLAN, "plan/warmer.py": PLAN, "plan/cautions.py": PLAN,
    "plan/heater_size.py": ("test_heater_size.py",), "plan/ramp.py": PLAN, "plan/say.py": PLAN,
    "plan/planner.py": PLAN, "plan/request.py": PLAN, "plan/tonight.py": PLAN,
    "plan/compare.py": ("test_stock.py",), "plan/history.py": ("test_stock.py", "test_plan_heat.py"),
    "record/leftovers.py": ("test_stock.py",), "plan/stock.py": ("test_stock.py",),
    "record/temper_tests.py": ("test_temper_tests.py",), "files/score.py": ("test_score.py",),
    "record/temper_entry.py": ("test_temper_tests.py",),
    "calibration/fit.py": CALIBRATION, "calibration/baths.py": CALIBRATION, "calibration/measure.py": CALIBRATION,
    "calibration/by_hand.py": CALIBRATION, "calibration/calibration_record.py": CALIBRATION,
    "calibration/reading.py": CALIBRATION, "calibration/warmer.py": CALIBRATION, "calibration/report.py": CALIBRATION,
    "calibration/rig_editor.py": CALIBRATION,
    "tuning/proof.py": ("test_proof.py", "test_tune.py"), "tuning/tune.py": ("test_tune_command.py", "test_tune.py"),
}  # fmt: skip
LIMIT_S = 300.0  # chosen: twice what the tests of a module take; a mutant that makes them wait is printed, too
NEVER = "(sheet or page or any_kitchen)"  # of pictures, or of what cheaper tests say too
DEAR = ("(virtual_pot_writes or saved_hold or masses_over or every_kitchen or nine_melts or evaporation_grows or "
        "dew_point or virtual_warmer or less_time)")
SWAPS: dict[type, type] = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip


def places(tree: ast.Module) -> list[tuple[ast.AST, str]]:
    """Every node that can be changed, outside annotations and docstrings."""
    found: list[tuple[ast.AST, str]] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
            found.append((node, "compare"))
        elif isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPS:
            found.append((node, "operator"))
        elif isinstance(node, ast.Constant) and isinstance(node.value, float) and node.value:
            found.append((node, "constant"))
    return found


def change(node: ast.AST, how: str) -> None:
    """One mutation in place."""
    if how == "compare":
        assert isinstance(node, ast.Compare)
        node.ops[0] = SWAPS[type(node.ops[0])]()
    elif how == "operator":
        assert isinstance(node, ast.BinOp | ast.BoolOp)
        node.op = SWAPS[type(node.op)]()
    else:
        assert isinstance(node, ast.Constant)
        node.value = node.value * 1.25


def mutants(number: int, rnd: random.Random, names: Sequence[str]) -> Iterator[tuple[str, int, str, str]]:
    """Module, line, the line as it was, and the mutated source; modules in turn."""
    sources = {name: (ROOT / "host/bainwright" / name).read_text(encoding="utf-8") for name in names}
    orders = {name: rnd.sample(range(len(places(ast.parse(source)))), len(places(ast.parse(source))))
              for name, source in sources.items()}  # fmt: skip
    made = 0
    while made < number and any(orders.values()):
        for name, source in sources.items():
            if not orders[name] or made >= number:
                continue
            tree = ast.parse(source)
            node, how = places(tree)[orders[name].pop()]
            line = int(getattr(node, "lineno", 0))
            change(node, how)
            made += 1
            yield name, line, source.splitlines()[line - 1].strip(), ast.unparse(tree)


def fate(copy: Path, tests: tuple[str, ...]) -> str:
    """What the tests make of a mutant: dead, alive, or not known because they took too long."""
    for some in (f"not {NEVER} and not {DEAR}", f"not {NEVER} and {DEAR}"):
        if (became := fate_in(copy, tests, some)) != "lives":
            return became
    return "lives"


def fate_in(copy: Path, tests: tuple[str, ...], some: str) -> str:
    """The same for some of the tests."""
    paths = os.pathsep.join(str(each) for each in (copy / "host", ROOT / "firmware", ROOT / "tests/host"))
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider", "-o",
             f"pythonpath={ROOT / 'firmware'} {copy / 'host'}", "-k", some,
             *(str(ROOT / "tests/host" / test) for test in tests)],
            cwd=copy, env={**os.environ, "PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1"}, capture_output=True,
            check=False, timeout=LIMIT_S,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return "slow"
    return "lives" if done.returncode in (0, pytest.ExitCode.NO_TESTS_COLLECTED) else "dead"


def main(number: int, seed: int, names: Sequence[str]) -> None:
    """Try this many mutants and print the survivors."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        shutil.copytree(ROOT / "host", copy / "host")
        for tests in sorted({MODULES[name] for name in names} if number == 0 else ()):
            if (became := fate(copy, tests)) != "lives":
                raise SystemExit(f"the unchanged source does not pass {', '.join(tests)}: {became}")
        found = {"dead": 0, "lives": 0, "slow": 0}
        for name, line, text, source in mutants(number, random.Random(seed), names):
            target = copy / "host/bainwright" / name
            before = target.read_text(encoding="utf-8")
            target.write_text(source, encoding="utf-8")
            became = fate(copy, MODULES[name])
            found[became] += 1
            print(f"{became}: {name}:{line}: {text}", flush=True)
            target.write_text(before, encoding="utf-8")
        print(f"{sum(found.values())} mutants, {found['lives']} live, {found['slow']} slow")


if __name__ == "__main__":
    count, *more = sys.argv[1:] or ["100"]
    draw = int(more.pop(0).removeprefix("seed=")) if more and more[0].startswith("seed=") else 2
    main(int(count), draw, more or list(MODULES))
