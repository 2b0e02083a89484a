"""The gains file: what is written is read back; what is not right is refused; one step back."""

from __future__ import annotations

import os
from itertools import count
from pathlib import Path

import msgspec
import pytest

from bainwright.core.errors import FileError, UseError
from bainwright.files.rig import load_rig
from bainwright.tuning import gains, tune
from bainwright.tuning.gains import Made, MarginTable, Notes, read_gains, write_gains
from bainwright.tuning.tune import TuneAsked

VALUES = {"gains.water.kp": 1.25, "gains.water.ti_s": 640.0, "gains.bowl.kp": 2.0, "gains.loss_w_per_k": 1.75}
MADE = Made("pot", "2026-01-31", "0123456789ab", 150.0, 2.0, 0.6, 2.2, 30.0, source='a "quoted" \\ path')
NOTES = Notes(MADE, MarginTable(1.5, 1.4, 1.3, 1.0, 1.9, 0.05), {"water_j_per_k": 9300.0},
              {"water_j_per_k": [9200.0, 9400.0]}, ["dead_s"])


def test_what_is_written_is_read_back(tmp_path: Path):
    path = tmp_path / "pot-gains.toml"
    write_gains(path, VALUES, NOTES)
    got = read_gains(path)
    assert got.values == VALUES
    assert got.notes == NOTES


@pytest.mark.parametrize("source", ["a\nb\"c", "\udcff\udcfe", "\x7f\x1b[31m", "Käse 🍫"])
def test_a_source_of_any_letters_leaves_a_file_that_can_be_read(source: str, tmp_path: Path):
    path = tmp_path / "gains.toml"
    write_gains(path, VALUES, msgspec.structs.replace(NOTES, made=msgspec.structs.replace(MADE, source=source)))
    made = read_gains(path).notes.made
    assert made is not None
    assert made.source.isprintable() or made.source == source


def test_a_step_back_touches_no_other_file(tmp_path: Path):
    (tmp_path / "g.toml").write_text("[water]\nkp = 0.5\n")
    (tmp_path / "g.toml.new").write_text("g.toml.new")
    write_gains(tmp_path / "g.toml", VALUES, NOTES)
    gains.undo(tmp_path / "g.toml")
    assert (tmp_path / "g.toml").read_text() == "[water]\nkp = 0.5\n"
    assert (tmp_path / "g.toml.new").read_text() == "g.toml.new"
    with pytest.raises(UseError, match="no previous gains"):
        gains.undo(Path("/"))


def test_a_person_s_own_short_file_is_still_taken(tmp_path: Path):
    path = tmp_path / "mine.toml"
    path.write_text("[gains.water]\nkp = 0.5\n[bowl]\nti_s = 900\n")
    assert read_gains(path).values == {"gains.water.kp": 0.5, "gains.bowl.ti_s": 900.0}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[water]\nkp = -1.0\n", "wanted 0 to 20"),
        ("[water]\nkq = 1.0\n", "did you mean water.kp"),
        ("[made]\nrig = 'pot'\n[water]\nkp = 1.0\n", "is missing"),
        ("[model]\nwater_j_per_kg = 1.0\n[water]\nkp = 1.0\n", "did you mean water_j_per_k"),
        ("[margins]\nheater_ms = nan\n[water]\nkp = 1.0\n", "finite"),
        ("not_identified = ['dead_s']\n", "empty"),
        ("kp = [1]\n", "no gain"),
        ("water = ", "not TOML"),
    ],
)
def test_what_is_not_right_is_refused_in_words(text: str, said: str, tmp_path: Path):
    path = tmp_path / "bad.toml"
    path.write_text(text)
    with pytest.raises(FileError, match="gains") as error:
        read_gains(path)
    assert said in str(error.value)


def test_one_step_back_and_forward_again(tmp_path: Path):
    path = tmp_path / "g.toml"
    write_gains(path, VALUES, NOTES)
    with pytest.raises(UseError, match="no previous gains"):
        gains.undo(path)
    write_gains(path, {**VALUES, "gains.water.kp": 1.5}, NOTES)
    assert read_gains(path).values["gains.water.kp"] == 1.5
    gains.undo(path)
    assert read_gains(path).values["gains.water.kp"] == 1.25
    gains.undo(path)
    assert read_gains(path).values["gains.water.kp"] == 1.5


@pytest.mark.parametrize(("at", "seen_then"), [(1, [1.5, 1.25, 1.5]), (2, [1.5, 1.25, 1.5]), (3, [1.25, 1.25, 1.5])])
def test_a_step_back_that_is_killed_is_finished_by_the_next(at, seen_then, tmp_path: Path, monkeypatch):
    """Killed before each of its three changes of a file."""
    path = tmp_path / "g.toml"
    write_gains(path, {**VALUES, "gains.water.kp": 1.25}, NOTES)
    write_gains(path, {**VALUES, "gains.water.kp": 1.5}, NOTES)
    changes = count(1)

    def dying(change):
        def change_or_die(*given):
            if next(changes) == at:
                raise KeyboardInterrupt  # no part of `undo` catches it
            return change(*given)
        return change_or_die

    with monkeypatch.context() as patch:
        patch.setattr(gains, "replace_file", dying(gains.replace_file))
        patch.setattr(Path, "replace", dying(Path.replace))
        with pytest.raises(KeyboardInterrupt):
            gains.undo(path)
    seen = [read_gains(path).values["gains.water.kp"]]
    gains.undo(path)
    seen.append(read_gains(path).values["gains.water.kp"])
    assert sorted(each.name for each in tmp_path.iterdir()) == ["g.toml", "g.toml.before"]
    gains.undo(path)
    seen.append(read_gains(path).values["gains.water.kp"])
    assert seen == seen_then


@pytest.mark.parametrize("there", ["folder", "pipe", "link", "text"])
@pytest.mark.parametrize("name", ["g.toml", "g.toml.before"])
def test_a_step_back_to_what_is_no_gains_file_changes_nothing(name: str, there: str, tmp_path: Path):
    path = tmp_path / "g.toml"
    write_gains(path, VALUES, NOTES)
    write_gains(path, VALUES, NOTES)
    put(tmp_path / name, there)
    before = {each.name: each.is_file() and not each.is_symlink() and each.read_bytes() for each in tmp_path.iterdir()}
    with pytest.raises((FileError, UseError)):
        gains.undo(path)
    assert before == {each.name: each.is_file() and not each.is_symlink() and each.read_bytes()
                      for each in tmp_path.iterdir()}  # fmt: skip


@pytest.mark.parametrize("there", ["folder", "pipe", "device"])
@pytest.mark.parametrize("name", ["g.toml", "g.toml.before", "g.html"])
def test_what_cannot_be_written_at_the_end_is_refused_before_the_hour_is_spent(name: str, there: str, tmp_path: Path):
    put(tmp_path / name, there)
    with pytest.raises(FileError, match="something other than a plain file"):
        tune.tune(TuneAsked(out=str(tmp_path / "g.toml"), from_log="never-read"), pytest.fail, as_json=False, say=print)


@pytest.mark.parametrize("there", ["folder", "pipe", "device"])
def test_what_came_there_meanwhile_is_not_waited_for(there: str, tmp_path: Path):
    put(tmp_path / "g.toml", there)
    with pytest.raises(FileError, match=r"plain file|directory"):
        write_gains(tmp_path / "g.toml", VALUES, NOTES)


def put(path: Path, there: str) -> None:
    path.unlink(missing_ok=True)
    if there == "folder":
        path.mkdir()
    elif there == "pipe":
        os.mkfifo(path)
    elif there == "text":
        path.write_text("dear diary")
    else:
        path.symlink_to("/dev/zero" if there == "device" else "/etc/hostname")


def test_gains_of_another_pot_are_doubted_and_of_the_same_are_not():
    rig = load_rig("pot").settings
    assert gains.mismatches(NOTES, rig) == []
    other = msgspec.structs.replace(NOTES, made=msgspec.structs.replace(MADE, water_l=3.0))
    (said,) = gains.mismatches(other, rig)
    assert "water_l was 3 and is 2" in said
    assert "another pot?" in said
    assert gains.mismatches(Notes(), rig) == []


def test_the_firmware_s_hash_is_of_its_sources():
    """Twelve hex digits, the same twice."""
    assert gains.firmware_hash() == gains.firmware_hash()
    assert len(gains.firmware_hash()) == 12
    int(gains.firmware_hash(), 16)


def test_a_file_that_cannot_be_written_says_so(tmp_path: Path):
    (tmp_path / "folder").write_text("in the way")
    with pytest.raises(FileError, match="cannot be written"):
        write_gains(tmp_path / "folder" / "g.toml", VALUES, NOTES)
