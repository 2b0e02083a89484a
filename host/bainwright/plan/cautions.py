"""What speaks against a plan, in words: first what makes it impossible, then what makes it harder."""

from __future__ import annotations

from bainwright.core.masses import Shown, clock_text
from bainwright.core.units import duration_words
from bainwright.physics import kitchen
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.geometry import SHALLOW, body_of
from bainwright.physics.refills import solid_enough
from bainwright.plan import say
from bainwright.plan.heat_words import GOOD_RESERVE, by_itself
from bainwright.plan.holding import COVERED
from bainwright.plan.parts import STAGE_NAMES, Need, Plan
from bainwright.plan.request import SEEDING
from bainwright.plan.temper_words import for_crystals

USUAL_SEED = 0.30  # of the total; 15 to 25 % is usual, over 30 % starts needlessly warm; common practice, no source
MELT_LEAST_C = 40.0  # milk and white are melted at 40-45 °C, dark warmer; common practice, no source
LONG_TEMPER_S = 6 * 3600.0  # chosen: longer than anybody dips from one temper
LONG_MELTED_S = 24 * 3600.0  # from memory, as the line about the night
CUT_SHARE = 1e-9
DAY_MIN = 24 * 60.0
MOST_OF_THE_BATH = 0.8  # chosen: a bigger swap is work
MANY_REFILLS = 2  # chosen: more than one pair of hands tempers beside the dipping


def cautions(plan: Plan, shown: Shown) -> list[str]:
    """What speaks against the plan: first what makes it impossible, then what makes it harder."""
    room = plan.room
    return [
        *_impossible(plan, shown),
        *_too_late(plan),
        *_about_seed(plan, shown),
        *_harder(plan, shown),
        *kitchen.room_cautions(room.temp_c, room.humidity, room.centre_c),
    ]


def _too_late(plan: Plan) -> list[str]:
    """A time to dip that is still to come, while the heat should be on already; one that is gone is tomorrow's."""
    heat_min = None if plan.starts_min is None else plan.starts_min - plan.warms_before_s / 60.0
    now_min, dip_min = plan.request.now_min, plan.request.dip_at_min
    if heat_min is None or now_min is None or dip_min is None:
        return []
    if not any(heat_min < each < dip_min for each in (now_min, now_min - DAY_MIN)):  # it may begin the evening before
        return []
    before_min = plan.warms_before_s / 60.0
    ready = say.clock_band(now_min + before_min, plan.ready.quick_s, plan.ready.slow_s)
    return [f"It is {clock_text(now_min)}, too late for {clock_text(dip_min)} today: with the heat on now, dipping "
            f"begins {ready}."]


def _impossible(plan: Plan, shown: Shown) -> list[str]:
    said, hold = [], plan.hold
    if plan.too_warm_room:
        said.append(_too_warm(plan, shown))
    if not plan.heater_enough:
        said.append("The heater cannot hold the chocolate even with the water covered: see 'The heater'.")
    if hold.least_kg is None:
        most = f"{shown.temp(hold.water_most_c)} that the temper at the bowl's wall allows"
        if hold.water_c > hold.water_most_c:
            over = shown.difference(hold.water_c - hold.water_most_c)
            needs = f"The hold needs its {say.bath(plan)} at {shown.temp(hold.water_c)}, {over} over the {most}."
        else:  # the offset measured on the rig is content with less than the warmer's sizes
            needs = (
                f"By the warmer's sizes the hold needs its {say.bath(plan)} warmer than the {most}, though by the "
                f"offset of the rig file {shown.temp(hold.water_c)} is enough."
            )
        said.append(f"{needs} A warmer room, stirring, or better contact of the bowl helps.")
    if not plan.seed_enough and plan.seed_answer:
        why = "too warm" if plan.half_melted_seed else "too little"
        said.append(f"Your seed is {why}: it ends near {shown.temp(plan.seed_answer.ends_c)}, where it melts out.")
    if not plan.cools:
        said.append("The bowl does not cool that far in this room: use colder water (--cold-water), or seed it.")
    asked = plan.refills.asked if plan.refills else None
    if asked and not asked.stays_in:
        said.append(
            f"That refill takes the bowl out of its window, to {shown.temp(asked.ends_c)}: see 'Refills'."
        )
    return said


def _about_seed(plan: Plan, shown: Shown) -> list[str]:
    request, seed = plan.request, plan.seed
    if not request.tempered or request.method != SEEDING:
        return []
    said = []
    if request.seed_c <= plan.room.dew_point_c:
        said.append(
            f"Seed at {shown.temp(request.seed_c)} is colder than the room's dew point, "
            f"{shown.temp(plan.room.dew_point_c)}: it sweats, and water thickens chocolate. "
            f"{_out_of_the_cold(plan, shown)}"
        )
    if plan.half_melted_seed:
        said.append(
            f"Seed at {shown.temp(request.seed_c)} is half melted: it hardly cools the melt and seeds badly. Use seed "
            f"at {shown.temps(kitchen.ROOM_LOW_C, kitchen.ROOM_HIGH_C)}."
        )
    if seed and seed.likely_kg < shown.least_kg:
        said.append(
            f"This bowl cools to {shown.temp(seed.end_c)} nearly by itself while you stir it on the table, so it "
            f"needs hardly any seed for its cold. It needs some for its crystals: stir in {for_crystals(plan, shown)} "
            f"as soon as it is near {shown.temp(seed.end_c)}, and watch the thermometer."
        )
    return said if plan.half_melted_seed and plan.seed_answer else said + _much_seed(plan, shown)


def _much_seed(plan: Plan, shown: Shown) -> list[str]:
    """More seed than is usual: that which was put aside, else that which the balance asks for."""
    seed, answer = plan.seed, plan.seed_answer
    share = answer.share if answer else seed.share if seed else 0.0
    if share <= USUAL_SEED:
        return []
    much = f"{100 * share:.0f} % of seed is much; 15 to 25 % is usual."
    if answer is None:
        less = ["a cooler melt needs less (--melt)"] if plan.request.melt_c > MELT_LEAST_C else []
        # The balance's high end is cut at the melt's own mass: a cook who has that much ready may still lack some.
        cut = seed is not None and seed.high_kg >= plan.melt.solid_kg * (1.0 - CUT_SHARE)
        short = " With little lost on the table even as much seed as melt may not be enough." if cut else ""
        helps = say.capital("; ".join([*less, "cooling and warming back needs none (--method cool)"]))
        return [f"{much}{short} {helps}"]
    if seed is None or answer.mass_kg <= _melts_kg(plan):
        return [much]
    some = _melts_kg(plan) >= shown.least_kg
    takes = f"about {shown.mass(_melts_kg(plan))} of yours takes" if some else "hardly any of yours is needed to take"
    return [
        f"{much} {takes.capitalize()} the bowl to {shown.temp(seed.end_c)}. The rest would not melt and comes out "
        "again, so there is that much less to dip from."
    ]


def _melts_kg(plan: Plan) -> float:
    """Seed that the melt, weighed for the seed that was put aside, takes down to its end."""
    assert plan.seed is not None
    return plan.melt.solid_kg * plan.seed.share / (1.0 - plan.seed.share)


def _out_of_the_cold(plan: Plan, shown: Shown) -> str:
    """Where cold seed is to warm up: in a room that would half melt it, no further than it has to."""
    if solid_enough(plan.room.temp_c, HEAT_PROPERTIES[plan.request.profile.kind]):
        return "Let it come to the room, wrapped, before it goes in."
    return (f"Warm it, wrapped, to a little over {shown.temp(plan.room.dew_point_c)} and no further: at the room's "
            "warmth it would be half melted.")


def _too_warm(plan: Plan, shown: Shown) -> str:
    profile = plan.request.profile
    return (
        f"The room at {shown.temp(plan.room.temp_c)} is warmer than the window, "
        f"{shown.temps(profile.low_c, profile.high_c)}. The warmer heats and cannot cool, so the room takes the "
        "chocolate out of it. Cool the room, or work at a cooler hour."
    )


def _elsewhere(plan: Plan, shown: Shown) -> str:
    """Why the chocolate has to be melted somewhere else."""
    melt, swap = plan.melt, plan.swap
    if melt.took is None:
        return (
            f"This warmer does not bring the chocolate to {shown.temp(melt.to_c)}. With the {say.bath(plan)} at most "
            f"{shown.temp(melt.water_c)} it settles {_near(plan, shown)}. {_instead(plan)}."
        )
    assert swap is not None  # only a temper has to come down again
    alone_s = swap.by_itself_s
    slow = f"needs {say.band(by_itself(alone_s))}" if alone_s is not None else "does not get there"
    cold = (
        "has no water to swap"
        if swap.cold_c < swap.to_c
        else f"cannot be cooled with water at {shown.temp(swap.cold_c)}"
    )
    return (
        f"After melting, the warmer has to come down to {shown.temp(swap.to_c)}. By itself it {slow}, and it {cold}; a "
        "bowl in temper cannot wait that long. Melt the chocolate elsewhere (the steps begin after that) and use the "
        "warmer for the hold alone."
    )


def _instead(plan: Plan) -> str:
    """What to do about a melt that does not get there; melted stock has no cooler one."""
    ways = []
    if plan.melt.covered_does:
        ways.append(f"cover the water round the bowl (--cover {100 * COVERED:.0f}%)")
    if plan.melt.stirred_s is not None:
        ways.append("stir it all the time")
    ways.append("melt it elsewhere (the steps begin after that)")
    if plan.request.tempered:
        ways.append("choose a cooler melt (--melt)")
    said = ", or ".join([", ".join(ways[:-1]), ways[-1]]) if len(ways) > 1 else ways[0]
    return said[0].upper() + said[1:]


def _helps(plan: Plan) -> str:
    """What helps a melt that creeps; melted stock has no cooler melt, and a plate no water."""
    short = any(_tight(need) for need in plan.needs if need.stage != "work")
    cover = ", cover the water" if short and plan.request.rig.bath == "water" else ""
    cooler = ", or choose a cooler melt (--melt)" if plan.request.tempered else ""
    return f"put a lid on the bowl between stirs, stir often{cover}{cooler}"


def _near(plan: Plan, shown: Shown) -> str:
    """Where a melt that does not get there settles: never at the figure it does not get to."""
    settles = shown.temp(plan.melt.settles_c or 0.0)
    return f"just under {settles}" if settles == shown.temp(plan.melt.to_c) else f"near {settles}"


def _harder(plan: Plan, shown: Shown) -> list[str]:
    return [
        *([] if plan.melts_here else [_elsewhere(plan, shown)]),
        *_of_the_melt(plan, shown),
        *_of_the_hours(plan, shown),
        *_of_the_heater(plan),
        *_shallow(plan),
    ]


def _of_the_melt(plan: Plan, shown: Shown) -> list[str]:
    """A melt that leaves old crystals or may not get there, and refills without end."""
    said, melt = [], plan.melt
    if plan.request.tempered and melt.to_c < MELT_LEAST_C:
        said.append(
            f"A melt of {shown.temp(melt.to_c)} may leave old crystals in it, and those set to a bad temper. "
            f"At least {shown.temp(MELT_LEAST_C)} is usual (--melt)."
        )
    if plan.melts_here and melt.took and melt.took.high_s is None:
        said.append(f"This melt may not get to {shown.temp(melt.to_c)}: {_helps(plan)}.")
    if plan.refills and plan.refills.count > MANY_REFILLS:
        said.append(
            f"{plan.refills.count} refills of {shown.mass(plan.refills.each_kg)} follow, each tempered before it goes "
            "in: have a second bowl and a second pair of hands for them, or make several evenings of it."
        )
    return said


def _of_the_hours(plan: Plan, shown: Shown) -> list[str]:
    """More hours than the chocolate or the run timer takes, and more stock than the bowl takes."""
    said, request = [], plan.request
    if request.tempered and request.work_s > LONG_TEMPER_S:
        said.append(
            f"{duration_words(request.work_s)} in temper is long: it thickens by the hour, and no published figure "
            "says for how long it lasts. Test often, and temper again when warmth inside the window no longer thins "
            "it; for the night hold it melted (bain plan melted)."
        )
    if not request.tempered and request.work_s > LONG_MELTED_S:
        said.append(f"{duration_words(request.work_s)} is long: 12 to 24 h of it, clean and covered, is only a matter "
                    "of quality; for longer, let it set and melt it again.")
    alone_h = float(request.rig.settings["trip.run_h"])
    if request.work_s > 3600.0 * alone_h:
        said.append(f"With nobody there for {alone_h:g} h the heat goes off: press yes once in that time.")
    later_kg = request.total_kg - request.batch_kg
    if not request.tempered and later_kg >= shown.least_kg:
        said.append(
            f"The bowl is full at {shown.mass(request.batch_kg)}: melt the other {shown.mass(later_kg)} elsewhere, or "
            "after this."
        )
    return said


def _of_the_heater(plan: Plan) -> list[str]:
    """A heater with little in reserve, and a bath that is nearly all swapped."""
    said = []
    tight = [need for need in plan.needs if _tight(need) and (plan.melts_here or need.stage != "melt")]
    if tight and plan.heater_enough:
        said.append(
            f"The heater has little in reserve uncovered ({STAGE_NAMES[tight[0].stage]}): cover the water round the "
            "bowl, and keep draughts away."
        )
    swap = plan.swap if plan.melts_here else None
    if swap and swap.out_l is not None and swap.out_l > MOST_OF_THE_BATH * swap.bath_l:
        said.append("Nearly the whole bath has to be swapped: colder water would do with less.")
    return said


def _shallow(plan: Plan) -> list[str]:
    """Water in so wide a pot that it hardly reaches the bowl's wall, which the plan counts on."""
    request = plan.request
    body, litres = body_of(request.rig), float(request.rig.settings["water_l"])
    wanted_m = body.immersion * body.bowl_height_m
    wanted_l = 1000.0 * body.ring_m2 * wanted_m
    if not body.is_bath or litres >= SHALLOW * wanted_l:
        return []
    reaches_cm = 100.0 * wanted_m * litres / wanted_l
    return [
        f"In a pot {100 * body.pot_diameter_m:.0f} cm wide, {litres:g} L of water reach only {reaches_cm:.0f} cm up "
        f"the bowl, and the plan counts on {100 * wanted_m:.0f} cm, which takes {wanted_l:.1f} L: a narrower pot, or "
        "more water (water_l in the rig file)."
    ]


def _tight(need: Need) -> bool:
    return not need.covered and need.reserve is not None and need.reserve < GOOD_RESERVE
