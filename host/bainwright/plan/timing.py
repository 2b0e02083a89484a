"""How long melting, warming up and cooling take, each as a band."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import msgspec

from bainboard.heat_balance import largest_load_j_per_k
from bainboard.selftest import PROMISE_K, SelfTest
from bainwright.files.rig import PlantTable
from bainwright.physics import heating
from bainwright.physics.geometry import Body
from bainwright.physics.heating import Course, Scales
from bainwright.physics.materials import WATER_KG_PER_L
from bainwright.plan.holding import COVERED
from bainwright.plan.parts import Band, Cooling, Heat, Melt
from bainwright.plan.ramp import controlled_s
from bainwright.plan.request import COOLING
from bainwright.plan.setup import Setup
from bainwright.plan.spread import each_alone, ends

PAST_LOW, PAST_HIGH = 0.85, 1.2  # chosen: how far melts of one person on one warmer differ
SELF_TEST_LOST = 0.75  # of its longest time; chosen: a pulse heats in it, and it ends early where the water rises
STIRRED = 0.5  # of the time, as people do; chosen
BASIN_L = 3.0  # chosen: a basin of water that a bowl cools in
BASIN_COLDER_K = 4.0  # chosen: water that is not this much colder hardly cools a bowl


def _seconds(course: Course) -> float:
    return course.took_s if course.reached else math.inf


def _band(likely_s: float, others_s: list[float], setup: Setup) -> Band | None:
    if not math.isfinite(likely_s):
        return None
    low_s, high_s = ends(likely_s, others_s, setup.request.spread.model)
    return Band(low_s, likely_s, high_s if math.isfinite(high_s) else None)


def _banded(setup: Setup, seconds: Callable[[Scales], float], more_s: list[float] | None = None) -> Band | None:
    """A band from a time as a function of the scales, and from times with something else changed."""
    request = setup.request
    likely_s = seconds(request.scales)
    if not math.isfinite(likely_s):
        return None
    others_s = [seconds(scales) for scales in each_alone(request.spread, request.scales)]
    return _band(likely_s, [*others_s, *(more_s or [])], setup)


# -- melting and warming up ------------------------------------------------------------------------------------------


def melting(
    setup: Setup, solid_kg: float, stirred: float, scales: Scales, ring_cover: float | None = None,
    longest_s: float = heating.LONGEST_S, body: Body | None = None,
) -> Course:
    """Melting a mass in the bath at full heat; `ring_cover` and `body` replace the request's."""
    request = setup.request
    cover = setup.around.ring_cover if ring_cover is None else ring_cover
    around = replace(setup.around, chocolate_kg=solid_kg, stirred=stirred, scales=scales, ring_cover=cover)
    start = heating.Start(request.water_c, request.room_c, setup.chocolate)
    return heating.heat_up(
        body or setup.body, setup.heater_w, around, start, setup.melt_water_c,
        lambda water_c, c: c >= request.melt_c, longest_s,
    )


def _self_test_lost_s(setup: Setup) -> float:
    """By how much the board's self-test delays a melt that begins with it; it gives a pulse of heat meanwhile."""
    return SELF_TEST_LOST * SelfTest(dict(setup.settings), 0).left_s(0)


def _rounded(setup: Setup, solid_kg: float) -> Body:
    """The same warmer with a round bowl: its shape is not asked, and a little chocolate touches less of a round one."""
    body, share = setup.body, setup.body.round_share(solid_kg) if setup.body.is_bath else 1.0
    table = msgspec.structs.replace(body.table, rest_film_w_per_m2k=share * body.table.rest_film_w_per_m2k,
                                    stirred_film_w_per_m2k=share * body.table.stirred_film_w_per_m2k)
    return replace(body, table=table)


def plan_melt(setup: Setup, solid_kg: float) -> tuple[Melt, Course]:
    """The melt, and its course as likely."""
    request, factor = setup.request, setup.request.melt_factor or 1.0

    def seconds(stirred: float, scales: Scales) -> float:
        return factor * _seconds(melting(setup, solid_kg, stirred, scales))

    likely = melting(setup, solid_kg, STIRRED, request.scales)
    stirred_s, unstirred_s = seconds(1.0, request.scales), seconds(0.0, request.scales)
    took = None
    if likely.reached and request.melt_factor is not None:
        took = Band(*(each * factor * likely.took_s for each in (PAST_LOW, 1.0, PAST_HIGH)))
    elif likely.reached:
        habits_s = [seconds(share, request.scales) for share in request.spread.stirred]
        rounded = melting(setup, solid_kg, STIRRED, request.scales, body=_rounded(setup, solid_kg))
        round_s = factor * _seconds(rounded)
        took = _banded(setup, lambda scales: seconds(STIRRED, scales), [*habits_s, round_s])
        if took is not None and took.high_s is not None:  # a bath that is warm already has its self-test behind it
            took = replace(took, high_s=took.high_s + _self_test_lost_s(setup))
    melt = Melt(
        solid_kg,
        request.melt_c,
        setup.melt_water_c,
        took,
        _finite(stirred_s),
        _finite(unstirred_s),
        likely.energy_j,
        None if likely.reached else likely.chocolate_c,
        not likely.reached
        and setup.around.ring_cover < COVERED
        and melting(setup, solid_kg, STIRRED, request.scales, COVERED).reached,
    )
    return melt, likely


def plan_warm_up(setup: Setup, aim_c: float) -> Heat:
    """The bath up to its working temperature with a bowl already molten in it."""
    start = heating.Start(min(setup.request.water_c, aim_c), setup.profile.low_c)

    def course(scales: Scales) -> Course:
        around = replace(setup.around, scales=scales)
        return heating.heat_up(
            setup.body, setup.heater_w, around, start, aim_c, lambda water_c, chocolate_c: water_c >= aim_c
        )

    def seconds(scales: Scales) -> float:
        return controlled_s(setup, aim_c - start.water_c, _seconds(course(scales)))

    likely_s = seconds(setup.request.scales)
    return Heat(_banded(setup, seconds, [_after_self_test_s(setup, aim_c - start.water_c, likely_s)]),
                course(setup.request.scales).energy_j, aim_c)  # fmt: skip


def _after_self_test_s(setup: Setup, rise_k: float, likely_s: float) -> float:
    """The same once the pulse of the board's self-test has warmed the bath."""
    pulse_k = PROMISE_K * largest_load_j_per_k(dict(setup.settings)) / heating.bath_j_per_k(setup.body)
    return likely_s * max(0.0, 1.0 - pulse_k / rise_k) if rise_k > 0.0 else likely_s


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


# -- cooling ---------------------------------------------------------------------------------------------------------


def table_cooling(setup: Setup, from_c: float, to_c: float) -> Band | None:
    """A bowl of melt on the table, down to a temperature; None where the room is too warm for it."""

    def seconds(scales: Scales) -> float:
        return heating.bowl_cools_s(setup.body, from_c, to_c, replace(setup.around, scales=scales))

    return _banded(setup, seconds)


def plan_cooling(setup: Setup) -> Cooling | None:
    """Cool in a basin to where the first crystals form, and warm back on the warmer; None for another method."""
    request, profile = setup.request, setup.profile
    if request.method != COOLING:
        return None
    middle_c = 0.5 * (profile.cool_low_c + profile.cool_high_c)
    basin_c = request.room_c if request.room_c <= middle_c - BASIN_COLDER_K else request.cold_c
    down = _banded(setup, lambda scales: _seconds(_in_basin(setup, basin_c, middle_c, scales)))
    back = _banded(setup, lambda scales: _seconds(_back(setup, middle_c, scales)))
    return Cooling(profile.cool_low_c, profile.cool_high_c, basin_c, down, back)


def _in_basin(setup: Setup, basin_c: float, to_c: float, scales: Scales) -> Course:
    film = PlantTable().water_film_w_per_m2k
    table = msgspec.structs.replace(setup.body.table, bath="water", water_film_w_per_m2k=film)
    basin: Body = replace(setup.body, table=table, water_kg=BASIN_L * WATER_KG_PER_L, vessel_j_per_k=0.0)
    around = replace(setup.around, stirred=1.0, scales=scales)
    start = heating.Start(basin_c, setup.request.melt_c)
    return heating.heat_up(basin, 0.0, around, start, math.inf, lambda water_c, chocolate_c: chocolate_c <= to_c)


def _back(setup: Setup, from_c: float, scales: Scales) -> Course:
    """From the cold end into the window, over water as warm as the temper allows."""
    window_c = 0.5 * (setup.profile.low_c + setup.profile.target_c)
    around = replace(setup.around, stirred=STIRRED, scales=scales)
    most_c = setup.water_most_c
    start = heating.Start(min(setup.profile.target_c, most_c), from_c)
    return heating.heat_up(
        setup.body, setup.heater_w, around, start, most_c, lambda water_c, chocolate_c: chocolate_c >= window_c
    )
