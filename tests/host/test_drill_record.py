"""What a drill stores: what voids a result, what a rig lacks, and files that are no record."""

from __future__ import annotations

import datetime
import json
from pathlib import Path
from typing import Any

import pytest
from drill_tools import NOW, passed, rig, states

from bainboard import pins, supervisor
from bainwright.core.errors import FileError
from bainwright.drill import overnight_permit, record
from bainwright.drill.items import ITEMS, LOGIC, WIRING
from bainwright.drill.record import CANNOT, OPEN, PASSED, VOID, Record, Result


def test_a_drill_passes_once_every_item_has() -> None:
    assert set(states(passed(rig()), rig()).values()) == {PASSED}
    assert not record.unfinished(record.statuses(passed(rig()), rig(), NOW))


def test_without_a_record_everything_is_open() -> None:
    assert set(states(None, rig()).values()) == {OPEN}


@pytest.mark.parametrize("change", [{"heater_w": 60.0}, {"switch": "zero_cross"}, {"probe.water.kind": "ntc"}])
def test_another_wiring_voids_the_wiring_s_items_only(change: dict[str, Any]) -> None:
    found = states(passed(rig()), rig(**change))
    for item in ITEMS:
        assert found[item.name] == (VOID if item.depends_on == WIRING else PASSED), item.name


@pytest.mark.parametrize("change", [{"trip.over_stage_s": 90.0}, {"hard_limit_c": 58.0}])
def test_another_safety_setting_voids_the_logic_s_items_only(change: dict[str, Any]) -> None:
    found = states(passed(rig()), rig(**change))
    for item in ITEMS:
        assert found[item.name] == (VOID if item.depends_on == LOGIC else PASSED), item.name


@pytest.mark.parametrize("change", [
    {"gains.water.kp": 0.5}, {"room_c": 25.0}, {"name": "Oma"}, {"log.sync_s": 30}, {"probe.water.offset_c": 0.3},
    {"drill": "passed"},
])  # fmt: skip
def test_settings_that_no_cut_out_depends_on_void_nothing(change: dict[str, Any]) -> None:
    assert set(states(passed(rig()), rig(**change)).values()) == {PASSED}


def test_a_new_supervisor_voids_the_logic_and_new_pins_the_wiring(monkeypatch: pytest.MonkeyPatch) -> None:
    kept, real = passed(rig()), record.inspect.getsource
    for changed, belongs in ((supervisor, LOGIC), (pins, WIRING)):
        monkeypatch.setattr(record.inspect, "getsource",
                            lambda module, changed=changed: real(module) + ("#" if module is changed else ""))
        found = states(kept, rig())
        assert {name for name, state in found.items() if state == VOID} == {
            item.name for item in ITEMS if item.depends_on == belongs}


def test_a_result_is_void_after_six_months_and_when_dated_ahead() -> None:
    assert set(states(passed(rig()), rig(), NOW + datetime.timedelta(days=184)).values()) == {VOID}
    assert set(states(passed(rig()), rig(), NOW - datetime.timedelta(days=2)).values()) == {VOID}


def test_a_missing_part_is_named_and_only_a_missing_guard_prevents_passing() -> None:
    no_bowl = rig(**{"probe.bowl.kind": "none"})
    found = record.statuses(passed(no_bowl, without=("bowl_probe",)), no_bowl, NOW)
    assert [(each.name, each.why) for each in found if each.state == CANNOT] == [
        ("bowl_probe", "no chocolate probe is fitted")]
    assert not record.unfinished(found)
    no_guard = rig(guard=False)
    found = record.statuses(passed(no_guard), no_guard, NOW)
    assert {each.name for each in record.unfinished(found)} == {"gate", "guard_link"}
    assert all(each.why == "no guard relay is fitted" for each in record.unfinished(found))


def test_an_interrupted_drill_keeps_its_passes_and_leaves_the_rest_open(tmp_path: Path) -> None:
    path = tmp_path / "drill.json"
    record.write_record(path, passed(rig(), without=("hot_water", "button")))
    found = states(record.read_record(path), rig())
    assert {name for name, state in found.items() if state == OPEN} == {"hot_water", "button"}


def test_a_failed_item_is_open_and_says_why() -> None:
    kept = passed(rig())
    bad = Result(False, NOW, record.logic_hash(rig()), 9.0, 2.0, "it took 9.0 s")
    found = record.statuses(Record("Oma", False, {**kept.items, "pause": bad}), rig(), NOW)
    assert [(each.name, each.why) for each in record.unfinished(found)] == [("pause", "failed: it took 9.0 s")]


@pytest.mark.parametrize("content", [
    b"", b"[]", b"\xff\xfe", b'{"warmer":"Oma"}',
    b'{"warmer":"Oma","simulated":false,"items":{"pausse":{"passed":true,"at":"2026-11-25T12:00:00Z","belongs":"0"}}}',
    b'{"warmer":"Oma","simulated":false,"items":{"pause":{"passed":true,"at":"2026-11-25T12:00:00","belongs":"0"}}}',
])  # fmt: skip
def test_a_file_that_is_not_a_record_is_refused_in_words(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "drill.json"
    path.write_bytes(content)
    with pytest.raises(FileError):
        record.read_record(path)


def test_a_result_of_an_earlier_version_of_its_test_is_void_and_says_so(tmp_path: Path) -> None:
    """A file without versions is from before these four tests changed."""
    path = tmp_path / "drill.json"
    record.write_record(path, passed(rig()))
    doc = json.loads(path.read_text())
    for result in doc["items"].values():
        del result["version"]
    path.write_text(json.dumps(doc))
    found = {each.name: each for each in record.statuses(record.read_record(path), rig(), NOW)}
    assert {name for name, each in found.items() if each.state == VOID} == {"fuse", "cutout", "gate", "power"}
    assert found["gate"].why == "the test itself has changed since"
    assert overnight_permit.cutoff_status(rig(), False, False, NOW, path) == overnight_permit.OPEN
