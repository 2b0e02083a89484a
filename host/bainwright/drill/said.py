"""What a message of the board says, as the drill asks it."""

from __future__ import annotations

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
