"""A batch planned: each part worked out in turn and put together. Words for it are made in `plan.words`."""

from __future__ import annotations

from bainwright.core.figures import CHOSEN, PRACTICE, Figure
from bainwright.physics import heating, kitchen, materials
from bainwright.plan.holding import plan_hold, plan_needs, plan_swap
from bainwright.plan.parts import Butter, Plan, Room, Seed, SeedAnswer
from bainwright.plan.refilling import plan_refills
from bainwright.plan.request import BatchRequest
from bainwright.plan.schedule import cools_in_time, plan_course, plan_steps
from bainwright.plan.setup import Setup
from bainwright.plan.spread import SPREAD_FIGURES
from bainwright.plan.tempering import SEED_FOR_S, answer_seed, plan_butter, plan_seed
from bainwright.plan.timing import plan_cooling, plan_melt, plan_warm_up

STEP_FIGURES = [
    Figure("seeding", SEED_FOR_S / 60, "min", CHOSEN, "in portions, each stirred until it is gone"),
    Figure(
        "dark sets on a cold blade within",
        5,
        "min",
        PRACTICE,
        "milk and white take longer; not set in 10 to 15, by kind, is not in temper",
    ),
]


def make_plan(request: BatchRequest) -> Plan:
    """Plan a batch.

    Parameters
    ----------
    request : BatchRequest
        Checked figures.

    Returns
    -------
    Plan
        `ok` is False when it cannot be done as asked; that is not an error.

    Raises
    ------
    UseError
        For figures that make no batch: seed no colder than the melt, an end over the seed's melting point, a refill
        that runs over the rim.
    """
    setup = Setup(request)
    seed, seed_answer = plan_seed(setup), answer_seed(setup)
    butter, cooling = plan_butter(setup), plan_cooling(setup)
    melt, melt_course = plan_melt(setup, request.batch_kg - _added_kg(seed, seed_answer, butter))
    hold = plan_hold(setup)
    warm_up = plan_warm_up(setup, hold.water_c)
    swap = plan_swap(setup, hold)
    melts_here = melt.took is not None and cools_in_time(setup, swap, cooling, butter)
    steps = plan_steps(setup, melt, hold, cooling, butter, melts_here, seed_answer)
    of_temper = [materials.MELTS_OUT, *STEP_FIGURES] if request.tempered else []
    return Plan(
        request=request,
        seed=seed,
        seed_answer=seed_answer,
        butter=butter,
        cooling=cooling,
        melt=melt,
        warm_up=warm_up,
        swap=swap if request.tempered else None,
        refills=plan_refills(setup),
        needs=plan_needs(setup),
        hold=hold,
        room=_room(request),
        steps=steps,
        course=plan_course(setup, steps, melt_course, warm_up),
        figures=(*setup.chocolate.figures(), *heating.HEAT_FIGURES, *SPREAD_FIGURES, *of_temper, *kitchen.ROOM_FIGURES),
    )


def _added_kg(seed: Seed | None, answer: SeedAnswer | None, butter: Butter | None) -> float:
    """What goes into the bowl after the melt."""
    if answer is not None:
        return answer.mass_kg
    return seed.likely_kg if seed else butter.mass_kg if butter else 0.0


def _room(request: BatchRequest) -> Room:
    return Room(
        request.room_c,
        request.humidity,
        kitchen.dew_point_c(request.room_c, request.humidity),
        request.altitude_m,
        kitchen.boiling_c(request.altitude_m),
        request.centre_c,
    )
