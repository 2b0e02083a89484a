"""Requests: checked whole against one table, refused with a reason, never acted on twice, and none clears a latch."""

import binascii

from bainboard import answered, commands, help_text, requests_urgent, wire
from bainboard.chunks import sha256_hex
from bainboard.transfer import Transfer

HASH = sha256_hex(b"{}")
GOOD = (
    ("hello", {}, "idle"),
    ("start", {"stage": "work", "for_ms": 13200000, "room": 20000}, "idle"),
    ("stop", {}, "hold"),
    ("pause", {}, "hold"),
    ("resume", {}, "pause"),
    ("bowl", {"at": "off"}, "hold"),
    ("announce", {"in_s": 300, "mass_g": 800, "temp": 20000}, "hold"),
    ("confirm", {}, "hold"),
    ("thicker", {}, "hold"),
    ("thinner", {}, "hold"),
    ("test", {}, "hold"),
    ("finish", {"to": "rest"}, "hold"),
    ("back", {}, "hold"),
    ("change", {"name": "milk"}, "hold"),
    ("profiles", {"at": 0}, "hold"),
    ("bus", {"at": 0}, "idle"),
    ("use", {"name": "milk"}, "idle"),
    ("silence", {}, "trip"),
    ("lock", {"at": "on"}, "hold"),
    ("maintenance", {}, "idle"),
    ("begin", {"what": "settings", "size": 2, "sha256": HASH}, "idle"),
    ("send", {"what": "profile"}, "hold"),
    ("chunk", {"at": 0, "data": "e30="}, "idle"),
    ("commit", {}, "idle"),
    ("cold", {"for_ms": 60000}, "idle"),
    ("clock", {"wall_s": 1800000000}, "hold"),
    ("segments", {"after": 412}, "hold"),
    ("read", {"segment": 412, "at": 16320}, "hold"),
    ("forget", {"through": 411}, "hold"),
)


def request(name, fields, ident=7):
    """A whole message."""
    msg = {"id": ident, "do": name}
    msg.update(fields)
    return msg


def fields_of(name):
    """The table's fields of a command."""
    for row in commands.COMMANDS:
        if row[commands.NAME] == name:
            return row[commands.FIELDS]
    raise KeyError(name)


def refused(msg, state="idle"):
    """The reason a request is refused for; fails if it is not, or if the answer does not fit a line."""
    _, args, why = commands.check(msg, state)
    assert args is None, msg
    assert why, msg
    assert len(wire.encode([("re", commands.ID_MAX), ("ok", False), ("why", why)])) <= wire.LIMIT, why
    return why


def test_every_command_is_taken_with_its_fields():
    assert sorted([name for name, _, _ in GOOD]) == sorted([row[commands.NAME] for row in commands.COMMANDS])
    for name, fields, state in GOOD:
        got, args, why = commands.check(request(name, fields), state)
        assert (got, why) == (name, None)
        for key, value in fields.items():
            assert args[key] == value
        assert sorted(args) == sorted([field[commands.FIELD] for field in fields_of(name)])


def test_what_may_be_left_out_takes_its_default():
    for name, given, state, args in (
        ("start", {"stage": "melted"}, "idle", {"stage": "melted", "for_ms": 0, "room": None}),
        ("announce", {"in_s": 0}, "hold", {"in_s": 0, "mass_g": None, "temp": None}),
        ("chunk", {"at": 120}, "hold", {"at": 120, "data": None}),
    ):
        assert commands.check(request(name, given), state) == (name, args, None)


def test_what_is_needed_and_absent_is_named():
    for name, fields, state in GOOD:
        for gone in fields:
            less = {key: value for key, value in fields.items() if key != gone}
            _, args, why = commands.check(request(name, less), state)
            if why is None:
                assert args[gone] in (None, 0), (name, gone)
            else:
                assert why == name + ": " + gone + " is missing"


def test_a_field_no_command_knows_refuses_the_request():
    for name, fields, state in GOOD:
        more = dict(fields)
        more["force"] = True
        assert "no such field" in refused(request(name, more), state)


def test_a_value_of_the_wrong_kind_is_refused_in_every_field():
    for name, fields, state in GOOD:
        for field in fields:
            for value in (None, True, False, -1, 1.5, 2**52, "", "x", "x" * 200, "\u00e9" * 40):
                if field == "data" and isinstance(value, str) and 4 <= len(value) <= 160:
                    continue  # base64 is judged where it is decoded
                if field == "name" and value == "x":
                    continue  # a name
                bad = dict(fields)
                bad[field] = value
                assert field in refused(request(name, bad), state), (name, field, value)


def test_numbers_are_taken_at_their_bounds_and_refused_beyond():
    for name, fields, state in GOOD:
        for field in fields_of(name):
            if field[commands.KIND] not in (commands.WHOLE, commands.TEMP):
                continue
            for value, good in ((field[2], True), (field[3], True), (field[2] - 1, False), (field[3] + 1, False)):
                msg = request(name, fields)
                msg[field[0]] = value
                assert (commands.check(msg, state)[2] is None) == good, (name, field[0], value)


def test_the_bounds_are_those_of_the_specification():
    """48 h and an hour in their units; a room and a refill as warm or cold as a kitchen has them."""
    bounds = {}
    for row in commands.COMMANDS:
        for field in row[commands.FIELDS]:
            if field[commands.KIND] != commands.WORD:
                bounds[row[commands.NAME] + "." + field[commands.FIELD]] = field[commands.LOW : commands.HIGH + 1]
    assert bounds == {
        "cold.for_ms": (0, 3600000),
        "start.for_ms": (0, 172800000), "start.room": (5000, 40000),
        "bus.at": (0, 15), "change.name": (1, 32), "profiles.at": (0, 99), "use.name": (1, 32), "send.name": (1, 32),
        "announce.in_s": (0, 3600), "announce.mass_g": (1, 20000), "announce.temp": (0, 60000),
        "begin.size": (2, 4096), "begin.sha256": (64, 64), "chunk.at": (0, 4096), "chunk.data": (4, 160),
        # The log: 2024-01-01 to what 32 bits hold, by `date -u -d`; segments of 16 KiB.
        "clock.wall_s": (1704067200, 4294967295), "segments.after": (0, 4294967295),
        "read.segment": (1, 4294967295), "read.at": (0, 16384), "forget.through": (1, 4294967295),
    }
    assert commands.ID_MAX == 1073741823


def test_a_hash_that_is_no_lower_case_hex_is_refused():
    for digest in (HASH.upper(), HASH[:-1] + "g", " " + HASH[1:]):
        assert "hex" in refused(request("begin", {"what": "settings", "size": 2, "sha256": digest}))


def test_fahrenheit_for_celsius_is_refused_and_says_so():
    """82 to 122 °F are the 28 to 50 °C a bowl may be asked for; a room of 68 °F is 20 °C."""
    for value in (82000, 88000, 104000, 122000):
        assert "looks like °F" in refused(request("announce", {"in_s": 0, "temp": value}), "hold")
        assert "looks like °F" in refused(request("start", {"stage": "work", "room": value}))
    assert "looks like °F" in refused(request("start", {"stage": "work", "room": 68000}))
    for value in (500000, -40000, 2**52, 122001, 40999, 4999):
        assert "°F" not in refused(request("start", {"stage": "work", "room": value})), value
    for value in (41000, 81999, 82000, 122000):
        assert "°F" in refused(request("start", {"stage": "work", "room": value})), value
    assert "°F" in refused(request("announce", {"in_s": 0, "temp": 140000}), "hold")
    assert "°F" not in refused(request("announce", {"in_s": 0, "temp": 140002}), "hold")


def test_an_id_that_is_none_refuses_the_request():
    for ident in (None, True, 0, -1, 2**30, 1.0, "7", ""):
        msg = {"id": ident, "do": "stop"}
        assert "id" in refused(msg)
        assert commands.ident(msg) is None
    assert "id" in refused({"do": "stop"})
    assert commands.ident({"id": commands.ID_MAX}) == commands.ID_MAX


def test_an_unknown_command_is_refused_with_the_list_of_those_that_the_state_allows():
    for do in ("", "Start", "boost", None, 7, True, "x" * 200, "\u00e9" * 40):
        for state in ("idle", "hold", "trip"):
            why = refused({"id": 7, "do": do}, state)
            listed = why[why.index("wanted") :].split()[1:]
            assert listed == [row[commands.NAME] for row in commands.COMMANDS if state in row[commands.ALLOWED]]
    assert "do" in refused({"id": 7})


def test_a_state_that_does_not_allow_a_command_is_named_with_those_that_do():
    assert refused(request("start", {"stage": "work"}), "hold") == "start: not in state hold, wanted idle"
    assert refused(request("start", {"stage": "work"}), "trip") == "start: not in state trip, wanted idle"
    assert "not in state trip" in refused(request("confirm", {}), "trip")
    for name in ("pause", "thicker", "thinner"):
        for state in ("idle", "trip"):
            assert "not in state " + state in refused(request(name, {}), state)
    for state in ("check", "hold", "pause", "off"):
        assert "not in state" in refused(request("maintenance", {}), state)


def test_stop_and_hello_are_taken_in_every_state():
    for state in commands.STATES:
        for name in ("stop", "hello"):
            assert commands.check(request(name, {}), state)[2] is None


def test_documents_are_refused_while_a_hold_runs_and_gains_are_not():
    for what in ("settings", "profile", "gains"):
        for state in commands.STATES:
            msg = request("begin", {"what": what, "size": 2, "sha256": HASH})
            allowed = what == "gains" or state in ("idle", "trip")
            assert (commands.check(msg, state)[2] is None) == allowed, (what, state)
            assert (commands.may_store(what, state) is None) == allowed


def test_no_command_clears_a_latch():
    """Safety: a latch is cleared by a person at the warmer, never by a message."""
    tripped = []
    for name, fields, _ in GOOD:
        if commands.check(request(name, fields), "trip")[2] is None:
            tripped.append(name)
    assert sorted(tripped) == [
        "begin", "bus", "chunk", "clock", "commit", "forget", "hello", "lock", "maintenance", "profiles", "read",
        "segments",
        "send", "silence", "stop", "use",
    ]
    for do in ("clear", "reset", "unlatch", "acknowledge"):
        assert "do" in refused({"id": 7, "do": do}, "trip")
    for what in ("latch", "boot", "log"):
        assert "what" in refused(request("begin", {"what": what, "size": 2, "sha256": HASH}), "trip")


def test_a_refused_request_is_left_as_it_came():
    for name, fields, state in GOOD:
        msg = request(name, fields)
        msg["extra"] = 1
        before = dict(msg)
        refused(msg, state)
        assert msg == before


# -- every message, whole, in pieces, and damaged --------------------------------------------------------------------


class Board:
    """The smallest app that acts on lines: records what was requested, in order, and the answers."""

    def __init__(self, state):
        self.state = state
        self.done = []
        self.answers = []
        self.box = wire.Assembler()
        self.answered = answered.Answered()

    def take(self, data):
        """Bytes from a host."""
        for line in self.box.feed(data):
            self.answers.append(wire.decode(self.answer(line))[0])

    def answer(self, line):
        """One line's answer."""
        msg, why = wire.decode(line)
        if why:
            return wire.encode_within([("re", None), ("ok", False), ("why", why)])
        again = self.answered.get(msg, line)
        if again:
            return again
        name, args, why = commands.check(msg, self.state)
        if why is None:
            self.done.append((name, args))
        head = [("re", commands.ident(msg)), ("ok", why is None)]
        reply = wire.encode_within(head if why is None else head + [("why", why)])  # noqa: RUF005 - MicroPython has no [*head, x]
        self.answered.put(msg, line, reply)
        return reply


def line_of(name, fields, ident=7):
    """A request as a host writes it."""
    return wire.encode([("id", ident), ("do", name)] + sorted(fields.items()))  # noqa: RUF005 - MicroPython has no [*a, *b]


def test_every_message_is_acted_on_once_whole_or_byte_by_byte():
    for name, fields, state in GOOD:
        line = line_of(name, fields)
        for size in (len(line), 1):
            board = Board(state)
            for at in range(0, len(line), size):
                assert board.done == []
                board.take(line[at : at + size])
            assert len(board.done) == 1
            assert board.done[0][0] == name
            assert board.answers == [{"re": 7, "ok": True}]


def test_every_message_with_junk_before_or_after_it_is_refused_and_nothing_is_done():
    for name, fields, state in GOOD:
        line = line_of(name, fields)
        for junk in (b"x", b" ", b"\x00", b"\x03", b">>> ", b"{}", b"\xff\xfe", line[:-1], b"x" * 300):
            board = Board(state)
            board.take(junk + line)
            board.take(line[:-1] + junk + b"\n")
            assert board.done == []
            assert len(board.answers) == 2
            for answer in board.answers:
                assert answer["ok"] is False
                assert answer["re"] is None
                assert answer["why"]


def test_every_message_with_a_wrong_check_value_or_cut_short_is_refused_and_nothing_is_done():
    for name, fields, state in GOOD:
        line = line_of(name, fields)
        board = Board(state)
        for cut in range(1, len(line) - 1):
            board.take(line[:cut] + b"\n")
        board.take(line[:-2] + (b"0" if line[-2:-1] != b"0" else b"1") + b"\n")
        assert board.done == []
        assert len(board.answers) == len(line) - 1
        assert not [answer for answer in board.answers if answer["ok"]]


def test_every_message_lengthened_over_the_limit_is_refused_and_nothing_is_done():
    for name, fields, state in GOOD:
        body = line_of(name, fields)[:-10]
        body = body[:-1] + b',"pad":"' + b"x" * 256 + b'"}'
        board = Board(state)
        board.take(body + b"*" + wire.crc(body) + b"\n")
        assert board.done == []
        assert "too long" in board.answers[0]["why"]


def test_numbers_that_are_none_are_refused_in_every_numeric_field():
    for name, fields, state in GOOD:
        for field, value in fields.items():
            if not isinstance(value, int):
                continue
            for bad in (b"1e999", b"-1e999", b"NaN", b"Infinity", b"1e3", b"9007199254740993", b"1.0"):
                body = line_of(name, fields)[:-10]
                key = '"' + field + '":'
                old = (key + str(value)).encode()
                assert body.count(old) == 1
                body = body.replace(old, key.encode() + bad)
                board = Board(state)
                board.take(body + b"*" + b"%08X" % binascii.crc32(body) + b"\n")
                assert (board.done, board.answers[0]["ok"]) == ([], False), (name, field, bad)


# -- a request sent again ----------------------------------------------------------------------------------------------


def test_a_request_sent_again_is_answered_again_and_done_once():
    for name, fields, state in GOOD:
        board = Board(state)
        for _ in range(3):
            board.take(line_of(name, fields))
        assert len(board.done) == (3 if name in ("hello", "stop", "segments", "read") else 1), name
        assert board.answers == [{"re": 7, "ok": True}] * 3


def test_a_refusal_is_remembered_too():
    board = Board("idle")
    board.take(line_of("pause", {}))
    board.state = "hold"
    board.take(line_of("pause", {}))
    assert board.done == []
    assert board.answers[0] == board.answers[1]


def test_an_id_used_for_another_request_just_now_is_refused():
    board = Board("hold")
    board.take(line_of("thicker", {}) + line_of("thinner", {}))
    assert [name for name, _ in board.done] == ["thicker"]
    assert board.answers[1]["re"] == 7
    assert "count on" in board.answers[1]["why"]


def test_a_stop_stops_whatever_its_id_was_used_for():
    board = Board("hold")
    board.take(line_of("confirm", {}) + line_of("stop", {}) + line_of("stop", {}))
    assert [name for name, _ in board.done] == ["confirm", "stop", "stop"]


def test_a_hello_begins_a_conversation_whose_ids_are_new():
    board = Board("hold")
    board.take(line_of("thicker", {}, 1) + line_of("hello", {}, 1) + line_of("thicker", {}, 1))
    assert [name for name, _ in board.done] == ["thicker", "hello", "thicker"]


def test_the_last_eight_are_remembered_and_no_more():
    board = Board("hold")
    for ident in range(1, 10):
        board.take(line_of("confirm", {}, ident))
    board.take(line_of("confirm", {}, 2))
    assert len(board.done) == 9
    board.take(line_of("confirm", {}, 1))
    assert len(board.done) == 10


def test_a_transfer_broken_off_leaves_the_document_as_it_was_and_the_next_one_works():
    payload = b'{"heater_w":60.0}'
    stored, transfer = {}, Transfer()

    def host(name, fields, now_ms):
        name, args, why = commands.check(request(name, fields), "idle")
        assert why is None, why
        if name == "commit":
            _, why = transfer.commit(now_ms)
            if why is None:
                stored.update([transfer.complete])
        else:
            _, why = getattr(transfer, name)(args, now_ms)
        return why

    announced = {"what": "settings", "size": len(payload), "sha256": sha256_hex(payload)}
    assert host("begin", announced, 0) is None
    assert host("chunk", {"at": 0, "data": "eyJo"}, 0) is None
    assert host("commit", {}, 99)
    assert stored == {}
    assert host("chunk", {"at": 3, "data": "eyJo"}, 60000)
    assert stored == {}
    assert host("begin", announced, 60000) is None
    assert host("chunk", {"at": 0, "data": "eyJoZWF0ZXJfdyI6NjAuMH0="}, 60000) is None
    assert host("commit", {}, 60000) is None
    assert stored == {"settings": payload}


def test_every_command_has_its_words():
    assert sorted(help_text.COMMANDS) == sorted([row[commands.NAME] for row in commands.COMMANDS])


def test_a_plain_stop_or_pause_is_one_that_the_table_accepts():
    seen = set()
    for do in ("stop", "pause", "hello"):
        for state in commands.STATES:
            for more in ({}, {"at": 1}):
                for number in (1, 0, True, None):
                    msg = {"id": number, "do": do}
                    msg.update(more)
                    accepted = commands.check(msg, state)[2] is None
                    assert requests_urgent.is_plain(msg, state) == (accepted and do != "hello"), (msg, state)
                    seen.add((do, accepted))
    assert len(seen) == 6
    assert not requests_urgent.is_plain({"do": "stop"}, "hold")
    assert not requests_urgent.is_plain({"do": "stop", "x": 1}, "hold")
