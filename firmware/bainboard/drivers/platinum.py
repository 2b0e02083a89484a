"""A platinum resistance probe (Pt100, Pt1000) behind an SPI converter of the MAX31865 type, its fault bits included.

Registers and bits: the converter's data sheet, from memory. `spi` has `write(data)` and `write_readinto(out, into)`;
`select` is called with 0 (this converter listens) or 1.
"""

from math import sqrt

from bainboard.drivers import codes

# IEC 60751: R = R0 (1 + A t + B t²) above 0 °C; the third term, below it, is under 1 mK down to -20 °C.
A_PER_K, B_PER_K2 = 3.9083e-3, -5.775e-7
# Thresholds of the converter, chosen outside any bath's range: beyond them the element is open or shorted.
LOW_C, HIGH_C = -20.0, 130.0

CONFIG, THRESHOLDS, WRITE = 0x00, 0x03, 0x80  # addresses; WRITE is added to write
BIAS, ONE_SHOT, THREE_WIRES, FIND_FAULTS, FINDING, CLEAR, HZ_50 = 0x80, 0x20, 0x10, 0x04, 0x0C, 0x02, 0x01
RATIO, CONFIG_BACK = 1, BIAS | THREE_WIRES | HZ_50  # indexes in the registers read; bits that read back as written
FULL_SCALE = 32768
REGISTERS = 8
FROM_CONFIG = {2: b"\x00" * 2, 1 + REGISTERS: b"\x00" * (1 + REGISTERS)}  # the address 0, and room for what is read
PATIENCE = 64  # polls while the converter checks for faults, which takes 0.6 ms; one poll takes 30 us or more
POWERED_UP = b"\xFF\xFF\x00\x00"  # thresholds of a converter that lost its supply
# Fault bits, and what each means for the element.
HIGH_BIT, LOW_BIT, REFERENCE_BIT, FORCE_BIT, INPUT_BIT, VOLTAGE_BIT = 0x80, 0x40, 0x20, 0x10, 0x08, 0x04
FAULT_BITS = (
    (VOLTAGE_BIT, codes.SHORT),  # a lead touches the supply, or metal at some other voltage
    (LOW_BIT, codes.SHORT),
    (HIGH_BIT | REFERENCE_BIT | FORCE_BIT | INPUT_BIT, codes.OPEN),  # a lead is off, or on the wrong terminal
)


def platinum_ohm(temp_c: float, r0_ohm: float) -> float:
    """Resistance at a temperature (IEC 60751)."""
    return r0_ohm * (1.0 + temp_c * (A_PER_K + temp_c * B_PER_K2))


def platinum_c(resistance_ohm: float, r0_ohm: float) -> float:
    """Temperature of a resistance: the quadratic solved in the form that loses no digits to a difference."""
    over = resistance_ohm / r0_ohm - 1.0
    return 2.0 * over / (A_PER_K + sqrt(A_PER_K * A_PER_K + 4.0 * B_PER_K2 * over))


class PlatinumProbe:
    """The element of `r0_ohm` at 0 °C on this converter with its reference resistor."""

    accuracy_unknown = False

    def __init__(self, spi, select, r0_ohm: float, reference_ohm: float, wires: int) -> None:
        self._spi, self._select = spi, select
        self._r0_ohm, self._reference_ohm = r0_ohm, reference_ohm
        # The bias stays on: switched on for each conversion it would need tens of ms to settle. It warms the element
        # by a steady amount, which calibration removes. The 50 Hz notch is near enough to 60 Hz for one reading a
        # second, and the other way round as well.
        self._config = BIAS | HZ_50 | (THREE_WIRES if wires == 3 else 0)
        high, low = self._word(HIGH_C), self._word(LOW_C)
        self._thresholds = bytes((high >> 8, high & 0xFF, low >> 8, low & 0xFF))
        self._set_thresholds = bytes((WRITE | THRESHOLDS,)) + self._thresholds
        self._got = bytearray(1 + REGISTERS)  # what comes back while the address goes out, then the registers
        self._look = bytearray(2)
        self._converting = False

    def _word(self, temp_c: float) -> int:
        """A temperature as the converter's ratio, in its upper 15 bits."""
        ratio = int(platinum_ohm(temp_c, self._r0_ohm) / self._reference_ohm * FULL_SCALE)
        return min(ratio, FULL_SCALE - 1) << 1

    def start(self) -> None:
        """Check for faults, then begin a conversion; it takes at most 66 ms."""
        self._write(self._set_thresholds)
        self._configure(CLEAR)
        self._configure(FIND_FAULTS)
        for _ in range(PATIENCE):
            self._read(self._look)
            if not self._look[1] & FINDING:
                break
        self._configure(ONE_SHOT)
        self._converting = True

    def read(self) -> tuple:
        """(temp_c or None, code) of the conversion begun last; each conversion is read once."""
        self._read(self._got)
        code = self._fault(self._got)
        self._converting = False
        if code != codes.OK:
            return None, code
        ratio = (self._got[1 + RATIO] << 8 | self._got[2 + RATIO]) >> 1
        return platinum_c(ratio * self._reference_ohm / FULL_SCALE, self._r0_ohm), codes.OK

    def _fault(self, got: bytearray) -> int:
        """What is wrong with the registers. They have no check value, so their known bits are compared first."""
        registers = got[1:]
        if not any(registers):
            return codes.ALL_ZERO
        if registers == b"\xFF" * REGISTERS:
            return codes.NO_PRESENCE
        if registers[3:7] == POWERED_UP:
            return codes.POWER_ON
        if registers[3:7] != self._thresholds or registers[0] & CONFIG_BACK != self._config:
            return codes.BAD_CRC
        for bits, code in FAULT_BITS:
            if registers[7] & bits:
                return code
        return codes.OK if self._converting else codes.STALE

    def _configure(self, bits: int) -> None:
        self._write(bytes((WRITE | CONFIG, self._config | bits)))

    def _write(self, data: bytes) -> None:
        self._select(0)
        self._spi.write(data)
        self._select(1)

    def _read(self, into: bytearray) -> None:
        """As many registers as `into` has room for after its first byte, from CONFIG on."""
        self._select(0)
        self._spi.write_readinto(FROM_CONFIG[len(into)], into)
        self._select(1)
