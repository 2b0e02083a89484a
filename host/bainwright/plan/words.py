"""A plan in plain words: sections of sentences, for the terminal and for the printed page alike."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass

from bainwright.core.masses import POUND_KG, Shown, clock_text, minutes_words
from bainwright.core.units import duration_words
from bainwright.physics import kitchen
from bainwright.plan.cautions import cautions
from bainwright.plan.parts import STAGE_NAMES, Melt, Need, Plan, RefillAnswer, Seed, Step
from bainwright.plan.planner import GOOD_RESERVE

WIDTH = 96
LONG_HOLD_S = 6 * 3600.0  # chosen: beyond it evaporation and nobody watching matter more than dipping

_UNIT = re.compile(r"(?<=\d) (?=°|%|(?:kg|g|lb|oz|L|W|K|kWh|h|min|m)\b)|(?<=\d h) (?=\d+ min)")


@dataclass(frozen=True)
class Section:
    """A title and what is said under it, a sentence or two a line."""

    title: str
    lines: tuple[str, ...]


def headline(plan: Plan, shown: Shown) -> str:
    """The plan in one sentence."""
    request = plan.request
    first = f"{shown.mass(request.total_kg)} of {request.profile.name} on the warmer {request.rig.name!r}"
    if not plan.ok:
        return f"{first}: not as asked, see 'Look out'."
    begins_s = plan.steps[-1].starts_s
    ready = f"ready {minutes_words(begins_s)} after {'the heat goes on' if plan.melts_here else 'that'}"
    if plan.starts_min is not None:
        begins_min = plan.starts_min + begins_s / 60
        ready = (
            f"{'heat on' if plan.melts_here else 'seed in'} at {clock_text(plan.starts_min)}, ready at "
            f"{clock_text(begins_min)}"
        )
    if plan.seed is None:
        return f"{first}: melted and kept at {shown.temp(request.profile.target_c)}, {ready}."
    where = "" if plan.melts_here else " elsewhere"
    likely_kg = plan.seed.likely_kg
    seed = f"about {shown.mass(likely_kg)}" if likely_kg >= shown.least_kg else "a handful"
    return f"{first}: melt {shown.mass(plan.melt.solid_kg)}{where}, seed with {seed}, {ready}."


def sections(plan: Plan, shown: Shown) -> list[Section]:
    """Everything the plan says, in the order it is needed."""
    found = [
        Section("Look out", tuple(cautions(plan, shown))),
        Section("Have ready", (have_ready(plan, shown),)),
        Section("Seed", tuple(_seed(plan, plan.seed, shown)) if plan.seed else ()),
        Section("Tonight's steps", tuple(_step(plan, step, shown) for step in plan.steps)),
        Section("Melting and warming up", tuple(_melting(plan, shown))),
        Section("The bath's water", tuple(_water(plan, shown))),
        Section("The heater", tuple(_heater(plan, shown))),
        Section("Refills", tuple(_refills(plan, shown))),
        Section("The room", tuple(_room(plan, shown))),
        Section("Taken for granted", tuple(_capital(word) for word in plan.request.assumed)),
        Section("Where the figures come from", tuple(_papers(plan))),
    ]
    return [section for section in found if section.lines]


def text(plan: Plan, shown: Shown) -> str:
    """The plan for a terminal."""
    parts = [filled(headline(plan, shown), WIDTH)]
    parts += [
        "\n".join([section.title, *(filled(line, WIDTH, "  ") for line in section.lines)])
        for section in sections(plan, shown)
    ]
    return "\n\n".join(parts)


def unbroken(words: str) -> str:
    """Words whose numbers cannot be torn from their units."""
    return _UNIT.sub("\u00a0", words)


def filled(words: str, width: int, indent: str = "") -> str:
    """Words broken into lines, never between a number and its unit; lines after the first stand in twice as far."""
    return textwrap.fill(unbroken(words), width, initial_indent=indent, subsequent_indent=2 * indent).replace(
        "\u00a0", " "
    )


# -- section by section ----------------------------------------------------------------------------------------------


def have_ready(plan: Plan, shown: Shown) -> str:
    """What to have at hand before the heat goes on."""
    things = [f"{shown.mass(plan.melt.solid_kg)} of chocolate to melt"]
    if plan.seed:
        how_much = f"{shown.mass(plan.seed.high_kg)} more" if plan.seed.high_kg >= shown.least_kg else "some handfuls"
        things.append(f"{how_much}, in temper, as seed, at {shown.temp(plan.request.seed_c)}")
    if plan.swap and plan.swap.out_l and plan.melts_here:
        things.append(f"{plan.swap.out_l:.1f} L of water at {shown.temp(plan.swap.cold_c)}, and a ladle")
    if plan.refills and plan.refills.count:
        each = shown.mass(plan.refills.each_kg)
        things.append(f"a refill of {each}" if plan.refills.count == 1 else f"{plan.refills.count} refills of {each}")
    if plan.seed:
        things += ["a thermometer", "a cold blade", "a dry towel"]
    return _capital("; ".join(things))


def _seed(plan: Plan, seed: Seed, shown: Shown) -> list[str]:
    request = plan.request
    if seed.high_kg < shown.least_kg:
        return [
            f"It cools below {shown.temp(seed.end_c)} by itself, so no mass of seed follows from heat: stir in a "
            f"handful as soon as the thermometer reads {shown.temp(seed.end_c)}, for without seed there is no temper."
        ]
    first = f"Put in {shown.mass(seed.first_kg)} first, then a" if seed.first_kg else "Put in a"
    said = [
        f"Of {shown.mass(request.batch_kg)} in the bowl about {shown.mass(seed.likely_kg)} is seed "
        f"({100 * seed.share:.0f} % of the total), from {shown.temp(request.melt_c)} down to {shown.temp(seed.end_c)}.",
        f"Have {shown.mass(seed.high_kg)} ready. {first} handful at a time until the "
        f"thermometer reads {shown.temp(seed.end_c)}. Pieces left over are normal: take them out.",
        "The range is wide because nobody can know beforehand how much heat leaves meanwhile (about "
        f"{seed.lost_w:.0f} W with "
        "the bowl on the table, half of it wrapped in a towel, half as much again in a draught), nor how much of its "
        "latent "
        f"heat the seed takes up ({seed.taken_up:.2f} by the melting curve of cocoa butter, all of it at most).",
    ]
    if plan.melt.solid_kg + seed.high_kg > request.full_kg:
        said.append(
            f"With all of it the bowl would hold {shown.mass(plan.melt.solid_kg + seed.high_kg)}; a full one is "
            f"{shown.mass(request.full_kg)}."
        )
    if seed.factor == 1.0:
        said.append("Note what you really use: used over planned, given as --seed-factor, makes the next plan yours.")
    else:
        said.append(f"All three are multiplied by {seed.factor:g}, from your evenings gone by.")
    return said


def _step(plan: Plan, step: Step, shown: Shown) -> str:
    when = f"{minutes_words(step.starts_s)} in" if step.starts_s else "At once"
    if plan.starts_min is not None:
        when = clock_text(plan.starts_min + step.starts_s / 60)
    return f"{when}: {STAGE_NAMES[step.name]}, {minutes_words(step.lasts_s)}. {_do(plan, step, shown)}"


def _do(plan: Plan, step: Step, shown: Shown) -> str:
    """What to do in a step."""
    request = plan.request
    if step.name == "melt":
        return (
            f"{shown.mass(plan.melt.solid_kg)} of chocolate over water at {shown.temp(step.water_c)}; stir every few "
            f"minutes to {shown.temp(step.chocolate_c)}, never above {shown.temp(request.profile.never_above_c)}."
        )
    if step.name == "seed" and plan.seed:
        return (
            f"Lift the bowl off, wipe its underside dry. Seed to {shown.temp(step.chocolate_c)}: "
            f"{_mass(plan.seed, shown)}. "
            f"{_swap_now(plan, shown)}"
        )
    if step.name == "settle":
        return f"Underside dry, bowl back, stir, take out what has not melted. Hold at {shown.temp(step.chocolate_c)}."
    if step.name == "test":
        sets = "about 5 minutes or less" if request.profile.kind == "dark" else "somewhat over 5 minutes"
        return (
            f"A cold blade, dipped: it should set in {sets}; what has not in 10 to 15 is not in temper. Failed: more "
            "seed."
        )
    if step.name == "work":
        return (
            f"Window {shown.temps(request.profile.low_c, request.profile.high_c)}, water near "
            f"{shown.temp(step.water_c)}. "
            "Test again when it has been above its window; when it thickens, a little warmer inside it."
        )
    return f"At {shown.temp(step.chocolate_c)}, covered, never above {shown.temp(request.profile.never_above_c)}."


def _mass(seed: Seed, shown: Shown) -> str:
    if seed.high_kg < shown.least_kg:
        return "a handful"
    first = f"{shown.mass(seed.first_kg)} at first" if seed.first_kg else "a handful at a time"
    return f"{first}, up to {shown.mass(seed.high_kg)} in all"


def _melting(plan: Plan, shown: Shown) -> list[str]:
    melt, warm_up = plan.melt, plan.warm_up
    said = []
    if melt.took_s is not None and plan.melts_here:
        said.append(
            f"Melting {shown.mass(melt.solid_kg)} takes {minutes_words(melt.took_s)} and {_energy(melt.energy_j)}, "
            "bath and "
            f"losses included; {_stirred(melt)}."
        )
    if warm_up.took_s == 0.0:
        said.append(f"The water is already warm enough for the hold ({shown.temp(warm_up.water_c)}).")
    elif warm_up.took_s is not None:
        said.append(
            f"With a bowl that is already {'in temper' if plan.seed else 'melted'}, full heat brings the water from "
            f"{shown.temp(plan.request.water_c)} to {shown.temp(warm_up.water_c)} in {minutes_words(warm_up.took_s)} "
            f"({_energy(warm_up.energy_j)})."
        )
    if plan.seed:
        least, most = kitchen.thicker_by(40.0, plan.request.profile.target_c)
        said.append(
            f"At {shown.temp(plan.request.profile.target_c)} the melt is {least:.1f} to {most:.1f} times as thick as "
            f"at {shown.temp(40.0)} before any crystal forms."
        )
    return said


def _stirred(melt: Melt) -> str:
    quick = minutes_words(melt.stirred_s) if melt.stirred_s is not None else "never"
    slow = (
        f"{minutes_words(melt.unstirred_s)} left alone"
        if melt.unstirred_s is not None
        else "left alone it does not get there"
    )
    return f"stirred all the time {quick}, {slow}"


def _water(plan: Plan, shown: Shown) -> list[str]:
    said = [words for words in [_swap_words(plan, shown)] if words]
    wet = [need for need in plan.needs if need.top_up_h is not None and (plan.melts_here or need.stage != "melt")]
    for need in wet:
        cover = "covered" if need.covered else "uncovered"
        said.append(
            f"{STAGE_NAMES[need.stage].capitalize()}, {cover}: water at {shown.temp(need.water_c)} loses "
            f"{shown.little(need.evaporates_kg_per_h)} an hour. {_top_up(need)}"
        )
    if wet:
        said.append(
            "Top up with water as warm as the bath: cold water is a disturbance. Cover the ring of water round the "
            "bowl."
        )
    return said


def _top_up(need: Need) -> str:
    hours = need.top_up_h or 0.0
    if hours * 3600.0 > 48 * 3600.0:
        return "No topping up tonight."
    return f"Top up after {duration_words(60 * round(60 * hours))}, when a tenth is gone."


def _swap_words(plan: Plan, shown: Shown) -> str:
    """How the bath comes down: a heater cannot cool it."""
    swap = plan.swap
    if swap is None or swap.from_c <= swap.to_c or not plan.melts_here:
        return ""
    first = (
        f"The bath has to come from {shown.temp(swap.from_c)} down to {shown.temp(swap.to_c)}, and a heater cannot "
        "cool it"
    )
    alone = (
        f"by itself it takes {minutes_words(swap.by_itself_s)}"
        if swap.by_itself_s is not None
        else "by itself it never does"
    )
    if swap.out_l is None:
        return f"{first}: heat off, bowl off, {alone}."
    return (
        f"{first}: ladle out {swap.out_l:.1f} L and pour in as much at {shown.temp(swap.cold_c)}; a little more is "
        f"the safe side ({alone})."
    )


def _swap_now(plan: Plan, shown: Shown) -> str:
    """The same, as something to do meanwhile."""
    swap = plan.swap
    if not plan.melts_here:
        before_s = plan.warms_before_s
        if before_s < 60.0:
            return f"Meanwhile warm up to {shown.temp(plan.hold.water_c)}."
        when = f"{minutes_words(before_s)} before this"
        if plan.starts_min is not None:
            when += f", at {clock_text(plan.starts_min - before_s / 60)}"
        return f"Heat on {when}, so that the water is at {shown.temp(plan.hold.water_c)} when the bowl comes back."
    if swap is None or swap.from_c <= swap.to_c:
        return ""
    if swap.out_l is None:
        return f"Meanwhile let the bath cool to {shown.temp(swap.to_c)}."
    return f"Meanwhile swap {swap.out_l:.1f} L of the bath for water at {shown.temp(swap.cold_c)}."


def _heater(plan: Plan, shown: Shown) -> list[str]:
    said = [f"It has {plan.request.rig.settings['heater_w']:g} W; the room is at {shown.temp(plan.room.temp_c)}."]
    said += [_need(need, shown) for need in plan.needs if plan.melts_here or need.stage != "melt"]
    hold, request = plan.hold, plan.request
    offset = "by your rig's measured offset" if hold.offset_measured and request.tempered else "by its sizes"
    said.append(
        f"Holding {shown.temp(request.profile.target_c)} takes water near {shown.temp(hold.water_c)} ({offset}); "
        f"at most {shown.temp(hold.water_most_c)} is allowed."
    )
    if hold.least_kg is not None and request.tempered and hold.least_kg > 0.02 * request.full_kg:
        said.append(
            f"With less than about {shown.mass(hold.least_kg)} in the bowl that is no longer enough: refill before, "
            "or put a lid on between dips."
        )
    return said


def _need(need: Need, shown: Shown) -> str:
    covered = "covered" if need.covered else "uncovered"
    words = f"{STAGE_NAMES[need.stage].capitalize()} at {shown.temp(need.chocolate_c)}, {covered}: "
    if need.reserve is None:
        return words + "the room is warm enough by itself."
    if need.reserve < 1.0:
        return words + f"{need.need_w:.0f} W, which is more than it has."
    enough = "enough" if need.reserve >= GOOD_RESERVE else "just enough"
    return (
        words
        + f"{need.need_w:.0f} W, {100 / need.reserve:.0f} % of its power; {enough}, {need.reserve:.1f} times the need."
    )


def _refills(plan: Plan, shown: Shown) -> list[str]:
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
        f"{shown.temps(found.coldest_c, found.warmest_c)}; in temper, so under "
        f"{shown.temp(plan.request.profile.ceiling_c)}, it keeps the seed; melted stock thins it out."
    )
    unit_kg = POUND_KG if shown.pounds else 1.0
    for name, rows in (("warm", found.warm), ("cold", found.cold)):
        largest = ", ".join(f"{shown.mass(row.share * unit_kg)} at {shown.temp(row.temp_c)}" for row in rows)
        said.append(f"At most, for each {shown.mass(unit_kg)} still in the bowl, {name}: {largest}.")
    said.append(
        f"Solid pieces at {shown.temp(found.solid.temp_c)}: {shown.mass(found.solid.share * unit_kg)} for each "
        f"{shown.mass(unit_kg)}, or the bowl falls under its window. Announce each refill: the bath then leads."
    )
    if found.asked:
        said.append(_asked(found.asked, shown))
    return said


def _asked(asked: RefillAnswer, shown: Shown) -> str:
    most = "as much as fits" if asked.largest_kg is None else f"at most {shown.mass(asked.largest_kg)}"
    verdict = "it stays in its window" if asked.stays_in else f"out of its window; {most} of that temperature"
    return (
        f"Yours, {shown.mass(asked.mass_kg)} at {shown.temp(asked.temp_c)} into {shown.mass(asked.in_bowl_kg)}: "
        f"the bowl goes to {shown.temp(asked.ends_c)}, {verdict}."
    )


def _room(plan: Plan, shown: Shown) -> list[str]:
    room = plan.room
    said = [
        f"{shown.temp(room.temp_c)} and {100 * room.humidity:.0f} % relative humidity; "
        f"{shown.temps(kitchen.ROOM_LOW_C, kitchen.ROOM_HIGH_C)} and under 50 to 60 % suit the work.",
        f"Dew point {shown.temp(room.dew_point_c)}: centres colder than that sweat.",
    ]
    if plan.request.tempered:
        said.append(
            f"Centres are best at {shown.temps(kitchen.CENTRE_LOW_C, kitchen.CENTRE_HIGH_C)}. Those of cream or "
            "ganache keep by limits of their own."
        )
        thick_kg, seizes_kg = (
            share[0] * plan.request.batch_kg for share in (kitchen.THICKENS_FROM, kitchen.SEIZES_FROM)
        )
        said.append(
            f"From about {shown.little(thick_kg)} of water in this bowl it thickens, from {shown.little(seizes_kg)} it "
            "may seize: wipe the underside dry whenever you lift it, and discard what bath water got into."
        )
    if room.altitude_m:
        said.append(
            f"At {room.altitude_m:g} m water boils at {shown.temp(room.boiling_c)}: a thermometer in it should say so."
        )
    if not plan.request.tempered or plan.request.work_s > LONG_HOLD_S:
        days = kitchen.tenfold_min(plan.request.profile.target_c) / 1440
        said.append(
            f"Warmth of {shown.temp(plan.request.profile.target_c)} kills nothing: germs would need {days:.0f} days to "
            f"fall to a tenth. But nothing grows: its water activity is about {kitchen.WATER_ACTIVITY:g}, growth "
            f"wants {kitchen.GROWTH_FROM:g} and toxins {kitchen.TOXIN_FROM:g}. Clean, covered and dry, a night is a "
            "matter of quality only."
        )
    return said


def _papers(plan: Plan) -> list[str]:
    profile = plan.request.profile
    said = [f"Temperatures of {profile.name}: {profile.source}."] if profile.source else []
    return [
        *said,
        *[_capital(figure.words()) for figure in plan.figures],
        "All else is computed from these, your rig file and what you typed. No figure tells how much seed is still "
        "alive: "
        "only a temper test does.",
    ]


# -- small words -----------------------------------------------------------------------------------------------------


def _capital(words: str) -> str:
    """Words as a sentence."""
    return f"{words[0].upper()}{words[1:]}."


def _energy(energy_j: float) -> str:
    return f"{energy_j / 3.6e6:.2f} kWh"
