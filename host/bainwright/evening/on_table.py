"""What a bowl on the table needs: it comes down, must not pass its goal, and must not warm up again."""

from __future__ import annotations

from bainboard import stages
from bainwright.evening.limits import START_AGAIN
from bainwright.files.chocolate import Profile
from bainwright.link.messages import Status
from bainwright.physics.chocolate_heat import SETS_BELOW_C
from bainwright.words.plate import for_bath

ASKED = ("swap", "seed_in", "cool_down", "cooled")  # what is asked while the bowl is on the table
WARMER_K, COOLER_K = 1.0, 0.3  # chosen: stirring moves a reading by less than the one; over a probe's noise
ON_BATH = "the bowl is on its bath of {:.0f} °C: lift it off (b), it cools on the table only"
WARMS = "the bowl reads {:.1f} °C, {:.1f} °C warmer than it was: lift it off the bath, it cools on the table only"


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
    """Says once what the bowl needs as it comes to its goal, as it passes it, when it has set, and when it warms up.

    Parameters
    ----------
    bath : str
        What is under the bowl: ``water`` or ``plate``.

    Attributes
    ----------
    warms : str
        What to say as long as the bowl gets warmer instead of colder.
    """

    def __init__(self, bath: str = "water") -> None:
        self._bath = bath
        self._passed = 0
        self._least_c: float | None = None  # the coldest that the bowl was
        self._most_c = 0.0  # and while it warms up, the warmest
        self.warms = ""

    def see(self, status: Status, p: Profile) -> str:
        """A status line; empty where there is nothing new."""
        if status.stage not in (stages.SEED, stages.COOL):
            self._passed = 0
        warms = self._watch_warming(status)
        if status.stage not in (stages.SEED, stages.COOL):
            return ""
        if self.warms:
            self._passed = 0  # it comes down to its goal a second time
            return warms
        if status.ask != "swap" or status.bowl is None or status.est:
            return ""
        bowl_c, (goal_c, least_c) = status.bowl / 1000, _goals_c(p, status.stage)
        passed = (bowl_c <= goal_c) + (bowl_c < least_c) + (bowl_c < SETS_BELOW_C)
        if passed <= self._passed:
            return ""
        self._passed = passed
        return needs(p, status.stage, bowl_c)

    def _watch_warming(self, status: Status) -> str:
        """The words, once; what has set is said elsewhere."""
        if status.stage not in (stages.SEED, stages.COOL) or status.ask not in ASKED:
            self._least_c, self.warms = None, ""
            return ""
        if status.bowl is None or status.est:
            return ""
        bowl_c = status.bowl / 1000
        self._least_c = bowl_c if self._least_c is None else min(bowl_c, self._least_c)
        before, self._most_c = self.warms, max(bowl_c, self._most_c if self.warms else bowl_c)
        if before and bowl_c < self._most_c - COOLER_K:
            self._least_c, self.warms = bowl_c, ""
        elif before or bowl_c >= self._least_c + WARMER_K:
            self.warms = for_bath(WARMS.format(bowl_c, bowl_c - self._least_c), self._bath)
        return "" if before else self.warms
