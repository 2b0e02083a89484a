"""Frames: exact bytes, torn tails, and damage in the middle."""

import binascii

import golden

from bainboard import framing


def raises(call, *args):
    """Does the call raise ValueError?"""
    try:
        call(*args)
    except ValueError:
        return True
    return False


def log(count):
    """So many frames, of growing payloads, and where each begins; the last number is where the last one ends."""
    frames = [framing.pack(16, 100 + i, b"row" * (i + 1)) for i in range(count)]
    return frames, [len(b"".join(frames[:i])) for i in range(count + 1)]


def test_a_frame_is_what_the_specification_says_to_the_byte():
    frame = framing.pack(3, 0x01020304, b"abc")
    body = b"\xba\x1a" + b"\x03" + b"\x04\x03\x02\x01" + b"\x03\x00" + b"abc"
    check = binascii.crc32(body)
    assert frame == body + bytes([check & 255, check >> 8 & 255, check >> 16 & 255, check >> 24])


def test_the_check_value_at_the_end_is_the_published_crc_32():
    """Oracle: the published residue of CRC-32 (ISO-HDLC) is DEBB20E3h before its last inversion, 2144DF1Ch after."""
    assert binascii.crc32(framing.pack(1, 7, b"any payload")) == 0x2144DF1C


def test_what_was_packed_is_read():
    for payload in (b"", b"x", bytes(range(256)), b"\xba\x1a" * 9, b"z" * framing.MAX_PAYLOAD):
        frame = framing.pack(255, 2**32 - 1, payload)
        assert len(frame) == framing.OVERHEAD + len(payload)
        assert framing.read(frame) == (255, 2**32 - 1, payload, len(frame))


def test_what_does_not_fit_a_frame_is_an_error_of_the_writer():
    for kind, seq, size in ((256, 0, 0), (-1, 0, 0), (0, 2**32, 0), (0, -1, 0), (0, 0, framing.MAX_PAYLOAD + 1)):
        assert raises(framing.pack, kind, seq, b"x" * size), (kind, seq, size)


def test_any_one_changed_byte_makes_a_frame_unreadable():
    frame = framing.pack(2, 9, b"payload")
    for at in range(len(frame)):
        for flip in (0x01, 0x80, 0xFF):
            assert framing.read(frame[:at] + bytes([frame[at] ^ flip]) + frame[at + 1 :]) is None, at


def test_a_torn_tail_is_found_at_every_cut():
    frames, offsets = log(5)
    data = b"".join(frames)
    for cut in range(len(data) + 1):
        found, end, gaps = framing.scan(data[:cut])
        ends = [stop for stop in offsets if stop <= cut]
        assert [frame[3] for frame in found] == ends[:-1], cut
        assert end == ends[-1], cut
        assert gaps == []


def test_after_a_damaged_frame_the_scan_finds_the_next_whole_one_and_reports_the_gap():
    frames, offsets = log(5)
    data = b"".join(frames)
    for at in range(offsets[2], offsets[3]):
        for flip in (0x01, 0xFF):
            found, end, gaps = framing.scan(data[:at] + bytes([data[at] ^ flip]) + data[at + 1 :])
            assert [frame[1] for frame in found] == [100, 101, 103, 104], at
            assert gaps == [(offsets[2], offsets[3])]
            assert end == len(data)


def test_bytes_lost_from_the_middle_cost_only_their_own_frame():
    frames, offsets = log(5)
    data = b"".join(frames)
    for lost in range(1, len(frames[2])):
        found, end, gaps = framing.scan(data[: offsets[2]] + data[offsets[2] + lost :])
        assert [frame[1] for frame in found] == [100, 101, 103, 104], lost
        assert gaps == [(offsets[2], offsets[3] - lost)]
        assert end == len(data) - lost


def test_junk_before_the_first_frame_is_a_gap():
    frame = framing.pack(1, 5, b"abc")
    for junk in (b"\xff" * 16, b"\x00", b"\xba", b"\xba\x1a", frame[:-1]):
        found, end, gaps = framing.scan(junk + frame)
        assert [each[1] for each in found] == [5]
        assert gaps == [(0, len(junk))]
        assert end == len(junk + frame)


def test_empty_erased_and_zeroed_flash_hold_no_frame():
    for data in (b"", b"\xff" * 4096, b"\x00" * 4096, b"\xba\x1a" * 2048):
        assert framing.scan(data) == ([], 0, [])


def test_an_absurd_length_does_not_swallow_what_follows():
    head = b"\xba\x1a\x01\x00\x00\x00\x00\xff\xff"
    frame = framing.pack(1, 5, b"abc")
    found, _, gaps = framing.scan(head + frame)
    assert [each[1] for each in found] == [5]
    assert gaps == [(0, len(head))]


def test_every_golden_frame_is_packed_and_read_to_the_byte():
    for what, kind, seq, payload, frame_hex in golden.FRAMES:
        frame = binascii.unhexlify(frame_hex)
        assert framing.pack(kind, seq, payload) == frame, what
        assert framing.read(frame) == (kind, seq, payload, len(frame)), what
