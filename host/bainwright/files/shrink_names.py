"""Short names that many names share: which of them may have the same one."""

from __future__ import annotations

import builtins
from collections.abc import Collection, Iterable, Mapping
from io import BufferedReader, TextIOWrapper
from itertools import chain, count
from types import GeneratorType
from zlib import crc32

from bainwright.files import shrink_nodes as nodes

MANY = 104  # short names to begin with (chosen: some more than the largest class and the names set from outside need)
Key = tuple[str, str]  # a private name and its module; a public name and ""

BUILT_IN = (str, bytes, bytearray, memoryview, list, tuple, dict, set, int, float, range, type, property, OSError,
            GeneratorType, TextIOWrapper, BufferedReader)
# What MicroPython's own classes for hardware have (its reference of `machine`, `onewire`, `framebuf` and `select`).
HARDWARE = """
    Pin PWM ADC I2C SoftI2C SPI SoftSPI UART WDT RTC Timer OneWire FrameBuffer poll init deinit value on off high
    low toggle irq mode pull drive freq duty duty_u16 duty_ns read read_u16 read_uv readinto write writeto writevto
    write_readinto scan start stop readfrom readfrom_into readfrom_mem writeto_mem feed timeout_ms datetime memory
    reset readbit readbyte writebit writebyte select_rom crc8 SEARCH_ROM MATCH_ROM SKIP_ROM fill fill_rect pixel
    hline vline line rect ellipse poly text scroll blit register unregister modify ipoll update digest
"""
STAYS = {*HARDWARE.split(), *dir(builtins), *(name for kind in BUILT_IN for name in dir(kind))}


def shared(spaces: Collection[Collection[Key]], everywhere: Iterable[Key]) -> Mapping[Key, str]:
    """A short name for each of the keys, of which no two in one space have the same.

    Each one is looked for from a place that its own letters give. So a new name changes few of the others', and an
    install of the next version sends few files.

    Parameters
    ----------
    spaces : collection of collections of keys
        What each class and each module has.
    everywhere : iterable of keys
        Those that any object may be given: their short names are theirs alone.
    """
    alone = set(everywhere)
    beside: dict[Key, set[Key]] = {key: set() for space in spaces for key in space}
    for space in spaces:
        for key in space:
            beside[key].update(space)
    found: dict[Key, str] = {}
    for key in sorted(beside, key=lambda key: (key not in alone, key)):
        others = found if key in alone else alone | beside[key]
        taken = {found[other] for other in others if other in found}
        first = crc32(key[1].encode()) % MANY
        found[key] = next(name for name in map(nodes.short, chain(range(first, MANY), count())) if name not in taken)
    return found
