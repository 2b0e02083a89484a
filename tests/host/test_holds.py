"""Every hold is listed and found from any folder; damage costs one hold at most."""

from __future__ import annotations

import json
import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from stored_holds import FACTS, store

from bainwright import cli
from bainwright.archive import listing
from bainwright.archive.finding import find, parse_since
from bainwright.core import home
from bainwright.core.errors import FileError, UseError
from bainwright.record.reader import read_log
from bainwright.record.writer import seal
from bainwright.review.hold_list import lines

Capture = pytest.CaptureFixture[str]
Block = Callable[[Path], None]


@pytest.fixture(autouse=True)
def records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A separate folder for records, and another as the working folder."""
    monkeypatch.setenv(home.VARIABLE, str(tmp_path / "home"))
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "home"


def names() -> list[str]:
    return [hold.name for hold in listing.list_holds()]


def test_holds_are_listed_from_any_folder_the_newest_first(records: Path, tmp_path: Path) -> None:
    for at, day in (("dark-1", 10), ("dark-2", 22), ("milk-1", 15)):
        store(records / "holds" / at, started=f"2026-11-{day}T18:00:00+00:00")
    home.remember(store(tmp_path / "elsewhere" / "night", started="2026-11-18T21:00:00+00:00"))
    assert names() == ["dark-2", "night", "milk-1", "dark-1"]


def test_a_hold_without_a_start_comes_last_and_says_so(records: Path) -> None:
    store(records / "holds" / "dark-1", started=None)
    store(records / "holds" / "dark-2")
    assert names() == ["dark-2", "dark-1"]
    assert lines(listing.list_holds())[2].split()[:4] == ["dark-1", "?", "?", "?"]


def test_a_hold_that_began_after_now_is_not_the_last(records: Path, capsys: Capture) -> None:
    """A PC's clock was ahead once; the list says which hold that was."""
    now = datetime.now(UTC)
    store(records / "holds" / "dark-1", started=(now + timedelta(days=200)).isoformat())
    store(records / "holds" / "dark-2", started=(now - timedelta(hours=1)).isoformat())
    store(records / "holds" / "dark-3", started=(now + timedelta(minutes=5)).isoformat())  # another PC's clock
    assert names() == ["dark-3", "dark-2", "dark-1"]
    assert find("last", listing.list_holds(), date.today()).name == "dark-3"
    assert cli.main(["holds"]) == 0
    assert "dark-1 began after now" in capsys.readouterr().err


@pytest.mark.parametrize(("changes", "verdict"), [
    ({}, "in window"),
    ({"trips": [{"fault": 1}]}, "tripped"),
    ({"ended": "restarted"}, "cut short"),
    ({"ended": "lost"}, "board lost"),
    ({"ended": None}, "no end"),
    ({"report": {"in_window_fraction": 0.0}}, "never there"),
    ({"report": {"in_window_fraction": 0.5, "above_s": 0.0}}, "left window"),
    ({"report": {"in_window_fraction": 0.5, "above_s": 3600.0}}, "too warm"),
    ({"report": {"in_window_fraction": 0.99, "temper": "lost"}}, "temper lost"),
    ({"report": {"bowl_peak_c": 48.0, "dipping": {"bowl_peak_c": None}}}, "not dipped"),
    ({"report": {"bowl_peak_c": 48.0, "dipping": {"bowl_peak_c": None}, "temper": "set"}}, "it set"),
    ({"report": {"bowl_peak_c": None}}, "not known"),
])  # fmt: skip
def test_verdict_says_in_two_words_how_it_went(records: Path, changes: dict[str, Any], verdict: str) -> None:
    store(records / "holds" / "dark-1", **changes)
    assert listing.list_holds()[0].verdict == verdict


def test_a_hold_whose_program_was_killed_is_listed_with_what_its_log_tells(records: Path, capsys: Capture) -> None:
    """Its trip, length and peak, in the list, the sums and when it is shown; and anew as its log grows."""
    folder = store(records / "holds" / "dark-1", ended=None, duration_s=None, report=None)
    assert [(hold.verdict, hold.trips) for hold in listing.list_holds()] == [("no end", 0)]
    log = folder / "hold.csv"
    last = log.read_text().splitlines()[-1]
    log.write_text(log.read_text() + last.replace("2.000,", "3600.000,").replace("31.5", "34.2") + "\n")
    with (folder / "events.jsonl").open("a") as events:
        events.write('{"t_s": 2.0, "event": "trip", "fault": 4, "latched": true}\n')
    (hold,) = listing.list_holds(shown=True)
    assert (hold.verdict, hold.trips, hold.recorded_s, hold.duration_s) == ("tripped", 1, 3600.0, None)
    assert (hold.bowl_peak_c, hold.water_peak_c) == (34.2, 33.0)
    assert lines([hold])[1].split()[3:9] == ["?", "1", "h", "dark", "tripped", "1"]
    for picture in ("hold.png", "hold.svg"):
        (folder / picture).touch()
    assert cli.main(["show", "dark-1"]) == 0
    assert "dark chocolate, tripped" in (said := capsys.readouterr().out)
    assert "no end recorded" in said
    assert "(1 h recorded)" in said


def test_a_test_that_was_entered_later_is_in_the_list_at_once(records: Path) -> None:
    folder = store(records / "holds" / "dark-1", report={**FACTS["report"], "temper": "lost"})
    assert [hold.verdict for hold in listing.list_holds()] == ["temper lost"]
    entries = ((["--not-set"], "test failed"), (["--minutes", "4"], "in window"), (["--undo"], "test failed"))
    for typed, verdict in entries:
        cli.main(["temper", str(folder), *typed])
        assert [hold.verdict for hold in listing.list_holds()] == [verdict]


@pytest.mark.parametrize("damage", [
    "", "{", "[1]", "null", '{"started": 5, "profile": [], "rig": 3, "trips": 7, "hold": true, "duration_s": "x"}',
    '{"duration_s": 1e999}', "[" * 5000,
    '{"started": "2026-13-40", "duration_s": null, "report": [1], "board": {"board": 1}}',
])  # fmt: skip
def test_damaged_facts_cost_that_hold_at_most(records: Path, damage: str) -> None:
    store(records / "holds" / "dark-1")
    bad = store(records / "holds" / "dark-2")
    (bad / "hold.json").write_text(damage)
    assert "dark-1" in names()
    lines(listing.list_holds())


def test_a_hold_that_lost_its_facts_is_listed_with_what_its_sealed_log_says(records: Path) -> None:
    folder = store(records / "holds" / "dark-1")
    seal(folder)
    (folder / "hold.json").unlink()
    (hold,) = listing.list_holds()
    assert (hold.chocolate, hold.warmer, hold.verdict) == ("dark", "my pot", "in window")
    (folder / "hold.parquet").unlink()
    (hold,) = listing.list_holds()
    assert (hold.name, hold.chocolate, hold.verdict) == ("dark-1", "", "facts lost")
    assert find("dark-1", [hold], date(2026, 11, 29)) == folder


def test_a_hold_that_lost_its_rows_is_shown_from_its_sealed_log(records: Path, capsys: Capture) -> None:
    """Gone, empty because the disk was full when somebody copied it, cut between two lines, or torn in the first."""
    folder = store(records / "holds" / "dark-1")
    seal(folder)
    log = folder / "hold.csv"
    whole = log.read_bytes()
    lines_of = whole.splitlines(keepends=True)
    for left in (None, b"", lines_of[0], b"".join(lines_of[:2]), b"\0\0\0\0" + whole[4:]):
        log.unlink() if left is None else log.write_bytes(left)
        assert cli.main(["show", "dark-1"]) == 0
        said = capsys.readouterr()
        assert "the rows are those of hold.parquet" in said.err
        assert "99 % of the time" in said.out
    log.write_bytes(whole + lines_of[-1].replace(b"2.000,", b"3.000,"))  # what came after it was sealed
    assert len(read_log(folder)) == 4


def test_a_list_of_holds_elsewhere_that_cannot_be_read_hides_no_other_and_is_never_replaced(
    records: Path, tmp_path: Path, capsys: Capture
) -> None:
    store(records / "holds" / "dark-1")
    night = store(tmp_path / "elsewhere" / "night")
    (records / home.ELSEWHERE).write_bytes(b"x" * home.MOST_BYTES + b"\n")
    assert home.remember(night) is None
    assert cli.main(["holds"]) == 1
    said = capsys.readouterr()
    assert "dark-1" in said.out
    assert "holds outside" in said.err
    assert "too long" in said.err
    assert (records / home.ELSEWHERE).read_bytes().endswith(f"\n{night}\n".encode())


@pytest.mark.parametrize("inside", ["", "may/one", "boards/one", "boards"])
def test_a_hold_is_listed_wherever_among_the_holds_it_was_put(records: Path, inside: str) -> None:
    home.remember(store(records / "holds" / inside))
    assert len(names()) == 1


def test_a_home_that_cannot_be_listed_is_not_one_without_holds(records: Path, capsys: Capture) -> None:
    records.mkdir(parents=True, exist_ok=True)
    (records / "holds").write_text("")
    home.remember(store(records.parent / "elsewhere" / "night"))  # the last of those that can be listed
    assert cli.main(["show", "last"]) == 2
    assert "cannot be listed" in capsys.readouterr().err


def test_a_link_to_itself_hides_no_hold(records: Path, capsys: Capture) -> None:
    store(records / "holds" / "dark-1")
    (records / "holds" / "loop").symlink_to(records / "holds" / "loop")
    assert cli.main(["holds"]) == 0
    assert "dark-1" in capsys.readouterr().out


@pytest.mark.parametrize("block", [Path.mkdir, os.mkfifo])
def test_a_hold_that_cannot_be_listed_says_so_and_does_not_wait(records: Path, tmp_path: Path, block: Block) -> None:
    records.mkdir()
    block(records / home.ELSEWHERE)
    refused = home.remember(tmp_path / "elsewhere")
    assert refused
    assert "is not added to the list of holds" in refused


def test_holds_that_begin_together_are_all_listed(records: Path, tmp_path: Path) -> None:
    """Eight processes, twenty folders each; half a line that a full disk left costs no other."""
    records.mkdir()
    (records / home.ELSEWHERE).write_text("/half/a/li")
    folders = [[tmp_path / f"{one}-{at}\u2028" for at in range(20)] for one in range(8)]
    with ProcessPoolExecutor(8, multiprocessing.get_context("fork")) as pool:
        list(pool.map(remember_all, folders))
    assert set(home.elsewhere()) == {Path("/half/a/li"), *(each for some in folders for each in some)}


def remember_all(folders: list[Path]) -> None:
    for folder in folders:
        home.remember(folder)


def test_list_is_remembered_and_a_changed_hold_is_read_again(records: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = store(records / "holds" / "dark-1")
    assert names() == ["dark-1"]
    read: list[Path] = []
    really = listing._read
    monkeypatch.setattr(listing, "_read", lambda path: read.append(path) or really(path))
    assert names() == ["dark-1"]
    assert read == []
    (folder / "hold.json").write_text(json.dumps({**FACTS, "stage": "melted"}) + " ")
    listing.list_holds()
    assert read == [folder]


@pytest.mark.parametrize("left", ["", "{", '{"schema": 1}', '{"schema": 99, "holds": {}}', "\x00\xff"])
def test_a_damaged_list_is_made_again(records: Path, left: str) -> None:
    store(records / "holds" / "dark-1")
    (records / listing.REMEMBERED).write_text(left)
    assert names() == ["dark-1"]


def test_a_home_that_cannot_be_written_only_costs_time(records: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store(records / "holds" / "dark-1")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(listing, "replace_file", full)
    assert names() == ["dark-1"]


def test_no_holds_at_all_says_how_to_make_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["holds"]) == 0
    assert "there are no holds yet" in capsys.readouterr().err
    assert cli.main(["show"]) == 2
    assert "there are no holds yet" in capsys.readouterr().err


# -- finding one ------------------------------------------------------------------------------------------------------


def test_last_yesterday_name_and_folder_find_a_hold(records: Path) -> None:
    today = datetime.now().astimezone()
    noon = today.replace(hour=12)
    for name, began in (("dark-1", noon - timedelta(days=3)), ("milk-1", noon - timedelta(days=1)), ("dark-2", today)):
        store(records / "holds" / name, started=began.astimezone(UTC).isoformat())
    holds = listing.list_holds()
    for named, found in (("last", "dark-2"), ("yesterday", "milk-1"), ("dark-1", "dark-1")):
        assert find(named, holds, today.date()).name == found
    folder = records / "holds" / "dark-1"
    assert find(str(folder), holds, today.date()) == folder
    assert find(str(folder / "hold.csv"), holds, today.date()) == folder


def test_two_holds_of_one_name_are_known_by_their_folders(records: Path, tmp_path: Path) -> None:
    home.remember(store(tmp_path / "there" / "dark-1"))
    store(records / "holds" / "dark-1")
    with pytest.raises(FileError, match=r"2 holds of the name dark-1.*there/dark-1"):
        find("dark-1", listing.list_holds(), date(2026, 11, 29))


def test_an_unknown_name_names_the_nearest(records: Path) -> None:
    store(records / "holds" / "dark-1")
    with pytest.raises(FileError, match=r"no hold 'drak-1'.*did you mean dark-1"):
        find("drak-1", listing.list_holds(), date(2026, 11, 29))


def test_since_takes_a_date_or_days_back() -> None:
    now = datetime(2026, 11, 29, 12, tzinfo=UTC)
    assert parse_since("7d", now) == now - timedelta(days=7)
    assert parse_since("2026-11-01", now).date() == date(2026, 11, 1)
    for text in ("7", "\u0663d", "d", "soon", "2026-13-01", "-3d", "999999999d", ""):
        with pytest.raises(UseError, match="--since"):
            parse_since(text, now)


def test_selection_is_by_warmer_kind_and_start(records: Path) -> None:
    store(records / "holds" / "dark-1")
    store(records / "holds" / "milk-1", rig={"name": "plate"}, profile={"name": "my milk", "kind": "milk"},
          started="2026-11-25T18:00:00+00:00")  # fmt: skip
    holds = listing.list_holds()
    assert [hold.name for hold in listing.select(holds, warmer="My Pot")] == ["dark-1"]
    assert [hold.name for hold in listing.select(holds, kind="milk")] == ["milk-1"]
    assert [hold.name for hold in listing.select(holds, since=datetime(2026, 11, 22, tzinfo=UTC))] == ["milk-1"]
