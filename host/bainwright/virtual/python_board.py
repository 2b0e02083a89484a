"""The virtual board where there is no MicroPython: the firmware runs in CPython, in a thread of this process.

It needs no second process and no pseudo-terminal, so it works on every PC. The host talks to it through memory. One
such board a process. Display, platinum probes and a saved flash image need MicroPython.
"""

from __future__ import annotations

import sys
import threading
import time
import types
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from bainwright.core.errors import LinkError
from bainwright.virtual import python_modules, scenario_effects
from bainwright.virtual.interpreter import require_micropython
from bainwright.virtual.python_flash import Files, Flash, Folder, PowerLostError
from bainwright.virtual.python_hardware import CaseOverError, Desk, ResetError
from bainwright.virtual.truth import TruthFile
from bainwright.virtual.world import build_world

SHORT_US = 50_000  # a sleep up to this long passes even while the clock is stopped, as on the other virtual board
SPIN_CALLS = 1000  # time calls without a sleep, after which even a stopped clock moves: that is a busy wait
SECOND_US = 1_000_000
READ_SLICE_S = 0.05  # how long a read waits for a first byte, as on a serial port
OUTPUT_BYTES = 65536  # output that may wait for the host before the firmware has to wait
ANSWER_S = 60.0  # a firmware that does not stop or start its clock within this real time counts as dead
CATCH_UP_S = 0.05  # a paced clock regains at most this


class PacedHardware(Desk):
    """Hardware whose clock the host starts, stops and paces, and whose bytes go through memory."""

    def __init__(self, world: Any, settings: dict[str, Any], flash: Flash, keep_row: Callable[[Any], None],
                 speed: float | None) -> None:  # fmt: skip
        super().__init__(world, settings, flash, keep_row)
        self.changed = threading.Condition()
        self.output = bytearray()
        self.running = self.closing = self.arm_wanted = False
        self.stopped = True  # the firmware's thread has seen that the clock is stopped
        self.speed = speed
        self.simulated_us, self.wall_s = 0, 0.0
        self._spin = 0
        self._anchor = self._began = (0, 0.0)
        self.take = self._take

    # -- the firmware's side -------------------------------------------------------------------------------------------

    def stamp(self) -> int:
        """One time call; on a stopped clock it costs no time, unless the firmware waits busily."""
        self._spin += 1
        if self.running or self._spin > SPIN_CALLS:
            return super().stamp()
        return self.now_us

    def pass_until(self, target_us: int, until_heard: bool = False) -> None:
        """Sleep, while the host lets the clock run."""
        self._spin = 0
        while self.now_us < target_us and not (until_heard and self.heard):
            if self.closing and not self.dead:
                self.die(CaseOverError())
            if self.arm_wanted:
                self._arm()
            elif self.running:
                self._run_to(target_us)
            elif self.dead or (not until_heard and (self.heard or target_us - self.now_us <= SHORT_US)):
                self.now_us = target_us
            else:
                self._wait_stopped(until_heard)

    def _arm(self) -> None:
        """Time zero of scenario and plant, at a whole second of the board's clock."""
        self.now_us = self.boot_us + ((self.now_us - self.boot_us) // SECOND_US + 1) * SECOND_US
        self.wiring.arm(self.now_us)
        self._look_ahead()
        with self.changed:
            self.arm_wanted = False
            self.changed.notify_all()

    def _run_to(self, target_us: int) -> None:
        if self.stopped:
            self._began = self._anchor = (self.now_us, time.monotonic())
            self.stopped = False
        stop_us = max(self.now_us, min(target_us, self._limit_us))
        if self.speed and not self._paced(stop_us, self.speed):
            return
        self.now_us = stop_us
        if self.now_us >= self._limit_us:
            self._cross()

    def _paced(self, stop_us: int, speed: float) -> bool:
        """Wait in real time for `stop_us`; False when something changed first."""
        began_us, began_s = self._anchor
        left_s = began_s + (stop_us - began_us) / 1e6 / speed - time.monotonic()
        if left_s > 0.001:
            heard = len(self.heard)
            with self.changed:
                self.changed.wait_for(lambda: not self.running or self.closing or len(self.heard) != heard, left_s)
                if not self.running or self.closing or len(self.heard) != heard:
                    self.now_us = min(stop_us, began_us + int((time.monotonic() - began_s) * 1e6 * speed))
                    return False
        elif left_s < -CATCH_UP_S:
            self._anchor = (stop_us, time.monotonic())
        return True

    def _wait_stopped(self, until_heard: bool) -> None:
        with self.changed:
            if not self.stopped:
                self.stopped = True
                self.simulated_us += self.now_us - self._began[0]
                self.wall_s += time.monotonic() - self._began[1]
            self.changed.notify_all()
            self.changed.wait_for(
                lambda: self.running or self.closing or self.arm_wanted or bool(self.heard), 1.0)

    def _take(self, data: bytes) -> int:
        """Pass output to the host; wait, clock still, while it has much to read."""
        with self.changed:
            self.changed.wait_for(lambda: len(self.output) < OUTPUT_BYTES or self.closing)
            self.output += data
            self.changed.notify_all()
        return len(data)

    # -- the host's side -----------------------------------------------------------------------------------------------

    def set(self, **flags: bool) -> None:
        """Set `running`, `arm_wanted` or `closing`, and wake the firmware."""
        with self.changed:
            for name, value in flags.items():
                setattr(self, name, value)
            self.changed.notify_all()

    def run_times_s(self) -> tuple[float, float]:
        """Simulated and real time while the clock ran, s."""
        with self.changed:
            simulated_us, wall_s = self.simulated_us, self.wall_s
            if not self.stopped:
                simulated_us += self.now_us - self._began[0]
                wall_s += time.monotonic() - self._began[1]
        return simulated_us / 1e6, wall_s

    def wait_for(self, condition: Callable[[], bool]) -> None:
        """Wait for the firmware's thread.

        Raises
        ------
        LinkError
            If it does not get there.
        """
        with self.changed:
            if not self.changed.wait_for(condition, ANSWER_S):
                raise LinkError("the virtual board does not answer", got=f"nothing for {ANSWER_S:g} s")


class MemoryTransport:
    """Bytes to and from a board in this process, as `bainwright.link.ports.SerialTransport`."""

    name = "memory"

    def __init__(self, desk: PacedHardware) -> None:
        self._desk = desk

    def read(self) -> bytes:
        """What has arrived; waits at most `READ_SLICE_S` for a first byte."""
        desk = self._desk
        with desk.changed:
            desk.changed.wait_for(lambda: bool(desk.output), READ_SLICE_S)
            data = bytes(desk.output)
            desk.output.clear()
            desk.changed.notify_all()
        return data

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        with self._desk.changed:
            self._desk.heard += data
            self._desk.changed.notify_all()

    def close(self) -> None:
        """Nothing to close: the board closes with its session."""


class PythonBoard:
    """A virtual board in this process; the parameters are those of `bainwright.virtual.board.VirtualBoard`.

    Raises
    ------
    UseError
        If the rig has parts that only the board on MicroPython simulates.
    """

    def __init__(self, rig: Any, plant_spec: str | None, scenario: Any, seed: int, speed: float | None,
                 flash_files: Mapping[str, bytes], truth: Path) -> None:  # fmt: skip
        _refuse_parts(dict(rig.settings))
        world = build_world(rig, plant_spec, scenario, seed)
        self._truth = TruthFile(truth)
        self._flash = Flash(dict(flash_files))
        self.desk = PacedHardware(world, dict(rig.settings), self._flash, self._truth.append, speed)
        self.desk.wiring.power_up()
        self.desk.on_event = self._on_event
        self._flash.cut = lambda: self.desk.die(PowerLostError())
        self.resets: list[dict[str, Any]] = []
        self.power_cuts = self._injected = self._dark_us = 0
        self.crash = ""
        self.transport = MemoryTransport(self.desk)
        self._thread = threading.Thread(target=self._live, name="board", daemon=True)
        self._thread.start()

    # -- the host's side -----------------------------------------------------------------------------------------------

    def arm(self) -> None:
        """Set time zero of scenario and plant to the board's next whole second."""
        if self.desk.wiring.armed_us is None:
            self.desk.set(arm_wanted=True)
            self.desk.wait_for(lambda: not self.desk.arm_wanted)

    def run_clock(self) -> None:
        """Start virtual time."""
        self.desk.set(running=True)

    def hold_clock(self) -> None:
        """Stop virtual time; the board still answers requests."""
        self.desk.set(running=False)
        self.desk.wait_for(lambda: self.desk.stopped or len(self.desk.output) >= OUTPUT_BYTES)

    def apply_event(self, event: Any) -> None:
        """Let what a scenario's event does to matter happen now, as `VirtualBoard.apply_event`."""
        wiring, was_running = self.desk.wiring, self.desk.running
        wiring.world.check_event(event)
        self.hold_clock()
        wiring.advance(self.desk.now_us)
        wiring.world.apply_event(event)
        if was_running:
            self.run_clock()

    def report(self) -> dict[str, Any]:
        """The state of the run, as `VirtualBoard.report` has it."""
        self._truth.flush()
        simulated_s, wall_s = self.desk.run_times_s()
        return {"dead": self.desk.wiring.world.dead or self.crash or None,
                "raw_probes": self.desk.wiring.world.raw_probes, "resets": list(self.resets),
                "power_cuts": self.power_cuts, "stalled": False, "simulated_s": simulated_s,
                "wall_s": wall_s}  # fmt: skip

    def close(self) -> None:
        """End the firmware's thread."""
        self.desk.set(closing=True)
        self._thread.join(10.0)
        self._truth.close()

    # -- the firmware's thread -----------------------------------------------------------------------------------------

    def _live(self) -> None:
        """Run the firmware, life after life, until the board is closed."""
        firmware = _firmware(self._flash)
        python_modules.use(self.desk)
        while not self.desk.closing:
            try:
                self._one_life(firmware)
            except (CaseOverError, ResetError, PowerLostError) as last:
                self._restart(self.desk.died or last)

    def _one_life(self, firmware: Any) -> None:
        """From power-on to reset, power cut or the prompt."""
        try:
            firmware.main("", None)
        except Exception as error:  # as on a board: the prompt, with the pins as the firmware left them
            self.crash = f"the firmware ended: {type(error).__name__}: {error}"
        while True:
            self.desk.pass_until(self.desk.now_us + SECOND_US)

    def _restart(self, how: BaseException) -> None:
        if self.desk.closing:
            return
        reset = isinstance(how, ResetError)
        cause = "watchdog" if reset and how.args == ("WDT_RESET",) else "reset" if reset else "power_cut"
        zero_us = self.desk.wiring.armed_us or 0
        self.resets.append({"cause": cause, "t_s": (self.desk.now_us - zero_us) / 1e6})
        self.desk.restart(str(how.args[0]) if reset else "PWRON_RESET", 0 if reset else self._dark_us)

    def _on_event(self) -> None:
        """Carry out the scenario's actions that are due."""
        actions, self.desk.wiring.actions = self.desk.wiring.actions, []
        for action in actions:
            self._act(action)

    def _act(self, action: Any) -> None:
        from bainboard import wire

        if hasattr(action, "fields"):
            self._injected += 1
            number = scenario_effects.INJECTED_ID + self._injected
            self.desk.heard += wire.encode([("id", number), *action.fields.items()])
        elif hasattr(action, "for_s"):
            self.power_cuts += 1
            self._dark_us = round(action.for_s * 1e6)
            self.desk.die(PowerLostError())
        else:
            self.desk.wiring.fault(action.name, action.on)


def _refuse_parts(settings: dict[str, Any]) -> None:
    """Refuse parts that this board does not simulate."""
    parts = {"a display": settings["display"], "a platinum probe": any(
        settings[f"probe.{place}.kind"] == "platinum" for place in ("water", "bowl"))}
    for part, fitted in parts.items():
        if fitted:
            require_micropython(f"a simulated warmer with {part}")


def _firmware(flash: Flash) -> Any:
    """The firmware's app over this flash, with CPython's names where a board's interpreter has its own."""
    board: Any = python_modules.install()
    board.os = types.SimpleNamespace(uname=lambda: types.SimpleNamespace(release=version(), machine="CPython"))
    from bainboard import app as firmware_app
    from bainboard import requests_board

    requests: Any = requests_board
    requests.sys = types.SimpleNamespace(implementation=("cpython", sys.version_info))
    app: Any = firmware_app
    app.Folder = lambda path: Folder(flash, path)
    app.store = types.SimpleNamespace(**{**vars(app.store), "Files": lambda root: Files(flash)})
    app.print = lambda *words: None
    app.heap_reserve = types.SimpleNamespace(
        **{**vars(app.heap_reserve), "opened": lambda path, mode: _Crash(flash, path)})
    app.sys = types.SimpleNamespace(print_exception=_print_exception)
    return app


def version() -> str:
    """The interpreter that the firmware runs in."""
    return "CPython " + ".".join(str(part) for part in sys.version_info[:3])


def _print_exception(error: BaseException, file: Any) -> None:
    file.write(f"{type(error).__name__}: {error}\n")


class _Crash:
    """The file that the firmware writes its crash to."""

    def __init__(self, flash: Flash, path: str) -> None:
        self._flash, self._path, self._lines = flash, path, list[str]()

    def __enter__(self) -> _Crash:
        return self

    def __exit__(self, *error: object) -> None:
        self._flash.change(self._path, "".join(self._lines).encode())

    def write(self, text: str) -> None:
        """Add text."""
        self._lines.append(text)
