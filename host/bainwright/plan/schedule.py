"""The evening's steps in order, and water and chocolate over them as they are drawn."""

from __future__ import annotations

from bainwright.physics.heating import Course
from bainwright.plan.parts import Band, Butter, Cooling, Heat, Hold, Melt, SeedAnswer, Step, Swap
from bainwright.plan.request import BUTTER, COOLING
from bainwright.plan.setup import Setup
from bainwright.plan.tempering import SEED_FOR_S, falling

BUTTER_FOR_S = 5 * 60.0  # chosen: crystallised cocoa butter is soft and stirred in at once
SETTLE_FOR_S = 5 * 60.0  # chosen: bowl back in its bath, stirred, the last pieces taken out
HAND_LOW, HAND_HIGH = 0.75, 1.5  # of a step done by hand; chosen

Points = tuple[tuple[float, float, float], ...]  # (t_s, water_c, chocolate_c)


def by_hand(lasts_s: float) -> Band:
    """A step whose time is a person's."""
    return Band(HAND_LOW * lasts_s, lasts_s, HAND_HIGH * lasts_s)


def _both(first: Band, then: Band | None) -> Band:
    """Two steps one after the other; the second is left out where it has no time."""
    if then is None:
        return first
    high_s = None if first.high_s is None or then.high_s is None else first.high_s + then.high_s
    return Band(first.low_s + then.low_s, first.likely_s + then.likely_s, high_s)


def cools_in_time(setup: Setup, swap: Swap, cooling: Cooling | None, butter: Butter | None) -> bool:
    """Whether the bath is down to its working temperature by the time the bowl comes back from the table.

    A plate has no water to swap, and a bowl in temper cannot wait an hour for it to cool.
    """
    if not setup.request.tempered or swap.out_l is not None:
        return True
    away = (cooling.down if cooling else butter.down if butter else None) or Band(SEED_FOR_S, SEED_FOR_S, SEED_FOR_S)
    return swap.by_itself_s is not None and swap.by_itself_s <= away.likely_s


def plan_steps(
    setup: Setup, melt: Melt, hold: Hold, cooling: Cooling | None, butter: Butter | None, melts_here: bool,
    answer: SeedAnswer | None = None,
) -> tuple[Step, ...]:
    """The steps; a melt that the warmer cannot make is left out, to be made elsewhere."""
    request, profile = setup.request, setup.profile
    rows: list[tuple[str, Band, float, float]] = []
    if melts_here and melt.took is not None:
        rows.append(("melt", melt.took, request.melt_c, setup.melt_water_c))
    if request.tempered:
        rows += _tempering(setup, hold.water_c, cooling, butter, answer)
        test = by_hand(60.0 * profile.set_min)
        rows.append(("test", test, profile.target_c, hold.water_c))
    rows.append((setup.stage, Band(request.work_s, request.work_s, request.work_s), profile.target_c, hold.water_c))
    steps, starts_s = [], 0.0
    for name, band, chocolate_c, water_c in rows:
        steps.append(Step(name, starts_s, band.likely_s, band.low_s, band.high_s, chocolate_c, water_c))
        starts_s += band.likely_s
    return tuple(steps)


def _tempering(
    setup: Setup, water_c: float, cooling: Cooling | None, butter: Butter | None, answer: SeedAnswer | None
) -> list[tuple[str, Band, float, float]]:
    request, target_c = setup.request, setup.profile.target_c
    unknown = by_hand(SEED_FOR_S)  # for a step that does not get there: the plan is not ok, and says so
    settle = ("settle", by_hand(SETTLE_FOR_S), target_c, water_c)
    if request.method == COOLING and cooling is not None:
        cold_c = 0.5 * (cooling.low_c + cooling.high_c)
        return [
            ("cool", cooling.down or unknown, cold_c, water_c),
            ("rewarm", cooling.back or unknown, target_c, water_c),
        ]
    if request.method == BUTTER and butter is not None:
        return [
            ("cool", butter.down or unknown, butter.high_c, water_c),
            ("seed", _both(by_hand(BUTTER_FOR_S), butter.on), setup.profile.high_c, water_c),
            settle,
        ]
    end_c = request.end_c
    if answer is not None and round(answer.ends_c, 1) >= setup.profile.low_c:  # else no more goes in than it takes
        end_c = answer.ends_c
    return [("seed", by_hand(SEED_FOR_S), end_c, water_c), settle]


def plan_course(setup: Setup, steps: tuple[Step, ...], melt: Course, warm_up: Heat) -> Points:
    """Water and chocolate over the steps: the melt as computed, the rest as people do it."""
    melts_here = steps[0].name == "melt"
    course = _stretched(melt, steps[0].lasts_s) if melts_here else []
    last = course[-1] if course else (0.0, _melted_elsewhere_water_c(setup, warm_up), setup.request.melt_c)
    for step in steps[1 if melts_here else 0 :]:
        course += _corners(step, last, swapped=melts_here)
        last = course[-1]
    return tuple(course)


def _stretched(melt: Course, lasts_s: float) -> list[tuple[float, float, float]]:
    """The course of the melt, as long as past evenings took."""
    longer = lasts_s / melt.took_s if melt.took_s else 1.0
    return [(longer * t_s, water_c, chocolate_c) for t_s, water_c, chocolate_c in melt.rows]


def _melted_elsewhere_water_c(setup: Setup, warm_up: Heat) -> float:
    """The water as the first step begins, warmed from before it where that takes longer than the step."""
    took, water_c = warm_up.took, setup.request.water_c
    slow_s = 0.0 if took is None else took.high_s or took.likely_s
    if slow_s <= SEED_FOR_S:
        return water_c
    return warm_up.water_c - (warm_up.water_c - water_c) * SEED_FOR_S / slow_s


def _corners(step: Step, last: tuple[float, float, float], swapped: bool) -> list[tuple[float, float, float]]:
    """Points of a step after the melt: not computed but drawn as people do it, from where the last one ended.

    Seed and a cool basin pull the chocolate down a curve while the water is swapped within a minute, or warms up; the
    rest is straight.
    """
    _, last_water_c, last_c = last
    ends = (step.starts_s + step.lasts_s, step.water_c, step.chocolate_c)
    if step.name in ("seed", "cool"):
        fall_k = last_c - step.chocolate_c
        rise_k = 0.0 if swapped else step.water_c - last_water_c
        curve = [
            (
                step.starts_s + part * step.lasts_s,
                step.water_c - (1.0 - part) * rise_k,
                step.chocolate_c + fall_k * falling(part),
            )
            for part in (twelfth / 12 for twelfth in range(1, 12))
        ]
        return [(step.starts_s, last_water_c, last_c), *curve, ends]
    first_s = step.lasts_s if step.name == "rewarm" else min(step.lasts_s, SETTLE_FOR_S)
    return [(step.starts_s, last_water_c, last_c), (step.starts_s + first_s, step.water_c, step.chocolate_c), ends]
