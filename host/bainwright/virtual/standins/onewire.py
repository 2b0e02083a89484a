"""onewire: the 1-wire bus with the simulated digital probes, by bytes and by bits.

Probes answer as in their data sheet: nine bytes with a check byte, 85 °C until the first conversion, 750 ms for a
conversion. The simulator gets the request when the conversion starts, and answers while it lasts.
"""

import _clock
from _clock import shared

SEARCH_ROM, MATCH_ROM, SKIP_ROM = 0xF0, 0x55, 0xCC
CONVERT, READ_SCRATCHPAD, READ_POWER = 0x44, 0xBE, 0xB4
CONVERSION_US = 750000  # 12 bits, data sheet
RESET_US = 1000  # 480 us low, 480 us for the presence pulse
BIT_US = 70
POWER_ON = 85 * 16
LOW, DEAD = 1, 2  # shared.bus
ABSENT, ANSWERS_85, SPOILT = 1, 2, 3  # shared.status

# Views of the shared memory's arrays, made once: each access through `shared` would make a new one.
_status, _reading, _scratch, _fresh = shared.status, shared.reading, shared.scratch, shared.fresh


class OneWireError(Exception):
    """No probe answers."""


def _crc_of_byte(crc):
    for _ in range(8):
        crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc


_CRC = bytes([_crc_of_byte(byte) for byte in range(256)])  # a table, for speed: a board computes it in C


def crc8(data):
    """Check byte of 1-wire data (x8 + x5 + x4 + 1, least significant bit first)."""
    crc = 0
    for byte in data:
        crc = _CRC[crc ^ byte]
    return crc


class _Device:
    """One digital probe."""

    def __init__(self, place):
        self.place = place
        self.rom = (shared.rom[place] & 0xFFFFFFFFFFFFFFFF).to_bytes(8, "little")
        self.ready_us = None
        self.pad = bytearray(b"\x00\x00\x4b\x46\x7f\xff\x00\x10\x00")
        self.body = memoryview(self.pad)[:8]  # what the check byte is over
        self.filled, self.check = None, 0

    @property
    def present(self):
        return _status[self.place] != ABSENT

    def convert(self):
        self.ready_us = _clock.now + CONVERSION_US

    @property
    def busy(self):
        return self.ready_us is not None and _clock.now < self.ready_us

    def scratchpad(self):
        if self.ready_us is not None and _clock.now >= self.ready_us:
            self.ready_us = None
            self._store()
        status = _status[self.place]
        if status == ANSWERS_85 or _fresh[self.place]:
            self._fill(POWER_ON, 0x0C)
        else:
            self._fill(_scratch[self.place], 0x10 - (_scratch[self.place] & 0x0F))
        if status == SPOILT:
            self.pad[8] ^= 0x5A
        return self.pad

    def _store(self):
        _clock.settle()
        _scratch[self.place] = _reading[self.place]
        _fresh[self.place] = 0

    def _fill(self, word, countdown):
        """Alarm bytes as shipped, 12 bits, and the reserved bytes as a genuine part gives them: byte 6 counts down with
        the fraction after a conversion and is 0x0C at power-on."""
        pad = self.pad
        if word << 8 | countdown == self.filled:  # a bath that is held reads the same for minutes
            pad[8] = self.check
            return
        self.filled = word << 8 | countdown
        pad[0] = word & 0xFF
        pad[1] = word >> 8 & 0xFF
        pad[6] = countdown
        self.check = pad[8] = crc8(self.body)


_devices = [_Device(place) for place in range(2) if shared.kind[place] == 1]


class OneWire:
    """The bus master."""

    SEARCH_ROM, MATCH_ROM, SKIP_ROM = SEARCH_ROM, MATCH_ROM, SKIP_ROM

    def __init__(self, pin):
        self.pin = pin
        self._phase = "rom"
        self._listening = []  # devices the last reset and ROM command left on
        self._out = None  # bytes being read, and how far
        self._at = 0
        self._bits, self._count = 0, 0

    def reset(self, required=False):
        """Reset the bus; returns whether a probe answers."""
        _clock.stamp()
        _clock.charge(RESET_US)
        self._phase, self._out, self._count = "rom", None, 0
        bus = shared.bus
        self._listening = [d for d in _devices if _status[d.place] != ABSENT] if bus == 0 else []
        presence = bool(self._listening) or bus == LOW
        if required and not presence:
            raise OneWireError
        return presence

    # -- bytes ----------------------------------------------------------------------------------------------------

    def writebyte(self, value):
        """Send a byte."""
        _clock.charge(8 * BIT_US)
        self._command(value)

    def write(self, buf):
        """Send bytes."""
        if self._phase == "match" and self._at == 0 and len(buf) == 8:
            _clock.charge(8 * 8 * BIT_US)
            self._listening = [d for d in self._listening if d.rom == buf]  # a whole id, the usual case
            self._phase = "function"
            return
        for byte in buf:
            self.writebyte(byte)

    def readbyte(self):
        """Read a byte."""
        _clock.charge(8 * BIT_US)
        return self._next_byte()

    def readinto(self, buf):
        """Read until the buffer is full."""
        _clock.charge(8 * BIT_US * len(buf))
        if self._phase == "read" and self._at == 0 and self._out is not None and shared.bus == 0 and len(buf) == 9:
            buf[:] = self._out  # the whole scratchpad, the usual case
            self._at = 9
            return
        for i in range(len(buf)):
            buf[i] = self._next_byte()

    def select_rom(self, rom):
        """Reset and address one probe."""
        self.reset()
        _clock.charge(9 * 8 * BIT_US)
        self._listening = [d for d in self._listening if d.rom == rom]
        self._phase = "function"

    def scan(self):
        """Ids of all probes that answer."""
        # A search takes a reset and 64 x 3 bits for each id.
        found = []
        for device in sorted(_devices, key=_search_key, reverse=True):
            if device.present and shared.bus == 0:
                _clock.charge(RESET_US + 200 * BIT_US)
                found.append(bytearray(device.rom))
        return found

    def crc8(self, data):
        """Check byte."""
        return crc8(data)

    # -- bits -----------------------------------------------------------------------------------------------------

    def writebit(self, value):
        """Send a bit."""
        _clock.charge(BIT_US)
        if self._phase == "search":
            self._search_bit(value)
            return
        self._bits |= (value & 1) << self._count
        self._count += 1
        if self._count == 8:
            bits, self._bits, self._count = self._bits, 0, 0
            self._command(bits)

    def readbit(self):
        """Read a bit: while a probe converts it answers 0."""
        _clock.charge(BIT_US)
        if shared.bus == LOW:
            return 0
        if self._phase == "search":
            return self._search_answer()
        if self._phase == "convert":
            _clock.stamp()
            return 0 if any(d.busy for d in self._listening) else 1
        if self._count == 0:
            self._bits = self._next_byte()
        bit = self._bits >> self._count & 1
        self._count = (self._count + 1) % 8
        if self._count == 0:
            self._bits = 0
        return bit

    # -- the probes' side ---------------------------------------------------------------------------------------------

    def _command(self, byte):
        if self._phase == "rom":
            self._rom_command(byte)
        elif self._phase == "match":
            self._listening = [d for d in self._listening if d.rom[self._at] == byte]
            self._at += 1
            if self._at == 8:
                self._phase = "function"
        elif self._phase == "function":
            self._function(byte)

    def _rom_command(self, byte):
        if byte == SKIP_ROM:
            self._phase = "function"
        elif byte == MATCH_ROM:
            self._phase, self._at = "match", 0
        elif byte == SEARCH_ROM:
            self._phase, self._at, self._half = "search", 0, 0

    def _function(self, byte):
        if byte == CONVERT and self._listening:
            self._phase = "convert"
            _clock.stamp()  # what is due comes first
            mask = 0
            for device in self._listening:
                device.convert()
                mask |= 1 << device.place
            _clock.ask(_MASKS[mask])
        elif byte == READ_SCRATCHPAD:
            self._phase, self._at = "read", 0
            # Probes that answer at once pull the line low together.
            pads = [d.scratchpad() for d in self._listening]
            self._out = pads[0] if pads else None
            for pad in pads[1:]:
                self._out = bytes([self._out[i] & pad[i] for i in range(9)])

    def _next_byte(self):
        if shared.bus == LOW:
            return 0
        out = self._out
        if self._phase == "convert":
            return 0 if any(d.busy for d in self._listening) else 0xFF
        if out is None or self._at >= len(out):
            return 0xFF
        self._at += 1
        return out[self._at - 1]

    def _search_answer(self):
        """The bit of every probe in the search, then its complement; several probes pull the line low together."""
        bits = [d.rom[self._at // 8] >> self._at % 8 & 1 for d in self._listening]
        self._half += 1
        if self._half == 2:
            bits = [1 - bit for bit in bits]
        return min(bits) if bits else 1

    def _search_bit(self, value):
        self._listening = [d for d in self._listening if d.rom[self._at // 8] >> self._at % 8 & 1 == value]
        self._at, self._half = self._at + 1, 0
        if self._at == 64:
            self._phase = "function"


_MASKS = (b"\x00", b"\x01", b"\x02", b"\x03")


def _search_key(device):
    """The id in the order of a search's bits; where two ids differ, MicroPython's search takes the 1 first."""
    return "".join("1" if device.rom[i // 8] >> i % 8 & 1 else "0" for i in range(64))
