"""A 128x64 display with an SSD1306-type controller on I2C, eight pixel rows at a time.

A row is a tuple (big, text, inverse): five successive rows with the same `big` show its figures 40 pixels high at the
left; `text` is at the left of a row without figures, else beside them. `i2c` has `writeto(address, data)`;
`make_canvas(buffer)` gives a 128x8 frame buffer (fill, text) over it. Commands: as in luma.oled's driver.
"""

ADDRESS = 0x3C
WIDTH, ROWS = 128, 8
SIDE = 96  # where text beside the figures begins
AGAIN_MS = 10000  # wait before trying a display that did not answer; chosen
AFRESH_MS = 60000  # chosen: set up again this often; after a dip in its supply a display is dark but answers

# Clock 80h; 64 lines; no offset; first line 0; charge pump on; page addressing; mirrored both ways, so that the
# plug is on top; its pins; contrast, chosen for a kitchen; charge times; level; shows its memory, not inverted; on.
START = b"\x00\xD5\x80\xA8\x3F\xD3\x00\x40\x8D\x14\x20\x02\xA1\xC8\xDA\x12\x81\xCF\xD9\xF1\xDB\x40\xA4\xA6\xAF"
PAGE, DATA = 0xB0, 0x40

# Our own figures, 12 x 20 and shown twice as large: for each of five rows six bytes of two columns, four pixels each.
FIGURES = "0123456789-"
GLYPHS = (
    b"\xc0\xee\x77\x77\xee\x0c\xff\x0f\x00\x00\xf0\xff\xff\x0f\x00\x00\xf0\xff"  # 0
    b"\xff\x0f\x00\x00\xf0\xff\x30\x77\xee\xee\x77\x03"
    b"\x00\xc8\xfe\xef\x00\x00\x30\x37\xf1\xff\x00\x00\x00\x00\xf0\xff\x00\x00"  # 1
    b"\x00\x00\xf0\xff\x00\x00\x40\xee\xfe\xff\xee\x4e"
    b"\xc0\xee\x77\x77\xee\x0c\x33\x03\x00\x00\xf0\xff\x00\x00\x80\xec\x7f\x03"  # 2
    b"\x00\xc8\xff\x17\x00\x00\xf6\xff\xef\xee\xee\xee"
    b"\xc8\xfe\x77\xf7\xee\x0c\x10\x01\x00\x00\xfd\x6f\x00\x00\x70\x77\xff\x0d"  # 3
    b"\x88\x08\x00\x00\xf8\xff\x31\xf7\xee\xfe\x77\x03"
    b"\x00\x00\xc0\xfe\x0f\x00\x00\xc0\xff\xff\x0f\x00\xc0\xff\x17\xff\x0f\x00"  # 4
    b"\x73\x77\x77\xff\x7f\x37\x00\x00\x00\xf7\x0f\x00"
    b"\xf0\xff\x77\x77\x77\x07\xf0\xff\xc8\x8c\x08\x00\x30\x33\x13\x33\xf7\x8e"  # 5
    b"\xc8\x08\x00\x00\xf8\xff\x31\x77\xee\xfe\x77\x03"
    b"\x00\x00\x80\xec\x7f\x00\x00\xc0\xfe\xbf\x00\x00\xe8\xff\x37\x73\xff\x8e"  # 6
    b"\xff\x8f\x00\x00\xf8\xff\x30\x77\xee\xee\x77\x03"
    b"\x72\x77\x77\x77\xff\x6f\x00\x00\x00\xc0\xff\x03\x00\x00\x00\xfe\x1f\x00"  # 7
    b"\x00\x00\xf8\xff\x00\x00\x00\x00\xff\x07\x00\x00"
    b"\x80\xee\x7f\xf7\xee\x08\xf0\xff\x00\x00\xff\x0f\xd0\xff\x7f\xf7\xff\x0d"  # 8
    b"\xff\x1f\x00\x00\xf1\xff\x30\x77\xee\xee\x77\x03"
    b"\xc0\xee\x77\x77\xee\x0c\xff\x1f\x00\x00\xf1\xff\x71\xff\xce\xec\xff\x17"  # 9
    b"\x00\x00\xfd\x7f\x01\x00\x00\xfe\x37\x00\x00\x00"
    b"\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x60\x66\x66\x66\x66\x06"  # -
    b"\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00"
)
DOUBLE = b"\x00\x03\x0C\x0F\x30\x33\x3C\x3F\xC0\xC3\xCC\xCF\xF0\xF3\xFC\xFF"  # four pixels as eight
GLYPH_ROWS, GLYPH_BYTES = 5, 6
GAP = 4  # after a figure
POINT, POINT_WIDTH, POINT_ADVANCE = b"\xFC", 6, 8


def paint_big(buffer: memoryview, text: str, row: int) -> None:
    """Paint one row of figures into a cleared row buffer."""
    x = 0
    for letter in text:
        if letter == ".":
            if row == GLYPH_ROWS - 1:
                buffer[x : x + POINT_WIDTH] = POINT * POINT_WIDTH
            x += POINT_ADVANCE
            continue
        at = (FIGURES.find(letter) * GLYPH_ROWS + row) * GLYPH_BYTES
        for pair in GLYPHS[at : at + GLYPH_BYTES]:
            buffer[x] = buffer[x + 1] = DOUBLE[pair & 15]
            buffer[x + 2] = buffer[x + 3] = DOUBLE[pair >> 4]
            x += 4
        x += GAP


class Display:
    """Sends the rows last wanted, only those that changed; a lost display delays nothing."""

    def __init__(self, i2c, make_canvas) -> None:
        self._i2c = i2c
        self._out = bytearray(1 + WIDTH)
        self._out[0] = DATA
        self._row = memoryview(self._out)[1:]
        self._canvas = make_canvas(self._row)
        self._place = bytearray((0x00, PAGE, 0x00, 0x10))  # a row, starting at its first column
        self._wanted: list = [None] * ROWS
        self._shown: list = [None] * ROWS
        self._again_ms = self._afresh_ms = 0
        self._on = False
        self.lost = False  # it did not answer

    def want(self, rows: list) -> None:
        """Show these eight rows from now on."""
        self._wanted = rows

    def due(self, now_ms: int) -> bool:
        """Is there something to send?"""
        if self._on and now_ms >= self._afresh_ms:
            self._on, self._shown = False, [None] * ROWS
        return self._wanted != self._shown and now_ms >= self._again_ms

    def send(self, now_ms: int) -> None:
        """Send the first row that is not shown yet."""
        try:
            if not self._on:
                self._shown = [None] * ROWS  # its memory is undefined after power-on
                self._i2c.writeto(ADDRESS, START)
                self._on = True
                self._afresh_ms = now_ms + AFRESH_MS
            for number in range(ROWS):
                if self._wanted[number] != self._shown[number]:
                    self._send(number)
                    break
            self.lost = False
        except OSError:  # unplugged: the hold continues without it
            self._on, self.lost = False, True
            self._again_ms = now_ms + AGAIN_MS

    def _send(self, number: int) -> None:
        big, text, inverse = self._wanted[number]
        self._canvas.fill(int(inverse))
        if big:
            paint_big(self._row, big, number)
        self._canvas.text(text, SIDE if big else 0, 0, 1 - int(inverse))
        self._place[1] = PAGE | number
        self._i2c.writeto(ADDRESS, self._place)
        self._i2c.writeto(ADDRESS, self._out)
        self._shown[number] = self._wanted[number]
