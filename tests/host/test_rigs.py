"""`bain rig`: a file made from answers, checked as a whole, sent to a board and read back."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from board_tools import until

from bainboard import settings
from bainwright import cli
from bainwright.builds.catalogue import BUILDS
from bainwright.core.errors import FileError, UseError
from bainwright.files.documents import flash_of
from bainwright.files.rig import load_rig
from bainwright.rigs import questions, wizard
from bainwright.rigs.bus import Bus, OnBus, Warming
from bainwright.rigs.rigfile import changed, rig_text
from bainwright.rigs.warnings import check_ids, on_board, unusual_figures
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import default_id, name_probes

HARDWARE = Path(__file__).parents[2] / "hardware"
WATER, BOWL = default_id("water"), default_id("bowl")
TOP = """
name = "mine"
heater_w = 100.0
switch = "dc"
period_s = 1.0
water_l = 1.5
bowl_kg = 0.5
chocolate_kg = 1.5
hard_limit_c = 60.0
"""
MEASURED = ["--heater-w", "60 W", "--switch", "dc", "--water-l", "1,5", "--bowl-kg", "0.4", "--chocolate-kg", "1.2"]


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def rig(capsys, *arguments):
    """Exit status, stdout, stderr."""
    code = cli.main(["rig", *arguments])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return code, out, err


def written(text, name="mine.toml"):
    """A rig file."""
    Path(name).write_text(TOP + text, encoding="utf-8")
    return name


# -- files ------------------------------------------------------------------------------------------------------------


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


# -- which probe is which ---------------------------------------------------------------------------------------------


def rounds(*temps):
    """What `Warming` says after rounds of readings of three probes."""
    warming = Warming()
    return [warming.feed([OnBus(rom, temp_c, 0) for rom, temp_c in zip("abc", row, strict=True)]) for row in temps]


def test_a_warmed_probe_is_named_once_it_is_plain():
    assert rounds((20, 20, 20), (20, 21, 20), (20, 21.5, 20.1)) == [None, None, "b"]


def test_a_draught_or_two_hands_name_nobody():
    assert rounds((20, 20, 20), (22, 22, 22), (24, 24, 24))[-1] is None
    assert rounds((20, 20, 20), (24, 20, 22))[-1] is None


def test_a_probe_still_warm_from_before_is_not_taken_for_the_next_one():
    assert rounds((30, 20, 20), (27, 20.5, 20), (24, 22, 20)) == [None, None, "b"]


def test_a_probe_without_a_reading_is_passed_over():
    assert rounds((None, 20, 20), (None, 20, 22)) == [None, "c"]


# -- the questions ----------------------------------------------------------------------------------------------------


class Person:
    """Answers by a word of the question; without an answer left it walks away."""

    def __init__(self, **answers: str) -> None:
        self.answers = {name.replace("_", " "): text for name, text in answers.items()}
        self.heard: list[str] = []

    def __call__(self, question: str, usual: str | None) -> str:
        for word in [word for word in self.answers if word in question]:
            return self.answers.pop(word)
        if usual is None:
            raise KeyboardInterrupt
        return usual


def asking(person, **given):
    """A wizard that asks this person; the answers are stored beside the file."""
    heard: list[str] = []
    made = wizard.Wizard({name.replace("__", "."): value for name, value in given.items()}, person, heard.append,
                    answers_file=Path("rig.toml.answers"))  # fmt: skip
    made.resume()
    return made, heard


ANSWERS = {"power": "60", "switched": "dc", "in_the_bath": "1.5", "empty_bowl": "0.4", "full_bowl": "1.2"}


def test_the_answers_become_a_rig_and_nothing_else_is_left():
    made, _ = asking(Person(called="kitchen", **ANSWERS))
    done = wizard.make(made, None, None, Path("rig.toml"))
    assert (done.name, done.settings["heater_w"], done.settings["board"]) == ("kitchen", 60.0, "pico")
    assert [path.name for path in Path().iterdir()] == ["rig.toml"]


def test_the_pot_s_answers_go_into_the_plant_table_and_may_be_left_open():
    """28 cm is 0.28 m; 11 in is 0.2794 m (the inch is 25.4 mm by definition)."""
    made, _ = asking(Person(called="kitchen", sit="water", wide="11in", covered="60%", **ANSWERS))
    plant = wizard.make(made, None, None, Path("rig.toml")).plant
    assert (plant.bath, plant.pot_diameter_m, plant.ring_cover) == ("water", 0.2794, 0.6)
    made, _ = asking(Person(called="kitchen", **ANSWERS))
    wizard.make(made, None, None, Path("open.toml"))
    assert "[plant]" not in Path("open.toml").read_text()


def test_a_plate_has_no_pot_and_no_cover():
    person = Person(called="kitchen", sit="plate", wide="28cm", **ANSWERS)
    made, _ = asking(person)
    plant = wizard.make(made, None, None, Path("rig.toml")).plant
    assert (plant.bath, plant.pot_diameter_m) == ("plate", None)
    assert person.answers == {"wide": "28cm"}  # nobody asked


@pytest.mark.parametrize(("arguments", "words"), [
    (["--pot-width", "3m"], "--pot-width"), (["--pot-width", "2"], "wanted 8 to 100 cm"),
    (["--bath", "milk"], "water or plate"), (["--cover", "170%"], "wanted 0 to 100 %"),
    (["--pot-width", "nan"], "wanted 8 to 100 cm"),
])  # fmt: skip
def test_a_pot_that_cannot_be_is_refused(capsys, arguments, words):
    code, _, err = rig(capsys, "new", "a.toml", "--no-board", *MEASURED, *arguments)
    assert code == 2
    assert words in err


@pytest.mark.parametrize("build", BUILDS, ids=lambda build: build.name)
def test_a_warmer_of_a_guide_takes_the_guide_s_figures_and_asks_what_is_measured(build):
    """Oracle: the rig file that the guide publishes, and the twin's vessel."""
    made, _ = asking(Person(build=build.name, called="kitchen", power="77", float="no"))
    done = wizard.make(made, None, None, Path("rig.toml"))
    guide = {**load_rig(str(HARDWARE / f"{build.name}-rig.toml")).written, "name": "kitchen", "heater_w": 77.0}
    assert {name: done.settings[name] for name in guide} == guide
    assert done.plant == load_rig(f"{build.name}24").plant
    assert done.settings["hard_limit_c"] < build.on_vessel.earliest_c


def test_guide_s_figures_in_place_of_measured_ones_are_named_and_options_win(capsys):
    code, _, err = rig(capsys, "new", "a.toml", "--no-board", "--defaults", "--build", "plate", "--heater-w", "190")
    assert (code, load_rig("a.toml").settings["heater_w"]) == (0, 190.0)
    assert "bowl_kg = 0.7 is the guide's: measure yours" in err
    assert "heater_w" not in err
    assert "water_l" not in err
    code, _, err = rig(capsys, "new", "b.toml", "--no-board", "--build", "kettle")
    assert (code, "--build: got 'kettle', wanted mat, pot, plate or own" in err) == (2, True)


@pytest.mark.parametrize(("build", "other"), [("pot", ["--bath", "plate"]), ("plate", ["--bath", "water"]),
                                              ("mat", ["--switch", "zero_cross"])])
def test_what_makes_it_another_warmer_than_the_guide_s_is_refused(capsys, build, other):
    code, _, err = rig(capsys, "new", "a.toml", "--no-board", "--defaults", "--build", build, *other)
    assert (code, f"{' '.join(other)} does not go with --build {build}" in err) == (2, True)
    assert not Path("a.toml").exists()


def test_the_limit_of_one_s_own_warmer_lies_under_the_guides_cut_outs_too(capsys):
    assert rig(capsys, "new", "a.toml", "--no-board", "--defaults", *MEASURED)[0] == 0
    assert load_rig("a.toml").settings["hard_limit_c"] == min(build.on_vessel.earliest_c for build in BUILDS) - 1.0


def test_questions_interrupted_anywhere_resume_there():
    for left in range(len(ANSWERS)):
        some = dict(list(ANSWERS.items())[:left])
        rest = dict(list(ANSWERS.items())[left:])
        made, _ = asking(Person(called="kitchen", **some))
        with pytest.raises(KeyboardInterrupt):
            wizard.make(made, None, None, Path("rig.toml"))
        assert not Path("rig.toml").exists()
        made, heard = asking(Person(**rest))
        assert "resuming with" in heard[0]
        done = wizard.make(made, None, None, Path("rig.toml"))
        assert (done.name, done.settings["water_l"], done.settings["chocolate_kg"]) == ("kitchen", 1.5, 1.2)
        Path("rig.toml").unlink()


def test_damaged_answers_are_reported_and_asked_again():
    for text in ("{", "[]", "\xff"):
        Path("rig.toml.answers").write_text(text, encoding="latin-1")
        made, heard = asking(Person(called="kitchen", **ANSWERS))
        assert "damaged" in heard[0]
        assert wizard.make(made, None, None, Path("rig.toml")).name == "kitchen"
        Path("rig.toml").unlink()


def test_a_wrong_answer_is_refused_and_asked_again():
    class Slip(Person):
        def __call__(self, question, usual):
            if "power" in question and "slipped" not in self.heard:
                self.heard.append("slipped")
                return "140 F"
            return super().__call__(question, usual)

    made, heard = asking(Slip(called="kitchen", **ANSWERS))
    wizard.make(made, None, None, Path("rig.toml"))
    assert heard[0] == "heater_w: got '140 F', wanted a number"


def test_pins_may_be_moved_and_a_wrong_one_is_asked_again():
    wishes = ["yes=15", "bell", "onewire=22", ""]

    class Wirer(Person):
        def __call__(self, question, usual):
            return wishes.pop(0) if "Wired" in question else super().__call__(question, usual)

    made, heard = asking(Wirer(called="kitchen", **ANSWERS))
    assert wizard.make(made, None, None, Path("rig.toml")).settings["pins"] == "onewire=22"
    assert any("wanted NAME=GPIO" in text for text in heard)


def probes(*roms):
    """A Pico with these on its bus."""
    return Bus("pico", [OnBus(rom, 20.0, 0) for rom in roms])


def test_the_last_probe_left_needs_no_warming():
    made, _ = asking(Person(called="kitchen", **ANSWERS))
    asked = []

    def warmed(place):
        asked.append(place)
        return BOWL

    done = wizard.make(made, probes(WATER, BOWL), warmed, Path("rig.toml"))
    assert asked == ["water"]
    assert (done.settings["probe.water.rom"], done.settings["probe.bowl.rom"]) == (BOWL, WATER)


def test_one_probe_is_the_water_s_and_a_missing_second_is_reported():
    made, _ = asking(Person(called="kitchen", **ANSWERS))
    done = wizard.make(made, probes(WATER), None, Path("rig.toml"))
    assert (done.settings["probe.water.rom"], done.settings["probe.bowl.kind"]) == (WATER, "none")
    made, heard = asking(Person(called="kitchen", **ANSWERS), probe__bowl__kind="onewire")
    done = wizard.make(made, probes(WATER), None, Path("two.toml"))
    assert (done.settings["probe.water.rom"], done.settings["probe.bowl.rom"]) == ("", "")
    assert any("1 probes without a place, wanted 2" in text for text in heard)


def test_a_hand_that_warms_nothing_ends_it_with_the_option_and_stores_the_answers():
    made, _ = asking(Person(called="kitchen", **ANSWERS))
    with pytest.raises(UseError, match="--water-id"):
        wizard.make(made, probes(WATER, BOWL), lambda place: None, Path("rig.toml"))
    assert json.loads(Path("rig.toml.answers").read_text())["water_l"] == 1.5


def test_an_id_that_is_not_there_or_another_board_is_refused():
    made, _ = asking(Person(called="kitchen", **ANSWERS), probe__water__rom="28" + "0" * 14)
    with pytest.raises(UseError, match="is not on the bus"):
        wizard.make(made, probes(WATER, BOWL), None, Path("rig.toml"))
    made, _ = asking(None, board="esp32")
    with pytest.raises(UseError, match="got a pico that is plugged in"):
        wizard.make(made, probes(), None, Path("rig.toml"))


def test_without_a_terminal_what_only_a_person_can_measure_must_be_given(capsys):
    code, _, err = rig(capsys, "new", "a.toml", "--no-board", "--heater-w", "60")
    assert code == 2
    assert "--switch is missing" in err
    assert list(Path().iterdir()) == []
    code, out, _ = rig(capsys, "new", "a.toml", "--no-board", *MEASURED, "--board", "esp32", "--pin", "onewire=16",
                       "--json")  # fmt: skip
    assert code == 0
    assert json.loads(out)["settings"]["pins"] == "onewire=16"
    assert load_rig("a.toml").settings["heater_w"] == 60.0
    code, _, err = rig(capsys, "new", "a.toml", "--no-board", *MEASURED)
    assert (code, "never overwritten" in err) == (2, True)


@pytest.mark.parametrize(("name", "text", "value"), [
    ("water_l", "2 l", 2.0), ("water_l", "1,5L", 1.5), ("heater_w", "60w", 60.0), ("hard_limit_c", "60C", 60.0),
    ("hard_limit_c", "58 °C", 58.0), ("bowl_kg", "0.6 KG", 0.6),
    ("hard_limit_c", "140F", 60.0), ("hard_limit_c", "136.4 °F", 58.0),
])  # fmt: skip
def test_a_unit_may_be_written_as_people_write_it(name, text, value):
    assert questions.value_of(name, text) == value
    for wrong in ("F", "2 gal", "l", ""):
        with pytest.raises(UseError, match="wanted a number"):
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


# -- boards -----------------------------------------------------------------------------------------------------------


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
