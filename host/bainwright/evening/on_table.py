"""What a bowl on the table needs while its bath is swapped: it comes down meanwhile, and must not pass its goal."""

from __future__ import annotations

from bainboard import stages
from bainwright.evening.limits import START_AGAIN
from bainwright.files.chocolate import Profile
from bainwright.link.messages import Status
from bainwright.physics.chocolate_heat import SETS_BELOW_C


def needs(p: Profile, stage: str, bowl_c: float | None) -> str:
    """What to do with the bowl; empty in a step that cools none on the table."""
    if stage not in (stages.SEED, stages.COOL):
        return ""
    goal_c, least_c = _goals_c(p, stage)
    if bowl_c is not None and bowl_c < SETS_BELOW_C:
        return f"The bowl reads {bowl_c:.1f} °C and has set: {START_AGAIN}"
    if bowl_c is None or bowl_c > goal_c:
        return (f"Cool the bowl meanwhile, stirring, to {least_c:g} to {goal_c:g} °C" if stage == stages.COOL else
                f"Seed the bowl meanwhile, down to {goal_c:g} °C")
    cold = "colder than it should be" if bowl_c < least_c else "cold enough"
    if stage == stages.COOL:
        return f"The bowl reads {bowl_c:.1f} °C, {cold}: out of the cold basin now, and stir"
    wrap = ", and wrap it in a towel" if bowl_c < least_c else ""
    return f"The bowl reads {bowl_c:.1f} °C, {cold}: no more seed, stir until the pieces are gone{wrap}"


def _goals_c(p: Profile, stage: str) -> tuple[float, float]:
    """Down to where it is brought, and what it must not fall below, °C."""
    return (p.cool_high_c, p.cool_low_c) if stage == stages.COOL else (p.high_c, p.low_c)


class OnTable:
    """Says once what the bowl needs as it comes to its goal, as it passes it, and when it has set."""

    def __init__(self) -> None:
        self._passed = 0

    def see(self, status: Status, p: Profile) -> str:
        """A status line; empty where there is nothing new."""
        if status.stage not in (stages.SEED, stages.COOL):
            self._passed = 0
            return ""
        if status.ask != "swap" or status.bowl is None or status.est:
            return ""
        bowl_c, (goal_c, least_c) = status.bowl / 1000, _goals_c(p, status.stage)
        passed = (bowl_c <= goal_c) + (bowl_c < least_c) + (bowl_c < SETS_BELOW_C)
        if passed <= self._passed:
            return ""
        self._passed = passed
        return needs(p, status.stage, bowl_c)
