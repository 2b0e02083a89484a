"""The arithmetic of a batch: seed, melting, the bath's water, refills, evaporation, the heater, the evening's hours.

Everything is worked out in °C, kg, s and W. What a plan says in words is in `plan_words`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property

from bainwright.core.errors import UseError
from bainwright.core.figures import CHOSEN, PRACTICE, Figure
from bainwright.physics import heating, kitchen, materials, seeding
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES, HeatProperties
from bainwright.physics.geometry import Body, body_of
from bainwright.physics.heating import Course, Steady, Surroundings
from bainwright.physics.refills import Bowl, check_fits, largest_kg, largest_solid_kg, mixed_c, temps_for_c
from bainwright.physics.seeding import Batch
from bainwright.plan.parts import (
    BatchRequest,
    Heat,
    Hold,
    Melt,
    Need,
    Plan,
    RefillAnswer,
    RefillRow,
    Refills,
    Room,
    Seed,
    Step,
    Swap,
)

SEED_FOR_S = 12 * 60.0  # chosen: in portions, each stirred until it is gone
SETTLE_FOR_S = 5 * 60.0  # chosen: bowl back in its bath, stirred, the last pieces taken out
TEST_FOR_S = {"dark": 5 * 60.0}  # dark sets on a cold blade in 5 minutes or less; common practice, no source
TEST_LONGER_S = 8 * 60.0  # milk and white take somewhat longer; the figure is chosen
OVER_MELT_K = 6.0  # how much warmer the bath runs than the melt it makes, chosen: quick, and little water to swap later
UNDER_HARD_LIMIT_K = 2.0  # chosen: room for the element's overshoot
LOSS_LOW, LOSS_HIGH = 0.5, 1.5  # of the losses while seeding, chosen: a bowl wrapped in a towel, a bowl in a draught
COVERED = 0.9  # of the ring under a cover cut in two halves, chosen: the halves leave gaps
TOP_UP_SHARE = 0.1  # of the water gone when it is topped up, chosen: the probe stays under and the tuning still fits
REFILL_SHARE = 1 / 3  # of a full bowl, for the refills a large total needs; chosen
GOOD_RESERVE = 1.5  # times the uncovered need; chosen, because a draught may double the losses
WARM_REFILLS_C, COLD_REFILLS_C = (34.0, 36.0, 40.0, 45.0), (28.0, 26.0, 24.0)
NO_MORE_SEED = 0.5  # of the total; above it the plan itself looks wrong

STEP_FIGURES = [
    Figure("seeding", SEED_FOR_S / 60, "min", CHOSEN, "in portions, each stirred until it is gone"),
    Figure(
        "dark sets on a cold blade within",
        5,
        "min",
        PRACTICE,
        "milk and white take longer; not set in 10 to 15 is not in temper",
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
        `ok` is False when it cannot be done as asked; that is no error.

    Raises
    ------
    UseError
        For figures that make no batch: seed no colder than the melt, an end over the seed's melting point, a refill
        that runs over the rim.
    """
    return _Planner(request).plan()


class _Planner:
    """One batch being worked out; each property is a part of the plan and may lean on another."""

    def __init__(self, request: BatchRequest) -> None:
        self.request = request
        self.profile, self.settings = request.profile, request.rig.settings
        self.body: Body = body_of(request.rig)
        self.chocolate: HeatProperties = HEAT_PROPERTIES[request.profile.kind]
        self.around = Surroundings(request.room_c, request.humidity, request.batch_kg, request.rig.plant.ring_cover)
        self.heater_w = float(self.settings["heater_w"])
        self.hard_limit_c = float(self.settings["hard_limit_c"])
        self.stage = "work" if request.tempered else "melted"

    def plan(self) -> Plan:
        steps, course = self.evening()
        of_temper = [materials.MELTS_OUT, *STEP_FIGURES] if self.request.tempered else []
        figures = [*self.chocolate.figures(), *heating.HEAT_FIGURES, *of_temper, *kitchen.ROOM_FIGURES]
        return Plan(
            self.request,
            self.seed,
            self.melt,
            self.warm_up,
            self.swap if self.request.tempered else None,
            self.refills if self.request.tempered else None,
            self.needs(),
            self.hold,
            self.room(),
            steps,
            course,
            tuple(figures),
        )

    # -- seed ----------------------------------------------------------------------------------------------------------

    @cached_property
    def seed(self) -> Seed | None:
        request = self.request
        if not request.tempered:
            return None
        taken_up = self.chocolate.molten_share(request.end_c, request.seed_c)
        mean_c = request.end_c + FALL_MEAN * (request.melt_c - request.end_c)
        lost_w = heating.bowl_off_w(self.body, mean_c, self.around)

        def batch(losses: float) -> Batch:
            return Batch(
                request.batch_kg,
                request.melt_c,
                request.seed_c,
                self.chocolate.latent.value,
                self.body.wall_j_per_k,
                losses * lost_w * SEED_FOR_S,
            )

        planned = seeding.seed_share(batch(1.0), request.end_c, taken_up)
        if planned >= 1.0:
            raise UseError(
                "the seed would be the whole batch and more",
                got=f"{100 * planned:.0f} % of {request.batch_kg:.2f} kg",
                wanted="some melt to seed",
                hint="the bowl holds more heat than its chocolate: a lighter bowl, more chocolate or a cooler melt",
            )
        per_melt = request.seed_factor * planned / (1.0 - planned)  # evenings gone by tell of seed for a weighed melt
        share = per_melt / (1.0 + per_melt)
        melt_kg = (1.0 - share) * request.batch_kg  # weighed out for the likely case; the range is for this melt
        low_kg = seeding.seed_for_melt_kg(melt_kg, batch(LOSS_HIGH), request.end_c, 1.0)
        high_kg = seeding.seed_for_melt_kg(melt_kg, batch(LOSS_LOW), request.end_c, taken_up)
        return Seed(
            low_kg=request.seed_factor * low_kg,
            likely_kg=share * request.batch_kg,
            high_kg=request.seed_factor * high_kg,
            share=share,
            taken_up=taken_up,
            lost_w=lost_w,
            factor=request.seed_factor,
            end_c=request.end_c,
        )

    # -- heat ----------------------------------------------------------------------------------------------------------

    @cached_property
    def melt_water_c(self) -> float:
        """How warm the bath runs while melting: never warmer than the chocolate may ever be."""
        profile = self.profile
        most_c = profile.never_above_c if self.request.tempered else self.water_most_c
        return min(self.request.melt_c + OVER_MELT_K, most_c, self.hard_limit_c - UNDER_HARD_LIMIT_K)

    @cached_property
    def solid_kg(self) -> float:
        return self.request.batch_kg - (self.seed.likely_kg if self.seed else 0.0)

    def melting(self, stirred: float) -> Course:
        request = self.request
        start = heating.Start(request.water_c, request.room_c, self.chocolate)
        around = replace(self.around, chocolate_kg=self.solid_kg, stirred=stirred)
        return heating.heat_up(
            self.body,
            self.heater_w,
            around,
            start,
            self.melt_water_c,
            lambda water_c, chocolate_c: chocolate_c >= request.melt_c,
        )

    @cached_property
    def melt_course(self) -> Course:
        """Stirred half the time, as people do."""
        return self.melting(0.5)

    @cached_property
    def melt(self) -> Melt:
        course, best, worst = self.melt_course, self.melting(1.0), self.melting(0.0)
        return Melt(
            self.solid_kg,
            self.request.melt_c,
            self.melt_water_c,
            _took(course),
            _took(best),
            _took(worst),
            course.energy_j,
            course.chocolate_c,
        )

    @cached_property
    def warm_up(self) -> Heat:
        aim_c = self.hold.water_c
        start = heating.Start(min(self.request.water_c, aim_c), self.profile.low_c)
        course = heating.heat_up(
            self.body, self.heater_w, self.around, start, aim_c, lambda water_c, chocolate_c: water_c >= aim_c
        )
        return Heat(_took(course), course.energy_j, aim_c)

    @property
    def water_most_c(self) -> float:
        """With no model of the wall, wall and water are one to the ceiling."""
        return min(
            self.profile.ceiling_c - float(self.settings["gains.ceiling_margin_c"]),
            self.hard_limit_c - UNDER_HARD_LIMIT_K,
        )

    @cached_property
    def hold(self) -> Hold:
        working = replace(self.around, stirred=1.0 if self.request.tempered else 0.0, lid=not self.request.tempered)
        measured = "bowl_offset_c" in self.request.rig.written
        water_c = heating.steady(self.body, self.profile.target_c, working).water_c
        if measured and self.request.tempered:
            water_c = self.profile.target_c + self.settings["bowl_offset_c"]
        least_kg = heating.least_kg(self.body, self.profile.target_c, working, self.water_most_c)
        possible = math.isfinite(least_kg) and water_c <= self.water_most_c
        return Hold(water_c, self.water_most_c, measured, least_kg if possible else None)

    def needs(self) -> tuple[Need, ...]:
        """Melt and last stage, uncovered and covered."""
        stages = [("melt", self.request.melt_c), ("work", self.profile.target_c)]
        if not self.request.tempered:
            stages = [("melted", self.profile.target_c)]
        return tuple(self._need(stage, temp_c, covered) for stage, temp_c in stages for covered in (False, True))

    def _need(self, stage: str, chocolate_c: float, covered: bool) -> Need:
        """Covered means the ring of water; the bowl has a lid only when nobody dips from it."""
        around = replace(
            self.around,
            ring_cover=COVERED if covered else 0.0,
            lid=covered and stage != "work",
            stirred=1.0 if stage == "work" else 0.0,
        )
        found: Steady = heating.steady(self.body, chocolate_c, around)
        reserve = self.heater_w / found.need_w if found.need_w > 0.0 else None
        vapour = found.vapour_kg_per_h
        top_up_h = TOP_UP_SHARE * self.body.water_kg / vapour if vapour > 0.0 else None
        return Need(stage, covered, chocolate_c, found.water_c, max(0.0, found.need_w), reserve, vapour, top_up_h)

    @cached_property
    def swap(self) -> Swap:
        from_c, to_c, cold_c = self.melt_water_c, min(self.hold.water_c, self.water_most_c), self.request.cold_c
        out_l = heating.swap_l(self.body, from_c, to_c, cold_c) if self.body.is_bath else math.inf
        alone_s = heating.cool_down_s(self.body, from_c, to_c, self.around)
        bath_l = float(self.settings["water_l"])
        return Swap(
            from_c,
            to_c,
            cold_c,
            out_l if out_l <= bath_l else None,
            bath_l,
            alone_s if math.isfinite(alone_s) else None,
        )

    @property
    def cools_in_time(self) -> bool:
        """After melting, is the bath down to its working temperature by the time the bowl comes back?

        A plate has no water to swap; a bowl in temper cannot wait an hour for it to cool.
        """
        if not self.request.tempered or self.swap.out_l is not None:
            return True
        return self.swap.by_itself_s is not None and self.swap.by_itself_s <= SEED_FOR_S

    # -- refills and room ----------------------------------------------------------------------------------------------

    @cached_property
    def refills(self) -> Refills:
        profile, request = self.profile, self.request
        more_kg = request.total_kg - request.batch_kg
        count = math.ceil(more_kg / (REFILL_SHARE * request.full_kg) - 1e-9)
        each_kg = more_kg / count if count else REFILL_SHARE * request.batch_kg
        bowl = Bowl(request.batch_kg - each_kg, profile.target_c, profile.low_c, profile.high_c)
        coldest_c, warmest_c = temps_for_c(bowl, each_kg)
        unit = replace(bowl, in_bowl_kg=1.0)
        rows = [
            [RefillRow(temp_c, largest_kg(unit, temp_c)) for temp_c in temps_c]
            for temps_c in (
                [t for t in WARM_REFILLS_C if t > profile.high_c],
                [t for t in COLD_REFILLS_C if t < profile.low_c],
            )
        ]
        solid = RefillRow(request.seed_c, largest_solid_kg(unit, request.seed_c, self.chocolate))
        return Refills(
            count,
            each_kg,
            bowl.in_bowl_kg,
            coldest_c,
            warmest_c,
            tuple(rows[0]),
            tuple(rows[1]),
            solid,
            self._asked(bowl),
        )

    def _asked(self, bowl: Bowl) -> RefillAnswer | None:
        asked = self.request.refill
        if asked is None:
            return None
        check_fits(asked.mass_kg, asked.in_bowl_kg, self.request.full_kg)
        bowl = replace(bowl, in_bowl_kg=asked.in_bowl_kg)
        ends_c = mixed_c(asked.in_bowl_kg, bowl.temp_c, asked.mass_kg, asked.temp_c)
        most_kg = largest_kg(bowl, asked.temp_c)
        return RefillAnswer(
            asked.mass_kg,
            asked.temp_c,
            asked.in_bowl_kg,
            ends_c,
            most_kg if math.isfinite(most_kg) else None,
            bowl.low_c - 1e-9 <= ends_c <= bowl.high_c + 1e-9,
        )

    def room(self) -> Room:
        request = self.request
        return Room(
            request.room_c,
            request.humidity,
            kitchen.dew_point_c(request.room_c, request.humidity),
            request.altitude_m,
            kitchen.boiling_c(request.altitude_m),
            request.centre_c,
        )

    # -- the evening ---------------------------------------------------------------------------------------------------

    @property
    def melted_elsewhere_water_c(self) -> float:
        """The water as seeding begins: warmed from before it, where that takes longer than seeding does."""
        warm_up = self.warm_up
        if warm_up.took_s is None or warm_up.took_s <= SEED_FOR_S:
            return self.request.water_c
        return warm_up.water_c - (warm_up.water_c - self.request.water_c) * SEED_FOR_S / warm_up.took_s

    def evening(self) -> tuple[tuple[Step, ...], tuple[tuple[float, float, float], ...]]:
        """Tonight's steps, and water and chocolate over them; a melt it cannot make is left to be made elsewhere."""
        request, target_c, water_c = self.request, self.profile.target_c, self.hold.water_c
        took_s = self.melt.took_s if self.cools_in_time else None
        rows = [] if took_s is None else [("melt", took_s, request.melt_c, self.melt_water_c)]
        if request.tempered:
            rows += [
                ("seed", SEED_FOR_S, request.end_c, water_c),
                ("settle", SETTLE_FOR_S, target_c, water_c),
                ("test", TEST_FOR_S.get(self.profile.kind, TEST_LONGER_S), target_c, water_c),
            ]
        rows.append((self.stage, request.work_s, target_c, water_c))
        steps, starts_s = [], 0.0
        for name, lasts_s, chocolate_c, step_water_c in rows:
            steps.append(Step(name, starts_s, lasts_s, chocolate_c, step_water_c))
            starts_s += lasts_s
        course = list(self.melt_course.rows) if took_s is not None else []
        last = course[-1] if course else (0.0, self.melted_elsewhere_water_c, request.melt_c)
        for step in steps[1 if course else 0 :]:
            course += _corners(step, last, swapped=took_s is not None)
            last = course[-1]
        return tuple(steps), tuple(course)


def _took(course: Course) -> float | None:
    return course.took_s if course.reached else None


def _corners(step: Step, last: tuple[float, float, float], swapped: bool) -> list[tuple[float, float, float]]:
    """Points of a step after the melt: not computed but drawn as people do it, from where the last one ended.

    Seed pulls the chocolate down a curve while the water is swapped within a minute, or warms up; the rest is straight.
    """
    _, last_water_c, last_c = last
    ends = (step.starts_s + step.lasts_s, step.water_c, step.chocolate_c)
    if step.name == "seed":
        fall_k = last_c - step.chocolate_c
        rise_k = 0.0 if swapped else step.water_c - last_water_c
        curve = [
            (
                step.starts_s + part * step.lasts_s,
                step.water_c - (1.0 - part) * rise_k,
                step.chocolate_c + fall_k * _falling(part),
            )
            for part in (twelfth / 12 for twelfth in range(1, 12))
        ]
        return [(step.starts_s, last_water_c, last_c), *curve, ends]
    first_s = min(step.lasts_s, SETTLE_FOR_S)
    return [(step.starts_s, last_water_c, last_c), (step.starts_s + first_s, step.water_c, step.chocolate_c), ends]


# The mean of `_falling` over the step: what the bowl loses meanwhile goes by its mean temperature.
FALL_MEAN = 1.0 / 3.0 - math.exp(-3.0) / (1.0 - math.exp(-3.0))


def _falling(part: float) -> float:
    """From 1 to 0, quick at first: the first portion is the largest."""
    return float((math.exp(-3.0 * part) - math.exp(-3.0)) / (1.0 - math.exp(-3.0)))
