"""Memory on the virtual board: what is held after a day, and what happens when there is next to none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import serial

from bainboard import wire
from bainwright.core.errors import LinkError
from bainwright.files.firmware import as_on_board
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.made_firmware import firmware_files

from .cases import build, parse
from .fast import usual_files
from .on_board import SILENCE_S
from .world import maker

HOUR = 3600
GROWTH_BYTES = 2048
# The firmware's own start, but for a count of what is held each hour; and a ballast, after so many passes.
MAIN = """
import gc, machine, sys
machine.Pin(15, machine.Pin.OUT, value=0)
sys.path.insert(0, {folder!r})
from bainboard import start
sys.modules["bainboard.heap_reserve"].take()
for layer in start.LAYERS:
    __import__("bainboard." + layer)
    gc.collect()
app = sys.modules["bainboard.app"]
class App(app.App):
    passes = 0
    ballast = None
    def build(self, *stored):
        super().build(*stored)
        step = self.warmer.step
        def counted(now_ms, *rest):
            step(now_ms, *rest)
            self.counted(now_ms)
        self.warmer.step = counted
    def counted(self, now_ms):
        App.passes += 1
        if App.passes % {every} == 0:
            gc.collect()
            self.report("heap", [("used", gc.mem_alloc()), ("free", gc.mem_free())], now_ms)
        if App.passes == {ballast_at}:
            gc.collect()
            size = 4096
            while size >= 16 and gc.mem_free() > {leave}:
                try:
                    App.ballast = App.ballast, bytearray(min(size, gc.mem_free() - {leave}))  # a list would grow
                except MemoryError:
                    size //= 2
app.App = App
app.main("heap", None)
"""


@dataclass
class Day:
    """What came of it.

    Attributes
    ----------
    used : list of int
        Bytes held after a collection, every `every_s`.
    duties, states : list
        Duty (1/10000) and state of each status line.
    resets : list
        Causes of restarts.
    pins : list of int
        Levels at the end.
    """

    used: list[int]
    duties: list[int]
    states: list[str]
    resets: list[Any]
    pins: list[int]


def run(
    hours: float, leave: int = 0, ballast_at: int = -1, line: str = "1 pot/melted_night/none", every_s: int = HOUR
) -> Day:
    """Hold so long; from pass `ballast_at` on leave only so many bytes of the heap free."""
    built = build(parse(line))
    play = built.play
    files = firmware_files()
    started = ("/bainboard/start.py", "/bainboard/start.mpy")
    folder = next(path for path in files if path.endswith(started)).rsplit("/bainboard/", 1)[0]
    main = MAIN.format(folder=folder, every=every_s, ballast_at=ballast_at, leave=leave)
    ours: dict[str, bytes | None] = {**usual_files(play.rig, play.profile), "/main.py": as_on_board(main).encode()}
    day = Day([], [], [], [], [])
    passes = round(hours * HOUR)
    with VirtualBoard(play.rig, None, play.scenario, play.seed, None, ours,
                      make_world=maker(play.mishaps)) as board, serial.Serial(board.path, timeout=SILENCE_S) as port:
        board.arm()
        board.run_clock()
        assembler = wire.Assembler()
        while len(day.duties) < passes and not (leave and len(day.states) > 600 and day.states[-1] == "idle"):
            data = port.read(max(1, port.in_waiting))
            if not data:
                if leave:
                    break  # at the REPL: nothing is said any more
                raise LinkError("the virtual board fell silent", got=f"{len(day.duties)} lines of {passes}")
            for reported in assembler.feed(data):
                _note(day, bytes(reported))
        board.hold_clock()
        report = board.report()
        day.resets, day.pins = report["resets"], report["pins"]
    return day


def _note(day: Day, reported: bytes) -> None:
    doc, _ = wire.decode(reported.strip())
    if doc is None:
        return
    if doc.get("event") == "heap":
        day.used.append(doc["used"])
    elif "status" in doc:
        day.duties.append(doc["duty"])
        day.states.append(doc["state"])
