"""One moment of a hold as the page and other programs get it: plain values, taken from the scene in one go.

The fields are a contract with programs outside: host/PAGE.md describes them.
"""

from __future__ import annotations

import msgspec

from bainwright.core.units import milli_c
from bainwright.display import scene_words
from bainwright.display.scene import Sample, Scene
from bainwright.evening import acts
from bainwright.words import terms
from bainwright.words.advice import warned

SCHEMA = 1  # of the fields below; a field that changes its meaning raises it
MAY_HEAT = ("left", "lost", "resumed", "other", "not_off")  # ends of the watching, after which the warmer may heat
PRESS = {act.name: f"“{act.words}”" for act in acts.ACTS}


class Now(msgspec.Struct, frozen=True):
    """A moment of a hold. Temperatures in °C, times in seconds of the hold, power in W; None is not known."""

    schema: int
    virtual: bool
    chocolate: str
    warmer: str
    bath: str
    t_s: float
    for_s: float | None
    state: str
    stage: str
    doing: str
    chocolate_c: float | None
    estimated: bool
    low_c: float
    high_c: float
    place: str
    place_words: str
    trend: str
    water_c: float | None
    ceiling_c: float
    water_target_c: float | None
    water_words: str
    water_wrong: bool
    duty: float
    heater_w: float
    ask: str
    prompt: str
    calling: bool
    coming: bool
    fault: int
    warnings: tuple[int, ...]
    warning: str
    warned: tuple[str, ...]
    advice: tuple[str, ...]
    trouble: str
    acts: tuple[str, ...]
    events: tuple[tuple[float, str], ...]
    hour: tuple[Sample, ...]
    evening: tuple[Sample, ...]
    over: bool
    unwatched: str

    @property
    def power_w(self) -> float:
        """The heater's mean power."""
        return self.duty * self.heater_w

    @property
    def left_s(self) -> float | None:
        """Time left; None where the hold has no planned end."""
        return None if self.for_s is None else max(0.0, self.for_s - self.t_s)


def now_of(scene: Scene, *, over: bool = False, coming: bool = False) -> Now:
    """The present moment of a hold.

    Parameters
    ----------
    scene : Scene
        The hold. What is returned shares nothing with it that changes, so another thread may read it.
    over : bool
        The hold has ended.
    coming : bool
        Somebody said that they are on their way.
    """
    status = scene.status
    water_words, water_wrong = scene_words.water_gap(scene)
    warnings = terms.warnings(status.warn, status.stage) if status else []
    off = over and scene.unwatched not in MAY_HEAT
    faults = [status.fault if status else 0, *warnings]
    return Now(
        schema=SCHEMA,
        virtual=scene.virtual,
        chocolate=scene.chocolate,
        warmer=scene.warmer,
        bath=scene.bath,
        t_s=scene.t_s,
        for_s=scene.for_s,
        state=status.state if status else "",
        stage=status.stage if status else "",
        doing=scene_words.doing(scene, over=off),
        chocolate_c=milli_c(status.bowl) if status else None,
        estimated=bool(status and status.est),
        low_c=scene.window.low_c,
        high_c=scene.window.high_c,
        place=scene.where,
        place_words=scene_words.place(scene),
        trend=scene_words.trend(scene),
        water_c=milli_c(status.water) if status else None,
        ceiling_c=scene.window.ceiling_c,
        water_target_c=milli_c(status.water_target) if status else None,
        water_words=water_words,
        water_wrong=water_wrong,
        duty=status.duty / 10000 if status and not off else 0.0,
        heater_w=scene.heater_w,
        ask=status.ask if status else "",
        prompt=terms.without_keys(scene_words.prompt(scene, PRESS)),
        calling=scene.calling,
        coming=coming and not scene.unwatched,  # nobody counts the five minutes any more
        fault=status.fault if status else 0,
        warnings=tuple(warnings),
        warning="; ".join(terms.fault(number, scene.bath) for number in faults if number),
        warned=tuple(line for number in warnings for line in warned(number, scene.bath)),
        advice=tuple(scene.advice) if status and (status.fault or status.state == "trip") else (),
        trouble=scene.trouble,
        acts=() if over else tuple(act.name for act in acts.offered(scene)),
        events=tuple((t_s, terms.without_keys(text)) for t_s, text in scene.events),
        hour=tuple(scene.curve),
        evening=tuple(scene.evening),
        over=over,
        unwatched=scene.unwatched,
    )
