"""`bain plan`: its times and energies against the simulated warmer, stepped second by second."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from plan_tools import planned

from bainwright.files.rig import load_rig
from bainwright.physics import heating
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Course, Surroundings
from bainwright.plan.parts import Plan
from bainwright.virtual.plant import Start, Warmer

RIGS = ("mat", "pot", "plate")


def seconds_until(done: Callable[[], bool], warmer: Warmer, power_w: Callable[[], float]) -> int:
    """Step a simulated warmer second by second, eight hours at most."""
    for seconds in range(8 * 3600):
        if done():
            return seconds
        warmer.step(power_w(), 1.0)
    raise AssertionError(f"not in 8 h: water {warmer.water_c:.2f} °C, chocolate {warmer.bowl_c:.2f} °C")


def left_alone(made: Plan) -> Course:
    """The plan's own melting, with nobody stirring."""
    rig, solid_kg = made.request.rig, made.melt.solid_kg
    around = Surroundings(20.0, 0.5, solid_kg, rig.plant.ring_cover)
    start = heating.Start(20.0, 20.0, HEAT_PROPERTIES["dark"])
    return heating.heat_up(
        body_of(rig), rig.settings["heater_w"], around, start, made.melt.water_c, lambda w, c: c >= made.melt.to_c
    )


@pytest.mark.parametrize("name", RIGS)
def test_warm_up_and_its_energy_are_those_of_the_simulated_warmer(name):
    """Oracle: the built-in plant (four heat balances) at full heat from 20 °C; time and energy within 10 %."""
    rig = load_rig(name)
    made = planned(rig=name, total=f"{rig.settings['chocolate_kg']}kg")
    warmer = Warmer(rig, Start(water_c=20.0, bowl_c=made.request.profile.low_c))
    seconds = seconds_until(lambda: warmer.water_c >= made.warm_up.water_c, warmer, lambda: rig.settings["heater_w"])
    assert made.warm_up.took.likely_s == pytest.approx(seconds, rel=0.10)
    assert made.warm_up.energy_j == pytest.approx(warmer.heat_in_j, rel=0.10)


@pytest.mark.parametrize(("name", "melt"), [("mat", "45"), ("pot", "48"), ("pot", "46")])
def test_melting_and_its_energy_are_those_of_the_simulated_warmer(name, melt):
    """Oracle: the built-in plant, solid chocolate left alone, full heat and a thermostat on the bath; within 10 %."""
    rig = load_rig(name)
    made = planned(rig=name, total="1.2kg", melt=melt)
    solid_kg, water_c = made.melt.solid_kg, made.melt.water_c
    warmer = Warmer(rig, Start(water_c=20.0, bowl_c=20.0, chocolate_kg=solid_kg, solid_kg=solid_kg))
    heater_w = rig.settings["heater_w"]
    seconds = seconds_until(
        lambda: warmer.bowl_c >= made.melt.to_c, warmer, lambda: heater_w if warmer.water_c < water_c else 0.0
    )
    course = left_alone(made)
    assert made.melt.unstirred_s == course.took_s == pytest.approx(seconds, rel=0.10)
    assert course.energy_j == pytest.approx(warmer.heat_in_j, rel=0.10)


def test_a_melt_the_simulated_plate_never_makes_is_not_promised():
    """Oracle: the built-in plant, eight hours at the bath the plan allows: short of 48 °C, and where the plan says."""
    made = planned(rig="plate", melt="48")
    warmer = Warmer(load_rig("plate"), Start(water_c=20.0, bowl_c=20.0, chocolate_kg=made.melt.solid_kg))
    for _ in range(8 * 3600):
        warmer.step(400.0 if warmer.water_c < made.melt.water_c else 0.0, 1.0)
    assert warmer.bowl_c < 48.0
    assert made.melt.took is made.melt.unstirred_s is None
    assert left_alone(made).chocolate_c == pytest.approx(warmer.bowl_c, abs=0.3)
    assert made.melt.settles_c > warmer.bowl_c  # a plan stirs


@pytest.mark.parametrize("name", RIGS)
@pytest.mark.parametrize("total", ["700g", "1.2kg", "2kg"])
def test_seed_brings_the_simulated_melt_to_the_planned_temperature(name, total):
    """Oracle: the built-in plant, whose chocolate is dark; bowl off, six portions in 12 minutes; within 0.5 K."""
    made = planned(rig=name, total=total)
    start = Start(water_c=made.melt.water_c, bowl_c=made.request.melt_c, chocolate_kg=made.melt.solid_kg)
    warmer = Warmer(load_rig(name), start)
    warmer.bowl_in = False
    warmer.renew()
    for _ in range(6):
        warmer.seed(made.seed.likely_kg / 6, 20.0)
        for _ in range(120):
            warmer.step(0.0, 1.0)
    assert warmer.bowl_c == pytest.approx(made.seed.end_c, abs=0.5)


@pytest.mark.parametrize("name", RIGS)
def test_power_water_and_vapour_to_hold_are_those_of_the_simulated_warmer(name):
    """Oracle: the built-in plant given just the planned power for 14 h stays where it was planned, within 0.5 K.

    Left alone, so its chocolate does not move; losses of vapour within 10 %.
    """
    rig = load_rig(name)
    around = Surroundings(20.0, 0.5, 2.0, rig.plant.ring_cover)
    held = heating.steady(body_of(rig), 31.5, around)
    warmer = Warmer(rig, Start(water_c=held.water_c, bowl_c=31.5, chocolate_kg=2.0))
    before_kg = warmer.water_kg
    for _ in range(14 * 3600):
        warmer.step(held.need_w, 1.0)
    assert warmer.bowl_c == pytest.approx(31.5, abs=0.5)
    assert warmer.water_c == pytest.approx(held.water_c, abs=0.5)
    assert before_kg - warmer.water_kg == pytest.approx(14 * held.vapour_kg_per_h, rel=0.10)


def test_a_bath_left_alone_cools_as_the_simulated_one_does():
    """Oracle: the built-in plant with its bowl off, 54 to 33 °C, within 10 %."""
    rig = load_rig("pot")
    warmer = Warmer(rig, Start(water_c=54.0))
    warmer.bowl_in = False
    warmer.renew()
    seconds = seconds_until(lambda: warmer.water_c <= 33.0, warmer, lambda: 0.0)
    planned_s = heating.cool_down_s(body_of(rig), 54.0, 33.0, Surroundings(20.0, 0.5, 2.0, 0.7))
    assert planned_s == pytest.approx(seconds, rel=0.10)
