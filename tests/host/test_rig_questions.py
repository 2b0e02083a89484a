"""`bain rig new`: which probe is which, and answers that become a file or are asked again."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from rig_tools import BOWL, HARDWARE, MEASURED, WATER, rig

from bainwright.builds.catalogue import BUILDS
from bainwright.core.errors import UseError
from bainwright.files.rig import load_rig
from bainwright.rigs import wizard
from bainwright.rigs.bus import Bus, OnBus, Warming


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


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
    person = Person(called="kitchen", sit="plate", wide="28cm", store_the_plate="0.63",
                    **{key: value for key, value in ANSWERS.items() if key != "in_the_bath"})
    made, _ = asking(person)
    done = wizard.make(made, None, None, Path("rig.toml"))
    assert (done.plant.bath, done.plant.pot_diameter_m, done.settings["water_l"]) == ("plate", None, 0.63)
    assert person.answers == {"wide": "28cm"}  # nobody asked


@pytest.mark.parametrize("given", [{"build": "plate"}, {"plant__bath": "plate"}])
def test_nobody_with_a_plate_is_asked_for_its_water(given):
    heard: list[str] = []

    class Listening(Person):
        def __call__(self, text, usual):
            heard.append(text)
            return super().__call__(text, usual)

    made, said = asking(Listening(called="kitchen", store_the_plate="0.63", empty_bowl="0.7", full_bowl="2",
                                  power="200", switched="dc"), **given)
    wizard.make(made, None, None, Path("rig.toml"))
    assert len(heard) > 5
    about_water = [text for text in [*heard, *said] if "water" in text]
    assert [text for text in about_water if "store the plate's heat" not in text] == []


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
    assert heard[1] == "got '140 F', wanted watts, like 150 or 0.15kW"  # the question stands above it


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


class Typist:
    """Answers each question by the next line; notes the questions."""

    def __init__(self, *lines: str) -> None:
        self.lines, self.heard = list(lines), []

    def __call__(self, question: str, usual: str | None) -> str:
        self.heard.append(question)
        return self.lines.pop(0) if self.lines else ("1" if usual is None else usual)


def test_back_asks_the_question_before_again_and_takes_back_what_the_guide_gave(here):
    """Also over an answer of last time, and not behind the first question."""
    stored = here / "mine.answers"
    stored.write_text('{"build": "plate"}')
    said, person = [], Typist("my name", "back", "back", "back", "pot", "other name")
    asks = wizard.Wizard({}, person, said.append, answers_file=stored)
    asks.resume()
    made = wizard.make(asks, None, None, here / "mine.toml")
    assert [each[:10] for each in person.heard[:6]] == [
        "What is th", "Which boar", "What is th", "Which buil", "Which buil", "What is th"]
    assert "this is the first question" in said
    assert made.settings["name"] == "other name"
    assert made.bath == "water"


@pytest.mark.parametrize(("heater_w", "told"), [("150", False), ("170", False), ("300", True), ("100", True)])
def test_a_heater_far_from_its_guide_s_is_told(here, heater_w, told):
    said: list[str] = []
    given = {"build": "pot", "heater_w": float(heater_w)}
    wizard.make(wizard.Wizard(given, None, said.append, defaults=True), None, None, here / "mine.toml")
    assert any("is not the guide's 150 W" in line for line in said) is told
