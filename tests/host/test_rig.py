"""Rig files: the three that come along, vessels, and refusals in words."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from bainboard import settings as board
from bainwright.core.errors import FileError
from bainwright.files.rig import BUNDLED, load_rig

LEAST = """
name = "mine"
heater_w = 100.0
switch = "dc"
period_s = 1.0
water_l = 1.5
bowl_kg = 0.5
chocolate_kg = 1.5
hard_limit_c = 60.0

[probe.water]
kind = "onewire"
"""


@pytest.fixture
def rig_file(tmp_path: Path):
    def write(text: str) -> Path:
        path = tmp_path / "mine.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def refusal(path: Path) -> str:
    with pytest.raises(FileError) as refused:
        load_rig(path)
    assert refused.value.exit_code == 2
    return str(refused.value)


def test_three_rigs_come_along_as_the_design_says_and_a_twin_of_each_build():
    """60 W mat of 1.5 L insulated, 150 W pot of 2 L, 400 W plate: the design's figures."""
    assert sorted(path.stem for path in BUNDLED.glob("*.toml")) == ["mat", "mat24", "plate", "plate24", "pot", "pot24"]
    mat, pot, plate = (load_rig(name) for name in ("mat", "pot", "plate"))
    assert (mat.settings["heater_w"], mat.settings["water_l"], mat.settings["switch"]) == (60.0, 1.5, "dc")
    assert mat.plant.insulation_mm > 0
    assert (pot.settings["heater_w"], pot.settings["water_l"]) == (150.0, 2.0)
    assert plate.settings["heater_w"] == 400.0
    assert plate.plant.bath == "plate"
    assert plate.settings["heater_lag_s"] > pot.settings["heater_lag_s"]


@pytest.mark.parametrize("name", ["mat", "pot", "plate"])
def test_bundled_rigs_are_whole_for_the_board(name):
    """Oracle: the board's own check of the settings document; both probes are fitted."""
    rig = load_rig(name)
    values, why = board.check(board.SETTINGS, dict(rig.settings))
    assert why is None
    assert values == rig.settings
    assert rig.has_bowl_probe
    assert rig.name == name == rig.source


def test_eight_figures_and_a_probe_are_enough(rig_file):
    """Everything else takes the table's default."""
    rig = load_rig(rig_file(LEAST))
    assert rig.settings["heater_lag_s"] == 30.0
    assert not rig.has_bowl_probe
    assert rig.written["heater_w"] == 100.0
    assert "heater_lag_s" not in rig.written


@pytest.mark.parametrize(
    "line",
    ['name = "mine"', "heater_w = 100.0", 'switch = "dc"', "period_s = 1.0", "water_l = 1.5", "bowl_kg = 0.5",
     "chocolate_kg = 1.5", "hard_limit_c = 60.0", 'kind = "onewire"'],
)
def test_each_required_figure_is_asked_for(rig_file, line):
    """None of the nine has a silent default."""
    name = "probe.water.kind" if line.startswith("kind") else line.split(" =")[0]
    assert f"leaves out {name}" in refusal(rig_file(LEAST.replace(line, "")))


def test_vessels_change_only_what_they_name(rig_file):
    """A small bowl on the same warmer."""
    rig = load_rig(rig_file(LEAST + "[vessel.small]\nchocolate_kg = 0.6\nbowl_kg = 0.3\n"))
    small = rig.with_vessel("small")
    assert (small.settings["chocolate_kg"], small.settings["bowl_kg"], small.settings["water_l"]) == (0.6, 0.3, 1.5)
    assert rig.settings["chocolate_kg"] == 1.5
    with pytest.raises(FileError, match="did you mean small"):
        rig.with_vessel("smal")


def test_vessel_that_cannot_be_is_refused_when_the_rig_is_read(rig_file):
    """Not on the evening it is asked for."""
    assert "[vessel.big]: water_l" in refusal(rig_file(LEAST + "[vessel.big]\nwater_l = 99.0\n"))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("hard_limit_c = 60.0", "hard_limit_c = 120.0", "looks like °F; 120 °F is 48.9 °C"),
        ("heater_w = 100.0", "room_c = 68.0\nheater_w = 100.0", "looks like °F; 68 °F is 20.0 °C"),
        ("heater_w = 100.0", "heater_w = 100000.0", "heater_w: got 100000.0, wanted 5 to 2000 W"),
        ("heater_w = 100.0", 'heater_w = "100 W"', "heater_w: got '100 W', wanted a number"),
        ("heater_w = 100.0", "heater_w = nan", "heater_w: got nan"),
        ("heater_w = 100.0", "heater_w = 100.0\nheaterlag_s = 3", "did you mean heater_lag_s?"),
        ('switch = "dc"', 'switch = "relay"', "wanted one of zero_cross, dc"),
        ('kind = "onewire"', 'kind = "thermocouple"', "probe.water.kind"),
        ('kind = "onewire"', 'kind = "onewire"\n[plant]\ninsulaton_mm = 3', "did you mean insulation_mm?"),
        ('kind = "onewire"', 'kind = "onewire"\n[plant]\nimmersion = 1.5', "wanted a number of at most 1.0"),
        ('kind = "onewire"', 'kind = "onewire"\n[plant]\nimmersion = nan', "wanted a finite number"),
        ('kind = "onewire"', 'kind = "onewire"\n[plant]\nbath = "oil"', "wanted one of water, plate"),
        ('kind = "onewire"', 'kind = "onewire"\n[vessel.big]\nwater_kg = 3', "did you mean water_l?"),
    ],
)
def test_wrong_figures_are_refused_in_words(rig_file, old, new, words):
    """What, got, wanted, next."""
    assert words in refusal(rig_file(LEAST.replace(old, new)))


def test_everything_that_is_wrong_is_said_at_once(rig_file):
    """One line for each, settings, pins, vessels and plant alike: nobody corrects a file one message at a time."""
    text = LEAST.replace("heater_w = 100.0", "heater_w = 9e9").replace('switch = "dc"', 'swich = "dc"')
    text = 'board = "pico"\npanel = true\n' + text + """
[pins]
yes = 9
no = 9
sda = 99
[vessel.big]
water_l = 99
[plant]
bath = "milk"
"""
    first, *lines = refusal(rig_file(text)).splitlines()
    assert "7 things are wrong" in first
    names = (
        "[plant], bath", "[vessel.big]: water_l", "leaves out switch", "heater_w", "'swich'", "pins.sda", "pins.no",
    )  # fmt: skip
    assert [line.strip().startswith(name) for name, line in zip(names, lines, strict=True)] == 7 * [True]


def test_a_board_that_is_none_raises_no_doubt_about_its_pins(rig_file):
    """Only what is wrong is named."""
    why = refusal(rig_file('board = "pica"\n' + LEAST + "[pins]\nyes = 9\n"))
    assert "board: got 'pica'" in why
    assert "pins" not in why


def test_plant_and_vessel_must_be_tables(rig_file):
    """A figure where a table belongs."""
    assert "wanted a [plant] table" in refusal(rig_file("plant = 3\n" + LEAST))
    assert "wanted a [vessel] table" in refusal(rig_file("vessel = 3\n" + LEAST))


def test_unknown_rig_is_refused_with_the_nearest():
    """And with those there are."""
    known = "mat, mat24, plate, plate24, pot, pot24"
    with pytest.raises(FileError, match=rf"one of {known}, or a TOML file; did you mean pot\?"):
        load_rig("pott")


def test_path_wins_only_when_it_is_no_bundled_name():
    """`pot` is the bundled rig; its path works as well and says where it came from."""
    path = BUNDLED / "pot.toml"
    assert load_rig(path).settings == load_rig("pot").settings
    assert load_rig(path).source == str(path)


def test_settings_are_finite_everywhere():
    """No rig carries what the wire could not."""
    for name in ("mat", "plate", "pot"):
        assert all(math.isfinite(value) for value in load_rig(name).settings.values() if isinstance(value, float))


def test_a_file_that_an_editor_began_with_a_byte_order_mark_is_read(tmp_path):
    """U+FEFF, as some editors save UTF-8 (Unicode standard, 23.8)."""
    plain = (BUNDLED / "pot.toml").read_bytes()
    (tmp_path / "marked.toml").write_bytes(b"\xef\xbb\xbf" + plain)
    assert load_rig(tmp_path / "marked.toml").settings == load_rig("pot").settings
