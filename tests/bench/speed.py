"""How fast the virtual board runs the demo through its pseudo-terminal, every line read, and where the time goes.

Run by hand on an idle machine: python tests/bench/speed.py. The shares are of one run, comparable between machines.
"""

from __future__ import annotations

import os
import subprocess
import tempfile
import time
from pathlib import Path

import serial

import bainwright.virtual.scenario
from bainboard import wire
from bainwright.files.documents import flash_of
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import load_scenario
from bainwright.virtual.world import build_world

HERE = Path(__file__).parent
SECONDS = 13200
DEMO = Path(bainwright.virtual.scenario.__file__).parent / "scenarios" / "orange_sticks.toml"


def cpu_s(pid: int) -> float:
    """Processor time of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def children(pid: int) -> list[int]:
    """Processes it started."""
    return [int(each) for each in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def whole_run() -> tuple[float, float, float, float]:
    """(wall, supervisor, board, reader) seconds of a demo through the pseudo-terminal."""
    rig = name_probes(load_rig("pot"))
    with VirtualBoard(rig, scenario=load_scenario(DEMO), flash_files=flash_of(rig)) as board:
        port = serial.Serial(board.path, timeout=2)
        board.arm()
        fields = [("id", 1), ("do", "start"), ("stage", "work"), ("for_ms", 1000 * SECONDS)]
        port.write(wire.encode(fields))
        time.sleep(0.2)
        (interpreter,) = children(board.pid)
        before = cpu_s(board.pid), cpu_s(interpreter), time.process_time(), time.monotonic()
        board.run_clock()
        came = bytearray()
        while data := port.read(max(1, port.in_waiting)):
            came += data
            if b'"ended"' in came[-256:]:
                break
        lines = came.count(b'"status"')
        assert lines >= SECONDS - 1, f"only {lines} lines came"
        after = cpu_s(board.pid), cpu_s(interpreter), time.process_time(), time.monotonic()
    supervisor, firmware, reader, wall = (b - a for a, b in zip(before, after, strict=True))
    return wall, supervisor, firmware, reader


def plant_s() -> float:
    """Processor time of the simulated warmer alone, for the same span."""
    rig = load_rig("pot")
    world = build_world(rig, None, load_scenario(DEMO), 0)
    world.arm(0)
    start = time.process_time()
    for _ in range(SECONDS):
        world.advance(20.0, 1_000_000)
        world.probe_c("water"), world.probe_c("bowl")
    return time.process_time() - start


def bare_firmware_s() -> float:
    """Processor time of the firmware's own ticks, without pins, buses and console."""
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "ticks.py"
        probe = (HERE / "memory_probe.py").read_text().replace("\nLAYERS = ", "\nTICKS = True\nLAYERS = ")
        script.write_text(
            probe.replace(
                "    gc.disable()\n",
                "    import time\n    t = time.ticks_us()\n    ticks(app, 5000)\n"
                "    print(time.ticks_diff(time.ticks_us(), t) / 5000)\n    return\n",
            )
        )
        command = ["micropython", "-X", "heapsize=400K", str(script), str(HERE.parents[1] / "firmware"), "app"]
        return float(subprocess.run(command, capture_output=True, text=True, check=True).stdout) * 1e-6 * SECONDS


def main() -> None:
    """The figures."""
    wall, supervisor, board, reader = whole_run()
    plant, firmware = plant_s(), bare_firmware_s()
    total = supervisor + board + reader
    print(f"simulated over real time    {SECONDS / wall:7.0f}")
    print("share of the processor time")
    for name, seconds in (
        ("firmware", firmware),
        ("stand-ins for pins, buses, clock", board - firmware),
        ("simulated warmer", plant),
        ("supervisor: edges, console", supervisor - plant),
        ("reader", reader),
    ):
        print(f"  {name:34}{seconds / total:6.0%}")


if __name__ == "__main__":
    main()
