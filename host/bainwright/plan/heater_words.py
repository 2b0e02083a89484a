"""The answer to `--size-heater` in plain words."""

from __future__ import annotations

import math

from bainwright.builds.between import PowerSide
from bainwright.builds.overload import SUPPLY_SHARE
from bainwright.builds.parts import SUPPLY_V
from bainwright.builds.rules import MOST_W
from bainwright.core.masses import Shown
from bainwright.core.units import duration_typed, duration_words
from bainwright.plan import say
from bainwright.plan.heater_size import LEAST_W, WITHIN, Fit, HeaterSize, Watts
from bainwright.plan.setup import Setup

STEP_S = 600.0  # chosen: nobody asks for a melt to the minute
MORE_TIME = "Or allow more time (--melt-within), take a bowl that the batch fills, or melt less at once."
INSTEAD = (
    "Allow more time (--melt-within), fill the bath with warm water (--water-temp), cover it (--cover), or melt less "
    "at once. A heater on mains is work for a licensed person."
)


def text(found: HeaterSize, shown: Shown) -> str:
    """The heater, its supply, and each build, for a terminal."""
    lines = [_headline(found, shown), *_needs(found, shown), _heater(found, shown), *_parts(found)]
    lines += ["Of the builds in hardware/:", *(_fit(fit, found.within_s, shown) for fit in found.fits)]
    assumed = "; ".join(found.request.assumed)
    lines += [f"Assumed: {assumed}."] if assumed else []
    return "\n".join(say.filled(line, say.WIDTH, "  ") if at else say.filled(line, say.WIDTH)
                     for at, line in enumerate(lines))  # fmt: skip


def _headline(found: HeaterSize, shown: Shown) -> str:
    request = found.request
    batch = f"{shown.mass(request.batch_kg)} of {request.profile.name}"
    if request.fillings > 1:
        batch = f"one filling of {batch} ({request.fillings} make the {shown.mass(request.total_kg)})"
    melted = "melted elsewhere" if found.melts_elsewhere else f"melted within {duration_words(found.within_s)}"
    held = f"held at {shown.temp(request.profile.target_c)} in a room at {shown.temp(request.room_c)}"
    return f"A heater for {batch}, {melted} and {held}, on the warmer {request.rig.name!r}:"


def _needs(found: HeaterSize, shown: Shown) -> list[str]:
    holds = f"Holding takes {_watts(found.hold)}, with the {found.request.rig.bath} round the bowl uncovered."
    if found.melts_elsewhere:
        return [f"{holds} A plate cannot cool down in time after a melt, so melt elsewhere."]
    if found.melt is None:
        return [holds]
    if found.melt.likely_w <= LEAST_W:
        return ["The water is filled warm enough to melt it without the heater.", holds]
    creeps = [] if found.melt.every_warmer else [f"On one warmer in ten no heater is enough. {_creeps(found, shown)}"]
    return [f"Melting takes {_watts(found.melt)}.", *creeps, holds]


def _watts(found: Watts) -> str:
    low, likely = f"{found.low_w:.0f}", f"{found.likely_w:.0f} W"
    if found.high_w is None:
        return f"{low} W or much more, likely {likely}"
    return f"{low} to {found.high_w:.0f} W, likely {likely}"


def _creeps(found: HeaterSize, shown: Shown) -> str:
    """Why power does not help a melt, and what does."""
    request = found.request
    return (
        f"The {request.rig.bath} may be at most {shown.temp(Setup(request).melt_water_c)}, and over it the chocolate "
        f"gets to {shown.temp(request.melt_c)} too slowly, or not at all: put a lid on the bowl between stirs, stir "
        "often, or choose a cooler melt (--melt)."
    )


def _heater(found: HeaterSize, shown: Shown) -> str:
    if found.heater_w is not None and found.supply_a is not None:
        return (
            f"Fit {found.heater_w:.0f} W at 24 V, and an isolated supply of 24 V, {found.supply_a:g} A "
            f"({SUPPLY_V * found.supply_a:.0f} W), with no mains terminal to wire: at most {SUPPLY_SHARE:g} times the "
            "heater, so that a short in it draws little more than twice its heat."
        )
    if found.melt is None or found.melt.high_w is None:
        whom = "No heater" if found.melt is None else "On one warmer in ten no heater"
        return f"{whom} is strong enough in that time. {_creeps(found, shown)} {MORE_TIME}"
    return f"That is more than one 24 V build has: {MOST_W:.0f} W. Its supply, fuse and wire end there. {INSTEAD}"


def _parts(found: HeaterSize) -> list[str]:
    """Fuse, wire and ratings for a heater that none of the builds has."""
    side = found.power_side
    if side is None:
        return []
    fuses = f"Fuse F1 {side.fuse_a:g} A"
    if side.mat_fuse_a is not None:
        fuses += f", F2 {side.mat_fuse_a:g} A for each mat"
    return [f"{fuses}, wire {side.wire_mm2:g} mm². {_ratings(side)} {_mats(side)} All else is as the guides have it."]


def _ratings(side: PowerSide) -> str:
    """What the parts in the heater's current carry, and the cut-outs, in it or by relay."""
    if not side.relayed:
        return (f"Inlet, hand switch, relay contact, plug, cut-outs and thermal fuse for {side.carries_a:g} A at 24 V "
                "DC or more.")
    return (f"Inlet, hand switch, both relays' contacts and plug for {side.carries_a:g} A at 24 V DC or more. Cut-outs "
            f"and thermal fuse carry the relays' coils, as on pot and plate: {side.cut_out_a:g} A at 24 V DC.")


def _mats(side: PowerSide) -> str:
    sizes = " or ".join(f"{mat.least_cm2} cm² with TCO1 of {mat.cut_out_c:g} °C and TF1 of {mat.fuse_c:g} °C"
                        for mat in side.mats)  # fmt: skip
    if side.mat_count > 1:
        each = f"of {side.mat_w:g} W, each with its own fuse, cut-outs and thermal fuse"
        if not sizes:
            return f"Two mats {each} do not fit under a plate of the guide's size: take a larger one."
        return f"Two mats {each}; each of at least {sizes}."
    return f"One mat of at least {sizes}, under it." if sizes else "No such mat fits under it: take a wider one."


def _no(fit: Fit, within_s: float) -> str:
    """No, why, and what would make it a yes."""
    if fit.draught_w > fit.build.heater_w:
        return f"no: holding may take {fit.draught_w:.0f} W in a draught"
    if fit.melts is None:
        return "no"
    if fit.melts.high_s is None:
        return f"no: on one warmer in ten it does not melt within {duration_words(within_s)}, if at all"
    longer_s = STEP_S * math.ceil(fit.melts.high_s / STEP_S)
    does = f"; --melt-within {duration_typed(longer_s)} does" if longer_s <= WITHIN.most_s else ""
    return f"no, not surely within {duration_words(within_s)}{does}"


def _fit(fit: Fit, within_s: float, shown: Shown) -> str:
    build = fit.build
    lid = ", with a lid on the bowl" if fit.melts and fit.melts.high_s is None else ""
    verdict = _no(fit, within_s) if not fit.does_filling else "only to hold" if fit.melts_elsewhere else f"yes{lid}"
    fillings = f", in {fit.fillings} fillings" if fit.does_filling and not fit.does else ""
    said = [f"{build.name}, {build.heater_w:.0f} W: {verdict}{fillings}."]
    if fit.fillings > 1:
        holds = f"Its bowl holds {shown.mass(build.chocolate_kg)}"
        said.append(f"{holds}." if fillings else f"{holds}: {fit.fillings} fillings.")
    if fit.melts_elsewhere:
        said.append("It does not melt: melt elsewhere.")
    elif fit.melts is None:
        said.append("It does not melt a filling in an evening.")
    else:
        said.append(f"It melts a filling in {say.band(fit.melts)}.")
    said.append(f"Holding takes {100 * fit.hold_share:.0f} % of its power.")
    return " ".join(said)
