"""The wire's codec: exact bytes out, only exact bytes in."""

import binascii

import golden

from bainboard import wire

STATUS = (
    ("status", 17), ("t", 61000), ("state", "hold"), ("stage", "work"), ("water", 33125), ("bowl", None), ("est", 1),
    ("target", 31500), ("water_target", 33300), ("duty", 2345), ("on", 240), ("fault", 0), ("warn", 0), ("ask", ""),
    ("drops", 0),
)


def sealed(body):
    """A line around any bytes, its check value right."""
    return body + b"*" + b"%08X" % binascii.crc32(body)


def refused(line):
    """The reason a line is refused for; fails if it is not."""
    msg, why = wire.decode(line)
    assert msg is None, (line, msg)
    assert why, line
    return why


def raises(call, *args):
    """Does the call raise ValueError?"""
    try:
        call(*args)
    except ValueError:
        return True
    return False


def test_check_value_is_the_published_crc_32():
    """Oracle: the check value of CRC-32 (ISO-HDLC) for "123456789" in the Rocksoft-style catalogues: CBF43926h."""
    assert wire.crc(b"123456789") == b"CBF43926"



def test_a_line_is_what_the_specification_says_to_the_byte():
    body = (
        b'{"status":17,"t":61000,"state":"hold","stage":"work","water":33125,"bowl":null,"est":1,"target":31500,'
        b'"water_target":33300,"duty":2345,"on":240,"fault":0,"warn":0,"ask":"","drops":0}'
    )
    assert wire.encode(STATUS) == sealed(body) + b"\n"


def test_what_is_encoded_comes_back():
    pairs = [("id", 7), ("a", "x"), ("b", -3), ("c", 31.5), ("d", True), ("e", False), ("f", None), ("g", 2**53 - 1)]
    msg, why = wire.decode(wire.encode(pairs))
    assert why is None
    assert msg == dict(pairs)
    for key, value in pairs:
        assert type(msg[key]) is type(value), key


def test_text_of_any_kind_goes_as_ascii_and_comes_back():
    words = 'quote " backslash \\ slash / newline \n tab \t bell \x07 etx \x03 del \x7f grad \u00b0 kana \u30c1'
    line = wire.encode([("words", words)])
    assert all(0x20 <= byte < 0x7F for byte in line[:-1])
    assert wire.decode(line) == ({"words": words}, None)


def test_letters_are_escaped_or_refused_at_the_edges_of_their_ranges():
    for code, body in (
        (0x1F, b"\\u001f"), (0x20, b" "), (0x7E, b"~"), (0x7F, b"\\u007f"), (0xD7FF, b"\\ud7ff"), (0xE000, b"\\ue000"),
        (0xFFFF, b"\\uffff"),
    ):
        line = wire.encode([("a", chr(code))])
        assert line[:-10] == b'{"a":"' + body + b'"}'
        assert wire.decode(line) == ({"a": chr(code)}, None)
    for code in (0xD800, 0xDFFF, 0x10000):
        assert raises(wire.encode, [("a", chr(code))]), code


def test_the_longest_status_fits_a_line():
    longest = {
        "status": 2**30 - 1, "t": 172800000, "state": "check", "stage": "melted", "water": -55000, "bowl": -55000,
        "target": 50000, "water_target": 55000, "duty": 10000, "on": 2000, "fault": 16, "warn": 2**17 - 1,
        "ask": "another pot?", "drops": 9999999,
    }
    assert len(wire.encode([(key, longest.get(key, value)) for key, value in STATUS])) <= wire.LIMIT


def test_a_line_of_256_bytes_is_the_longest():
    room = wire.LIMIT - len(wire.encode([("a", "")]))
    longest = wire.encode([("a", "x" * room)])
    assert len(longest) == 256
    assert wire.decode(longest) == ({"a": "x" * room}, None)
    assert wire.decode(longest[:-1] + b"\r\n") == ({"a": "x" * room}, None)
    assert raises(wire.encode, [("a", "x" * (room + 1))])
    assert "too long" in refused(sealed(b'{"a":"' + b"x" * (room + 1) + b'"}'))


def test_what_no_line_can_carry_is_an_error_of_the_writer():
    inf = float("inf")
    for value in (inf, -inf, inf - inf, 2**53, -(2**53), 1e16, [1], {"a": 1}, b"bytes", "\U0001f36b"):
        assert raises(wire.encode, [("a", value)]), value


def test_a_long_reason_is_cut_and_the_answer_still_goes():
    for letter in ("x", '"', "\u00b0"):
        line = wire.encode_within([("re", 7), ("ok", False), ("why", letter * 400)])
        msg, _ = wire.decode(line)
        assert len(line) <= wire.LIMIT
        assert msg["re"] == 7
        assert msg["ok"] is False
        assert len(msg["why"]) > 20
    assert wire.encode_within(STATUS) == wire.encode(STATUS)


def test_a_reason_that_just_fits_is_not_cut():
    head = [("re", 7), ("ok", False)]
    room = wire.LIMIT - len(wire.encode(head + [("why", "")]))  # noqa: RUF005 - MicroPython has no [*head, x]
    for length in (room - 1, room, room + 1):
        pairs = head + [("why", "x" * length)]  # noqa: RUF005
        msg, _ = wire.decode(wire.encode_within(pairs))
        assert (msg["why"] == "x" * length) == (length <= room)


def test_any_one_changed_byte_is_refused():
    """A CRC-32 finds every single-byte change; in the check value itself only one spelling is right."""
    line = wire.encode(STATUS)[:-1]
    for at in range(len(line)):
        for flip in (0x01, 0x20, 0x80, 0xFF):
            refused(line[:at] + bytes([line[at] ^ flip]) + line[at + 1 :])


def test_any_part_of_a_line_is_refused():
    line = wire.encode(STATUS)[:-1]
    for cut in range(len(line)):
        refused(line[:cut])
        refused(line[cut + 1 :])


def test_junk_before_or_after_is_refused():
    line = wire.encode(STATUS)[:-1]
    for junk in (b" ", b"x", b"\x00", b"\x03", b">>> ", b"*", line):
        refused(junk + line)
        refused(line + junk)


def test_a_wrong_a_lower_case_or_an_absent_check_value_is_refused():
    body = b'{"id":7,"do":"stop"}'
    assert "check value" in refused(body)
    assert "check value" in refused(body + b"*00000000")
    assert "check value" in refused(body + b"*" + wire.crc(body).lower())
    assert "check value" in refused(body + wire.crc(body))
    assert "check value" in refused(b"*" + wire.crc(b""))


NOT_FLAT_JSON = (
    b"", b" ", b"7", b"null", b'"a"', b"[1,2}", b"[]", b"{", b"}", b"{]", b'{"a":1', b'{"a":1]', b'{"a":1}}',
    b'{"a":1}{}',
    b'{"a"}', b'{"a":}', b'{"a" 1}', b"{a:1}", b"{'a':1}", b'{"a":1,}', b'{,"a":1}', b'{"a":1 "b":2}',
    b'{"a":1,,"b":2}', b'{"a":[1]}', b'{"a":{"b":1}}', b'{1:1}', b'{null:1}', b'{"a:1}', b'{"a":"x}', b'{"a":"x\\"}',
    b'{"a":tru}', b'{"a":True}', b'{"a":nul}', b'{"a":nullx}', b'{"a":undefined}',
    b'{"a":NaN}', b'{"a":nan}', b'{"a":Infinity}', b'{"a":-Infinity}', b'{"a":inf}',
    b'{"a":01}', b'{"a":-01}', b'{"a":+1}', b'{"a":.5}', b'{"a":1.}', b'{"a":-}', b'{"a":--1}', b'{"a":1e}',
    b'{"a":1e+}',
    b'{"a":1-2}', b'{"a":1_0}', b'{"a":0x10}', b'{"a":1.2.3}', b'{"a":1e2e3}', b'{"a":1e2.5}', b'{"a":1 2}',
    b'{"a":1e999}', b'{"a":-1e999}', b'{"a":9007199254740992}', b'{"a":-9007199254740992}', b'{"a":1e16}',
    b'{"a":123456789012345678901234567890}',
    b'{"a":1,"a":1}', b'{"a":1,"\\u0061":2}',
    b'{"a":"\\x41"}', b'{"a":"\\u12"}', b'{"a":"\\u12g4"}', b'{"a":"\\ud83d\\ude00"}', b'{"a":"\\udfff"}',
    b'{"a":"\\ud800"}', b'{"a":"\\x0041"}', b'{"a":"\\u+041"}', b'{"a":"\\u 041"}', b'{"a":"\\u-041"}',
    b'{"a":"\\U0041"}',
    b'{"a":"\x03"}', b'{"a":"\x00"}', b'{"a":"\x7f"}', b'{"a":"\x80"}', b'{"a":"\xc2\xb0"}', b'{"a":\t1}', b'{"a":1\n}',
    b"\xef\xbb\xbf{}",
)


def test_what_is_not_one_flat_object_of_plain_values_is_refused_though_its_check_value_is_right():
    for body in NOT_FLAT_JSON:
        refused(sealed(body))


def test_one_object_inside_another_is_named_as_such():
    for body in (b'{"a":[1]}', b'{"a":{"b":1}}'):
        assert "flat" in refused(sealed(body))


def test_every_spelling_json_allows_in_a_flat_object_is_taken():
    """Oracle: RFC 8259, sections 2 to 7."""
    for body, wanted in (
        (b"{}", {}),
        (b"{ } ", {}),
        (b"{} ", {}),
        (b' { "a" : 1 , "b" : null } ', {"a": 1, "b": None}),
        (b'{"a":-0,"b":0,"c":10}', {"a": 0, "b": 0, "c": 10}),
        (b'{"a":0.5,"b":-1.5e2,"c":25E-2,"d":2e+1}', {"a": 0.5, "b": -150.0, "c": 0.25, "d": 20.0}),
        (b'{"a":"\\"\\\\\\/\\b\\f\\n\\r\\t"}', {"a": '"\\/\b\f\n\r\t'}),
        (b'{"a":"\\u00b0\\u30C1x"}', {"a": "\u00b0\u30c1x"}),
        (b'{"a*b":"*{}[],:"}', {"a*b": "*{}[],:"}),
        (b'{"":""}', {"": ""}),
    ):
        assert wire.decode(sealed(body)) == (wanted, None), body


def test_a_document_is_read_by_the_same_rules_at_any_length():
    body = b"{" + b",".join([b'"n%d":%d' % (i, i) for i in range(300)]) + b"}"
    values, why = wire.parse(body)
    assert why is None
    assert len(values) == 300
    assert values["n299"] == 299
    assert wire.parse(body + b" x")[0] is None


def test_lines_come_whole_from_pieces_of_any_size():
    lines = [wire.encode(STATUS), wire.encode([("id", 7), ("do", "stop")]), wire.encode([("re", 7), ("ok", True)])]
    stream = b"".join(lines)
    for size in range(1, len(stream) + 1):
        box, got = wire.Assembler(), []
        for at in range(0, len(stream), size):
            got += box.feed(stream[at : at + size])
        assert got == [line[:-1] for line in lines], size


def test_carriage_returns_and_empty_lines_are_accepted():
    line = wire.encode([("id", 7), ("do", "stop")])[:-1]
    got = wire.Assembler().feed(b"\r\n\n" + line + b"\r\n\r\n" + line + b"\n")
    assert [wire.decode(each) for each in got] == [({"id": 7, "do": "stop"}, None)] * 2


def test_a_line_with_a_carriage_return_inside_is_refused():
    line = wire.encode([("id", 7), ("do", "stop")])[:-1]
    for at in range(1, len(line)):
        refused(line[:at] + b"\r" + line[at:])
    refused(line + b"\r\r")


def test_control_bytes_inside_a_line_make_it_a_refused_line_and_not_two_good_ones():
    line = wire.encode([("id", 7), ("do", "stop")])[:-1]
    for byte in (b"\x00", b"\x03", b"\x04", b"\x1b", b"\x7f", b"\xff"):
        for at in (0, 5, len(line)):
            got = wire.Assembler().feed(line[:at] + byte + line[at:] + b"\n" + line + b"\n")
            assert len(got) == 2
            refused(got[0])
            assert wire.decode(got[1])[1] is None


def test_an_over_long_line_is_refused_once_and_the_next_one_is_good():
    line = wire.encode([("id", 7), ("do", "stop")])
    for size in (1, 7, 256, 5000):
        box, got = wire.Assembler(), []
        flood = b"x" * 5000 + b"\n" + line
        for at in range(0, len(flood), size):
            got += box.feed(flood[at : at + size])
        assert len(got) == 2
        assert len(got[0]) <= wire.LIMIT + 1
        assert "too long" in refused(got[0])
        assert wire.decode(got[1]) == ({"id": 7, "do": "stop"}, None)


def test_a_good_line_at_the_end_of_an_over_long_one_is_not_acted_on():
    line = wire.encode([("id", 7), ("do", "stop")])
    got = wire.Assembler().feed(b"x" * 300 + line)
    assert len(got) == 1
    refused(got[0])


def test_an_endless_line_costs_no_memory():
    box = wire.Assembler()
    for _ in range(100):
        assert box.feed(b"x" * 100) == []
    assert len(box.feed(b"\n")[0]) == wire.LIMIT + 1


def test_every_golden_line_is_read():
    for what, line in golden.LINES:
        msg, why = wire.decode(line)
        assert why is None, what
        assert wire.encode(list(msg.items()))[-1:] == b"\n"


def test_a_template_says_what_encode_says():
    line = wire.Template((("n", False), ("state", True), ("bowl", False))).line((-7, "hold", None))
    assert line == wire.encode([("n", -7), ("state", "hold"), ("bowl", None)])
