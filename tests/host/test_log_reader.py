"""The log of a hold: written a row a second, cut short anywhere, sealed, read back."""

import io
import json
import shutil

import msgspec
import numpy as np
import pytest
from fake_board import status_line

from bainboard import wire
from bainwright.core.errors import FileError, UseError
from bainwright.link.messages import decode
from bainwright.record import log_rows, reader, writer
from bainwright.record.clean_rows import clean_columns
from bainwright.record.columns import COLUMNS, HEADER, NAMES, TEXTS, row, status_of
from bainwright.record.reader import read_facts, read_log
from bainwright.record.writer import LiveLog, give_back, make_folder, seal

DUCKDB_MAGIC = b"PAR1"  # Apache Parquet's file format: every file begins and ends with these four bytes


def status(number, t_ms, **other):
    """A status as the link gives it."""
    return decode(status_line(number, t_ms, **other)[:-1])


def written(folder, seconds=5):
    """A log of so many seconds, with two events, closed."""
    log = LiveLog(folder, {"VIRTUAL": True})
    for second in range(1, seconds + 1):
        log.status(second * 1000, status(second, second * 1000, bowl=None if second == 2 else 31500 + second))
    log.event(1000, "started", {"stage": "work"})
    log.event(3000, "warm", {})
    log.close(ended="done")
    return log.path


def test_a_row_has_units_in_its_columns_and_nothing_where_nothing_is_known():
    """Thousandths on the wire become decimals; null becomes an empty field."""
    line = row(1000, status(1, 1000, bowl=None, est=1, duty=2345, ask="test"))
    assert line == "1.000,hold,work,33.000,,1,31.500,33.100,0.2345,200,0,0,test\n"
    assert len(line.split(",")) == len(NAMES)


def test_a_row_gives_back_the_status_line_it_came_from():
    """All but the two numbers that are the link's own."""
    said = status(7, 61000, bowl=None, est=1, duty=2345, ask="test", water=-500)
    values = [float(part or "nan") if name not in TEXTS else part
              for name, part in zip(NAMES, row(61000, said).rstrip().split(","), strict=True)]
    assert status_of(7, dict(zip(NAMES, values, strict=True))) == said


def test_a_row_has_every_field_of_the_status_line_but_the_link_s_own():
    assert [column.field for column in COLUMNS] == [name for name, _ in wire.STATUS if name not in ("status", "drops")]


def test_a_log_reads_back_as_it_was_written(tmp_path):
    """CSV, by its path or its folder."""
    path = written(tmp_path)
    for log in (read_log(path), read_log(tmp_path)):
        assert list(log["t_s"]) == [1, 2, 3, 4, 5]
        assert np.isnan(log["bowl_c"][1])
        assert log["bowl_c"][4] == 31.505
        assert list(log["state"]) == ["hold"] * 5
        assert [event["event"] for event in log.events] == ["started", "warm"]
        assert log.facts == {"VIRTUAL": True, "ended": "done"}
        assert log.notes == []


def test_a_row_is_in_the_file_as_soon_as_it_is_flushed(tmp_path):
    """Read while the log is still open: a PC that loses power loses no flushed second."""
    log = LiveLog(tmp_path, {})
    log.status(1000, status(1, 1000))
    log.flush()
    assert len(read_log(tmp_path)) == 1
    log.close()


def test_sealing_keeps_every_value(tmp_path):
    """The Parquet file, by its own reader, is the CSV; an apostrophe in the path or the facts does no harm."""
    folder = tmp_path / "it's mine"
    folder.mkdir()
    path = written(folder)
    sealed = seal(folder)
    assert sealed.read_bytes()[:4] == sealed.read_bytes()[-4:] == DUCKDB_MAGIC
    one, other = read_log(path), read_log(sealed)
    for name in NAMES:
        np.testing.assert_array_equal(one[name], other[name])
    assert other.facts == one.facts


def test_a_log_cut_at_any_byte_gives_the_rows_that_are_whole_or_says_why_not(tmp_path):
    """Every cut: as many rows as newlines after the header, and a note exactly when something was left out."""
    path = written(tmp_path)
    data = path.read_bytes()
    for cut in range(len(data)):
        path.write_bytes(data[:cut])
        whole = data[:cut].count(b"\n") - 1
        if whole < 1:
            with pytest.raises(FileError):
                read_log(path)
        else:
            log = read_log(path)
            assert len(log) == whole
            assert bool(log.notes) == (data[:cut][-1:] != b"\n")


def test_a_log_an_editor_gave_other_line_ends_is_the_same_log(tmp_path):
    path = written(tmp_path)
    plain = read_log(path)
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    for name in NAMES:
        np.testing.assert_array_equal(read_log(path)[name], plain[name])


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n",
        b"hello\n",
        b"t_s,temp\n1,2\n",
        b"\x00\xff\xfe binary",
        b"PAR1 and then nothing of the sort",
        HEADER.encode() + b"\n",
        HEADER.encode() + b"\n1.000,hold\n",
        HEADER.encode() + b"\n1.000,hold,work,nan,,0,31.5,33.1,0.1,100,0,0,\n",
        HEADER.encode() + b"\n1.000,hold,work,inf,,0,31.5,33.1,0.1,100,0,0,\n",
        HEADER.encode() + b"\n1.000,hold,work,warm,,0,31.5,33.1,0.1,100,0,0,\n",
        HEADER.encode() + b"\n1.000,hold,work,33.0,31.5,0,31.5,33.1,0.1,100,0,0,,\n",
    ],
)
def test_a_file_that_is_no_log_is_refused_in_words(tmp_path, data):
    """Empty, foreign, binary, without rows, with rows that are none."""
    path = tmp_path / "hold.csv"
    path.write_bytes(data)
    with pytest.raises(FileError) as refused:
        read_log(path)
    assert "hold.csv" in str(refused.value)


@pytest.mark.parametrize(
    "damage",
    [
        b"3.000,hold,work,nan,31.5,0,31.5,33.1,0.2,200,0,0,",
        b"3.000,hold",
        b"3.000,hold,work,33.0,31.5,0,31.5,33.1,0.2,200,0,0,,",
        b"3.000,hold,work,33.0,31.5,0,31.5,33.1,0.2,200,,0,",
        b'3.000,"hold,work,33.0,31.5,0,31.5,33.1,0.2,200,0,0,',
        b"9003.000,hold,work,33.0,31.5,0,31.5,33.1,0.2,200,0,0,",
        b"0.003,hold,work,33.0,31.5,0,31.5,33.1,0.2,200,0,0,",
        b"1e300,hold,work,33.0,31.5,0,31.5,33.1,0.2,200,0,0,",
        b"3.000,hold,work,33.0,1e999,0,31.5,33.1,0.2,200,0,0,",
        b"\xb33.000,\x00,work,33.0,31.5,0,31.5,33.1,0.2,200,0,0,",
        b"9" * 5000,
    ],
)
def test_a_damaged_row_costs_no_other_row(tmp_path, damage):
    """The third of five rows is damaged; the others stay, and a note says so."""
    path = written(tmp_path)
    lines = path.read_bytes().split(b"\n")
    lines[3] = damage
    path.write_bytes(b"\n".join(lines))
    log = read_log(path)
    assert list(log["t_s"]) == [1, 2, 4, 5]
    assert len(log.notes) == 1
    assert len(read_log(seal(tmp_path))) == 4


def test_any_text_of_a_board_stays_in_its_field(tmp_path):
    """Commas, quotes, line ends, letters outside ASCII and escape bytes; the row stays one line."""
    for at, text in enumerate(['a,b"c', "line\nend\r", "Crème", "\x1b[2J"]):
        (tmp_path / str(at)).mkdir()
        log = LiveLog(tmp_path / str(at), {})
        log.status(1000, msgspec.structs.replace(status(1, 1000), ask=text))
        log.close()
        read = read_log(log.path)
        assert len(read) == 1
        assert str(read["ask"][0]).replace("\\u000a", "\n").replace("\\u000d", "\r") == text.replace(
            "\x1b", "\\u001b")
        assert log.path.read_bytes().count(b"\n") == 2
        assert b"\x1b" not in log.path.read_bytes()


def test_an_event_cannot_overwrite_its_own_time(tmp_path):
    log = LiveLog(tmp_path, {})
    log.status(1000, status(1, 1000))
    log.event(1000, "odd", {"t_s": "x", "event": 5, "why": "kept"})
    log.close()
    assert read_log(tmp_path).events == [{"t_s": 1.0, "event": "odd", "why": "kept"}]


@pytest.mark.parametrize("content", [b"\xff\xfe", b"[" * 100_000, b"9" * 5000, b'{"t_s": NaN, "event": "x"}', b"null"])
def test_damaged_facts_and_events_cost_the_log_nothing(tmp_path, content):
    """Not UTF-8, nested deeply, a number of 5,000 digits, NaN, null."""
    path = written(tmp_path)
    (tmp_path / "hold.json").write_bytes(content)
    (tmp_path / "events.jsonl").write_bytes(content + b"\n" + (tmp_path / "events.jsonl").read_bytes())
    log = read_log(path)
    assert len(log) == 5
    assert len(log.events) == 2
    assert log.facts == {}
    assert len(log.notes) == 2


def test_facts_of_another_type_are_left_out(tmp_path):
    path = written(tmp_path)
    facts = {"row_s": "x", "profile": {"name": "dark", "low_c": []}, "rig": {"heater_w": "hot"}, "stage": "work"}
    (tmp_path / "hold.json").write_text(json.dumps(facts))
    log = read_log(path)
    assert log.facts == {"stage": "work"}
    assert "row_s, profile, rig" in log.notes[0]


@pytest.mark.parametrize("row_s", [1e7, -5.0, 0.0])
def test_rows_further_apart_than_a_board_logs_are_left_out_of_the_facts(tmp_path, row_s):
    (tmp_path / "hold.json").write_text(json.dumps({"row_s": row_s}))
    assert read_facts(tmp_path) == {}


def test_a_folder_named_like_a_pattern_reads_only_its_own_files(tmp_path):
    """Oracle: the rows of the neighbour, which the pattern would match, are others."""
    (tmp_path / "a1").mkdir()
    seal(written(tmp_path / "a1", 3).parent)
    for name in ("a[1]", "a*", "a?"):
        (tmp_path / name).mkdir()
        sealed = seal(written(tmp_path / name, 7).parent)
        assert len(read_log(sealed)) == 7
        assert sealed.parent == tmp_path / name


def test_a_log_whose_folder_is_deleted_continues_elsewhere_with_every_row(tmp_path, monkeypatch):
    """POSIX: a deleted file stays readable while it is open."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "out").mkdir()
    log = LiveLog(tmp_path / "out", {"profile": {"name": "dark"}})
    log.status(1000, status(1, 1000))
    log.event(1000, "started", {"stage": "work"})
    log.flush()
    shutil.rmtree(tmp_path / "out")
    log.status(2000, status(2, 2000))
    log.flush()
    assert "the log continues in holds/dark-1" in log.news()[0]
    assert log.news() == []
    log.close(ended="done")
    read = read_log(tmp_path / "holds" / "dark-1")
    assert list(read["t_s"]) == [1, 2]
    assert [event["event"] for event in read.events] == ["started"]
    assert read.facts["ended"] == "done"
    assert not (tmp_path / "out").exists()


def test_a_log_of_a_later_version_says_so(tmp_path):
    (tmp_path / "hold.csv").write_text(f"{HEADER},humidity\n")
    with pytest.raises(FileError, match="later version of bainwright: got the columns 'humidity' besides"):
        read_log(tmp_path)


def test_a_missing_log_is_refused_in_words(tmp_path):
    """A folder without one, a path without a file."""
    with pytest.raises(FileError, match="there is no log"):
        read_log(tmp_path)


def test_a_foreign_parquet_file_is_refused(tmp_path):
    """Right format, other columns."""
    import duckdb

    path = tmp_path / "other.parquet"
    duckdb.sql("SELECT 1 AS a").write_parquet(str(path))
    with pytest.raises(FileError, match="its columns are others"):
        read_log(path)


def test_spoilt_facts_and_a_cut_event_do_not_cost_the_log(tmp_path):
    """The rows are what matters."""
    path = written(tmp_path)
    (tmp_path / "hold.json").write_text("{")
    with (tmp_path / "events.jsonl").open("a") as events:
        events.write('{"t_s": 4, "eve')
    log = read_log(path)
    assert log.facts == {}
    assert len(log.events) == 2
    assert "hold.json is not JSON" in log.notes[0]
    assert "last event was cut short" in log.notes[1]


def test_holds_get_folders_of_their_own(tmp_path, monkeypatch):
    """dark-1, dark-2; a name that is a path becomes one that is not."""
    monkeypatch.chdir(tmp_path)
    assert [str(make_folder(None, "dark")) for _ in range(2)] == ["holds/dark-1", "holds/dark-2"]
    assert str(make_folder(None, "../my choc")) == "holds/my-choc-1"


def test_a_log_is_never_written_over(tmp_path):
    """--out names a folder that has one."""
    written(tmp_path)
    with pytest.raises(UseError, match="already holds a log"):
        make_folder(tmp_path, "dark")


def test_of_two_holds_that_ask_for_one_folder_the_second_is_refused(tmp_path):
    """The first has written no row yet; a sealed log whose CSV is gone is a log, too."""
    assert make_folder(tmp_path / "out", "dark") == tmp_path / "out"
    with pytest.raises(UseError, match="already holds a log"):
        make_folder(tmp_path / "out", "dark")
    path = seal(written(tmp_path / "out").parent)
    (tmp_path / "out" / "hold.csv").unlink()
    with pytest.raises(UseError, match="already holds a log"):
        make_folder(path.parent, "dark")


def test_what_was_made_for_a_hold_that_did_not_start_goes_again(tmp_path, monkeypatch):
    """The folder of the home goes, one that a person named stays; a log with a row in it is never removed."""
    monkeypatch.chdir(tmp_path)
    mine = tmp_path / "mine"
    for folder in (make_folder(None, "dark"), make_folder(mine, "dark")):
        give_back(folder)
    assert list(tmp_path.iterdir()) == [mine]
    assert list(mine.iterdir()) == []
    path = written(make_folder(mine, "dark"), 1)
    give_back(mine)
    assert len(read_log(path)) == 1


def test_a_folder_that_cannot_be_made_is_said(tmp_path):
    """A file has that name already."""
    (tmp_path / "file").write_text("")
    with pytest.raises(UseError, match="cannot be made"):
        make_folder(tmp_path / "file" / "log", "dark")


def test_facts_are_there_from_the_start(tmp_path):
    """A hold that is cut off has its facts beside its rows."""
    LiveLog(tmp_path, {"VIRTUAL": False, "seed": 3})
    assert json.loads((tmp_path / "hold.json").read_text()) == {"VIRTUAL": False, "seed": 3}


def test_of_an_endless_list_of_events_the_first_ones_are_read(tmp_path, monkeypatch):
    monkeypatch.setattr(reader, "EVENTS_MOST", 3)
    written(tmp_path)
    (tmp_path / "events.jsonl").write_text("".join(f'{{"t_s": {t_s}, "event": "warm"}}\n' for t_s in range(5)))
    read = read_log(tmp_path)
    assert [event["t_s"] for event in read.events] == [0, 1, 2]
    assert "events.jsonl: the events after the first 3 are left out" in read.notes


def test_a_log_is_never_longer_than_what_is_read_back(tmp_path, monkeypatch):
    """A board that sends rows without end; before, the whole log was refused as too long."""
    for module in (reader, writer):
        monkeypatch.setattr(module, "LOG_BYTES", 4000)
    log = LiveLog(tmp_path, {})
    for second in range(1, 200):
        log.status(1000 * second, status(second, 1000 * second))
        log.flush()
    (said,) = log.news()
    assert "is full" in said
    log.close()
    assert 3800 < (tmp_path / "hold.csv").stat().st_size <= 4000
    found = read_log(tmp_path)
    assert list(found["t_s"]) == [float(at) for at in range(1, len(found) + 1)]
    assert len(found) > 40
    with (tmp_path / "hold.csv").open("ab") as longer:
        longer.write(b"x" * 4000)
    again = read_log(tmp_path)
    assert list(again["t_s"]) == list(found["t_s"])
    assert any("what comes after its first" in note for note in again.notes)


@pytest.mark.parametrize("seed", range(3))
def test_a_column_at_a_time_reads_what_line_by_line_reads(tmp_path, monkeypatch, seed):
    """Oracle: the reader that takes each line alone. Letters are changed, added and taken away at random."""
    rng = np.random.default_rng(seed)
    whole, taken = written(tmp_path, seconds=12).read_bytes(), 0
    start, letters = whole.index(b"\n") + 1, b'0123456789.,-+e \n\r"_\x00x\xff'
    for _ in range(80):
        data = bytearray(whole)
        for _ in range(rng.integers(0, 3)):
            at, letter = int(rng.integers(start, len(data))), letters[rng.integers(len(letters))]
            data[at : at + int(rng.integers(0, 2))] = bytes([letter] * int(rng.integers(0, 2)))
        path = tmp_path / "changed.csv"
        path.write_bytes(data)
        columns = clean_columns(io.BytesIO(data[start:]), log_rows.ROWS_MOST, log_rows.TEXT_MOST)
        with monkeypatch.context() as alone:
            alone.setattr(log_rows, "clean_columns", lambda *_: None)
            log = read_log(path)
        if columns is not None:
            taken += 1
            assert log.notes == []
            for name in NAMES:
                assert columns[name].dtype.kind == log[name].dtype.kind
                np.testing.assert_array_equal(columns[name], log[name])
    assert 20 < taken < 80


def test_of_two_rows_of_one_time_the_first_counts(tmp_path):
    """Two copies that somebody put one behind the other: no second is there twice, and none lasts no time."""
    path = written(tmp_path)
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines, *lines[1:] * 40]) + "\n")
    log = read_log(tmp_path)
    assert list(log["t_s"]) == [1.0, 2.0, 3.0, 4.0, 5.0]
    assert any("200 rows with an impossible time" in note for note in log.notes)
