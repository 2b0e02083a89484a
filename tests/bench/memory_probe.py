"""Runs under MicroPython: the memory the firmware uses and the garbage of a tick, in bytes of this interpreter."""

import gc
import sys


class Fake:
    """Replaces `machine`, `onewire` and a pin: enough for the modules to load and the loop to run."""

    def __init__(self, *args, **kwargs):
        self.level = 0

    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level
        return None


class Driver:
    """A probe that follows the heater, so that the self-test passes."""

    accuracy_unknown = False

    def __init__(self, board):
        self.board = board
        self.temp_c = 32.0

    def start(self):
        pass

    def read(self):
        if self.board.level and self.board.guard.level:
            self.temp_c += 0.02
        return self.temp_c, 0


class Board:
    """The board's methods that the app calls."""

    watched = True

    def __init__(self):
        self.ms = 0
        self.level = 0
        self.guard = Fake()

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
        self.level = level

    def use_pwm(self):
        pass

    def beat(self):
        pass

    def feed(self):
        pass

    def send(self, data):
        return len(data)


class Files:
    """A flash with only a latch record, which is cleared."""

    def __init__(self):
        from bainboard import framing, store

        self.latch = framing.pack(store.KINDS["latch"], 1, store.latch_payload(0, 0))

    def read(self, path):
        return self.latch if path == "latch.a" else None

    def write(self, path, data):
        self.latch = data

    def sync(self):
        pass


def held():
    gc.collect()
    return gc.mem_alloc()


def main():
    sys.modules["machine"] = sys.modules["onewire"] = fake = Fake()
    fake.Pin = Fake
    before = held()
    for layer in LAYERS:
        __import__("bainboard." + layer)
        gc.collect()
    code = held() - before
    sys.modules["bainboard.app"].LOG_FOLDER = sys.argv[1] + "/log"
    app = sys.modules["bainboard.app"].App(Board(), Files())
    app.warmer.start(app.documents.profile, "work", 0, 20.0, 0)
    ticks(app, 900)
    data = held() - before - code
    gc.disable()
    start = gc.mem_alloc()
    ticks(app, 10)
    garbage = (gc.mem_alloc() - start) // 10
    sys.modules["framebuf"] = fake
    before = held()
    __import__("bainboard.display_task")
    print(app.warmer.state, code, data, garbage, held() - before)


def ticks(app, count):
    for _ in range(count):
        app.board.ms += 1000
        app._tick(app.board.ms)
        app.board.switch(app.drive.poll(app.board.ms))
        app.outbox.pump(app.board.send)


LAYERS = sys.argv[2:]
sys.path.insert(0, sys.argv[1])
main()
