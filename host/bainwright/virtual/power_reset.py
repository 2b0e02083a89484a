"""Power, resets and the interpreter's life: what happens to the board as a whole."""

from __future__ import annotations

import time
from typing import Any

from bainboard import pin_check, pins
from bainwright.virtual import child as interpreter
from bainwright.virtual.child import Child
from bainwright.virtual.console import Console
from bainwright.virtual.probe_ids import BOARD_KIND
from bainwright.virtual.shared_memory import SharedMemory
from bainwright.virtual.standins._shared import POWER_ON_CAUSE, WATCHDOG_CAUSE
from bainwright.virtual.wiring import Wiring

RESET_US = 100_000  # a reset until main.py, chosen; boards take 0.1 to 1 s
CUT_US = 1_000_000  # how long a power cut armed on the flash lasts
DAY_CLOCK_START_S = 1_609_459_200  # 2021-01-01: what the rp2 port's clock of the day says after power-on
HANG_CPU_S = 1.0  # processor time without a sign of life that counts as hung; a board would need minutes for as much


class PowerReset:
    """Starts and ends interpreters on one shared memory, and keeps account of it.

    Attributes
    ----------
    resets : list of dict
        ``cause`` (watchdog, reset, soft, power_cut, crash) and ``t_s``, virtual seconds since `arm` (or power-on).
    """

    def __init__(self, shared: SharedMemory, wiring: Wiring, console: Console) -> None:
        self.shared, self.wiring, self.console = shared, wiring, console
        self.pin_numbers = pin_check.settle(BOARD_KIND, wiring.settings)[0] or pins.RP2
        self.child: Child | None = None
        self.post_number = 0
        self.resets: list[dict[str, Any]] = []
        self.simulated_us, self.wall_s = 0, 0.0
        self._running_since: tuple[int, float] | None = None
        self._real_since = (0, 0.0)
        self._life: tuple[int, ...] = ()
        self._life_cpu_s = 0.0

    # -- time ---------------------------------------------------------------------------------------------------------

    def now_us(self) -> int:
        """Virtual time: what the interpreter told last, or real time when main.py does not run."""
        if self.console.in_main:
            return int(self.shared.now_us)
        began_us, began_s = self._real_since
        return began_us + int((time.monotonic() - began_s) * 1e6)

    def go_real(self, now_us: int) -> None:
        """main.py has ended: virtual time is real time now."""
        self.meter(now_us, False)
        self._real_since = (now_us, time.monotonic())
        self.console.main_ended()

    def meter(self, now_us: int, running: bool) -> None:
        """Account for simulated and wall time while the firmware runs."""
        if self._running_since is not None:
            began_us, began_s = self._running_since
            self.simulated_us += now_us - began_us
            self.wall_s += time.monotonic() - began_s
        self._running_since = (now_us, time.monotonic()) if running else None

    # -- the interpreter's life ---------------------------------------------------------------------------------------

    def boot(self, now_us: int, run_main: bool = True) -> None:
        """Start an interpreter at this instant."""
        shared = self.shared
        shared.now_us, shared.resting, shared.stalled = now_us, 0, 0
        self.post_number = 0
        self.meter(now_us, bool(shared.running))
        self.child = interpreter.start(shared, run_main, pin_numbers=self.pin_numbers)
        self.console.attach(self.child, raw=not run_main)

    def power_on(self, now_us: int) -> None:
        """Everything volatile is as new."""
        shared = self.shared
        self.wiring.power_up()
        shared.darken()
        shared.boot_us, shared.watchdog_us, shared.reset_cause = now_us, 0, POWER_ON_CAUSE
        shared.rtc_us = DAY_CLOCK_START_S * 1_000_000 - now_us
        self.boot(now_us)

    def _lose_input(self) -> None:
        """What the host wrote and nobody read is gone with a hard reset."""
        self.shared.in_tail = self.shared.in_head

    def end(self, now_us: int) -> None:
        """Kill the interpreter; its last output still reaches the host."""
        if self.child is None:
            return
        self.child.kill()
        self.console.take_rest()
        self.console.say(self.child.last_output())
        self.child.close()
        self.child = None
        self.wiring.advance(now_us)

    def power_cut(self, now_us: int, for_us: int) -> None:
        """No supply for a while: no heat, nothing runs, the warmer cools; then it starts afresh."""
        self._note("power_cut", now_us)
        self.end(now_us)
        self.wiring.lower_pins()
        self._lose_input()
        self.wiring.advance(now_us + for_us)
        self.power_on(now_us + for_us)

    def hard_reset(self, cause: str, now_us: int) -> None:
        """Watchdog, or machine.reset()."""
        self._note(cause, now_us)
        self.end(now_us)
        self.wiring.lower_pins()
        self._lose_input()
        then_us = now_us + RESET_US
        self.wiring.advance(then_us)
        self.shared.boot_us, self.shared.watchdog_us, self.shared.reset_cause = then_us, 0, WATCHDOG_CAUSE
        self.boot(then_us)

    def soft_reset(self, now_us: int) -> None:
        """The interpreter restarts; pins keep their level and the watchdog runs on."""
        self._note("soft", now_us)
        raw = self.console.raw_prompt and not self.console.in_main
        self.end(now_us)
        self.console.say(b"MPY: soft reboot\r\n")
        self.boot(now_us, run_main=not raw)

    def _note(self, cause: str, now_us: int) -> None:
        zero_us = self.wiring.armed_us or 0
        self.resets.append({"cause": cause, "t_s": (now_us - zero_us) / 1e6})

    # -- what no message tells ----------------------------------------------------------------------------------------

    def look(self) -> None:
        """The watchdog where the interpreter cannot see it: at the prompt, and in code that never comes back."""
        bite_us = self.shared.watchdog_us
        if not bite_us or self.child is None:
            return
        if not self.console.in_main:
            if self.now_us() >= bite_us:
                self.hard_reset("watchdog", bite_us)
        elif self.shared.running and self.hung():
            self.hard_reset("watchdog", bite_us)

    def hung(self) -> bool:
        """Has the interpreter computed for long without touching anything of the board?"""
        shared, child = self.shared, self.child
        if child is None:
            return False
        life = (child.pid, self.post_number, shared.now_us, shared.watchdog_us, shared.out_head, shared.resting)
        cpu_s = child.cpu_s()
        if life != self._life or shared.resting:
            self._life, self._life_cpu_s = life, cpu_s
        return cpu_s - self._life_cpu_s > HANG_CPU_S
