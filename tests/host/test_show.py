"""A finished hold is shown again, whatever was lost of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fake_board import event_line, status_line
from stored_holds import FACTS, store

from bainwright import cli
from bainwright.core import home
from bainwright.core.errors import FileError
from bainwright.core.units import clock_words
from bainwright.display import picture
from bainwright.display.scene import Scene
from bainwright.evening.prompts import EveningPrompts
from bainwright.evening.watch import Watch
from bainwright.files.chocolate import load_profile, window_at
from bainwright.files.rig import load_rig
from bainwright.link.messages import decode
from bainwright.record.writer import LiveLog

Capture = pytest.CaptureFixture[str]
Block = Callable[[Path], None]


@pytest.fixture(autouse=True)
def records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A separate folder for records, and another as the working folder."""
    monkeypatch.setenv(home.VARIABLE, str(tmp_path / "home"))
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "home"


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
@pytest.mark.parametrize("damage", ["{", "[1]", "\0", pytest.param("[" * 5000, id="nested")])
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
    assert [line.partition(":")[0] for line in said.out.splitlines()] == ["dark-1", "dark-3"]
    assert f"{bad} is not a record of leftovers" in said.err


def test_a_hold_named_as_the_list_names_it_is_the_one_melted_again(records: Path, capsys: Capture) -> None:
    for name in ("dark-1", "dark-2"):
        store(records / "holds" / name, hold=int(name[-1]))
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
