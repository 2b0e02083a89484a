"""Load a plant that a user wrote: ``FILE.py:NAME``."""

from __future__ import annotations

import importlib.util
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from types import ModuleType
from typing import Any, Protocol, runtime_checkable

from bainwright.core.errors import PlantError
from bainwright.core.toml import close_match

ITS_OWN = "the error is in that file: correct it and try again"
FORM = "FILE.py:NAME, where NAME is a class or function without arguments"


@runtime_checkable
class Plant(Protocol):
    """What a plant must have: true temperatures at the probes, and a step of up to a second."""

    @property
    def temps_c(self) -> Mapping[str, float]:
        """True temperatures: ``water``, and ``bowl`` where a bowl probe is fitted."""
        ...

    def step(self, power_w: float, dt_s: float) -> None:
        """Let 0 < dt_s <= 1 pass with a constant electrical power into the heater."""
        ...


def load_plant(spec: str) -> Any:
    """Make the plant that ``FILE.py:NAME`` names, by one call without arguments.

    Raises
    ------
    PlantError
        When the spec, the file, the name or the plant is wrong.
    """
    file, found, name = spec.rpartition(":")
    if not found or not file or not name.isidentifier():
        raise PlantError(f"--plant {spec!r} is not understood", wanted=FORM)
    path = Path(file)
    if not path.is_file():
        raise PlantError(f"there is no plant file {file}", wanted=FORM)
    module = _run(path)
    if not hasattr(module, name):
        raise PlantError(f"{file} defines no {name!r}", hint=close_match(name, vars(module)))
    make = getattr(module, name)
    if not callable(make):
        raise PlantError(f"{file}:{name} cannot be called", got=type(make).__name__, wanted="a class or function")
    try:
        plant = make()
    except Exception as error:  # a user's code may raise anything; it becomes one sentence
        raise PlantError(f"{file}:{name} failed when called without arguments", got=describe(error),
                         hint=ITS_OWN) from error
    _check(plant, spec)
    return plant


def describe(error: BaseException) -> str:
    """An exception as one line: its type and its message."""
    return f"{type(error).__name__}: {error}".rstrip(": ")


def _run(path: Path) -> ModuleType:
    name = f"bainwright_plant_{path.stem}"
    module_spec = importlib.util.spec_from_file_location(name, path)
    if module_spec is None or module_spec.loader is None:
        raise PlantError(f"the plant file {path} is not Python", wanted=FORM)
    module = importlib.util.module_from_spec(module_spec)
    sys.modules[name] = module  # dataclasses and pickles in the file look up their own module
    sys.path.insert(0, os.path.dirname(os.path.realpath(path)))  # so that it can import files beside it
    try:
        module_spec.loader.exec_module(module)
    except (Exception, SystemExit) as error:  # a script that calls sys.exit must not end ours
        raise PlantError(f"the plant file {path} failed while loading", got=describe(error), hint=ITS_OWN) from error
    finally:
        sys.path.pop(0)
    return module


def _check(plant: Any, spec: str) -> None:
    if not callable(getattr(plant, "step", None)):
        raise PlantError(f"the plant {spec} has no step", wanted="step(power_w, dt_s)")
    if not hasattr(type(plant), "temps_c") and not hasattr(plant, "temps_c"):
        raise PlantError(f"the plant {spec} has no temps_c", wanted="a mapping with 'water', and 'bowl' if fitted")
