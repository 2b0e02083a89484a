"""How many watts an evening asks for, and which of the builds gives them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import Any

from bainwright.builds.between import PowerSide, plate_power_side, power_side
from bainwright.builds.catalogue import BUILDS
from bainwright.builds.parts import SUPPLY_V, Build
from bainwright.builds.rig_text import twin_name
from bainwright.builds.rules import MOST_W
from bainwright.builds.supply import nearest_w, supply_a
from bainwright.core.units import Bounds
from bainwright.files.rig import load_rig
from bainwright.physics import heating
from bainwright.physics.heating import LONGEST_S, Scales
from bainwright.plan.parts import Band, Plan
from bainwright.plan.planner import make_plan
from bainwright.plan.request import BatchRequest
from bainwright.plan.setup import Setup
from bainwright.plan.spread import Spread, each_alone, ends
from bainwright.plan.timing import STIRRED, melting

DEFAULT_WITHIN_S = 2.5 * 3600.0  # chosen: a melt begun after work is done before the evening is
WITHIN = Bounds(600.0, 12 * 3600.0, "a melt takes an hour or two", "an evening ends before that")  # chosen
LEAST_W, STRONGEST_W = 5.0, 2000.0  # a rig's own bounds
NEAR = 0.01  # a power is found to so much
MORE = 1.1  # times the batch, chosen: enough more for its power to be told from this one's
RESERVE = 1.5  # times the uncovered need of the hold, chosen, because a draught may double the losses


@dataclass(frozen=True)
class Watts:
    """A power nobody knows to the watt: nine warmers in ten need between low and high.

    Attributes
    ----------
    low_w, likely_w : float
        Quick end, and between the two.
    high_w : float or None
        Slow end, of the warmers that power helps; None where no power is enough in the time.
    every_warmer : bool
        Whether power helps all of them; what the others lack is told by `melt_w`.
    """

    low_w: float
    likely_w: float
    high_w: float | None
    every_warmer: bool


@dataclass(frozen=True)
class Fit:
    """One build tried on the evening.

    Attributes
    ----------
    build : Build
        The build.
    fillings : int
        How often its bowl is filled.
    melts : Band or None
        Time to melt the first filling on it; None where it does not melt it.
    hold_share : float
        Share of its power that holding the bowl takes, the ring of water uncovered.
    draught_w : float
        What holding may take in a draught, W.
    melts_elsewhere : bool
        A plate cannot come down after a melt, so the chocolate is melted elsewhere.
    does_filling : bool
        Whether it does one filling, also at the slow end of its band, with what `Watts.every_warmer` leaves out.
    does : bool
        Whether it does the evening so in one filling.
    """

    build: Build
    fillings: int
    melts: Band | None
    hold_share: float
    draught_w: float
    melts_elsewhere: bool
    does_filling: bool
    does: bool


@dataclass(frozen=True)
class HeaterSize:
    """The answer: what melting and holding need on the rig asked about, a heater for it, and each build.

    Attributes
    ----------
    request : BatchRequest
        What was asked.
    within_s : float
        The longest the melt may take.
    melt, hold : Watts or None
        Power for each; `melt` is None where no heater melts it in time, or where it is melted elsewhere.
    melts_elsewhere : bool
        As in `Fit`.
    heater_w, supply_a : float or None
        A heater for the high end that a supply carries, and that supply; None where the supply rule allows none.
    power_side : PowerSide or None
        Fuse, wire and ratings for that heater.
    fits : tuple of Fit
        Each build.
    """

    request: BatchRequest
    within_s: float
    melt: Watts | None
    hold: Watts
    melts_elsewhere: bool
    heater_w: float | None
    supply_a: float | None
    power_side: PowerSide | None
    fits: tuple[Fit, ...]

    @property
    def ok(self) -> bool:
        """Whether a 24 V heater does it, or one of the builds."""
        return self.heater_w is not None or any(fit.does for fit in self.fits)

    def as_dict(self) -> dict[str, Any]:
        """All of it, for a program."""
        fits = [
            {"build": fit.build.name, **{name: value for name, value in asdict(fit).items() if name != "build"}}
            for fit in self.fits
        ]
        return {
            "within_s": self.within_s,
            "melt_w": asdict(self.melt) if self.melt else None,
            "hold_w": asdict(self.hold),
            "melts_elsewhere": self.melts_elsewhere,
            "heater_w": self.heater_w,
            "supply_a": self.supply_a,
            "supply_w": SUPPLY_V * self.supply_a if self.supply_a else None,
            "power_side": asdict(self.power_side) if self.power_side else None,
            "most_w": MOST_W,
            "builds": fits,
        }


def size_heater(request: BatchRequest, within_s: float = DEFAULT_WITHIN_S) -> HeaterSize:
    """Size a heater for a batch on the warmer asked about, and try each build on it.

    Parameters
    ----------
    request : BatchRequest
        Checked figures; the rig's own watts do not matter.
    within_s : float
        The longest the melt may take, s.
    """
    made = make_plan(request)
    setup = Setup(request)
    elsewhere = request.tempered and not setup.body.is_bath
    melt = None if elsewhere else melt_watts(setup, made.melt.solid_kg, within_s)
    hold = hold_watts(setup)
    impossible = melt is None and not elsewhere
    wanted_w = math.inf if impossible else max(_high(melt) if melt else 0.0, RESERVE * _high(hold), LEAST_W)
    heater_w = nearest_w(wanted_w)
    fed_a = supply_a(heater_w) if heater_w is not None else None
    return HeaterSize(
        request=request,
        within_s=within_s,
        melt=melt,
        hold=hold,
        melts_elsewhere=elsewhere,
        heater_w=heater_w,
        supply_a=fed_a,
        power_side=_power_side(setup, heater_w, fed_a),
        fits=tuple(_fit(build, request, within_s) for build in BUILDS),
    )


def _power_side(setup: Setup, heater_w: float | None, fed_a: float | None) -> PowerSide | None:
    if heater_w is None or fed_a is None:
        return None
    if not setup.body.is_bath:
        return plate_power_side(heater_w, fed_a)
    return power_side(heater_w, fed_a, setup.body.pot_m2)


def _high(watts: Watts) -> float:
    return math.inf if watts.high_w is None else watts.high_w


def _banded(power_w: Callable[[Scales], float | None], spread: Spread, scales: Scales) -> Watts | None:
    """A band of power from a power as a function of the scales; a warmer that power does not help is no part of it."""
    likely_w = power_w(scales)
    if likely_w is None or not math.isfinite(likely_w):
        return None
    others_w = [power_w(each) for each in each_alone(spread, scales)]
    helped_w = [each_w for each_w in others_w if each_w is not None]
    low_w, high_w = ends(likely_w, helped_w, spread.model)
    return Watts(low_w, likely_w, high_w if math.isfinite(high_w) else None, len(helped_w) == len(others_w))


def hold_watts(setup: Setup) -> Watts:
    """Power to hold the last stage, the ring of water uncovered."""
    target_c = setup.profile.target_c

    def power_w(scales: Scales) -> float:
        around = replace(setup.working, ring_cover=0.0, scales=scales)
        return max(0.0, heating.steady(setup.body, target_c, around).need_w) / scales.heater

    found = _banded(power_w, setup.request.spread, setup.request.scales)
    assert found is not None  # a steady state always has a power
    return found


def melt_watts(setup: Setup, solid_kg: float, within_s: float) -> Watts | None:
    """Power to melt a mass in a given time; None where no heater does, because the chocolate takes heat up slowly."""
    return _banded(
        lambda scales: melt_w(setup, solid_kg, within_s, scales), setup.request.spread, setup.request.scales
    )


def melt_w(setup: Setup, solid_kg: float, within_s: float, scales: Scales) -> float | None:
    """The least power that melts a mass in a given time; infinite where none does, None where it lacks no power.

    The bath may only get so warm. Little chocolate touches little of the bowl's wall, and can settle under its melt.
    Near there ever more power gains ever less time. More chocolate that is quicker, or needs less power, tells it.
    """
    more_kg = MORE * solid_kg

    def took_s(heater_w: float, kg: float = solid_kg, longest_s: float = within_s) -> float:
        course = melting(_with_heater(setup, heater_w), kg, STIRRED, scales, longest_s=longest_s)
        return course.took_s if course.reached else math.inf

    if not math.isfinite(took_s(STRONGEST_W)):
        alone_s, more_s = (took_s(STRONGEST_W, kg, LONGEST_S) for kg in (solid_kg, more_kg))
        return math.inf if alone_s < more_s else None
    if math.isfinite(took_s(LEAST_W)):
        return LEAST_W
    found_w = _least_w(took_s)
    return None if math.isfinite(took_s(found_w / (1.0 + NEAR), more_kg)) else found_w


def _with_heater(setup: Setup, heater_w: float) -> Setup:
    rig = setup.request.rig  # a trial, far stronger than any warmer: what its firmware would refuse does not matter
    rig = replace(rig, settings={**rig.settings, "heater_w": heater_w})
    return Setup(replace(setup.request, rig=rig))


def _least_w(took_s: Callable[[float], float]) -> float:
    """The least power that is in time, between one that is not and one that is."""
    low_w, high_w = LEAST_W, STRONGEST_W
    while high_w > (1.0 + NEAR) * low_w:
        middle_w = math.sqrt(low_w * high_w)
        low_w, high_w = (low_w, middle_w) if math.isfinite(took_s(middle_w)) else (middle_w, high_w)
    return high_w


def _fit(build: Build, request: BatchRequest, within_s: float) -> Fit:
    """One build on the same evening: its own bowl, water and heater."""
    rig = load_rig(twin_name(build))
    made = make_plan(replace(request, rig=rig, seed_given_kg=None, scales=Scales(), spread=Spread()))
    full_kg = float(rig.settings["chocolate_kg"])
    elsewhere = request.tempered and build.heats == "plate"
    hold = hold_watts(Setup(made.request))
    draught_w = RESERVE * _high(hold)
    filling = (elsewhere or _within(made, build, within_s)) and draught_w <= build.heater_w
    return Fit(
        build=build,
        fillings=made.request.fillings,
        melts=None if elsewhere else made.melt.took,
        hold_share=hold.likely_w / build.heater_w,
        draught_w=draught_w,
        melts_elsewhere=elsewhere,
        does_filling=filling,
        does=filling and request.total_kg <= full_kg * (1.0 + 1e-9),
    )


def _within(made: Plan, build: Build, within_s: float) -> bool:
    """Whether it melts in time, also at the slow end; where that end is open, whether its heater is not what lacks."""
    took = made.melt.took
    if took is None or took.likely_s > within_s:
        return False
    if took.high_s is not None:
        return took.high_s <= within_s
    needs = melt_watts(Setup(made.request), made.melt.solid_kg, within_s)
    return needs is not None and _high(needs) <= build.heater_w
