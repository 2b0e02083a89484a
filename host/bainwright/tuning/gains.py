"""A gains file: TOML with the `gains.*` settings, checked by the firmware's own table, and their origin."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

import bainboard
from bainboard import settings
from bainwright.core.atomic_write import alone, refuse_unwritable, replace_file
from bainwright.core.errors import FileError, UseError
from bainwright.core.os_errors import file_error
from bainwright.core.read_file import TOML_BYTES, read_bytes
from bainwright.core.terminal import visible
from bainwright.core.toml import check, close_match, read_toml
from bainwright.files.rig import flatten
from bainwright.tuning.model import NAMES as FIGURES

PREFIX = "gains."
NAMES = tuple(name for name in (str(row[settings.NAME]) for row in settings.SETTINGS) if name.startswith(PREFIX))
BEFORE = ".before"  # suffix of the previous file
SAME = ("heater_w", "water_l", "bowl_kg", "chocolate_kg", "heater_lag_s")  # settings that the gains depend on
OFF_BY = 0.2  # a rig that differs by a larger share is another one; chosen


class Made(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The `[made]` table: for which warmer, when and by what."""

    rig: str
    date: str
    firmware: str
    heater_w: float
    water_l: float
    bowl_kg: float
    chocolate_kg: float
    heater_lag_s: float
    vessel: str = ""
    bainwright: str = ""
    source: str = ""


class MarginTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The `[margins]` table: peaks of sensitivity."""

    heater_ms: float
    heater_mt: float
    bowl_ms: float
    bowl_mt: float
    worst_corner: float
    movement: float


class Notes(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a gains file may hold besides the gains."""

    made: Made | None = None
    margins: MarginTable | None = None
    model: dict[str, float] = {}
    intervals: dict[str, list[float]] = {}
    not_identified: list[str] = []


@dataclass(frozen=True)
class GainsFile:
    """The file's gains by their full setting names, and its notes."""

    values: dict[str, Any]
    notes: Notes = field(default_factory=Notes)


def read_gains(path: Path) -> GainsFile:
    """Read a gains file.

    Parameters
    ----------
    path : Path
        TOML: ``[water]`` and ``[bowl]`` with kp, ti_s, td_s and weight, beside loss_w_per_k and the like; with or
        without ``gains`` in front. `bain tune` writes the tables of `Notes` beside them.

    Raises
    ------
    FileError
        If it cannot be read, has an unknown name, or a value is out of range.
    """
    where = f"gains file {path}"
    doc = read_toml(path, "gains")
    notes = check({name: doc.pop(name) for name in Notes.__struct_fields__ if name in doc}, Notes, where)
    for table in (notes.model, notes.intervals):
        for name in table:
            if name not in (*FIGURES, "heater_w", "empty_j_per_k"):
                raise FileError(f"{where}: a model has no figure {name}", hint=close_match(name, FIGURES))
    given = {PREFIX + name.removeprefix(PREFIX): value for name, value in flatten(doc)}
    if not given:
        raise FileError(f"{where} is empty", wanted="at least one of " + ", ".join(_short(name) for name in NAMES))
    for name in given:
        if name not in NAMES:
            near = close_match(name, NAMES)
            raise FileError(f"{where}: there is no gain {_short(name)}", hint=near and near.replace(PREFIX, ""))
    rows = [row for row in settings.SETTINGS if row[settings.NAME] in given]  # the litres they go with are the rig's
    values, why = settings.check(rows, given)
    if why:
        raise FileError(f"{where}: {why}")
    return GainsFile(dict(values), notes)


def mismatches(notes: Notes, rig: Mapping[str, Any]) -> list[str]:
    """Signs that the gains are for another warmer than this rig; empty when they fit."""
    return [f"{each}: is this another pot? Leave --gains out to hold with safe gains" for each in foreign(notes, rig)]


def foreign(notes: Notes, rig: Mapping[str, Any]) -> list[str]:
    """For which warmer the gains were chosen, where it is not this rig; empty when they fit."""
    if notes.made is None:
        return []
    said = []
    for name in SAME:
        was, now = getattr(notes.made, name), float(rig[name])
        if abs(was - now) > OFF_BY * max(was, now):
            said.append(f"{name} was {was:g} and is {now:g}")
    made_for = f"the gains were chosen for {notes.made.rig or 'another warmer'} on {notes.made.date}"
    return [f"{made_for}, and {', '.join(said)}"] if said else []


def firmware_hash() -> str:
    """First 12 hex digits of a SHA-256 over the firmware's sources, in order of name."""
    folder = Path(bainboard.__file__).parent
    total = hashlib.sha256()
    for path in sorted(folder.rglob("*.py")):
        total.update(str(path.relative_to(folder)).encode() + b"\0" + path.read_bytes())
    return total.hexdigest()[:12]


def write_gains(path: Path, values: Mapping[str, float], notes: Notes) -> None:
    """Write a gains file; the previous one stays beside it, for `undo`.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    text = render(values, notes)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with alone(path.parent):
            _finish_undo(path)
            if path.exists():
                replace_file(_before(path), read_bytes(path, "the gains file", TOML_BYTES))
            replace_file(path, text)
    except OSError as failed:
        raise file_error(f"the gains file {path} cannot be written", failed, "name another with --out") from failed


def undo(path: Path) -> None:
    """Restore the previous file; a second undo restores the newer one.

    At every moment a whole gains file is at the path, and both are on the disk: an undo that was killed is finished by
    the next.

    Raises
    ------
    UseError
        If there is no previous file.
    FileError
        If one of the two is no gains file; nothing is changed.
    """
    if not path.name or not _before(path).is_file():
        raise UseError(f"{path} has no previous gains", hint="name the file with --out")
    try:
        with alone(path.parent):
            if not _finish_undo(path):
                _swap(path)
    except OSError as failed:
        raise file_error(f"the gains file {path} cannot be written", failed) from failed


def _swap(path: Path) -> None:
    before = _before(path)
    for each in (before, path):
        if os.path.lexists(each):
            read_gains(each)
    older = read_bytes(before, "the gains file", TOML_BYTES)
    if not path.exists():
        replace_file(path, older)
        before.unlink()
        return
    replace_file(_aside(path), read_bytes(path, "the gains file", TOML_BYTES))
    replace_file(path, older)
    _aside(path).replace(before)


def _finish_undo(path: Path) -> bool:
    """Finish what a killed undo began; False where there was none, or it had changed nothing yet."""
    aside = _aside(path)
    if not os.path.isfile(aside):
        return False
    newer = read_bytes(aside, "the newer gains", TOML_BYTES)
    if path.exists() and read_bytes(path, "the gains file", TOML_BYTES) == newer:
        aside.unlink()
        return False
    aside.replace(_before(path))
    return True


def refuse_unwritable_gains(path: Path) -> None:
    """Refuse, before an hour is spent for them, gains that could not be written, or not undone.

    Raises
    ------
    FileError
        If there is something other than a gains file, or the folder takes none.
    """
    for each in (path, _before(path)):
        refuse_unwritable(each, "the gains file", hint="name another with --out")


def _before(path: Path) -> Path:
    return path.with_name(path.name + BEFORE)


def _aside(path: Path) -> Path:
    """Where an undo keeps the newer file while the older one takes its place."""
    return path.with_name(f".{path.name}.aside")


def render(values: Mapping[str, float], notes: Notes) -> str:
    """A gains file's text: the gains first, then the notes."""
    tables: dict[str, dict[str, Any]] = {"": {}, "water": {}, "bowl": {}}
    for name, value in values.items():
        head, _, tail = _short(name).rpartition(".")
        tables[head][tail] = value
    lines = ["# Gains chosen by `bain tune`, for `bain hold --gains`.",
             *_pairs(tables.pop("")), f"not_identified = {_toml(notes.not_identified)}"]
    more: dict[str, Any] = {"model": notes.model, "intervals": notes.intervals}
    for name in ("margins", "made"):
        table = getattr(notes, name)
        more[name] = {} if table is None else msgspec.to_builtins(table)
    for name, table in {**tables, **more}.items():
        if table:
            lines += ["", f"[{name}]", *_pairs(table)]
    return "\n".join(lines) + "\n"


def _pairs(table: Mapping[str, Any]) -> list[str]:
    return [f"{name} = {_toml(value)}" for name, value in table.items()]


def _toml(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    if isinstance(value, str):
        text = value.encode(errors="replace").decode()  # a folder's name may be no text
        return json.dumps(visible(text), ensure_ascii=False)
    return f"{value:.6g}" if "." in f"{value:.6g}" or "e" in f"{value:.6g}" else f"{value:.6g}.0"


def _short(name: str) -> str:
    return name.removeprefix(PREFIX)
