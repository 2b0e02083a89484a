"""A plan's words on heat: melting times, the bath's water, the heater, refills, and the room."""

from __future__ import annotations

from bainwright.core.masses import POUND_KG, Shown
from bainwright.physics import kitchen
from bainwright.plan import say
from bainwright.plan.parts import OPEN_END, STAGE_NAMES, Band, Melt, Need, Plan, RefillAnswer, Refills
from bainwright.plan.spread import Spread

GOOD_RESERVE = 1.5  # times the uncovered need; chosen, because a draught may double the losses
VAPOUR_LOW, VAPOUR_HIGH = 0.67, 1.5  # of a time until so much has evaporated: two laws differ by it, and draughts
MOST_LISTED = 6  # chosen: more refills are one line of a checklist
LEAST_W = 0.5  # less is not worth a number
LONG_HOLD_S = 6 * 3600.0  # chosen: beyond it evaporation and germs matter more than dipping


def melting(plan: Plan, shown: Shown) -> list[str]:
    """How long the melt and the bath take."""
    melt, warm_up = plan.melt, plan.warm_up
    said = []
    if melt.took and plan.melts_here:
        said.append(
            f"Melting {shown.mass(melt.solid_kg)} takes {say.band(melt.took)} and about {say.energy(melt.energy_j)}, "
            f"bath and losses included. {_stirred(melt)}".strip()
        )
    if warm_up.took is None:
        said.append(f"This heater does not bring the {say.bath(plan)} to {shown.temp(warm_up.water_c)}.")
    elif warm_up.took.likely_s == 0.0:
        said.append(f"The {say.bath(plan)} is already warm enough to hold the bowl ({shown.temp(warm_up.water_c)}).")
    else:
        said.append(
            f"With a bowl that is already {'in temper' if plan.request.tempered else 'melted'}, full heat brings the "
            f"{say.bath(plan)} from {shown.temp(plan.request.water_c)} to {shown.temp(warm_up.water_c)} in "
            f"{say.band(warm_up.took)} ({say.energy(warm_up.energy_j)})."
        )
    if plan.request.tempered:
        least, most = kitchen.thicker_by(40.0, plan.request.profile.target_c)
        said.append(
            f"At {shown.temp(plan.request.profile.target_c)} the melt is {least:.1f} to {most:.1f} times as thick as "
            f"at {shown.temp(40.0)} before any crystal forms."
        )
    return said


def _stirred(melt: Melt) -> str:
    if melt.stirred_s is None or melt.unstirred_s is None:
        return "Without stirring it may not get there: stir it often." if melt.stirred_s is not None else ""
    if melt.unstirred_s == 0.0:  # it goes in as warm as it is to get
        return ""
    saves = round(100.0 * (1.0 - melt.stirred_s / melt.unstirred_s))
    return f"Stirring all the time takes about {saves} % less than leaving it alone." if saves > 0 else ""


def by_itself(likely_s: float) -> Band:
    """How long a bath takes to cool: as uncertain as its losses."""
    quick, slow = Spread().bath_loss
    return Band(likely_s / slow, likely_s, likely_s / quick)


def water(plan: Plan, shown: Shown) -> list[str]:
    """The swap after the melt, and what evaporates."""
    said = [words for words in [_swap(plan, shown)] if words]
    wet = [need for need in plan.needs if need.top_up_h is not None and (plan.melts_here or need.stage != "melt")]
    for need in wet:
        cover = "covered" if need.covered else "uncovered"
        said.append(
            f"{STAGE_NAMES[need.stage].capitalize()}, {cover}: water at {shown.temp(need.water_c)} loses "
            f"{shown.little(need.evaporates_kg_per_h)} an hour. {_top_up(plan, need)}"
        )
    if wet:
        said.append(
            "Top up with water as warm as the bath: cold water disturbs it. Cover the ring of water round the bowl."
        )
    return said


def _top_up(plan: Plan, need: Need) -> str:
    """When a tenth is gone, if the stage lasts so long."""
    top_up_s = 3600.0 * (need.top_up_h or 0.0)
    step = next((step for step in plan.steps if step.name == need.stage), None)
    if step is None or (step.high_s or OPEN_END * step.lasts_s) < VAPOUR_LOW * top_up_s:
        return "No topping up needed."
    after = say.band(Band(VAPOUR_LOW * top_up_s, top_up_s, VAPOUR_HIGH * top_up_s))
    return f"Top up after {after}, when a tenth is gone."


def _swap(plan: Plan, shown: Shown) -> str:
    """How the bath comes down: a heater cannot cool it."""
    swap = plan.swap
    if swap is None or swap.from_c <= swap.to_c or not plan.melts_here:
        return ""
    first = f"After melting, the bath has to come from {shown.temp(swap.from_c)} down to {shown.temp(swap.to_c)}."
    alone = (
        f"By itself it takes {say.band(by_itself(swap.by_itself_s))}."
        if swap.by_itself_s is not None
        else "By itself it does not get there."
    )
    if swap.out_l is None:
        return f"{first} Heat off, bowl off. {alone}"
    return (
        f"{first} Ladle out {swap.out_l:.1f} L and pour in as much at {shown.temp(swap.cold_c)}, rather more than "
        f"less. {alone}"
    )


# -- the heater ------------------------------------------------------------------------------------------------------


def heater(plan: Plan, shown: Shown) -> list[str]:
    """What the heater has and what each stage needs."""
    said = [f"It has {plan.request.rig.settings['heater_w']:g} W; the room is at {shown.temp(plan.room.temp_c)}."]
    said += [_need(plan, need, shown) for need in plan.needs if plan.melts_here or need.stage != "melt"]
    hold, request = plan.hold, plan.request
    offset = "the offset of the rig file" if hold.offset_measured and request.tempered else "the warmer's sizes"
    said.append(
        f"Holding {shown.temp(request.profile.target_c)} takes {_a_bath(plan)} near {shown.temp(hold.water_c)}, "
        f"by {offset}. The bowl's wall allows {shown.temp(hold.water_most_c)}."
    )
    if hold.least_kg is not None and request.tempered and hold.least_kg > 0.02 * request.full_kg:
        said.append(
            f"With less than about {shown.mass(hold.least_kg)} in the bowl such water is not warm enough: refill "
            "before, or put a lid on between dips."
        )
    return said


def _a_bath(plan: Plan) -> str:
    return "water" if say.bath(plan) == "water" else "a plate"


def _too_warm_a_bath(plan: Plan, need: Need) -> bool:
    """Whether a hold would need its bath warmer than the bowl's wall allows; an offset that was measured says more."""
    sized = not (plan.hold.offset_measured and plan.request.tempered)
    return sized and need.stage != "melt" and need.water_c > plan.hold.water_most_c


def _need(plan: Plan, need: Need, shown: Shown) -> str:
    covered = "covered" if need.covered else "uncovered"
    words = f"{STAGE_NAMES[need.stage].capitalize()} at {shown.temp(need.chocolate_c)}, {covered}: "
    if _too_warm_a_bath(plan, need):
        most = shown.temp(plan.hold.water_most_c)
        return words + (f"not held. It takes {_a_bath(plan)} at {shown.temp(need.water_c)}, and the bowl's wall allows "
                        f"{most}.")
    if need.reserve is None:
        return words + "the room alone is warm enough."
    if need.need_w < LEAST_W:
        return words + "hardly any heat: the room does nearly all of it."
    if need.reserve < 1.0:
        return words + f"{need.need_w:.0f} W, more than it has."
    enough = "enough" if need.reserve >= GOOD_RESERVE else "just enough"
    share = max(1.0, 100 / need.reserve)
    return words + f"{need.need_w:.0f} W, {share:.0f} % of its power; {enough}, {need.reserve:.1f} times the need."


# -- refills ---------------------------------------------------------------------------------------------------------


def refills(plan: Plan, shown: Shown) -> list[str]:
    """How much may be poured in, and how warm."""
    found = plan.refills
    if found is None:
        return []
    said = []
    if found.count:
        times = "once" if found.count == 1 else f"{found.count} times"
        said.append(
            f"The bowl holds {shown.mass(plan.request.full_kg)}, so {times} {shown.mass(found.each_kg)} comes later."
        )
    said.append(
        f"Into {shown.mass(found.in_bowl_kg)}, a refill of {shown.mass(found.each_kg)} may be at "
        f"{shown.temps(found.coldest_c, found.warmest_c)}. One in temper, under "
        f"{shown.temp(plan.request.profile.ceiling_c)}, brings seed along; melted stock thins it out."
    )
    said += _largest(found, shown)
    if found.asked:
        said.append(_asked(found.asked, shown))
    return said


def refills_due(plan: Plan, shown: Shown) -> list[str]:
    """The refills as a checklist: each with its mass, its warmth, and when it is due."""
    found = plan.refills
    if found is None:
        return []
    each = (f"{shown.mass(found.each_kg)} in temper, at {shown.temps(found.coldest_c, found.warmest_c)}, once "
            f"{shown.mass(found.in_bowl_kg)} are left in the bowl. Announce it first: the bath then warms up for it.")
    if found.count > MOST_LISTED:
        due = [f"{found.count} refills, each {each}"]
    else:
        due = [f"Refill {at} of {found.count}: {each}" for at in range(1, found.count + 1)]
    return [*due, *([_asked(found.asked, shown)] if found.asked else [])]


def _largest(found: Refills, shown: Shown) -> list[str]:
    unit_kg = POUND_KG if shown.pounds else 1.0
    said = []
    for name, rows in (("warm", found.warm), ("cold", found.cold)):
        if rows:
            each = ", ".join(f"{shown.mass(row.share * unit_kg)} at {shown.temp(row.temp_c)}" for row in rows)
            said.append(f"At most, for each {shown.mass(unit_kg)} still in the bowl, {name}: {each}.")
    if found.solid:
        said.append(
            f"Solid pieces at {shown.temp(found.solid.temp_c)}: about {shown.mass(found.solid.share * unit_kg)} for "
            f"each {shown.mass(unit_kg)}, good to a fifth; more takes the bowl below its window. Announce each refill: "
            "the bath then warms up before it."
        )
    return said


def _asked(asked: RefillAnswer, shown: Shown) -> str:
    most = "any amount that fits" if asked.largest_kg is None else f"at most {shown.little(asked.largest_kg)}"
    verdict = "it stays in its window" if asked.stays_in else f"out of its window; {most} of that temperature"
    yours = f"{shown.mass(asked.mass_kg)}{' of solid pieces' if asked.solid else ''}"
    return (
        f"Yours, {yours} at {shown.temp(asked.temp_c)} into {shown.mass(asked.in_bowl_kg)}: "
        f"the bowl goes to {shown.temp(asked.ends_c)}, {verdict}."
    )


# -- the room and the sources ----------------------------------------------------------------------------------------


def room(plan: Plan, shown: Shown) -> list[str]:
    """The room, its dew point and its boiling point; water and warmth in the chocolate."""
    found = plan.room
    said = [
        f"{shown.temp(found.temp_c)} and {100 * found.humidity:.0f} % relative humidity. "
        f"{shown.temps(kitchen.ROOM_LOW_C, kitchen.ROOM_HIGH_C)} and under 50 to 60 % suit the work.",
        f"Dew point {shown.temp(found.dew_point_c)}: anything colder sweats.",
    ]
    if plan.request.tempered:
        said += _centres_and_water(plan, shown)
    if found.altitude_m:
        said.append(
            f"At {found.altitude_m:.0f} m water boils at {shown.temp(found.boiling_c)}: check a thermometer against "
            "that."
        )
    if not plan.request.tempered or plan.request.work_s > LONG_HOLD_S:
        days = kitchen.tenfold_min(plan.request.profile.target_c) / 1440
        said.append(
            f"Warmth of {shown.temp(plan.request.profile.target_c)} kills nothing: germs need about {days:.0f} days to "
            "fall to a tenth. But nothing grows either: the water activity of chocolate is about "
            f"{kitchen.WATER_ACTIVITY:g}, growth needs {kitchen.GROWTH_FROM:g} and toxins {kitchen.TOXIN_FROM:g}. "
            "Clean, covered and dry, a night is only a matter of quality."
        )
    return said


def _centres_and_water(plan: Plan, shown: Shown) -> list[str]:
    thick_kg, seizes_kg = (
        share[0] * plan.request.batch_kg for share in (kitchen.THICKENS_FROM, kitchen.SEIZES_FROM)
    )
    return [
        f"Centres are best at {shown.temps(kitchen.CENTRE_LOW_C, kitchen.CENTRE_HIGH_C)}. Those of cream or ganache "
        "have limits of their own.",
        f"From about {shown.little(thick_kg)} of water this bowl thickens, from {shown.little(seizes_kg)} it may "
        "seize. Wipe the underside dry whenever you lift it, and discard chocolate that bath water got into.",
    ]


def sources(plan: Plan) -> list[str]:
    """Every figure with its mark and source."""
    profile = plan.request.profile
    said = [f"Temperatures of {profile.name}: {profile.source}."] if profile.source else []
    return [
        *said,
        *[say.capital(figure.words()) for figure in plan.figures],
        "All else is computed from these, your rig file and what you typed. No figure tells how much seed is still "
        "alive: only a temper test does.",
    ]
