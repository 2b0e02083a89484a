"""The wire's codec, no I/O: one flat JSON object, `*`, its CRC-32, newline. Both ends use this file.

The reader and writer are our own, because a board's `json` accepts `[1,2}` as a list and `1e999` as a number, lets the
last of two equal keys win and writes keys in any order. This reader gives the same result, or the same refusal, on
every interpreter.
"""

import binascii

VERSION = 1  # the wire's version, in the answer to `hello`; raised when the meaning of a line changes
LIMIT = 256  # bytes of a line, its newline included; chosen: fits every console buffer, readable in a terminal
TAIL = 9  # "*" and eight hex digits
BOUND = 2**53  # numbers stay under this in size: whole ones survive a reader that keeps them as doubles
STATUS = (  # fields of the status line; True: a word, else a whole number or null
    ("status", False), ("t", False), ("state", True), ("stage", True), ("water", False), ("bowl", False),
    ("est", False), ("target", False), ("water_target", False), ("duty", False), ("on", False), ("fault", False),
    ("warn", False), ("ask", True), ("drops", False),
)

_WORDS = {"true": True, "false": False, "null": None}
_ESCAPES = {'"': '"', "\\": "\\", "/": "/", "b": "\b", "f": "\f", "n": "\n", "r": "\r", "t": "\t"}
_HEX = "0123456789ABCDEFabcdef"
_NUMERIC = "+-.0123456789eE"


def milli(value: float | None) -> int | None:
    """°C or K as whole thousandths; None stays None."""
    return None if value is None else round(value * 1000)


def shown(value) -> str:
    """Any value, short and plain, for use in a reason."""
    if value is None:
        return "nothing"
    if isinstance(value, int) and not -(10**15) < value < 10**15:
        return "a number far too large"  # CPython refuses to print the largest
    words = f"'{value}'" if isinstance(value, str) else str(value)
    words = words if len(words) <= 24 else words[:24] + "..."
    return "".join([letter if " " <= letter <= "~" else "?" for letter in words])


# -- writing --------------------------------------------------------------------------------------------------------


def encode(pairs: list) -> bytes:
    """An ordered list of (key, value) as one line, newline included; ValueError when it cannot be one."""
    return seal(text(pairs))


class Template:
    """A line of fixed fields, for lines sent every second: put together in a buffer made once. Field: (name, a word?).

    Values are whole numbers or None; a word is one of the firmware's own, in plain letters, and needs no escaping.
    """

    def __init__(self, fields: tuple) -> None:
        named = ",".join([_name(name) + ('"%"' if word else "%") for name, word in fields])
        self._form = ("{" + named + "}*").encode()
        self._line = bytearray(LIMIT + 128)  # too long a line fits in, and is refused
        self._view = memoryview(self._line)

    def line(self, values: tuple) -> bytes:
        """The complete line for these values, given in the fields' order."""
        line, at, number = self._line, 0, 0
        for byte in self._form:
            if byte != 0x25:  # a place for a value
                line[at] = byte
                at += 1
                continue
            value = values[number]
            number += 1
            if value is None:
                at = _put(line, at, b"null")
            elif isinstance(value, str):
                at = _put(line, at, value.encode())
            else:
                at = _put_number(line, at, value)
        checked = binascii.crc32(self._view[: at - 1])
        for half in (checked >> 16, checked & 0xFFFF):
            for shift in (12, 8, 4, 0):
                line[at] = ord(_HEX[half >> shift & 15])
                at += 1
        line[at] = 0x0A
        return within_limit(bytes(self._view[: at + 1]))


def _put(line: bytearray, at: int, data: bytes) -> int:
    for byte in data:
        line[at] = byte
        at += 1
    return at


def _put_number(line: bytearray, at: int, value: int) -> int:
    if value < 0:
        line[at] = 0x2D
        at += 1
        value = -value
    place = 1
    while place * 10 <= value:
        place *= 10
    while place:
        line[at] = 0x30 + value // place % 10
        place //= 10
        at += 1
    return at


def seal(body: str) -> bytes:
    """A JSON text as one line: its check value and newline added; ValueError when it is too long."""
    text_bytes = body.encode()
    return within_limit(text_bytes + b"*%08X\n" % binascii.crc32(text_bytes))


def within_limit(line: bytes) -> bytes:
    """The line; ValueError when it is too long."""
    if len(line) > LIMIT:
        raise ValueError(f"line of {len(line)} bytes, wanted at most {LIMIT}; send it by a transfer")
    return line


def encode_within(pairs: list) -> bytes:
    """As encode, but a text in last place is cut to fit: a long reason must not lose the whole answer."""
    pairs = list(pairs)
    key, value = pairs[-1]
    while isinstance(value, str) and value and len(text(pairs)) + TAIL >= LIMIT:
        value = value[: len(value) * 3 // 4]
        pairs[-1] = (key, value)
    return encode(pairs)


def text(pairs: list) -> str:
    """An ordered list of (key, value) as compact ASCII JSON."""
    return "{" + ",".join([_name(key) + _token(value) for key, value in pairs]) + "}"


def crc(body: bytes) -> bytes:
    """CRC-32 of the bytes as eight upper-case hex digits."""
    return b"%08X" % binascii.crc32(body)


def _token(value) -> str:
    if value is None:
        return "null"
    if value is True or value is False:
        return "true" if value else "false"
    if isinstance(value, str):
        return _quote(value)
    if isinstance(value, (int, float)) and -BOUND < value < BOUND:  # NaN and infinity fail too
        return repr(value)
    raise ValueError(f"{value!r} cannot go on the wire; wanted a text, a finite number, true, false or None")


def _name(key: str) -> str:
    return _quote(key) + ":"


def _quote(value: str) -> str:
    for byte in value.encode():
        if byte < 0x20 or byte > 0x7E or byte == 0x22 or byte == 0x5C:
            return '"' + "".join([_letter(letter) for letter in value]) + '"'
    return '"' + value + '"'


def _letter(letter: str) -> str:
    code = ord(letter)
    if letter == '"' or letter == "\\":
        return "\\" + letter
    if 0x20 <= code < 0x7F:
        return letter
    if code > 0xFFFF or 0xD800 <= code < 0xE000:
        raise ValueError(f"character {code:x} cannot go on the wire; wanted one of the basic plane")
    return f"\\u{code:04x}"


# -- reading --------------------------------------------------------------------------------------------------------


def decode(line: bytes) -> tuple:
    """One line, with or without its newline: (message, None), or (None, reason) if anything is wrong with it."""
    line = _bare(line)
    if len(line) >= LIMIT:
        return None, f"line too long: wanted at most {LIMIT} bytes with its newline"
    if len(line) <= TAIL or line[-TAIL : 1 - TAIL] != b"*":
        return None, "no check value: wanted * and 8 hex digits at the end"
    body = line[:-TAIL]
    if line[1 - TAIL :] != crc(body):
        return None, "wrong check value: the line was damaged"
    return parse(body)


def parse(data: bytes) -> tuple:
    """One flat JSON object, read strictly: (dict, None) or (None, reason). Documents are read with this too."""
    for byte in data:
        if not 0x20 <= byte < 0x7F:
            return None, f"byte {byte:02X}h: wanted plain printable letters only"
    try:
        return _object(data.decode()), None
    except ValueError as error:
        return None, str(error)


def _bare(line: bytes) -> bytes:
    if line[-1:] == b"\n":
        line = line[:-1]
    return line[:-1] if line[-1:] == b"\r" else line


def _object(source: str) -> dict:
    """The object in `source`, with nothing after it; ValueError with the reason otherwise."""
    at = _skip(source, _expect(source, _skip(source, 0), "{"))
    values = {}
    more = source[at : at + 1] != "}"
    while more:
        at = _skip(source, at)
        key, at = _string(source, at)
        if key in values:
            raise ValueError(f"the name {key[:24]} is there twice")
        at = _skip(source, _expect(source, _skip(source, at), ":"))
        values[key], at = _value(source, at)
        at = _skip(source, at)
        more = source[at : at + 1] == ","
        at += 1 if more else 0
    at = _skip(source, _expect(source, at, "}"))
    if at != len(source):
        raise ValueError(f"column {at}: something after the object")
    return values


def _skip(source: str, at: int) -> int:
    while source[at : at + 1] == " ":
        at += 1
    return at


def _expect(source: str, at: int, mark: str) -> int:
    if source[at : at + 1] != mark:
        raise ValueError(f"column {at}: wanted {mark}")
    return at + 1


def _value(source: str, at: int) -> tuple:
    """One value and where it ends."""
    mark = source[at : at + 1]
    if mark == '"':
        return _string(source, at)
    for word in _WORDS:
        if source[at : at + len(word)] == word:
            return _WORDS[word], at + len(word)
    if mark == "{" or mark == "[":
        raise ValueError(f"column {at}: wanted a flat object, got one inside another")
    return _number(source, at)


def _string(source: str, at: int) -> tuple:
    start = at = _expect(source, at, '"')
    parts = []
    while True:
        mark = source[at : at + 1]
        if not mark:
            raise ValueError(f"column {start}: a text without its closing quote")
        if mark == '"':
            parts.append(source[start:at])
            return "".join(parts), at + 1
        if mark == "\\":
            parts.append(source[start:at])
            letter, at = _escape(source, at + 1)
            parts.append(letter)
            start = at
        else:
            at += 1


def _escape(source: str, at: int) -> tuple:
    mark = source[at : at + 1]
    if mark in _ESCAPES:
        return _ESCAPES[mark], at + 1
    digits = source[at + 1 : at + 5]
    if mark != "u" or len(digits) != 4 or not all(digit in _HEX for digit in digits):
        raise ValueError(f"column {at}: no such escape")
    code = int(digits, 16)
    if 0xD800 <= code < 0xE000:
        raise ValueError(f"column {at}: half of a surrogate pair; wanted the basic plane")
    return chr(code), at + 5


def _number(source: str, at: int) -> tuple:
    end = at
    while end < len(source) and source[end] in _NUMERIC:
        end += 1
    word = source[at:end]
    whole = _spelling(word)
    if whole is None:
        raise ValueError(f"column {at}: wanted a text, a number, true, false or null")
    value = int(word) if whole else float(word)
    if not -BOUND < value < BOUND:  # 1e999 reads as infinity
        raise ValueError(f"column {at}: number too large, wanted under 2**53")
    return value, end


def _spelling(word: str) -> bool | None:
    """Is it a JSON number: True for a whole one, False for one with a fraction or power, None for neither."""
    body, power_mark, power = word.lower().partition("e")
    whole, point, fraction = body.partition(".")
    digits = whole[1:] if whole[:1] == "-" else whole
    power_digits = power[1:] if power[:1] in ("+", "-") else power
    if not digits.isdigit() or (digits[0] == "0" and digits != "0"):
        return None
    if (point and not fraction.isdigit()) or (power_mark and not power_digits.isdigit()):
        return None
    return not (point or power_mark)


class Assembler:
    """Turns pieces of any size into lines. Holds one line at most; a line too long is cut, and decode refuses it."""

    def __init__(self, limit: int = LIMIT) -> None:
        self._keep = limit + 1  # one byte over the limit marks a line as too long; its rest is dropped
        self._held = b""

    def feed(self, data: bytes) -> list:
        """The lines that these bytes complete, without newlines; empty ones are left out."""
        lines = []
        pieces = bytes(data).split(b"\n")
        for piece in pieces[:-1]:
            line = self._add(piece)
            if line not in (b"", b"\r"):
                lines.append(line)
            self._held = b""
        self._add(pieces[-1])
        return lines

    def _add(self, piece: bytes) -> bytes:
        self._held += piece[: self._keep - len(self._held)]
        return self._held
