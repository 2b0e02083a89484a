"""The display's driver, to the byte: its commands are those of luma.oled's driver (test_parts.py); only changed rows
are sent."""

from bainboard.drivers import display

BLANK = [("", "", False)] * 8


class Bus:
    """An I2C bus that records what is written, and fails on demand."""

    def __init__(self):
        self.sent = []
        self.broken = False

    def writeto(self, address, data):
        if self.broken:
            raise OSError(5)
        self.sent.append((address, bytes(data)))


class Canvas:
    """A frame buffer that paints a letter as its code, repeated over its eight columns."""

    def __init__(self, row):
        self.row = row

    def fill(self, colour):
        for x in range(len(self.row)):
            self.row[x] = 255 * colour

    def text(self, text, x, y, colour):
        for letter in text:
            for column in range(8):
                self.row[x + column] = ord(letter) if colour else 255 - ord(letter)
            x += 8


def made():
    bus = Bus()
    return bus, display.Display(bus, Canvas)


def pump(shown, now_ms=0):
    while shown.due(now_ms):
        shown.send(now_ms)


def with_row(number, row):
    rows = list(BLANK)
    rows[number] = row
    return rows


def test_it_is_begun_with_the_charge_pump_page_addressing_both_mirrors_and_on():
    bus, shown = made()
    shown.want(BLANK)
    pump(shown)
    address, start = bus.sent[0]
    assert address == 0x3C
    assert start[0] == 0x00  # control byte: commands follow
    for wanted in (b"\x8d\x14", b"\x20\x02", b"\xa8\x3f", b"\xda\x12", b"\xa1", b"\xc8", b"\xa4", b"\xa6"):
        assert wanted in start
    assert start[-1] == 0xAF


def test_a_row_is_its_page_its_first_column_and_128_bytes():
    bus, shown = made()
    shown.want(with_row(3, ("", "AB", False)))
    pump(shown)
    assert len(bus.sent) == 1 + 8 * 2
    (_, place), (_, data) = bus.sent[1 + 3 * 2 : 3 + 3 * 2]
    assert place == b"\x00\xb3\x00\x10"  # B0h + page; column 0 by its two halves
    assert data == b"\x40" + b"A" * 8 + b"B" * 8 + bytes(112)  # control byte: data follow


def test_only_what_changed_is_sent():
    bus, shown = made()
    shown.want(BLANK)
    pump(shown)
    bus.sent = []
    shown.want(with_row(6, ("", "x", False)))
    pump(shown)
    assert [data[1] for _, data in bus.sent if len(data) == 4] == [0xB6]
    shown.want(with_row(6, ("", "x", False)))
    assert not shown.due(0)


def test_an_inverse_row_is_light_with_dark_letters():
    bus, shown = made()
    shown.want(with_row(0, ("", "A", True)))
    pump(shown)
    assert bus.sent[2][1] == b"\x40" + bytes((255 - 65,)) * 8 + b"\xff" * 120


def figure(text):
    """The big figures as 40 lines of # and ."""
    lines = []
    for number in range(5):
        row = bytearray(128)
        display.paint_big(row, text, number)
        for bit in range(8):
            lines.append("".join(["#" if byte >> bit & 1 else "." for byte in row]))
    return lines


def test_a_figure_is_twenty_four_dots_wide_forty_high_and_unlike_the_others():
    seen = []
    for letter in "0123456789":
        lines = figure(letter)
        assert len(lines) == 40
        assert "#" in lines[0]
        assert "#" in lines[39]
        assert not any("#" in line[24:] for line in lines)
        assert lines not in seen
        seen.append(lines)


def test_figures_look_like_what_they_are():
    seven = figure("7")
    assert seven[2][:24].count("#") >= 22  # a bar above
    assert seven[38][:24].strip(".") in ("#" * 6, "#" * 5, "#" * 4)  # a foot
    dash = figure("-")
    assert [("#" in line) for line in dash].count(True) == 4
    zero = figure("0")
    assert zero[20][10:14] == "...."  # hollow
    assert zero[20][:4] == zero[20][20:24] == "####"


def test_four_places_and_a_point_end_before_the_words_beside():
    for text in ("88.8", "--.-", "888"):
        assert not any("#" in line[display.SIDE :] for line in figure(text))
    assert not any("#" in line[28:36] for line in figure("8.8")[:32])  # the point is at the foot
    assert "######" in figure("8.8")[38][28:36]


def test_one_that_is_lost_is_tried_again_after_ten_seconds_and_set_up_again():
    bus, shown = made()
    bus.broken = True
    shown.want(BLANK)
    assert shown.due(0)
    shown.send(0)
    assert shown.lost
    assert not shown.due(display.AGAIN_MS - 1)
    assert shown.due(display.AGAIN_MS)
    bus.broken = False
    pump(shown, display.AGAIN_MS)
    assert not shown.lost
    assert bus.sent[0][1] == display.START
    assert len(bus.sent) == 1 + 8 * 2


def test_once_a_minute_it_is_set_up_again_in_case_its_supply_dipped():
    bus, shown = made()
    shown.want(BLANK)
    pump(shown)
    assert not shown.due(display.AFRESH_MS - 1)
    pump(shown, display.AFRESH_MS)
    assert [data for _, data in bus.sent].count(display.START) == 2
    assert len(bus.sent) == 2 * (1 + 8 * 2)
