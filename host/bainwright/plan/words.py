"""A plan in plain words: ten lines to work by, or everything in sections, for the terminal and the printed page."""

from __future__ import annotations

from bainwright.core.masses import Shown, clock_text
from bainwright.plan import heat_words, say, temper_words
from bainwright.plan.cautions import MANY_REFILLS, cautions
from bainwright.plan.parts import STAGE_NAMES, Band, Plan, Step
from bainwright.plan.temper_words import WHEN_THICK, action, for_crystals, have_ready, seed_answer_lines
from bainwright.words.section import Section

SOURCES_TITLE = "Where the figures come from"
MOST_CAUTIONS = 3  # in the short plan; the rest is counted
MOST_ASSUMED = 2  # in the short plan: those that decide the times come first


def headline(plan: Plan, shown: Shown) -> str:
    """The plan in one sentence."""
    request = plan.request
    first = _what(plan, shown)
    if not plan.ok:
        return f"{first}: not as asked, see 'Look out'."
    if not request.tempered:
        held = f"held at {shown.temp(request.profile.target_c)}"
        here = f"melted and {held}, {_ready(plan)}"
        return f"{first}: {here if plan.melts_here else f'melted elsewhere, {held}'}."
    where = "" if plan.melts_here else " elsewhere"
    return f"{first}: melt {shown.mass(plan.melt.solid_kg)}{where}, {_by_method(plan, shown)}, {_ready(plan)}."


def _what(plan: Plan, shown: Shown) -> str:
    request = plan.request
    return f"{shown.mass(request.total_kg)} of {request.profile.name} on the warmer {request.rig.name!r}"


def _by_method(plan: Plan, shown: Shown) -> str:
    if plan.seed_answer:
        return f"seed with your {shown.little(plan.seed_answer.mass_kg)}"
    if plan.butter:
        return f"seed with {shown.little(plan.butter.mass_kg)} of cocoa butter"
    if plan.cooling:
        cooling = plan.cooling
        return f"cool to {shown.temps(cooling.low_c, cooling.high_c)} and warm back"
    likely_kg = plan.seed.likely_kg if plan.seed else 0.0
    mass = f"about {shown.mass(likely_kg)}" if likely_kg >= shown.least_kg else for_crystals(plan, shown)
    return f"seed with {mass}"


def _ready(plan: Plan) -> str:
    """When dipping may begin: a time of day if one was given, else how long after the heat goes on."""
    ready = plan.ready
    if plan.starts_min is not None:
        first = "heat on" if plan.melts_here else "begin"
        when = say.clock_band(plan.starts_min, ready.quick_s, ready.slow_s)
        return f"{first} at {clock_text(plan.starts_min)}, ready {when}"
    return f"ready {say.between(ready.quick_s, ready.slow_s)} after {'the heat goes on' if plan.melts_here else 'that'}"


# -- everything ------------------------------------------------------------------------------------------------------


def sections(plan: Plan, shown: Shown, *, with_sources: bool = True) -> list[Section]:
    """Everything the plan says, in the order it is needed."""
    method, method_lines = temper_words.method_section(plan, shown)
    found = [
        Section("Look out", tuple(cautions(plan, shown))),
        Section("Have ready", (have_ready(plan, shown),)),
        Section(method, tuple(method_lines)),
        Section("Tonight's steps", tuple(temper_words.step_line(plan, step, shown) for step in plan.steps)),
        Section("Melting and warming up", tuple(heat_words.melting(plan, shown))),
        Section("The bath's water", tuple(heat_words.water(plan, shown))),
        Section("The heater", tuple(heat_words.heater(plan, shown))),
        Section("Refills", tuple(heat_words.refills(plan, shown))),
        Section("The room", tuple(heat_words.room(plan, shown))),
        Section("Assumed", tuple(say.capital(word) for word in plan.request.assumed)),
        Section(SOURCES_TITLE, tuple(heat_words.sources(plan)) if with_sources else ()),
    ]
    return [section for section in found if section.lines]


def text(plan: Plan, shown: Shown, *, with_sources: bool = True) -> str:
    """The whole plan for a terminal."""
    parts = [say.filled(headline(plan, shown), say.WIDTH)]
    parts += [_block(section) for section in sections(plan, shown, with_sources=with_sources)]
    return "\n\n".join(parts)


def sources_text(plan: Plan) -> str:
    """The sources alone."""
    return _block(Section(SOURCES_TITLE, tuple(heat_words.sources(plan))))


def _block(section: Section) -> str:
    return "\n".join([section.title, *(say.filled(line, say.WIDTH, "  ") for line in section.lines)])


# -- ten lines -------------------------------------------------------------------------------------------------------


def short_text(plan: Plan, shown: Shown) -> str:
    """What to weigh, when to start and what to watch, in about ten lines."""
    return "\n".join(say.filled(line, say.WIDTH, "  ") if at else say.filled(line, say.WIDTH)
                     for at, line in enumerate(short_lines(plan, shown)))  # fmt: skip


def short_lines(plan: Plan, shown: Shown) -> list[str]:
    """The lines of the short plan: the headline, what to weigh, each step, what to watch, what to look out for."""
    lines = [_short_headline(plan, shown), f"Weigh: {_weigh(plan, shown)}"]
    if plan.seed_answer:
        lines += seed_answer_lines(plan, plan.seed_answer, shown)[:2]
    lines += [_step(plan, step, shown) for step in plan.steps if step.name not in ("settle", "test")]
    warned = cautions(plan, shown)
    lines += [f"Look out: {caution}" for caution in warned[:MOST_CAUTIONS]]
    assumed = "; ".join(plan.request.assumed[:MOST_ASSUMED])
    lines += [f"Assumed: {assumed}."] if assumed else []
    left = len(warned) - MOST_CAUTIONS
    more = f"{left} more to look out for, the rest" if left > 0 else "the rest"
    return [*lines, f"--all shows {more}, --sources where the figures come from, --page plan.html a page to print."]


def _short_headline(plan: Plan, shown: Shown) -> str:
    """What and when; the line after it says what to weigh."""
    if not plan.ok or not plan.request.tempered:
        return headline(plan, shown)
    return f"{_what(plan, shown)}: {'' if plan.melts_here else 'melted elsewhere, '}{_ready(plan)}."


def _weigh(plan: Plan, shown: Shown) -> str:
    """What to weigh: for the first filling, and what of the total follows."""
    first, refills = _weigh_first(plan, shown), plan.refills
    later_kg = plan.request.total_kg - plan.request.batch_kg
    if refills is None:
        return f"{first} The other {shown.mass(later_kg)} later." if later_kg >= shown.least_kg else first
    if not refills.count:
        return first
    each = shown.mass(refills.each_kg)
    if refills.count == 1:
        return f"{first} A refill of {each} follows, in temper."
    in_all = f", {shown.mass(later_kg)} in all," if refills.count > MANY_REFILLS else ""
    return f"{first} {refills.count} refills of {each}{in_all} follow, in temper."


def _weigh_first(plan: Plan, shown: Shown) -> str:
    melt = f"{shown.mass(plan.melt.solid_kg)} to melt"
    if not plan.request.tempered:
        return f"{melt}."
    if plan.seed_answer:
        return f"{melt}, and your {shown.little(plan.seed_answer.mass_kg)} of seed."
    if plan.butter:
        return f"{melt}, {shown.little(plan.butter.mass_kg)} of crystallised cocoa butter."
    if plan.seed:
        if plan.seed.likely_kg < shown.least_kg:
            return f"{melt}, and {for_crystals(plan, shown)} of seed in temper."
        ready = f"have {shown.mass(plan.seed.high_kg)} of seed in temper ready"
        return f"{melt}; {ready}, likely {shown.mass(plan.seed.likely_kg)}."
    return f"{melt}; no seed."


def _step(plan: Plan, step: Step, shown: Shown) -> str:
    """A step in one line; the temper test goes with the step before it."""
    name = STAGE_NAMES[step.name].capitalize()
    if step.name == plan.steps[-1].name:
        return f"{name}: {action(plan, step, shown).removesuffix(f' {WHEN_THICK}')}"
    took = say.band(Band(step.low_s, step.lasts_s, step.high_s))
    test = " Set it back, stir, test the temper." if step.name == "seed" else ""
    test = " Then test the temper." if step.name == "rewarm" else test
    return f"{name} ({took}): {action(plan, step, shown)}{test}"
