"""The results of a warmer's drill, and which of them still count: one file beside the rig's gains."""

from __future__ import annotations

import datetime
import hashlib
import inspect
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import msgspec
from msgspec import Struct

from bainboard import heat_balance, pins, plausibility, rest, selftest, supervisor
from bainwright.core.atomic_write import save_file
from bainwright.core.bounds import DurationS
from bainwright.core.errors import FileError
from bainwright.core.file_names import file_name
from bainwright.core.os_errors import file_error
from bainwright.core.read_file import read_struct
from bainwright.core.toml import close_match
from bainwright.drill.items import BY_NAME, ITEMS, WIRING, Item, lacking

HALF_A_YEAR = datetime.timedelta(days=183)  # chosen: hardware/SAFETY.md asks for every six months
NONE_SIMULATED = "only on a real warmer"
TEST_CHANGED = "the test itself has changed since"
OTHER_FIRMWARE = "the board had another firmware then"
PASSED, OPEN, VOID, CANNOT = "passed", "open", "void", "not possible"
SAFETY_SOURCES = (supervisor, heat_balance, plausibility, rest, selftest)
WIRED = ("heater_w", "heater_lag_s", "switch", "guard", "float", "panel", "probe.")  # settings that say how it is wired
WATCHED = ("trip.", "hard_limit_c", "guard")  # settings the supervisor judges by


class Result(Struct, frozen=True, forbid_unknown_fields=True):
    """How an item went."""

    passed: bool
    at: datetime.datetime
    depends_on: str = msgspec.field(name="belongs")  # hash of the wiring or of the logic, as it was
    took_s: DurationS | None = None
    limit_s: DurationS | None = None
    note: str = msgspec.field(default="", name="said")
    version: Annotated[int, msgspec.Meta(ge=1, le=1000)] = 1  # of the test that was done
    firmware: str = ""  # of the board, as it named it


class Record(Struct, frozen=True, forbid_unknown_fields=True):
    """A warmer's drill. `board` is the id of the board it was done on; simulated ones have none of their own."""

    warmer: str
    simulated: bool
    items: dict[str, Result] = {}
    board: str = ""


class ItemStatus(Struct, frozen=True):
    """An item today: does its result still count?"""

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
    """Of the supervisor's and the self-test's sources, and the safety settings."""
    return _hash(*(inspect.getsource(module) for module in SAFETY_SOURCES), _chosen(settings, WATCHED))


def _chosen(settings: Mapping[str, Any], heads: tuple[str, ...]) -> str:
    # A calibration is not wiring: it changes offset and gain, and no plug is touched.
    chosen = {name: value for name, value in settings.items()
            if name.startswith(heads) and not name.endswith((".offset_c", ".gain"))}  # fmt: skip
    return json.dumps(chosen, sort_keys=True)


def _hash(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:12]


def hash_now(item: Item, settings: Mapping[str, Any]) -> str:
    """The hash of what a result of today depends on."""
    return wiring_hash(settings) if item.depends_on == WIRING else logic_hash(settings)


def statuses(record: Record | None, settings: Mapping[str, Any], now: datetime.datetime,
             firmware: str | None = None) -> list[ItemStatus]:  # fmt: skip
    """The status of every item, in the drill's order.

    Parameters
    ----------
    record : Record or None
        What is stored; None when no drill was ever begun.
    settings : mapping
        The warmer's settings now.
    now : datetime.datetime
        With its time zone.
    firmware : str, optional
        What the board names as its firmware now; None where no board was asked.
    """
    return [_status(item, record, settings, now, firmware) for item in ITEMS]


def _status(item: Item, record: Record | None, settings: Mapping[str, Any], now: datetime.datetime,
            firmware: str | None) -> ItemStatus:  # fmt: skip
    why = lacking(item, settings)
    if why or (record is not None and record.simulated and not item.simulated):
        return ItemStatus(item.name, CANNOT, why or NONE_SIMULATED)
    result = record.items.get(item.name) if record else None
    if result is None:
        return ItemStatus(item.name, OPEN, "not done yet")
    at = result.at.isoformat(timespec="seconds")
    if not result.passed:
        return ItemStatus(item.name, OPEN, f"failed: {result.note}", at, result.took_s, result.limit_s)
    other = item.depends_on != WIRING and firmware is not None and result.firmware != firmware
    why = _void(item, result, settings, now) or (OTHER_FIRMWARE if other else "")
    return ItemStatus(item.name, VOID if why else PASSED, why or result.note, at, result.took_s, result.limit_s)


def _void(item: Item, result: Result, settings: Mapping[str, Any], now: datetime.datetime) -> str:
    """Why a passed result no longer counts; empty when it does."""
    if result.version != item.version:
        return TEST_CHANGED
    if result.depends_on != hash_now(item, settings):
        return ("the wiring's settings" if item.depends_on == WIRING else "the supervisor or its settings"
                ) + " have changed since"  # fmt: skip
    if now - result.at > HALF_A_YEAR:
        return "over six months ago"
    return "dated in the future" if result.at > now + datetime.timedelta(days=1) else ""


def unfinished(items: list[ItemStatus]) -> list[ItemStatus]:
    """The items that keep a drill from being passed."""
    return [each for each in items if each.state != PASSED and not _excused(each)]


def _excused(status: ItemStatus) -> bool:
    return status.state == CANNOT and (status.why == NONE_SIMULATED or not BY_NAME[status.name].required)


def record_path(name: str, simulated: bool = False) -> Path:
    """Where a warmer's record is: in this folder, by its name, as its gains are."""
    stem = file_name(Path(name).stem.replace("_", "-"))
    return Path(f"{stem}-drill-virtual.json" if simulated else f"{stem}-drill.json")


def read_record(path: Path) -> Record | None:
    """The record in a file; None when there is no file.

    Raises
    ------
    FileError
        When it cannot be read, or is something else.
    """
    if not path.exists():
        return None
    hint = "name another with --out, or move it away and drill again"
    record = read_struct(path, Record, "a record of a drill", hint)
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
        raise file_error(f"the folder {path.parent} cannot be made", failed, hint) from failed
    content = msgspec.json.format(msgspec.json.encode(record), indent=2) + b"\n"
    save_file(path, content, what="the drill's record", hint=hint)
