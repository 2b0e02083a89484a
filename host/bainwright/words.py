"""What the board's names mean to the person: events, states, stages and acts, in the words of the kitchen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bainboard import faults

Fields = dict[str, Any]

STATES = {
    "idle": "resting",
    "check": "testing itself",
    "hold": "holding",
    "pause": "water pause, heat off",
    "off": "heat off",
    "trip": "tripped, heat off",
}
STAGES = {"work": "dipping", "melted": "melted stock", "": "no step"}
PROMPTS = {
    "": "nothing to do",
    "all_melted": "is all of it melted? then yes",
    "seed_in": "stir the seed in, then yes",
    "test_passed": "test the temper: passed, then yes",
}
ENDINGS = {"done": "the time is up", "stopped": "stopped", "no start": "it did not start"}

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
    "announced": "refill coming",
    "refill": "refilled",
    "confirmed": "confirmed",
    "thicker": "it thickens: a little warmer",
    "thinner": "a little cooler",
    "cleared": "the trip was cleared at the warmer",
}


def _fault(number: Any) -> str:
    return str(faults.row(number if isinstance(number, int) else faults.CRASHED)[faults.SEEN])


_TOLD: dict[str, Callable[[Fields], str]] = {
    "trip": lambda fields: ("TRIP: " if fields.get("latched") else "heat off: ") + _fault(fields.get("fault")),
    "warn": lambda fields: "warning: " + _fault(fields.get("fault")),
    "ended": lambda fields: (
        "the hold ended: " + ENDINGS.get(str(fields.get("why")), str(fields.get("why", "no reason given")))
    ),
    "boot": lambda fields: f"the board started ({fields.get('cause', 'cause unknown')})",
    "stage": lambda fields: "next step: " + stage(str(fields.get("stage", ""))),
    "lost": lambda fields: "no word from the board",
    "found": lambda fields: "the board is back",
    "gap": lambda fields: f"{fields.get('lines', 0)} lines of the board are missing here",
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
    "trip",
    "warn",
    "lost",
    "boot",
)


def event(name: str, fields: Fields) -> str:
    """An event in words; one of a later firmware is shown by its name."""
    if name in _TOLD:
        return _TOLD[name](fields)
    return _PLAIN.get(name, name.replace("_", " "))


def state(name: str) -> str:
    """A state in words."""
    return STATES.get(name, name)


def stage(name: str) -> str:
    """A step of the evening in words."""
    return STAGES.get(name, name)


def prompt(name: str) -> str:
    """What the person is asked to do."""
    return PROMPTS.get(name, name.replace("_", " "))


def fault(number: int) -> str:
    """A fault in words."""
    return _fault(number)
