"""What the board's names mean to the person: events, states, stages and acts, in the words of the kitchen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bainboard import faults, help_text

Fields = dict[str, Any]

STATES = {
    "idle": "resting",
    "check": "testing itself",
    "hold": "holding",
    "pause": "water pause, heat off",
    "off": "heat off",
    "trip": "tripped, heat off",
}
STAGES = {
    "melt": "melting", "seed": "seeding", "settle": "settling", "test": "temper test", "work": "dipping",
    "rest": "rest, heat off", "melted": "melted stock", "tune": "learning the warmer", "change": "changing the bowl",
    "": "no step",
}
# With no warmer at hand to put figures to it; `tonight` says the same with them.
PROMPTS = {
    "": "nothing to do",
    "all_melted": "is all of it melted? then yes",
    "bowl_off": "lift the bowl, wipe the underside dry, then yes",
    "swap": "the bath is too warm: take some out, put cold water in",
    "seed_in": "stir the seed in, then yes",
    "bowl_on": "wipe the underside dry, set the bowl back, then yes",
    "seed_more": "still too warm: a handful of seed",
    "stir": "stir for half a minute; yes when you begin",
    "stirring": "stir on",
    "move_probe": "move the probe: 2 cm from the wall, 1 cm off the bottom; then yes",
    "test": "dip a cold blade, then yes: the timer runs",
    "setting": "yes when the test piece has set, no if it is streaked",
    "set_yet": "has the test piece set? yes or no",
    "not_set": "it should have set: not in temper, so no",
    "more_seed": "not in temper: a handful of seed, then yes",
    "pour": "pour the refill in now and stir; then yes",
    "lift": "the bowl warms with the heat off: lift it, wipe the underside dry",
    "spread": "lift the bowl, wipe the underside dry, spread what is left; then yes",
    "go_on": "the heat went off: look at the bowl, then yes goes on, no ends it",
    "look": "water up to its mark, probes in place? yes again starts as last time",
}
KINDS = {"caramelised_white": "caramelised white"}
VERDICTS = {
    "good": "in temper", "slow": "it set slowly: a little more seed would help",
    "failed": "not in temper", "late": "seen too late to judge, test again",
}
STARTS = {
    "new": "its first start", "clean": "it had been ended in order", "power": "the power came back",
    "hung": "it had stopped answering", "crash": "it had met an error", "memory": "it had run short of memory",
    "reset": "someone reset it",
}
ENDINGS = {
    "done": "the time is up", "finished": "the evening is done", "stopped": "stopped", "no start": "it did not start",
}

_PLAIN = {
    "started": "the hold started with its self-test",
    "checked": "the self-test passed",
    "warm": "the chocolate is in its window",
    "below": "the chocolate fell below its window",
    "inside": "the chocolate is back in its window",
    "above": "the chocolate rose above its window",
    "bowl_off": "bowl off",
    "bowl_on": "bowl back",
    "paused": "water pause",
    "resumed": "heat on again after the pause",
    "announced": "refill coming: the bath leads",
    "no_refill": "no refill after all: back to the target",
    "refill": "refilled",
    "confirmed": "confirmed",
    "thicker": "it thickens: a little warmer",
    "thinner": "a little cooler",
    "cleared": "the trip was cleared at the warmer",
    "denied": "no",
    "bath_ready": "the bath is ready for the bowl",
}


def _fault(number: Any) -> str:
    known = number if isinstance(number, int) and number in help_text.FAULTS else faults.CRASHED
    return str(help_text.FAULTS[known][0])


def _minutes(took_s: Any) -> str:
    return f"{took_s // 60}:{took_s % 60:02d} min" if isinstance(took_s, int) else "time not known"


def _kelvin(milli: Any) -> str:
    return f"{abs(milli) / 1000:.1f}" if isinstance(milli, int) else "?"


NOT_TOLD_S = 60  # chosen: what the water cools in less is a step or two of its probe
MINUTES_FROM_S = 90  # chosen: a shorter outage is told in seconds


def _off(fields: Fields) -> str:
    off_s = int(fields.get("off_s") or 0)
    long = f"{off_s} s" if off_s < MINUTES_FROM_S else f"{round(off_s / 60)} min"
    about = "" if fields.get("known") else "about "
    if about and off_s < NOT_TOLD_S:
        long = "a minute"
    bowl = fields.get("bowl")
    reads = f", the bowl is at {_kelvin(bowl)} °C" if bowl is not None else ""
    return f"the heat was off for {about}{long}{reads}: yes goes on, no ends it"


_TOLD: dict[str, Callable[[Fields], str]] = {
    "trip": lambda fields: ("TRIP: " if fields.get("latched") else "heat off: ") + _fault(fields.get("fault")),
    "warn": lambda fields: "warning: " + _fault(fields.get("fault")),
    "ended": lambda fields: (
        "the hold ended: " + ENDINGS.get(str(fields.get("why")), str(fields.get("why", "no reason given")))
    ),
    "boot": lambda fields: "the board started: "
    + STARTS.get(str(fields.get("why")), str(fields.get("cause", "cause unknown"))),
    "power_back": _off,
    "went_on": lambda fields: "the hold goes on " + ("by itself" if fields.get("by_itself") else "as asked"),
    "retested": lambda fields: (
        f"tested again for this: {_fault(fields.get('fault'))}; " + ("passed" if fields.get("passed") else "failed")
    ),
    "stage": lambda fields: "next step: " + stage(str(fields.get("stage", ""))),
    "log_stopped": lambda fields: f"the board's own log stopped: {fields.get('why', 'no reason given')}",
    "tested": lambda fields: (
        f"temper test, {_minutes(fields.get('took_s'))}: "
        + VERDICTS.get(str(fields.get("verdict")), str(fields.get("verdict")))
    ),
    "stirred": lambda fields: f"stirred: the reading moved by {_kelvin(fields.get('shift'))} K",
    "lock": lambda fields: (
        "the buttons are locked for the night" if fields.get("at") == "on" else "the buttons are unlocked"
    ),
    "display": lambda fields: "the display " + ("is back" if fields.get("at") == "on" else "does not answer"),
    "chosen": lambda fields: f"chosen at the warmer: {fields.get('name')}",
    "changed": lambda fields: f"the next bowl is {fields.get('name')}",
    "refused": lambda fields: f"{fields.get('act')}: not now, {fields.get('why')}",
    "lost": lambda fields: "no word from the board",
    "found": lambda fields: "the board is back",
    "another_pot": lambda fields: (
        f"another pot? Its water takes {fields.get('share')} times the heat that these gains were learnt with: from "
        "here on it is held with the safe ones; bain tune learns this pot"
    ),
    "gap": lambda fields: f"{fields.get('records', 0)} records of the board's own log are missing here",
}

# Worth a caption in a picture: what a person did or what went wrong, not every edge of the window.
CAPTIONED = (
    "warm",
    "bowl_off",
    "bowl_on",
    "paused",
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


# What the supervisor rightly sees and a step itself brings about, told as what it is. As a warning, over the step's
# limit always means water from the step before; what the step heated itself is a fault and told as one.
_WARMER = "the bath is warmer than this step allows: the heat stays off until it is not"
_COOLED = "the water fell at once: cold water, as asked"
_FELL = "the water fell fast: good if cold water was poured in; if not, is its probe still in the water?"
_COOLING = ("seed", "change")  # steps that ask for cold water


def event(name: str, fields: Fields, at_stage: str = "") -> str:
    """An event in words; one of a later firmware is shown by its name.

    Parameters
    ----------
    name : str
        The event.
    fields : dict
        What came with it.
    at_stage : str
        The step it fell in, where that is known: a warning that the step itself brings about is no alarm.
    """
    if name == "warn" and fields.get("fault") == faults.OVER_STAGE:
        return _WARMER
    if name == "warn" and fields.get("fault") == faults.PROBE_OUT:  # a doubt so far; what heat does will settle it
        return _COOLED if at_stage in _COOLING else _FELL
    if name in _TOLD:
        return _TOLD[name](fields)
    return _PLAIN.get(name, name.replace("_", " "))


def expected_in_step(fields: Fields, at_stage: str) -> bool:
    """Is a warning one that a step itself brings about: water it finds too warm, and water that was swapped?"""
    asked = fields.get("fault") == faults.PROBE_OUT and at_stage in _COOLING
    return asked or fields.get("fault") == faults.OVER_STAGE


def state(name: str) -> str:
    """A state in words."""
    return STATES.get(name, name)


def stage(name: str) -> str:
    """A step of the evening in words."""
    return STAGES.get(name, name)


def kind(name: str) -> str:
    """A kind of chocolate in words."""
    return KINDS.get(name, name)


def prompt(name: str) -> str:
    """What the person is asked to do."""
    return PROMPTS.get(name, name.replace("_", " "))


def fault(number: int) -> str:
    """A fault in words."""
    return _fault(number)
