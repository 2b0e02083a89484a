"""Reading the TOML files a person writes: whole check first, then words that say what, got, wanted and what next."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

import msgspec

from bainboard import settings as board
from bainwright.core import schema_words
from bainwright.core.errors import FileError
from bainwright.core.read_file import TOML_BYTES, read_text

T = TypeVar("T")

# A kitchen's temperatures in °F read as °C are far too hot to be meant; these bounds only choose the hint.
FAHRENHEIT_LOW, FAHRENHEIT_HIGH = 32.0, 230.0

# Thirty names joined by dots, where our files join three. The library takes the square of them: minutes for 100 KB.
_TOO_DEEP = re.compile(r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){30}""")

MOST = 2.0**53  # as on the wire: whole numbers of this size are exact


_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)$", re.ASCII)
_COMMA = re.compile(r"=\s*([+-]?\d+),(\d+)\s*(?:#.*)?$", re.ASCII)


def _hint(text: str, why: str) -> str | None:
    """What to write instead, for the slips that people make most: a decimal comma, and words without quotes."""
    place = _PLACE.search(why)
    lines = text.splitlines()
    if not place or not 1 <= int(place[1]) <= len(lines):
        return None
    line = lines[int(place[1]) - 1]
    if comma := _COMMA.search(line):
        return f"write {comma[1]}.{comma[2]}, with a point"
    return 'write words in "quotes"' if why.startswith("Invalid value") else None


def read_toml(path: Path, what: str) -> dict[str, Any]:
    """Read one TOML file.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    what : str
        What the file is to the user ("rig", "chocolate", "scenario"), for the error.

    Raises
    ------
    FileError
        When it cannot be read or is not TOML.
    """
    text = read_text(path, f"the {what} file", TOML_BYTES).removeprefix("\ufeff")  # some editors begin a file with it
    if _TOO_DEEP.search(text):
        raise FileError(f"the {what} file {path} is not TOML: it is nested too deeply",
                        hint="our files join three names by dots at most")
    try:
        doc = tomllib.loads(text)
        numbers = list(_numbers(doc, ""))
    except (ValueError, RecursionError) as error:  # ValueError: no TOML, or a number of thousands of digits
        why = "it is nested too deeply" if isinstance(error, RecursionError) else str(error)
        raise FileError(f"the {what} file {path} is not TOML: {why[:1].lower()}{why[1:]}",
                        hint=_hint(text, why)) from error  # fmt: skip
    for name, value in numbers:
        if isinstance(value, int) and not -MOST < value < MOST:  # no float holds it, and others are `check`'s
            raise FileError(f"{what} {path}, {name}", got="over 15 digits", wanted="a number in range")
    return doc


def check(doc: dict[str, Any], kind: type[T], where: str) -> T:
    """Convert a parsed document to a msgspec struct, or say in words what is wrong with it.

    Parameters
    ----------
    doc : dict
        The parsed table.
    kind : type
        A msgspec struct that forbids unknown fields.
    where : str
        The file and table, for the error ("scenario market.toml, event 3 (dip)").

    Raises
    ------
    FileError
        For an unknown or missing key, a wrong type, a value out of range or not finite.
    """
    for name, value in _numbers(doc, ""):
        if isinstance(value, float) and not math.isfinite(value):  # msgspec's range checks let NaN through
            raise FileError(f"{where}, {name}", got=value, wanted="a finite number")
    try:
        return msgspec.convert(doc, kind)
    except msgspec.ValidationError as error:
        raise _in_words(str(error), doc, kind, where) from error


def close_match(name: str, known: Iterable[str]) -> str | None:
    """A hint naming the known name nearest to a mistyped one, or None."""
    near = difflib.get_close_matches(name, list(known), n=1)
    return f"did you mean {near[0]}?" if near else None


def fahrenheit_hint(name: str, value: object, high_c: float) -> str | None:
    """Words for a temperature that only makes sense in °F, or None.

    Parameters
    ----------
    name : str
        The key; only a key in °C (ending in ``_c``) can be met.
    value : object
        What was written.
    high_c : float
        The most the key may be, °C.
    """
    if not name.endswith("_c") or isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    if value <= high_c or not FAHRENHEIT_LOW < value <= FAHRENHEIT_HIGH:
        return None
    return f"that looks like °F; {value:g} °F is {(value - 32) / 1.8:.1f} °C, and files are in °C"


def board_refusal(where: str, why: str, rows: Mapping[str, tuple[Any, ...]], written: Mapping[str, Any],
                  also: Iterable[str] = ()) -> FileError:
    """The board's own reason for refusing a document, with what to do next.

    Parameters
    ----------
    where : str
        The file, for the error.
    why : str
        The reason given by `bainboard.settings`, beginning with the name and a colon.
    rows : mapping
        The rows of its table by name.
    written : mapping
        The values met.
    also : iterable of str, optional
        Names the file may hold beyond the table's.
    """
    name = why.partition(":")[0].strip("'")
    row = rows.get(name)
    if row is None:
        return FileError(f"{where}: {why}", hint=close_match(name, [*rows, *also]))
    value = written.get(name)
    if isinstance(value, str):  # the board shows what is no plain letter as a question mark: here it can be shown
        plain = unicodedata.normalize("NFKD", value).encode("ascii", "ignore").decode().strip()
        hint = f"for instance {plain!r}" if plain and plain != value else None
        return FileError(f"{where}: {why.replace(board.shown(value), repr(value))}", hint=hint)
    hint = fahrenheit_hint(name, value, row[board.HIGH]) if row[board.UNIT] == "°C" else None
    return FileError(f"{where}: {why.removesuffix('; that looks like °F')}", hint=hint)


def _numbers(doc: object, path: str) -> Iterator[tuple[str, float]]:
    if isinstance(doc, (int, float)) and not isinstance(doc, bool):
        yield path, doc
    elif isinstance(doc, dict):
        for key, value in doc.items():
            yield from _numbers(value, f"{path}.{key}" if path else str(key))
    elif isinstance(doc, list):
        for at, value in enumerate(doc):
            yield from _numbers(value, f"{path}[{at}]")


def _at(doc: Any, path: str) -> Any:
    for step in re.findall(r"[^.\[\]$]+", path):
        doc = doc[int(step)] if isinstance(doc, list) else doc.get(step)
    return doc


def _in_words(message: str, doc: dict[str, Any], kind: Any, where: str) -> FileError:
    """Turn msgspec's message into ours; `kind` gives the names for a close match."""
    problem, place = schema_words.split(message)
    if match := re.match(r"Object (contains unknown|missing required) field `(.+)`", problem):
        return _wrong_key(match[1], match[2], place, kind, where)
    value = _at(doc, place)
    got = board.shown(value)
    if problem.startswith("Invalid enum value"):
        options = get_args(_type_at(kind, place))
        hint = close_match(value, options) if isinstance(value, str) else None
        return FileError(f"{where}, {place}", got=got, wanted="one of " + ", ".join(options), hint=hint)
    wanted = schema_words.wanted(problem)
    bound = re.search(r"<=? (-?[\d.]+)$", wanted)
    hint = fahrenheit_hint(place.rpartition(".")[2], value, float(bound[1])) if bound else None
    return FileError(f"{where}, {place}", got=got, wanted=schema_words.plain(wanted), hint=hint)


def _wrong_key(problem: str, name: str, place: str, kind: Any, where: str) -> FileError:
    fields = {field.encode_name: field.type for field in msgspec.structs.fields(_type_at(kind, place))}
    full = f"{place}.{name}" if place else name
    if problem == "missing required":
        meta = getattr(fields[name], "__metadata__", (None,))[0]
        needed = [field.encode_name for field in msgspec.structs.fields(_type_at(kind, place)) if field.required]
        return FileError(f"{where}: {full} is missing", wanted=getattr(meta, "description", None),
                         hint=f"it needs {', '.join(needed)}" if len(needed) > 1 else None)
    hint = close_match(name, fields) or "it knows " + ", ".join(fields)
    return FileError(f"{where}: no such key as {full}", hint=hint)


def _type_at(kind: Any, place: str) -> Any:
    """The bare type behind a dotted place in a struct, without its bounds and its None."""
    for step in place.split(".") if place else []:
        kind = {field.encode_name: field.type for field in msgspec.structs.fields(kind)}[step]
        while get_origin(kind) in (Annotated, UnionType, Union):
            kind = get_args(kind)[0]
    return kind
