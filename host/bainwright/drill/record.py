"""What was proved on a warmer, when, and what it belongs to: one file beside the rig's gains."""

from __future__ import annotations

import datetime
import hashlib
import inspect
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from bainboard import heat_balance, pins, plausibility, selftest, supervisor
from bainwright.core.atomic_write import save_file
from bainwright.core.errors import FileError
from bainwright.core.os_errors import reason
from bainwright.core.toml import close_match
from bainwright.drill.items import BY_NAME, ITEMS, WIRING, Item, lacking

HALF_A_YEAR = datetime.timedelta(days=183)  # chosen: hardware/SAFETY.md asks for every six months
NONE_SIMULATED = "a simulated warmer has none"
PROVED, OPEN, VOID, CANNOT = "proved", "open", "void", "cannot be proved"
SAFETY_SOURCES = (supervisor, heat_balance, plausibility, selftest)
WIRED = ("heater_w", "heater_lag_s", "switch", "guard", "panel", "probe.")  # settings that tell how it is wired
WATCHED = ("trip.", "hard_limit_c", "guard")  # settings the supervisor judges by


class Result(Struct, frozen=True, forbid_unknown_fields=True):
    """How an item went."""

    passed: bool
    at: datetime.datetime
    belongs: str  # hash of the wiring or of the logic, as it was
    took_s: float | None = None
    limit_s: float | None = None
    said: str = ""


class Record(Struct, frozen=True, forbid_unknown_fields=True):
    """A warmer's drill."""

    warmer: str
    simulated: bool
    items: dict[str, Result] = {}


class Standing(Struct, frozen=True):
    """An item as it stands today."""

    name: str
    state: str
    why: str = ""
    at: str | None = None
    took_s: float | None = None
    limit_s: float | None = None


def wiring_hash(settings: Mapping[str, Any]) -> str:
    """Of the pins' table and the settings that say what is connected to them."""
    return _hash(inspect.getsource(pins), _chosen(settings, WIRED))


def logic_hash(settings: Mapping[str, Any]) -> str:
    """Of the supervisor's sources, the self-test's among them, and the safety settings."""
    return _hash(*(inspect.getsource(module) for module in SAFETY_SOURCES), _chosen(settings, WATCHED))


def _chosen(settings: Mapping[str, Any], heads: tuple[str, ...]) -> str:
    # A probe's calibration is no wiring: offset and gain are set anew without a plug being touched.
    kept = {name: value for name, value in settings.items()
            if name.startswith(heads) and not name.endswith((".offset_c", ".gain"))}  # fmt: skip
    return json.dumps(kept, sort_keys=True)


def _hash(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:12]


def belongs_now(item: Item, settings: Mapping[str, Any]) -> str:
    """The hash that a result of today belongs to."""
    return wiring_hash(settings) if item.belongs == WIRING else logic_hash(settings)


def standings(record: Record | None, settings: Mapping[str, Any], now: datetime.datetime) -> list[Standing]:
    """Every item of the drill as it stands, in the drill's order.

    Parameters
    ----------
    record : Record or None
        What is kept; None when no drill was ever begun.
    settings : mapping
        The warmer's settings as they are.
    now : datetime.datetime
        With its time zone.
    """
    return [_standing(item, record, settings, now) for item in ITEMS]


def _standing(item: Item, record: Record | None, settings: Mapping[str, Any], now: datetime.datetime) -> Standing:
    why = lacking(item, settings)
    if why or (record is not None and record.simulated and not item.simulated):
        return Standing(item.name, CANNOT, why or NONE_SIMULATED)
    result = record.items.get(item.name) if record else None
    if result is None:
        return Standing(item.name, OPEN, "not done yet")
    at = result.at.isoformat(timespec="seconds")
    if not result.passed:
        return Standing(item.name, OPEN, f"failed: {result.said}", at, result.took_s, result.limit_s)
    if result.belongs != belongs_now(item, settings):
        changed = "the wiring's settings" if item.belongs == WIRING else "the supervisor or its settings"
        return Standing(item.name, VOID, f"{changed} changed since", at, result.took_s, result.limit_s)
    if now - result.at > HALF_A_YEAR:
        return Standing(item.name, VOID, "over six months ago", at, result.took_s, result.limit_s)
    if result.at > now + datetime.timedelta(days=1):
        return Standing(item.name, VOID, "dated in the future", at, result.took_s, result.limit_s)
    return Standing(item.name, PROVED, result.said, at, result.took_s, result.limit_s)


def missing(stands: list[Standing]) -> list[Standing]:
    """What keeps a drill from being passed."""
    return [each for each in stands if each.state != PROVED and not _excused(each)]


def _excused(standing: Standing) -> bool:
    return standing.state == CANNOT and (standing.why == NONE_SIMULATED or not BY_NAME[standing.name].vital)


def record_path(name: str, simulated: bool = False) -> Path:
    """Where a warmer's record is: in this folder, by its name, as its gains are."""
    stem = "".join(letter if letter.isalnum() else "-" for letter in Path(name).stem)
    return Path(f"{stem}-drill-virtual.json" if simulated else f"{stem}-drill.json")


def read_record(path: Path) -> Record | None:
    """The record in a file; None when there is no file.

    Raises
    ------
    FileError
        When it cannot be read or is none.
    """
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as failed:
        raise FileError(f"the drill's record {path} cannot be read", got=failed.strerror) from failed
    hint = "name another with --out, or move it away and drill again"
    try:
        record = msgspec.json.decode(content, type=Record)
    except (msgspec.DecodeError, UnicodeDecodeError) as failed:
        raise FileError(f"{path} is no record of a drill", got=str(failed), hint=hint) from failed
    for name, result in record.items.items():
        if name not in BY_NAME:
            raise FileError(f"{path}: the drill has no item {name!r}", hint=close_match(name, BY_NAME) or hint)
        if result.at.tzinfo is None:
            raise FileError(f"{path}, {name}: its date has no time zone", got=result.at.isoformat(), hint=hint)
    return record


def write_record(path: Path, record: Record) -> None:
    """Write it, whole or not at all.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    hint = "name another with --out"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as failed:
        raise FileError(f"{path.parent} cannot be made", got=reason(failed), hint=hint) from failed
    content = msgspec.json.format(msgspec.json.encode(record), indent=2) + b"\n"
    save_file(path, content, what="the drill's record", hint=hint)
