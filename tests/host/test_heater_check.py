"""A heater that gives a part of its watts is named within half an hour, and a healthy one never."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from fake_board import status_line

from bainwright.evening.heater import HeaterCheck
from bainwright.files.rig import load_rig
from bainwright.link.messages import decode
from bainwright.virtual.plant import Start, Warmer

TAP_C = 15.0


def nothing(warmer: Warmer, second: int) -> None: ...


def played(rig_name: str, gain: float, start: Start, *, water_c: float = 34.0,
           act: Callable[[Warmer, int], None] = nothing) -> tuple[int, str] | None:
    """When it is said and what, in half an hour on a simulated warmer: full heat up to `water_c`, then a thermostat."""
    rig = load_rig(rig_name)
    warmer, check = Warmer(rig, start), HeaterCheck(rig, "dark")
    for second in range(1, 1800):
        duty = 1.0 if warmer.water_c < water_c else 0.0
        warmer.step(gain * duty * rig.settings["heater_w"], 1.0)
        act(warmer, second)
        if second % 4:
            continue
        steps = [round(16 * temp_c) / 16 + 0.0625 * (second % 28 == 0) for temp_c in (warmer.water_c, warmer.bowl_c)]
        said = check.see(decode(status_line(second, 1000 * second, water=round(1000 * steps[0]), stage="work",
                                            bowl=round(1000 * steps[1]), duty=round(10_000 * duty))[:-1]))
        if said:
            return second, said
    return None


@pytest.mark.parametrize(("rig", "limit_min"), [("pot", 16), ("mat", 30), ("plate", 30)])
def test_a_quarter_of_the_watts_is_named_long_before_the_bowl_is_cold(rig, limit_min):
    """The words have the most that it can give: between what it gives and six tenths of its watts."""
    found = played(rig, 0.25, Start(20.0, 29.0))
    heater_w = load_rig(rig).settings["heater_w"]
    assert found
    assert found[0] < 60 * limit_min
    watts = float(found[1].split("at most about ")[1].split(" W")[0])
    assert 0.25 * heater_w < watts <= 0.6 * heater_w


@pytest.mark.parametrize(("rig", "start", "water_c"), [
    ("pot", Start(20.0, 29.0), 34.0), ("mat", Start(20.0, 29.0), 34.0), ("plate", Start(20.0, 29.0), 34.0),
    ("pot", Start(12.0, 12.0, solid_kg=1.8), 50.0), ("plate", Start(12.0, 12.0, solid_kg=1.8), 50.0),  # a melt
    ("pot", Start(33.0, 31.5, room_c=8.0), 34.0), ("mat", Start(33.0, 31.5, room_c=8.0), 34.0),  # in the cold
    ("pot", Start(20.0, 20.0, water_l=2.4), 34.0), ("pot", Start(30.0, 31.5, chocolate_kg=0.4), 34.0),
])
def test_a_healthy_warmer_is_never_blamed(rig, start, water_c):
    assert played(rig, 1.0, start, water_c=water_c) is None


def pour(warmer: Warmer, second: int) -> None:
    if second in (420, 900, 1500):
        warmer.top_up(0.3, TAP_C)


def lift(warmer: Warmer, second: int) -> None:
    if second == 300:
        warmer.bowl_in = False
    if second == 1200:
        warmer.bowl_in = True


def draught(warmer: Warmer, second: int) -> None:
    warmer.draught = 3.0


@pytest.mark.parametrize("act", [pour, lift, draught])
def test_what_a_cook_does_is_not_the_heater_s_fault(act):
    assert played("pot", 1.0, Start(20.0, 29.0), act=act) is None


def test_a_bowl_without_a_probe_says_nothing_of_the_heater():
    check = HeaterCheck(load_rig("pot"), "dark")
    for second in range(1, 2400):
        line = status_line(second, 1000 * second, water=20000, bowl=20000, est=1, duty=10_000, stage="work")
        assert check.see(decode(line[:-1])) == ""
