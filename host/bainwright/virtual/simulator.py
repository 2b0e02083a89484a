"""The process that simulates a board: one loop over the cable, the interpreter's messages and the user's commands."""

from __future__ import annotations

import os
import pickle
import select
import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, ClassVar

from bainwright.core.errors import BainError, UnsavedError
from bainwright.core.os_errors import reason
from bainwright.virtual import image
from bainwright.virtual.console import Console
from bainwright.virtual.event_queue import Effect, EventQueue
from bainwright.virtual.parent import end_with_parent
from bainwright.virtual.power_reset import CUT_US, PowerReset
from bainwright.virtual.shared_memory import SharedMemory
from bainwright.virtual.truth import TruthFile
from bainwright.virtual.wiring import Wiring

LOOK_S = 0.25  # real time between looks at what no message reports


@dataclass
class Config:
    """What a virtual board is made of; crosses to the simulator pickled."""

    rig: Any
    plant_spec: str | None = None
    scenario: Any = None
    seed: int = 0
    speed: float | None = None
    files: dict[str, bytes] = field(default_factory=dict)
    image: Path | None = None
    truth: Path | None = None
    make_world: Callable[..., Any] | None = None
    board: str | None = None
    interpreter: str | None = None  # the path of a MicroPython; None: the package's


class Simulator:
    """One virtual board.

    Parameters
    ----------
    config : Config
        What it is made of.
    control : Connection
        To the user's process: (command, arguments) in, (True, value) or (False, error) out.
    """

    def __init__(self, config: Config, control: Connection) -> None:
        self.config, self.control = config, control
        self.shared = SharedMemory()
        self._load_flash()
        self.truth = TruthFile(config.truth) if config.truth else None
        world = (config.make_world or _build_world)(config.rig, config.plant_spec, config.scenario, config.seed)
        self.wiring = Wiring(world, dict(config.rig.settings), self.shared, self.truth.append if self.truth else None)
        self.console = Console(self.shared)
        self.power = PowerReset(self.shared, self.wiring, self.console, config.board, config.interpreter)
        self.shared.speed = config.speed or 0.0
        self.events = EventQueue(self.shared, self.wiring, self.power)
        self._waiting = {"a": 0, "h": 0, "x": 0}  # answers due to the user, by the message that brings them
        self._open = True
        self._poll = select.poll()
        self._masks: dict[int, int] = {}
        self._control_fd = control.fileno()
        self._watch(self._control_fd, select.POLLIN)
        self._look_s = 0.0
        self._timeout_ms: int | None = None

    def _load_flash(self) -> None:
        path = self._unsaved = self.config.image
        self._claim = None if path is None else image.claimed(self.shared, self.config.interpreter, path)
        if path is None or not path.exists():
            image.build(self.shared, self.config.interpreter, image.pack(self.config.files))

    def run(self) -> None:
        """Serve until the user closes the board or ends."""
        self.power.power_on(0)
        self._answer(self.console.path)
        try:
            while self._open:
                self._turn()
        finally:
            self._close()

    def _close(self) -> None:
        """Save what the user did not wait for, and let go of everything."""
        try:
            self._save()
        except UnsavedError as failed:
            print(f"bain: {failed}", file=sys.stderr)
        if self._claim is not None:
            self._claim.release()
        self.console.close()
        if self.truth:
            self.truth.close()

    def _save(self) -> None:
        """End the interpreter and save the flash image, once."""
        self.power.end(self.power.now_us())
        path, self._unsaved = self._unsaved, None
        if path is not None:
            image.save(path, self.shared.flash)

    # -- the loop -----------------------------------------------------------------------------------------------------

    def _turn(self) -> None:
        now_s = time.monotonic()
        if now_s >= self._look_s or self.console.busy:
            self._look(now_s)
        console, child = self.console, self.power.child
        assert child is not None
        blocked = console.backed_up or self.shared.out_head != self.shared.out_tail
        self._watch(console.host, select.POLLIN | (select.POLLOUT if blocked else 0))
        self._watch(child.terminal, select.POLLIN if console.room else 0)
        self._watch(child.posts, select.POLLIN)
        ready = dict(self._poll.poll(self._timeout_ms))
        # Messages first: the interpreter sent them before it wrote to the terminal.
        if child.posts in ready:
            self._posts(child.posts)
            console.drain()
        if self.power.child is child and child.terminal in ready:
            console.read_terminal()
        event = ready.get(console.host, 0)
        if event & select.POLLOUT:
            console.drain()
        if event & select.POLLIN and self.power.child is child:
            console.read_host()
        if self._control_fd in ready:
            self._command()
        if self.power.child is not child:
            self._forget(child.terminal, child.posts)

    def _watch(self, fd: int, mask: int) -> None:
        if self._masks.get(fd) != mask:
            self._masks[fd] = mask
            self._poll.register(fd, mask)

    def _forget(self, *fds: int) -> None:
        for fd in fds:
            if self._masks.pop(fd, None) is not None:
                self._poll.unregister(fd)

    def _look(self, now_s: float) -> None:
        """Look at what no message reports, and set how long the next turn may wait."""
        power, console = self.power, self.console
        wait_s = min(LOOK_S, console.look() or LOOK_S)
        if console.kill_wanted:
            power.soft_reset(power.now_us())
        if not console.in_main and power.now_us() >= self.shared.next_event_us:
            self._exchange(power.now_us())
        power.look()
        if any(self._waiting.values()) and console.in_main and power.hung():
            self._do_owed(power.now_us())
        self._look_s, self._timeout_ms = now_s + wait_s, int(1000 * wait_s)

    # -- the interpreter's messages -----------------------------------------------------------------------------------

    def _posts(self, fd: int) -> None:
        kinds = os.read(fd, 64)
        if not kinds:  # it has ended by itself: Ctrl-D at the prompt, sys.exit, or a crash
            self.power.soft_reset(self.power.now_us())
            return
        child = self.power.child
        for kind in kinds:
            at_us = self.shared.get("post_us", self.power.post_number & 15)
            self.power.post_number += 1
            self._post(kind, at_us)
            if self.power.child is not child:
                return

    def _post(self, kind: int, at_us: int) -> None:
        child = self.power.child
        assert child is not None
        if kind < 4:
            self.wiring.advance(at_us)
            self.wiring.convert(kind)
            child.reply()
        elif kind == ord("x"):
            self._exchange(at_us)
            if self.power.child is child:
                child.reply()
        else:
            self._POSTS[kind](self, at_us)

    def _exchange(self, at_us: int) -> None:
        self.events.exchange(at_us)
        self._settle_user("x")

    def _arm_now(self, at_us: int) -> None:
        self.wiring.arm(at_us)
        self.events.look_ahead()
        self._settle_user("a")

    def _armed(self, at_us: int) -> None:
        self._arm_now(at_us)
        assert self.power.child is not None
        self.power.child.reply()

    def _goes(self, at_us: int) -> None:
        self.power.meter(at_us, True)

    def _held(self, at_us: int) -> None:
        self.power.meter(at_us, False)
        self._settle_user("h")

    def _main_ended(self, at_us: int) -> None:
        self.power.go_real(at_us)
        self._do_owed(at_us)

    def _do_owed(self, at_us: int) -> None:
        """Answer the user without the interpreter: it will not wait at its loop again."""
        self._settle_user("h")
        if self._waiting["a"]:
            self.shared.arm_wanted = 0
            self._arm_now(at_us)
        if self.events.has_pending:
            self._exchange(at_us)

    def _output(self, at_us: int) -> None:
        """The loop drains after every post."""

    def _reset(self, at_us: int) -> None:
        self.power.hard_reset("reset", at_us)

    def _bitten(self, at_us: int) -> None:
        self.power.hard_reset("watchdog", at_us)

    def _soft_reset(self, at_us: int) -> None:
        self.power.soft_reset(at_us)

    def _flash_cut(self, at_us: int) -> None:
        self.events.cut(at_us, CUT_US)

    _POSTS: ClassVar[dict[int, Callable[[Simulator, int], None]]] = {
        ord("a"): _armed, ord("h"): _held, ord("g"): _goes, ord("e"): _main_ended, ord("o"): _output,
        ord("r"): _reset, ord("w"): _bitten, ord("s"): _soft_reset, ord("c"): _flash_cut,
    }

    # -- the user's commands ------------------------------------------------------------------------------------------

    def _command(self) -> None:
        try:
            name, args = self.control.recv()
        except (EOFError, OSError):  # the user's process has ended
            self._open = False
            return
        try:
            self._COMMANDS[name](self, *args)
        except BainError as error:
            self.control.send((False, error))

    def _answer(self, value: Any = None) -> None:
        try:
            self.control.send((True, value))
        except OSError:  # the user's process has ended
            self._open = False

    def _settle_user(self, post: str) -> None:
        while self._waiting[post]:
            self._waiting[post] -= 1
            self._answer()

    def _notify(self) -> None:
        self.shared.notices += 1
        if self.power.child is not None:
            self.power.child.wake()

    def _do_run(self, running: bool) -> None:
        changed = bool(self.shared.running) != running
        self.shared.running = int(running)
        self._notify()
        if changed and not running and self.console.in_main:
            self._waiting["h"] += 1  # a hold is answered when time has stopped; a run begins at the next wait
        else:
            self._answer()

    def _do_arm(self) -> None:
        if self.wiring.armed_us is not None:
            self._answer()
            return
        self._waiting["a"] += 1
        if self.console.in_main:
            self.shared.arm_wanted = 1
            self._notify()
        else:
            self._arm_now(self.power.now_us())

    def _do_speed(self, speed: float | None) -> None:
        self.shared.speed = speed or 0.0
        self._notify()
        self._answer()

    def _do_press(self, button: str, for_ms: int) -> None:
        self._at_next_exchange(self.events.press(button, for_ms))

    def _do_fault(self, name: str, on: bool) -> None:
        self.wiring.check_fault(name)
        self._at_next_exchange(lambda at_us: self.wiring.fault(name, on))

    def _do_apply_event(self, event: Any, after_s: float) -> None:
        self.wiring.world.check_event(event)
        self._at_next_exchange(self.events.scenario_effect(event, round(after_s * 1e6)))

    def _do_hand(self, probe: str, on: bool, temp_c: float, within_s: float) -> None:
        self._at_next_exchange(lambda at_us: self.wiring.hand(probe, on, temp_c, within_s))

    def _do_power_cut(self, for_s: float) -> None:
        self._at_next_exchange(lambda at_us: self.events.cut(at_us, round(for_s * 1e6)))

    def _at_next_exchange(self, effect: Effect) -> None:
        """Apply an effect at exactly the interpreter's present time."""
        self.events.add(effect)
        self._waiting["x"] += 1
        if self.console.in_main:
            self.shared.exchange_wanted = 1
            self._notify()
        else:
            self._exchange(self.power.now_us())

    def _do_cut_flash_at(self, operation: int, torn: bool) -> None:
        self.shared.flash_cut_torn = int(torn)
        self.shared.flash_cut_at = self.shared.flash_operations + operation
        self._answer()

    def _do_report(self) -> None:
        power = self.power
        if self.truth:
            self.truth.flush()
        power.meter(power.now_us(), bool(self.shared.running) and self.console.in_main)
        self._answer({
            "dead": self.wiring.world.dead,
            "raw_probes": self.wiring.world.raw_probes,
            "resets": list(power.resets),
            "power_cuts": self.events.power_cuts,
            "stalled": bool(self.shared.stalled),
            "simulated_s": power.simulated_us / 1e6, "wall_s": power.wall_s,
            "now_s": (power.now_us() - (self.wiring.armed_us or 0)) / 1e6,
            "armed": self.wiring.armed_us is not None,
            "in_main": self.console.in_main,
            "flash_erases": self.shared.flash_erases,
            "flash_operations": self.shared.flash_operations,
            "pins": [self.shared.get("pins", number) for number in range(48)],
            "faults": sorted(self.wiring.faults),
        })

    def _do_save(self) -> None:
        self._open = False
        self._save()
        self._answer()

    def _do_flash(self) -> None:
        self._answer(self.shared.flash)

    def _do_display(self) -> None:
        self._answer((bool(self.shared.display_fitted), self.shared.display_state, self.shared.display))

    _COMMANDS: ClassVar[dict[str, Callable[..., None]]] = {
        "run": _do_run, "arm": _do_arm, "speed": _do_speed, "press": _do_press, "fault": _do_fault,
        "apply_event": _do_apply_event, "power_cut": _do_power_cut, "hand": _do_hand, "cut_flash_at": _do_cut_flash_at,
        "report": _do_report, "flash": _do_flash, "display": _do_display, "save": _do_save,
    }


def _build_world(*what: Any) -> Any:
    from bainwright.virtual.world import build_world

    return build_world(*what)


def main(control_fd: int) -> None:
    """Run a simulator on an inherited control connection."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C in the user's terminal is the user's process's matter
    signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    end_with_parent()
    control = Connection(control_fd)
    try:
        config: Config = pickle.loads(control.recv_bytes())
        simulator = Simulator(config, control)
    except BainError as error:
        control.send((False, error))
        return
    try:
        simulator.run()
    except OSError as failed:  # of the file of true temperatures: no room
        sys.exit(f"bain: the virtual board ended: {reason(failed)}")


if __name__ == "__main__":
    main(int(sys.argv[1]))
