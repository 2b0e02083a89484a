"""A scene in words, the same in the terminal and on the page."""

from __future__ import annotations

from collections.abc import Mapping

from bainboard import stages
from bainwright.core.units import clock_words
from bainwright.display.scene import ABOVE, BELOW, IN, UNKNOWN, Scene
from bainwright.words import terms
from bainwright.words.plate import for_bath

PLACES = {BELOW: "below its window", IN: "in its window", ABOVE: "ABOVE its window", UNKNOWN: "not known"}
# In a step that warms or cools the chocolate, being outside its window is no trouble.
ON_ITS_WAY = {("melt", BELOW): "melting", ("melt", IN): "warm enough", ("seed", ABOVE): "cooling",
              ("cool", ABOVE): "cooling", ("cool", IN): "cooling", ("cool", BELOW): "cooling",
              ("settle", ABOVE): "settling", ("settle", BELOW): "warming back", ("rest", BELOW): "resting",
              ("change", UNKNOWN): "not judged yet"}
# What there is to do in a step while the warmer asks nothing.
MEANWHILE = {"melt": "stir every few minutes; the warmer asks when it is warm enough",
             "melted": "nothing to do: the stock stays melted"}
MELTS = "put a lid on and stir now and then, until it is melted"  # stock of the evening, still under its window
SETTLES = {BELOW: "stir now and then: its bath should warm it back into its window",
           IN: "nothing to do: it settles in its window", ABOVE: "it cools into its window: stir now and then"}
TRIPPED = "tripped, the heat is off: look at the bowl and the water, then clear the trip at the warmer"
REFILL = "refill coming: the bath warms up for it; the warmer says when to pour"
KEYS = {"resume": "w", "bowl_on": "b", "no_refill": "r", "test": "t"}  # at the terminal
WELL_BELOW_C = 0.3  # chosen: several times a probe's noise
STEADY_C = 0.05  # chosen: a change over ten minutes that no kitchen thermometer shows


def place(scene: Scene) -> str:
    """Where the chocolate is."""
    stage = scene.status.stage if scene.status else ""
    if stage == "melted" and scene.where == BELOW and (scene.trend_c or 0.0) >= STEADY_C:  # stock of the evening before
        return "warming up"
    if scene.where == BELOW and (scene.trend_c or 0.0) <= -WELL_BELOW_C and stage in ("melt", "settle"):
        return PLACES[BELOW]
    return ON_ITS_WAY.get((stage, scene.where), PLACES[scene.where])


def doing(scene: Scene, *, over: bool = False) -> str:
    """What the warmer does, and the step of the evening; `over`: its hold has ended."""
    if scene.status is None:
        return "waiting for the board"
    if over or scene.status.state == "idle":
        return "the heat is off"
    if scene.bowl_away and scene.status.state == "hold":
        return f"bowl off · {terms.stage(scene.status.stage)}"
    return f"{terms.state(scene.status.state)} · {terms.stage(scene.status.stage)}"


def trend(scene: Scene) -> str:
    """How the chocolate changed lately; empty until that is known."""
    trend_c = scene.trend_c
    if trend_c is None:
        return ""
    time = f"{round(scene.trend_s / 60)} min"
    if abs(trend_c) < STEADY_C:
        return f"steady for {time}"
    return f"{'up' if trend_c > 0 else 'down'} {abs(trend_c):.1f} °C in {time}"


def water_gap(scene: Scene) -> tuple[str, bool]:
    """The water against its ceiling; True where that is wrong."""
    if scene.status is None or scene.status.water is None:
        return "no valid reading", True
    if scene.bowl_away:
        return "the bowl is off: no ceiling", False
    gap_c = scene.window.ceiling_c - scene.status.water / 1000
    if scene.status.stage in stages.BATH_ONLY and gap_c < 0:  # the bowl is about to be lifted; it holds no temper yet
        return f"{-gap_c:.1f} °C too warm for tempered chocolate", False
    if gap_c < 0:
        return f"{-gap_c:.1f} °C OVER the ceiling", True
    return f"{gap_c:.1f} °C under the ceiling", False


def times(scene: Scene) -> tuple[str, str]:
    """Time gone and time left."""
    open_end = "until its time is up" if scene.joined else "until you stop it"
    left = open_end if scene.for_s is None else f"{clock_words(scene.for_s - scene.t_s)} left"
    return f"{clock_words(scene.t_s)} gone", left


def prompt(scene: Scene, press: Mapping[str, str] = KEYS) -> str:
    """What to do now, and why the chocolate gets no warmer where it should."""
    asked, added = _prompt(scene, press), [text for text in (scene.falls, scene.waits) if text]
    # Added, not put in its place: a yes answers what the warmer asks.
    if added and (asked.startswith(terms.PROMPTS[""]) or asked in MEANWHILE.values()):  # nothing to do
        asked = added.pop(0)
    return ". ".join([asked, *(f"{text[:1].upper()}{text[1:]}" for text in added)])


def _prompt(scene: Scene, press: Mapping[str, str]) -> str:
    """As `prompt`: hands in the water come first, then a bowl lifted from the dipping, then what the warmer asks.

    Parameters
    ----------
    scene : Scene
        The hold.
    press : mapping
        What a person presses here for an act, by the act's name.
    """
    if scene.status is not None and scene.status.state == "pause":
        pause, hands = (("pause", "you touch the plate") if scene.bath == "plate" else ("water pause", "hands go in"))
        words = (f"{pause}: the heat is off. Unplug or open the hand switch before {hands}; "
                 f"{press['resume']} ends the pause")
        return f"{cold}; {words}" if (cold := _cools_in_the_pause(scene)) else words
    dips = scene.status is not None and scene.status.stage == "work"
    if scene.status is not None and scene.status.state == "trip":
        return for_bath(TRIPPED, scene.bath)
    if scene.prompt and not (scene.bowl_away and dips):  # a lifted bowl takes no refill
        pours = scene.status is not None and scene.status.ask == "pour"
        return f"{scene.prompt}. {press['no_refill']} takes it back" if pours else f"{scene.prompt}{_has_lain(scene)}"
    if scene.bowl_away:
        return f"the bowl is off: wipe its underside dry, set it back, then {press['bowl_on']}"
    if scene.refill_coming:
        return f"{for_bath(REFILL, scene.bath)}. {press['no_refill']} takes it back"
    if scene.spoilt:
        return scene.spoilt
    stage = scene.status.stage if scene.status else ""
    if dips and scene.caution:
        return f"it was {scene.caution} ({press['test']})"
    if dips and not scene.concern and _well_below(scene):
        return "wait before you dip: it is below its window"
    if not scene.concern and stage == "settle":
        return for_bath(SETTLES.get(scene.where, terms.PROMPTS[""]), scene.bath)
    if not scene.concern and stage == "melted" and scene.where == BELOW:
        return MELTS
    return scene.concern or MEANWHILE.get(stage, terms.PROMPTS[""])


def _has_lain(scene: Scene) -> str:
    """For how long a test piece has lain: the person's timer."""
    lain_s = None if scene.piece_s is None else int(scene.t_s - scene.piece_s)
    return "" if lain_s is None else f". It has lain for {terms.minutes(lain_s)}"


def _cools_in_the_pause(scene: Scene) -> str:
    """What becomes of a bowl in temper while the heat is off for long."""
    if scene.spoilt or scene.status is None or scene.status.stage not in stages.TEMPERED or scene.bowl_away:
        return scene.spoilt
    bowl = scene.status.bowl
    return f"the bowl is at {bowl / 1000:.1f} °C, below its window" if bowl is not None and _well_below(scene) else ""


def _well_below(scene: Scene) -> bool:
    """Is the chocolate further below its window than a noisy reading is?"""
    bowl = scene.status.bowl if scene.status else None
    return bowl is not None and bowl / 1000 < scene.window.low_c - WELL_BELOW_C
