"""What the scripts that `bain install` runs on a board may print: one schema for each kind of line."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

from bainwright.core.errors import LinkError

Text = Annotated[str, Meta(max_length=500)]
Flash = Annotated[int, Meta(ge=0, lt=2**32)]  # bytes; more than any board's flash


class Interpreter(Struct):
    """What runs there."""

    implementation: Text
    python: Annotated[list[Annotated[int, Meta(ge=0, lt=1000)]], Meta(min_length=3, max_length=3)]
    platform: Text
    machine: Text
    mpy: Annotated[int, Meta(ge=0, lt=2**16)] | None = None


class Room(Struct):
    """The flash, and the names in its root."""

    root: list[Text]
    block: Annotated[int, Meta(ge=128, le=2**20)]
    free: Flash


class File(Struct):
    """A file of the firmware, or under its folder."""

    path: Text
    size: Flash
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]


class Main(Struct):
    """How main.py begins."""

    main: Text


class Chosen(Struct):
    """The record of the version it starts."""

    record: Text


class Whole(Struct):
    """Everything was listed."""

    all: Literal[True]


class Wrong(Struct):
    """A file that did not arrive whole, or `fat`."""

    wrong: Text


class Put(Struct):
    """Every file is in its place."""

    put: Literal[True]


# By the field that only this kind has.
KINDS: dict[str, type[Struct]] = {
    "implementation": Interpreter, "root": Room, "path": File, "main": Main, "record": Chosen, "all": Whole,
    "wrong": Wrong, "put": Put,
}  # fmt: skip


def read_lines(lines: Iterable[str]) -> list[dict[str, Any]]:
    """The reports among the lines that a board printed.

    Parameters
    ----------
    lines : iterable of str
        Those that begin with a brace are reports; mpremote's own do not.

    Raises
    ------
    LinkError
        If a report has not the fields of its kind.
    """
    return [_read(line) for line in lines if line.startswith("{")]


def _read(line: str) -> dict[str, Any]:
    try:
        fields = msgspec.json.decode(line, type=dict[str, Any])
        kind = next(KINDS[name] for name in KINDS if name in fields)
        return msgspec.structs.asdict(msgspec.convert(fields, kind))
    except (msgspec.MsgspecError, StopIteration, ValueError, RecursionError) as failed:
        raise LinkError(
            "the board's report on itself makes no sense",
            got=str(failed) or f"{line[:60]}...",
            hint="press its reset button and try again; if it stays so, put MicroPython on it again",
        ) from failed
