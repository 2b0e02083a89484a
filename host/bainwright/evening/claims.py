"""Events that count only once a later status line confirms them: they may be another board's on the same wire.

A board sends an event just before the status line of the same tick, with the same time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from bainwright.link.messages import Status

LOOKS = 3  # status lines; chosen: an event may be late by two of them
PAUSE = "pause"
STATES: dict[str, Callable[[str], bool]] = {
    "paused": lambda state: state == PAUSE,
    "water_low": lambda state: state == PAUSE,
    "resumed": lambda state: state != PAUSE,
    "cleared": lambda state: state == "idle",
}  # what the board's state is after an event that says whether there is heat
BOWL = ("bowl_off", "bowl_on")  # no line shows them, and while the bowl is away nobody is warned of its window


class Event(NamedTuple):
    """An event with its moment in the hold; `t_ms` is the board's own time, `missing` that its number was missed."""

    at_ms: int
    t_ms: int
    missing: bool
    fields: dict[str, Any]


class Claims:
    """Keeps such events until they are confirmed or refuted."""

    def __init__(self) -> None:
        self._kept: list[tuple[Event, int]] = []  # and how many status lines did not confirm it

    def __bool__(self) -> bool:
        return bool(self._kept)

    def keeps(self, event: Event) -> bool:
        """Is it one that waits for a status line?"""
        name = event.fields["event"]
        if name not in STATES and name not in BOWL:
            return False
        self._kept.append((event, 0))
        return True

    def see(self, status: Status, *, next_one: bool) -> tuple[list[Event], list[Event]]:
        """The events that a status line confirms, and those that it refutes.

        Parameters
        ----------
        status : Status
            A line of this hold.
        next_one : bool
            No line was lost between this and the last one.
        """
        true: list[Event] = []
        false: list[Event] = []
        still: list[tuple[Event, int]] = []
        over = any(event.fields["event"] == "resumed" for event, _ in self._kept)
        for event, looks in self._kept:
            name = event.fields["event"]
            if name in BOWL:
                fits = event.missing or not next_one or event.t_ms == status.t
            else:  # a pause of less than a second shows in no line
                fits = STATES[name](status.state) or (over and STATES[name] is STATES["paused"])
            if fits:
                true.append(event)
            elif name in BOWL or looks + 1 >= LOOKS:
                false.append(event)
            else:
                still.append((event, looks + 1))
        self._kept = still
        return true, false

    def ask(self, state: str | None) -> list[Event]:
        """The rest, once no more lines come: what the board's own answer confirms, or all if it gives none."""
        kept, self._kept = self._kept, []
        return [event for event, _ in kept
                if state is None or event.fields["event"] in BOWL or STATES[event.fields["event"]](state)]  # fmt: skip
