"""Transfers: the whole document or none, whatever is lost, repeated, interrupted or wrong on the way."""

import binascii

from bainboard.chunks import CHUNK, MAX_SIZE, base64_bytes, base64_text, sha256_hex
from bainboard.transfer import SILENCE_MS, Transfer

DOCUMENT = b'{"heater_w":60.0,"water_l":1.5}' + b" " * 300


def chunks(payload):
    """(offset, base64) of each chunk of a payload, in order."""
    return [(at, base64_text(payload[at : at + CHUNK])) for at in range(0, len(payload), CHUNK)]


def begin(transfer, payload=DOCUMENT, what="settings", now_ms=0, digest=None):
    """Announce a document."""
    args = {"what": what, "size": len(payload), "sha256": digest or sha256_hex(payload)}
    pairs, why = transfer.begin(args, now_ms)
    assert why is None
    assert pairs == [("size", len(payload))]


def put(transfer, at, data, now_ms=0):
    """Send a piece: the reason it was refused for, or None."""
    text = data if data is None or isinstance(data, str) else base64_text(data)
    pairs, why = transfer.chunk({"at": at, "data": text}, now_ms)
    assert (pairs is None) != (why is None)
    return why


def put_all(transfer, payload=DOCUMENT, now_ms=0):
    """Send every piece of a document."""
    for at, text in chunks(payload):
        assert put(transfer, at, text, now_ms) is None


def test_hash_is_the_published_sha_256():
    """Oracle: FIPS 180-4 example "abc" (NIST's example values)."""
    assert sha256_hex(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_base64_is_the_published_one():
    """Oracle: RFC 4648 section 10."""
    for data, text in ((b"f", "Zg=="), (b"fo", "Zm8="), (b"foo", "Zm9v"), (b"foobar", "Zm9vYmFy")):
        assert base64_text(data) == text
        assert base64_bytes(text) == data


def test_base64_not_spelt_exactly_is_refused():
    for text in ("Zg", "Zg=", "Zg===", "Zh==", "Z g==", "Zg==\n", "!!!!", "Zm9v!", "Zm-_", "Zg==Zg==", "=", "\u00e9"):
        assert base64_bytes(text) is None, text


def test_a_document_comes_in_whole_and_is_handed_out_once_its_hash_is_right():
    for size in (2, CHUNK - 1, CHUNK, CHUNK + 1, MAX_SIZE):
        payload = bytes([i % 251 for i in range(size)])
        transfer = Transfer()
        begin(transfer, payload)
        put_all(transfer, payload)
        assert transfer.complete is None
        assert transfer.commit(0) == ([("what", "settings"), ("size", size)], None)
        assert transfer.complete == ("settings", payload)


def test_the_same_way_out():
    for size in (1, CHUNK, CHUNK + 1, MAX_SIZE):
        payload = bytes([i % 251 for i in range(size)])
        transfer = Transfer()
        pairs, why = transfer.send("profile", payload, 0)
        assert why is None
        assert pairs == [("size", size), ("sha256", sha256_hex(payload))]
        got = b""
        while len(got) < size:
            pairs, why = transfer.chunk({"at": len(got), "data": None}, 0)
            assert why is None
            assert pairs[0] == ("at", len(got))
            got += binascii.a2b_base64(pairs[1][1])
        assert got == payload
        assert transfer.commit(0)[1] is None
        assert transfer.complete is None


def test_a_repeated_piece_is_taken_once():
    transfer = Transfer()
    begin(transfer)
    for at, text in chunks(DOCUMENT):
        assert put(transfer, at, text) is None
        assert put(transfer, at, text) is None
    assert transfer.commit(0)[1] is None
    assert transfer.complete == ("settings", DOCUMENT)


def test_a_repeated_request_for_a_piece_is_answered_with_the_same_piece():
    transfer = Transfer()
    transfer.send("settings", DOCUMENT, 0)
    for at, text in chunks(DOCUMENT):
        for _ in range(2):
            assert transfer.chunk({"at": at, "data": None}, 0) == ([("at", at), ("data", text)], None)
    assert transfer.commit(0)[1] is None


def test_pieces_out_of_order_changed_or_too_many_are_refused_and_cost_nothing():
    transfer = Transfer()
    begin(transfer)
    first, second = DOCUMENT[:CHUNK], DOCUMENT[CHUNK : 2 * CHUNK]
    assert "wanted 0" in put(transfer, CHUNK, second)
    assert put(transfer, 0, first) is None
    assert put(transfer, CHUNK, second) is None
    assert "wanted 240" in put(transfer, 0, first)
    assert "wanted 240" in put(transfer, 360, b"x")
    assert "other bytes" in put(transfer, CHUNK, b"y" * CHUNK)
    assert "other bytes" in put(transfer, CHUNK, second[:-1])
    assert "announced" in put(transfer, 240, b"z" * CHUNK)
    assert "base64" in put(transfer, 240, "not base64!")
    assert "base64" in put(transfer, 240, "")
    assert "base64" in put(transfer, 240, b"z" * (CHUNK + 1))
    assert "wanted it" in put(transfer, 240, None)
    assert "so far" in transfer.commit(0)[1]
    assert put(transfer, 240, DOCUMENT[240:]) is None
    assert transfer.commit(0)[1] is None
    assert transfer.complete == ("settings", DOCUMENT)


def test_a_commit_too_early_is_refused_at_every_piece():
    for pieces in range(len(chunks(DOCUMENT))):
        transfer = Transfer()
        begin(transfer)
        for at, text in chunks(DOCUMENT)[:pieces]:
            put(transfer, at, text)
        assert "so far" in transfer.commit(0)[1]
        assert transfer.complete is None


def test_other_bytes_than_announced_are_never_handed_out():
    for at in (0, 150, len(DOCUMENT) - 1):
        transfer = Transfer()
        begin(transfer)
        put_all(transfer, DOCUMENT[:at] + bytes([DOCUMENT[at] ^ 1]) + DOCUMENT[at + 1 :])
        assert "sha256" in transfer.commit(0)[1]
        assert transfer.complete is None
        assert "no transfer" in transfer.commit(0)[1]


def test_nothing_is_open_before_a_begin_and_after_a_commit():
    transfer = Transfer()
    assert "no transfer" in put(transfer, 0, b"x")
    assert "no transfer" in transfer.commit(0)[1]
    begin(transfer)
    put_all(transfer)
    transfer.commit(0)
    assert "no transfer" in put(transfer, 0, b"x")
    assert "no transfer" in transfer.commit(0)[1]


def test_a_transfer_broken_off_is_dropped_after_its_silence():
    transfer = Transfer()
    begin(transfer, now_ms=1000)
    assert put(transfer, 0, DOCUMENT[:CHUNK], 1000 + SILENCE_MS) is None
    assert put(transfer, CHUNK, DOCUMENT[CHUNK : 2 * CHUNK], 1000 + 2 * SILENCE_MS) is None
    assert "no transfer" in put(transfer, 240, DOCUMENT[240:], 1001 + 3 * SILENCE_MS)
    assert transfer.complete is None


def test_a_new_begin_or_send_replaces_one_broken_off():
    transfer = Transfer()
    begin(transfer, b"old" * 100)
    put(transfer, 0, (b"old" * 100)[:CHUNK])
    begin(transfer, what="profile")
    put_all(transfer)
    assert transfer.commit(0)[1] is None
    assert transfer.complete == ("profile", DOCUMENT)
    begin(transfer, b"old" * 100)
    assert transfer.send("settings", DOCUMENT, 0)[1] is None
    assert transfer.complete is None
    assert "none: this one goes out" in put(transfer, 0, b"x")


def test_asking_past_the_end_and_for_what_is_not_there_is_refused():
    transfer = Transfer()
    assert "none here" in transfer.send("profile", b"", 0)[1]
    transfer.send("profile", b"ab", 0)
    assert "so far" in transfer.commit(0)[1]
    transfer.chunk({"at": 0, "data": None}, 0)
    assert "commit" in transfer.chunk({"at": 2, "data": None}, 0)[1]
    assert transfer.commit(0)[1] is None
