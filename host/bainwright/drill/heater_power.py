"""The heater's power from a meter's figures, beside what the settings state."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from bainwright.builds.catalogue import BUILDS
from bainwright.builds.parts import WATTS_WITHIN

MOST = 1e4  # ohm or volts: more is an open circuit or a slip of the keys


def numbers(text: str) -> list[float]:
    """The positive numbers in what a person typed, ``5,8 5.7 ohm`` for instance; none when one makes no sense."""
    words = [word for word in re.split(r"[\s;+]+", text.strip()) if word]
    plain = [re.sub(r"(?i)(ohms?|volts?|[ωΩv])$", "", word).replace(",", ".") for word in words]
    try:
        found = [float(word) for word in plain if word]
    except ValueError:
        return []
    return found if all(0.0 < number < MOST for number in found) else []


def verdict(settings: Mapping[str, Any], volts: float, ohms: Sequence[float]) -> tuple[bool, str]:
    """Whether volts over these mats, side by side, give what the settings state; and the sum in words.

    Parameters
    ----------
    settings : mapping
        The rig's.
    volts : float
        The supply's, at work.
    ohms : sequence of float
        Each mat's.
    """
    power_w, stated_w = sum(volts * volts / ohm for ohm in ohms), float(settings["heater_w"])
    got = f"{volts:g} V on {' and '.join(f'{ohm:g}' for ohm in ohms)} Ω give {power_w:.0f} W"
    if abs(power_w / stated_w - 1.0) <= WATTS_WITHIN:
        return True, f"{got}, the settings say {stated_w:g} W"
    like = [build.name for build in BUILDS if abs(power_w / build.heater_w - 1.0) <= WATTS_WITHIN]
    hint = f" That is what the {' or '.join(like)} of the guides gives." if like else ""
    return False, (f"{got}, and the settings say {stated_w:g} W.{hint} Correct the rig file, or the supply or heater")
