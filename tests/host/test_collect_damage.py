"""Collecting from a board that lies, and into a log that is damaged: nothing a PC wrote is lost, and it ends."""

import contextlib
import errno
import json
import struct
from pathlib import Path

import pytest
from fake_board import FakeSession
from logging_board import ASKED, LoggingBoard

from bainboard import flashlog, framing, wire
from bainwright.core.errors import LinkError
from bainwright.link.messages import Status, decode
from bainwright.link.protocol import Link
from bainwright.record.archive import Archive
from bainwright.record.boardlog import Frame, entries, read_holds, read_segment
from bainwright.record.collecting import list_segments
from bainwright.record.columns import HEADER, row
from bainwright.record.reader import read_log
from bainwright.report import collect as collect_module
from bainwright.report import report
from bainwright.report.collect import CollectAsked, collect

pytestmark = pytest.mark.usefixtures("undrawn")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder of its own; the flash is beside it."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def collected(board, monkeypatch, **asked):
    """The result of collecting from this board."""
    monkeypatch.setattr(collect_module, "open_stored", lambda port, image: contextlib.closing(FakeSession(board)))
    return collect(CollectAsked(**asked))


def test_a_disk_without_room_for_the_picture_names_the_folder_that_stays(here, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, "full")

    board = LoggingBoard(here / "flash")
    board.start()
    board.hold(60)
    board.end()
    monkeypatch.setattr(report, "seal", full)
    done = collected(board, monkeypatch)
    notes = [note for each in done.holds for note in each.notes]
    assert any(f"bain show {Path('holds', 'dark-1')} makes what is missing" in note for note in notes), notes


DAMAGE = [
    (b"31.500,0,31.500", b"nan,0,31.500"),
    (b"hold,work", b"hold;work"),
    (b"\n300.000,", b"\n300.0\x00\xff0,"),
]


@pytest.mark.parametrize(("old", "new"), DAMAGE)
def test_a_damaged_row_costs_the_pc_log_no_other_row(here, monkeypatch, old, new):
    """Before, 1,200 rows of the PC gave way to the board's 121, silently."""
    board = LoggingBoard(here / "flash")
    board.start()
    lines = board.hold(600)
    board.end()
    collected(board, monkeypatch)  # makes the folder with the board's rows; the PC's take their place
    folder = here / "holds" / "dark-1"
    rows = write_pc_log(folder, lines)
    damaged = (folder / "hold.csv").read_bytes().replace(old, new, 1)
    assert damaged != (folder / "hold.csv").read_bytes()
    (folder / "hold.csv").write_bytes(damaged)
    done = collected(board, monkeypatch)
    after = read_log(folder)
    assert len(after) >= rows - 1
    assert set(after["t_s"]) >= set(rows_whole(damaged))
    assert (folder / "hold.csv.before-1").read_bytes() == damaged
    assert any("the original is hold.csv.before-1" in note for report in done.holds for note in report.notes)


def write_pc_log(folder, lines):
    """Make a folder's log the one a PC would have written: a row a second, and not known to be whole."""
    statuses = [message for line in lines if isinstance(message := decode(line[:-1]), Status)]
    (folder / "hold.csv").write_text(HEADER + "\n" + "".join(row(each.t, each) for each in statuses))
    facts = json.loads((folder / "hold.json").read_text())
    (folder / "hold.json").write_text(json.dumps({**facts, "through": 0, "ended": "lost", "row_s": 1.0}))
    return len(statuses)


def rows_whole(data):
    """The times of the rows that are whole."""
    whole = []
    for line in data.decode(errors="replace").splitlines()[1:]:
        first = line.split(",")[0]
        if line.count(",") == 12 and "nan" not in line and "\ufffd" not in line:
            whole.append(float(first))
    return whole


def entry(kind, body):
    """An entry of a frame."""
    return struct.pack(flashlog.ENTRY, kind, len(body)) + body


BAD_ENTRIES = [
    entry(flashlog.EVENT, b"\0" * 8 + b"[1]"),
    entry(flashlog.EVENT, b"\0" * 8 + b'{"event":5}'),
    entry(flashlog.EVENT, b"\0" * 8 + b'{"event":"power_back","off_s":"x"}'),
    entry(flashlog.EVENT, b"\0"),
    entry(flashlog.HOLD, b"null"),
    entry(flashlog.HOLD, b'{"stage":"work"}'),
    entry(flashlog.STATUS, b"\1\2"),
    entry(flashlog.ORIGIN, b""),
    bytes([flashlog.EVENT]) + b"\xff\xff" + b"short",
    bytes([flashlog.EVENT]),
]


@pytest.mark.parametrize("bad", BAD_ENTRIES)
def test_a_bad_entry_with_a_right_check_value_is_named_and_blocks_nothing(here, monkeypatch, bad):
    """Before, a TypeError on each run: the log was never forgotten, and the board would write over it."""
    board = LoggingBoard(here / "flash")
    board.start()
    board.hold(60)
    board.end()
    name = sorted(board.folder.names())[-1]
    path = here / "flash" / name
    seq = read_segment(path.read_bytes())[0][-1].seq + 1
    path.write_bytes(path.read_bytes() + framing.pack(flashlog.KIND, seq, bad))
    done = collected(LoggingBoard(here / "flash"), monkeypatch)
    assert [each.result["ended"] for each in done.holds] == ["done"]
    assert any(f"record {seq}: an entry cannot be read" in note for note in done.notes)
    assert "unpack" not in " ".join(done.notes)  # in our own words
    assert collected(LoggingBoard(here / "flash"), monkeypatch).holds == []


@pytest.mark.parametrize(("times_ms", "read_ms"), [
    ([1000, 2000, 900_000, 4000, 5000], [1000, 2000, 4000, 5000]),
    ([1000, 2**32 - 1, 3000], [1000, 3000]),
    ([1000, 5000, 6000, 2000, 7000], [1000, 5000, 6000, 7000]),
])  # fmt: skip
def test_a_time_that_jumped_costs_no_row_but_its_own(times_ms, read_ms):
    """Before, a row far ahead made every later one of the hold unreadable."""
    asked = entry(flashlog.HOLD, wire.text(ASKED).encode())
    frames = [Frame(1, [(flashlog.HOLD, asked[3:])])]
    for seq, t_ms in enumerate(times_ms, 2):
        body = struct.pack(flashlog.STATUS_BODY, t_ms, t_ms, 2, 5, 26500, 25750, 25750, 26550, 2000, 200, 0, 0, 0)
        frames.append(Frame(seq, [(flashlog.STATUS, body)]))
    notes = []
    (hold,) = read_holds(lambda: frames, notes)
    assert [row.t for row in hold.rows] == read_ms
    assert len(notes) == 1


def test_an_entry_longer_than_its_frame_ends_the_frame():
    good = entry(flashlog.EVENT, b"12345678{}")
    assert entries(good + b"\x03\xff\xffabc") == [(flashlog.EVENT, b"12345678{}"), (-1, b"\x03\xff\xffabc")]
    assert entries(b"") == []


@pytest.mark.parametrize("board", ["../../../x", "/tmp/x", "", "..", "a\0b", "a/b", "--json", "%-s"])
def test_an_archive_is_inside_its_parent_whatever_a_board_calls_itself(tmp_path, board):
    folder = Archive(tmp_path, board).folder
    assert folder.parent == tmp_path / "boards"
    assert not folder.name.startswith("-")  # a command would take it for an option
    assert Archive(tmp_path, board).next_life().folder.parent == tmp_path / "boards"


class Lister(LoggingBoard):
    """Lists segments by rule."""

    def __init__(self, flash, rule):
        super().__init__(flash)
        self.rule, self.listed = rule, 0

    def _do_segments(self, message):
        self.listed += 1
        return self.rule(message.get("after", 0), self.listed)


def listed(first, last, size=100):
    """An entry of the list."""
    return [("first", first), ("last", last), ("size", size), ("crc", "00000000"), ("left", 1)]


@pytest.mark.parametrize(
    "rule",
    [
        lambda after, number: listed(after + 1, after + 1),
        lambda after, number: listed(1, 1),
        lambda after, number: listed(max(1, 100 - number), 200),
        lambda after, number: listed(5, 4),
        lambda after, number: listed(after + 1, after + 1, 2**50),
    ],
    ids=["endless", "repeating", "falling", "backward", "huge"],
)
def test_a_list_of_segments_that_cannot_be_ends_in_words(here, rule):
    with pytest.raises(LinkError):
        list_segments(Link(Lister(here / "flash", rule)))
