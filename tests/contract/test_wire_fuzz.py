"""The wire, the records and the transfers under everything hypothesis thinks of."""

import json
import math
import zlib

from hypothesis import given, settings
from hypothesis import strategies as st

from bainboard import commands, framing, wire
from bainboard.chunks import CHUNK, base64_bytes, base64_text, sha256_hex
from bainboard.settings import PROFILE, SETTINGS
from bainboard.settings import check as check_document
from bainboard.transfer import Transfer

BOUND = 2**53
WORDS = st.text(st.characters(max_codepoint=0xFFFF, exclude_categories=["Cs"]), max_size=24)
WHOLES = st.integers(-BOUND + 1, BOUND - 1)
PARTS = st.floats(-9e15, 9e15)
VALUES = st.none() | st.booleans() | WHOLES | PARTS | WORDS
OBJECTS = st.dictionaries(WORDS, VALUES, max_size=6)
BYTES = st.binary(max_size=300)
JSON_LIKE = st.text('{}[]":,0123456789.eE+-truefalsnNI \\u*', max_size=40)


LINES = OBJECTS.filter(lambda values: len(wire.text(list(values.items()))) <= 246)  # short enough for a line
# The same examples every time, and no verdict by the clock.
steady = settings(deadline=None, derandomize=True, database=None)


def sealed(body: bytes) -> bytes:
    """A line around any bytes, its check value right."""
    return body + b"*%08X" % zlib.crc32(body)


def encoded(values: dict[str, object]) -> bytes:
    """An object's line."""
    return wire.encode(list(values.items()))


@steady
@given(LINES)
def test_what_is_encoded_comes_back_and_is_json(values):
    """Oracle: CPython's json reads the same."""
    line = encoded(values)
    assert wire.decode(line) == (values, None)
    assert json.loads(line[:-10]) == values


@steady
@given(OBJECTS)
def test_a_document_s_text_is_ascii_and_json(values):
    """Oracle: CPython's json reads it, at any length."""
    ours = wire.text(list(values.items()))
    assert ours.isascii()
    assert json.loads(ours) == values


@steady
@given(BYTES)
def test_no_bytes_break_the_reader_and_none_pass_without_a_check_value(data):
    msg, why = wire.decode(data)
    assert (msg is None) != (why is None)
    if msg is not None:
        assert data.rstrip(b"\r\n")[-8:] == b"%08X" % zlib.crc32(data.rstrip(b"\r\n")[:-9])


def plain(value: object) -> bool:
    """Is it a value the wire carries?"""
    if isinstance(value, (int, float)):
        return math.isfinite(value) and abs(value) < BOUND
    return value is None or isinstance(value, str)


def refuse_constant(word: str) -> float:
    """For json: NaN and Infinity are no JSON."""
    raise ValueError(word)


def unique(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """For json: an object with no name twice."""
    values = dict(pairs)
    if len(values) != len(pairs):
        raise ValueError("twice")
    return values


def strict(body: bytes) -> dict[str, object] | None:
    """What CPython's json, made as strict as the specification, reads; None if refused."""
    try:
        values = json.loads(body.decode("ascii"), parse_constant=refuse_constant, object_pairs_hook=unique)
    except ValueError:
        return None
    if not isinstance(values, dict) or not all(plain(value) for value in values.values()):
        return None
    surrogates = any("\ud800" <= letter < "\ue000" for each in [*values, *values.values()] for letter in str(each))
    return None if surrogates or min(body) < 32 or max(body) > 126 else values


@settings(steady, max_examples=500)
@given(JSON_LIKE | OBJECTS.map(json.dumps) | st.tuples(OBJECTS.map(json.dumps), JSON_LIKE).map("".join))
def test_the_reader_takes_exactly_what_a_strict_json_takes(text):
    """Oracle: CPython's json with NaN, repeated names, surrogates, nesting and numbers of 2**53 and more refused."""
    body = text.encode()
    msg, why = wire.decode(sealed(body))
    wanted = strict(body) if len(body) <= 246 else None
    assert msg == wanted
    assert (why is None) == (wanted is not None)


@steady
@given(LINES, st.data())
def test_any_changed_cut_or_added_byte_is_refused(values, data):
    line = encoded(values)[:-1]
    at = data.draw(st.integers(0, len(line) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda value: value != line[at]))
    assert wire.decode(line[:at] + bytes([byte]) + line[at + 1 :])[0] is None
    assert wire.decode(line[:at])[0] is None
    assert wire.decode(line[:at] + bytes([byte]) + line[at:])[0] is None


@steady
@given(st.lists(LINES.map(encoded) | BYTES, max_size=6), st.data())
def test_the_assembler_gives_the_same_lines_whatever_the_pieces(parts, data):
    stream = b"".join(parts)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=8)))
    box, got = wire.Assembler(), []
    for start, stop in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        got += box.feed(stream[start:stop])
    whole = [line[:257] for line in stream.split(b"\n")[:-1] if line not in (b"", b"\r")]
    assert got == whole


@steady
@given(BYTES, LINES)
def test_a_good_line_after_any_junk_and_a_newline_is_read(junk, values):
    line = encoded(values)
    got = wire.Assembler().feed(junk + b"\n" + line)
    assert wire.decode(got[-1]) == (values, None)


@settings(steady, max_examples=300)
@given(
    st.dictionaries(
        st.sampled_from(
            ["id", "do", "stage", "for_ms", "room", "at", "in_s", "mass_g", "temp", "what", "size", "sha256", "data"]
        ),
        VALUES | st.integers(-1, 100) | st.sampled_from(["work", "off", "settings", "start", "begin", "chunk"]),
    ),
    st.sampled_from(commands.STATES),
)
def test_no_message_breaks_the_table_and_every_refusal_fits_a_line(msg, state):
    before = dict(msg)
    name, args, why = commands.check(msg, state)
    assert msg == before
    assert (args is None) != (why is None)
    if why is None:
        assert state in next(row for row in commands.COMMANDS if row[0] == name)[commands.ALLOWED]
    else:
        assert wire.decode(wire.encode([("re", commands.ID_MAX), ("ok", False), ("why", why)]))[0]["why"] == why


@steady
@given(st.dictionaries(st.sampled_from([row[0] for row in SETTINGS + PROFILE]), VALUES | st.lists(WHOLES), max_size=4))
def test_no_document_breaks_the_settings(doc):
    values, why = check_document(SETTINGS, doc)
    assert (values is None) != (why is None)
    if values is not None:
        assert check_document(SETTINGS, values) == (values, None)


@steady
@given(BYTES)
def test_base64_comes_back_and_nothing_else_is_taken(data):
    text = base64_text(data)
    assert base64_bytes(text) == data
    junk = data.decode("latin-1")
    assert base64_bytes(junk) is None or base64_text(base64_bytes(junk)) == junk


@settings(steady, max_examples=60)
@given(st.binary(min_size=2, max_size=4 * CHUNK), st.data())
def test_a_transfer_over_a_line_that_repeats_and_disturbs_hands_out_the_document_or_nothing(payload, data):
    transfer = Transfer()
    transfer.begin({"what": "settings", "size": len(payload), "sha256": sha256_hex(payload)}, 0)
    for at in range(0, len(payload), CHUNK):
        text = base64_text(payload[at : at + CHUNK])
        for disturbed_at, disturbed in data.draw(
            st.lists(st.tuples(st.integers(0, 4 * CHUNK), st.sampled_from(["", "AAAA", "x", text])), max_size=3)
        ):
            if disturbed_at != at:
                transfer.chunk({"at": disturbed_at, "data": disturbed}, 0)
        for _ in range(data.draw(st.integers(1, 3))):
            transfer.chunk({"at": at, "data": text}, 0)
    transfer.commit(0)
    assert transfer.complete in (None, ("settings", payload))


FRAMES = st.lists(st.tuples(st.integers(0, 255), st.integers(0, 2**32 - 1), st.binary(max_size=40)), max_size=5)


@steady
@given(FRAMES, BYTES)
def test_every_whole_frame_before_a_torn_tail_is_found(frames, tail):
    data = b"".join(framing.pack(*frame) for frame in frames)
    found, end, gaps = framing.scan(data + tail)
    assert [each[:3] for each in found[: len(frames)]] == frames
    assert end >= len(data)
    assert all(start >= len(data) for start, _ in gaps)


@steady
@given(FRAMES.filter(len), st.data())
def test_a_disturbed_log_yields_only_frames_that_were_written(frames, data):
    log = b"".join(framing.pack(*frame) for frame in frames)
    at = data.draw(st.integers(0, len(log)))
    log = log[:at] + data.draw(st.binary(max_size=9)) + log[data.draw(st.integers(at, len(log))) :]
    found, end, gaps = framing.scan(log)
    left = list(frames)
    for kind, seq, payload, offset in found:
        assert framing.read(log, offset)[:3] == (kind, seq, payload)
        assert (kind, seq, payload) in left
        del left[: left.index((kind, seq, payload)) + 1]
    assert end <= len(log)
    assert all(start < stop <= end for start, stop in gaps)
