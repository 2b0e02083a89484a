"""Chocolates: the bundled windows, against their sources, and refusals in words."""

from __future__ import annotations

import pytest

from bainboard import settings as board
from bainwright.core.errors import FileError
from bainwright.files.chocolate import CAPS, bundled_profiles, load_profile, parse_profile


def doc(**changes: object) -> dict:
    work = {"low_c": 30.8, "high_c": 31.8, **changes.pop("work", {})}
    return {"name": "cru", "kind": "dark", "work": work, **changes}


def refused(**changes: object) -> str:
    with pytest.raises(FileError) as refusal:
        parse_profile(doc(**changes), "cru.toml")
    assert refusal.value.exit_code == 2
    return str(refusal.value)


@pytest.mark.parametrize(
    ("name", "low_c", "high_c", "ceiling_c", "never_above_c"),
    [
        ("dark", 31, 32, 34.5, 55),
        ("milk", 30, 31, 33.5, 50),
        ("white", 28.5, 29.5, 32.5, 50),
        ("melted", 39, 41, 45, 50),
    ],
)
def test_windows_are_those_of_the_sources(name, low_c, high_c, ceiling_c, never_above_c):
    """Windows McGee and Coady, white between; 50 °C Coady (casein); ceilings chosen; 55, 40, 45 °C common practice."""
    profile = load_profile(name)
    assert (profile.low_c, profile.high_c) == (low_c, high_c)
    assert (profile.ceiling_c, profile.never_above_c) == (ceiling_c, never_above_c)
    assert profile.target_c == (low_c + high_c) / 2


@pytest.mark.parametrize("name", ["ruby", "caramelised_white"])
def test_the_weak_windows_are_the_trade_s_and_their_caps_those_of_white(name):
    """28-29.5 °C, melt 40-45 °C: common practice, weak, no source; caps as white."""
    profile, white = load_profile(name), load_profile("white")
    assert (profile.low_c, profile.high_c) == (28.0, 29.5)
    assert 40.0 <= profile.melt_c <= 45.0
    assert (profile.ceiling_c, profile.never_above_c) == (white.ceiling_c, white.never_above_c)


def test_a_test_piece_of_dark_sets_in_five_minutes_and_what_has_not_in_ten_to_fifteen_is_not_in_temper():
    """Common practice, no source: dark about 5 min or less, milk and white somewhat longer, failed at 10-15."""
    assert load_profile("dark").set_min == 5.0
    for name in bundled_profiles():
        profile = load_profile(name)
        assert 10.0 <= profile.fail_min <= 15.0
        assert 5.0 <= profile.set_min < profile.fail_min


def test_melted_stock_is_taken_for_milk_unless_its_file_says_of_what():
    """Milk tolerates the least: its cap suits every kind."""
    assert load_profile("melted").of == "milk"
    assert load_profile("dark").of == "dark"
    work = {"low_c": 39.0, "high_c": 41.0}
    own = parse_profile({"name": "stock", "kind": "melted", "of": "dark", "work": work})
    assert own.of == "dark"


def test_white_lies_between_its_two_sources():
    """McGee 27-28, Coady 29-30 °C: the sources differ, so the window meets neither's far end and the file says so."""
    white = load_profile("white")
    assert 28.0 <= white.low_c < white.target_c < white.high_c <= 30.0
    assert "McGee" in white.source
    assert "Coady" in white.source


def test_every_bundled_window_leaves_its_fat_form_v_alone():
    """Dark's ceiling passes form V's 33.8 °C (Wille & Lutton 1966) by less than a kelvin; milk fat lowers it 1-3 K."""
    assert load_profile("dark").ceiling_c - 33.8 < 1.0
    assert 1.0 <= load_profile("dark").ceiling_c - load_profile("milk").ceiling_c <= 3.0
    assert 1.0 <= load_profile("dark").ceiling_c - load_profile("white").ceiling_c <= 3.0


@pytest.mark.parametrize("name", ["dark", "milk", "white", "ruby", "caramelised_white", "melted"])
def test_document_is_what_the_board_takes(name):
    """Oracle: the board's own check; nothing is added, nothing left to its defaults."""
    document = load_profile(name).document()
    values, why = board.check_profile(document)
    assert why is None
    assert values == document
    assert set(document) == set(board.defaults(board.PROFILE))


def test_six_chocolates_come_along_with_their_sources():
    """Each says where its figures come from, and marks what has none."""
    assert bundled_profiles() == ["caramelised_white", "dark", "melted", "milk", "ruby", "white"]
    for name in ("dark", "milk", "melted", "ruby", "caramelised_white"):
        assert "common practice, no source" in load_profile(name).source


def test_caps_know_every_kind_of_the_board():
    """One list of kinds: the board's."""
    kinds = next(row[board.LOW] for row in board.PROFILE if row[board.NAME] == "kind")
    assert set(CAPS) == set(kinds)


def test_window_alone_is_enough():
    """The middle is the target, the kind gives ceiling and cap."""
    profile = parse_profile(doc())
    assert profile.target_c == pytest.approx(31.3)
    assert (profile.ceiling_c, profile.never_above_c) == (34.5, 55.0)
    assert profile.source


def test_makers_chart_wins():
    """Every figure in a file is used."""
    work = {"target_c": 31.0, "ceiling_c": 33.0}
    profile = parse_profile(doc(work=work, never_above_c=52.0, melt_c=47.0, source="bag"))
    assert (profile.target_c, profile.ceiling_c, profile.never_above_c) == (31.0, 33.0, 52.0)
    assert (profile.melt_c, profile.source) == (47.0, "bag")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"work": {"low_c": 88.0, "high_c": 90.0}}, "low_c: got 88.0, wanted 15 to 50 °C; that looks like °F; 88 °F"),
        ({"melt_c": 118.0}, "118 °F is 47.8 °C"),
        ({"kind": "drak"}, "did you mean dark?"),
        ({"kind": "carob"}, "take milk if you do not know"),
        ({"work": {"celing_c": 34.0}}, "no such key as work.celing_c; did you mean ceiling_c?"),
        ({"work": {"target_c": 33.0}}, "target_c: got 33, wanted inside the window 30.8 to 31.8"),
        ({"work": {"low_c": 32.5}}, "high_c: got 31.8 °C, wanted above the low end, low_c = 32.5 °C"),
        ({"work": {"ceiling_c": 31.8}}, "ceiling_c"),
        ({"never_above_c": 34.0}, "ceiling_c: got 34.5"),
        ({"melt_c": 31.0}, "melt_c: got 31, wanted above high_c 31.8"),
        ({"work": {"high_c": float("nan")}}, "wanted a finite number"),
        ({"work": {"high_c": "32"}}, "wanted a number"),
        ({"name": ""}, "name"),
        ({"work": {"low_c": 33.0, "high_c": 33.9}}, "high_c: got 33.9 °C, wanted below 33.8 °C, the melting point"),
        ({"keep_c": 56.0}, "keep_c"),
        ({"test": {"set_min": 12.0}}, "fail_min: got 10, wanted above set_min 12"),
        ({"test": {"minutes": 5.0}}, "no such key as test.minutes"),
        ({"of": "milk"}, "of: got 'milk', wanted with kind"),
    ],
)
def test_wrong_figures_are_refused_in_words(changes, words):
    """What, got, wanted, next."""
    assert words in refused(**changes)


def test_missing_window_is_asked_for():
    """There is no default window: a chocolate without one is refused."""
    with pytest.raises(FileError, match="work is missing; it needs name, kind, work"):
        parse_profile({"name": "cru", "kind": "dark"})


def test_a_folder_in_place_of_a_file_is_called_one(tmp_path):
    with pytest.raises(FileError, match="is a folder: wanted a TOML file"):
        load_profile(tmp_path)


def test_unknown_chocolate_is_refused_with_the_nearest(tmp_path):
    """And a file of one's own is read by its path."""
    with pytest.raises(FileError, match=r"did you mean dark\?"):
        load_profile("drak")
    mine = tmp_path / "cru.toml"
    mine.write_text('name = "cru"\nkind = "milk"\n[work]\nlow_c = 29.5\nhigh_c = 30.5\n')
    assert load_profile(mine).ceiling_c == 33.5
