"""Mutants of the supervisor: each check deleted or turned round, each verdict of the self-test taken away.

A mutant is made from the source by its syntax tree and lives in one child process. The campaign must fail on it: a case
that is good on the firmware as it is and not on the mutant kills it.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import json
import multiprocessing
import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

from bainboard import faults, selftest, supervisor, warmer

from . import campaign
from .cases import Case, parse
from .evenings import EVERYDAY
from .judge import play
from .strikes import BY_NAME, bits

OWN = "the firmware's own check"
CHECKS = Path(__file__).parents[1] / "firmware"
MODULES: dict[str, ModuleType] = {"supervisor": supervisor, "selftest": selftest}


@dataclass(frozen=True)
class Mutant:
    """One change: of the `number`-th place of its kind in a module."""

    module: str
    kind: str
    number: int
    name: str


class Change(ast.NodeTransformer):
    """Visits the places of a kind; changes one, and names them all."""

    def __init__(self, kind: str, number: int = -1) -> None:
        self.kind, self.number = kind, number
        self.names: list[str] = []
        self._where = ""

    def _here(self, name: str) -> bool:
        self.names.append(name)
        return len(self.names) - 1 == self.number

    def visit_FunctionDef(self, node: ast.FunctionDef) -> Any:
        """A predicate's answer, or what lies inside a method."""
        before, self._where = self._where, f"{self._where}.{node.name}".lstrip(".")
        for kind, value in (("always", True), ("never", False)):
            if self.kind == kind and _is_predicate(node) and self._here(f"{node.name} {kind}"):
                node.body = [node.body[0], ast.Return(ast.Constant(value))]
        if self.kind == "limit" and node.name == "limit" and self._here("limit lets everything through"):
            node.body = [ast.Return(ast.Name("duty", ast.Load()))]
        self.generic_visit(node)
        self._where = before
        return node

    def visit_Assign(self, node: ast.Assign) -> Any:
        """Rows of CHECKS."""
        target = node.targets[0]
        if isinstance(target, ast.Name) and target.id == "CHECKS" and isinstance(node.value, ast.Tuple):
            if self.kind == "row":
                node.value.elts = [row for row in node.value.elts if not self._here(f"without {_row(row)}")]
            elif self.kind == "weak":
                for row in node.value.elts:
                    if _reaction(row) != "WARN" and self._here(f"only warns: {_row(row)}"):
                        row.elts[2] = ast.Name("WARN", ast.Load())  # type: ignore[attr-defined]
        self.generic_visit(node)
        return node

    def visit_Attribute(self, node: ast.Attribute) -> Any:
        """A verdict becomes none."""
        verdict = isinstance(node.value, ast.Name) and node.value.id == "faults" and node.attr not in ("NONE", "FAULTS")
        if self.kind == "verdict" and verdict and self._here(f"no {node.attr} in {self._where or 'the plan'}"):
            return ast.Attribute(ast.Name("faults", ast.Load()), "NONE", ast.Load())
        return node

    def visit_If(self, node: ast.If) -> Any:
        """A refusal to clear a latch falls away."""
        if self.kind == "clear" and self._where.endswith(".clear") and self._here(
                f"clears without asking {ast.unparse(node.test)}"):
            return ast.Pass()
        self.generic_visit(node)
        return node

    def visit_ClassDef(self, node: ast.ClassDef) -> Any:
        """Remember where we are."""
        before, self._where = self._where, node.name
        self.generic_visit(node)
        self._where = before
        return node


def _is_predicate(node: ast.FunctionDef) -> bool:
    return [arg.arg for arg in node.args.args] == ["s", "i"]


def _row(row: ast.expr) -> str:
    return ast.unparse(row).replace("faults.", "").strip("()")


def _reaction(row: ast.expr) -> str:
    last = row.elts[2]  # type: ignore[attr-defined]
    return str(last.id)


KINDS = (("supervisor", "row"), ("supervisor", "weak"), ("supervisor", "never"), ("supervisor", "always"),
         ("supervisor", "limit"), ("supervisor", "clear"), ("selftest", "verdict"))


def mutants() -> list[Mutant]:
    """All of them."""
    found = []
    for module, kind in KINDS:
        change = Change(kind)
        change.visit(_tree(module))
        for number, name in enumerate(change.names):
            again = change.names[:number].count(name) + 1
            found.append(Mutant(module, kind, number, f"{name}, {again}" if again > 1 else name))
    return found


def _tree(module: str) -> ast.Module:
    return ast.parse(inspect.getsource(MODULES[module]))


def become(mutant: Mutant) -> None:
    """Make this process's firmware the mutant."""
    module = MODULES[mutant.module]
    tree = ast.fix_missing_locations(Change(mutant.kind, mutant.number).visit(_tree(mutant.module)))
    exec(compile(tree, f"<{mutant.name}>", "exec"), module.__dict__)
    for name, thing in list(vars(warmer).items()):
        if getattr(thing, "__module__", "") == module.__name__:
            setattr(warmer, name, getattr(module, name))


def hunting_cases() -> list[Case]:
    """Every fault once in each phase that must tell it, everyday acts, latches and buttons."""
    wanted = []
    for case in campaign.cases("singles", 1):
        strike = BY_NAME[case.acts[0]]
        if case.rig in ("mat", "pot") and case.phase in (strike.phases[:1] + strike.phases[-2:] or ("quiet",)):
            wanted.append(case)
    everyday = [parse(f"7000 {rig}/quiet/{act}") for act in EVERYDAY for rig in ("mat", "pot")]
    nothing = [parse(f"1 {rig}/{phase}/none") for phase in ("warm_up", "quiet", "night") for rig in ("mat", "pot")]
    slow = [parse("2001 kin-4/idle/water_stuck")]  # a heater so slow that the bowl's own turn looks like its heat
    return [*wanted, *slow, *nothing, *everyday]


def _fails(mutant: Mutant, lines: list[str]) -> tuple[int, str]:
    """Which of these cases the mutant is first noticed in, and by what; -1 for none. For a process of its own."""
    become(mutant)
    for at, line in enumerate(lines):
        try:
            result = play(parse(line))
            why = [*result.broken[:1], result.missed]
        except Exception as error:  # a mutant that cannot even run is noticed, and the report says by what
            why = [f"{type(error).__name__}: {error}"]
        if any(why):
            return at, next(filter(None, why))
    return -1, ""


def _fails_checks(mutant: Mutant) -> str:
    """Which of the firmware's own checks of the module notices the mutant. For a process of its own."""
    become(mutant)
    sys.path.append(str(CHECKS))
    checks = importlib.import_module(f"check_{mutant.module}")
    for name, check in sorted(vars(checks).items()):
        if name.startswith("test_"):
            try:
                check()
            except Exception:  # whatever it raises, it noticed
                return name
    return ""


def _by_checks(mutant: Mutant) -> str:
    with multiprocessing.get_context("fork").Pool(1) as child:
        name: str = child.apply(_fails_checks, (mutant,))
    return name


def fate(mutant: Mutant, lines: list[str], quick: bool = False) -> dict[str, Any]:
    """Who kills it: the first case that is good on the firmware as it is and not on the mutant, else a check.

    The loop keeps some faults from ever coming (a pass too short), so no case can show what lies behind it. `quick`
    asks the checks first and plays the cases only where they saw nothing.
    """
    told = {"mutant": f"{mutant.module}: {mutant.name}", "killed_by": "", "because": ""}
    if quick and (check := _by_checks(mutant)):
        return {**told, "killed_by": check, "because": OWN}
    while lines:
        with multiprocessing.get_context("fork").Pool(1) as child:
            at, why = child.apply(_fails, (mutant, lines))
        if at < 0:
            break
        if play(parse(lines[at])).good:
            return {**told, "killed_by": lines[at], "because": why}
        lines = lines[at + 1 :]
    return told if quick else {**told, "killed_by": _by_checks(mutant), "because": OWN}


def hunt(
    wanted: list[Mutant], jobs: int, lines: list[str] | None = None, quick: bool = False
) -> Iterator[dict[str, Any]]:
    """The fate of each mutant; the cases that tell its fault are played first."""
    everything = [str(case) for case in hunting_cases()] if lines is None else lines
    tasks = [(mutant, _ordered(mutant, everything), quick) for mutant in wanted]
    if jobs == 1:
        yield from (fate(*task) for task in tasks)
        return
    with ProcessPoolExecutor(jobs, multiprocessing.get_context("fork")) as pool:
        for done in as_completed([pool.submit(fate, *task) for task in tasks]):
            yield done.result()


def _number(mutant: Mutant) -> int:
    """The fault it belongs to: named in it, or in the row of its predicate."""
    for name, value in vars(faults).items():
        if name.isupper() and isinstance(value, int) and value and name in mutant.name:
            return value
    rows = (number for number, predicate, _ in supervisor.CHECKS if predicate.__name__ in mutant.name.split())
    return max(0, next(rows, 0))  # whatever is doubted: no fault of its own


def _ordered(mutant: Mutant, lines: list[str]) -> list[str]:
    """Cases that tell the mutant's fault, then those in which nothing is wrong; every case where it has no fault."""
    number = _number(mutant)
    cases = [parse(line) for line in lines]
    if mutant.kind == "clear":  # those with a hand at the button first
        cases.sort(key=lambda case: not (case.acts and case.acts[0].startswith("clear")))
    own = [case for case in cases for act in case.acts if act in BY_NAME and bits(BY_NAME[act].tells) >> number & 1]
    harmless = [case for case in cases if not any(act in BY_NAME for act in case.acts)]
    return [str(case) for case in ([*own, *harmless] if number else cases)]


def keep(path: Path, fates: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Append each fate to a file before handing it on; the last one of a mutant counts."""
    with path.open("a", encoding="utf-8") as file:
        for fate in fates:
            file.write(json.dumps({**fate, "firmware": campaign.firmware_hash()}) + "\n")
            file.flush()
            yield fate
