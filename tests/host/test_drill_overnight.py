"""Overnight holds are refused until the drill is passed, by the PC and by the board."""

from __future__ import annotations

import contextlib
import datetime
from pathlib import Path

import msgspec
import pytest
from drill_tools import NOW, passed, rig
from fake_board import FakeBoard, FakeSession

from bainboard import faults
from bainboard.warmer import Warmer
from bainwright import cli
from bainwright.core.errors import RefusedError, UseError
from bainwright.drill import overnight_permit, record, walk
from bainwright.drill.items import ITEMS, WIRING
from bainwright.drill.record import Record
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import OPEN, PASSED, SIMULATED
from bainwright.files.rig import load_rig
from bainwright.rigs.rigfile import rig_text


def test_overnight_is_refused_until_the_drill_is_passed_or_overridden(tmp_path: Path) -> None:
    path = tmp_path / "drill.json"
    assert overnight_permit.cutoff_status(rig(), False, False, NOW, path) == OPEN
    with pytest.raises(RefusedError, match="undrilled"):
        overnight_permit.refuse_overnight(OPEN, "melted", rig())
    overnight_permit.refuse_overnight(OPEN, "work", rig())
    assert overnight_permit.cutoff_status(rig(), False, True, NOW, path) == overnight_permit.OVERRIDDEN
    overnight_permit.refuse_overnight(overnight_permit.OVERRIDDEN, "melted", rig())
    record.write_record(path, passed(rig()))
    assert overnight_permit.cutoff_status(rig(), False, False, NOW, path) == PASSED
    assert overnight_permit.cutoff_status(rig(), False, False, NOW, path, board="b" * 16) == OPEN
    assert overnight_permit.cutoff_status(rig(heater_w=60.0), False, False, NOW, path) == OPEN


def test_a_drill_is_of_the_board_it_was_done_on_and_of_no_other_of_that_name() -> None:
    """Two warmers built alike have one name and the same settings; results of before have no board."""
    mine, other = "a" * 16, "b" * 16
    for before, count in ((mine, len(passed(rig()).items)), ("", 0)):
        stored = msgspec.structs.replace(passed(rig()), board=before)
        report = walk.DrillReport(stored, Path("pot-drill.json"), record.statuses(stored, rig(), NOW), "water")
        of_mine = walk._of_board(report, {"board": mine, "version": ""}, rig())
        assert (of_mine.record.board, len(of_mine.record.items)) == (mine, count)
    stored = msgspec.structs.replace(stored, board=other)
    with pytest.raises(UseError, match="another board of that name"):
        walk._of_board(walk.DrillReport(stored, Path("x.json"), [], "water"), {"board": mine, "version": ""}, rig())


def test_a_result_on_logic_is_of_the_firmware_that_was_on_the_board(tmp_path: Path) -> None:
    """An older firmware, or a newer one that came since, kept the permit for nights; wiring is of no firmware."""
    path, mine = tmp_path / "drill.json", {"board": "", "version": "0.1.0+aaaa1111"}
    report = walk._of_board(walk.DrillReport(Record("Oma", False), path, [], "water"), mine, rig())
    for item in ITEMS:
        report = report.with_result(item, passed(rig()).items[item.name], rig())
    assert report.passed
    record.write_record(path, report.record)
    for version, status in (("0.1.0+aaaa1111", PASSED), ("0.1.0+bbbb2222", OPEN),
                            ("0.0.3", OPEN)):
        assert overnight_permit.cutoff_status(rig(), False, False, NOW, path, firmware=version) == status
    other = record.statuses(report.record, rig(), NOW, "0.1.0+bbbb2222")
    assert {each.name for each in record.unfinished(other)} == {
        item.name for item in ITEMS if item.depends_on != WIRING and not record.lacking(item, rig())}


def test_a_simulated_warmer_needs_no_drill_and_its_record_counts_for_no_real_one(tmp_path: Path) -> None:
    path = tmp_path / "drill.json"
    assert overnight_permit.cutoff_status(rig(), True, False, NOW, path) == SIMULATED
    record.write_record(path, Record("Oma", True, passed(rig()).items))
    assert overnight_permit.cutoff_status(rig(), False, False, NOW, path) == OPEN


@pytest.mark.parametrize("status", [PASSED, overnight_permit.OVERRIDDEN, SIMULATED])
def test_without_a_guard_relay_nothing_permits_overnight_and_every_start_says_so(status: str) -> None:
    no_guard = rig(guard=False)
    with pytest.raises(RefusedError, match="no guard relay"):
        overnight_permit.refuse_overnight(status, "melted", no_guard)
    overnight_permit.refuse_overnight(status, "work", no_guard)
    assert any("no guard relay" in each for each in overnight_permit.warnings(status, "work", 60.0, no_guard))
    assert not any("guard" in each for each in overnight_permit.warnings(status, "work", 60.0, rig()))


def test_overnight_needs_something_that_can_contradict_the_water_probe() -> None:
    alone = {"probe.bowl.kind": "none"}
    with pytest.raises(RefusedError, match="contradict its water probe"):
        overnight_permit.refuse_overnight(PASSED, "melted", rig(**alone))
    overnight_permit.refuse_overnight(PASSED, "melted", rig(**alone, **{"gains.loss_w_per_k": 2.0}))
    second = {**rig(**alone), "probe.water2.kind": "onewire"}
    overnight_permit.refuse_overnight(PASSED, "melted", second)


def test_a_long_attended_hold_warns() -> None:
    assert overnight_permit.warnings(OPEN, "work", None, rig())
    assert overnight_permit.warnings(OPEN, "work", 5 * 3600.0, rig())
    assert overnight_permit.warnings(overnight_permit.OVERRIDDEN, "melted", 60.0, rig())
    assert not overnight_permit.warnings(OPEN, "work", 3600.0, rig())
    assert not overnight_permit.warnings(PASSED, "melted", None, rig())
    assert not overnight_permit.warnings(SIMULATED, "melted", None, rig())


def board(drill: str) -> Warmer:
    """A board's warmer that has read its probes once."""
    warmer = Warmer(rig(drill=drill), faults.NONE)
    warmer.step(1000, 1000, 20.0, 0, 20.0, 0.0)
    return warmer


def test_the_board_refuses_overnight_from_buttons_and_messages_alike() -> None:
    """Both end in `Warmer.start` and `Warmer.act`."""
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


def test_a_record_is_shown_as_it_counts_for_the_board_on_the_port(tmp_path, monkeypatch, capsys) -> None:
    """With a rig file the port was ignored, and a drill that a hold refuses was shown as passed."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(walk, "check_ids", lambda rig: None)
    (tmp_path / "mine.toml").write_text(rig_text(values := {**load_rig("pot").settings, "name": "Oma"}, values))
    there = FakeBoard(name="Oma", version="0.1.0+bbbb2222")
    items = {name: msgspec.structs.replace(each, firmware="0.1.0+aaaa1111", at=datetime.datetime.now(datetime.UTC))
             for name, each in passed(load_rig("mine.toml").settings).items.items()}  # fmt: skip
    record.write_record(Path("Oma-drill.json"), Record("Oma", False, items, str(there.hello["board"])))
    monkeypatch.setattr(walk, "open_board", lambda *_: contextlib.nullcontext(FakeSession(there)))
    cli.main(["drill", "--show", "--rig", "mine.toml"])
    assert "with --port its firmware counts too" in capsys.readouterr().out
    assert cli.main(["drill", "--show", "--rig", "mine.toml", "--port", "here"]) == 1
    assert record.OTHER_FIRMWARE in capsys.readouterr().out
