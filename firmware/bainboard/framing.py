"""Frames for what is stored on flash, no I/O: magic, kind, sequence, length, payload, CRC-32."""

import binascii
import struct

MAGIC = b"\xba\x1a"  # chosen: not ASCII, not erased (FFh) and not zeroed flash
_HEAD = "<2sBIH"  # magic, kind u8, sequence u32, payload length u16; little-endian
HEAD_BYTES = 9
OVERHEAD = HEAD_BYTES + 4
MAX_PAYLOAD = 4096  # chosen: the largest document; a larger length is a damaged head


def pack(kind: int, seq: int, payload: bytes) -> bytes:
    """One frame as bytes; the CRC-32 covers everything before it, the magic included."""
    if not (0 <= kind < 256 and 0 <= seq < 2**32 and len(payload) <= MAX_PAYLOAD):
        raise ValueError(f"kind {kind}, sequence {seq}, {len(payload)} bytes do not fit a frame")
    frame = bytearray(OVERHEAD + len(payload))
    frame[HEAD_BYTES:-4] = payload
    return bytes(seal(frame, 0, len(frame) - 4, kind, seq))


def seal(buffer: bytearray, start: int, end: int, kind: int, seq: int) -> memoryview:
    """Add head and CRC to a payload already in a buffer, `HEAD_BYTES` after `start` up to `end`; returns the frame."""
    struct.pack_into(_HEAD, buffer, start, MAGIC, kind, seq, end - start - HEAD_BYTES)
    view = memoryview(buffer)
    struct.pack_into("<I", buffer, end, binascii.crc32(view[start:end]))
    return view[start : end + 4]


def read(data: bytes, at: int = 0) -> tuple | None:
    """The frame that begins at `at`: (kind, seq, payload, end), or None when there is no whole, undamaged one."""
    if at + OVERHEAD > len(data):
        return None
    magic, kind, seq, length = struct.unpack_from(_HEAD, data, at)
    end = at + OVERHEAD + length
    if magic != MAGIC or length > MAX_PAYLOAD or end > len(data):
        return None
    if binascii.crc32(memoryview(data)[at : end - 4]) != struct.unpack_from("<I", data, end - 4)[0]:
        return None
    return kind, seq, bytes(memoryview(data)[at + HEAD_BYTES : end - 4]), end  # one copy, not two


def scan(data: bytes) -> tuple:
    """Every whole frame in bytes that may be torn or damaged: (frames, end, gaps).

    frames: (kind, seq, payload, offset) each; end: where the last one ends, the rest is a torn tail;
    gaps: (from, to) of damaged bytes that were skipped between or before whole frames.
    """
    frames, gaps, end = [], [], 0
    at = data.find(MAGIC)
    while at >= 0:
        frame = read(data, at)
        if frame is None:
            at = data.find(MAGIC, at + 1)
            continue
        if at > end:
            gaps.append((end, at))
        kind, seq, payload, end = frame
        frames.append((kind, seq, payload, at))
        at = data.find(MAGIC, end)
    return frames, end, gaps
