"""Power and resets: when the board's interpreter starts, and when and how it ends."""

from __future__ import annotations

import time
from typing import Any

from bainboard import pin_check, pins
from bainwright.virtual import child as interpreter
from bainwright.virtual.board_models import model_of
from bainwright.virtual.child import Child
from bainwright.virtual.console import Console
from bainwright.virtual.shared_memory import SharedMemory
from bainwright.virtual.standins._shared import POWER_ON_CAUSE, WATCHDOG_CAUSE
from bainwright.virtual.wiring import Wiring

RESET_US = 100_000  # from a reset to main.py, chosen; boards take 0.1 to 1 s
CUT_US = 1_000_000  # length of a power cut at a flash operation
DAY_CLOCK_START_S = 1_609_459_200  # 2021-01-01: the rp2 port's date after power-on
HANG_CPU_S = 1.0  # processor time without any call that counts as hung; a board would need minutes for as much


class PowerReset:
    """Starts and ends the interpreters of one board, and records why.

    Attributes
    ----------
    resets : list of dict
        ``cause`` (watchdog, reset, soft, power_cut, crash) and ``t_s``, virtual seconds since `arm` (or power-on).
    """

    def __init__(self, shared: SharedMemory, wiring: Wiring, console: Console, board: str | None = None,
                 path: str | None = None) -> None:  # fmt: skip
        self.shared, self.wiring, self.console, self.path = shared, wiring, console, path
        self.model, self.timed = model_of(board), board is not None
        kind = self.model.kind
        self.pin_numbers = pin_check.settle(kind, wiring.settings)[0] or pins.for_platform(kind)
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
        """Virtual time as the interpreter last reported it; real time when main.py does not run."""
        if self.console.in_main:
            return int(self.shared.now_us)
        began_us, began_s = self._real_since
        return began_us + int((time.monotonic() - began_s) * 1e6)

    def go_real(self, now_us: int) -> None:
        """main.py has ended: from here on virtual time is real time."""
        self.meter(now_us, False)
        self._real_since = (now_us, time.monotonic())
        self.console.main_ended()

    def meter(self, now_us: int, running: bool) -> None:
        """Count simulated and wall time while the firmware runs."""
        if self._running_since is not None:
            began_us, began_s = self._running_since
            self.simulated_us += now_us - began_us
            self.wall_s += time.monotonic() - began_s
        self._running_since = (now_us, time.monotonic()) if running else None

    # -- the interpreter's life ---------------------------------------------------------------------------------------

    def boot(self, now_us: int, run_main: bool = True) -> None:
        """Start an interpreter at this virtual time."""
        shared = self.shared
        shared.now_us, shared.resting, shared.stalled = now_us, 0, 0
        self.post_number = 0
        self.meter(now_us, bool(shared.running))
        self.child = interpreter.start(shared, self.path, run_main, pin_numbers=self.pin_numbers, model=self.model,
                                       timed=self.timed)  # fmt: skip
        self.console.attach(self.child, raw=not run_main)

    def power_on(self, now_us: int) -> None:
        """Start with all volatile state cleared."""
        shared = self.shared
        self.wiring.power_up()
        shared.darken()
        shared.boot_us, shared.watchdog_us, shared.reset_cause = now_us, 0, POWER_ON_CAUSE
        shared.rtc_us = DAY_CLOCK_START_S * 1_000_000 - now_us
        self.boot(now_us)

    def _lose_input(self) -> None:
        """Drop unread input, as a hard reset does."""
        self.shared.in_tail = self.shared.in_head

    def end(self, now_us: int) -> None:
        """End the interpreter; its last output still reaches the host."""
        if self.child is None:
            return
        self.child.kill()
        self.console.take_rest()
        self.console.say(self.child.last_output())
        self.child.close()
        self.child = None
        self.wiring.advance(now_us)

    def power_cut(self, now_us: int, for_us: int) -> None:
        """Cut the supply for a while: nothing runs, nothing heats, the warmer cools. Then power on."""
        self._note("power_cut", now_us)
        self.end(now_us)
        self.wiring.lower_pins()
        self._lose_input()
        self.wiring.advance(now_us + for_us)
        self.power_on(now_us + for_us)

    def hard_reset(self, cause: str, now_us: int) -> None:
        """Reset by the watchdog or by machine.reset()."""
        self._note(cause, now_us)
        self.end(now_us)
        self.wiring.lower_pins()
        self._lose_input()
        then_us = now_us + RESET_US
        self.wiring.advance(then_us)
        self.shared.boot_us, self.shared.watchdog_us, self.shared.reset_cause = then_us, 0, WATCHDOG_CAUSE
        self.boot(then_us)

    def soft_reset(self, now_us: int) -> None:
        """Restart the interpreter; pins keep their level and the watchdog keeps running."""
        self._note("soft", now_us)
        raw = self.console.raw_prompt and not self.console.in_main
        self.end(now_us)
        self.console.say(b"MPY: soft reboot\r\n")
        self.boot(now_us, run_main=not raw)

    def _note(self, cause: str, now_us: int) -> None:
        zero_us = self.wiring.armed_us or 0
        self.resets.append({"cause": cause, "t_s": (now_us - zero_us) / 1e6})

    # -- what no message reports --------------------------------------------------------------------------------------

    def look(self) -> None:
        """Run the watchdog where the interpreter cannot: at the prompt, and in code that never returns."""
        bite_us = self.shared.watchdog_us
        if not bite_us or self.child is None:
            return
        if not self.console.in_main:
            if self.now_us() >= bite_us:
                self.hard_reset("watchdog", bite_us)
        elif self.shared.running and self.hung():
            self.hard_reset("watchdog", bite_us)

    def hung(self) -> bool:
        """Whether the interpreter has computed for long without using any part of the board."""
        shared, child = self.shared, self.child
        if child is None:
            return False
        life = (child.pid, self.post_number, shared.now_us, shared.watchdog_us, shared.out_head, shared.resting)
        cpu_s = child.cpu_s()
        if life != self._life or shared.resting:
            self._life, self._life_cpu_s = life, cpu_s
        return cpu_s - self._life_cpu_s > HANG_CPU_S
