"""What documents and pieces of the log are on the wire: their sizes, base64 and hashes. No I/O."""

import binascii
import hashlib

CHUNK = 120  # raw bytes: 160 letters of base64 leave room for the rest of a line
MAX_SIZE = 4096  # bytes of a document; chosen: a board can hold it twice
MAX_GAINS = 1536  # bytes; chosen: twice what all gains with their longest figures take; they may come during a hold


def sha256_hex(*pieces: bytes) -> str:
    """SHA-256 of these bytes in a row, as 64 lower-case hex digits."""
    digest = hashlib.sha256()
    for piece in pieces:
        digest.update(piece)
    return binascii.hexlify(digest.digest()).decode()


def short_hash(payload: bytes) -> str:
    """First 8 hex digits of a stored document's SHA-256; empty for none."""
    return sha256_hex(payload)[:8] if payload else ""


def base64_text(data: bytes) -> str:
    """Base64 without newline."""
    return binascii.b2a_base64(data)[:-1].decode()


def base64_bytes(text: str) -> bytes | None:
    """The bytes of a base64 text, or None unless it is spelt exactly as base64_text would."""
    try:
        data = binascii.a2b_base64(text.encode())
    except ValueError:
        return None
    # Both interpreters skip unknown letters; only a text that encodes back to itself was base64.
    return data if base64_text(data) == text else None
