"""The display on the running board: what it shows from tick to tick, and when a row may be sent.

Only boards whose settings ask for a display load it. A row goes out while the loop would sleep, and only if it is done
before the next thing that is due: no edge of the switch, no tick and no press waits for the display.
"""

import framebuf
import machine

from bainboard import display_text
from bainboard.drivers import display

I2C_HZ, I2C_US = 400000, 5000  # the display's fastest; one that hangs the bus is given up after this
ROW_MS = 8  # a row is painted (2 ms, counted) and sent: 132 bytes of 9 bits at 400 kHz, 3 ms
WORDS_MS = 60  # chosen: twice what loading a module of 3 KB takes


class DisplayTask:
    """Shows the app; `look` each tick, `draw` each pass."""

    def __init__(self, app) -> None:
        self._app = app
        self._display = display.Display(_bus(app.board.pins), _canvas)
        self._rows: list = [None] * display.ROWS
        self._lost = False
        self._seen: tuple | None = None  # what is not in the display's rows yet

    def look(self, water_c: float | None, bowl_c: float | None, estimated: bool, hold_ms: int) -> None:
        """Show this from now on."""
        self._seen = water_c, bowl_c, estimated, hold_ms

    def draw(self, until_ms: int) -> None:
        """Send what changed, as far as there is time."""
        shown, board = self._display, self._app.board
        now_ms = board.now_ms()
        if self._seen is not None and until_ms - now_ms >= self._rows_ms():
            self._fill(now_ms, *self._seen)
            shown.want(self._rows)
            self._seen = None
            now_ms = board.now_ms()
        while until_ms - now_ms >= ROW_MS and shown.due(now_ms):
            shown.send(now_ms)
            now_ms = board.now_ms()
        if shown.lost != self._lost:
            self._lost = shown.lost
            self._app.report("display", [("at", "off" if shown.lost else "on")], self._app.hold_ms(now_ms))

    def _rows_ms(self) -> int:
        """How long it takes to make the rows of what was seen last."""
        return WORDS_MS if display_text.lacks_words(self._app.warmer.fault, self._app.asked) else ROW_MS

    def _fill(
        self, now_ms: int, water_c: float | None, bowl_c: float | None, estimated: bool, hold_ms: int,
    ) -> None:
        app, w = self._app, self._app.warmer
        display_text.rows(
            self._rows, w.shown_state, w.fault, app.asked, w.programme, (water_c, bowl_c), estimated, w.duty, hold_ms,
            app.documents.profile["name"], app.panel_logic.locked, app.panel_logic.refusal(now_ms), w.sure)


def _bus(pins: dict):
    sda, scl = pins["sda"], pins["scl"]
    # An RP2040's pin belongs to one of its two blocks (data sheet, 1.4.3); an ESP32's to either.
    return machine.I2C(sda // 2 % 2, scl=machine.Pin(scl), sda=machine.Pin(sda), freq=I2C_HZ, timeout=I2C_US)


def _canvas(row: memoryview):
    return framebuf.FrameBuffer(row, display.WIDTH, 8, framebuf.MONO_VLSB)
