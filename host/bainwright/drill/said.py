"""What a message of the board says, as the drill asks it."""

from __future__ import annotations

from typing import Any

from bainboard import faults
from bainwright.drill.items import Item
from bainwright.link.messages import Message, Status
from bainwright.words import terms


def is_clear(message: Message) -> bool:
    """The event, or a line of a warmer at rest: a line that a slow PC never read must not fail a sound warmer."""
    return event_name(message) == "cleared" or (isinstance(message, Status) and message.state == "idle")


def is_holding(message: Message) -> bool:
    """A line of a hold."""
    return isinstance(message, Status) and message.state == "hold"


def is_heating(message: Message) -> bool:
    """A line of a hold that gives heat."""
    return isinstance(message, Status) and message.state == "hold" and message.duty > 0


def is_good(item: Item, status: Status, hard_limit_c: float) -> bool:
    """A line of before the fault that an item makes."""
    if item.fault == faults.BOWL_PROBE:
        return status.bowl is not None
    if item.fault == faults.WATER_PROBE:
        return status.water is not None
    return status.water is not None and status.water < 1000 * hard_limit_c


def confirms(hello: dict[str, Any], seen: Message) -> bool:
    """Does the board's own answer agree with what came as its event or line?"""
    name, state = event_name(seen), str(hello["state"])
    if name == "trip" and isinstance(seen, dict):
        return bool(hello["fault"] == seen["fault"] != faults.NONE)
    if name == "checked" or is_holding(seen):
        return state == "hold"
    if name in ("paused", "water_low"):
        return state == "pause"
    if name == "ended":
        return state in ("idle", "trip")
    return state != "trip" if is_clear(seen) else True


def event_name(message: Message) -> str:
    """The name of an event; empty for a line."""
    return str(message["event"]) if isinstance(message, dict) and "event" in message else ""


def words(seen: Message | None) -> str:
    """What happened instead."""
    if seen is None:
        return "nothing in time"
    if isinstance(seen, dict) and "fault" in seen:
        return terms.fault(int(seen["fault"]))
    return str(seen.get("why") or seen["event"]) if isinstance(seen, dict) else "a reading"


def judged(item: Item, seen: Message | None, took_s: float | None) -> tuple[bool, float | None, str]:
    """Did an item's fault come? With the time it took, and words where it did not."""
    if isinstance(seen, dict) and seen.get("fault") == item.fault:
        return True, took_s, ""
    return False, took_s, f"wanted {faults.row(item.fault)[faults.NAME]}, got {words(seen)}"
