"""The drill: its table, what voids a result, what is named when a rig lacks it, and nights that are refused."""

from __future__ import annotations

import ast
import datetime
import json
from pathlib import Path
from typing import Any

import pytest

from bainboard import faults, pins, settings, supervisor
from bainboard.warmer import Warmer
from bainwright.cli import main
from bainwright.core.errors import FileError, RefusedError, UseError
from bainwright.drill import items, overnight_permit, record
from bainwright.drill.hands import Person
from bainwright.drill.items import BY_NAME, ITEMS, LOGIC, WIRING
from bainwright.drill.record import CANNOT, OPEN, PROVED, VOID, Record, Result
from bainwright.drill.run import Drill
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import SIMULATED

NOW = datetime.datetime(2026, 11, 25, 12, tzinfo=datetime.UTC)
ROOT = Path(__file__).parents[2]


def rig(**changes: Any) -> dict[str, Any]:
    """A rig's settings, whole."""
    values, why = settings.check(settings.SETTINGS, {"name": "Oma", "probe.bowl.kind": "onewire", **changes})
    assert why is None
    return dict(values)


def passed(values: dict[str, Any], at: datetime.datetime = NOW, *, without: tuple[str, ...] = ()) -> Record:
    """The record of a drill in which everything passed."""
    done = {item.name: Result(True, at, record.belongs_now(item, values)) for item in ITEMS if item.name not in without}
    return Record(str(values["name"]), False, done)


def states(kept: Record | None, values: dict[str, Any], now: datetime.datetime = NOW) -> dict[str, str]:
    """How each item stands."""
    return {each.name: each.state for each in record.standings(kept, values, now)}


def test_the_table_names_each_item_once_and_each_says_what_must_happen() -> None:
    assert len(BY_NAME) == len(ITEMS)
    for item in ITEMS:
        assert item.do
        assert item.must
        assert item.belongs in (WIRING, LOGIC)
        assert item.tells == faults.NONE or item.limit is not None, item.name


def test_the_drill_s_pass_is_the_board_s_tick() -> None:
    tree = ast.parse((ROOT / "firmware/bainboard/app.py").read_text())
    ticks = [node.value.value for node in tree.body if isinstance(node, ast.Assign)
             and isinstance(node.targets[0], ast.Name) and node.targets[0].id == "TICK_MS"
             and isinstance(node.value, ast.Constant)]  # fmt: skip
    assert ticks == [1000 * items.PASS_S]


def test_limits_follow_the_rig() -> None:
    """A pulse is half a kelvin's heat of the load: twice the watts, half of each pulse's length (computed)."""
    slow, quick = rig(heater_w=100.0), rig(heater_w=200.0)
    for limit, pulses in ((items.switch_told, 3), (items.guard_told, 4), (items.whole_test, 3)):
        load = slow["water_l"] * 4186.0 + slow["bowl_kg"] * 500.0  # a lower bound: without the chocolate
        assert limit(slow) - limit(quick) > pulses * 0.5 * load / 200.0 * 0.99
    assert items.bad_samples(rig(**{"trip.bad_samples": 5})) == 6.0


def test_everything_proved_is_a_passed_drill() -> None:
    assert set(states(passed(rig()), rig()).values()) == {PROVED}
    assert not record.missing(record.standings(passed(rig()), rig(), NOW))


def test_without_a_record_everything_is_open() -> None:
    assert set(states(None, rig()).values()) == {OPEN}


@pytest.mark.parametrize("change", [{"heater_w": 60.0}, {"switch": "zero_cross"}, {"probe.water.kind": "ntc"}])
def test_another_wiring_voids_the_wiring_s_items_only(change: dict[str, Any]) -> None:
    found = states(passed(rig()), rig(**change))
    for item in ITEMS:
        assert found[item.name] == (VOID if item.belongs == WIRING else PROVED), item.name


@pytest.mark.parametrize("change", [{"trip.over_stage_s": 90.0}, {"hard_limit_c": 58.0}])
def test_another_safety_setting_voids_the_logic_s_items_only(change: dict[str, Any]) -> None:
    found = states(passed(rig()), rig(**change))
    for item in ITEMS:
        assert found[item.name] == (VOID if item.belongs == LOGIC else PROVED), item.name


@pytest.mark.parametrize("change", [
    {"gains.water.kp": 0.5}, {"room_c": 25.0}, {"name": "Oma"}, {"log.sync_s": 30}, {"probe.water.offset_c": 0.3},
    {"drill": "passed"},
])  # fmt: skip
def test_what_no_cut_out_depends_on_voids_nothing(change: dict[str, Any]) -> None:
    assert set(states(passed(rig()), rig(**change)).values()) == {PROVED}


def test_a_new_supervisor_voids_the_logic_and_new_pins_the_wiring(monkeypatch: pytest.MonkeyPatch) -> None:
    kept, real = passed(rig()), record.inspect.getsource
    for changed, belongs in ((supervisor, LOGIC), (pins, WIRING)):
        monkeypatch.setattr(record.inspect, "getsource",
                            lambda module, changed=changed: real(module) + ("#" if module is changed else ""))
        found = states(kept, rig())
        assert {name for name, state in found.items() if state == VOID} == {
            item.name for item in ITEMS if item.belongs == belongs}


def test_a_result_is_void_after_six_months_and_when_dated_ahead() -> None:
    assert set(states(passed(rig()), rig(), NOW + datetime.timedelta(days=184)).values()) == {VOID}
    assert set(states(passed(rig()), rig(), NOW - datetime.timedelta(days=2)).values()) == {VOID}


def test_what_a_rig_lacks_is_named_and_only_a_missing_guard_keeps_it_from_passing() -> None:
    no_bowl = rig(**{"probe.bowl.kind": "none"})
    stands = record.standings(passed(no_bowl, without=("bowl_probe",)), no_bowl, NOW)
    assert [(each.name, each.why) for each in stands if each.state == CANNOT] == [
        ("bowl_probe", "no chocolate probe is fitted")]
    assert not record.missing(stands)
    no_guard = rig(guard=False)
    stands = record.standings(passed(no_guard), no_guard, NOW)
    assert {each.name for each in record.missing(stands)} == {"gate", "guard_link"}
    assert all(each.why == "no guard relay is fitted" for each in record.missing(stands))


def test_broken_off_what_passed_stays_passed_and_the_rest_is_open(tmp_path: Path) -> None:
    path = tmp_path / "drill.json"
    record.write_record(path, passed(rig(), without=("hot_water", "button")))
    found = states(record.read_record(path), rig())
    assert {name for name, state in found.items() if state == OPEN} == {"hot_water", "button"}


def test_a_failed_item_is_open_and_says_why() -> None:
    kept = passed(rig())
    bad = Result(False, NOW, record.logic_hash(rig()), 9.0, 2.0, "it took 9.0 s")
    stands = record.standings(Record("Oma", False, {**kept.items, "pause": bad}), rig(), NOW)
    assert [(each.name, each.why) for each in record.missing(stands)] == [("pause", "failed: it took 9.0 s")]


@pytest.mark.parametrize("content", [
    b"", b"[]", b"\xff\xfe", b'{"warmer":"Oma"}',
    b'{"warmer":"Oma","simulated":false,"items":{"pausse":{"passed":true,"at":"2026-11-25T12:00:00Z","belongs":"0"}}}',
    b'{"warmer":"Oma","simulated":false,"items":{"pause":{"passed":true,"at":"2026-11-25T12:00:00","belongs":"0"}}}',
])  # fmt: skip
def test_a_file_that_is_no_record_is_refused_in_words(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "drill.json"
    path.write_bytes(content)
    with pytest.raises(FileError):
        record.read_record(path)


# -- nights ------------------------------------------------------------------------------------------------------------


def test_a_night_is_refused_until_the_drill_is_passed_or_overridden_by_name(tmp_path: Path) -> None:
    path = tmp_path / "drill.json"
    assert overnight_permit.mark_of(rig(), False, False, NOW, path) == overnight_permit.UNPROVED
    with pytest.raises(RefusedError, match="undrilled"):
        overnight_permit.refuse_night(overnight_permit.UNPROVED, "melted")
    overnight_permit.refuse_night(overnight_permit.UNPROVED, "work")
    assert overnight_permit.mark_of(rig(), False, True, NOW, path) == overnight_permit.OVERRIDDEN
    overnight_permit.refuse_night(overnight_permit.OVERRIDDEN, "melted")
    record.write_record(path, passed(rig()))
    assert overnight_permit.mark_of(rig(), False, False, NOW, path) == overnight_permit.PASSED
    assert overnight_permit.mark_of(rig(heater_w=60.0), False, False, NOW, path) == overnight_permit.UNPROVED


def test_a_simulated_warmer_needs_no_drill_and_its_record_counts_for_no_real_one(tmp_path: Path) -> None:
    path = tmp_path / "drill.json"
    assert overnight_permit.mark_of(rig(), True, False, NOW, path) == SIMULATED
    record.write_record(path, Record("Oma", True, passed(rig()).items))
    assert overnight_permit.mark_of(rig(), False, False, NOW, path) == overnight_permit.UNPROVED


def test_a_long_attended_hold_warns() -> None:
    assert overnight_permit.doubts(overnight_permit.UNPROVED, "work", None)
    assert overnight_permit.doubts(overnight_permit.UNPROVED, "work", 5 * 3600.0)
    assert overnight_permit.doubts(overnight_permit.OVERRIDDEN, "melted", 60.0)
    assert not overnight_permit.doubts(overnight_permit.UNPROVED, "work", 3600.0)
    assert not overnight_permit.doubts(overnight_permit.PASSED, "melted", None)
    assert not overnight_permit.doubts(SIMULATED, "melted", None)


def board(drill: str) -> Warmer:
    """A board's warmer that has read its probes once."""
    warmer = Warmer(rig(drill=drill), faults.NONE)
    warmer.step(1000, 1000, 20.0, 0, 20.0, 0.0)
    return warmer


def test_the_board_refuses_a_night_by_whatever_way_it_is_asked() -> None:
    """`Warmer.start` and `Warmer.act` are what buttons and messages both come to."""
    dark, stock = load_profile("dark").document(), load_profile("melted").document()
    assert "bain drill" in board("open").start(stock, "melted", 0, 20.0, 2000)
    for drill in ("passed", "overridden", SIMULATED):
        assert board(drill).start(stock, "melted", 0, 20.0, 2000) is None
    for drill, refused in (("open", True), ("passed", False)):
        warmer = board(drill)
        assert warmer.start(dark, "work", 0, 20.0, 2000) is None
        assert bool(warmer.act("melted", 3000)) is refused
        warmer = board(drill)
        assert warmer.start(dark, "rest", 0, 20.0, 2000) is None
        assert bool(warmer.act("thicker", 3000)) is refused  # no to spreading it: it would stay melted
        assert (warmer.programme.stage == "rest") is refused


@pytest.mark.parametrize(("answers", "proved"), [(["perhaps", "Y"], True), (["n"], False)])
def test_a_person_looks_and_says_so(answers: list[str], proved: bool) -> None:
    told: list[str] = []
    session: Any = None  # what is only looked at asks nothing of the board
    hands = Person(session, told.append, lambda question: answers.pop(0) if "(y/n)" in question else "")
    result = Drill(session, hands, rig(), told.append, lambda: NOW).prove(BY_NAME["fuse"])
    assert (result.passed, result.at, result.belongs) == (proved, NOW, record.wiring_hash(rig()))
    assert BY_NAME["fuse"].do in "".join(told)


def test_nobody_there_to_answer_is_said_in_words() -> None:
    def gone(question: str) -> str:
        raise EOFError

    session: Any = None
    with pytest.raises(UseError, match="terminal"):
        Person(session, print, gone).seen("Was it so?")


# -- the whole of it ---------------------------------------------------------------------------------------------------


def test_the_virtual_pot_does_the_whole_drill_itself_and_a_second_run_has_nothing_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["drill", "--virtual", "pot", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    by_state: dict[str, set[str]] = {}
    for each in told["items"]:
        by_state.setdefault(each["state"], set()).add(each["name"])
        assert each["took_s"] is None or each["took_s"] <= each["limit_s"]
    assert by_state == {CANNOT: {"fuse", "cutout", "gate"}, PROVED: set(BY_NAME) - {"fuse", "cutout", "gate"}}
    assert told["virtual"]
    assert main(["drill", "--virtual", "pot", "--show"]) == 0
    shown = capsys.readouterr().out
    assert "VIRTUAL" in shown
    assert "Passed" in shown
    kept = Path("pot-drill-virtual.json")
    doc = json.loads(kept.read_text())
    del doc["items"]["button"]
    kept.write_text(json.dumps(doc))
    assert main(["drill", "--virtual", "pot", "--show", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["missing"] == ["button"]


@pytest.mark.parametrize("words", [
    ["--virtual", "pot", "--port", "/dev/null"], ["--virtual", "pot", "--show", "--again"], ["--virtual", "no-rig"],
])  # fmt: skip
def test_options_that_cannot_be_are_refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["drill", *words]) == 2
    assert "bain:" in capsys.readouterr().err
