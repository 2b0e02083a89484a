"""The search itself: lines, genes, determinism, and that what it reports is what happened."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from .search import __main__ as command
from .search import bounds, genes, hunt, play, probes, report, rig
from .search.wrongs import WRONGS

TOP = Path(__file__).parents[2]


def test_a_line_is_its_case_and_comes_back() -> None:
    """Written and read back, for each name that can be played."""
    for name in hunt.names()[::17]:
        line = genes.Line(3, (4, 9), name.plant, name.fault, name.witness, name.gains)
        assert genes.parse(str(line)) == line
        assert genes.genes_of(line) == genes.genes_of(line)
        assert genes.genes_of(line) != genes.genes_of(genes.Line(4, (4, 9), *str(line).partition(":")[2].split("/")))


@pytest.mark.parametrize("text", [
    "", "pan", "1:pan/none/bowl", "x:pan/none/bowl/safe", "-1:pan/none/bowl/safe", "1.:pan/none/bowl/safe",
    "1:pot/none/bowl/safe", "1:pan/broken/bowl/safe", "1:pan/none/both/safe", "1:pan/none/bowl/good",
    "99999999999:pan/none/bowl/safe", "1e3:pan/none/bowl/safe", "1:pan/none/bowl/safe/more",
])
def test_what_is_no_line_is_refused_in_words(text: str) -> None:
    """Got, wanted; the command exits with 2 and no traceback."""
    with pytest.raises(ValueError, match="not a case: got"):
        genes.parse(text)
    assert command.main(["replay", "--", text]) == 2


def test_a_case_replays_to_the_same_result() -> None:
    """The same seed and firmware: every figure the same to the last bit."""
    line = genes.parse("5.1.2:layers/water_slips/bowl/learnt")
    assert play.play(line) == play.play(line)


@pytest.mark.skipif(shutil.which("pypy3") is None, reason="PyPy is not installed here (Debian: pypy3)")
def test_pypy_plays_the_same_case() -> None:
    """Debian's pypy3: the same figures, to the two places that `replay` prints."""
    words = ["-m", "tests.faults.search", "replay", "2:quilt/water_dithering/neither/safe"]
    printed = [subprocess.run([python, *words], cwd=TOP, capture_output=True, text=True, check=False).stdout
            for python in ("pypy3", sys.executable)]
    assert printed[0] == printed[1]
    assert "worst_c:" in printed[0]


def test_the_firmware_really_heats_the_plant() -> None:
    """A sound evening comes into its window, and the heat that flowed is about what the bath lost and stored."""
    line = genes.parse("3:zones/none/bowl/learnt")
    case = play.Play(line)
    plant = case.rig.plant
    before_j = plant.stored_j()
    result = case.run()
    given_j = 3600.0 * result.heat_wh
    gained_j = plant.stored_j() - before_j + plant.lost_j - plant.brought_j
    assert result.judged_s > 600
    assert given_j == pytest.approx(gained_j, rel=0.02)


@pytest.mark.parametrize("name", [name for name, wrong in WRONGS.items() if wrong.begin is not WRONGS["none"].begin])
def test_every_fault_changes_what_happens(name: str) -> None:
    """A fault that changes nothing would always be survived."""
    wrong = WRONGS[name]
    witness = wrong.part if wrong.part in ("bowl", "second") else "bowl"
    marks = []
    for fault in ("heater_open", name) if name != "heater_open" else ("stove", name):
        line = genes.parse(f"2:zones/{fault}/{witness}/safe")
        found = genes.Genes(30.0, 30.0, 20.0, 0.0, "work", 900.0, 0.6, 2400.0)
        result = play.Play(line, found).run()
        marks.append((round(result.worst_c, 3), round(result.heat_wh, 3), tuple(result.warns)))
    assert marks[0] != marks[1]


def test_probe_faults_do_what_their_names_say() -> None:
    """Each function against its definition, over a minute of readings that rise by 0.1 °C a second."""
    true_c = [30.0 + 0.1 * t for t in range(60)]

    def read(fault: object) -> list[float | None]:
        return [fault(c, float(t)) for t, c in enumerate(true_c)]  # type: ignore[operator]

    assert read(probes.stuck()) == [30.0] * 60
    assert read(probes.drifting(-3.0))[20] == pytest.approx(32.0 - 1.0)
    assert read(probes.wandering(-3.0, 0.5))[40] == pytest.approx(34.0 - 0.5)
    assert read(probes.late(10.0))[30] == pytest.approx(32.0)
    assert read(probes.intermittent(3))[:6] == [30.0, pytest.approx(30.1), None, pytest.approx(30.3),
                                                pytest.approx(30.4), None]
    assert read(probes.halved(0.5))[20] == pytest.approx(31.0)
    assert read(probes.jumped(-2.0))[10] == pytest.approx(29.0)


def test_learnt_losses_are_the_plants_own() -> None:
    """What `learnt` declares is what holding the plant at 33 °C takes, within a third (a bowl's share is estimated)."""
    for name in ("zones", "quilt", "pan"):
        the_rig, settings = rig.build(name, 6, 33.0, 32.0, 20.0, "bowl", "learnt")
        plant = the_rig.plant
        plant.gusts = 0.0
        plant.bowl.shells_c = [32.0] * len(plant.bowl.shells_c)
        lost_before_j, water_before_l = plant.lost_j, plant.water_l
        for _ in range(60):
            plant.step(1.0, 0.0)
        left_j = (water_before_l - plant.water_l) * 4180.0 * plant.probe_c
        lost_w = (plant.lost_j - lost_before_j - left_j) / 60.0
        assert lost_w / 13.0 == pytest.approx(settings["gains.loss_w_per_k"], rel=0.33)


def test_a_run_continues_where_it_was_and_a_broken_file_is_named(tmp_path: Path) -> None:
    """Rows are stored one by one; a last line cut short is left out; rubbish is named with its line."""
    path = tmp_path / "search.jsonl"
    words = ["run", "--only", "plate/water_open/neither/safe", "--rounds", "1", "--out", str(path), "--quiet"]
    assert command.main(words) == 0
    rows = path.read_text().splitlines()
    assert len(rows) == hunt.FRESH + hunt.CLIMBS
    path.write_text("\n".join([*rows[:3], rows[3][:40]]))
    assert len(hunt.load(path, None)) == 3
    assert command.main(words) == 0
    path.write_text("rubbish\n")
    with pytest.raises(ValueError, match="line 1"):
        hunt.load(path, None)
    assert command.main(["report", str(path)]) == 2


def test_a_climb_never_loses_what_it_found() -> None:
    """Each variation is of the worst case so far of its name."""
    found = list(hunt.search(2, hunt.names("pan/water_late/neither/safe"), {}, lambda: False))
    worst = -999.0
    for row in found:
        line = genes.parse(row["line"])
        if line.varied:
            base = next(other for other in found if other["line"] == str(
                genes.Line(line.seed, line.varied[:-1], line.plant, line.fault, line.witness, line.gains)))
            assert base["score_k"] >= worst - 1e-9
        worst = max(worst, row["score_k"])


def test_a_plant_that_raises_is_named_and_the_search_continues(monkeypatch: pytest.MonkeyPatch) -> None:
    """A row says what was raised; the report counts it."""
    def broken(self: object) -> float:
        raise ArithmeticError("the plant is out of order")

    monkeypatch.setattr("tests.faults.search.bodies.DryPlate.body_j_per_k", broken, raising=True)
    monkeypatch.setattr(hunt.play.__globals__["rig"].PLANTS["plate"], "body_j_per_k", broken)
    row = hunt.played(genes.parse("1:plate/none/bowl/safe"))
    assert row["raised"] == "ArithmeticError: the plant is out of order"
    assert "out of order" in report.page([{**row, "firmware": "f"}])


def test_bounds_are_written_read_and_cover_both_tables() -> None:
    """Each figure that heat depends on, at both ends, alone and with each other one."""
    each = bounds.bounds()
    names = {name for name, _ in each}
    assert {"heater_w", "water_l", "gains.water.ti_s", "room_c", "hard_limit_c", "profile.ceiling_c"} <= names
    lines = list(bounds.lines())
    assert len(lines) == len(set(lines)) > 2000
    for line in lines[::211]:
        assert bounds.written(list(bounds.read(line).items())) == line
    for text in ("set:", "set:room_c", "set:room_c=x", "set:room_c=1,,"):
        assert command.main(["replay", text]) == 2


def test_a_bound_that_is_refused_says_so_and_one_that_is_taken_is_played() -> None:
    """The stated refusals of the tables, and the shipped settings themselves."""
    refused = bounds.played("set:heater_w=1e9")
    assert "heater_w" in refused["refused"]
    taken = bounds.played("set:room_c=20.0")
    assert taken["seconds"] > 1500
    assert json.dumps(taken)


@pytest.mark.parametrize("line", ["13:base/none/neither/safe", "84:quilt/none/second/safe", "60:plate/none/bowl/safe"])
def test_a_sound_warmer_is_not_accused(line: str) -> None:
    """A bath that cools ever slower beside its bowl, and a warm bowl on a cold plate: neither is a part that failed."""
    assert play.play(genes.parse(line)).trips == []
