"""Answers whose check value is right and whose fields are wrong: one error in words, whatever is asked."""

import pytest
from fake_board import FakeBoard, event_line

from bainboard import wire
from bainwright.core.errors import LinkError
from bainwright.core.terminal import visible
from bainwright.link.messages import decode
from bainwright.link.protocol import Link, decode_piece

HELLO = {**FakeBoard().hello}


def asked(do, answer, **fields):
    """What a request makes of this answer."""

    class Says:
        """Answers anything with this."""

        def write(self, data):
            """Whatever it was."""

        def read(self):
            return wire.encode([("re", 1), ("ok", True), *answer.items()])

        def close(self):
            """Nothing is open."""

    return Link(Says(), lambda: 0.0).request(do, **fields)


@pytest.mark.parametrize("name", ["board", "fault", "state", "name", "version", "settings", "profile", "t"])
def test_a_hello_without_a_field_is_refused_in_words(name):
    with pytest.raises(LinkError, match=r"the board's answer to 'hello' is not one .* bain install"):
        asked("hello", {key: value for key, value in HELLO.items() if key != name})


@pytest.mark.parametrize("board", ["../../../x", "/etc", "", "..", "a\0b", "AB", 5, None])
def test_a_board_id_that_is_not_a_chips_number_is_refused(board):
    with pytest.raises(LinkError, match="answer to 'hello'"):
        asked("hello", {**HELLO, "board": board})


@pytest.mark.parametrize(
    ("do", "fields", "answer"),
    [
        ("start", {}, {"low": "warm"}),
        ("send", {"what": "settings"}, {"size": 2**50, "sha256": "0" * 64}),
        ("send", {"what": "settings"}, {}),
        ("chunk", {"at": 0}, {"at": 0, "data": None}),
        ("read", {"segment": 1, "at": 0}, {}),
        ("segments", {}, {"first": 1, "last": 1, "size": 2**50, "crc": "00000000"}),
        ("segments", {}, {"first": 1, "last": 1, "size": 5, "crc": "a"}),
        ("forget", {"through": 1}, {"going": 2**40}),
        ("forget", {"through": 1}, {}),
        ("bus", {}, {"kind": "pico", "count": 2**40}),
        ("bus", {"at": 1}, {"rom": "x", "temp": "warm", "code": 0}),
        ("profiles", {"at": 0}, {"name": 5}),
    ],
)
def test_an_answer_of_another_shape_is_one_error(do, fields, answer):
    with pytest.raises(LinkError, match=f"the board's answer to '{do}' is not one that this program understands"):
        asked(do, answer, **fields)


def test_an_event_with_a_field_of_another_type_is_a_damaged_line():
    assert decode(event_line("power_back", 1, 0, off_s="x").rstrip(b"\n")) is None
    assert decode(event_line("power_back", 1, 0, off_s=5).rstrip(b"\n")) is not None


def test_control_characters_of_a_board_are_written_out():
    """A right line may carry any letter as an escape; none of them may reach a terminal."""
    line = event_line("log_stopped", 1, 0, why="\x1b]0;x\x07\x9b1m\u202e\n0:10 done").rstrip(b"\n")
    assert decode(line)["why"] == "\\u001b]0;x\\u0007\\u009b1m\\u202e\\u000a0:10 done"  # nor may it forge a line
    assert visible("degrees °C, Crème\n") == "degrees °C, Crème\n"


def test_a_piece_that_is_not_base64_is_words():
    with pytest.raises(LinkError, match="not base64"):
        decode_piece("@@@")


def test_a_document_that_never_ends_ends_in_words():
    """Pieces of one byte, each in time, would take an hour."""

    class Slow(FakeBoard):
        now_s = 0.0

        def _do_send(self, message):
            return [("size", 4096), ("sha256", "0" * 64)]

        def _do_chunk(self, message):
            Slow.now_s += 2.9
            return [("at", message["at"]), ("data", "A" * 160)]

    with pytest.raises(LinkError, match="too slowly"):
        Link(Slow(), lambda: Slow.now_s).download("settings")


def test_a_document_whose_pieces_have_no_data_is_damaged():
    class Empty(FakeBoard):
        def _do_send(self, message):
            return [("size", 100), ("sha256", "0" * 64)]

        def _do_chunk(self, message):
            return [("at", message["at"])]

        def _do_commit(self, message):
            return []

    with pytest.raises(LinkError, match="the profile arrived damaged"):
        Link(Empty()).download("profile")


@pytest.mark.parametrize(("name", "fields", "whole"), [
    ("trip", {}, {"fault": 2}), ("warn", {"fault": "x"}, {"fault": 2}), ("checked", {}, {"masked": False}),
    ("checked", {"masked": "x"}, {"masked": True}),
])
def test_an_event_without_what_its_kind_always_has_is_dropped(name, fields, whole):
    assert decode(event_line(name, 1, 5000, **fields)[:-1]) is None
    assert decode(event_line(name, 1, 5000, **whole)[:-1]) == {"event": name, "n": 1, "t": 5000, **whole}
    assert decode(wire.encode([("event", name), ("n", 1), *whole.items()])[:-1]) is None  # no time
