"""What a hold shares with other programs of this PC, line by line on a local socket.

The hold sends frames; a watcher sends acts, and gets a reply to each. Both ends are bain of one version: the first line
says which, and another version is refused.
"""

from __future__ import annotations

from collections import deque
from typing import Any, get_args, get_origin

import msgspec

from bainwright.display.scene import Scene

MOST_ACT_BYTES = 4096  # chosen: an act has 100
MOST_FRAME_BYTES = 1 << 20  # a night of 12 h has 40,000


class Hello(msgspec.Struct, frozen=True):
    """Who shares: the version of bain, the hold's process, the board's port (empty for a simulated one), names, and the
    board's own number (of simulated ones all have one).
    """

    version: str
    process: int
    port: str
    warmer: str
    chocolate: str
    board: str = ""


class Frame(msgspec.Struct, frozen=True):
    """The hold at one moment.

    Attributes
    ----------
    scene : Scene
        All that a view shows.
    age_s : float
        How long the board has not reported.
    over, coming : bool
        The hold has ended; somebody said that they are on their way.
    """

    scene: Scene
    age_s: float
    over: bool
    coming: bool


class ActLine(msgspec.Struct, frozen=True):
    """An act by name, a number that its reply repeats, and what the warmer asked when the person answered.

    Attributes
    ----------
    at_s : float
        When it was sent, by the monotonic clock that the programs of a PC share.
    """

    act: str
    number: int
    at_s: float
    seen: str = ""


class ReplyLine(msgspec.Struct, frozen=True):
    """How an act went."""

    number: int
    done: bool
    words: str


class Line(msgspec.Struct, omit_defaults=True):
    """One line from the hold: one of these."""

    hello: Hello | None = None
    frame: Frame | None = None
    reply: ReplyLine | None = None


def to_line(line: Line | ActLine) -> bytes:
    """As JSON, with its newline."""
    return msgspec.json.encode(line, enc_hook=_as_list) + b"\n"


def from_line(data: bytes) -> Line:
    """A line from a hold.

    Raises
    ------
    msgspec.DecodeError, msgspec.ValidationError
        If it is none.
    """
    return msgspec.json.decode(data, type=Line, dec_hook=_as_deque)


def to_act(data: bytes) -> ActLine:
    """A line from a watcher; raises as `from_line` does."""
    return msgspec.json.decode(data, type=ActLine)


def _as_list(value: Any) -> list[Any]:
    """msgspec knows no deque."""
    if isinstance(value, deque):
        return list(value)
    raise NotImplementedError(type(value))


def _as_deque(kind: Any, value: Any) -> deque[Any]:
    if get_origin(kind) is not deque:
        raise NotImplementedError(kind)
    return deque(msgspec.convert(value, list[get_args(kind)[0]]))  # type: ignore[misc]
