"""The record of a calibration, beside the rig file: the points, what followed from them, and what to say later."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec

from bainwright.calibration.fit import AT_C, Fit, Point, fit
from bainwright.calibration.reading import NAMES, places_of
from bainwright.core.atomic_write import save_file
from bainwright.core.bounds import BowlOffsetC, Gain, OffsetC, SpreadK, StandardK, TempC
from bainwright.core.errors import FileError
from bainwright.core.file_names import file_name
from bainwright.core.read_file import read_struct
from bainwright.core.units import is_moment

OLD = timedelta(days=180)  # chosen: half a year of kitchen steam
TOGETHER = timedelta(days=1)  # points further apart belong to another calibration; chosen
SAME_K, SAME_GAIN = 0.005, 0.00005  # a larger difference is another setting: they are written to 3 and 5 digits


class StoredPoint(msgspec.Struct, forbid_unknown_fields=True):
    """A point, as `fit.Point` has it."""

    bath: str
    true_c: TempC
    true_u_k: StandardK
    raw_c: TempC
    raw_u_k: StandardK
    at: str


class StoredProbe(msgspec.Struct, forbid_unknown_fields=True):
    """A probe by its id: the 1-wire id, or its place where it has none."""

    place: str
    points: list[StoredPoint] = []
    offset_c: OffsetC = 0.0
    gain: Gain = 1.0
    uncertainty_k: SpreadK = msgspec.field(default=0.0, name="doubt_k")  # expanded, at `AT_C`
    at: str = ""
    identified: bool = msgspec.field(default=False, name="told_apart")  # by lifting it


class StoredBowl(msgspec.Struct, forbid_unknown_fields=True):
    """For an estimated bowl: water less chocolate, by hand thermometer."""

    pairs: list[tuple[TempC, TempC]] = []
    offset_c: BowlOffsetC = 0.0
    spread_k: SpreadK = 0.0
    uncertainty_k: SpreadK = msgspec.field(default=0.0, name="doubt_k")
    at: str = ""


class Record(msgspec.Struct, forbid_unknown_fields=True):
    """All that is known of a warmer's thermometers."""

    warmer: str = ""
    probes: dict[str, StoredProbe] = {}
    bowl: StoredBowl = msgspec.field(default_factory=StoredBowl)


def path_for(rig: str | None, warmer: str) -> Path:
    """The file of a warmer's record: beside its rig file, or in this folder under its name."""
    if rig is not None and Path(rig).suffix == ".toml":
        return Path(rig).with_name(Path(rig).stem + "-calibration.json")
    return Path(file_name(warmer, other="_") + "-calibration.json")


def read(path: Path) -> Record:
    """The record, or an empty one.

    Raises
    ------
    FileError
        When the file is something else.
    """
    if not path.exists():
        return Record()
    hint = "move it away and calibrate again"
    record = read_struct(path, Record, "the record of a calibration", hint)
    probes = record.probes.values()
    dates = [point.at for each in probes for point in each.points]
    dates += [each.at for each in probes if each.points or each.at]
    dates += [record.bowl.at] if record.bowl.at else []
    wrong = [date for date in dates if not is_moment(date)]
    wrong += [each.place for each in probes if each.place not in NAMES]
    if wrong:
        raise FileError(f"{path} is not the record of a calibration", got=repr(wrong[0]), hint=hint)
    return record


def write(path: Path, record: Record) -> None:
    """Old or new, never half."""
    save_file(path, json.dumps(msgspec.to_builtins(record), indent=2) + "\n", follow=False)


def identity(settings: Mapping[str, Any], place: str) -> str:
    """What a probe is known by."""
    rom = settings[f"probe.{place}.rom"] if settings[f"probe.{place}.kind"] == "onewire" else ""
    return str(rom).lower() or place


def add(record: Record, settings: Mapping[str, Any], place: str, point: Point) -> Fit:
    """Add a point to a probe's; it replaces one of the same bath and those of an earlier calibration.

    Raises
    ------
    UseError
        When the points then contradict each other; the record is unchanged.
    """
    probe = record.probes.get(identity(settings, place), StoredProbe(place))
    limit = datetime.fromisoformat(point.at) - TOGETHER
    points = [each for each in probe.points
              if each.bath != point.bath and datetime.fromisoformat(each.at) >= limit]
    points.append(StoredPoint(point.bath, point.true_c, point.true_u_k, point.raw_c, point.raw_u_k, point.at))
    found = fit([Point(**msgspec.to_builtins(each)) for each in points], settings[f"probe.{place}.kind"])
    record.probes[identity(settings, place)] = StoredProbe(
        place, points, round(found.offset_c, 3), round(found.gain, 5), round(found.uncertainty_k(), 3), point.at,
        probe.identified)
    return found


def changes(record: Record, settings: Mapping[str, Any]) -> dict[str, float]:
    """The settings that the record asks for."""
    asked: dict[str, float] = {}
    for place in places_of(settings):
        probe = record.probes.get(identity(settings, place))
        if probe is not None and probe.points:
            asked |= {f"probe.{place}.offset_c": probe.offset_c, f"probe.{place}.gain": probe.gain}
    if record.bowl.pairs:
        asked["bowl_offset_c"] = record.bowl.offset_c
    return asked


def notes(record: Record, settings: Mapping[str, Any], width_k: float, now: datetime) -> list[str]:
    """What a person should know of the thermometers before a hold relies on them; a sentence each.

    Parameters
    ----------
    record : Record
        What is stored.
    settings : mapping
        The warmer's.
    width_k : float
        How wide the chocolate's window is.
    now : datetime
        With its zone.
    """
    said = []
    for place in places_of(settings):
        probe = record.probes.get(identity(settings, place))
        if probe is None or not probe.points:
            said.append(f"the {NAMES[place]} was never calibrated: it may be wrong by half a window (bain calibrate)")
            continue
        said += _age(f"the {NAMES[place]}'s calibration", probe.at, now)
        said += _width(f"the {NAMES[place]}", probe.uncertainty_k, width_k)
        if (abs(settings[f"probe.{place}.offset_c"] - probe.offset_c) > SAME_K
                or abs(settings[f"probe.{place}.gain"] - probe.gain) > SAME_GAIN):
            said.append(f"the warmer uses another offset or gain for the {NAMES[place]} than its calibration found "
                        f"({probe.offset_c:+.2f} °C, {probe.gain:.4f}): send it the rig file, or calibrate again")
    if "bowl" not in places_of(settings):
        said += _estimate(record.bowl, width_k, now)
    return said


def _estimate(bowl: StoredBowl, width_k: float, now: datetime) -> list[str]:
    if not bowl.pairs:
        return ["how much cooler the chocolate is than the water was never measured: bain calibrate --bowl, with a "
                "hand thermometer in a steady hold"]
    return _age("the estimate's hand-thermometer offset", bowl.at, now) + _width(
        "the chocolate's estimate", bowl.uncertainty_k, width_k)


def _age(what: str, at: str, now: datetime) -> list[str]:
    age = now - datetime.fromisoformat(at)
    return [f"{what} is {age.days} days old: measure again (bain calibrate)"] if age > OLD else []


def _width(what: str, uncertainty_k: float, width_k: float) -> list[str]:
    if 2.0 * uncertainty_k <= width_k:
        return []
    return [f"{what} is known only to ± {uncertainty_k:.2f} °C, wider than the window of {width_k:.1f} °C"]


def sentences(record: Record) -> list[str]:
    """The record in sentences."""
    said = []
    for name, probe in record.probes.items():
        if not probe.points:
            continue
        points = ", ".join(f"{p.bath} {p.true_c:.2f} °C read as {p.raw_c:.2f}" for p in probe.points)
        said.append(f"{NAMES[probe.place]} ({name}): {probe.offset_c:+.3f} °C, gain {probe.gain:.5f}; at {AT_C:g} °C "
                    f"right to ± {probe.uncertainty_k:.2f} °C. {points}; {probe.at[:10]}")
    bowl = record.bowl
    if bowl.pairs:
        said.append(f"chocolate estimated {bowl.offset_c:.2f} °C under the water, ± {bowl.uncertainty_k:.2f} °C; "
                    f"{len(bowl.pairs)} readings over {bowl.spread_k:.2f} °C; {bowl.at[:10]}")
    return said
