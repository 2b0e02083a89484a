"""A platinum probe's SPI converter of the MAX31865 type, register by register (its data sheet, from memory).

A reset of the board returns it to its power-on state here. On a real board it does not, and no driver may rely on it.
"""

import _clock
from _clock import shared

WRITE = 0x80
CONFIG, RATIO, FAULTS = 0, 1, 7
ONE_SHOT, SEEK, SEEKING, CLEAR, HZ_50 = 0x20, 0x04, 0x0C, 0x02, 0x01
HIGH, LOW, ELEMENT_OPEN = 0x80, 0x40, 0x20
POWER_ON = b"\x00\x00\x00\xff\xff\x00\x00\x00"
SEEK_US = 600
CONVERT_US = {0: 55000, HZ_50: 66000}
BUS_LOW, BUS_DEAD = 1, 2  # shared.bus: here the converter's data line to the board
POWER_LOST, SPOILT = 2, 3  # shared.status
OPEN = 0xFFFE  # shared.reading of an element that conducts nothing

_status, _reading = shared.status, shared.reading
_MASKS = (b"\x01", b"\x02")


class Converter:
    """One converter with its element."""

    def __init__(self, place):
        self.place = place
        self.registers = bytearray(POWER_ON)
        self.selected = False
        self._at = None  # register of the next byte; None: an address is expected
        self._writes = False
        self._seek_us = self._ready_us = None

    def select(self, level):
        """Its chip select moved."""
        self.selected = level == 0
        self._at = None

    def exchange(self, byte):
        """A byte in, a byte out."""
        if self._at is None:
            self._writes, self._at = bool(byte & WRITE), byte & 0x7F
            return self._line(0)
        at, self._at = self._at, self._at + 1
        if not self._writes:
            return self._line(self._read(at) if at < 8 else 0)
        if at == CONFIG:
            self._configure(byte)
        elif 3 <= at <= 6:
            self.registers[at] = byte
        return self._line(0)

    def _line(self, byte):
        """A byte as it arrives over the data line."""
        if shared.bus:
            return 0 if shared.bus == BUS_LOW else 0xFF
        return byte ^ 0x5A if _status[self.place] == SPOILT else byte

    def _configure(self, byte):
        if byte & CLEAR:
            self.registers[FAULTS] = 0
        if byte & SEEKING == SEEK:
            self._seek_us = _clock.stamp() + SEEK_US
        if byte & ONE_SHOT:
            self._ready_us = _clock.stamp() + CONVERT_US[byte & HZ_50]
            _clock.ask(_MASKS[self.place])
        self.registers[CONFIG] = byte & ~(ONE_SHOT | CLEAR | SEEKING) & 0xFF

    def _read(self, at):
        if _status[self.place] == POWER_LOST:
            return POWER_ON[at]
        now_us = _clock.stamp()
        if self._ready_us is not None and now_us >= self._ready_us:
            self._ready_us = None
            self._convert()
        seeking = self._seek_us is not None and now_us < self._seek_us
        if self._seek_us is not None and not seeking:
            self._seek_us = None
            if _reading[self.place] == OPEN:
                self.registers[FAULTS] |= ELEMENT_OPEN
        return self.registers[at] | (SEEK if seeking and at == CONFIG else 0)

    def _convert(self):
        _clock.settle()
        word, registers = _reading[self.place], self.registers
        if word >= registers[3] << 8 | registers[4]:
            registers[FAULTS] |= HIGH
        if word <= registers[5] << 8 | registers[6]:
            registers[FAULTS] |= LOW
        registers[RATIO] = word >> 8
        registers[RATIO + 1] = word & 0xFE | (1 if registers[FAULTS] else 0)
