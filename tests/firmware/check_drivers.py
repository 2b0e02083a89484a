"""Probe drivers against the makers' conversion tables, and each way a probe can lie."""

from math import exp

from bainboard.drivers import codes
from bainboard.drivers.ntc import NtcProbe, ntc_c
from bainboard.drivers.onewire_probe import OnewireProbe, celsius, crc8


class Bus:
    """A 1-wire bus with one probe, byte by byte."""

    def __init__(self, raw=0x0191):
        self.present = True
        self.sent = []
        self.pad = bytearray((raw & 0xFF, raw >> 8, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10))
        self.pad.append(crc8(self.pad))

    def reset(self):
        self.sent.append("reset")
        return self.present

    def writebyte(self, byte):
        self.sent.append(byte)

    def write(self, data):
        self.sent.extend(data)

    def readinto(self, buffer):
        buffer[:] = self.pad


def read(bus, rom=""):
    probe = OnewireProbe(bus, rom)
    probe.start()
    return probe.read()


def test_raw_register_reads_as_the_data_sheet_s_table():
    # The maker's data sheet, from memory.
    for raw, temp_c in (
        (0x07D0, 125.0), (0x0550, 85.0), (0x0191, 25.0625), (0x00A2, 10.125), (0x0008, 0.5), (0x0000, 0.0),
        (0xFFF8, -0.5), (0xFF5E, -10.125), (0xFE6F, -25.0625), (0xFC90, -55.0),
    ):
        assert celsius(raw) == temp_c, raw


def test_crc_of_the_application_note_s_id_is_a2():
    # Application note 27, from memory: ROM 02 1C B8 01 00 00 00, CRC A2h; with its CRC appended it leaves 0.
    rom = bytes((0x02, 0x1C, 0xB8, 0x01, 0x00, 0x00, 0x00))
    assert crc8(rom) == 0xA2
    assert crc8(rom + bytes((0xA2,))) == 0


def test_a_good_scratchpad_is_a_temperature():
    assert read(Bus()) == (25.0625, codes.OK)


def test_conversion_and_reading_are_the_data_sheet_s_commands():
    bus = Bus()
    read(bus)
    assert bus.sent == ["reset", 0xCC, 0x44, "reset", 0xCC, 0xBE]


def test_a_pinned_probe_is_addressed_by_its_id():
    bus = Bus()
    read(bus, "28ff000000000001")
    rom = [0x28, 0xFF, 0, 0, 0, 0, 0, 1]
    start, read_back = bus.sent[:3], bus.sent[3:]
    assert start == ["reset", 0xCC, 0x44]
    assert (read_back[:2], read_back[2:10], read_back[10:]) == (["reset", 0x55], rom, [0xBE])


def test_a_conversion_is_begun_once_for_both_probes_of_a_bus():
    bus = Bus()
    water = OnewireProbe(bus, "28ff000000000001")
    bowl = OnewireProbe(bus, "28ff000000000002", water)
    water.start()
    bowl.start()
    assert bus.sent == ["reset", 0xCC, 0x44]
    assert water.read() == (25.0625, codes.OK)
    assert bowl.read() == (25.0625, codes.OK)


def test_a_follower_whose_leader_began_nothing_has_nothing_to_read():
    bus = Bus()
    water = OnewireProbe(bus, "28ff000000000001")
    bowl = OnewireProbe(bus, "28ff000000000002", water)
    bus.present = False
    water.start()
    bowl.start()
    bus.present = True
    assert bowl.read() == (None, codes.STALE)


def test_a_bus_stuck_low_is_no_zero_degrees():
    bus = Bus()
    bus.pad = bytearray(9)
    assert crc8(bus.pad) == 0  # why the trap exists
    assert read(bus) == (None, codes.ALL_ZERO)


def test_nobody_on_the_bus_is_no_presence():
    bus = Bus()
    bus.present = False
    assert read(bus) == (None, codes.NO_PRESENCE)


def test_a_silent_probe_among_others_is_no_presence():
    bus = Bus()
    bus.pad = bytearray([0xFF] * 9)
    assert read(bus, "28ff000000000001") == (None, codes.NO_PRESENCE)


def test_the_power_on_registers_are_no_temperatures():
    for raw in (0x0550, 0x07FF):
        assert read(Bus(raw)) == (None, codes.POWER_ON)


def test_every_single_flipped_bit_is_caught():
    for bit in range(72):
        bus = Bus()
        bus.pad[bit // 8] ^= 1 << (bit % 8)
        assert read(bus) == (None, codes.BAD_CRC), bit


def test_a_clone_with_right_crc_reads_but_its_accuracy_is_unknown():
    for at, byte in ((4, 0x1F), (5, 0x00), (7, 0xFF)):
        bus = Bus()
        bus.pad[at] = byte
        bus.pad[8] = crc8(bus.pad[:8])
        probe = OnewireProbe(bus, "")
        assert not probe.accuracy_unknown
        probe.start()
        assert probe.read() == (25.0625, codes.OK)
        assert probe.accuracy_unknown


def test_a_conversion_is_read_once():
    probe = OnewireProbe(Bus(), "")
    assert probe.read() == (None, codes.STALE)
    probe.start()
    assert probe.read() == (25.0625, codes.OK)
    assert probe.read() == (None, codes.STALE)


def test_a_probe_absent_at_the_start_of_a_conversion_gives_no_old_value():
    bus = Bus()
    probe = OnewireProbe(bus, "")
    bus.present = False
    probe.start()
    bus.present = True
    assert probe.read() == (None, codes.STALE)


class Adc:
    """A converter that always reads this share of full scale."""

    def __init__(self, share):
        self.count = int(share * 65535 + 0.5)

    def read_u16(self):
        return self.count


def ntc(share):
    return NtcProbe(Adc(share), 10000.0, 3950.0, 10000.0).read()


def test_ntc_follows_the_beta_equation():
    # Oracle: R = R25 exp(B (1/T - 1/298.15)), solved for R; 1 mK covers single precision.
    for temp_c in (0.0, 25.0, 31.5, 45.0, 60.0):
        ohm = 10000.0 * exp(3950.0 * (1.0 / (temp_c + 273.15) - 1.0 / 298.15))
        assert abs(ntc_c(ohm, 10000.0, 3950.0) - temp_c) <= 1e-3, temp_c


def test_ntc_equal_to_its_series_resistor_is_25_degrees():
    temp_c, code = ntc(0.5)
    assert code == codes.OK
    assert abs(temp_c - 25.0) <= 2e-3  # half a count of 65535


def test_ntc_warms_as_its_voltage_falls():
    ohm = 10000.0 * exp(3950.0 * (1.0 / 304.65 - 1.0 / 298.15))
    temp_c, code = ntc(ohm / (ohm + 10000.0))
    assert code == codes.OK
    assert abs(temp_c - 31.5) <= 3e-3


def test_an_open_or_shorted_ntc_is_no_temperature():
    assert ntc(0.995) == (None, codes.OPEN)
    assert ntc(1.0) == (None, codes.OPEN)
    assert ntc(0.005) == (None, codes.SHORT)
    assert ntc(0.0) == (None, codes.SHORT)
    assert ntc(0.985)[1] == codes.OK
    assert ntc(0.015)[1] == codes.OK


def test_codes_differ():
    values = [getattr(codes, name) for name in dir(codes) if name.isupper()]
    assert sorted(values) == list(range(10))
