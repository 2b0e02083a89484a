"""A hold whose disk is full, whose folder goes, or whose report is not stored."""

import shutil

import pytest
from fake_board import FakeBoard, FakeSession, status_line
from scripted_hold import Counter, Keyboard, Notebook, done, quiet, runner_of, turning

from bainwright.core.errors import FullDiskError, UseError
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.link.messages import decode
from bainwright.record import writer
from bainwright.record.reader import read_log
from bainwright.record.writer import make_folder
from bainwright.report.report import report

pytestmark = pytest.mark.usefixtures("undrawn")


def no_room(file, data):
    """A write on a full disk."""
    raise OSError(28, "No space left on device")


def test_a_full_disk_is_said_once_and_the_hold_continues(here, monkeypatch):
    """Disk full mid-hold: words, no end."""
    runner = runner_of(quiet())
    course = turning(runner, Keyboard({}), Counter(), 2)
    monkeypatch.setattr(writer, "_write_all", no_room)
    for _ in range(5):
        runner._turn(course, Keyboard({}), Counter())
    assert runner.view.said.count(course.log.trouble) == 1
    assert "the disk is full" in course.log.trouble
    assert course.ended is None


def test_a_report_that_is_not_stored_is_named_and_the_log_is_whole(here, monkeypatch):
    """The disk fills up between the last row and the report."""
    runner = runner_of([*quiet(), done()])
    ended = runner.run()
    really = writer.replace_file

    def full(path, content, **how):
        if '"report"' in content:
            raise OSError(28, "No space left on device")
        really(path, content, **how)

    monkeypatch.setattr(writer, "replace_file", full)
    found = report(runner, ended, None)
    assert any("the report is not stored in holds/dark-1/hold.json: the disk is full" in note for note in found.notes)
    assert "report" not in read_log(here / "holds" / "dark-1").facts
    assert len(read_log(here / "holds" / "dark-1")) == 30


def test_no_picture_is_promised_where_the_disk_was_full_and_the_status_is_1(here, monkeypatch):
    """The rows from the moment on are named, and the hold itself was quiet."""
    runner = runner_of([*quiet(), done()])
    ended = runner.run()
    whole = report(runner, ended, None)
    assert whole.where() == "Scored from the readings. Log and picture: holds/dark-1"
    assert whole.exit_code == 0
    for second in (31, 32):
        ended.watch.log.status(1000 * second, decode(status_line(second, 1000 * second)[:-1]))
    monkeypatch.setattr(writer, "_write_all", no_room)
    cut = report(runner, ended, None)
    assert cut.where() == "Scored from the readings. The log, as far as it could be written: holds/dark-1"
    assert "lacks its rows from 0:00:31 to 0:00:32" in cut.notes[0]
    assert cut.exit_code == 1


def test_nothing_heats_before_there_is_a_place_for_the_log(here, monkeypatch):
    """A file in the way, a folder with a log, a full disk: the board is asked nothing."""
    (here / "file").touch()
    make_folder(here / "taken", "dark")
    for out, said in (("file/out", "cannot be made"), ("taken", "already holds a log")):
        board = FakeBoard(lambda: iter([]))
        with pytest.raises(UseError, match=said):
            runner_of([], board=board, out=out)
        assert board.asked == []
    monkeypatch.setattr(writer, "_write_all", no_room)
    with pytest.raises(FullDiskError, match=r"out takes no log: the disk is full"):
        runner_of([], board=board, out="out")
    assert board.asked == []


def test_a_folder_deleted_during_a_hold_costs_no_row_and_is_shown(here):
    """The person deletes --out while the hold runs; the log continues under holds/."""

    class Deletes(Notebook):
        """Deletes the folder once two rows are in it."""

        def refresh(self, scene):
            super().refresh(scene)
            if scene.t_s == 2:
                shutil.rmtree(here / "out")

    session = FakeSession(FakeBoard(lambda: iter([*quiet(), done()])))
    runner = Runner(resolve(HoldRequest("dark", for_="30s", out="out")), session, Deletes())
    runner.prepare()
    outcome = report(runner, runner.run(), None)
    assert outcome.result["folder"] == "holds/dark-1"
    assert list(read_log(here / "holds" / "dark-1")["t_s"]) == list(range(1, 31))
    assert any("the log continues in holds/dark-1" in str(said) for said in runner.view.said + runner.view.events)


@pytest.mark.parametrize("leads_to", ["private", "none"])
def test_a_link_in_the_place_of_the_events_is_not_followed(here, leads_to):
    (here / "private").write_text("private")
    (here / "out").mkdir()
    (here / "out" / "events.jsonl").symlink_to(here / leads_to)
    with pytest.raises(UseError, match="already holds a log"):
        runner_of([*quiet(), done()], out="out")
    with pytest.raises(OSError, match="symbolic links"):
        writer._Growing(here / "out")
    assert sorted(path.name for path in here.iterdir()) == ["out", "private"]
    assert (here / "private").read_text() == "private"


def test_a_log_cut_short_during_a_hold_continues_whole_elsewhere(here):
    """Another program saves an empty file onto it: the rows from then on can be read, and the person learns it."""

    class Empties(Notebook):
        """Empties the log once ten rows are in it."""

        def refresh(self, scene):
            super().refresh(scene)
            if scene.t_s == 10:
                (here / "out" / "hold.csv").write_text("")

    session = FakeSession(FakeBoard(lambda: iter([*quiet(), done()])))
    runner = Runner(resolve(HoldRequest("dark", for_="30s", out="out")), session, Empties())
    runner.prepare()
    runner.run().watch.log.close()
    assert list(read_log(here / "holds" / "dark-1")["t_s"]) == list(range(11, 31))
    assert any("cut short by another program" in str(said) for said in runner.view.said + runner.view.events)
