"""A hold as MQTT topics. Pure: a moment in, payloads by topic out.

Each value has a topic of its own under ``PREFIX/WARMER/``: numbers, true, false and null as in JSON, texts as they are.
With Homie, the same values are described as the open Homie convention 4.0 has them (https://homieiot.github.io, from
memory), so that programs that know it list them by themselves.
"""

from __future__ import annotations

import json
from typing import Any, NamedTuple

from bainwright.live.feeds import as_json
from bainwright.live.latest import Shown

ONLINE, OFFLINE = "online", "offline"
LEFT_OUT = ("schema", "over", "acts", "warned", "advice", "events", "hour", "evening", "age_s")
# What the PC knows by itself. Everything else is the board's, and may not be shown as present once it is old.
KNOWN = ("virtual", "chocolate", "warmer", "bath", "heater_w", "calling", "coming", "trouble", "stale",
         "unwatched")  # fmt: skip


class Property(NamedTuple):
    """A value as Homie describes it."""

    name: str
    title: str
    kind: str
    unit: str = ""


PROPERTIES = (
    Property("chocolate_c", "Chocolate", "float", "°C"), Property("place", "Where the chocolate is", "string"),
    Property("estimated", "That is an estimate", "boolean"),
    Property("low_c", "Window from", "float", "°C"), Property("high_c", "Window to", "float", "°C"),
    Property("water_c", "Bath", "float", "°C"), Property("ceiling_c", "Bath's ceiling", "float", "°C"),
    Property("power_w", "Heat", "float", "W"), Property("stage", "Step", "string"),
    Property("left_s", "Time left", "float", "s"), Property("calling", "Asks for somebody", "boolean"),
    Property("prompt", "What to do", "string"), Property("fault", "Fault", "integer"),
    Property("stale", "Figures are old", "boolean"),
)  # fmt: skip
NODE = "hold"


def topic_part(name: str) -> str:
    """A name as one level of a topic: what MQTT reserves becomes a dash."""
    return "".join("-" if letter in "/+#$" or ord(letter) < 32 else letter for letter in name) or "warmer"


def topics(shown: Shown, base: str, warmer: str) -> dict[str, str]:
    """Payloads by topic.

    Parameters
    ----------
    shown : Shown
        The moment. Once it is old, what must not look present is ``null``.
    base : str
        The topic they are under.
    warmer : str
        The warmer's name.
    """
    values = {name: value for name, value in as_json(shown, warmer, course=False).items() if name not in LEFT_OUT}
    if shown.old or shown.now.over:
        values |= {name: None for name in values if name not in KNOWN}
    return {f"{base}/{name}": _text(value) for name, value in values.items()}


def homie(shown: Shown, base: str, warmer: str) -> dict[str, str]:
    """The same for Homie: the device's description and its values."""
    node, values = f"{base}/{NODE}", as_json(shown, warmer, course=False)
    old = shown.old or shown.now.over
    found = {
        f"{base}/$homie": "4.0.0", f"{base}/$name": warmer, f"{base}/$nodes": NODE, f"{base}/$extensions": "",
        f"{node}/$name": "Hold", f"{node}/$type": "warmer",
        f"{node}/$properties": ",".join(homie_id(each.name) for each in PROPERTIES),
    }  # fmt: skip
    for each in PROPERTIES:
        topic = f"{node}/{homie_id(each.name)}"
        found |= {f"{topic}/$name": each.title, f"{topic}/$datatype": each.kind}
        if each.unit:
            found[f"{topic}/$unit"] = each.unit
        value = values[each.name]
        if value is not None and (not old or each.name in KNOWN):
            found[topic] = _text(value)
        else:
            found[topic] = ""  # deletes the retained value: Homie has no unknown
    return found


def homie_id(name: str) -> str:
    """A name as Homie allows it: lower case letters, digits and dashes."""
    kept = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in name.lower())
    return kept.strip("-") or "warmer"


def _text(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value)
