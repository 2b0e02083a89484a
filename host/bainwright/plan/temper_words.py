"""A plan's words on tempering: what to have ready, how much seed, and the steps of the evening."""

from __future__ import annotations

from bainwright.core.masses import Shown, clock_text, minutes_words
from bainwright.physics import kitchen
from bainwright.plan import say
from bainwright.plan.parts import STAGE_NAMES, STEP_MIN, Band, Butter, Cooling, Plan, Seed, SeedAnswer, Step
from bainwright.plan.request import BUTTER, COOLING

WHEN_THICK = "When it thickens, go a little warmer inside it."  # the hold says so too
CRYSTALS = (0.05, 0.10)  # of the bowl, chosen: seed for its crystals alone, where a bowl cools by itself


def for_crystals(plan: Plan, shown: Shown) -> str:
    """Seed for a bowl that needs none for its cold."""
    low_kg, high_kg = (share * plan.request.batch_kg for share in CRYSTALS)
    return f"{shown.little(low_kg)} to {shown.little(high_kg)}"


def have_ready(plan: Plan, shown: Shown) -> str:
    """What to have at hand before the heat goes on."""
    things = [f"{shown.mass(plan.melt.solid_kg)} of chocolate to melt", *_additions(plan, shown)]
    if plan.swap and plan.swap.out_l and plan.melts_here:
        things.append(f"{plan.swap.out_l:.1f} L of water at {shown.temp(plan.swap.cold_c)}, and a ladle")
    if plan.refills and plan.refills.count:
        each = shown.mass(plan.refills.each_kg)
        things.append(f"a refill of {each}" if plan.refills.count == 1 else f"{plan.refills.count} refills of {each}")
    if plan.request.tempered:
        things += ["a thermometer", "a cold blade", "a dry towel"]
    return say.capital("; ".join(things))


def _additions(plan: Plan, shown: Shown) -> list[str]:
    """What goes into the melt, or what cools it, by method."""
    if plan.seed_answer:
        return [f"{shown.little(plan.seed_answer.mass_kg)} more, in temper, as seed"]
    if plan.seed:
        some = plan.seed.likely_kg >= shown.least_kg
        how_much = shown.mass(plan.seed.high_kg) if some else for_crystals(plan, shown)
        return [f"{how_much} more, in temper, as seed, at {shown.temp(plan.request.seed_c)}"]
    if plan.butter:
        return [f"{shown.little(plan.butter.mass_kg)} of crystallised cocoa butter, creamy and not molten"]
    if plan.cooling:
        return [f"a basin with 3 L of water at {shown.temp(plan.cooling.basin_c)}, and a scraper"]
    return []


# -- the methods -----------------------------------------------------------------------------------------------------


def method_section(plan: Plan, shown: Shown) -> tuple[str, list[str]]:
    """Title and lines of the method's own section; no lines for melted stock."""
    if plan.seed_answer:
        return "Your seed", seed_answer_lines(plan, plan.seed_answer, shown)
    if plan.seed:
        return "Seed", _seed(plan, plan.seed, shown)
    if plan.butter:
        return "Cocoa butter seed", _butter(plan, plan.butter, shown)
    if plan.cooling:
        return "Cool and warm back", _cooling(plan, plan.cooling, shown)
    return "Seed", []


def _seed(plan: Plan, seed: Seed, shown: Shown) -> list[str]:
    request, end = plan.request, shown.temp(seed.end_c)
    if seed.likely_kg < shown.least_kg:
        return [
            f"This melt cools to {end} nearly by itself, so no mass of seed follows from its heat. Stir in "
            f"{for_crystals(plan, shown)} as soon as the thermometer is near {end}: without seed there is no temper."
        ]
    first = f"Put in {shown.mass(seed.first_kg)} first, then a" if seed.first_kg else "Put in a"
    said = [
        f"About {shown.little(seed.likely_kg)} of the {shown.mass(request.batch_kg)} in the bowl is seed "
        f"({100 * seed.share:.0f} %). It takes the melt from {shown.temp(request.melt_c)} down to {end}.",
        f"Have {shown.mass(seed.high_kg)} ready. {first} handful at a time until the thermometer reads {end}. Pieces "
        "left over are normal: take them out.",
        _why_wide(seed),
        "The seed itself must be in temper: glossy, with a clean snap, no grey film (bain profile about seed).",
    ]
    if plan.melt.solid_kg + seed.high_kg > request.full_kg:
        said.append(
            f"With all of it the bowl would hold {shown.mass(plan.melt.solid_kg + seed.high_kg)}; it is full at "
            f"{shown.mass(request.full_kg)}."
        )
    if seed.factor == 1.0:
        said.append("Afterwards, record what you used (bain stock): the next plan learns from it.")
    else:
        said.append(f"All three figures are multiplied by {seed.factor:g}, from your past evenings.")
    return said


def _why_wide(seed: Seed) -> str:
    takes = f"{100 * seed.taken_up:.0f} and 100 %"
    latent = f"the seed takes up between {takes} of its latent heat, by the melting curve of cocoa butter"
    if seed.lost_w < 1.0:
        return f"The range is wide because {latent}."
    return (
        f"The range is wide for two reasons. The bowl on the table loses about {seed.lost_w:.0f} W, half of that in a "
        f"towel and half as much again in a draught. And {latent}."
    )


def seed_answer_lines(plan: Plan, answer: SeedAnswer, shown: Shown) -> list[str]:
    """Where the seed put aside ends, and what to do there."""
    request = plan.request
    lands = (
        f"{shown.little(answer.mass_kg)} of seed, {100 * answer.share:.0f} % of {shown.mass(request.batch_kg)}, takes "
        f"the melt from {shown.temp(request.melt_c)} to about {shown.temp(answer.ends_c)} "
        f"({shown.temps(answer.coldest_c, answer.warmest_c)}, by how much heat the bowl loses meanwhile)."
    )
    seed, end = plan.seed, shown.temp(request.end_c)
    if plan.half_melted_seed:  # more of it would not help, so its balance is no advice
        return [lands, _what_to_do(plan, answer, shown)]
    need = (f"The balance asks for {shown.little(seed.likely_kg)} to end at {end}." if seed else
            f"To end at {end} it would take more seed than melt; bain plan --method cool needs none.")
    return [lands, _what_to_do(plan, answer, shown), need]


def _what_to_do(plan: Plan, answer: SeedAnswer, shown: Shown) -> str:
    profile, ends_c = plan.request.profile, round(answer.ends_c, 1)  # as shown: 32.04 °C is in a window up to 32.0 °C
    if plan.half_melted_seed and ends_c > profile.high_c:
        cooler = shown.temps(kitchen.ROOM_LOW_C, kitchen.ROOM_HIGH_C)
        return f"That is too warm, as seed this warm is half melted: cool it to {cooler} first, and ask again."
    if ends_c > profile.ceiling_c:
        return (
            f"That is too warm: above {shown.temp(profile.ceiling_c)} the seed melts out. Take more seed, or start "
            "from a cooler melt (--melt)."
        )
    if ends_c > profile.high_c:
        return (
            f"That is above the window's {shown.temp(profile.high_c)}. Stir until it cools there, with a handful of "
            "seed more if it stops short."
        )
    if ends_c >= profile.low_c:
        return "That is in its window: stir until the pieces are gone, then test the temper."
    return (
        f"That is below the window's {shown.temp(profile.low_c)}. Stop adding seed at {shown.temp(profile.high_c)} and "
        "keep the rest, or warm the bowl back into its window and take out the pieces."
    )


def _butter(plan: Plan, butter: Butter, shown: Shown) -> list[str]:
    down = f"on the table, stirring, takes {say.band(butter.down)}" if butter.down else "does not happen in this room"
    on = say.band(butter.on) if butter.on else "too warm a room for it"
    return [
        f"Stir {shown.little(butter.mass_kg)} of crystallised cocoa butter (1 % of the mass) into the melt at "
        f"{shown.temps(butter.low_c, butter.high_c)}. Common practice, no source.",
        f"Cooling to {shown.temp(butter.high_c)} {down}. Warmer, the butter melts and seeds nothing.",
        "The butter is right when it is creamy and pale, like soft wax; clear, it has melted and must be crystallised "
        f"again. Stir until no streaks are left, and on down to {shown.temp(plan.request.profile.high_c)}: {on}.",
    ]


def _cooling(plan: Plan, cooling: Cooling, shown: Shown) -> list[str]:
    profile = plan.request.profile
    down = say.band(cooling.down) if cooling.down else "longer than an evening"
    back = say.band(cooling.back) if cooling.back else "longer than an evening"
    return [
        f"Cool to {shown.temps(cooling.low_c, cooling.high_c)}, then warm back to "
        f"{shown.temps(profile.low_c, profile.high_c)}. Common practice, no source; the chart on the bag wins.",
        f"Down takes {down} in a basin at {shown.temp(cooling.basin_c)}, stirring all the time and scraping the wall, "
        "where it sets first. Take the bowl out a degree early: it keeps cooling.",
        f"Back takes {back}. Below the window it is thick and full of crystals that are too soft to last: warming back "
        f"melts those. Above {shown.temp(profile.ceiling_c)} the good ones melt too: then start again from the melt.",
        "A piece of tempered chocolate stirred in at the cold end makes the good crystals form sooner.",
        f"The warmer leads it: bain hold {profile.path or profile.name} --from melt --method cool calls you when the "
        f"bowl reads {shown.temp(cooling.high_c)}, and warms it back.",
    ]


# -- the steps -------------------------------------------------------------------------------------------------------


def step_line(plan: Plan, step: Step, shown: Shown) -> str:
    """When a step likely begins, how long it lasts, and what to do."""
    step_s = 60.0 * STEP_MIN  # as under the picture
    when = f"About {minutes_words(step_s * round(step.starts_s / step_s))} in" if step.starts_s else "At once"
    if plan.starts_min is not None:
        when = f"About {clock_text(5 * round((plan.starts_min + step.starts_s / 60) / 5))}"
    lasts = say.band(Band(step.low_s, step.lasts_s, step.high_s))
    if step.name == plan.steps[-1].name:
        lasts = minutes_words(step.lasts_s)
    return f"{when}: {STAGE_NAMES[step.name]}, {lasts}. {action(plan, step, shown)}"


def action(plan: Plan, step: Step, shown: Shown) -> str:
    """What to do in a step."""
    profile = plan.request.profile
    if step.name == "melt":
        return (
            f"{shown.mass(plan.melt.solid_kg)} over {'water' if say.bath(plan) == 'water' else 'the plate'} at "
            f"{shown.temp(step.water_c)}, to "
            f"{shown.temp(step.chocolate_c)}; stir every few minutes. Never above {shown.temp(profile.never_above_c)}."
        )
    if step.name in ("cool", "seed"):
        return " ".join(part for part in (_off_the_bath(plan, step, shown), swap_now(plan, step, shown)) if part)
    if step.name == "rewarm":
        return (
            f"Wipe the underside dry, set the bowl back, stir now and then: up to {shown.temp(profile.low_c)}, never "
            f"above {shown.temp(profile.high_c)}."
        )
    if step.name == "settle":
        return (
            f"Wipe the underside dry, set the bowl back, stir, take out what has not melted. Hold at "
            f"{shown.temp(step.chocolate_c)}."
        )
    if step.name == "test":
        failed = "cool and warm back again" if plan.request.method == COOLING else "more seed"
        return (
            f"Dip a cold blade: it sets within {profile.set_min:g} min. One that has not by {profile.fail_min:g} min "
            f"is not in temper: {failed}."
        )
    if step.name == "work":
        return (
            f"Window {shown.temps(profile.low_c, profile.high_c)}, {say.bath(plan)} near {shown.temp(step.water_c)}. "
            f"Test again when it has been above its window. {WHEN_THICK}"
        )
    before = "" if plan.melts_here else f"{_warm_up_before(plan, shown)} "
    return f"{before}Hold at {shown.temp(step.chocolate_c)}, covered, never above {shown.temp(profile.never_above_c)}."


def _off_the_bath(plan: Plan, step: Step, shown: Shown) -> str:
    method, to = plan.request.method, shown.temp(step.chocolate_c)
    if step.name == "cool" and plan.cooling:
        return (
            f"Lift the bowl into the basin at {shown.temp(plan.cooling.basin_c)}. Stir and scrape all the time, to "
            f"{shown.temps(plan.cooling.low_c, plan.cooling.high_c)}."
        )
    if step.name == "cool":
        return f"Lift the bowl off, wipe its underside dry. Stir it on the table down to {to}."
    if method == BUTTER and plan.butter:
        return (f"Stir in {shown.little(plan.butter.mass_kg)} of cocoa butter seed until no streaks are left. Stir on, "
                f"on the table, down to {to}.")
    seed = _given(plan, plan.seed_answer, shown) if plan.seed_answer else f"Seed to {to}: {_portions(plan, shown)}."
    return f"Lift the bowl off, wipe its underside dry. {seed}"


def _given(plan: Plan, answer: SeedAnswer, shown: Shown) -> str:
    """What to do with the seed that was put aside: all of it, or as much as the window takes."""
    profile, mass = plan.request.profile, shown.little(answer.mass_kg)
    if round(answer.ends_c, 1) < profile.low_c:
        return f"Seed to {shown.temp(profile.high_c)}: no more than your {mass}, in portions."
    return f"Seed with your {mass}, in portions: it ends near {shown.temp(answer.ends_c)}."


def _portions(plan: Plan, shown: Shown) -> str:
    seed = plan.seed
    if seed is None or seed.likely_kg < shown.least_kg:
        return f"{for_crystals(plan, shown)}, for its crystals"
    first = f"{shown.mass(seed.first_kg)} first" if seed.first_kg else "a handful at a time"
    return f"{first}, up to {shown.mass(seed.high_kg)} in all"


def swap_now(plan: Plan, step: Step, shown: Shown) -> str:
    """How the bath gets to its working temperature meanwhile."""
    swap, hold = plan.swap, plan.hold
    if step is not next((each for each in plan.steps if each.name in ("cool", "seed")), None):
        return ""
    if not plan.melts_here:
        return _warm_up_before(plan, shown)
    if swap is None or swap.from_c <= swap.to_c:
        return ""
    if swap.out_l is None:
        return f"Meanwhile let the bath cool to {shown.temp(hold.water_c)}."
    return f"Meanwhile swap {swap.out_l:.1f} L of the bath for water at {shown.temp(swap.cold_c)}."


def _warm_up_before(plan: Plan, shown: Shown) -> str:
    comes = "comes back" if plan.request.tempered else "goes in"
    before_s, bath, water = plan.warms_before_s, say.bath(plan), shown.temp(plan.hold.water_c)
    if plan.request.water_c > plan.hold.water_c:
        return f"Have the {bath} down at {water} when the bowl {comes}."
    if before_s < 60.0:
        return f"Meanwhile warm the {bath} up to {water}."
    when = f"{minutes_words(before_s)} before this"
    if plan.starts_min is not None:
        when += f", at {clock_text(plan.starts_min - before_s / 60)}"
    return f"Heat on {when}, so that the {bath} is at {water} when the bowl {comes}."
