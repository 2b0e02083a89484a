"""The board's names in everyday words: events, states, steps of the evening, prompts. One table for each."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from bainboard import faults, help_text, stages
from bainwright.words.plate import for_bath

Fields = dict[str, Any]

STATES = {
    "idle": "idle",
    "check": "testing itself",
    "hold": "holding",
    "pause": "paused, heat off",
    "off": "heat off",
    "trip": "tripped, heat off",
}
STAGES = {
    "melt": "melting", "seed": "seeding", "cool": "cooling", "settle": "settling", "test": "temper test",
    "work": "dipping", "rest": "rest", "melted": "melted stock", "tune": "learning the warmer",
    "change": "changing the bowl", "": "no step",
}
# What the warmer asks, the same in every view on the PC; the braces take figures of the chocolate (see `prompt`).
PROMPTS = {
    "": "nothing to do",
    "all_melted": "is it all melted, with no lumps left? yes, or no for advice",
    "bowl_off": "lift the bowl off, wipe the underside dry, then yes",
    "swap": "the bath is too warm: take some water out and put cold water in",
    "seed_in": "add the seed by handfuls and stir, down to {high_c:g} °C; then yes. No for advice",
    "cool_down": "stir the bowl cool, down to {cool_c:g} °C, and scrape its wall; then yes. No for advice",
    "cooled": "it reads {cool_c:g} °C: does it all through? Stir, then yes: the warmer warms it back",
    "bowl_on": "wipe the underside dry, set the bowl back, then yes",
    "seed_more": "still over {high_c:g} °C: stir in a handful of seed, or lift the bowl and stir it cool",
    "stir": "stir for half a minute, from the wall inwards; press yes when you begin",
    "stirring": "keep stirring",
    "move_probe": "move the probe, 2 cm from the wall and 1 cm off the bottom; then yes",
    "test": "dip a cold blade, lay it down, then yes: the timer starts",
    "setting": "yes when the test piece has set, no if it is streaked; in temper within {set_min:g} min",
    "set_yet": "{set_min:g} min are over: has the test piece set? yes or no",
    "not_set": "{fail_min:g} min are over: it is not in temper, so no; yes tests again",
    "more_seed": "not in temper: stir in a handful of seed, 1 to 2 % of the bowl; then yes",
    "pour": "pour the refill in now and stir; then yes",
    "lift": "the heat is off and the bowl is still over its window: lift it for a while, wipe the underside dry",
    "spread": "lift the bowl, wipe the underside dry, spread what is left, let it set, weigh it; then yes. No holds it "
              "melted overnight",
    "water_low": "the float says that the water is low: unplug, fill the bath to its mark with warm water, plug in; "
                 "then w",
    "go_on": "the heat went off: look at the bowl; yes resumes the hold, no ends it",
    "look": "water up to its mark, probes in place? yes once more starts as last time",
}
KINDS = {"caramelised_white": "caramelised white"}
LAY_DOWN, SETTING = "test", ("setting", "set_yet", "not_set")  # what a temper test asks, before and after yes
LEAST_SET_S = 30  # chosen: no piece sets sooner, on any blade
HASTY = "hasty"  # the verdict of a test that was answered sooner
VERDICTS = {
    "good": "in temper", "slow": "it set slowly: a little more seed, or cooling longer, would help",
    "failed": "not in temper", "late": "seen too late to judge: test again",
    HASTY: "answered too soon to judge, nothing sets so fast: test again",
}
STARTS = {
    "new": "its first start", "clean": "it was shut down cleanly", "power": "the power came back",
    "hung": "it had stopped answering", "crash": "after an error", "memory": "it had run short of memory",
    "reset": "someone reset it",
}
ENDINGS = {
    "done": "the time is up", "finished": "the evening is done", "stopped": "stopped", "no start": "it did not start",
}
PARTS = {"display": "the display", "lamps": "the lamps and the buzzer", "log": "the board's own log"}

MASKED = ("; the water moved by itself meanwhile, so a guard relay that stays closed, or a switch, may have passed "
          "unseen")  # fmt: skip

_PLAIN = {
    "started": "the hold started with its self-test",
    "warm": "the chocolate is in its window",
    "below": "the chocolate fell below its window",
    "inside": "the chocolate is back in its window",
    "above": "the chocolate rose above its window",
    "bowl_off": "bowl off",
    "bowl_on": "bowl back",
    "paused": "pause: the heat is off",
    "water_low": "the water is low: the float took the heat off",
    "resumed": "the pause is over",
    "announced": "refill coming: the bath warms up for it",
    "no_refill": "no refill after all: the bath returns to its target",
    "refill": "the refill is in",
    "confirmed": "answered yes",
    "thicker": "it thickens: a little warmer",
    "thinner": "it is thin: a little cooler",
    "cleared": "the trip was cleared at the warmer",
    "denied": "answered no",
    "bath_ready": "the bath is ready for the bowl",
    "taken_back": "one step back: the last press does not count",
}


def _fault(number: Any) -> str:
    known = number if isinstance(number, int) and number in help_text.FAULTS else faults.CRASHED
    return str(help_text.FAULTS[known][0])


def verdict_of(tested: Mapping[str, Any]) -> str:
    """The verdict of a temper test's event; one that was answered sooner than anything sets proves nothing."""
    found, took_s = str(tested.get("verdict")), tested.get("took_s")
    hasty = found in (stages.GOOD, stages.SLOW) and isinstance(took_s, int) and took_s < LEAST_SET_S
    return HASTY if hasty else found


def minutes(took_s: Any) -> str:
    """A time in minutes and seconds, as a clock in the kitchen shows it."""
    return f"{took_s // 60}:{took_s % 60:02d} min" if isinstance(took_s, int) else "time not known"


def _degrees(milli: Any) -> str:
    return f"{abs(milli) / 1000:.1f}" if isinstance(milli, int) else "?"


SHORT_OFF_S = 60  # chosen: the water cools by one or two steps of its probe in that time, too little to measure
MINUTES_FROM_S = 90  # chosen: a shorter outage is given in seconds


def _off(fields: Fields) -> str:
    off_s = int(fields.get("off_s") or 0)
    long = f"{off_s} s" if off_s < MINUTES_FROM_S else f"{round(off_s / 60)} min"
    about = "" if fields.get("known") else "about "
    if about and off_s < SHORT_OFF_S:
        long = "a minute"
    bowl = fields.get("bowl")
    reads = f", the bowl is at {_degrees(bowl)} °C" if bowl is not None else ""
    return f"the heat was off for {about}{long}{reads}: yes resumes the hold, no ends it"


_WORDED: dict[str, Callable[[Fields], str]] = {
    "trip": lambda fields: ("TRIP: " if fields.get("latched") else "heat off: ") + _fault(fields.get("fault")),
    "warn": lambda fields: "warning: " + _fault(fields.get("fault")),
    "checked": lambda fields: "the self-test passed" + (MASKED if fields.get("masked") else ""),
    "ended": lambda fields: (
        "the hold ended: " + ENDINGS.get(str(fields.get("why")), str(fields.get("why", "no reason given")))
    ),
    "boot": lambda fields: "the board started: "
    + STARTS.get(str(fields.get("why")), str(fields.get("cause", "cause unknown"))),
    "power_back": _off,
    "went_on": lambda fields: "the hold resumed" + (" by itself" if fields.get("by_itself") else ""),
    "retested": lambda fields: (
        f"tested again for this: {_fault(fields.get('fault'))}; " + ("passed" if fields.get("passed") else "failed")
    ),
    "stage": lambda fields: "next step: " + stage(str(fields.get("stage", ""))),
    "latch_not_stored": lambda fields: "the flash did not take this trip: after a power cut, find its cause first",
    "log_stopped": lambda fields: f"the board's own log stopped: {fields.get('why', 'no reason given')}",
    "part_off": lambda fields: (
        f"an error in the firmware turned off {PARTS.get(str(fields.get('part')), str(fields.get('part')))} until the "
        f"board restarts ({fields.get('why', 'no reason given')}); the heat is not affected"
    ),
    "tested": lambda fields: (
        f"temper test, {minutes(fields.get('took_s'))}: "
        + verdict(verdict_of(fields))
    ),
    "stirred": lambda fields: f"stirred: the reading moved by {_degrees(fields.get('shift'))} °C",
    "lock": lambda fields: (
        "the buttons are locked for the night" if fields.get("at") == "on" else "the buttons are unlocked"
    ),
    "display": lambda fields: "the display " + ("is back" if fields.get("at") == "on" else "does not answer"),
    "chosen": lambda fields: f"chosen at the warmer: {fields.get('name')}",
    "changed": lambda fields: f"the next bowl is {fields.get('name')}",
    "refused": lambda fields: (
        f"{fields.get('act', 'what was asked')}: not now: {fields.get('why', 'no reason given')}"
    ),
    "lost": lambda fields: "the board does not answer",
    "found": lambda fields: "the board is back",
    "another_pot": lambda fields: (
        f"another pot? Its water takes {fields.get('share')} times the heat that the gains were measured with. The "
        "warmer now uses its safe gains; bain tune measures this pot"
    ),
    "gap": lambda fields: f"{fields.get('records', 0)} records of the board's own log are missing here",
}

_OF_THE_BATH = ("checked", "trip", "warn", "retested", "another_pot")  # the others may have names of a person's own

# Events that get a caption in a picture: what a person did and what went wrong, not every edge of the window.
CAPTIONED = (
    "warm",
    "bowl_off",
    "bowl_on",
    "paused",
    "water_low",
    "resumed",
    "announced",
    "refill",
    "thicker",
    "thinner",
    "stage",
    "tested",
    "trip",
    "warn",
    "lost",
    "boot",
)


# Warnings that a step of the evening causes itself. A warning of water over the step's limit always means water left
# from the step before; water that the step itself heated over it is a fault, not a warning.
_WARMER = "the bath is warmer than this step allows: the heat stays off until it has cooled"
_COOLED = "the water cooled at once: that is the cold water you poured in"
_FELL = "the water cooled fast: fine if you poured cold water in; if not, is its probe still in the water?"
_COOLING = ("seed", "cool", "change")  # steps that ask for cold water


def event(name: str, fields: Fields, at_stage: str = "", bath: str = "water") -> str:
    """An event in words. An event this version does not know is shown by its name.

    Parameters
    ----------
    name : str
        The event.
    fields : dict
        The event's other fields.
    at_stage : str
        The step it happened in, where known: a warning that the step itself causes is no alarm.
    bath : str
        What is under the bowl: ``water`` or ``plate``.
    """
    if name == "warn" and fields.get("fault") == faults.OVER_STAGE:
        return for_bath(_WARMER, bath)
    if name == "warn" and fields.get("fault") == faults.PROBE_OUT:  # a suspicion: it trips if heat does not warm it
        return for_bath(_COOLED if at_stage in _COOLING else _FELL, bath)
    if name in _WORDED:
        text = _WORDED[name](fields)
        return for_bath(text, bath) if name in _OF_THE_BATH else text
    return for_bath(_PLAIN[name], bath) if name in _PLAIN else name.replace("_", " ")


def expected_in_step(fields: Fields, at_stage: str) -> bool:
    """Does the step itself cause this warning: water that is still too warm, or water that was just swapped?"""
    asked = fields.get("fault") == faults.PROBE_OUT and at_stage in _COOLING
    return asked or fields.get("fault") == faults.OVER_STAGE


_NOT_IN_STATE = "not in state "
_REFUSED_IN = {
    "check": "the warmer is testing itself; try again when that is done",
    "pause": "the pause is on; end it first",
    "off": "the heat is off",
    "trip": "the warmer has tripped; hold its recessed button for 3 s to clear that",
    "idle": "no hold is running",
    "hold": "a hold is running",
}


def warnings(mask: int, at_stage: str) -> list[int]:
    """The warnings in a status line's mask, by number, without those that the step causes itself.

    Parameters
    ----------
    mask : int
        A bit a warning, as the board sends it.
    at_stage : str
        The step.
    """
    found = [number for number in range(mask.bit_length()) if mask >> number & 1 and number != faults.UNASKED_HEAT]
    return [number for number in found if not expected_in_step({"fault": number}, at_stage)]


def sure(mask: int) -> bool:
    """Is it known that the water does not rise with the heat off? A bit of a status line's mask says where it is not.
    """
    return not mask >> faults.UNASKED_HEAT & 1


def refusal(why: str) -> str:
    """A board's reason for a refusal, in words where the reason is the state it is in."""
    name = why.removeprefix(_NOT_IN_STATE).partition(",")[0] if why.startswith(_NOT_IN_STATE) else ""
    return _REFUSED_IN.get(name, why)


_KEY = re.compile(r" \((?:[a-z]|Ctrl-C)\)")


def without_keys(text: str) -> str:
    """A sentence for who has no keyboard: a phone's buttons have words of their own."""
    return _KEY.sub("", text)


def state(name: str) -> str:
    """A state in words."""
    return STATES.get(name, name)


def stage(name: str) -> str:
    """A step of the evening in words."""
    return STAGES.get(name, name)


def kind(name: str) -> str:
    """A kind of chocolate in words."""
    return KINDS.get(name, name)


def verdict(name: str) -> str:
    """What a temper test showed, in words."""
    return VERDICTS.get(name, name)


def prompt(name: str, figures: Mapping[str, Any], bath: str = "water") -> str:
    """What the person is asked to do.

    Parameters
    ----------
    name : str
        The board's name for the prompt; one this version does not know is shown by its name.
    figures : mapping
        The chocolate's ``high_c``, ``cool_c``, ``set_min`` and ``fail_min``.
    bath : str
        What is under the bowl: ``water`` or ``plate``.
    """
    text = PROMPTS.get(name)
    return name.replace("_", " ") if text is None else for_bath(text, bath).format_map(figures)


def fault(number: int, bath: str = "water") -> str:
    """A fault in words."""
    return for_bath(_fault(number), bath)
