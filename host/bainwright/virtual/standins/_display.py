"""A 128x64 display with an SSD1306-type controller: I2C commands draw into the shared memory's picture.

Commands: the controller's data sheet, from memory.
"""

from _clock import shared
from _shared import DISPLAY_FLIPPED, DISPLAY_INVERSE, DISPLAY_MIRRORED, DISPLAY_ON, DISPLAY_PUMP

ADDRESS = 0x3C
COMMANDS, DATA = 0x00, 0x40
WIDTH = 128
# Commands with arguments, and how many.
ARGUMENTS = {0x20: 1, 0x21: 2, 0x22: 2, 0x81: 1, 0x8D: 1, 0xA8: 1, 0xD3: 1, 0xD5: 1, 0xD9: 1, 0xDA: 1, 0xDB: 1}
SWITCHES = {0xAE: (DISPLAY_ON, 0), 0xAF: (DISPLAY_ON, 1),
            0xA0: (DISPLAY_MIRRORED, 0), 0xA1: (DISPLAY_MIRRORED, 1),
            0xC0: (DISPLAY_FLIPPED, 0), 0xC8: (DISPLAY_FLIPPED, 1),
            0xA6: (DISPLAY_INVERSE, 0), 0xA7: (DISPLAY_INVERSE, 1)}


class DisplayController:
    """The controller. Its memory is in the shared memory, so it survives a reset of the interpreter."""

    def __init__(self):
        self._row = self._column = 0

    def write(self, data):
        """Take the bytes after the address."""
        if not shared.display_fitted:
            raise OSError(5)  # EIO: nobody acknowledges
        if data[0] == DATA:
            self._paint(data)
        elif data[0] == COMMANDS:
            at = 1
            while at < len(data):
                count = ARGUMENTS.get(data[at], 0)
                self._command(data[at], data[at + 1 : at + 1 + count])
                at += 1 + count

    def _command(self, command, arguments):
        if command in SWITCHES:
            self._switch(*SWITCHES[command])
        elif command == 0x8D:
            self._switch(DISPLAY_PUMP, arguments[0] >> 2 & 1)
        elif 0xB0 <= command <= 0xB7:
            self._row = command & 7
        elif command <= 0x0F:
            self._column = self._column & 0xF0 | command
        elif 0x10 <= command <= 0x17:
            self._column = self._column & 0x0F | (command & 7) << 4
        elif command == 0x20 and arguments[0] & 3 != 2:
            raise OSError(22)  # only page addressing is simulated

    def _switch(self, bit, level):
        shared.display_state = shared.display_state & ~bit | (bit if level else 0)

    def _paint(self, data):
        """Page addressing: the column wraps within its row."""
        display, start = shared.display, WIDTH * self._row
        for byte in memoryview(data)[1:]:
            display[start + self._column] = byte
            self._column = (self._column + 1) % WIDTH
