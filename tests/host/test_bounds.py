"""Every number in a record has a least and a most; a record with another one is refused in words."""

import json

import msgspec
import msgspec.inspect as types
import pytest
from known_points import NOW

from bainboard import settings
from bainwright.calibration import calibration_record
from bainwright.calibration.fit import GAIN_UNCERTAINTY
from bainwright.core.errors import FileError
from bainwright.core.read_file import read_struct
from bainwright.drill import record as drill_record
from bainwright.plan.tonight import Tonight
from bainwright.record.leftovers import Leftovers
from bainwright.record.temper_tests import TemperTest

AT = NOW
TEST = {"t_s": 60.0, "kind": "dark", "room_c": 20.0, "minutes": 4.0, "gloss": "good", "streaks": "none",
        "verdict": "good", "by": "person"}
POINT = {"bath": "ice", "true_c": 0.0, "true_u_k": 0.05, "raw_c": 0.1, "raw_u_k": 0.02, "at": AT}
PROBE = {"place": "water", "points": [POINT], "offset_c": 0.1, "gain": 1.0, "doubt_k": 0.2, "at": AT}
RECORDS = {
    Leftovers: {"name": "dark", "kind": "dark", "left_kg": 0.6, "times_melted": 2, "peak_c": 45.0,
                "never_above_c": 55.0, "melt_kg": 1.0, "seed_kg": 0.2, "seed_factor": 1.1, "melt_factor": 0.9},
    list[TemperTest]: [TEST],
    calibration_record.Record: {"probes": {"water": PROBE},
                                "bowl": {"pairs": [[33.0, 31.5]], "offset_c": 1.5, "spread_k": 0.1, "doubt_k": 0.5}},
    drill_record.Record: {"warmer": "pot", "simulated": False, "items": {
        "guard": {"passed": True, "at": AT, "belongs": "x", "took_s": 3.0, "limit_s": 5.0, "version": 1}}},
    Tonight: {"schema": 1, "made": AT, "title": "", "ready": "", "look_out": [],
              "steps": [{"stage": "melt", "words": "", "likely_s": 60.0, "high_s": 90.0}]},
}


def numbers(kind, path=()):
    """The places of all numbers of a type, each with its bounds."""
    if isinstance(kind, types.FloatType | types.IntType):
        yield path, (kind.ge, kind.le)
    for field in getattr(kind, "fields", ()):
        yield from numbers(field.type, (*path, field.encode_name))
    for name in ("item_type", "value_type"):
        if hasattr(kind, name):
            yield from numbers(getattr(kind, name), (*path, ...))
    for name in ("types", "item_types"):
        for each in getattr(kind, name, ()):
            yield from numbers(each, (*path, ...) if name == "item_types" else path)


@pytest.mark.parametrize("kind", RECORDS, ids=str)
def test_a_record_with_a_figure_out_of_bounds_is_refused_in_words(kind, tmp_path):
    path = tmp_path / "record.json"
    path.write_text(json.dumps(RECORDS[kind]))
    assert read_struct(path, kind, "a record")
    places = list(numbers(types.type_info(kind)))
    assert places
    for place, (least, most) in places:
        assert None not in (least, most), place
        for absurd in (least - 1, most + 1, 1e300):
            path.write_text(json.dumps(changed(RECORDS[kind], place, absurd)))
            with pytest.raises(FileError, match=r"is not a record: wanted a (whole )?number"):
                read_struct(path, kind, "a record")


def changed(value, place, absurd):
    """The same with one number replaced; `...` is the first of a list or table."""
    if not place:
        return absurd
    name, rest = place[0], place[1:]
    if name is ...:
        name = next(iter(value)) if isinstance(value, dict) else 0
    copy = dict(value) if isinstance(value, dict) else list(value)
    copy[name] = changed(value[name], rest, absurd)
    return copy


def test_a_record_s_bounds_of_a_setting_are_the_board_s():
    rows = {row[settings.NAME]: row for row in settings.SETTINGS}
    found = dict(numbers(types.type_info(calibration_record.Record)))
    assert found[("probes", ..., "gain")] == rows["probe.water.gain"][settings.LOW:]
    assert found[("bowl", "offset_c")] == rows["bowl_offset_c"][settings.LOW:]


def test_every_kind_of_probe_can_be_calibrated():
    rows = {row[settings.NAME]: row for row in settings.SETTINGS}
    kinds = {kind for place in ("water", "bowl") for kind in rows[f"probe.{place}.kind"][settings.LOW]}
    assert kinds - {"none"} == set(GAIN_UNCERTAINTY)


def test_a_bounded_record_still_reads_what_was_written():
    left = msgspec.convert(RECORDS[Leftovers], Leftovers)
    assert msgspec.json.decode(msgspec.json.encode(left), type=Leftovers) == left
