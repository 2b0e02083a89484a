"""A row of the display is sent only if it is done before the next thing that is due."""

import sys


class Fake:
    """Replaces `machine` and `framebuf` with what the display needs of them."""

    MONO_VLSB = 0

    @staticmethod
    def Pin(number):  # noqa: N802 - as MicroPython calls it
        return number

    @staticmethod
    def I2C(block, scl, sda, freq, timeout):  # noqa: N802
        return Bus(block, scl, sda, freq)

    @staticmethod
    def FrameBuffer(row, width, height, form):  # noqa: N802
        return Fake

    @staticmethod
    def fill(colour):
        pass

    @staticmethod
    def text(text, x, y, colour):
        pass


class Bus:
    """Takes the time a real one would, or fails."""

    board = None
    broken = False

    def __init__(self, block, scl, sda, freq):
        assert (block, scl, sda, freq) == (0, 5, 4, 400000)

    def writeto(self, address, data):
        if Bus.broken:
            Bus.board.ms += 5
            raise OSError(5)
        Bus.board.ms += 3 if len(data) > 100 else 1


class Board:
    """A clock and the pins."""

    def __init__(self):
        from bainboard import pins

        self.ms = 0
        self.pins = pins.RP2

    def now_ms(self):
        return self.ms


class App:
    """What the display asks of the app."""

    def __init__(self):
        from bainboard import settings
        from bainboard.panel_logic import PanelLogic
        from bainboard.warmer import Warmer

        Bus.board = self.board = Board()
        Bus.broken = False
        self.warmer = Warmer(settings.defaults(settings.SETTINGS), 0)
        self.panel_logic = PanelLogic()
        self.documents = self.standalone = self
        self.profile = {"name": "dark"}
        self.prompt = self.asked = ""
        self.reported = []

    def hold_ms(self, now_ms):
        return 0

    def report(self, name, pairs, hold_ms):
        self.reported.append((name, pairs))


def made():
    before = {name: sys.modules.get(name) for name in ("machine", "framebuf")}
    sys.modules["machine"] = sys.modules["framebuf"] = Fake
    try:
        from bainboard import display_task
    finally:
        for name in before:
            if before[name] is None:
                del sys.modules[name]
            else:
                sys.modules[name] = before[name]
    app = App()
    return app, display_task.DisplayTask(app), display_task


def test_nothing_is_sent_when_something_is_due_sooner_than_a_row_takes():
    app, shown, display_task = made()
    shown.look(31.0, None, False, 0)
    shown.draw(display_task.ROW_MS - 1)
    assert app.board.ms == 0


def test_what_is_due_is_never_missed_and_the_rest_goes_out_in_the_next_pause():
    app, shown, _ = made()
    shown.look(31.0, None, False, 0)
    passes = 0
    while True:
        until_ms = app.board.ms + 20
        before_ms = app.board.ms
        shown.draw(until_ms)
        assert app.board.ms <= until_ms
        if app.board.ms == before_ms:
            break
        passes += 1
    assert passes > 1


def test_one_that_is_lost_is_reported_once_delays_once_in_ten_seconds_and_is_reported_back():
    app, shown, _ = made()
    shown.look(31.0, None, False, 0)
    Bus.broken = True
    for _ in range(9):
        shown.draw(app.board.ms + 900)
        app.board.ms += 1000
    assert app.reported == [("display", [("at", "off")])]
    assert app.board.ms == 9000 + 5
    Bus.broken = False
    app.board.ms += 2000
    shown.draw(app.board.ms + 900)
    assert app.reported[1:] == [("display", [("at", "on")])]
