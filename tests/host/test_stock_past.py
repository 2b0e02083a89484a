"""Leftovers of leftovers: which evening they came from stays known, whatever was typed and wherever it is by now."""

from __future__ import annotations

import json
import os
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from test_stock import evening, stock


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A home of its own, and in it two evenings of one board."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BAIN_HOME", str(tmp_path))
    for number in (1, 2):
        dated(evening(f"dark-{number}"), number, 2 - number)
    return tmp_path


def dated(folder, number, days_ago, board="aaaaaaaa11111111"):
    """Give a hold the board's number and a start."""
    path = Path(folder) / "hold.json"
    facts = json.loads(path.read_text())
    facts |= {"board": {"board": board}, "hold": number,
              "started": (datetime.now(UTC) - timedelta(days=days_ago)).isoformat(timespec="seconds")}  # fmt: skip
    path.write_text(json.dumps(facts))


@pytest.mark.parametrize("typed", ["dark-1", "yesterday", "./holds/dark-1", "holds/dark-1/hold.csv"])
def test_a_mishap_that_is_entered_later_reaches_what_was_melted_since(capsys, here, monkeypatch, typed):
    """From another folder, on another day: the words as typed led to another evening, or to none."""
    stock(capsys, "dark-1", "--left", "640g")
    code, _, err = stock(capsys, "dark-2", "--left", "300g", "--of", typed)
    assert code == 0, err
    dated(evening("dark-3"), 3, 1)  # began yesterday, too
    (here / "away").mkdir()
    monkeypatch.chdir(here / "away")
    stock(capsys, "dark-1", "--allergen", "hazelnut")
    assert "label it: hazelnut" in stock(capsys, "dark-2")[1]
    assert stock(capsys)[1].count("hazelnut") == 2


def test_it_is_found_under_another_name_and_a_stranger_s_of_its_name_is_not_taken_for_it(capsys, here):
    """As `bain gather` brings it in beside a hold of that name."""
    stock(capsys, "dark-1", "--left", "640g")
    stock(capsys, "dark-2", "--left", "300g", "--of", "dark-1")
    os.rename(here / "holds/dark-1", here / "holds/dark-1-2")
    dated(evening("dark-1"), 1, 1, board="bbbbbbbb22222222")
    stock(capsys, "dark-1", "--left", "100g", "--water")
    assert "fit to temper again" in stock(capsys, "dark-2")[1]
    stock(capsys, "dark-1-2", "--allergen", "walnut")
    assert "label it: walnut" in stock(capsys, "dark-2")[1]


def test_it_is_found_in_a_copy_that_was_collected_elsewhere(capsys, here):
    """Its start is by the board's clock there, a second before the PC's."""
    stock(capsys, "dark-1", "--left", "640g", "--allergen", "hazelnut")
    stock(capsys, "dark-2", "--left", "300g", "--of", "dark-1")
    facts = here / "holds/dark-1/hold.json"
    values = json.loads(facts.read_text())
    began = datetime.fromisoformat(values["started"]) - timedelta(seconds=1)
    facts.write_text(json.dumps({**values, "started": began.isoformat(timespec="seconds")}))
    assert "label it: hazelnut" in stock(capsys, "dark-2")[1]


@pytest.mark.parametrize("lost", ["gone", "damaged", "typed before", "x", "[]", "[1]", "{}", '[[], "b"]',
                                  "[null, 1e400]", "[" * 100_000, f'["a", {"7" * 5000}]'])  # fmt: skip
def test_a_past_that_cannot_be_looked_up_is_said(capsys, here, lost):
    """It was "fit to temper again", though nobody could know."""
    stock(capsys, "dark-1", "--left", "640g")
    stock(capsys, "dark-2", "--left", "300g", "--of", "dark-1")
    if lost == "gone":
        shutil.rmtree(here / "holds/dark-1")
    elif lost == "damaged":
        (here / "holds/dark-1/stock.json").write_text("{")
    else:
        whole, of = ("", "yesterday") if lost == "typed before" else (lost, "dark-1")
        path = here / "holds/dark-2/stock.json"
        path.write_text(json.dumps({**json.loads(path.read_text()), "of": of, "of_hold": whole}))
    code, out, _ = stock(capsys, "dark-2")
    assert code == 1
    assert "not known what else got into it" in out
    assert "As far as is known it is fit" in out
    assert "bath water" in stock(capsys, "dark-2", "--water")[1]  # what is known to be worse stays


def test_what_is_shown_is_judged_by_the_rows_of_now(capsys, here):
    """It was entered while the hold ran, or before `bain collect`: 60 °C afterwards changed nothing."""
    stock(capsys, "dark-1", "--left", "640g")
    stock(capsys, "dark-2", "--left", "300g", "--of", "dark-1")
    path = here / "holds/dark-1/hold.csv"
    lines = path.read_text().splitlines()
    at = lines[0].split(",").index("bowl_c")
    last = lines[-1].split(",")
    last[0], last[at] = "9.000", "60.000"
    path.write_text("\n".join([*lines, ",".join(last)]) + "\n")
    for name in ("dark-1", "dark-2"):
        assert "it reached 60.0 °C, and 55 °C is its limit" in stock(capsys, name)[1]
