"""Runs under MicroPython: the memory the firmware uses and the garbage of a tick, in bytes of this interpreter."""

import gc
import sys

import micropython


class Fake:
    """Replaces `machine`, `onewire` and a pin: enough for the modules to load and the loop to run."""

    def __init__(self, *args, **kwargs):
        self.on = 0

    def value(self, level=None):
        if level is None:
            return self.on
        self.on = level
        return None

    def __getattr__(self, name):
        return nothing


def nothing(*args):
    """What a display's bus and canvas do here."""


class Driver:
    """A probe that follows the heater, so that the self-test passes."""

    accuracy_unknown = False

    def __init__(self, board):
        self.board = board
        self.temp_c = 32.0

    def start(self):
        pass

    def read(self):
        if self.board.on and self.board.guard.on:
            self.temp_c += 0.02
        return self.temp_c, 0


class Board:
    """The board's methods that the app calls."""

    watched = True

    def __init__(self):
        self.ms = self.until_ms = 0
        self.on = 0
        self.guard = Fake()
        self.pins = {"sda": 4, "scl": 5}

    def now_ms(self):
        return self.ms

    def wall_s(self):
        return 0

    def pressed(self):
        return False, False, False

    def short_of_heap(self, floor):
        return None

    def reset_cause(self):
        return "PWRON_RESET"

    def misfit(self, values):
        return None

    def use_pins(self, values):
        pass

    def probe(self, values, place):
        from bainboard.sensing import Probe

        return Probe(Driver(self), 0.0, 1.0, values["trip.jump_c_per_s"])

    def switch(self, level):
        self.on = level

    def wait(self, until_ms):
        self.ms = max(self.ms + 1, until_ms)
        if self.ms > self.until_ms:
            raise OverError
        return False

    sleep = wait

    def receive(self):
        return b""

    def interruptible(self, on):
        pass

    def use_panel(self):
        pass

    def show(self, lamps, buzzer):
        pass

    def use_pwm(self):
        pass

    def use_float(self, fitted):
        pass

    def water_low(self):
        return False

    def beat(self):
        pass

    def feed(self):
        pass

    def send(self, data):
        return len(data)


class OverError(Exception):
    """The time to run for is over."""


class Files:
    """A flash with a latch record, which is cleared, and settings with panel and display."""

    def __init__(self):
        from bainboard import framing, store, wire

        settings = wire.text([("panel", True), ("display", True)]).encode()
        self.files = {
            "latch.a": framing.pack(store.KINDS["latch"], 1, store.latch_payload(0, 0)),
            "settings.a": framing.pack(store.KINDS["settings"], 1, settings),
        }

    def read(self, path):
        return self.files.get(path)

    def write(self, path, data):
        self.files[path] = data

    def sync(self):
        pass


def held():
    gc.collect()
    return gc.mem_alloc()


def main():
    for name in ("machine", "onewire", "framebuf"):
        sys.modules[name] = Fake()
    sys.modules["machine"].Pin = sys.modules["machine"].I2C = Fake
    sys.modules["framebuf"].FrameBuffer, sys.modules["framebuf"].MONO_VLSB = Fake, 0
    before = now = held()
    for layer in LAYERS:
        loaded = set(sys.modules)
        __import__("bainboard." + layer)
        last, now = now, held()
        print(layer, now - last, *[name for name in sys.modules if name not in loaded])
    heap_reserve = sys.modules["bainboard.heap_reserve"]
    heap_reserve.sweep = heap_reserve.sweep_often = nothing
    sys.modules["bainboard.app"].LOG_FOLDER = sys.argv[1] + "/log"
    board = Board()
    app = sys.modules["bainboard.app"].App(board, Files())
    assert app.warmer.start(app.documents.profile, "work", 0, 20.0, 0) is None
    run(app, 900)
    heap_reserve.unload()
    heap_reserve.release()  # counted by itself: its bytes are a board's
    data = held() - now
    gc.disable()
    start = gc.mem_alloc()
    run(app, 10)
    garbage = (gc.mem_alloc() - start) // 10
    gc.enable()
    print("word", 4 if sys.maxsize < 2**32 else 8)
    print("state", app.warmer.state, now - before, data, garbage)
    micropython.qstr_info()


def run(app, count):
    app.board.until_ms = app.board.ms + count * 1000
    try:  # noqa: SIM105 - MicroPython has no contextlib
        app.run()
    except OverError:
        pass


if __name__ == "__main__":
    LAYERS = sys.argv[2:]
    sys.path.insert(0, sys.argv[1])
    main()
