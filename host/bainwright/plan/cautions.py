"""What stands against a plan, in words: first what makes it impossible, then what makes it harder."""

from __future__ import annotations

from bainwright.core.masses import Shown, minutes_words
from bainwright.physics import kitchen
from bainwright.plan.parts import STAGE_NAMES, Need, Plan
from bainwright.plan.planner import GOOD_RESERVE, NO_MORE_SEED


def cautions(plan: Plan, shown: Shown) -> list[str]:
    """What stands against the plan: first what makes it impossible, then what makes it harder."""
    room = plan.room
    return [
        *_impossible(plan, shown),
        *_harder(plan, shown),
        *kitchen.room_cautions(room.temp_c, room.humidity, room.centre_c),
    ]


def _impossible(plan: Plan, shown: Shown) -> list[str]:
    said, hold = [], plan.hold
    if not plan.heater_enough:
        said.append("The heater cannot hold the chocolate even with the water covered: see 'The heater'.")
    if hold.least_kg is None:
        over_k = hold.water_c - hold.water_most_c
        said.append(
            f"The hold needs water at {shown.temp(hold.water_c)}, {shown.difference(max(0.0, over_k))} over the "
            f"{shown.temp(hold.water_most_c)} that the temper at the bowl's wall allows. A warmer room, stirring, "
            "or better contact of the bowl helps."
        )
    asked = plan.refills.asked if plan.refills else None
    if asked and not asked.stays_in:
        said.append(f"That refill takes the bowl out of its window, to {shown.temp(asked.ends_c)}: see 'Refills'.")
    return said


def _elsewhere(plan: Plan, shown: Shown) -> str:
    """Why the chocolate has to be melted somewhere else."""
    melt, swap = plan.melt, plan.swap
    if melt.took_s is None:
        return (
            f"This warmer does not bring the chocolate to {shown.temp(melt.to_c)}: at {shown.temp(melt.water_c)} at "
            "most it "
            f"settles near {shown.temp(melt.settles_c)}. Melt it elsewhere (the steps begin after that), or choose a "
            "cooler melt with --melt."
        )
    assert swap is not None  # only seeding has to come down again
    slow = f"needs {minutes_words(swap.by_itself_s)}" if swap.by_itself_s is not None else "will not come"
    cold = (
        "has no water to swap"
        if swap.cold_c < swap.to_c
        else f"cannot be cooled with water at {shown.temp(swap.cold_c)}"
    )
    return (
        f"After melting, the warmer {slow} to come down to {shown.temp(swap.to_c)} by itself and {cold}; a bowl in "
        "temper "
        "cannot wait that long. Melt the chocolate elsewhere (the steps begin after that) and warm up only for the "
        "hold."
    )


def _harder(plan: Plan, shown: Shown) -> list[str]:
    said = [] if plan.melts_here else [_elsewhere(plan, shown)]
    if plan.seed and plan.seed.likely_kg < shown.least_kg:
        said.append(
            "So little chocolate cools by itself while you stir: seed quickly, in its bath, and watch the thermometer."
        )
    if plan.seed and plan.seed.share > NO_MORE_SEED:
        said.append("That is more seed than melt: start from a cooler melt (--melt).")
    tight = [need for need in plan.needs if _tight(need) and (plan.melts_here or need.stage != "melt")]
    if tight and plan.heater_enough:
        said.append(
            f"The heater has little in reserve uncovered ({STAGE_NAMES[tight[0].stage]}): cover the water round the "
            "bowl, and keep draughts away."
        )
    if plan.melts_here and plan.swap and plan.swap.out_l is not None and plan.swap.out_l > 0.8 * plan.swap.bath_l:
        said.append("Nearly the whole bath has to be swapped: colder water would do with less.")
    return said


def _tight(need: Need) -> bool:
    return not need.covered and need.reserve is not None and need.reserve < GOOD_RESERVE
