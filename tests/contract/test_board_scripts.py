"""The scripts that run on the board do what the first power-up says, and end low."""

import re
import runpy
import sys
import types
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from bainboard import pins

ROOT = Path(__file__).parents[2]
HARDWARE = ROOT / "hardware"
sys.path.insert(0, str(HARDWARE))



def with_fake_pins(
    monkeypatch: pytest.MonkeyPatch, sleep: Callable[[float], None],
    changed: Callable[[int], None] = lambda number: None,
) -> dict[int, int]:
    """A board's modules for its own scripts: the level of each pin, by its number; `changed` hears of each change."""
    levels: dict[int, int] = {}

    class Pin:
        OUT = 1

        def __init__(self, number: int, mode: int, value: int) -> None:
            self.number = number
            levels[number] = value

        def value(self, level: int) -> None:
            if levels[self.number] != level:
                changed(self.number)
            levels[self.number] = level

    monkeypatch.setitem(sys.modules, "machine", types.SimpleNamespace(Pin=Pin))
    monkeypatch.setitem(sys.modules, "time", types.SimpleNamespace(sleep=sleep))
    return levels


def test_gate_check_beats_once_a_second_leaves_the_heater_low_and_ends_low(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    now_s: list[float] = [0]
    changes: list[tuple[float, int]] = []

    def sleep(seconds: float) -> None:
        now_s[0] += seconds

    levels = with_fake_pins(monkeypatch, sleep, lambda number: changes.append((now_s[0], number)))
    runpy.run_path(str(HARDWARE / "check_gate.py"))
    edges = [at for at, number in changes if number == pins.RP2["heartbeat"]]
    assert min(np.diff(edges)) >= 1
    assert len(edges) > 15
    assert set(levels) == {pins.RP2["heater"], pins.RP2["guard"], pins.RP2["heartbeat"]}
    assert not any(number == pins.RP2["heater"] for _, number in changes)
    assert not any(levels.values())
    page = (HARDWARE / "first-power-up.md").read_text(encoding="utf-8")
    said = [line.partition(":")[0] for line in capsys.readouterr().out.splitlines()[:-1]]
    assert said == re.findall(r"^\| ((?:guard high|edges)[^|]*?) \|", page, re.M)


def test_heat_check_heats_for_two_minutes_with_edges_and_ends_low_however_it_ends(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    heated_s, stop_at_s = [0], [float("inf")]

    def sleep(seconds: float) -> None:
        heated_s[0] += levels[pins.RP2["heater"]] * levels[pins.RP2["guard"]]
        if heated_s[0] >= stop_at_s[0]:
            raise KeyboardInterrupt

    levels = with_fake_pins(monkeypatch, sleep)
    runpy.run_path(str(HARDWARE / "check_heat.py"))
    assert heated_s[0] == 120
    assert not any(levels.values())
    heated_s[0], stop_at_s[0] = 0, 7
    with pytest.raises(KeyboardInterrupt):
        runpy.run_path(str(HARDWARE / "check_heat.py"))
    assert not any(levels.values())
    assert set(levels) == {pins.RP2["heater"], pins.RP2["guard"], pins.RP2["heartbeat"]}
