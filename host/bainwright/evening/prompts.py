"""Prompts and advice for the person at the bowl, with litres and grams worked out for this warmer and this moment.

The board sends a prompt as a short name. Its plain words are in `bainwright.words.terms`; what needs figures is here.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from bainboard import stages
from bainboard.programme import NUDGE_K
from bainwright.evening import on_table
from bainwright.evening.heater import HeaterCheck
from bainwright.evening.indicators import Indicators
from bainwright.evening.limits import START_AGAIN, Limits
from bainwright.files.chocolate import SOFT_UNDER_K, Profile, window_at
from bainwright.files.rig import Rig
from bainwright.files.score import Window
from bainwright.link.messages import Status
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES, SETS_BELOW_C
from bainwright.physics.geometry import Body, body_of
from bainwright.physics.heating import Surroundings, bath_j_per_k, steady, swap_l
from bainwright.physics.kitchen import thicker_by
from bainwright.physics.refills import Bowl, largest_kg, largest_solid_kg
from bainwright.physics.seeding import Batch, seed_for_melt_kg
from bainwright.words import terms
from bainwright.words.plate import for_bath

COLD_C = 15.0  # tap water, chosen: the plan takes the same
REFILL_C, SOLID_C = 40.0, 20.0  # a refill of melted stock, and pieces at room temperature
DOWN_C = 0.3  # chosen: a bowl that is down is so until it is this much over its window again, against noise
BELOW_C = 0.2  # chosen: nearer to its window a bowl is at the low end of it
HOT_BATH_K = 1.0  # chosen: over the ceiling by more is no overshoot
LEAST_SWAP_L = 0.1  # chosen: less is not worth a ladle
POURED_K = 0.4  # chosen: in a minute water changes by so much when something is poured in
NO_HEAT_MIN, NO_FALL_C = 20, 0.2  # chosen: in 20 minutes a bath over its room cools by a degree or more
FALLS_MIN, FALLS_C, AGAIN_S = 6, 0.1, 600.0  # chosen: over a probe's step; as often as an open question is repeated
LITTLE_HEAT_K = 1.0  # chosen: more heat than warms the bath by so much is heating
LEAST_KG = 0.005  # chosen: less for each kg in the bowl is no refill
OF_THE_HOLD = ("lift", "pour", "seed_more")  # judged again in each second of the hold, and stale after it
HUMIDITY = 0.5  # of a room; the plan uses the same


@dataclass(frozen=True)
class Moment:
    """What a prompt may use: figures of the board's last line."""

    water_c: float | None
    bowl_c: float | None
    aim_c: float  # the bath's target


class EveningPrompts:
    """Follows one hold and words its prompts and advice.

    Parameters
    ----------
    profile : Profile
        The chocolate.
    rig : Rig
        The warmer.
    """

    def __init__(self, profile: Profile, rig: Rig) -> None:
        self.profile = profile
        self._figures, self._bath_is = profile.document(), rig.bath
        self.settings = rig.settings
        self.body: Body = body_of(rig)
        self._around = Surroundings(float(rig.settings["room_c"]), HUMIDITY, float(rig.settings["chocolate_kg"]),
                                    rig.plant.ring_cover)
        self.indicators = Indicators(window_at(profile, "work"))
        self.limits = Limits(profile, self.body.is_bath)
        self._heater = HeaterCheck(rig, profile.kind if profile.kind != "melted" else profile.of)
        self._stage = ""
        self._said = ""
        self._shift_k: float | None = None  # how far the stirring moved the reading
        self._bath: deque[tuple[float, float]] = deque(maxlen=NO_HEAT_MIN + 1)  # each minute: °C, and by what heat
        self._minute, self._heated_k, self._last_s = 0, 0.0, 0.0
        self._hot = False  # the bath is far over its ceiling
        self._back_early = False  # the bowl was reported as back while it is to cool on the table
        self._on_table = on_table.OnTable(rig.bath)
        self._bowl: deque[float] = deque(maxlen=FALLS_MIN + 1)  # °C, each minute
        self._lift_s = -math.inf  # when the board last asked to lift the bowl
        self._down = self._under = False  # seed has brought the bowl into its window, or under it

    # -- what the board says -------------------------------------------------------------------------------------------

    def see(self, status: Status) -> list[str]:
        """A status line; what is worth saying now."""
        if status.stage == "change":  # no reading of the last bowl counts for the next
            self.indicators = Indicators(self.indicators.window)
        self.indicators.see(status)
        self._stage = status.stage
        self._watch_the_bath(status)
        said = []
        asked = self.ask(status) if status.ask else ""
        again = self._again(status)
        if status.ask != self._said and asked and not again:
            said.append(asked)
        self._said = status.ask
        weak = self._heater.see(status)
        down = self._on_table.see(status, self.profile)
        said += [down] if down else []
        return said + self.limits.see(status) + ([weak] if weak else [])

    def event(self, name: str, fields: Mapping[str, Any]) -> list[str]:
        """An event; what is worth adding to it."""
        self.indicators.event(name, fields)
        self.limits.event(name, fields)
        self._heater.event(name)
        if name == "stirred":
            shift = fields.get("shift")
            self._shift_k = shift / 1000 if isinstance(shift, int) else None
        if name in ("bowl_on", "bowl_off"):
            self._back_early = name == "bowl_on" and self._stage in (stages.SEED, stages.COOL)
        if name == "stage":
            self._stage, self._back_early = str(fields.get("stage")), False
        return self.advice(name)

    def advice(self, name: str) -> list[str]:
        """Advice at an event; whoever acted gets it before the board has reported it."""
        added = _ADDED.get((self._stage, name)) or _ADDED.get(("", name))
        return [added(self)] if added else []

    def change(self, profile: Profile) -> None:
        """Change to another chocolate: its figures, and its indicators from zero."""
        self.profile, self._figures = profile, profile.document()
        self.indicators = Indicators(window_at(profile, "work"))
        self.limits.change(profile)

    def window(self, stage: str) -> Window:
        """What the chocolate is held to in a stage."""
        return window_at(self.profile, stage)

    # -- words for what is asked ---------------------------------------------------------------------------------------

    def ask(self, status: Status) -> str:
        """The prompt, with figures of this moment."""
        aim = status.water_target if status.water_target is not None else status.target
        moment = Moment(_c(status.water), _c(status.bowl), (aim or 0) / 1000)
        if status.ask in OF_THE_HOLD and status.state != "hold":
            return ""
        if self.limits.hardened and status.stage == "settle":
            return self.limits.hardened
        if not status.ask:
            return self._too_hot_a_bath(status, moment)
        found = _WITH_FIGURES.get(status.ask)
        asked = found(self, moment) if found else self._plain(status.ask)
        first = self._on_table.warms
        if self._back_early and status.ask in on_table.ASKED and moment.water_c is not None:
            first = self._of_bath(on_table.ON_BATH.format(moment.water_c))
        return f"{first}. {_sentence(asked)}" if first else asked

    def _plain(self, name: str) -> str:
        """A prompt in the words of the one table of prompts."""
        return terms.prompt(name, self._figures, self._bath_is)

    def _of_bath(self, text: str) -> str:
        return for_bath(text, self._bath_is)

    def _again(self, status: Status) -> bool:
        """Does the board ask to lift the bowl, as it did a few minutes ago? At the edge of the window it wavers."""
        if status.ask != "lift":
            return False
        before_s, self._lift_s = self._lift_s, status.t / 1000
        return self._lift_s - before_s < AGAIN_S

    def waits(self, status: Status) -> bool:
        """Is there nothing to do for what the board asks? It asks for a swap in its self-test, before it can look."""
        return status.ask == "swap" and status.water is not None and status.water / 1000 < self.profile.ceiling_c

    def swap(self, moment: Moment) -> str:
        """The bath is too warm and a heater cannot cool: how many litres to take out, and what to put in."""
        p, aim_c = self.profile, min(moment.aim_c, self.profile.ceiling_c - 0.5)
        if moment.water_c is None:
            return self._plain("swap")
        if moment.water_c < p.ceiling_c:  # see `waits`
            return self._of_bath(f"the bath is at {moment.water_c:.0f} °C, cool enough for the bowl; the warmer tests "
                                 "itself first")
        # The bowl comes down through its window meanwhile: unseeded, it would have no temper.
        seeds = f". {needs}" if (needs := on_table.needs(p, self._stage, moment.bowl_c)) else ""
        if not self.body.is_bath:
            wait = (f"the plate is at {moment.water_c:.0f} °C and cannot be cooled: bowl off, wait until it is under "
                    f"{p.ceiling_c:g} °C")
            return wait + (f"{seeds}, and wrap it in a towel" if needs.startswith("Seed") else seeds)
        how = self._swapped(moment.water_c, aim_c)
        return f"the bath is at {moment.water_c:.0f} °C, the bowl wants {aim_c:.0f} °C: {how}{seeds}"

    def _swapped(self, water_c: float, aim_c: float) -> str:
        litres, bath_l = swap_l(self.body, water_c, aim_c, COLD_C), float(self.settings["water_l"])
        if litres <= bath_l:
            return f"take out {litres:.1f} L and put in {litres:.1f} L at {COLD_C:g} °C"
        return f"take out all of it and put in {bath_l:.1f} L at about {aim_c - 2.0:.0f} °C"

    def _too_hot_a_bath(self, status: Status, moment: Moment) -> str:
        """A bowl over its window in a bath far over its ceiling, which no heater cools; empty where all is well."""
        p, water_c = self.profile, moment.water_c
        over_k = 0.0 if self._hot else HOT_BATH_K
        tempered = status.stage in stages.TEMPERED and status.state == "hold" and not self.limits.away
        self._hot = (tempered and water_c is not None and water_c > p.ceiling_c + over_k
                     and moment.bowl_c is not None and moment.bowl_c > p.high_c)
        if not self._hot or water_c is None:
            return ""
        if not self.body.is_bath:
            return (f"the plate is at {water_c:.0f} °C, and a temper bears {p.ceiling_c:g} °C: bowl off until the "
                    "plate is colder than that")
        aim_c = steady(self.body, p.target_c, self._around).water_c
        return (f"the bath is at {water_c:.0f} °C, and a temper bears {p.ceiling_c:g} °C: "
                f"{self._swapped(water_c, aim_c)}")

    def lift(self, moment: Moment) -> str:
        """The heat is off and the bowl still warms up."""
        said = self._plain("lift")
        if self._stays_warm():
            return self._of_bath("the heat is off and the water does not cool, so the room is about as warm: cool the "
                                 "room, or take the bowl to a cooler one")
        if len(self._bowl) > FALLS_MIN and self._bowl[0] - self._bowl[-1] >= FALLS_C:
            return "the heat is off and the bowl, over its window still, comes down: stir now and then"
        if moment.water_c is None or not self.body.is_bath:
            return said
        # The controller aims lower for as long as the bowl is too warm; the bath only has to hold the bowl.
        aim_c = max(moment.aim_c, steady(self.body, self.profile.target_c, self._around).water_c)
        if swap_l(self.body, moment.water_c, aim_c, COLD_C) < LEAST_SWAP_L:
            return said
        return f"{said}, or {self._swapped(moment.water_c, aim_c)}"

    def _watch_the_bath(self, status: Status) -> None:
        """The water's last minutes, and what the heat of each would warm it by."""
        now_s, before_s = status.t / 1000, self._last_s
        self._last_s = now_s
        power_w = status.duty / 10_000 * float(self.settings["heater_w"])
        self._heated_k += power_w * min(5.0, max(0.0, now_s - before_s)) / bath_j_per_k(self.body)
        minute = int(now_s // 60)
        if status.water is None:
            self._bath.clear()
        elif minute != self._minute:
            self._bath.append((status.water / 1000, self._heated_k))
            self._minute, self._heated_k = minute, 0.0
            if status.bowl is None or status.est:
                self._bowl.clear()
            else:
                self._bowl.append(status.bowl / 1000)

    def _stays_warm(self) -> bool:
        """Whether the bath did not cool in a long time without heat: only a room as warm does that."""
        if len(self._bath) <= NO_HEAT_MIN:
            return False
        water_c = [each_c for each_c, _ in self._bath]
        heated_k = sum(each_k for _, each_k in list(self._bath)[1:])
        poured = max(abs(after - before) for before, after in pairwise(water_c)) > POURED_K
        return not poured and heated_k < LITTLE_HEAT_K and water_c[-1] > water_c[0] + heated_k - NO_FALL_C

    def refill(self) -> str:
        """The largest refill that leaves the bowl in its window, for each kg in it."""
        p, bowl_c = self.profile, self.indicators.bowl_c
        bowl = Bowl(1.0, p.target_c if bowl_c is None else bowl_c, p.low_c, p.high_c)
        warm, solid = largest_kg(bowl, REFILL_C), largest_solid_kg(bowl, SOLID_C, HEAT_PROPERTIES[p.kind])
        cold_c = max(p.low_c - 4.0, p.cool_low_c)  # colder chocolate has set
        cold = largest_kg(bowl, cold_c)
        sizes = [(warm, f"at {REFILL_C:g} °C"), (cold, f"at {cold_c:g} °C")]
        sizes.append((solid, f"of pieces at {SOLID_C:g} °C"))
        most = [f"{_weighed_g(kg)} g {what}" for kg, what in sizes if kg >= LEAST_KG]
        if not most:
            return f"the bowl is too cold for a refill: wait until it reads {p.low_c:g} °C"
        none = [what for kg, what in sizes if kg < LEAST_KG]
        warning = f"; nothing {' or '.join(none)} now" if none else ""
        return f"for each kg in the bowl at most {' or '.join(most)}{warning}; stir it in at once"

    def seed_in(self, moment: Moment) -> str:
        """Seed goes in down to the top of the window; a bowl that is there wants no more."""
        p, bowl_c = self.profile, moment.bowl_c
        self._down = bowl_c is not None and bowl_c <= p.high_c + (DOWN_C if self._down else 0.0)
        if bowl_c is None or not self._down:
            return self._plain("seed_in")
        if bowl_c < SETS_BELOW_C:
            return f"it reads {bowl_c:.1f} °C and has set: {START_AGAIN}"
        self._under = bowl_c < p.low_c + (DOWN_C if self._under else 0.0)
        if self._under:
            below_c = p.low_c - bowl_c
            place = f"{below_c:.1f} °C below its window" if below_c >= BELOW_C else "at the low end of its window"
            soft = "; crystals that do not last form there, so test the temper well" if below_c > SOFT_UNDER_K else ""
            warms = self._of_bath("the bath warms it up")
            return f"it reads {bowl_c:.1f} °C, {place}: no more seed. Yes, then set it back: {warms}{soft}"
        return f"it reads {bowl_c:.1f} °C: no more seed. Stir until the pieces are gone, then yes. No for advice"

    def cooled(self, moment: Moment) -> str:
        """Cold enough to warm back: what it reads now, which goes on falling while nobody answers."""
        reads_c = self.profile.cool_c if moment.bowl_c is None else round(moment.bowl_c, 1)
        if reads_c < SETS_BELOW_C:
            return f"it reads {reads_c:.1f} °C and has set: {START_AGAIN}"
        if reads_c < self.profile.cool_low_c:
            return f"it reads {reads_c:.1f} °C, colder than it should be: stir, then yes at once: it is warmed back"
        return terms.prompt("cooled", {**self._figures, "cool_c": reads_c})

    def set_back(self, moment: Moment) -> str:
        """The bath is ready for the bowl, which may have waited too long on the table."""
        if moment.bowl_c is None or moment.bowl_c >= SETS_BELOW_C or self._stage not in (stages.SEED, stages.COOL):
            return self._plain("bowl_on")
        return (f"it reads {moment.bowl_c:.1f} °C and has set: {START_AGAIN}. If the probe is out of the bowl: "
                f"{self._plain('bowl_on')}")

    def pour(self, moment: Moment) -> str:
        """The bath is as warm as it gets before the refill."""
        if moment.bowl_c is not None and moment.bowl_c < self.profile.low_c:
            return f"{self._of_bath('the bath is ready')}. {_sentence(self.refill())}"
        return f"{self._plain('pour')}. {_sentence(self.refill())}"

    def over(self, moment: Moment) -> str:
        """The seed is in and the bowl still too warm."""
        if self.profile.cool_c:  # tempered without seed
            return self._of_bath(f"still over {self.profile.high_c:g} °C: lift the bowl off the bath and stir it cool")
        if moment.bowl_c is None:
            return self._plain("seed_more")
        about_g = self._seed_g_per_kg(moment.bowl_c)
        return f"{self._plain('seed_more')} (now {moment.bowl_c:.1f} °C; about {about_g:.0f} g for each kg)"

    def _seed_g_per_kg(self, bowl_c: float) -> float:
        """Grams of seed that cool a kilogram to the top of the window, without losses."""
        stuff, end_c = HEAT_PROPERTIES[self.profile.kind], self.profile.high_c
        taken_up = stuff.molten_share(end_c, SOLID_C)
        return 1000.0 * seed_for_melt_kg(1.0, Batch(1.0, bowl_c, SOLID_C, stuff.latent.value), end_c, taken_up)

    def moved(self, moment: Moment) -> str:
        """The stir test failed: the probe was not reading the bowl."""
        by = "" if self._shift_k is None else f" by {abs(self._shift_k):.1f} °C"
        return f"stirring moved the reading{by}, so it did not read the whole bowl: {self._plain('move_probe')}"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _weighed_g(kg: float) -> int:
    """Grams as a cook weighs them, rounded down: steps of 5 g, from 100 g on of 10 g."""
    step_g = 5 if kg < 0.1 else 10
    return step_g * math.floor(1000 * kg / step_g + 1e-9)


def _c(milli: int | None) -> float | None:
    return None if milli is None else milli / 1000


_WITH_FIGURES: dict[str, Callable[[EveningPrompts, Moment], str]] = {
    "swap": EveningPrompts.swap,
    "seed_in": EveningPrompts.seed_in,
    "cooled": EveningPrompts.cooled,
    "bowl_on": EveningPrompts.set_back,
    "seed_more": EveningPrompts.over,
    "move_probe": EveningPrompts.moved,
    "pour": EveningPrompts.pour,
    "lift": EveningPrompts.lift,
}

_LUMPS = "lumps at the wall melt last: scrape them down, stir, wait five minutes; a lid helps"


def _seed_advice(prompts: EveningPrompts) -> str:
    p = prompts.profile
    return (f"seed that will not melt: stir two minutes more; chop it smaller; blend it under the surface, without "
            f"air; or warm the bowl, at its wall no further than {p.ceiling_c:g} °C. Take out what is left")


def _cool_advice(prompts: EveningPrompts) -> str:
    p = prompts.profile
    return (f"too slow: set the bowl in cold water for half a minute, wipe it dry, and stir. Stiff before it reads "
            f"{p.cool_c:g} °C: it is cold enough, so yes. Set at the wall: scrape it down; "
            f"{prompts._of_bath('back in the bath it melts')}")


def _nudge_reason(prompts: EveningPrompts) -> str:
    # The nudge barely changes the viscosity. A cook who sees no difference must not take it for one that failed.
    target_c = prompts.profile.target_c
    least, most = (100.0 * (times - 1.0) for times in thicker_by(target_c + NUDGE_K, target_c))
    return (f"crystals grow with time, and a little warmth slows them; the warmth itself thins it by only "
            f"{least:.0f} to {most:.0f} %. When that no longer helps: stir in warm untempered "
            "melt, or melt and temper again")


def _thin_reason(prompts: EveningPrompts) -> str:
    return (f"thin in its window means little crystal, or a wall over {prompts.profile.high_c:g} °C: stir, and test "
            "the temper before you dip again (t). Not in temper: a handful of seed")


_ADDED: dict[tuple[str, str], Callable[[EveningPrompts], str]] = {
    ("melt", "denied"): lambda prompts: _LUMPS,
    ("seed", "denied"): _seed_advice,
    ("cool", "denied"): _cool_advice,
    ("", "announced"): EveningPrompts.refill,
    ("", "thicker"): _nudge_reason,
    ("", "thinner"): _thin_reason,
}
