"""Many holds as Parquet files by warmer and month, and what is asked of them.

Oracles: four libraries that read Parquet, pandas' own arithmetic on the rows that were stored, and `bain review`.
"""

from __future__ import annotations

import json
import math
import os
import re
import shutil
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from many_evenings import REPORT, evenings, store

from bainwright import cli
from bainwright.archive import engines, schema
from bainwright.archive.listing import Entry
from bainwright.archive.store import place
from bainwright.core import home
from bainwright.core.file_names import LONGEST
from bainwright.review import many_words


@pytest.fixture(autouse=True)
def records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(home.VARIABLE, str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "home" / "holds"


def asked(capsys: pytest.CaptureFixture[str], *options: str) -> list[dict[str, Any]]:
    """The lines that `bain holds --per ...` gives."""
    capsys.readouterr()
    assert cli.main(["holds", "--per", *options, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_four_libraries_read_the_archive_alike(records: Path, tmp_path: Path) -> None:
    import duckdb
    import pandas
    import polars
    import pyarrow.dataset

    evenings(records)
    assert cli.main(["export", "all/", "--since", "2026-01-01"]) == 0
    assert cli.main(["export", "all", "old-1"]) == 0
    for table, columns in schema.TABLES.items():
        names = [*columns, *schema.PARTITIONS]
        with duckdb.connect() as database:
            files = database.read_parquet(f"all/{table}/*/*/*.parquet", hive_partitioning=True)
            assert sorted(files.columns) == sorted(names)
            count = len(files.fetchall())
        partitions = pyarrow.dataset.partitioning(flavor="hive", schema=pyarrow.schema(
            [(name, pyarrow.string()) for name in schema.PARTITIONS]))
        arrow = pyarrow.dataset.dataset(f"all/{table}", partitioning=partitions, format="parquet").to_table()
        panda = pandas.read_parquet(f"all/{table}")
        polar = polars.read_parquet(f"all/{table}/**/*.parquet", hive_partitioning=True)
        assert sorted(arrow.column_names) == sorted(panda.columns) == sorted(polar.columns) == sorted(names)
        assert arrow.num_rows == len(panda) == len(polar) == count
    assert count == 5 * 60 + 45
    assert {path.name for path in (tmp_path / "all" / "rows").glob("*/*")} == {
        "month=2026-10", "month=2026-11", "month=unknown"}  # fmt: skip


def test_the_page_about_the_archive_names_every_column() -> None:
    page = (Path(__file__).parents[2] / "host" / "ARCHIVE.md").read_text()
    for table, columns in schema.TABLES.items():
        row = next(line for line in page.splitlines() if line.startswith(f"| {table} |"))
        assert re.findall("`([a-z_]+)`", row) == list(columns)


def test_no_file_of_an_archive_says_whose_record_it_was(records: Path, tmp_path: Path) -> None:
    """A record's folder has a person's name in its path; an archive that a school shares must not."""
    evenings(records)
    assert cli.main(["export", "all/", "--since", "2026-01-01"]) == 0
    for path in (tmp_path / "all").rglob("*"):
        if path.is_file():
            assert str(tmp_path).encode() not in path.read_bytes()


def test_the_figures_of_a_night_are_those_of_its_rows(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Summed again by pandas. A row lasts until the next, and five rows at most, as the score has it."""
    import pandas

    evenings(records)
    nights = {night["hold"]: night for night in asked(capsys, "night")}
    assert len(nights) == 6
    for name, night in nights.items():
        rows = pandas.read_csv(records / name / "hold.csv")
        lasts_s = rows.t_s.diff().shift(-1).fillna(1.0).clip(upper=5.0)
        known = rows.bowl_c.notna() & (rows.bowl_estimated == 0)
        assert night["recorded_s"] == pytest.approx(lasts_s.sum(), rel=1e-12)
        assert night["water_mean_c"] == pytest.approx((rows.water_c * lasts_s).sum() / lasts_s.sum(), rel=1e-12)
        assert night["bowl_mean_c"] == pytest.approx(
            (rows.bowl_c * lasts_s)[known].sum() / lasts_s[known].sum(), rel=1e-12)
        if name in ("milk-2", "old-1"):
            assert night["heat_kwh"] is night["mean_w"] is None
        else:
            joules = 150.0 * (rows.duty * lasts_s).sum()
            assert night["heat_kwh"] == pytest.approx(joules / 3.6e6, rel=1e-12)
            assert night["mean_w"] == pytest.approx(joules / lasts_s.sum(), rel=1e-12)


def test_a_night_has_the_heat_that_its_review_has(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    evenings(records)
    nights = {night["hold"]: night for night in asked(capsys, "night")}
    for name in ("dark-1", "dark-2", "milk-1"):
        assert cli.main(["review", name, "--json"]) == 0
        [review] = json.loads(capsys.readouterr().out)["holds"]
        assert nights[name]["heat_kwh"] == pytest.approx(review["heat_kwh"], rel=1e-9)
        assert nights[name]["mean_w"] == pytest.approx(review["heat_mean_w"], rel=1e-9)


def test_two_boards_of_one_name_are_two_warmers(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    evenings(records)
    pots = {each["board"]: each for each in asked(capsys, "warmer") if each["warmer_name"] == "market pot"}
    assert {board: (pot["holds"], pot["trips"], pot["look"]) for board, pot in pots.items()} == {
        "b1": (2, 1, 1), "b2": (1, 0, 0)}  # fmt: skip
    assert pots["b1"]["inside_s"] == 2 * REPORT["inside_s"]
    assert cli.main(["holds", "--per", "warmer"]) == 0
    out = capsys.readouterr().out
    assert "market pot (board b1)" in out
    assert "pot (VIRTUAL)" in out
    assert [each["holds"] for each in asked(capsys, "warmer", "--warmer", "B2")] == [1]


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1", "ascii"])
def test_a_warmer_s_folder_has_its_board_and_a_name_that_the_system_takes(
    encoding: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Oracle: Python's own codec of that encoding; a folder's name is written by it."""
    monkeypatch.setattr(sys, "getfilesystemencoding", lambda: encoding)
    for name in ("日本", "Töpfe", "a pot with a name of more than forty-seven letters"):
        folder = place(Entry("f", "dark-1", warmer=name, board="e66126169677ab12"), "0" * 32).split("/")[0]
        folder.encode(encoding)
        assert folder.endswith("-e66126169677ab12")
        assert len(folder) <= len("warmer=") + LONGEST
    assert ("日本" in place(Entry("f", "dark-1", warmer="日本", board="ab"), "0")) == (encoding == "utf-8")


def test_sums_by_month_and_kind_add_up_to_the_nights(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    evenings(records)
    nights = asked(capsys, "night")
    for group in ("warmer", "month", "kind"):
        sums = asked(capsys, group)
        assert sum(each["holds"] for each in sums) == len(nights)
        heat_kwh = sum(each["heat_kwh"] or 0.0 for each in sums)
        assert heat_kwh == pytest.approx(sum(night["heat_kwh"] or 0.0 for night in nights), rel=1e-12)
    months = {each["month"]: each for each in asked(capsys, "month")}
    assert {month: each["holds"] for month, each in months.items()} == {"2026-11": 4, "2026-10": 1, "unknown": 1}
    assert months["2026-11"]["virtual_holds"] == 1


def test_options_choose_the_holds(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    evenings(records)

    def names(*options: str) -> set[str]:
        return {each["hold"] for each in asked(capsys, "night", *options)}

    assert names("--warmer", "MARKET pot") == {"dark-1", "dark-2", "milk-1"}
    assert names("--kind", "dark") == {"milk-1"}
    assert names("--since", "2026-11-01") == {"dark-1", "milk-1", "milk-2", "try-1"}
    assert names("--warmer", "Kitchen 2") == {"milk-2"}
    assert names("--warmer", "nobody's") == set()


def test_a_new_hold_and_a_changed_one_are_read_again_and_a_gone_one_goes(
    records: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store(records / "dark-1")
    store(records / "dark-2", number=8, seed=2)
    assert {each["hold"] for each in asked(capsys, "night")} == {"dark-1", "dark-2"}
    shutil.rmtree(records / "dark-2")
    store(records / "dark-3", number=9, seed=3)
    facts = json.loads((records / "dark-1" / "hold.json").read_text())
    (records / "dark-1" / "hold.json").write_text(json.dumps({**facts, "trips": [{"fault": 3}, {"fault": 3}]}))
    assert {each["hold"]: each["trips"] for each in asked(capsys, "night")} == {"dark-1": 2, "dark-3": 0}


def test_nothing_but_its_own_copies_leaves_the_home_s_own_archive(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A shared archive that it is a link to, and a hold of another PC in it."""
    own, shared = tmp_path / "home" / "archive", tmp_path / "shared"
    store(records / "dark-1")
    store(records / "dark-2", number=8, seed=2)
    assert cli.main(["export", "shared/", "dark-1", "dark-2"]) == 0
    shutil.rmtree(records / "dark-2")
    own.symlink_to(shared)
    everything = sorted(shared.rglob("*"))
    for typed, words in ((["holds", "--per", "night"], "is a link"), (["export", f"{own}/"], "export to another")):
        assert cli.main(typed) == 2
        assert words in capsys.readouterr().err
    own.unlink()
    assert len(asked(capsys, "night")) == 1
    shutil.copytree(shared, own, dirs_exist_ok=True)
    assert cli.main(["holds", "--per", "night"]) == 2
    assert "is of no hold that is here" in capsys.readouterr().err
    assert len(list(own.rglob("*.parquet"))) == len(list(shared.rglob("*.parquet"))) == 4
    assert sorted(shared.rglob("*")) == everything
    shutil.rmtree(own)
    assert len(asked(capsys, "night")) == 1


def test_the_same_hold_from_three_sources_counts_once_with_the_most_rows(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the home, and in an archive that it is added to in any order."""
    for number, (name, rows) in enumerate((("a", 40), ("b", 60), ("c", 50))):
        store(records / name, rows=rows)
        assert cli.main(["export", "all/", name]) == 0
        assert [each["recorded_s"] for each in asked(capsys, "night", "--archive", "all")] == [(40, 60, 60)[number]]
    assert [(each["recorded_s"], each["hold"]) for each in asked(capsys, "night")] == [(60.0, "b")]
    shutil.rmtree(tmp_path / "home" / "archive")
    assert [(each["recorded_s"], each["hold"]) for each in asked(capsys, "night")] == [(60.0, "b")]
    assert len(list((tmp_path / "home" / "archive" / "rows").rglob("*.parquet"))) == 1


def test_a_figure_of_a_stranger_s_archive_that_cannot_be_is_not_known() -> None:
    """One of infinite seconds would be no duration; a year 1 is none in every zone."""
    line = {"hold": None, "started_utc": datetime(1, 1, 1), "warmer_name": "a", "chocolate": None, "verdict": None,
            "trips": -5, "recorded_s": math.inf, "inside_s": math.nan, "below_s": 60.0, "above_s": None,
            "bowl_peak_c": -math.inf, "water_peak_c": 33.0, "mean_w": 1e300, "heat_kwh": None}  # fmt: skip
    (cells,) = many_words.table("night", [engines._possible(line)])[1:]
    assert cells == ("?", "?", "a", "?", "?", "-5", "-", "-", "60 s", "-", "-", "33.0 °C", "-", "-")


def test_no_holds_is_an_answer(capsys: pytest.CaptureFixture[str]) -> None:
    assert asked(capsys, "warmer") == []
    assert cli.main(["holds", "--per", "month"]) == 0
    assert "no hold matches" in capsys.readouterr().err


def test_an_archive_of_other_tables_is_refused_and_the_home_s_own_is_made_again(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store(records / "dark-1")
    assert cli.main(["export", "all/"]) == 0
    assert asked(capsys, "night")
    for folder in (tmp_path / "all", tmp_path / "home" / "archive"):
        (folder / "bainwright.json").write_text('{"schema": 0}')
    for typed in (["holds", "--per", "night", "--archive", "all"], ["export", "all/"]):
        assert cli.main(typed) == 2
        assert "was written by an earlier version of bainwright" in capsys.readouterr().err
    assert len(asked(capsys, "night")) == 1


def test_a_folder_with_other_files_does_not_become_an_archive(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store(records / "dark-1")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("x")
    assert cli.main(["export", "mine/"]) == 2
    assert "mine has other files in it" in capsys.readouterr().err
    assert os.listdir(tmp_path / "mine") == ["letter.txt"]
    assert cli.main(["holds", "--per", "night", "--archive", "mine"]) == 2
    assert "is not an archive of holds" in capsys.readouterr().err


def test_a_damaged_file_in_an_archive_is_named(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store(records / "dark-1")
    assert cli.main(["export", "all/"]) == 0
    [path] = (tmp_path / "all" / "rows").rglob("*.parquet")
    path.write_bytes(path.read_bytes()[:100])
    assert cli.main(["holds", "--per", "night", "--archive", "all"]) == 2
    err = capsys.readouterr().err
    assert path.name in err
    assert "export that hold again" in err


def test_a_damaged_hold_is_left_out_in_words(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store(records / "dark-1")
    (store(records / "dark-2", number=8) / "hold.csv").write_text("not a log\n")
    for _ in range(2):
        assert cli.main(["holds", "--per", "warmer"]) == 1
        assert "left out dark-2" in capsys.readouterr().err


@pytest.mark.parametrize("engine", ["sqlite", "spark:", "spark://", "spark://pot", "spark://pot:x", "local"])
def test_an_engine_that_there_is_not_is_refused_in_words(engine: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["holds", "--per", "warmer", "--engine", engine]) == 2
    assert "wanted duckdb, spark://local" in capsys.readouterr().err


def test_spark_without_pyspark_or_java_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import importlib.util

    typed = ["holds", "--per", "warmer", "--engine", "spark://local"]
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    assert cli.main(typed) == 2
    assert "pip install 'bainwright[fleet]'" in capsys.readouterr().err
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: name)
    monkeypatch.setenv("JAVA_HOME", "/nowhere")
    assert cli.main(typed) == 2
    assert "needs Java" in capsys.readouterr().err


def test_a_question_s_options_need_a_question(capsys: pytest.CaptureFixture[str]) -> None:
    for typed in (["--archive", "all"], ["--engine", "duckdb"]):
        assert cli.main(["holds", *typed]) == 2
        assert "without --per" in capsys.readouterr().err


def test_rows_that_an_archive_has_lost_are_missed(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Half a copy of it sums to too little, and a file that a program copied beside it to too much."""
    evenings(records)
    assert cli.main(["export", "all/", "--since", "2026-01-01"]) == 0
    for group in ("night", "warmer", "month", "kind"):
        assert "lacking" not in asked(capsys, group, "--archive", "all")[0]
    lost = next(Path("all/rows").rglob("*.parquet"))
    shutil.copy(lost, "aside.parquet")
    shutil.copy(lost, lost.with_name("copy.parquet"))
    assert cli.main(["holds", "--per", "warmer", "--archive", "all"]) == 1
    assert "rows of 1 of these holds" in capsys.readouterr().err
    lost.unlink()
    lost.with_name("copy.parquet").unlink()
    for group in ("night", "warmer"):
        assert cli.main(["holds", "--per", group, "--archive", "all"]) == 1
        assert "rows of 1 of these holds" in capsys.readouterr().err


def test_a_hold_whose_start_two_clocks_told_is_one_hold(
    records: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One PC watched it, another collected it: from two homes into one archive, and side by side in one home.

    Another hold of that number, as of a board that was erased, has other water.
    """
    store(records / "watched", rows=40, started="2026-11-30T23:59:59+00:00")
    store(records / "collected", rows=60, started="2026-12-01T00:00:02+00:00", warmer="renamed")
    assert [each["recorded_s"] for each in asked(capsys, "night")] == [60.0]
    for name, seconds in (("watched", 40.0), ("collected", 60.0), ("watched", 60.0)):
        assert cli.main(["export", "all/", name]) == 0
        assert [each["recorded_s"] for each in asked(capsys, "night", "--archive", "all")] == [seconds]
    store(records / "erased", seed=9, started="2026-12-01T00:00:05+00:00")
    assert cli.main(["export", "all/", "erased"]) == 0
    assert len(asked(capsys, "night", "--archive", "all")) == len(asked(capsys, "night")) == 2
