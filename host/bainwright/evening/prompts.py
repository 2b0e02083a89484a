"""An evening as the person at the bowl hears it: what is asked, with the litres and grams worked out, and what to mind.

The board holds the temperatures and asks by keys of a few letters; everything that takes a sentence is here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from bainboard.programme import NUDGE_K
from bainwright.core.units import duration_words
from bainwright.evening.indicators import Indicators
from bainwright.files.chocolate import CAPS, Profile, window_at
from bainwright.files.rig import Rig
from bainwright.files.score import Window
from bainwright.link.messages import Status
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.geometry import Body, body_of
from bainwright.physics.heating import Surroundings, bath_j_per_k, steady, swap_l
from bainwright.physics.kitchen import thicker_by
from bainwright.physics.materials import WATER_J_PER_KGK, WATER_KG_PER_L
from bainwright.physics.refills import Bowl, largest_kg, largest_solid_kg
from bainwright.physics.seeding import Batch, seed_for_melt_kg
from bainwright.words import terms

COLD_C = 15.0  # tap water, chosen: the plan takes the same
REFILL_C, SOLID_C = 40.0, 20.0  # a refill of melted stock, and pieces at room temperature
NIGHT_S, HUMIDITY = 9 * 3600.0, 0.5  # of a night and a room that nobody told more of, chosen as the plan's
WIPE = "wipe the underside dry"
PROBE_PLACE = "2 cm from the wall, 1 cm off the bottom"


@dataclass(frozen=True)
class Moment:
    """What a prompt may lean on: the board's last line."""

    water_c: float | None
    bowl_c: float | None
    aim_c: float  # of the bath


class EveningPrompts:
    """Follows one hold and finds the words for it.

    Parameters
    ----------
    profile : Profile
        The chocolate.
    rig : Rig
        The warmer.
    """

    def __init__(self, profile: Profile, rig: Rig) -> None:
        self.profile = profile
        self.settings = rig.settings
        self.body: Body = body_of(rig)
        self.indicators = Indicators(window_at(profile, "work"))
        self._stage = ""
        self._said = ""
        self._shift_k = 0.0
        self._lost = self._over = self._changing = False

    # -- what the board says -----------------------------------------------------------------------------------------

    def see(self, status: Status) -> list[str]:
        """A status line; what is worth saying now."""
        self.indicators.see(status)
        self._stage = status.stage
        said = []
        asked = self.ask(status) if status.ask else ""
        if status.ask != self._said and asked:
            said.append(asked)
        self._said = status.ask
        return said + self._limits(status)

    def event(self, name: str, fields: Mapping[str, Any]) -> list[str]:
        """An event; what is worth adding to it."""
        self.indicators.event(name, fields)
        if name == "stirred":
            self._shift_k = int(fields.get("shift", 0)) / 1000
        if name == "stage":
            self._stage = str(fields.get("stage"))
        told = _ADDED.get((self._stage, name)) or _ADDED.get(("", name))
        return [told(self)] if told else []

    def change(self, profile: Profile) -> None:
        """Another bowl comes, of another chocolate: its figures, and its indicators from nothing."""
        self.profile = profile
        self.indicators = Indicators(window_at(profile, "work"))
        self._lost = self._over = False
        self._changing = True  # until the step says so too: the bowl in the bath is still the one before

    def window(self, stage: str) -> Window:
        """What the chocolate is held to in a stage."""
        return window_at(self.profile, stage)

    def _limits(self, status: Status) -> list[str]:
        """Advice when a limit is passed, on its edge; nobody can tell how much seed is left, so only a test can."""
        self._changing = self._changing and status.stage == "work"
        if status.stage != "work" or status.bowl is None or self._changing:
            return []
        bowl_c = status.bowl / 1000
        over, lost = bowl_c > self.profile.high_c + 0.1, bowl_c >= self.profile.ceiling_c
        said = []
        if lost and not self._lost:
            said.append(f"over {self.profile.ceiling_c:g} °C: assume the seed is lost until a test passes (t tests)")
        elif over and not self._over:
            said.append("over its window: test before going on (t tests)")
        over = bowl_c >= self.profile.high_c and (over or self._over)
        self._over, self._lost = over, lost or (self._lost and over)
        return said

    # -- words for what is asked -------------------------------------------------------------------------------------

    def ask(self, status: Status) -> str:
        """What the person is asked, with figures of this moment."""
        aim = status.water_target if status.water_target is not None else status.target
        moment = Moment(_c(status.water), _c(status.bowl), (aim or 0) / 1000)
        found = _ASKED.get(status.ask)
        return found(self, moment) if found else terms.prompt(status.ask)

    def swap(self, moment: Moment) -> str:
        """A heater cannot cool: how many litres to take out, and what to put in."""
        p, aim_c = self.profile, min(moment.aim_c, self.profile.ceiling_c - 0.5)
        if moment.water_c is None:
            return terms.prompt("swap")
        if moment.water_c < p.ceiling_c:  # asked in the self-test, before the step can end by itself
            return f"the bath is at {moment.water_c:.0f} °C, cool enough for the bowl: the warmer tests itself first"
        if not self.body.is_bath:
            return (f"the plate is at {moment.water_c:.0f} °C and cannot be cooled: bowl off, wait until it is under "
                    f"{p.ceiling_c:g} °C")
        litres = swap_l(self.body, moment.water_c, aim_c, COLD_C)
        bath_l = float(self.settings["water_l"])
        how = (f"take out {litres:.1f} L and put in {litres:.1f} L at {COLD_C:g} °C" if litres <= bath_l else
               f"take out all of it and put in {bath_l:.1f} L at about {aim_c - 2.0:.0f} °C")
        return f"the bath is at {moment.water_c:.0f} °C, the bowl wants {aim_c:.0f} °C: {how}"

    def lift(self, moment: Moment) -> str:
        """Nothing heats and still the bowl warms up."""
        said = f"the heat is off and the bowl still warms up: lift it a while ({WIPE})"
        if moment.water_c is None or not self.body.is_bath or moment.aim_c <= COLD_C:
            return said
        aim_c = min(moment.aim_c, moment.water_c - 0.5)
        add_kg = bath_j_per_k(self.body) * (moment.water_c - aim_c) / (WATER_J_PER_KGK * (aim_c - COLD_C))
        return f"{said}, or add {add_kg / WATER_KG_PER_L:.1f} L of water at {COLD_C:g} °C"

    def refill(self) -> str:
        """The largest refill that keeps the bowl in its window, for each kg that is in it."""
        p, bowl_c = self.profile, self.indicators.bowl_c
        bowl = Bowl(1.0, p.target_c if bowl_c is None else bowl_c, p.low_c, p.high_c)
        warm, solid = largest_kg(bowl, REFILL_C), largest_solid_kg(bowl, SOLID_C, HEAT_PROPERTIES[p.kind])
        cold = largest_kg(bowl, p.low_c - 4.0)
        return (f"for each kg in the bowl at most {1000 * warm:.0f} g at {REFILL_C:g} °C, {1000 * cold:.0f} g at "
                f"{p.low_c - 4.0:g} °C, or {1000 * solid:.0f} g of pieces at {SOLID_C:g} °C; stir it in at once")

    def pour(self, moment: Moment) -> str:
        """The bath has led as far as it will."""
        return f"pour the refill in now: {self.refill()}; then yes. r takes it back"

    def over(self, moment: Moment) -> str:
        """Seeded and still too warm."""
        now = "" if moment.bowl_c is None else f" ({moment.bowl_c:.1f} °C)"
        about = "" if moment.bowl_c is None else f", about {self._seed_g_per_kg(moment.bowl_c):.0f} g for each kg"
        return f"still over {self.profile.high_c:g} °C{now}: stir in a handful of seed{about}, or wait"

    def _seed_g_per_kg(self, bowl_c: float) -> float:
        """Seed that brings a kilogram down to the top of the window, losses left out."""
        stuff, end_c = HEAT_PROPERTIES[self.profile.kind], self.profile.high_c
        taken_up = stuff.molten_share(end_c, SOLID_C)
        return 1000.0 * seed_for_melt_kg(1.0, Batch(1.0, bowl_c, SOLID_C, stuff.latent.value), end_c, taken_up)

    def moved(self, moment: Moment) -> str:
        """The stir test failed."""
        return (f"stirring moved the reading by {abs(self._shift_k):.1f} K: it was not the bowl's. Move the probe, "
                f"{PROBE_PLACE}; then yes")


def _c(milli: int | None) -> float | None:
    return None if milli is None else milli / 1000


def _figures(text: str) -> Callable[[EveningPrompts, Moment], str]:
    """A prompt that names figures of the chocolate."""
    return lambda prompts, moment: text.format(p=prompts.profile)


_ASKED: dict[str, Callable[[EveningPrompts, Moment], str]] = {
    "all_melted": _figures("melted, with no lumps left? then yes; no for advice"),
    "bowl_off": _figures(f"lift the bowl off, {WIPE}, then yes"),
    "swap": EveningPrompts.swap,
    "seed_in": _figures("seed in by handfuls, stirring, down to {p.high_c:g} °C; then yes. No for advice"),
    "bowl_on": _figures(f"{WIPE}, set the bowl back, then yes"),
    "seed_more": EveningPrompts.over,
    "stir": _figures("stir for half a minute, from the wall in; yes when you begin"),
    "stirring": _figures("stir on"),
    "move_probe": EveningPrompts.moved,
    "test": _figures("dip a cold blade, lay it down, then yes: the timer runs"),
    "setting": _figures("yes when it has set, no if it is streaked; in temper within {p.set_min:g} min"),
    "set_yet": _figures("{p.set_min:g} min are over: has it set? yes or no"),
    "not_set": _figures("{p.fail_min:g} min are over: not in temper, so no; yes tests again"),
    "more_seed": _figures("not in temper: stir in a handful of seed, 1 to 2 % of the bowl; then yes"),
    "pour": EveningPrompts.pour,
    "lift": EveningPrompts.lift,
    "spread": _figures(f"lift the bowl ({WIPE}), spread what is left, let it set, weigh it; then yes. No keeps it "
                       "melted overnight"),
}

_LUMPS = "lumps at the wall melt last: scrape it down, stir, wait five minutes; a lid helps"


def _seed_advice(prompts: EveningPrompts) -> str:
    p = prompts.profile
    return (f"seed that will not melt: stir two minutes more; chop it smaller; blend it under the surface, without "
            f"air; or warm the bowl, at its wall no further than {p.ceiling_c:g} °C. Take out what is left")


def _nudge_reason(prompts: EveningPrompts) -> str:
    # Viscosity alone would not be worth a lift: it must not be taken for one that failed when the bowl looks the same.
    target_c = prompts.profile.target_c
    least, most = (100.0 * (times - 1.0) for times in thicker_by(target_c + NUDGE_K, target_c))
    return (f"crystal grows as it stands, and a little warmth slows it; the lift itself thins it by {least:.0f} to "
            f"{most:.0f} % only. When that is used up: stir in warm untempered melt, or melt and temper again")


def _thin_reason(prompts: EveningPrompts) -> str:
    return (f"thin in its window means little crystal, or a wall over {prompts.profile.high_c:g} °C: stir, and test "
            "before going on (t tests). Not in temper: a handful of seed")


_ADDED: dict[tuple[str, str], Callable[[EveningPrompts], str]] = {
    ("melt", "denied"): lambda prompts: _LUMPS,
    ("seed", "denied"): _seed_advice,
    ("", "announced"): EveningPrompts.refill,
    ("", "thicker"): _nudge_reason,
    ("", "thinner"): _thin_reason,
}


def melted_note(profile: Profile, rig: Rig, for_s: float | None, room_c: float) -> str:
    """What to see to before a night: the lid, and the water that leaves until the hour of waking."""
    body = body_of(rig)
    kind, most = terms.kind(profile.of), f"{profile.never_above_c:g} °C"
    bears = profile.never_above_c == CAPS[profile.of].never_above_c
    said = f"melted stock, taken for {kind}: {f'{kind} bears {most} at most' if bears else f'never above {most}'}"
    if not body.is_bath:
        return f"{said}; put the lid on"
    around = Surroundings(room_c, HUMIDITY, float(rig.settings["chocolate_kg"]), ring_cover=0.0, lid=True)
    night_s = for_s or NIGHT_S
    gone_l = steady(body, profile.target_c, around).vapour_kg_per_h * night_s / 3600.0 / WATER_KG_PER_L
    if gone_l < 0.05:  # what is shown of it would be none
        return f"{said}; put the lid on"
    return (f"{said}; put the lid on, and cover the water round the bowl: open, it loses about {gone_l:.1f} of its "
            f"{float(rig.settings['water_l']):.1f} L in {duration_words(night_s)}")


