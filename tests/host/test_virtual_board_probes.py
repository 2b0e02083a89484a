"""The simulated probes answer as their data sheets say, on the bus and converter of the virtual board."""

from __future__ import annotations

import json
from typing import Any

import pytest
from board_tools import line, running
from still_world import still

from bainwright.files.rig import load_rig

BUS = """
import json, onewire
bus = onewire.OneWire(machine.Pin(16))
def pad(rom):
    bus.select_rom(rom); bus.writebyte(0xBE); got = bytearray(9); bus.readinto(got); return list(got)
def convert():
    bus.reset(); bus.writebyte(0xCC); bus.writebyte(0x44)
"""


def asked(main: str, **options: Any) -> Any:
    """What a main.py on the bus prints, as JSON; it starts on an armed board with a running clock."""
    wait = "if machine.reset_cause() == machine.PWRON_RESET: line()\n"
    with running(BUS + wait + main + "\nwhile True: time.sleep(1)\n", **options) as (_, port):
        port.write(b"go\n")
        return json.loads(line(port))


def celsius(pad: list[int]) -> float:
    """The part's temperature register, two's complement sixteenths."""
    return int.from_bytes(bytes(pad[:2]), "little", signed=True) / 16


def test_before_its_first_conversion_a_probe_says_85_degrees() -> None:
    # Power-on scratchpad of the 12-bit part: 50 05 4B 46 7F FF 0C 10, check byte 1C (data sheet; 1C from memory).
    pads = asked("print(json.dumps([pad(rom) for rom in bus.scan()]))")
    assert [bytes(pad).hex() for pad in pads] == ["50054b467fff0c101c"] * 2


def test_a_conversion_takes_three_quarters_of_a_second() -> None:
    early, late = asked("""
rom = bus.scan()[0]
convert()
time.sleep_ms(735)
early = pad(rom)
time.sleep_ms(20)
print(json.dumps([early, pad(rom)]))
""")
    assert celsius(early) == 85.0
    assert celsius(late) == 31.0


@pytest.mark.parametrize("water_c", [31.0, 85.0, 0.03, -10.125, 33.3, 125.0])
def test_readings_are_the_nearest_sixteenth_and_a_true_85_is_not_the_power_on_one(water_c: float) -> None:
    pad = asked("rom = bus.scan()[0]\nconvert()\ntime.sleep_ms(760)\nprint(json.dumps(pad(rom)))",
                make_world=still(water_c=water_c))
    assert celsius(pad) == pytest.approx(water_c, abs=1 / 32)
    assert pad[6] == 0x10 - (pad[0] & 0x0F)  # a converted reading's sixth byte counts down with the fraction


def test_a_reading_survives_a_reset_as_the_probe_keeps_its_supply() -> None:
    pads = asked("""
rom = bus.scan()[0]
first = pad(rom)
if first[6] == 0x0C:
    convert()
    time.sleep_ms(800)
    pad(rom)
    machine.reset()
print(json.dumps(first))
""")
    assert celsius(pads) == 31.0


def test_a_search_finds_the_ids_the_rig_names() -> None:
    ids = ("28ff641d8216041c", "28ee3c0c1d160161")
    rig = load_rig("pot").with_settings({"probe.water.rom": ids[0], "probe.bowl.rom": ids[1]})
    found = asked("print(json.dumps([''.join('%02x' % b for b in rom) for rom in bus.scan()]))", rig=rig)
    assert sorted(found) == sorted(ids)


def test_a_driver_that_searches_bit_by_bit_finds_the_same_ids() -> None:
    # The search of Maxim's application note 187: read a bit and its complement, answer with the branch to follow.
    main = """
def search(last):
    bus.reset(); bus.writebyte(0xF0)
    rom, fork = bytearray(8), -1
    for i in range(64):
        a, b = bus.readbit(), bus.readbit()
        if a and b: return None, -1
        if a != b: bit = a
        elif i < last[1]: bit = last[0][i // 8] >> (i % 8) & 1
        else: bit = 1 if i == last[1] else 0
        if a == b and not bit: fork = i
        bus.writebit(bit)
        rom[i // 8] |= bit << (i % 8)
    return rom, fork
found, last = [], (bytearray(8), -1)
while True:
    rom, fork = search(last)
    found.append(list(rom))
    if fork < 0: break
    last = (rom, fork)
print(json.dumps([found, [list(rom) for rom in bus.scan()]]))
"""
    searched, scanned = asked(main)
    assert len(searched) == 2
    assert sorted(searched) == sorted(scanned)


@pytest.mark.parametrize(
    ("fault", "presence", "pad_bytes"),
    [
        ("bus_low", True, "00" * 9),  # the line held low answers the reset and every bit
        ("bus_dead", False, "ff" * 9),
        ("water_short", True, "00" * 9),
    ],
)
def test_a_broken_bus_reads_as_its_copper_would(fault: str, presence: bool, pad_bytes: str) -> None:
    main = BUS + "rom = bus.scan()[0]\nline()\nprint(json.dumps([bus.reset(), pad(rom)]))\nwhile True: time.sleep(1)\n"
    with running(main) as (board, port):
        board.fault(fault)
        port.write(b"go\n")
        seen, pad = json.loads(line(port))
    assert seen is presence
    assert bytes(pad).hex() == pad_bytes


def test_faults_of_one_probe_leave_the_other_alone() -> None:
    main = BUS + """
roms = bus.scan()
if roms[0][3] != 1: roms.reverse()  # made-up ids count the probes: water is 1
while True:
    line()
    convert(); time.sleep_ms(800)
    print(json.dumps([pad(rom) for rom in roms]))
"""
    with running(main) as (board, port):

        def pads_with(fault: str) -> list[list[int]]:
            board.fault(fault)
            port.write(b"go\n")
            pads: list[list[int]] = json.loads(line(port))
            board.fault(fault, False)
            return pads

        for fault, water in (("water_open", [0xFF] * 9), ("water_power_on", list(bytes.fromhex("50054b467fff0c101c")))):
            pads = pads_with(fault)
            assert pads[0] == water
            assert celsius(pads[1]) == 29.5
        water, bowl = pads_with("water_bad_crc")
        assert celsius(water) == 31.0
        assert check(water) != water[8]
        assert check(bowl) == bowl[8]


def check(pad: list[int]) -> int:
    from bainwright.virtual.wiring import crc8

    return crc8(bytes(pad[:8]))


# R/T of a 10 kohm, beta 3950 thermistor: R = R25 exp(beta (1/T - 1/298.15)); 10 °C 20.2 kohm, 25 °C 10 kohm, 50 °C
# 3.59 kohm. Common tables of such parts give 19.9, 10 and 3.60 kohm (their beta drifts with temperature), from memory.
@pytest.mark.parametrize(("water_c", "ntc_kohm"), [(10.0, 20.2), (25.0, 10.0), (50.0, 3.59)])
def test_the_converter_sees_the_divider_of_thermistor_and_series_resistor(water_c: float, ntc_kohm: float) -> None:
    rig = load_rig("pot").with_settings({"probe.water.kind": "ntc", "probe.water.series_ohm": 10000.0})
    main = "adc = machine.ADC(machine.Pin(26))\nline()\nprint(adc.read_u16())\nwhile True: time.sleep(1)\n"
    with running(main, rig=rig, make_world=still(water_c=water_c)) as (_, port):
        port.write(b"go\n")
        assert int(line(port)) / 65535 == pytest.approx(ntc_kohm / (ntc_kohm + 10.0), abs=0.002)


@pytest.mark.parametrize(("fault", "word"), [("water_open", 65535), ("water_short", 0)])
def test_an_open_or_shorted_thermistor_reads_the_rail(fault: str, word: int) -> None:
    rig = load_rig("pot").with_settings({"probe.water.kind": "ntc"})
    main = "adc = machine.ADC(26)\nline()\nprint(adc.read_u16())\nwhile True: time.sleep(1)\n"
    with running(main, rig=rig) as (board, port):
        board.fault(fault)
        port.write(b"go\n")
        assert int(line(port)) == word


SPI = """
import json
cs = machine.Pin(1, machine.Pin.OUT, value=1)
sck, mosi, miso = machine.Pin(2), machine.Pin(3), machine.Pin(0)
spi = machine.SoftSPI(baudrate=500000, polarity=0, phase=1, sck=sck, mosi=mosi, miso=miso)
def put(*data):
    cs(0); spi.write(bytes(data)); cs(1)
def registers():
    got = bytearray(9)
    cs(0); spi.write_readinto(bytes(9), got); cs(1)
    return list(got[1:])
"""


def registers(main: str, fault: str = "", **options: Any) -> Any:
    """What a main.py beside a platinum probe's converter prints, as JSON."""
    rig = load_rig("pot").with_settings({"probe.water.kind": "platinum"})
    with running(SPI + "line()\n" + main + "\nwhile True: time.sleep(1)\n", rig=rig, **options) as (board, port):
        if fault:
            board.fault(fault)
        port.write(b"go\n")
        return json.loads(line(port))


def test_a_platinum_converter_comes_up_as_its_data_sheet_says() -> None:
    # Power-on values, from memory: configuration and result zero, thresholds FFFFh and 0000h, no fault.
    assert registers("print(json.dumps(registers()))") == [0, 0, 0, 0xFF, 0xFF, 0, 0, 0]


# IEC 60751, Pt100, from memory; one step of the converter is 430 ohm / 32768 = 13 milliohm.
@pytest.mark.parametrize(("water_c", "ohm"), [(0.0, 100.0), (50.0, 119.397), (100.0, 138.506)])
def test_a_platinum_converter_measures_against_its_reference_in_66_ms(water_c: float, ohm: float) -> None:
    main = "put(0x80, 0xB1)\ntime.sleep_ms(60)\nearly = registers()\ntime.sleep_ms(10)\n" \
           "print(json.dumps([early, registers()]))"
    early, late = registers(main, make_world=still(water_c=water_c))
    assert early[1:3] == [0, 0]
    assert (late[1] << 8 | late[2]) // 2 * 430 / 32768 == pytest.approx(ohm, abs=0.007)
    assert (late[0], late[7]) == (0x91, 0)  # a one shot clears itself


@pytest.mark.parametrize(("fault", "bits"), [("water_open", 0xA0), ("water_short", 0x40), ("", 0)])
def test_a_platinum_converter_sets_its_fault_bits_and_keeps_them_until_cleared(fault: str, bits: int) -> None:
    main = """
put(0x83, 0xC0, 0, 0x10, 0)
put(0x80, 0x85)
time.sleep_ms(1)
put(0x80, 0xA1)
time.sleep_ms(70)
before = registers()[7]
put(0x80, 0x83)
print(json.dumps([before, registers()[7]]))
"""
    assert registers(main, fault) == [bits, 0]


def test_a_converter_not_wired_where_it_is_looked_for_stays_silent() -> None:
    other = SPI.replace("Pin(1,", "Pin(6,")  # the bowl's chip select; the rig's platinum probe is in the water
    rig = load_rig("pot").with_settings({"probe.water.kind": "platinum"})
    with running(other + "line()\nprint(json.dumps(registers()))\nwhile True: time.sleep(1)\n", rig=rig) as (_, port):
        port.write(b"go\n")
        assert json.loads(line(port)) == [0] * 8
