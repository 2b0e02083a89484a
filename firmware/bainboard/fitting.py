"""Makes the probes that the settings describe, and finds those on the 1-wire bus.

Loaded when one of these is asked for, and dropped again: see heap_reserve. A driver is loaded where a probe needs it.
"""

import binascii

from bainboard.sensing import Probe


def probe(board, values: dict, place: str) -> Probe | None:
    """The probe the settings describe for `place`, or None if none is fitted; ask for the water's first."""
    at = "probe." + place + "."
    if place == "water":
        board.leader = None  # new settings, new probes
    kind = values[at + "kind"]
    if kind == "none":
        return None
    make = {"onewire": _onewire, "platinum": _platinum}.get(kind, _ntc)
    return Probe(make(board, values, at, place), values[at + "offset_c"], values[at + "gain"],
                 values["trip.jump_c_per_s"])


def _onewire(board, values: dict, at: str, place: str):
    from bainboard.drivers.onewire_probe import OnewireProbe

    driver = OnewireProbe(board.bus(), values[at + "rom"], board.leader)
    board.leader = board.leader or driver
    return driver


def _ntc(board, values: dict, at: str, place: str):
    from bainboard.drivers.ntc import NtcProbe

    return NtcProbe(board.adc("adc_" + place), values[at + "r25_ohm"], values[at + "beta_k"], values[at + "series_ohm"])


def _platinum(board, values: dict, at: str, place: str):
    from bainboard.drivers.platinum import PlatinumProbe

    return PlatinumProbe(board.spi(), board.chip_select("cs_" + place), values[at + "r0_ohm"],
                         values[at + "reference_ohm"], values[at + "wires"])


def find(board) -> int:
    """Search the 1-wire bus and begin a conversion on every probe found; returns how many."""
    from bainboard.drivers.onewire_probe import OnewireProbe

    bus, found, leader = board.bus(), [], None
    for rom in bus.scan():
        rom = binascii.hexlify(rom).decode()
        driver = OnewireProbe(bus, rom, leader)
        driver.start()
        leader = leader or driver
        found.append((rom, driver))
    board.found = found
    return len(found)


def found(board, number: int) -> tuple | None:
    """The probe of that number (from 1) as (id, temp_c or None, code), or None; a conversion is read once."""
    if number > len(board.found):
        return None
    rom, driver = board.found[number - 1]
    return (rom,) + driver.read()
