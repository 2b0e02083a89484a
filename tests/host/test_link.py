"""The wire seen from the PC: the quick reader against the reference, requests, documents, lost lines."""

import json
from itertools import pairwise

import pytest
from fake_board import FakeBoard, event_line, status_line
from hypothesis import given
from hypothesis import strategies as st

from bainboard import faults, settings, wire
from bainwright.core.errors import LinkError, RefusedError
from bainwright.link.losses import Losses
from bainwright.link.messages import Status, decode, reference
from bainwright.link.protocol import CHUNK_BYTES, Link

LINE = status_line(1234, 33_000_000, bowl=None, ask="test", est=1)[:-1]

numbers = st.one_of(st.integers(0, 1), st.integers(0, 250), st.integers(-20, 70000), st.integers(-(10**15), 10**15))
letters = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=12)


@st.composite
def statuses(draw):
    """Any status a board could write, odd texts included."""
    fields = {name: draw(numbers) for name in ("status", "t", "est", "duty", "on", "fault", "warn", "drops")}
    fields |= {name: draw(st.none() | numbers) for name in ("water", "bowl", "target", "water_target")}
    fields |= {name: draw(letters) for name in ("state", "stage", "ask")}
    ordered = [(name, fields[name]) for name in Status.__struct_fields__]
    body = wire.text(ordered).encode()
    return body + b"*" + wire.crc(body)


def test_the_types_of_a_status_line_are_those_of_the_firmware_s_own_table():
    """Order included: a status with its fields in another order is not read by the quick reader."""
    assert tuple((name, Status.__annotations__[name] == "str") for name in Status.__struct_fields__) == wire.STATUS


@given(statuses())
def test_the_quick_reader_reads_every_status_as_the_reference_does(line):
    """bainboard.wire is the reference."""
    assert decode(line) == reference(line)


def with_crc(body):
    """A body made into a line with the right check value, whatever it is."""
    return body + b"*" + wire.crc(body)


@given(st.integers(0, len(LINE) - 10), st.binary(min_size=0, max_size=3), st.integers(0, 3))
def test_a_changed_status_with_a_right_check_value_is_judged_as_by_the_reference(at, put, cut):
    """Bytes replaced, inserted and removed anywhere, the CRC made to fit: only the grammar can tell."""
    body = LINE[:-9]
    line = with_crc(body[:at] + put + body[at + cut :])
    if b"\n" not in line and b"\r" not in line:
        assert decode(line) == reference(line)


def test_a_warning_of_each_fault_is_read():
    """`warn` has a bit for each number (WIRE.md), so it goes far beyond the numbers themselves."""
    for number in range(len(faults.FAULTS)):
        assert decode(status_line(1, 0, warn=1 << number).strip()).warn == 1 << number


@given(st.integers(0, len(LINE) - 1), st.integers(1, 255))
def test_a_single_changed_byte_is_never_taken_for_a_status(at, flip):
    """A CRC-32 sees every error of up to 32 bits in a row (its defining property); the CRC itself is compared whole."""
    spoilt = bytearray(LINE)
    spoilt[at] ^= flip
    assert decode(bytes(spoilt)) is None


@pytest.mark.parametrize(
    "body",
    [
        b'{"status":1,"status":1}',
        LINE[:-9].replace(b'"t":33000000', b'"t":1e999'),
        LINE[:-9].replace(b'"t":33000000', b'"t":NaN'),
        LINE[:-9].replace(b'"t":33000000', b'"t":033'),
        LINE[:-9].replace(b'"t":33000000', b'"t":33.5'),
        LINE[:-9].replace(b'"est":1', b'"est":true'),
        LINE[:-9].replace(b'"drops":0', b'"drops":0,"t":5'),
        LINE[:-9] + b" ",
    ],
)
def test_what_json_readers_differ_about_is_judged_as_by_the_reference(body):
    """Names twice, infinities, leading zeros, fractions, booleans as numbers."""
    assert decode(with_crc(body)) == reference(with_crc(body))


def test_an_over_long_status_is_refused():
    """256 bytes with the newline, the wire's limit."""
    long = status_line(1, 1, ask="x" * 67)
    assert len(long) == 255
    assert isinstance(decode(long[:-1]), Status)
    body = long[:-10].replace(b"xxx", b"xxxxx", 1)
    assert decode(with_crc(body)) is None


def drained(link):
    """Everything a link has to say now."""
    messages = []
    while True:
        new = link.poll()
        if not new:
            return messages
        messages += new


@given(st.lists(st.integers(0, 400), max_size=8))
def test_lines_are_whole_however_the_bytes_come(cuts):
    """The same two lines and an event, cut anywhere, byte by byte included."""
    data = status_line(1, 1000) + event_line("warm", 1, 1000) + status_line(2, 2000).replace(b"\n", b"\r\n")
    board = FakeBoard()
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    board.say(*[data[a:b] for a, b in pairwise(edges) if a < b])
    link = Link(board)
    found = []
    for _ in range(len(edges) + 1):
        found += link.poll()
    assert [getattr(message, "t", None) or message["t"] for message in found] == [1000, 1000, 2000]
    assert link.damaged == 0


def test_junk_between_lines_is_counted_and_skipped():
    """A boot banner, a torn line, then a whole one."""
    board = FakeBoard()
    board.say(b"MicroPython v1.24\r\n" + status_line(1, 1000)[5:] + status_line(2, 2000))
    link = Link(board)
    assert [status.t for status in drained(link)] == [2000]
    assert link.damaged == 2


def test_an_answer_is_found_and_what_came_meanwhile_is_stored():
    """A status right before and right after the answer, in one piece."""
    board = FakeBoard()
    link = Link(board)
    board.say(status_line(1, 1000) + wire.encode([("re", 1), ("ok", True), ("x", 5)]) + status_line(2, 2000))
    assert link.request("clock")["x"] == 5
    assert [status.t for status in link.poll()] == [1000, 2000]


def test_what_was_said_before_the_answer_to_a_start_is_forgotten():
    """An idle board's lines are none of the hold's; those right after the answer are."""
    board = FakeBoard()
    link = Link(board)
    idle, answer = status_line(1, 0, state="idle"), wire.encode([("re", 1), ("ok", True)])
    board.say(event_line("boot", 1, 0), idle + answer + status_line(2, 1000))
    link.request("confirm", drop_earlier=True)
    assert [status.t for status in link.poll()] == [1000]


def test_a_no_is_a_refusal_with_the_boards_reason():
    """Not a timeout."""
    board = FakeBoard()
    board.refusals["pause"] = "nothing to pause in state idle"
    with pytest.raises(RefusedError, match="nothing to pause"):
        Link(board).request("pause")


class Deaf(FakeBoard):
    """Something that says one thing to everything."""

    def __init__(self, says):
        super().__init__()
        self.says = says

    def write(self, data):
        self.say(*self.says)


def ticking():
    """A clock that moves half a second with each look."""
    now = [0.0]

    def clock():
        now[0] += 0.5
        return now[0]

    return clock


def test_no_answer_is_a_lost_board_not_a_refusal():
    """After the time that was given."""
    with pytest.raises(LinkError, match="did not answer 'pause'"):
        Link(Deaf([]), ticking()).request("pause")


def test_a_silent_port_and_a_foreign_device_are_not_confused():
    """Nothing at all; a receiver that sends position sentences; a REPL that echoes."""
    with pytest.raises(LinkError, match="nothing on this port answers"):
        Link(Deaf([]), ticking()).hello()
    for says in ([b"$GPGGA,123519,4807.038,N*47\r\n"], [b'>>> {"id":1,"do":"hello"}\r\nTraceback'], [b"\xff\x00" * 40]):
        with pytest.raises(LinkError, match="does not speak the warmer's language"):
            Link(Deaf(says), ticking()).hello()
    with pytest.raises(LinkError, match="language: got bytes that are not text; if it is the warmer"):
        Link(Deaf([b"\xff\x1b\x07\n" * 9]), ticking()).hello()


class Late(FakeBoard):
    """A board whose every line comes so many looks later, behind a status line a look."""

    def __init__(self, looks):
        super().__init__()
        self.looks, self.now, self.due = looks, 0, []

    def write(self, data):
        super().write(data)
        self.due += [(self.now + self.looks, piece) for piece in self._said]
        self._said.clear()

    def read(self):
        self.now += 1
        came = b"".join(piece for at, piece in self.due if at <= self.now)
        self.due = [(at, piece) for at, piece in self.due if at > self.now]
        return status_line(self.now, 1000 * self.now, state="idle") + came


@pytest.mark.parametrize("looks", [0, 1, 2, 3, 5, 8])
def test_a_board_whose_lines_come_late_is_greeted(looks):
    """The answer to an earlier hello counts; a board that is heard gets a while longer than one that is not."""
    assert Link(Late(looks), ticking()).hello()["board"] == FakeBoard().hello["board"]


def test_a_warmer_that_is_heard_but_does_not_answer_is_said_to_be_one():
    """Its status lines alone; with the refusal that it gives; an echo of the request is no warmer's line."""
    with pytest.raises(LinkError, match="a warmer speaks on this port, but does not answer 'hello'; what lies between"):
        Link(Late(10**6), ticking()).hello()
    board = Late(0)
    board.refusals["hello"] = "no memory now"
    with pytest.raises(LinkError, match="does not answer 'hello': got no memory now"):
        Link(board, ticking()).hello()
    with pytest.raises(LinkError, match="does not speak the warmer's language"):
        Link(Deaf([wire.encode([("id", 1), ("do", "hello")])]), ticking()).hello()


def test_a_board_with_no_firmware_is_known_by_its_prompt():
    """MicroPython takes the request for a faulty expression, says so and asks for the next."""
    said = b'>>> {"id":1,"do":"hello"}*0CA5CBD9\r\nTraceback (most recent call last):\r\nSyntaxError: invalid\r\n>>> '
    with pytest.raises(LinkError, match=r"MicroPython's own prompt answers on this port.*bain install puts it there"):
        Link(Deaf([said]), ticking()).hello()


def test_a_board_with_another_wire_is_named():
    """Its version and ours."""
    with pytest.raises(LinkError, match=r"another version.*got 99.*wanted 1"):
        Link(FakeBoard(wire=99)).hello()


@given(st.binary(min_size=2, max_size=4 * CHUNK_BYTES + 3))
def test_a_document_arrives_whole_and_comes_back_whole(payload):
    """Through the firmware's own transfer, any length."""
    board = FakeBoard()
    link = Link(board)
    link.upload("settings", payload)
    assert board.stored["settings"] == payload
    assert link.download("settings") == payload


def test_a_document_is_sent_in_lines_the_wire_takes():
    """Every request of an upload fits 256 bytes."""
    board = FakeBoard()
    Link(board).upload("settings", json.dumps({"name": "x" * 900}).encode())
    assert {asked["do"] for asked in board.asked} == {"begin", "chunk", "commit"}
    assert all(len(wire.encode(list(asked.items()))) <= wire.LIMIT for asked in board.asked)


@pytest.mark.parametrize(
    ("number", "words"),
    [(28, r"full; .*delete"), (36, r"full; .*delete"), (30, r"read-only; .*boot\.py"), (5, r"error 5; .*worn")],
)
def test_a_flash_that_does_not_take_a_document_is_reported_in_words(number, words):
    """`Documents.save` puts an OSError's text into its refusal: the number alone on a board, more of it on a PC."""
    board = FakeBoard()
    for text in (str(number), f"[Errno {number}] why"):
        board.refusals["commit"] = f"the flash did not take it ({text}); what was stored before still holds"
        with pytest.raises(RefusedError, match=f"flash did not take the profile: got .*{words}"):
            Link(board).upload("profile", b"{}")
    board.refusals["commit"] = "heater_w: got 1, wanted 5 to 2000"
    with pytest.raises(RefusedError, match="did not take the settings; heater_w: got 1"):
        Link(board).upload("settings", b"{}")


def test_damaged_settings_are_not_taken_for_none():
    """A board that was never sent any works with the usual ones; one that lost them must be sent them again."""
    usual = settings.defaults(settings.SETTINGS)
    assert Link(FakeBoard()).settings({"fault": 0, "settings": ""}) == usual
    with pytest.raises(RefusedError, match=r"damaged.*bain rig send FILE"):
        Link(FakeBoard()).settings({"fault": faults.BAD_SETTINGS, "settings": ""})
    board = FakeBoard()
    board.stored["settings"] = b'{"name":"pot"}'  # the chocolate alone is damaged
    assert Link(board).settings({"fault": faults.BAD_SETTINGS, "settings": "12345678"}) == {**usual, "name": "pot"}


def test_lost_lines_are_the_gaps_in_both_numberings():
    """Statuses 1, 2, 5 miss two; events 1, 3 miss one; the first number ever seen misses none."""
    losses = Losses()
    for number in (7, 8, 11):
        losses.status(number)
    for number in (1, 3):
        losses.event(number)
    assert losses.lost == 3


def test_a_restarted_board_starts_counting_again_and_loses_nothing():
    """After boot the numbers begin at 1 again."""
    losses = Losses()
    losses.status(500)
    losses.restarted()
    losses.status(3)
    losses.status(5)
    assert losses.lost == 1
