"""The golden lines and frames, against the code and against independent libraries."""

import hashlib
import json
import runpy
import struct
import zlib
from pathlib import Path

import pytest

from bainboard import commands, faults, flashlog, framing, settings, store, wire
from bainboard.transfer import Transfer
from bainwright.record.boardlog import read_holds, read_segment

GOLDEN = runpy.run_path(str(Path(__file__).parents[1] / "firmware" / "golden.py"))
LINES, FRAMES = GOLDEN["LINES"], GOLDEN["FRAMES"]
DOCUMENT = b'{"heater_w":60.0,"water_l":1.5}'


def line_called(what: str) -> bytes:
    """The golden line of that name."""
    return dict(LINES)[what]


def message(line: bytes) -> dict[str, object]:
    """A line's object, by CPython's own json."""
    return json.loads(line[:-10])


@pytest.mark.parametrize(("what", "line"), LINES, ids=[what for what, _ in LINES])
def test_a_golden_line_is_written_to_the_byte_and_read_back(what, line):
    """Oracle: CPython's json and zlib."""
    assert line.endswith(b"*%08X\n" % zlib.crc32(line[:-10]))
    assert len(line) <= 256
    assert wire.encode(list(message(line).items())) == line
    assert wire.decode(line) == (message(line), None)


@pytest.mark.parametrize(("what", "kind", "seq", "payload", "frame_hex"), FRAMES, ids=[row[0] for row in FRAMES])
def test_a_golden_frame_is_written_to_the_byte_and_read_back(what, kind, seq, payload, frame_hex):
    """Oracle: struct and zlib."""
    frame = bytes.fromhex(frame_hex)
    assert struct.unpack_from("<HBIH", frame) == (0x1ABA, kind, seq, len(payload))
    assert frame[9:-4] == payload
    assert struct.unpack("<I", frame[-4:]) == (zlib.crc32(frame[:-4]),)
    assert framing.pack(kind, seq, payload) == frame
    assert framing.read(frame) == (kind, seq, payload, len(frame))


def test_the_golden_requests_are_taken_and_refused_as_their_answers_say():
    assert commands.check(message(line_called("a request")), "idle")[0] == "start"
    name, args, why = commands.check(message(line_called("a request that is refused")), "idle")
    assert (name, args) == ("start", None)
    assert wire.encode([("re", 8), ("ok", False), ("why", why)]) == line_called("why")


def test_a_damaged_line_is_answered_as_the_golden_one_says():
    line = line_called("a request")
    _, why = wire.decode(line.replace(b"work", b"wort"))
    answer = wire.encode([("re", None), ("ok", False), ("why", why)])
    assert answer == line_called("the answer to a line that was no message")


def answer_of(transfer: Transfer, line: bytes) -> bytes:
    """What the board answers to a transfer's request."""
    msg = message(line)
    name, args, why = commands.check(msg, "idle")
    assert why is None
    if name == "commit":
        pairs, why = transfer.commit(0)
    elif name == "send":
        pairs, why = transfer.send(args["what"], DOCUMENT, 0)
    else:
        pairs, why = getattr(transfer, name)(args, 0)
    assert why is None
    return wire.encode([("re", msg["id"]), ("ok", True), *pairs])


@pytest.mark.parametrize(
    "names",
    [
        (
            "a document comes in: its announcement", "taken", "its one piece", "taken, up to here", "its end",
            "checked, stored",
        ),
        ("a document goes out: the request", "what is coming", "a piece is asked for", "the piece"),
    ],
    ids=["in", "out"],
)
def test_the_golden_transfers_run_as_written(names):
    transfer = Transfer()
    for request, answer in zip(names[::2], names[1::2], strict=True):
        assert answer_of(transfer, line_called(request)) == line_called(answer)
    assert transfer.complete == (("settings", DOCUMENT) if "its end" in names else None)
    announced = message(line_called("a document comes in: its announcement"))
    assert announced["sha256"] == hashlib.sha256(DOCUMENT).hexdigest()


def test_the_golden_latch_records_latch_and_clear():
    _, kind, seq, payload, _ = FRAMES[1]
    assert (kind, payload) == (store.KINDS["latch"], store.latch_payload(faults.WATER_PROBE, 61000))
    _, kind, seq, payload, _ = FRAMES[2]
    assert (kind, seq, payload) == (store.KINDS["latch"], 3, store.latch_payload(faults.NONE, 0))


def test_the_golden_log_frame_is_what_the_board_writes_and_the_pc_reads():
    """Oracle: struct, by the specification's table of entries."""
    _, kind, seq, payload, frame = FRAMES[-1]
    assert kind == flashlog.KIND
    origin, status, event = flashlog.entries(payload)
    assert struct.calcsize(flashlog.ORIGIN_BODY) == flashlog.ORIGIN_BYTES == len(origin[1])
    assert struct.unpack("<HIIIB", origin[1]) == (3, 7, 5000, 1800000000, 2)
    line = (1, 61000, "hold", "work", 33124, 31500, 0, 31500, 33300, 2345, 2400, 0, 0, "", 0)
    log = flashlog.FlashLog(None)
    log.set(settings.defaults(settings.SETTINGS))
    log.status(66000, line)
    log.event(66000, 61000, "warm", [])
    written = bytes(log._frame[flashlog.FRONT : log._used])
    assert written == payload[3 + len(origin[1]) :]
    frames, notes = read_segment(bytes.fromhex(frame))[0], []
    holds = list(read_holds(lambda: frames, notes))
    assert notes == []
    assert (holds[0].boot, holds[0].hold, holds[0].through) == (3, 7, seq)
    row = holds[0].rows[0]
    assert (row.t, row.state, row.stage, row.water, row.bowl, row.duty) == (61000, "hold", "work", 33124, 31500, 2345)
    assert holds[0].events == [{"event": "warm", "t": 61000}]
    assert (status[0], event[0]) == (flashlog.STATUS, flashlog.EVENT)


def test_the_golden_requests_for_the_log_are_taken_in_every_state():
    asked = ("which segments there are", "a piece of the log is asked for", "what is safe may go", "the time of day")
    for what in asked:
        for state in commands.STATES:
            assert commands.check(message(line_called(what)), state)[2] is None


def test_the_longest_hello_and_the_longest_piece_of_a_log_fit_a_line():
    hello = [
        ("re", commands.ID_MAX), ("ok", True), ("name", "x" * 32), ("version", "10.10.10"), ("wire", 1),
        ("python", "1.29.10"), ("state", "check"), ("t", commands.HOLD_MS), ("fault", 17), ("settings", "0" * 8),
        ("profile", "0" * 8), ("board", "0" * 16), ("hold", 99999),
    ]
    assert len(wire.encode(hello)) <= wire.LIMIT
    piece = [("re", commands.ID_MAX), ("ok", True), ("at", flashlog.SEGMENT_BYTES), ("data", "x" * 160)]
    assert len(wire.encode(piece)) <= wire.LIMIT
