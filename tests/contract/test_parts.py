"""What is sent to electronic parts, against other people's drivers and tables for the same parts."""

from __future__ import annotations

from typing import Any

import pytest
from crccheck.crc import Crc8Maxim
from hypothesis import given
from hypothesis import strategies as st
from luma.oled.device import ssd1306

from bainboard.drivers import display
from bainboard.drivers.onewire_probe import crc8

# Argument bytes that follow a command of this display controller; every other command stands alone.
ARGUMENTS = {0x20: 1, 0x21: 2, 0x22: 2, 0x81: 1, 0x8D: 1, 0xA8: 1, 0xD3: 1, 0xD5: 1, 0xD9: 1, 0xDA: 1, 0xDB: 1}
ADDRESSING, COLUMNS, ROWS, OFF = 0x20, 0x21, 0x22, 0xAE


class Recorded:
    """The serial interface that the reference driver writes to."""

    def __init__(self) -> None:
        self.commands: list[int] = []

    def command(self, *data: int) -> None:
        self.commands += data

    def data(self, data: Any) -> None:
        """Pixels; not compared here."""

    def cleanup(self) -> None:
        """Nothing to close."""


def commands_of(data: list[int]) -> dict[int, tuple[int, ...]]:
    """Each command of a stream and its arguments."""
    found, at = {}, 0
    while at < len(data):
        count = ARGUMENTS.get(data[at], 0)
        found[data[at]] = tuple(data[at + 1 : at + 1 + count])
        at += 1 + count
    return found


@pytest.mark.filterwarnings("ignore::DeprecationWarning:luma")
def test_the_display_is_set_up_as_luma_oled_sets_it_up():
    """Oracle: luma.oled's SSD1306. Two things differ on purpose: we address by page, and do not switch it off first."""
    reference = Recorded()
    ssd1306(reference)
    theirs, ours = commands_of(reference.commands), commands_of(list(display.START[1:]))
    assert (theirs.pop(ADDRESSING), ours.pop(ADDRESSING)) == ((0,), (2,))  # 0 horizontal, 2 page
    assert theirs.pop(OFF) == ()
    assert (theirs.pop(COLUMNS), theirs.pop(ROWS)) == ((0, 127), (0, 7))  # a window is for horizontal addressing
    assert ours == theirs


@given(st.binary(max_size=64))
def test_a_probe_s_check_byte_is_crc_8_maxim(data: bytes):
    """Oracle: crccheck's CRC-8/MAXIM-DOW, whose own check value for "123456789" is A1h."""
    assert crc8(data) == Crc8Maxim.calc(data)


def test_the_reference_gives_the_catalogue_s_check_value():
    assert Crc8Maxim.calc(b"123456789") == crc8(b"123456789") == 0xA1
