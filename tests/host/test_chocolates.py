"""`bain profile`: unusual figures are reported, impossible ones refused, and a board returns what it received."""

from __future__ import annotations

import json
from pathlib import Path

import click
import pytest

from bainwright import cli
from bainwright.chocolates.new import NewOptions, make
from bainwright.chocolates.path import draw
from bainwright.chocolates.text import file_of, toml
from bainwright.chocolates.warnings import unusual_figures
from bainwright.commands import console
from bainwright.core.masses import Shown
from bainwright.files.chocolate import bundled_profiles, load_profile, parse_profile
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def profile(capsys, *arguments):
    """Exit status, stdout, stderr."""
    code = cli.main(["profile", *arguments])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return code, out, err


def made(kind="dark", **work):
    """A chocolate with some figures otherwise."""
    top = {name: work.pop(name) for name in ("melt_c", "never_above_c") if name in work}
    return parse_profile({"name": "cru", "kind": kind, **top, "work": {"low_c": 31.0, "high_c": 32.0, **work}})


@pytest.mark.parametrize("name", bundled_profiles())
def test_nothing_is_unusual_about_the_chocolates_that_come_along(name):
    assert unusual_figures(load_profile(name)) == []


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"low_c": 29.0, "high_c": 29.8}, "31 to 32 °C is usual (McGee"),
        ({"melt_c": 42.0}, "melted at 42 °C: for dark 45 to 50 °C is usual"),
        ({"low_c": 31.0, "high_c": 31.3}, "a probe can be wrong by as much"),
        ({"low_c": 30.0, "high_c": 32.5}, "1 to 2 °C is usual"),
        ({"ceiling_c": 32.5}, "hardly heat the bowl"),
        ({"ceiling_c": 36.0}, "dark loses its seed from about 34.5 °C"),
        ({"never_above_c": 58.0}, "the usual limit of dark is 55 °C"),
    ],
)
def test_what_is_rare_is_said_and_allowed(changes, word):
    """Usual figures: McGee, Coady; common practice where there is no source."""
    assert word in " ".join(unusual_figures(made(**changes)))


def test_melted_stock_far_from_forty_is_unusual():
    stock = parse_profile({"name": "s", "kind": "melted", "work": {"low_c": 34.0, "high_c": 36.0, "ceiling_c": 40.0}})
    assert "40 °C suits every kind" in unusual_figures(stock)[0]


def test_a_ceiling_that_hardly_holds_melted_stock_is_said():
    """A coating of 40 to 44 °C under the careful 45 °C: by the plan its water is 2 °C over it."""
    coating = parse_profile({"name": "coat", "kind": "melted", "of": "dark", "work": {"low_c": 40.0, "high_c": 44.0}})
    assert "a ceiling of 45 °C, 1.0 °C over the window: keep a lid on" in " ".join(unusual_figures(coating))


def test_the_picture_goes_through_the_figures():
    """Each figure is beside a row; the chocolate is on the melt's row and on the target's."""
    lines = draw(load_profile("dark"), Shown())
    by_label = {line[:8].strip(): line[8:] for line in lines if line[:8].strip().endswith("°C")}
    assert set(by_label) == {"55 °C", "45 °C", "34.5 °C", "31.5 °C", "20 °C"}
    assert "●" in by_label["45 °C"]
    assert by_label["31.5 °C"].count("●") > by_label["31.5 °C"].count("░") - 2 > 10  # the window shows between
    assert "═" in by_label["55 °C"]
    assert max(map(len, lines)) <= 100


def test_show_list_and_check_speak_and_give_json(capsys):
    code, out, _ = profile(capsys, "show", "ruby")
    assert code == 0
    assert "no source" in out
    assert "seed down to 29.5 °C" in out
    code, out, _ = profile(capsys, "show", "dark", "--fahrenheit")
    assert "Melt to 113 °F, seed down to 89.6 °F, work at 88.7 °F." in out
    assert "window 87.8 to 89.6 °F" in out
    code, out, _ = profile(capsys, "list", "--json")
    assert [row["name"] for row in json.loads(out)] == bundled_profiles()
    code, out, _ = profile(capsys, "check", "melted", "--json")
    assert json.loads(out) == {"name": "melted", "ok": True, "unusual": []}


def test_new_takes_the_bag_s_figures_in_either_scale_and_says_what_is_unusual(capsys):
    code, _, err = profile(
        capsys, "new", "Cru 70", "--kind", "dark",
        "--low", "88F", "--high", "90F", "--melt", "43", "--note", 'bag says "slowly"', "--out", "cru.toml")
    assert code == 0, err
    cru = load_profile("cru.toml")
    assert (cru.low_c, cru.high_c, cru.melt_c) == (31.11, 32.22, 43.0)
    assert cru.note == 'bag says "slowly"'
    assert "unusual: melted at 43 °C" in err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--kind", "dark", "--low", "88", "--high", "90"), "looks like °F, 31.1 °C: --low 88F"),
        (("--kind", "carob", "--low", "31", "--high", "32"), "take milk if you do not know"),
        (("--kind", "dark", "--low", "33", "--high", "34.2"), "the melting point of the crystal"),
        (("--kind", "dark", "--low", "32", "--high", "31"), "high_c: got 31 °C, wanted above the low end, low_c = 32"),
        (("--kind", "compound", "--low", "38", "--high", "42"), "profile about compound"),
        (("--kind", "dark", "--low", "31"), "--high is missing"),
        (("--low", "31", "--high", "32"), "which kind is it?"),
        (("--kind", "dark", "--of", "milk", "--low", "31", "--high", "32"), "--of is for melted stock"),
        (("--kind", "dark", "--low", "31", "--high", "32", "--set-min", "20"), "fail_min"),
    ],
)
def test_new_refuses_what_cannot_be_and_writes_nothing(capsys, monkeypatch, arguments, words):
    code, _, err = profile(capsys, "new", "cru", *arguments)
    assert code == 2
    assert words in err
    assert not Path("cru.toml").exists()


def test_a_talk_asks_again_what_cannot_be_and_ends_with_a_chocolate(capsys, monkeypatch):
    """One wrong answer costs that answer, not those before it."""
    typed = iter(["Cru 70", "carob", "Dark", "88", "88F", "87F", "95F", "90F", "58", "118F"])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr(click.termui, "visible_prompt_func", lambda *_: next(typed))
    code, out, err = profile(capsys, "new")
    assert code == 0, err
    assert "bain hold Cru_70.toml" in out
    cru = load_profile("Cru_70.toml")
    assert (cru.name, cru.kind, cru.low_c, cru.high_c, cru.melt_c) == ("Cru 70", "dark", 31.11, 32.22, 47.78)
    for words in ("take milk", "looks like °F, 31.1 °C", "above the low end", "the crystal", "never_above_c 55"):
        assert words in err
    assert err.count("bain: ") == 6  # how to go back, once, and five answers that cannot be


@pytest.mark.parametrize(
    ("name", "words"),
    [("../cru", "wanted a name, not a path; use --out for the file"),
     ("crème", "name: got 'crème', wanted plain letters: printable ASCII, no quote, no backslash; for instance"),
     ("", "name")],
)
def test_a_name_that_cannot_be_is_refused_before_anything_is_asked(capsys, monkeypatch, tmp_path, name, words):
    """Not after the last figure of the bag was typed."""
    def nobody(*_, **__):
        raise AssertionError("asked all the same")

    monkeypatch.setattr(click, "prompt", nobody)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    code, _, err = profile(capsys, "new", name)
    assert code == 2
    assert words in err
    assert not list(tmp_path.rglob("*.toml"))


def test_with_nobody_to_ask_a_name_is_wanted(capsys):
    code, _, err = profile(capsys, "new", "--kind", "dark")
    assert code == 2
    assert "bain profile new NAME" in err


def test_new_never_writes_over_a_chocolate(capsys):
    Path("cru.toml").write_text("mine")
    code, _, err = profile(capsys, "new", "cru", "--kind", "dark", "--low", "31", "--high", "32")
    assert code == 2
    assert "never overwritten" in err
    assert Path("cru.toml").read_text() == "mine"


def test_a_board_keeps_what_it_is_sent_gives_it_back_and_starts_the_chosen_one(capsys):
    """Oracle: the file that was sent."""
    assert cli.main(["hold", "dark", "--virtual", "--for", "1m", "--image", "board.img", "--json"]) in (0, 1)
    capsys.readouterr()
    code, out, err = profile(capsys, "send", "milk", "ruby", "--virtual", "board.img")
    assert code == 0, err
    _, out, _ = profile(capsys, "list", "--virtual", "board.img", "--json")
    rows = json.loads(out)
    assert [(row["name"], row["chosen"]) for row in rows] == [("dark", False), ("milk", False), ("ruby", True)]
    assert profile(capsys, "use", "milk", "--virtual", "board.img")[0] == 0
    for name in ("milk", "dark"):
        _, out, _ = profile(capsys, "get", *([name] if name == "dark" else []), "--virtual", "board.img", "--json")
        assert json.loads(out) == load_profile(name).document()
    assert profile(capsys, "send", "caramelised_white", "--virtual", "board.img")[0] == 0
    for spelling in ("caramelised white", "caramelised_white"):  # as the board has it, and as the file is called
        assert profile(capsys, "use", spelling, "--virtual", "board.img")[0] == 0
    _, out, _ = profile(capsys, "get", "dark", "--virtual", "board.img")
    assert "Melt to 45 °C, seed down to 32 °C, work at 31.5 °C" in out
    assert "Sources" not in out  # a board has none
    assert profile(capsys, "get", "dark", "--virtual", "board.img", "--out", "back.toml")[0] == 0
    assert load_profile("back.toml").document() == load_profile("dark").document()
    assert profile(capsys, "get", "dark", "--virtual", "board.img", "--out", "back.toml")[0] == 2  # it is there
    for command in ("get", "use"):
        code, _, err = profile(capsys, command, "white", "--virtual", "board.img")
        assert code == 2
        assert "has no chocolate 'white': wanted one of dark, milk, ruby, caramelised white; send it first" in err
        assert "bain profile send white" in err


def test_a_board_that_keeps_none_says_so_in_the_user_s_words(capsys):
    """Not in the protocol's: nobody asked it to send anything."""
    with VirtualBoard(load_rig("pot")) as board:
        board.arm()
        board.run_clock()
        code, _, err = profile(capsys, "get", "--port", board.path)
    assert code == 2
    assert err == "bain: the warmer has no chocolate yet; send one first: bain profile send dark\n"


@pytest.mark.parametrize("name", ["dark", "caramelised_white", "melted"])
def test_a_board_s_chocolate_is_shown_as_a_file_that_reads_back_the_same(name):
    """Oracle: the file that was sent."""
    Path("back.toml").write_text(toml(file_of(load_profile(name).document())), encoding="utf-8")
    assert load_profile("back.toml").document() == load_profile(name).document()


def test_a_chocolate_that_is_wrong_reaches_no_board(capsys):
    """Nothing is opened before every file was read."""
    code, _, err = profile(capsys, "send", "dark", "drak", "--port", "/dev/nowhere")
    assert code == 2
    assert "did you mean dark?" in err


def test_each_question_can_be_asked_again_by_going_one_back(monkeypatch, here):
    """A slip of 45 at the low end refuses every high end; one back and the rest stays."""
    typed = iter(["my milk", "milk", "45", "31", "back", "30", "back", "29.5", "31", "44"])
    monkeypatch.setattr(console.click, "prompt", lambda *_, **__: next(typed))
    path, made = console.with_steps_back(lambda ask: make(NewOptions(), ask))
    assert (made.name, made.kind, made.low_c, made.high_c, made.melt_c) == ("my milk", "milk", 29.5, 31.0, 44.0)
    assert path.is_file()


def test_one_back_before_the_first_answer_asks_the_first_again(monkeypatch):
    typed = iter(["back", "7"])
    monkeypatch.setattr(console.click, "prompt", lambda *_, **__: next(typed))
    assert console.with_steps_back(lambda ask: ask("How many?", None, int)) == 7
