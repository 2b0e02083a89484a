"""The firmware's core, loaded untouched from a folder: `use` first, then `rig_values` and `Board`."""

from __future__ import annotations
import __future__

import importlib.machinery
import re
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parents[3] / "firmware"
fw: Any = None  # the modules, once `use` was called


class _Unevaluated(importlib.machinery.SourceFileLoader):
    """Loads a module with its annotations left as text: Python 3.9, which Debian's PyPy speaks, has no `int | None`."""

    def get_code(self, fullname: str) -> Any:
        """Compile the source; a stored compilation has them evaluated."""
        path = self.get_filename(fullname)
        flags = __future__.annotations.compiler_flag
        return compile(self.get_data(path), path, "exec", flags=flags, dont_inherit=True)


class _Finder:
    """Finds the firmware's modules for `_Unevaluated`."""

    @staticmethod
    def find_spec(name: str, path: Any = None, target: Any = None) -> Any:
        """A specification, or None for what is not the firmware's."""
        if name.partition(".")[0] != "bainboard":
            return None
        spec = importlib.machinery.PathFinder.find_spec(name, path)
        if spec is not None and isinstance(spec.loader, importlib.machinery.SourceFileLoader):
            spec.loader = _Unevaluated(spec.loader.name, spec.loader.path)
        return spec


class Modules:
    """What is imported of the firmware."""

    def __init__(self) -> None:
        from bainboard import drive, faults, sensing, settings, warmer

        self.drive, self.faults, self.sensing, self.settings, self.warmer = drive, faults, sensing, settings, warmer
        self.files = _imported(Path(warmer.__file__).parent, ("warmer", "drive", "sensing", "settings"))


IMPORT = re.compile(r"^from bainboard(?:\.([\w.]+))? import ([\w, ]+)", re.MULTILINE)


def _imported(top: Path, names: tuple[str, ...]) -> list[Path]:
    """Files of these modules and of all that they import: a change elsewhere in the firmware voids no result."""
    found: set[Path] = set()
    todo = [top / f"{name}.py" for name in names]
    while todo:
        path = todo.pop()
        if path in found or not path.is_file():
            continue
        found.add(path)
        for package, imported in IMPORT.findall(path.read_text(encoding="utf-8")):
            inside = top.joinpath(*package.split(".")) if package else top
            todo += [inside.with_suffix(".py"), *(inside / f"{name.strip()}.py" for name in imported.split(","))]
    return sorted(found)


def use(folder: Path | None = None) -> Any:
    """Load the firmware of a folder (default: this project's), once a process."""
    global fw
    if fw is None:
        top = str(folder or HERE)
        if top not in sys.path:
            sys.path.insert(0, top)
        if sys.version_info < (3, 10):  # noqa: UP036 - PyPy of Debian 12
            sys.meta_path.insert(0, _Finder)  # type: ignore[arg-type]
        fw = Modules()
    return fw


def rig_values(changes: dict[str, Any]) -> tuple[dict[str, Any] | None, str | None]:
    """Settings with these changes as a board takes them: (values, None), or (None, why it refuses)."""
    values, why = use().settings.check(use().settings.SETTINGS, {"drill": "passed", **changes})
    return values, why


def profile(changes: dict[str, Any]) -> tuple[dict[str, Any] | None, str | None]:
    """A profile with these figures: (values, None), or (None, why)."""
    values, why = use().settings.check_profile(changes)
    return values, why


TICK_MS = 1000


class Board:
    """One board's loop without its link: reads, steps the warmer, drives; a second a pass, as `app` has it."""

    def __init__(self, values: dict[str, Any], probes: dict[str, Any], now_ms: int, latch_fault: int = 0,
                 evidence: tuple[Any, ...] | None = None) -> None:
        modules = use()
        self.values = values
        self.warmer = modules.warmer.Warmer(values, latch_fault, evidence or modules.warmer.NOTHING_SEEN)
        self.now_ms = now_ms
        self.drive = modules.drive.Pwm(now_ms)
        self.level = 0.0
        jump = values["trip.jump_c_per_s"]
        self._probes = {place: None if probe is None else modules.sensing.Probe(probe, 0.0, 1.0, jump)
                        for place, probe in probes.items()}
        self._second = self._probes["second"] if has_second_probe() else None
        self._convert()

    def _convert(self) -> None:
        for probe in self._probes.values():
            if probe is not None:
                probe.start()

    def tick(self) -> None:
        """A pass."""
        w = self.warmer
        now_ms = self.now_ms = self.now_ms + TICK_MS
        on_ms = self.drive.take_on_ms(now_ms)
        given_j = w.values["heater_w"] * on_ms / 1000 if w.guard else 0.0
        water_c, code = self._probes["water"].read(now_ms)
        bowl = self._probes["bowl"]
        bowl_c = None if bowl is None else bowl.read(now_ms)[0]
        second_c = None if self._second is None else self._second.read(now_ms)[0]
        self._convert()
        if self._second is None:
            w.step(now_ms, TICK_MS, water_c, code, bowl_c, given_j)
        else:
            w.step(now_ms, TICK_MS, water_c, code, bowl_c, given_j, second_c)
        if w.duty > 0.0:
            self.drive.set(w.duty)
        else:
            self.drive.off(now_ms)
        self.level = self.drive.poll(now_ms)


def name_of(number: int) -> str:
    """A fault's name."""
    faults = use().faults
    return str(faults.row(number)[faults.NAME])


SECOND = "probe.water2.kind"


def has_second_probe() -> bool:
    """Does this firmware know a second water probe?"""
    return any(row[0] == SECOND for row in use().settings.SETTINGS)


def with_second_probe(settings: dict[str, Any], witness: str) -> dict[str, Any]:
    """These settings with a second water probe where the case has one and the firmware knows such a thing."""
    if witness == "second" and has_second_probe():
        return {**settings, SECOND: "onewire"}
    return settings
