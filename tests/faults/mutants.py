"""Mutants of the supervisor: each check deleted or turned round, each verdict of the self-test taken away.

A mutant is made from the source by its syntax tree and lives in one child process. It is killed by one of the
firmware's own checks, by a line of the search, or by a case of the whole board; whichever notices it first is named.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import json
import multiprocessing
import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

from bainboard import selftest, supervisor, warmer

from . import campaign
from .cases import parse
from .judge import play
from .search import core, genes
from .search import play as search_play

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


# Lines of the search that between them show every sign of the supervisor, and evenings with nothing wrong.
SEARCHED = (
    "1:zones/none/bowl/safe", "2:pan/none/bowl/learnt", "3:plate/none/neither/learnt", "4:base/none/second/safe",
    "1:zones/water_stuck/neither/safe", "1:pan/water_slips/bowl/safe", "2:quilt/water_drifts_low/bowl/learnt",
    "1:zones/water_drifts_low/second/safe", "1:base/water_skips/bowl/safe", "1:layers/switch_shorted/bowl/safe",
    "2:zones/switch_shorted/neither/safe", "1:quilt/guard_welded/bowl/safe", "1:zones/heater_open/bowl/safe",
    "2:quilt/both_failed/bowl/safe", "1:plate/swapped/bowl/safe", "1:zones/bowl_slips/bowl/safe",
    "1:pan/second_open/second/safe", "1:zones/heater_strong/bowl/safe", "2:plate/stove/neither/safe",
    "1:zones/leaks/bowl/learnt", "2:plate/water_drifts_low/neither/learnt",
)
# Cases of the whole board for what only a board has: files, resets, clock, button.
BOARD = (
    "1000 mat/warm_up/water_open", "1000 pot/quiet/late_pass", "1000 pot/quiet/early_pass", "1000 pot/quiet/hang",
    "1000 pot/quiet/crash", "1000 pot/quiet/memory_out", "1000 pot/quiet/reboot_loop", "1000 mat/idle/settings_rotten",
    "1000 mat/idle/hot_start", "1000 mat/idle/nearly_hot", "1000 pot/idle/alone", "1000 pot/quiet/clear_early",
    "1000 pot/quiet/clear_hot", "1000 pot/warm_up/bowl_open", "1 mat/quiet/none",
)


def _of_search(line: str) -> bool:
    return ":" in line


def outcome(line: str) -> dict[str, Any]:
    """What a line shows on this process's firmware, as far as a mutant is judged by it."""
    if not _of_search(line):
        result = play(parse(line))
        return {"bad": [*result.broken, *filter(None, [result.missed])]}
    core.use()
    got = search_play.play(genes.parse(line))
    words = sorted({*got.trips, *got.warns}) if "/none/" in line else []
    return {"over": got.score_k > 0.0, "latched_s": got.latched_s, "reported_s": got.reported_s, "fault": got.fault,
            "words": words}


def differs(sound: dict[str, Any], other: dict[str, Any]) -> str:
    """In what a mutant does worse than the sound firmware, in words; empty: in nothing."""
    if "bad" in sound:
        return "" if sound["bad"] else next(iter(other["bad"]), "")
    if other["over"] and not sound["over"]:
        return "the water goes over what is promised"
    if other["words"] != sound["words"]:
        return f"says {', '.join(other['words']) or 'nothing'} in a sound evening"
    for name in ("latched_s", "reported_s"):
        due_s = sound[name]
        if due_s is not None and not (other[name] is not None and other[name] <= 1.5 * due_s + 60.0):
            return f"{name} {other[name]}, was {due_s:.0f}"
    if sound["fault"] != "none" and other["fault"] != sound["fault"]:
        return f"latches as {other['fault']}, was {sound['fault']}"
    return ""


def _fails(mutant: Mutant, lines: list[tuple[str, dict[str, Any]]]) -> tuple[str, str]:
    """The first line that the mutant is noticed in, and by what. For a process of its own."""
    become(mutant)
    for line, sound in lines:
        try:
            why = differs(sound, outcome(line))
        except Exception as error:  # a mutant that cannot even run is noticed, and the report says by what
            why = f"{type(error).__name__}: {error}"
        if why:
            return line, why
    return "", ""


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


def _in_child(what: Callable[..., Any], *args: Any) -> Any:
    with multiprocessing.get_context("fork").Pool(1) as child:
        return child.apply(what, args)


def fate(mutant: Mutant, lines: list[tuple[str, dict[str, Any]]]) -> dict[str, Any]:
    """Who kills it: one of the firmware's own checks of that module, else the first line that notices."""
    name = f"{mutant.module}: {mutant.name}"
    check = _in_child(_fails_checks, mutant)
    if check:
        return {"mutant": name, "killed_by": check, "because": OWN}
    line, why = noticed(mutant, lines)
    return {"mutant": name, "killed_by": line, "because": why}


def noticed(mutant: Mutant, lines: list[tuple[str, dict[str, Any]]]) -> tuple[str, str]:
    """The first of these lines, each with its sound outcome, that shows the mutant, and by what; empty: none does."""
    line, why = _in_child(_fails, mutant, lines)
    return line, why


def with_outcomes(lines: Iterable[str]) -> list[tuple[str, dict[str, Any]]]:
    """Lines with what they show on the sound firmware."""
    return [(line, _in_child(outcome, line)) for line in lines]


def hunt(wanted: list[Mutant], jobs: int, lines: Iterable[str] = (*SEARCHED, *BOARD)) -> Iterator[dict[str, Any]]:
    """The fate of each mutant."""
    sound = with_outcomes(lines)
    if jobs == 1:
        yield from (fate(mutant, sound) for mutant in wanted)
        return
    with ProcessPoolExecutor(jobs, multiprocessing.get_context("fork")) as pool:
        for done in as_completed([pool.submit(fate, mutant, sound) for mutant in wanted]):
            yield done.result()


def keep(path: Path, fates: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Append each fate to a file before it is handed on; the last one of a mutant counts."""
    with path.open("a", encoding="utf-8") as file:
        for fate in fates:
            file.write(json.dumps({**fate, "firmware": campaign.firmware_hash()}) + "\n")
            file.flush()
            yield fate
