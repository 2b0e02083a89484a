"""Durations, temperatures and speeds as people type and read them; inside, everything is seconds, °C and ratios."""

from __future__ import annotations

import math
import re
from datetime import datetime, timedelta
from typing import NamedTuple

from bainwright.core.bounds import EARLIEST_S, LATEST_S, least, most
from bainwright.core.errors import UseError

LONGEST_HOLD_S = 3600.0 * most("trip.run_h")  # the board's run timer reaches no further
ROOM_LOW_C, ROOM_HIGH_C = least("room_c"), most("room_c")
MOST_HOURS = 12  # chosen: a bare number up to this is hours more likely than seconds; it only chooses the hint
FASTEST = 1e6  # chosen: far above what any PC simulates, so that a slip of the finger is still read as one

_DURATION = re.compile(r"(?:(\d+(?:\.\d+)?)h)?(?:(\d+(?:\.\d+)?)m(?:in)?)?(?:(\d+(?:\.\d+)?)s)?", re.ASCII)


class Bounds(NamedTuple):
    """What a duration may be, s, and what to do about one that is not."""

    least_s: float
    most_s: float
    short: str
    long: str


OF_A_HOLD = Bounds(1.0, LONGEST_HOLD_S, "leave it out to hold until you stop it", "start another hold after it")


def parse_duration_s(text: str, option: str = "--for", bounds: Bounds = OF_A_HOLD) -> float:
    """Read a duration such as ``3h40m``, ``90m`` or ``45s``.

    Parameters
    ----------
    text : str
        Hours, minutes and seconds, each with its letter, in that order.
    option : str
        The option it came from, for the words of an error.
    bounds : Bounds
        What it may be.

    Returns
    -------
    float
        Seconds.

    Raises
    ------
    UseError
        If it is no duration, or outside its bounds.
    """
    found = _DURATION.fullmatch(text.strip().lower().replace(" ", ""))
    if not found or not any(found.groups()):
        raise UseError(option, got=repr(text), wanted="hours, minutes, seconds with their letters", hint=_letter(text))
    hours, minutes, seconds = (float(part) if part else 0.0 for part in found.groups())
    total_s = hours * 3600 + minutes * 60 + seconds
    if total_s < bounds.least_s:
        raise UseError(option, got=repr(text), wanted=f"at least {duration_typed(bounds.least_s)}", hint=bounds.short)
    if total_s > bounds.most_s:
        raise UseError(option, got=repr(text), wanted=f"at most {duration_typed(bounds.most_s)}", hint=bounds.long)
    return total_s


def duration_typed(duration_s: float) -> str:
    """A duration of whole seconds as one types it: 3h40m, 90s."""
    parts = ((duration_s // 3600, "h"), (duration_s % 3600 // 60, "m"), (duration_s % 60, "s"))
    return "".join(f"{count:g}{letter}" for count, letter in parts if count) or "0s"


def _letter(text: str) -> str:
    """What to type instead: a bare number most likely misses its letter."""
    bare = text.strip()
    if bare.isascii() and bare.isdigit() and 0 < float(bare) <= LONGEST_HOLD_S:  # nobody means 0 of anything
        if int(bare) <= MOST_HOURS:
            return f"did you mean {bare}h or {bare}m?"
        return f"did you mean {bare}m or {bare}s?"
    return "type it like 3h40m, 90m or 45s"


def parse_room_c(text: str) -> float:
    """Read a room temperature: °C, or °F with an F (``68F``).

    Raises
    ------
    UseError
        If it is no number, or outside 5 to 40 °C.
    """
    bare = text.strip().lower().replace("°", "").replace(",", ".").removesuffix("c").strip()
    fahrenheit = bare.endswith("f")
    try:
        value = float(bare.removesuffix("f"))
    except ValueError:
        raise UseError("--room", got=repr(text), wanted="a temperature", hint="for instance --room 20 or 68F") from None
    as_f_c = (value - 32.0) / 1.8
    temp_c = as_f_c if fahrenheit else value
    if ROOM_LOW_C <= temp_c <= ROOM_HIGH_C:  # NaN fails too
        return temp_c
    if not fahrenheit and ROOM_LOW_C <= as_f_c <= ROOM_HIGH_C:
        raise UseError(f"--room {text} looks like °F", hint=f"that is {as_f_c:.0f} °C: --room {value:g}F")
    got = f"{text}, {temp_c:.0f} °C" if fahrenheit else text
    raise UseError("--room", got=got, wanted=f"{ROOM_LOW_C:g} to {ROOM_HIGH_C:g} °C",
                   hint="measure it away from the warmer")  # fmt: skip


def parse_speed(text: str) -> float | None:
    """Read how fast a virtual board's time passes: a multiple of real time, or None for ``max``.

    Raises
    ------
    UseError
        If it is neither ``max`` nor a number above 0.
    """
    if text.strip().lower() == "max":
        return None
    try:
        speed = float(text.strip().lower().removesuffix("x"))
    except ValueError:
        speed = math.nan
    if not 0 < speed <= FASTEST:
        raise UseError(
            "--speed", got=repr(text), wanted="a number above 0, or max", hint="1 is real time, 60 a minute a second"
        )
    return speed


def duration_words(seconds: float) -> str:
    """A duration to say: ``3 h 40 min``, ``2 min``, ``45 s``."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    hours, minutes = divmod(minutes, 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes:02d} min" if minutes else f"{hours} h"


def clock_words(seconds: float) -> str:
    """A time on the hold's clock: ``1:23:05``."""
    whole = max(0, int(seconds))
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def is_moment(text: object) -> bool:
    """Is it an ISO date and time with its zone, in years that a hold's time can be added to?"""
    try:
        moment = datetime.fromisoformat(str(text))
    except ValueError:
        return False
    return moment.tzinfo is not None and EARLIEST_S <= moment.timestamp() <= LATEST_S


def milli_c(milli: int | None) -> float | None:
    """Thousandths of a degree, as the wire carries them, in °C."""
    return None if milli is None else milli / 1000


def after(moment: datetime, span_s: float) -> datetime:
    """A moment so long after another one, as the clock on the wall shows it: it may have been changed between."""
    return (moment + timedelta(seconds=span_s)).astimezone()
