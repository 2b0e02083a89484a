"""`bain rig`: a file checked as a whole, shown, sent to a board and read back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import msgspec
import pytest
from board_tools import until
from rig_tools import BOWL, MEASURED, WATER, rig, written

from bainboard import settings
from bainwright import cli
from bainwright.core.errors import FileError, UseError
from bainwright.files.documents import flash_of
from bainwright.files.rig import load_rig
from bainwright.rigs import questions
from bainwright.rigs.bus import OnBus
from bainwright.rigs.rigfile import changed, rig_text
from bainwright.rigs.warnings import check_ids, on_board, unusual_figures
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(("board", "kind", "pin", "words"), [
    ("pico", "ntc", "adc_water = 22", "GPIO 22 has no converter input"),
    ("pico", "onewire", "onewire = 24", "the board uses it itself"),
    ("pico2", "onewire", "onewire = 40", "there is no GPIO 40"),
    ("esp32", "onewire", "onewire = 6", "flash"),
    ("esp32", "onewire", "onewire = 12", "as it starts"),
    ("esp32", "onewire", "onewire = 1", "port to the PC"),
    ("esp32", "onewire", "onewire = 34", "only read"),
    ("pico", "onewire", "heater = 3", "stays where the board has it"),
    ("pico", "onewire", "onewire = 15", "the pin of heater"),
    ("pico", "onewire", "bell = 3", "no such pin"),
    ("pico", "onewire", 'onewire = "GP3"', "wanted a GPIO number"),
    ("any", "onewire", "onewire = 3", "wanted one of pico, pico2, esp32"),
])  # fmt: skip
def test_a_pin_that_cannot_be_is_refused_with_the_reason(board, kind, pin, words):
    path = written(f'board = "{board}"\n[probe.water]\nkind = "{kind}"\n[pins]\n{pin}\n')
    with pytest.raises(FileError) as refused:
        load_rig(path)
    assert words in str(refused.value)


def test_a_reference_resistor_below_the_element_is_refused():
    with pytest.raises(FileError, match="got 430, wanted at least 1500"):
        load_rig(written('[probe.water]\nkind = "platinum"\nr0_ohm = 1000.0\n'))


@pytest.mark.parametrize("name", ["mat", "plate", "pot"])
def test_a_written_rig_reads_as_the_same_settings(name):
    values = {**name_probes(load_rig(name)).settings, "board": "pico", "pins": "onewire=22 sck=12"}
    Path("again.toml").write_text(rig_text(values, changed(values)), encoding="utf-8")
    again = load_rig("again.toml")
    assert again.settings == values
    assert unusual_figures(again) == []


@pytest.mark.parametrize(("litres", "pot_m", "said"), [
    (2.5, 0.12, "a pot of 12 cm takes no bowl of 24 cm"), (0.3, 0.28, "0.3 L reach only"), (2.5, 0.28, ""),
])
def test_a_pot_and_a_bowl_that_do_not_go_together_are_unusual(litres, pot_m, said):
    """By hand: a ring between 28 and 24 cm has 163 cm², so 0.3 L stand 1.8 cm deep in it, and 2.5 L over the bowl."""
    pot = load_rig("pot")
    rig = replace(pot.with_settings({"water_l": litres}, "here"),
                  plant=msgspec.structs.replace(pot.plant, pot_diameter_m=pot_m))
    found = [text for text in unusual_figures(rig) if text.startswith(("plant", "water_l"))]
    assert [said in text for text in found] == ([True] if said else [])
    assert said != "0.3 L reach only" or "only 1.8 cm up" in found[0]


def test_an_ntc_is_unusual_on_an_esp32_only():
    for board, told in (("esp32", True), ("pico", False)):
        rig = load_rig(written(f'board = "{board}"\n[probe.water]\nkind = "ntc"\n'))
        assert any("probe.water.kind: an ESP32's converter" in line for line in unusual_figures(rig)) is told


def test_probes_without_ids_of_their_own_are_refused_and_any_board_is_only_unusual():
    one, two = load_rig(written('[probe.water]\nkind = "onewire"\n')), load_rig("pot")
    check_ids(one)
    with pytest.raises(FileError, match="2 1-wire probes share the bus"):
        check_ids(two)
    check_ids(name_probes(two))
    with pytest.raises(FileError, match=r"the same as probe\.water\.rom"):
        check_ids(two.with_settings({"probe.water.rom": WATER, "probe.bowl.rom": WATER.upper()}))
    assert [text.split(":")[0] for text in unusual_figures(one)] == ["board"]
    strong = one.with_settings({"board": "pico", "heater_w": 900.0, "guard": False})
    assert [text.split(":")[0] for text in unusual_figures(strong)] == ["guard", "switch"]


def test_a_probe_that_is_not_on_the_bus_is_reported():
    there = [OnBus(WATER, 20.0, 0), OnBus(BOWL, None, 3)]
    assert on_board(name_probes(load_rig("pot")).settings, there) == [
        "probe.bowl.rom: the probe's answer came garbled: look at its cable and the pull-up resistor"]
    assert "is not on the bus; no probe is there" in on_board(name_probes(load_rig("pot")).settings, [])[0]
    nameless = load_rig(written('[probe.water]\nkind = "onewire"\n')).settings
    assert on_board(nameless, there[:1]) == []
    assert "2 probes are on the bus" in on_board(nameless, there)[0]


def test_the_table_shows_what_is_given_and_what_is_default(capsys):
    path = written('board = "esp32"\n[probe.water]\nkind = "platinum"\n')
    code, out, _ = rig(capsys, "show", path)
    rows = {line.split()[0]: line for line in out.splitlines() if line and not line.startswith(" ")}
    assert max(map(len, out.splitlines())) <= 100
    assert code == 0
    assert rows["heater_w"].split()[1:3] == ["100.0", "W"]
    assert "[5 to 2000]" in out
    assert rows["probe.water.reference_ohm"].split()[1] == "(430.0)"
    assert "probe.water.r25_ohm" not in rows  # a thermistor's
    assert "  miso         GPIO 36" in out
    report = json.loads(rig(capsys, "show", path, "--json")[1])
    (watts,) = [row for row in report["settings"] if row["name"] == "heater_w"]
    assert (watts["value"], watts["unit"], watts["given"], watts["range"]) == (100.0, "W", True, "5 to 2000")
    assert report["pins"]["cs_water"] == 33


def test_check_says_what_is_wrong_and_exits_2(capsys):
    good = written('board = "pico"\n[probe.water]\nkind = "onewire"\n')
    assert rig(capsys, "check", good)[:2] == (0, "mine: its figures agree.\n")
    code, out, err = rig(capsys, "check", "pot")
    assert (code, out) == (2, "")
    assert "wanted 16 hex digits for each; bain rig new finds the ids" in err


@pytest.mark.parametrize(("name", "text", "value"), [
    ("water_l", "2 l", 2.0), ("water_l", "1,5L", 1.5), ("heater_w", "60w", 60.0), ("hard_limit_c", "60C", 60.0),
    ("hard_limit_c", "58 °C", 58.0), ("bowl_kg", "0.6 KG", 0.6),
    ("hard_limit_c", "140F", 60.0), ("hard_limit_c", "136.4 °F", 58.0),
    ("heater_w", "150 watts", 150.0), ("heater_w", "0,15kW", 150.0), ("bowl_kg", "600 g", 0.6),
    ("chocolate_kg", "2 kilos", 2.0), ("bowl_kg", "1lb 4oz", 0.566990),  # a pound 453.592 g, an ounce 28.3495 g
    ("water_l", "1500 ml", 1.5), ("heater_lag_s", "1 min", 60.0), ("bowl_offset_c", "4.5F", 2.5),
])  # fmt: skip
def test_a_unit_may_be_written_as_people_write_it(name, text, value):
    assert questions.value_of(name, text) == value
    for wrong in ("F", "2 gal", "l", ""):
        with pytest.raises(UseError, match=f"^{questions.option(name)}: got .*, wanted .*, like "):
            questions.value_of(name, wrong)


@pytest.mark.parametrize(("arguments", "words"), [
    (["--heater-w", "3000"], "wanted 5 to 2000"), (["--board", "pcio"], "wanted one of any, pico"),
    (["--guard", "maybe"], "wanted yes or no"), (["--pin", "yes"], "wanted NAME=GPIO"),
    (["--pin", "yes=15", "--panel", "yes"], "the pin of heater"), (["--water-id", "28"], "wanted 16 hex digits"),
    (["--name", 'a"b'], "plain letters"), (["--virtual", "--port", "x"], "exclude each other"),
])  # fmt: skip
def test_wrong_options_are_refused_in_words(capsys, arguments, words):
    lonely = [] if "--virtual" in arguments else ["--no-board"]
    code, _, err = rig(capsys, "new", "a.toml", *lonely, *MEASURED, *arguments)
    assert code == 2
    assert words in err
    assert list(Path().iterdir()) == []


def test_a_new_rig_on_a_virtual_board_finds_its_probes_by_the_hand(capsys):
    code, out, err = rig(capsys, "new", "a.toml", "--virtual", "pot", *MEASURED, "--json")
    assert code == 0, err
    report = json.loads(out)["settings"]
    assert (report["board"], report["probe.water.rom"], report["probe.bowl.rom"]) == ("pico", WATER, BOWL)
    assert f"that is {WATER}: the water probe" in err


@pytest.mark.parametrize(("given", "fitted"), [(["--panel", "yes", "--display", "yes"], (True, True)),
                                               (["--panel", "yes"], (True, False)), ([], (False, False))])
def test_a_display_is_asked_for_with_the_panel(capsys, given, fitted):
    assert rig(capsys, "new", "a.toml", "--no-board", "--defaults", *MEASURED, *given)[0] == 0
    values = load_rig("a.toml").settings
    assert (values["panel"], values["display"]) == fitted


def test_a_rig_goes_to_a_board_and_comes_back_and_one_for_another_board_does_not(capsys):
    assert rig(capsys, "new", "a.toml", "--no-board", *MEASURED, "--water-id", WATER, "--bowl-probe", "onewire",
               "--bowl-id", BOWL, "--panel", "yes", "--pin", "yes=9")[0] == 0  # fmt: skip
    here = Path("a.toml").read_text()
    Path("other.toml").write_text(here.replace('"pico"', '"esp32"').replace("yes = 9", "yes = 16"))
    Path("lost.toml").write_text(here.replace(BOWL, "28" + "0" * 14))
    with VirtualBoard(load_rig("pot"), speed=10.0) as board:
        board.arm()
        board.run_clock()
        assert "no rig of its own yet" in rig(capsys, "get", "--port", board.path)[2]
        code, out, _ = rig(capsys, "send", "a.toml", "--port", board.path)
        assert (code, "changed: name, heater_w, water_l" in out) == (0, True)
        assert rig(capsys, "send", "a.toml", "--port", board.path)[1].endswith("changed: nothing\n")
        report = json.loads(rig(capsys, "get", "--port", board.path, "--out", "b.toml", "--json")[1])["settings"]
        assert report == dict(load_rig("a.toml").settings) == dict(load_rig("b.toml").settings)
        code, _, err = rig(capsys, "send", "other.toml", "--port", board.path)
        assert (code, "these settings are for esp32, this board is pico" in err) == (1, True)
        code, _, err = rig(capsys, "check", "other.toml", "--port", board.path)
        assert (code, "is for another board: got esp32, wanted pico" in err) == (1, True)
        code, out, _ = rig(capsys, "check", "lost.toml", "--port", board.path)
        assert (code, "is not on the bus" in out) == (1, True)
        assert json.loads(rig(capsys, "get", "--port", board.path, "--json")[1])["settings"] == report


def test_damaged_settings_on_a_board_are_reported_and_repaired_by_sending_the_rig(capsys):
    damaged = {f"/settings.{slot}": b"\xba\x1a\x01 no frame" for slot in "ab"}
    written('[probe.water]\nkind = "onewire"\n')
    with VirtualBoard(load_rig("pot"), speed=10.0, flash_files={**flash_of(load_rig("pot")), **damaged}) as board:
        board.arm()
        board.run_clock()
        until(lambda: "damaged" in rig(capsys, "get", "--port", board.path)[2])  # known from the board's first tick on
        assert cli.main(["hold", "dark", "--port", board.path, "--for", "1m"]) == 1
        assert "settings stored on this warmer are damaged" in capsys.readouterr().err
        rig(capsys, "send", "mine.toml", "--port", board.path)
        assert "heater_w = 100" in rig(capsys, "get", "--port", board.path)[1]


def test_a_hold_with_moved_pins_and_one_for_another_board_run_on_the_virtual_board(capsys):
    moved = written('board = "pico2"\n[probe.water]\nkind = "onewire"\n[probe.bowl]\nkind = "platinum"\n'
                    "[pins]\nonewire = 22\ncs_bowl = 9\n")  # fmt: skip
    other = written('board = "esp32"\n[probe.water]\nkind = "onewire"\n[pins]\nonewire = 23\n', "other.toml")
    for path in (moved, other):
        assert cli.main(["hold", "dark", "--virtual", "--rig", path, "--for", "8m", "--json"]) in (0, 1)
        out, err = capsys.readouterr()
        assert json.loads(out)["trips"] == []
        assert "the self-test passed" in err


def test_every_setting_has_a_place_in_a_rig_file():
    usual = settings.defaults(settings.SETTINGS)
    text = rig_text({**usual, "probe.bowl.kind": "ntc"}, dict.fromkeys(usual, True))
    for name in usual:
        if not name.startswith("probe.") and name != "pins":
            assert f"{name.rpartition('.')[2]} = " in text


@pytest.mark.parametrize(("given", "words"), [
    (["--bath", "plate", "--float", "yes"], "--float yes needs a bath of water and a guard relay"),
    (["--guard", "no", "--float", "yes"], "--float yes needs a bath of water and a guard relay"),
    (["--bath", "plate", "--cover", "70%"], "--cover 0.7 needs a bath of water"),
    (["--panel", "no", "--display", "yes"], "--display yes needs buttons and lamps"),
])  # fmt: skip
def test_an_option_that_the_warmer_has_no_place_for_is_refused(capsys, given, words):
    code, _, err = rig(capsys, "new", "a.toml", "--no-board", "--defaults", *MEASURED, *given)
    assert code == 2
    assert words in err
    assert not Path("a.toml").exists()


def test_a_default_in_place_of_a_measurement_is_named(capsys):
    code, _, err = rig(capsys, "new", "a.toml", "--no-board", "--defaults", "--heater-w", "60")
    assert code == 0
    assert "water_l = 2 is only a default: measure yours" in err
    assert "heater_w" not in err


@pytest.mark.parametrize(("rom", "wrong"), [("28ff641e92160400", True), ("28ff641e9216042b", False)])
def test_an_id_whose_digits_do_not_check_is_unusual(capsys, rom, wrong):
    """CRC-8/MAXIM of 28ff641e921604 is 2Bh by crccheck."""
    code, _, err = rig(capsys, "new", "a.toml", "--no-board", "--defaults", *MEASURED, "--water-id", rom)
    assert code == 0
    assert ("do not check" in err) == wrong
