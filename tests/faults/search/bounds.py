"""Settings, gains and profile at every bound of their tables and at every pair of bounds: refused in words, or safe.

What the check accepts is played: a warmer as declared, within a few per cent, its water probe stuck after
25 minutes. A line ``set:NAME=VALUE,NAME=VALUE`` is a whole case; a profile's figures begin with ``profile.``.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import asdict, replace
from typing import Any

from . import core
from .genes import Genes, Line
from .play import NotPlayedError, Play, Result

TINY = 1e-300  # over a bound of 0; no single-precision number
PREFIX = "profile."
# Not of the core that is played: parts of other probes, the log, what is fitted and where.
ELSEWHERE = ("probe.", "log.", "pins", "board", "name", "panel", "display", "resume", "switch", "drill",
             "trip.heap_floor", "trip.watchdog_ms", "period_s", "step_ms", "guard")
CASE = Line(1, (), "zones", "water_stuck", "neither", "safe")
GENES = Genes(30.0, 29.0, 20.0, 0.0, "work", 1500.0, 0.5, 5400.0)


def bounds() -> list[tuple[str, float]]:
    """Every bound of every figure: (name, value)."""
    modules = core.use()
    settings = modules.settings
    found: list[tuple[str, float]] = []
    for table, prefix in ((settings.SETTINGS, ""), (settings.PROFILE, PREFIX)):
        for row in table:
            name, kind, low, high = row[settings.NAME], row[settings.KIND], row[settings.LOW], row[settings.HIGH]
            if kind not in (settings.FLOAT, settings.INT) or (not prefix and name.startswith(ELSEWHERE)):
                continue
            found += [(prefix + name, low), (prefix + name, high)]
            if kind == settings.FLOAT and low == 0.0:
                found.append((prefix + name, TINY))
    return found


def lines() -> Iterator[str]:
    """Each bound alone, then each pair of two figures' bounds."""
    each = bounds()
    for name, value in each:
        yield written([(name, value)])
    for one, two in itertools.combinations(each, 2):
        if one[0] != two[0]:
            yield written([one, two])


def written(changes: list[tuple[str, float]]) -> str:
    """A case's line."""
    return "set:" + ",".join(f"{name}={value!r}" for name, value in changes)


def read(line: str) -> dict[str, float]:
    """The changes of a line.

    Raises
    ------
    ValueError
        In words, when it is none.
    """
    changes: dict[str, float] = {}
    for pair in line.partition(":")[2].split(","):
        name, equals, text = pair.partition("=")
        try:
            value = float(text)
        except ValueError:
            equals = ""
        if not equals:
            raise ValueError(f"not a case: got {pair[:60]!r}, wanted set:NAME=NUMBER,NAME=NUMBER")
        changes[name] = int(value) if text.strip("-").isdecimal() else value
    return changes


class BoundsPlay(Play):
    """The stuck-probe case on a warmer that is what these settings say."""

    def __init__(self, changes: dict[str, float]) -> None:
        self._changes = {name: value for name, value in changes.items() if not name.startswith(PREFIX)}
        self._profile = {name[len(PREFIX):]: value for name, value in changes.items() if name.startswith(PREFIX)}
        super().__init__(CASE, replace(GENES, room_error_k=0.0))

    def build(self) -> tuple[Any, dict[str, Any]]:
        """The two-zone warmer with the watts, litres, kilograms and lag that are declared."""
        the_rig, settings = super().build()
        settings = {**settings, **self._changes}
        plant, bowl = the_rig.plant, the_rig.plant.bowl
        the_rig.watts = 1.1 * max(0.0, settings["heater_w"])
        plant.water_l = max(0.11, 0.8 * settings["water_l"])
        plant.element_j_per_k = plant.element_w_per_k * max(1.0, settings["heater_lag_s"])
        bowl.pour(max(0.05, settings["chocolate_kg"]) - bowl.chocolate_kg, bowl.mean_c)
        return the_rig, settings

    def chocolate(self) -> dict[str, Any]:
        """Dark, with the changes."""
        return {"name": "dark", "kind": "dark", **self._profile}

    @property
    def stated_room_c(self) -> float:
        """What the settings say of the room, where they do."""
        return float(self._changes.get("room_c", self.genes.room_c))


def play(line: str) -> Result:
    """Play a line of bounds.

    Raises
    ------
    NotPlayedError
        When the settings are refused: what must happen to those that are not safe.
    ValueError
        When the line is none.
    """
    result = BoundsPlay(read(line)).run()
    result.line = line
    return result


def played(line: str) -> dict[str, Any]:
    """A row: refused with its words, raised, or a result."""
    try:
        return asdict(play(line))
    except NotPlayedError as error:
        return {"line": line, "refused": str(error)}
    except Exception as error:  # accepted settings that make the firmware raise are what this looks for
        return {"line": line, "raised": f"{type(error).__name__}: {error}"}
