"""Runs under MicroPython: a hold of two hours with panel, display, log and a busy host, in a heap of a board's size.

Arguments: the folder of the firmware, an empty folder for the log, the layers. Prints what `long_hold.py` reads.
"""

import binascii
import gc
import hashlib
import sys

import micropython
from memory_probe import Board, Fake, Files, held, run

MINUTES, A_MINUTE = 120, 12  # requests
TRANSFERS = (40, 80)  # in these minutes
REQUESTS = (
    ("hello", []), ("segments", []), ("profiles", []), ("silence", []), ("thicker", []), ("thinner", []),
    ("send", [("what", "settings")]), ("confirm", []),
)
GAINS = b'{"gains.water.weight":0.6}'


class Bus:
    """A 1-wire bus with nobody on it."""

    def scan(self):
        return []


class BusyBoard(Board):
    """The board of `memory_probe`, with a host that writes; it counts what is refused and what is collected."""

    kind = "pico"

    def __init__(self):
        super().__init__()
        self.heard = []
        self.answers = self.refused = self.collections = self.allocated = 0

    def receive(self):
        return self.heard.pop(0) if self.heard else b""

    def send(self, data):
        self.answers += b'"re":' in data
        self.refused += b'"ok":false' in data
        return len(data)

    def wait(self, until_ms):
        allocated = gc.mem_alloc()
        self.collections += allocated < self.allocated
        self.allocated = allocated
        super().wait(until_ms)
        return bool(self.heard)

    sleep = wait

    def bus(self):
        return Bus()

    def identity(self):
        return "1.25", b"12345678"


def main(folder, log, layers):
    for name in ("machine", "onewire", "framebuf"):
        sys.modules[name] = Fake()
    sys.modules["machine"].Pin = sys.modules["machine"].I2C = Fake
    sys.modules["framebuf"].FrameBuffer, sys.modules["framebuf"].MONO_VLSB = Fake, 0
    board = BusyBoard()
    print("free before", held() and gc.mem_free())
    sys.path.insert(0, folder)
    from bainboard import heap_reserve

    heap_reserve.take()
    for layer in layers:
        __import__("bainboard." + layer)
        gc.collect()
    heap_reserve.sweep_often()
    sys.modules["bainboard.app"].LOG_FOLDER = log
    app = sys.modules["bainboard.app"].App(board, Files())
    assert app.warmer.start(app.documents.profile, "work", 0, 20.0, 0) is None
    asked = 0
    for minute in range(MINUTES):
        for number in range(A_MINUTE):
            lines = [REQUESTS[(minute * A_MINUTE + number) % len(REQUESTS)]]
            if minute in TRANSFERS and number == 0:
                lines += transfer()
            for do, fields in lines:
                asked += 1
                pairs = [("id", asked), ("do", do)]
                pairs.extend(fields)
                board.heard.append(sys.modules["bainboard.wire"].encode(pairs))
            run(app, 60 // A_MINUTE)
        micropython.mem_info()
    print("end", app.warmer.state, app.warmer.fault, asked, board.answers, board.refused, board.collections)


def transfer():
    """Gains for the running hold."""
    text = binascii.b2a_base64(GAINS).strip().decode()
    digest = binascii.hexlify(hashlib.sha256(GAINS).digest()).decode()
    return [("begin", [("what", "gains"), ("size", len(GAINS)), ("sha256", digest)]),
            ("chunk", [("at", 0), ("data", text)]), ("commit", [])]


main(sys.argv[1], sys.argv[2], sys.argv[3:])
