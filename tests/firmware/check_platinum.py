"""The platinum probe against the standard's table, and each way its converter reports an error."""

from bainboard.drivers import codes, platinum
from bainboard.drivers.platinum import PlatinumProbe, platinum_c, platinum_ohm

# IEC 60751, table of a Pt100 (ohm at °C), from memory; it is printed to 0.001 ohm, which is 2.6 mK.
TABLE = ((-20.0, 92.160), (0.0, 100.000), (20.0, 107.794), (50.0, 119.397), (100.0, 138.506))
REFERENCE_OHM = 430.0
SPAN_K = 0.034  # one of the converter's 32768 steps with a Pt100 and 430 ohm: 13 milliohm over 0.39 ohm/K


class Converter:
    """The converter's eight registers behind an SPI bus and a chip select; seeking and converting take no time."""

    def __init__(self, ohm=112.0, r_ref=REFERENCE_OHM):
        self.registers = bytearray((0, 0, 0, 0xFF, 0xFF, 0, 0, 0))
        self.word = min(int(ohm / r_ref * 32768 + 0.5), 32767) << 1
        self.faults = 0  # bits that seeking faults finds
        self.configured = []
        self.deaf = self.mute = None  # not writable; the byte that always comes back
        self.level = 1
        self.transfers = 0

    def select(self, level):
        assert level != self.level, "selected twice"
        self.level = level

    def write(self, data):
        assert self.level == 0
        assert data[0] & 0x80
        self.transfers += 1
        if self.deaf:
            return
        for i in range(1, len(data)):
            self._set((data[0] & 0x7F) + i - 1, data[i])

    def _set(self, at, byte):
        if at != 0:
            self.registers[at] = byte
            return
        self.configured.append(byte)
        if byte & 0x02:
            self.registers[7] = 0
        if byte & 0x0C == 0x04:
            self.registers[7] |= self.faults
        if byte & 0x20:
            high = self.registers[3] << 8 | self.registers[4]
            low = self.registers[5] << 8 | self.registers[6]
            self.registers[7] |= (0x80 if self.word >= high else 0) | (0x40 if self.word <= low else 0)
            self.registers[1], self.registers[2] = self.word >> 8, self.word & 0xFE | (1 if self.registers[7] else 0)
        self.registers[0] = byte & 0xD1

    def write_readinto(self, out, into):
        assert (self.level, len(out)) == (0, len(into))
        assert not out[0] & 0x80
        self.transfers += 1
        for i in range(1, len(into)):
            into[i] = self.registers[out[0] + i - 1] if self.mute is None else self.mute


def probe(converter, r0_ohm=100.0, wires=3):
    return PlatinumProbe(converter, converter.select, r0_ohm, REFERENCE_OHM, wires)


def read(converter):
    p = probe(converter)
    p.start()
    return p.read()


def test_resistance_is_the_standard_s_table_and_back():
    for temp_c, ohm in TABLE:
        assert abs(platinum_ohm(temp_c, 100.0) - ohm) <= 6e-4, temp_c
        assert abs(platinum_c(ohm, 100.0) - temp_c) <= 2.5e-3, temp_c
        assert abs(platinum_c(ohm * 10, 1000.0) - temp_c) <= 2.5e-3, temp_c


def test_there_and_back_is_the_same_over_a_bath_s_range():
    for temp_c in (-20.0, -0.5, 0.5, 18.0, 31.5, 33.0, 45.0, 60.0, 75.0, 130.0):
        # 1e-3: single precision's 6e-8 of the resistance ratio over its 3.9e-3 a kelvin, twenty times.
        assert abs(platinum_c(platinum_ohm(temp_c, 100.0), 100.0) - temp_c) <= 1e-3, temp_c


def test_the_term_left_out_below_zero_is_a_millikelvin():
    # IEC 60751 below 0 °C: ... + C (t - 100) t^3 with C = -4.183e-12 (from memory).
    left_out = -4.183e-12 * (-20.0 - 100.0) * (-20.0) ** 3
    assert abs(left_out / platinum.A_PER_K) <= 1.1e-3


def test_a_good_conversion_is_a_temperature_within_a_step_of_the_converter():
    for temp_c in (0.0, 20.0, 31.5, 45.0, 75.0):
        got_c, code = read(Converter(platinum_ohm(temp_c, 100.0)))
        assert code == codes.OK
        assert abs(got_c - temp_c) <= SPAN_K, temp_c


def test_a_pt1000_takes_its_own_reference():
    converter = Converter(platinum_ohm(31.5, 1000.0), 4300.0)
    p = PlatinumProbe(converter, converter.select, 1000.0, 4300.0, 2)
    p.start()
    temp_c, code = p.read()
    assert code == codes.OK
    assert abs(temp_c - 31.5) <= SPAN_K


def test_a_conversion_is_begun_as_the_data_sheet_says():
    # Bits, from memory: bias 80h, one shot 20h, three wires 10h, seek faults 04h, clear 02h, 50 Hz 01h.
    for wires, bit in ((2, 0), (3, 0x10), (4, 0)):
        converter = Converter()
        p = probe(converter, wires=wires)
        p.start()
        assert converter.configured == [0x83 | bit, 0x85 | bit, 0xA1 | bit], wires
        assert converter.level == 1, "left selected"


def test_each_fault_bit_is_no_temperature():
    for bit, code in (
        (0x80, codes.OPEN), (0x40, codes.SHORT), (0x20, codes.OPEN), (0x10, codes.OPEN), (0x08, codes.OPEN),
        (0x04, codes.SHORT),
    ):
        converter = Converter()
        converter.faults = bit
        assert read(converter) == (None, code), hex(bit)


def test_every_mixture_of_fault_bits_is_no_temperature():
    for bits in range(4, 256, 4):
        converter = Converter()
        converter.faults = bits
        temp_c, code = read(converter)
        assert temp_c is None, hex(bits)
        assert code in (codes.OPEN, codes.SHORT), hex(bits)


def test_an_open_or_shorted_element_is_caught_by_the_thresholds():
    assert read(Converter(1e6)) == (None, codes.OPEN)
    assert read(Converter(0.0)) == (None, codes.SHORT)
    # Just outside of what a bath can be, and just inside.
    for temp_c, code in ((-21.0, codes.SHORT), (-19.0, codes.OK), (129.0, codes.OK), (131.0, codes.OPEN)):
        assert read(Converter(platinum_ohm(temp_c, 100.0)))[1] == code, temp_c


def test_a_repaired_element_reads_again():
    converter = Converter()
    p = probe(converter)
    converter.faults = 0x20
    p.start()
    assert p.read() == (None, codes.OPEN)
    converter.faults = 0
    p.start()
    assert p.read()[1] == codes.OK


def test_a_dead_line_is_no_temperature():
    for byte, code in ((0x00, codes.ALL_ZERO), (0xFF, codes.NO_PRESENCE)):
        converter = Converter()
        converter.mute = byte
        assert read(converter) == (None, code)


def test_a_converter_that_lost_its_supply_is_no_temperature():
    converter = Converter()
    p = probe(converter)
    p.start()
    converter.registers[:] = b"\x00\x40\x00\xff\xff\x00\x00\x00"
    assert p.read() == (None, codes.POWER_ON)
    p.start()
    assert p.read()[1] == codes.OK


def test_a_converter_that_does_not_store_its_configuration_is_no_temperature():
    converter = Converter()
    converter.deaf = True
    converter.registers[:] = b"\x00\x40\x00\xff\xff\x00\x00\x00"
    assert read(converter) == (None, codes.POWER_ON)


def test_any_wrong_bit_of_what_was_written_is_caught():
    kept = {0: 0x91, 3: 0xFF, 4: 0xFF, 5: 0xFF, 6: 0xFF}  # the configuration's other bits clear themselves
    for at in kept:
        for bit in range(8):
            converter = Converter()
            p = probe(converter)
            p.start()
            converter.registers[at] ^= 1 << bit
            wanted = codes.BAD_CRC if kept[at] & 1 << bit else codes.OK
            assert p.read()[1] == wanted, (at, bit)


def test_a_conversion_is_read_once():
    p = probe(Converter())
    p.start()
    assert p.read()[1] == codes.OK
    assert p.read() == (None, codes.STALE)


def test_a_converter_that_never_stops_seeking_holds_nobody_up():
    converter = Converter()
    converter.mute = 0x04
    before = converter.transfers
    assert read(converter)[0] is None
    assert converter.transfers - before <= platinum.PATIENCE + 5
