"""Holds leave in one file and come in on another PC: whole, once, and nowhere but in the home of records."""

from __future__ import annotations

import csv
import json
import os
import shutil
import zipfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest

from bainwright import cli
from bainwright.archive.listing import Entry
from bainwright.archive.store import add
from bainwright.core import home
from bainwright.core.errors import FileError
from bainwright.core.os_errors import quoted_error
from bainwright.core.read_file import read_pieces
from bainwright.files.chocolate import load_profile
from bainwright.page.past_holds import files_of
from bainwright.record.columns import HEADER, NAMES
from bainwright.record.leftovers import read_leftovers
from bainwright.record.reader import read_log
from bainwright.record.writer import seal


@pytest.fixture(autouse=True)
def records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(home.VARIABLE, str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "home" / "holds"


def store(folder: Path, started: str = "2026-11-20T22:00:00+00:00", rows: int = 3) -> Path:
    folder.mkdir(parents=True)
    (folder / "hold.json").write_text(json.dumps({"started": started, "board": {"board": "b1"}, "hold": 7}))
    row = dict.fromkeys(NAMES, "0") | {"state": "hold", "stage": "work", "water_c": "33.0", "bowl_c": "", "ask": ""}
    lines = [",".join(str({**row, "t_s": f"{at}.000"}[name]) for name in NAMES) for at in range(1, rows + 1)]
    (folder / "hold.csv").write_text("\n".join([HEADER, *lines]) + "\n")
    (folder / "events.jsonl").write_text('{"t_s": 1.0, "event": "warm"}\n')
    return folder


def elsewhere(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """The same user on another PC."""
    monkeypatch.setenv(home.VARIABLE, str(tmp_path / "other"))
    return tmp_path / "other" / "holds"


def test_a_hold_arrives_on_another_pc_byte_for_byte(
    records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = store(records / "dark-1")
    assert cli.main(["export", "a.zip", "dark-1"]) == 0
    holds = elsewhere(monkeypatch, tmp_path)
    assert cli.main(["gather", "a.zip"]) == 0
    for name in ("hold.csv", "hold.json", "events.jsonl"):
        assert (holds / "dark-1" / name).read_bytes() == (folder / name).read_bytes()
    assert len(read_log(holds / "dark-1")) == 3


def test_a_hold_that_is_here_already_comes_in_only_once(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store(records / "dark-1")
    cli.main(["export", "a.zip"])
    assert cli.main(["gather", "a.zip", "a.zip"]) == 0
    assert [each.name for each in records.iterdir()] == ["dark-1"]
    assert "2 of them were here already" in capsys.readouterr().out


def test_what_was_entered_elsewhere_for_a_hold_that_is_here_comes_in(
    records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An allergen that was acknowledged on one PC is told on the other, whatever was entered there."""
    facts = store(records / "dark-1") / "hold.json"
    facts.write_text(json.dumps({**json.loads(facts.read_text()), "profile": load_profile("dark").document()}))
    cli.main(["export", "a.zip"])
    cli.main(["stock", "dark-1", "--left", "600g", "--allergen", "hazelnut"])
    cli.main(["temper", "dark-1", "--minutes", "5"])
    cli.main(["temper", "dark-1", "--minutes", "6"])
    cli.main(["export", "b.zip"])
    elsewhere(monkeypatch, tmp_path)
    cli.main(["gather", "a.zip"])
    cli.main(["stock", "dark-1", "--left", "500g", "--water"])
    cli.main(["temper", "dark-1", "--minutes", "5"])
    capsys.readouterr()
    assert cli.main(["gather", "b.zip", "b.zip"]) == 0
    assert "dark-1: leftovers and temper tests that were entered elsewhere are added\n" in capsys.readouterr().out
    assert cli.main(["stock", "--json"]) == 1
    left = json.loads(capsys.readouterr().out)[0]
    assert (left["allergens"], left["water"], left["left_kg"]) == (["hazelnut"], True, 0.5)
    cli.main(["temper", "dark-1", "--json"])
    assert [each["minutes"] for each in json.loads(capsys.readouterr().out)] == [5.0, 6.0]
    for command in ("stock", "temper"):
        assert cli.main([command, "dark-1", "--undo"]) == 2  # it would drop what came, not the entry made here


def test_a_copy_with_more_rows_comes_in_beside_the_shorter_one_once(
    records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    store(records / "dark-1")
    cli.main(["export", "a.zip"])
    holds = elsewhere(monkeypatch, tmp_path)
    here = store(holds / "dark-1")
    lines = (here / "hold.csv").read_text().splitlines(keepends=True)
    (here / "hold.csv").write_text("".join(lines[:-1]))
    assert cli.main(["gather", "a.zip", "a.zip"]) == 0
    assert sorted(each.name for each in holds.iterdir()) == ["dark-1", "dark-1-2"]
    assert [len(read_log(holds / name)) for name in ("dark-1", "dark-1-2")] == [2, 3]
    out, err = capsys.readouterr()
    assert "dark-1-2 is dark-1 with rows that are not in it" in err
    assert "1 of them were here already" in out


@pytest.mark.parametrize(("apart_s", "rows", "added"), [
    (1, 3, ["dark-1"]), (-1, 3, ["dark-1"]), (299, 5, ["dark-1", "dark-1-2"]), (601, 3, ["dark-1"]),
    (7200, 3, ["dark-1", "dark-1-2"])])
def test_an_evening_that_one_pc_watched_and_another_collected_is_one(
    apart_s: int, rows: int, added: list[str], records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """They took its start from two clocks: of one bowl, one copy was fit and the other had bath water in it."""
    began = datetime.fromisoformat("2026-11-20T22:00:00+00:00")
    facts = store(records / "dark-1", rows=rows) / "hold.json"
    facts.write_text(json.dumps({**json.loads(facts.read_text()), "profile": load_profile("dark").document()}))
    cli.main(["stock", "dark-1", "--left", "600g", "--allergen", "hazelnut"])
    cli.main(["export", "a.zip"])
    holds = elsewhere(monkeypatch, tmp_path)
    there = store(holds / "dark-1", (began + timedelta(seconds=apart_s)).isoformat())
    cli.main(["gather", "a.zip"])
    assert sorted(each.name for each in holds.iterdir()) == added
    assert (there / "stock.json").exists() is (apart_s < 900)
    if apart_s < 900:
        assert read_leftovers(there).allergens == ["hazelnut"]


def test_another_hold_of_the_same_number_and_minute_is_another(
    records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A board that was erased counts from one again; a short hold must not pass for a part of the one before."""
    store(records / "dark-1", "2026-11-20T22:05:00+00:00")
    path = records / "dark-1" / "hold.csv"
    path.write_text(path.read_text().replace("33.0", "35.0"))
    cli.main(["export", "a.zip"])
    holds = elsewhere(monkeypatch, tmp_path)
    store(holds / "white-1", rows=9)
    cli.main(["gather", "a.zip"])
    assert sorted(each.name for each in holds.iterdir()) == ["dark-1", "white-1"]


def test_two_virtual_holds_of_the_same_second_are_two(records: Path, tmp_path: Path) -> None:
    """Their boards have one id, and count from 1."""
    for name, water_c in (("a", "33.0"), ("b", "34.0")):
        folder = store(tmp_path / "from" / name)
        facts = json.loads((folder / "hold.json").read_text())
        (folder / "hold.json").write_text(json.dumps({**facts, "VIRTUAL": True}))
        rows = (folder / "hold.csv").read_text()
        (folder / "hold.csv").write_text(rows.replace("33.0", water_c))
    for _ in range(2):
        assert cli.main(["gather", "from"]) == 0
    assert sorted(each.name for each in records.iterdir()) == ["a", "b"]


def test_another_hold_of_the_same_name_gets_a_name_of_its_own(
    records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store(records / "dark-1")
    cli.main(["export", "a.zip"])
    holds = elsewhere(monkeypatch, tmp_path)
    here = store(holds / "dark-1", started="2026-11-27T22:00:00+00:00", rows=5)
    before = (here / "hold.csv").read_bytes()
    assert cli.main(["gather", "a.zip"]) == 0
    assert sorted(each.name for each in holds.iterdir()) == ["dark-1", "dark-1-2"]
    assert (here / "hold.csv").read_bytes() == before


def test_another_home_is_gathered_as_a_folder(records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store(records / "dark-1")
    store(records / "dark-2", started="2026-11-21T22:00:00+00:00")
    holds = elsewhere(monkeypatch, tmp_path)
    assert cli.main(["gather", str(records.parent)]) == 0
    assert sorted(each.name for each in holds.iterdir()) == ["dark-1", "dark-2"]


def test_a_link_in_a_hold_s_folder_leads_nothing_of_this_pc_away(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder from a stranger, with a link for a picture: gathered, exported, and listed for the page."""
    (tmp_path / "secret").write_text("secret")
    stranger = store(tmp_path / "stick" / "a")
    (stranger / "hold.png").symlink_to(tmp_path / "secret")
    assert cli.main(["gather", "stick"]) == 0
    assert sorted(path.name for path in (records / "a").iterdir()) == ["events.jsonl", "hold.csv", "hold.json"]
    assert cli.main(["export", "b.zip", "stick/a"]) == 1
    assert "left out stick/a/hold.png: it is a link" in capsys.readouterr().err.replace(f"{tmp_path}/", "")
    with zipfile.ZipFile("b.zip") as archive:
        assert sorted(archive.namelist()) == ["a/events.jsonl", "a/hold.csv", "a/hold.json"]
    assert "hold.png" not in files_of(Entry(str(stranger), "a"))
    with pytest.raises(FileError, match="is a link"):
        read_pieces(stranger / "hold.png", follow=False)


def test_two_holds_whose_long_names_begin_alike_stay_two(records: Path) -> None:
    for end in ("one", "two"):
        store(records / ("x" * 60 + end), started=f"2026-11-2{len(end) + (end == 'two')}T22:00:00+00:00")
    cli.main(["export", "a.zip", *("x" * 60 + end for end in ("one", "two"))])
    with zipfile.ZipFile("a.zip") as archive:
        names = {name.partition("/")[0] for name in archive.namelist()}
    assert len(names) == 2
    for folder in list(records.iterdir()):
        shutil.rmtree(folder)
    assert cli.main(["gather", "a.zip"]) == 0
    assert len([each for each in records.iterdir() if (each / "hold.csv").exists()]) == 2


def test_a_folder_that_is_closed_to_us_stops_no_other(
    records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As lost+found on a stick, and another user's folder among the holds. Every look into one is refused."""
    really = os.stat

    def stat(path: Any, *args: Any, **named: Any) -> os.stat_result:
        if "lost+found/" in os.fspath(path):
            raise PermissionError(13, "Permission denied")
        return really(path, *args, **named)

    store(tmp_path / "stick" / "a")
    for folder in (tmp_path / "stick" / "lost+found", records / "lost+found"):
        folder.mkdir(parents=True)
    monkeypatch.setattr(os, "stat", stat)
    assert cli.main(["gather", "stick"]) == 0
    assert len(read_log(records / "a")) == 3


def test_an_archive_cannot_write_outside_the_home_or_any_other_file(records: Path, tmp_path: Path) -> None:
    data = (store(tmp_path / "made") / "hold.csv").read_bytes()
    with zipfile.ZipFile("evil.zip", "w") as archive:
        for name in ("../hold.csv", "/hold.csv", "../../x/hold.csv", "ok/run.py", "ok/../../hold.csv", "ok/hold.csv"):
            archive.writestr(name, data)
    assert cli.main(["gather", "evil.zip"]) == 0
    outside = {path.relative_to(tmp_path).parts[0] for path in tmp_path.rglob("*") if path.is_file()}
    assert outside == {"made", "evil.zip", "home"}
    assert {path.name for path in records.rglob("*") if path.is_file()} == {"hold.csv"}
    assert all(path.parent.parent == records for path in records.rglob("hold.csv"))


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"no archive at all" * 9])
def test_what_is_no_archive_is_refused_in_words(
    data: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.zip").write_bytes(data)
    assert cli.main(["gather", "a.zip"]) != 0
    assert "archive of holds" in capsys.readouterr().err


def test_a_cut_archive_leaves_nothing_behind(records: Path, tmp_path: Path) -> None:
    store(records / "dark-1", rows=500)
    cli.main(["export", "a.zip"])
    whole = (tmp_path / "a.zip").read_bytes()
    damaged = bytearray(whole)
    damaged[60:90] = bytes(30)
    (tmp_path / "a.zip").write_bytes(bytes(damaged))
    (records / "dark-1").rename(tmp_path / "aside")
    assert cli.main(["gather", "a.zip"]) != 0
    assert list(records.iterdir()) == []


def test_table_has_the_hold_and_the_time_of_day_in_each_row(records: Path, tmp_path: Path) -> None:
    """Read back with Python's csv module: 22:00 UTC plus the seconds of the hold; an unknown bowl is empty."""
    store(records / "dark-1")
    store(records / "dark-2", started="2026-11-21T22:00:00+00:00")
    assert cli.main(["export", "t.csv", "dark-1", "dark-2"]) == 0
    with (tmp_path / "t.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [row["hold"] for row in rows] == ["dark-1"] * 3 + ["dark-2"] * 3
    assert rows[1]["at_utc"] == "2026-11-20T22:00:02.000+00:00"
    assert (float(rows[1]["water_c"]), rows[1]["bowl_c"]) == (33.0, "")


def test_a_hold_named_twice_is_exported_once(records: Path, tmp_path: Path) -> None:
    folder = store(records / "dark-1")
    assert cli.main(["export", "t.csv", "dark-1", str(folder), "last"]) == 0
    assert len((tmp_path / "t.csv").read_text().splitlines()) == 4
    assert cli.main(["export", "t.zip", "dark-1", "dark-1"]) == 0
    with zipfile.ZipFile("t.zip") as archive:
        assert {name.partition("/")[0] for name in archive.namelist()} == {"dark-1"}


def test_parquet_opens_in_duckdb_with_the_same_rows(records: Path) -> None:
    store(records / "dark-1")
    assert cli.main(["export", "t.parquet"]) == 0
    with duckdb.connect() as database:
        found = database.execute("SELECT count(*), sum(t_s), count(bowl_c) FROM read_parquet('t.parquet')").fetchone()
    assert found == (3, 6.0, 0)


@pytest.mark.parametrize("name", ["t.parquet", "t.csv"])
def test_pandas_and_polars_read_the_same_table(name: str, records: Path) -> None:
    """Two libraries that share no reader: numbers as numbers, texts as texts, an unknown bowl as missing."""
    import pandas
    import polars

    store(records / "dark-1")
    assert cli.main(["export", name]) == 0
    kind = name.partition(".")[2]
    one, other = getattr(pandas, f"read_{kind}")(name), getattr(polars, f"read_{kind}")(name)
    assert list(one.columns) == other.columns == ["hold", "at_utc", *NAMES]
    assert one["water_c"].tolist() == other["water_c"].to_list() == [33.0, 33.0, 33.0]
    assert one["hold"].tolist() == other["hold"].to_list() == ["dark-1"] * 3
    assert one["bowl_c"].isna().all()
    assert other["bowl_c"].null_count() == 3


def test_the_sealed_log_of_a_hold_opens_in_pandas_and_polars(records: Path) -> None:
    import pandas
    import polars

    folder = store(records / "dark-1")
    seal(folder)
    one, other = pandas.read_parquet(folder / "hold.parquet"), polars.read_parquet(folder / "hold.parquet")
    assert list(one.columns) == other.columns == list(NAMES)
    assert one["t_s"].tolist() == other["t_s"].to_list() == [1.0, 2.0, 3.0]
    assert other["stage"].to_list() == ["work"] * 3


def test_an_unknown_format_is_refused_before_anything_is_read(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["export", "t.xls"]) == 2
    assert ".csv, .parquet or .zip" in capsys.readouterr().err


def test_a_folder_that_begins_with_a_tilde_is_a_plain_name(monkeypatch, tmp_path):
    """DuckDB takes it for somebody's home."""
    monkeypatch.chdir(tmp_path)
    folder = store(Path("~nobody") / "dark-1")
    assert len(read_log(seal(folder).parent)) == 3
    for target in ("~nobody/t.parquet", "~nobody/t.csv", "~nobody/archive/"):
        assert cli.main(["export", target, str(folder)]) == 0
        assert Path(target).exists()


@pytest.mark.parametrize("name", ["a.zip", "a.csv", "a.parquet"])
def test_an_export_writes_over_no_file(records, name, capsys):
    """It may have holds that were deleted here since, or be somebody's own table."""
    store(records / "dark-1")
    Path(name).write_text("mine")
    assert cli.main(["export", name, "dark-1"]) == 2
    assert f"{name} already exists" in capsys.readouterr().err
    assert Path(name).read_text() == "mine"


def test_a_full_disk_is_said_in_our_words_where_a_library_only_quotes_the_system() -> None:
    """As DuckDB said it on a full disk, in a CSV and in a Parquet file."""
    quoted = ('IO Error: Async write failed for range [offset=0, size=107]: {"exception_type":"IO","exception_message":'
              '"Could not write file \\"/x/.bain-writing-1/new\\": No space left on device","errno":"28"}')
    said = str(quoted_error("all.csv cannot be written", RuntimeError(quoted)))
    assert said.startswith("all.csv cannot be written: the disk is full")
    other = quoted_error("all.csv cannot be written", RuntimeError("IO Error: of another kind\nand more"))
    assert "got IO Error: of another kind" in str(other)


def test_an_archive_that_is_a_link_to_itself_is_refused_in_words(records: Path, tmp_path: Path) -> None:
    """Python before 3.13 raises an error of its own for it."""
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    with pytest.raises(FileError, match="cannot be made"):
        add(tmp_path / "a", [], lambda done: None)
    home.remember(tmp_path / "a")


def test_a_damaged_hold_of_an_archive_keeps_no_other_out(
    records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As from a folder: the others come in, and it is named."""
    for at in range(1, 6):
        store(records / f"dark-{at}", f"2026-11-2{at}T22:00:00+00:00", rows=300 + at)
    assert cli.main(["export", "a.zip", "--since", "2026-01-01"]) == 0
    with zipfile.ZipFile("a.zip") as archive:
        at = archive.getinfo("dark-3/hold.csv").header_offset + 200
    data = bytearray(Path("a.zip").read_bytes())
    data[at] ^= 0x55
    Path("a.zip").write_bytes(data)
    holds = elsewhere(monkeypatch, tmp_path)
    capsys.readouterr()
    assert cli.main(["gather", "a.zip"]) == 1
    assert sorted(each.name for each in holds.iterdir()) == ["dark-1", "dark-2", "dark-4", "dark-5"]
    said = "".join(capsys.readouterr())
    assert "dark-3: its hold.csv is damaged" in said
