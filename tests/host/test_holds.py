"""Every hold is listed and found from any folder, and shown again; damage costs one hold at most."""

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
from fake_board import event_line, status_line

from bainwright import cli
from bainwright.archive import listing
from bainwright.archive.finding import find, parse_since
from bainwright.core import home
from bainwright.core.errors import FileError, UseError
from bainwright.core.units import clock_words
from bainwright.display import picture
from bainwright.display.scene import Scene
from bainwright.evening.prompts import EveningPrompts
from bainwright.evening.watch import Watch
from bainwright.files.chocolate import load_profile, window_at
from bainwright.files.rig import load_rig
from bainwright.link.messages import decode
from bainwright.record.columns import HEADER, NAMES
from bainwright.record.writer import LiveLog, seal
from bainwright.review.hold_list import lines

Capture = pytest.CaptureFixture[str]
Block = Callable[[Path], None]

FACTS: dict[str, Any] = {
    "VIRTUAL": False, "started": "2026-11-20T18:00:00+00:00", "stage": "work", "ended": "done", "duration_s": 7200.0,
    "trips": [], "hold": 4,
    "profile": {"name": "dark", "kind": "dark", "low_c": 31.0, "target_c": 31.5, "high_c": 32.0, "ceiling_c": 34.5,
                "never_above_c": 55.0, "melt_c": 48.0, "keep_c": 40.0, "set_min": 5.0, "fail_min": 10.0},
    "rig": {"name": "my pot"}, "board": {"board": "0011", "version": "0.1.0"},
    "report": {"in_window_fraction": 0.99, "bowl_peak_c": 31.9, "water_peak_c": 33.4, "above_s": 0.0,
               "summary": "Held dark for 2 h: in its window 99 % of the time."},
}  # fmt: skip


@pytest.fixture(autouse=True)
def records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A separate folder for records, and another as the working folder."""
    monkeypatch.setenv(home.VARIABLE, str(tmp_path / "home"))
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "home"


def store(folder: Path, **changes: Any) -> Path:
    """A hold's folder with facts and a short log."""
    folder.mkdir(parents=True)
    (folder / "hold.json").write_text(json.dumps({**FACTS, **changes}))
    texts = {"state": "hold", "stage": "work", "water_c": "33.0", "bowl_c": "31.5", "ask": ""}
    row = dict.fromkeys(NAMES, "0") | texts
    rows = [",".join(str({**row, "t_s": f"{t_s}.000"}[name]) for name in NAMES) for t_s in range(3)]
    (folder / "hold.csv").write_text("\n".join([HEADER, *rows]) + "\n")
    (folder / "events.jsonl").write_text(json.dumps({"t_s": 1.0, "event": "thicker"}) + "\n")
    return folder


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
])  # fmt: skip
def test_verdict_says_in_two_words_how_it_went(records: Path, changes: dict[str, Any], verdict: str) -> None:
    store(records / "holds" / "dark-1", **changes)
    assert listing.list_holds()[0].verdict == verdict


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
    """Gone, or empty because the disk was full when somebody copied it."""
    folder = store(records / "holds" / "dark-1")
    seal(folder)
    for damage in (Path.unlink, Path.touch):
        damage(folder / "hold.csv")
        assert cli.main(["show", "dark-1"]) == 0
        said = capsys.readouterr()
        assert "the rows are those of hold.parquet" in said.err
        assert "99 % of the time" in said.out


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


def test_a_home_that_cannot_be_listed_is_not_one_without_holds(records: Path, capsys: Capture) -> None:
    records.mkdir(parents=True, exist_ok=True)
    (records / "holds").write_text("")
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
    today = datetime.now().astimezone().replace(hour=12)
    for name, days in (("dark-1", 3), ("milk-1", 1), ("dark-2", 0)):
        store(records / "holds" / name, started=(today - timedelta(days=days)).astimezone(UTC).isoformat())
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


# -- shown again ------------------------------------------------------------------------------------------------------


def test_show_has_report_steps_and_events_by_the_clock_and_draws_a_missing_picture(
    records: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", "UTC")
    folder = store(records / "holds" / "dark-1")
    assert cli.main(["show", "dark-1"]) == 0
    said = capsys.readouterr().out
    for wanted in ("in window", "20 Nov 2026", "'my pot'", "99 % of the time", "dipping", "18:00:01   0:00:01  it"):
        assert wanted in said
    assert (folder / "hold.png").exists()


def test_show_makes_every_file_that_a_killed_end_left_out(records: Path, capsys: Capture) -> None:
    folder = store(records / "holds" / "dark-1")
    (folder / "hold.png").write_bytes(b"drawn before the PC was killed")
    assert cli.main(["show", "dark-1"]) == 0
    assert {"hold.parquet", "hold.svg", "hold.png"} <= {path.name for path in folder.iterdir()}
    (folder / "hold.svg").unlink()
    (folder / "hold.csv").unlink()  # the rows come from the sealed log
    assert cli.main(["show", "dark-1"]) == 0
    assert (folder / "hold.svg").exists()


def test_show_has_status_1_where_a_missing_file_cannot_be_made(
    records: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    store(records / "holds" / "dark-1")

    def full(*_: Any, **__: Any) -> None:
        raise FileError("the picture cannot be written: the disk is full")

    monkeypatch.setattr(picture, "save_file", full)
    assert cli.main(["show", "dark-1"]) == 1
    said = capsys.readouterr()
    assert "the disk is full" in said.err
    assert "There is no picture." in said.out


def test_show_as_json_has_its_moments_with_their_zone(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store(records / "holds" / "dark-1")
    assert cli.main(["show", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert datetime.fromisoformat(result["started"]) == datetime(2026, 11, 20, 18, tzinfo=UTC)
    assert datetime.fromisoformat(result["ended"]) == datetime(2026, 11, 20, 20, tzinfo=UTC)
    assert result["stages"] == [{"stage": "work", "from_s": 0.0, "to_s": 2.0}]
    assert result["verdict"] == "in window"


@pytest.mark.parametrize("command", [["temper"], ["stock"], ["show"], ["review"]])
def test_every_command_about_a_hold_takes_what_the_list_calls_it(
    records: Path, capsys: Capture, command: list[str]
) -> None:
    folder = store(records / "holds" / "dark-1")
    for named in ("last", "dark-1", str(folder), str(folder / "hold.csv")):
        assert cli.main([*command, named]) == 0, capsys.readouterr().err
    assert cli.main([*command, "drak-1"]) == 2
    assert "did you mean dark-1?" in capsys.readouterr().err


def test_an_error_about_an_endless_name_is_no_longer_than_half_a_screen(capsys: Capture) -> None:
    assert cli.main(["show", "x" * 100_000]) == 2
    assert len(capsys.readouterr().err) < 2100


@pytest.mark.parametrize("name", ["temper.json", "stock.json"])
@pytest.mark.parametrize("damage", ["{", "[1]", "\0", "[" * 5000])
def test_a_damaged_record_beside_the_log_is_named_and_the_rest_is_shown(
    records: Path, capsys: Capture, name: str, damage: str
) -> None:
    folder = store(records / "holds" / "dark-1")
    (folder / name).write_text(damage)
    assert cli.main(["show", "dark-1"]) == 0
    said = capsys.readouterr()
    assert f"{folder / name} is not a record" in said.err
    assert "99 % of the time" in said.out


def test_a_damaged_record_of_leftovers_hides_no_other(records: Path, capsys: Capture) -> None:
    for name in ("dark-1", "dark-2", "dark-3"):
        store(records / "holds" / name)
        assert cli.main(["stock", name, "--left", "640g"]) == 0
    bad = records / "holds" / "dark-2" / "stock.json"
    bad.write_text("{")
    capsys.readouterr()
    assert cli.main(["stock"]) == 1
    said = capsys.readouterr()
    assert [line.partition(":")[0] for line in said.out.splitlines()] == [str(records / "holds" / "dark-1"),
                                                                          str(records / "holds" / "dark-3")]
    assert f"{bad} is not a record of leftovers" in said.err


def test_a_hold_named_as_the_list_names_it_is_the_one_melted_again(records: Path, capsys: Capture) -> None:
    for name in ("dark-1", "dark-2"):
        store(records / "holds" / name)
    assert cli.main(["stock", "dark-1", "--left", "640g"]) == 0
    assert cli.main(["stock", "dark-2", "--of", "dark-1"]) == 0
    assert "melted 2 times" in capsys.readouterr().out


def test_show_gives_the_moments_that_the_person_who_watched_was_shown(records: Path, capsys: Capture) -> None:
    """A noisy probe at the edge, then ten minutes below the window, as the runner shows and `bain show` repeats it."""
    folder = records / "holds" / "dark-1"
    folder.mkdir(parents=True)
    profile = load_profile("dark")
    log, view = LiveLog(folder, {**FACTS, "profile": profile.document()}), Seen()
    course = Watch(Scene("dark", "pot", window_at(profile, "work"), False, 1500.0, 150.0), log, view,
                   prompts=EveningPrompts(profile, load_rig("pot")))  # fmt: skip
    low = round(1000 * window_at(profile, "work").low_c)
    for second in range(1, 1501):
        bowl = low - 500 if 600 < second <= 1200 else low + 20 * (second % 3 - 1)
        course.take(decode(status_line(second, 1000 * second, bowl=bowl)[:-1]))
        if second % 50 == 0:
            course.take(decode(event_line("below", second, 1000 * second)[:-1]))
    course.take(decode(event_line("thicker", 2, 1_490_000)[:-1]))
    log.close(ended="done")
    assert cli.main(["show", "dark-1"]) == 0
    shown = capsys.readouterr().out
    happened = shown[shown.index("What happened") :].split("\n\n")[0].splitlines()[1:]
    news = [(clock_words(t_s), text) for t_s, text in view.events if "window" in text]
    assert len(news) == 3
    assert [tuple(line.split(maxsplit=2)[1:]) for line in happened if "window" in line] == news


class Seen:
    """A view that records what it was given."""

    def __init__(self) -> None:
        self.events: list[tuple[float, str]] = []

    def event(self, t_s: float, text: str) -> None:
        self.events.append((t_s, text))

    def refresh(self, scene: Scene) -> None: ...

    def say(self, text: str) -> None: ...


def test_a_log_that_is_gone_is_named_in_words(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (store(records / "holds" / "dark-1") / "hold.csv").unlink()
    assert cli.main(["show"]) == 2
    assert "hold.csv" in capsys.readouterr().err
