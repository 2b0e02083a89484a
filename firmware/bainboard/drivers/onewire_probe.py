"""A digital 1-wire thermometer on a bus object (reset, writebyte, write, readinto); the whole scratchpad is checked."""

from bainboard.drivers import codes

# Commands and scratchpad layout: the maker's data sheet, from memory
SKIP_ROM = 0xCC
MATCH_ROM = 0x55
CONVERT = 0x44
READ_SCRATCHPAD = 0xBE
SCRATCHPAD = 9  # bytes, the last one the CRC of the others
GENUINE, RESERVED = b"\x7F\xFF", 0x10  # bytes 4 and 5: configuration at 12 bits, reserved; byte 7, reserved
SILENCE = b"\xFF" * SCRATCHPAD  # nobody pulls the line down
STEP_C = 0.0625  # K, weight of the last bit
POWER_ON_RAW = 0x0550  # 85 °C: what the register holds until the first conversion
ALL_ONES_RAW = 0x07FF  # what some parts hold after a brown-out; no bath is at 127.9 °C
# What four bits shifted out of the CRC put back into it.
NIBBLES = b"\x00\x9D\x23\xBE\x46\xDB\x65\xF8\x8C\x11\xAF\x32\xCA\x57\xE9\x74"


def crc8(data: bytes | bytearray) -> int:
    """Dallas/Maxim CRC-8, x^8 + x^5 + x^4 + 1, bits reflected (application note 27)."""
    crc = 0
    for byte in data:
        crc ^= byte
        crc = crc >> 4 ^ NIBBLES[crc & 15]
        crc = crc >> 4 ^ NIBBLES[crc & 15]
    return crc


def celsius(raw: int) -> float:
    """Temperature of a raw 16-bit register, two's complement sixteenths."""
    return (raw - 0x10000 if raw & 0x8000 else raw) * STEP_C


class OnewireProbe:
    """The probe with this id (16 hex digits), or the only one on its bus where the id is empty.

    One command starts a conversion on every probe of the bus. A probe with a `leader` leaves that command to it, so two
    probes cost one command a tick and measure at the same moment.
    """

    def __init__(self, bus, rom: str, leader=None) -> None:
        self._bus = bus
        self._leader = leader
        self._rom = bytes(int(rom[i : i + 2], 16) for i in range(0, len(rom), 2))
        self._pad = bytearray(SCRATCHPAD)
        self._converting = False
        self.accuracy_unknown = False

    def start(self) -> None:
        """Begin a conversion; it takes up to 750 ms."""
        if self._leader is not None:
            self._converting = self._leader.converting
            return
        self._converting = bool(self._bus.reset())
        if self._converting:
            self._bus.writebyte(SKIP_ROM)
            self._bus.writebyte(CONVERT)

    @property
    def converting(self) -> bool:
        """Was a conversion begun that has not been read?"""
        return self._converting

    def read(self) -> tuple:
        """(temp_c or None, code) of the conversion begun last; each conversion is read once."""
        if not self._address():
            return None, codes.NO_PRESENCE
        self._bus.writebyte(READ_SCRATCHPAD)
        self._bus.readinto(self._pad)
        code = self._fault()
        self._converting = False
        if code != codes.OK:
            return None, code
        self.accuracy_unknown = self._pad[4:6] != GENUINE or self._pad[7] != RESERVED
        return celsius(self._raw()), codes.OK

    def _address(self) -> bool:
        """Reset the bus and address this probe alone; False when nothing answers."""
        if not self._bus.reset():
            return False
        if self._rom:
            self._bus.writebyte(MATCH_ROM)
            self._bus.write(self._rom)
        else:
            self._bus.writebyte(SKIP_ROM)
        return True

    def _raw(self) -> int:
        return self._pad[0] | self._pad[1] << 8

    def _fault(self) -> int:
        """What is wrong with the scratchpad. Nine zero bytes have a valid CRC and would read 0.0 °C: full heat."""
        if not any(self._pad):
            return codes.ALL_ZERO
        if self._pad == SILENCE:
            return codes.NO_PRESENCE  # others answered the reset, this one is silent
        if crc8(self._pad) != 0:
            return codes.BAD_CRC
        if self._raw() in (POWER_ON_RAW, ALL_ONES_RAW):
            return codes.POWER_ON
        return codes.OK if self._converting else codes.STALE
