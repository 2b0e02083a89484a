"""A board's hardware for the firmware under CPython: clock, pins and streams, in this process.

An integer clock in microseconds moves through waits, bus transfers and the cost of calls. `Wiring` turns the pins'
edges into heat. `python_modules` is what the firmware imports of it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NoReturn

from bainboard import pins as pin_table
from bainwright.virtual.python_flash import Flash
from bainwright.virtual.standins._shared import BEAT_BIT, GUARD_BIT
from bainwright.virtual.wiring import Wiring

PINS = pin_table.for_platform("rp2")
HEATER, GUARD, BEAT = PINS["heater"], PINS["guard"], PINS["heartbeat"]
FULL = 65535
CALL_US = 2  # what a time call costs, as on the virtual board
BOOT_US = 1_000_000
TICKS = 1 << 30  # ticks wrap here
NEVER = 1 << 62


class ResetError(BaseException):
    """The board restarts, by `machine.reset` or by its watchdog; the firmware cannot catch this."""

    def __init__(self, cause: str) -> None:
        super().__init__(cause)
        self.cause = cause


class CaseOverError(BaseException):
    """The run has reached its end; the firmware cannot catch this."""


class DeskMemory:
    """What the wiring shares with the board: readings, probe states, edges."""

    def __init__(self) -> None:
        self.bus = self.float_wet = 0
        self.edge_head = self.edge_tail = self._first = 0
        self._edges: list[tuple[int, int]] = []
        self.arrays: dict[str, list[int]] = {name: [0, 0] for name in ("kind", "rom", "fresh", "reading", "status")}
        self.arrays["pins"] = [0] * 48

    def put(self, name: str, at: int, value: int) -> None:
        """One element of a field."""
        self.arrays[name][at] = value

    def get(self, name: str, at: int) -> int:
        """One element of a field."""
        return self.arrays[name][at]

    def add_edge(self, at_us: int, word: int) -> None:
        """Record that an output changed."""
        if self.edge_tail == self.edge_head:
            self._edges.clear()
            self._first = self.edge_head
        self._edges.append((at_us, word))
        self.edge_head += 1

    def edge(self, number: int) -> tuple[int, int]:
        """An edge that the wiring has not used yet."""
        return self._edges[number - self._first]


class Desk:
    """One board's hardware and its clock.

    Attributes
    ----------
    now_us : int
        Virtual time; never goes back, whatever the firmware's ticks do.
    on_event : callable
        Called when the clock reaches the wiring's next event or one set by `at`.
    cause : str
        Why the board last started.
    heard : bytearray
        What the host has written and the firmware has not read.
    host_reads : bool
        Whether the output has room.
    take : callable
        Takes the board's output; returns how many bytes it took.
    """

    def __init__(self, world: Any, settings: dict[str, Any], flash: Flash, keep_row: Callable[[Any], None]) -> None:
        self.shared = DeskMemory()
        self.wiring = Wiring(world, settings, self.shared, keep_row)  # type: ignore[arg-type]
        self.flash = flash
        flash.spend = self.charge
        self.now_us = self.boot_us = 0
        self.ticks_ahead_ms = 0  # what a clock fault adds to the ticks, or how near a wrap they begin
        self.cause = "PWRON_RESET"
        self.buttons = 0
        self.heard = bytearray()
        self.host_reads = True
        self.take: Callable[[bytes], int] = len
        self.on_event: Callable[[], None] = lambda: None
        self.timers: list[tuple[int, Callable[[], None]]] = []
        self.watchdog_fed = True  # False: the watchdog is broken and never bites
        self._watchdog_us = NEVER
        self._limit_us = NEVER
        self._heat = 0
        self.dead = False
        self.died: BaseException | None = None  # what ended the firmware, whatever its handlers made of it

    # -- the clock ----------------------------------------------------------------------------------------------------

    def at(self, us: int, act: Callable[[], None]) -> None:
        """Call `act` at a virtual time."""
        self.timers.append((us, act))
        self.timers.sort(key=lambda timer: timer[0])
        self._look_ahead()

    def _look_ahead(self) -> None:
        timer_us = self.timers[0][0] if self.timers else NEVER
        self._limit_us = min(timer_us, self.wiring.next_event_us, self._watchdog_us)

    def charge(self, us: int) -> None:
        """Time spent inside a call."""
        self.now_us += us

    def stamp(self) -> int:
        """One time call."""
        self.now_us += CALL_US
        if self.now_us >= self._limit_us:
            self._cross()
        return self.now_us

    def pass_until(self, target_us: int, until_heard: bool = False) -> None:
        """Sleep; what is due meanwhile happens at its time."""
        while self.now_us < target_us and not (until_heard and self.heard):
            self.now_us = max(self.now_us, min(target_us, self._limit_us))
            if self.now_us >= self._limit_us:
                self._cross()

    def _cross(self) -> None:
        if self._watchdog_us <= self.now_us:
            self.die(ResetError("WDT_RESET"))
        self.wiring.advance(self.now_us)
        while self.timers and self.timers[0][0] <= self.now_us:
            self.timers.pop(0)[1]()
        self.on_event()
        self._look_ahead()

    def hang(self, for_us: int) -> None:
        """Give the firmware no time for `for_us`: pins stay, the watchdog counts."""
        end_us = self.now_us + for_us
        if self._watchdog_us <= end_us:
            self.now_us = self._watchdog_us
            self.die(ResetError("WDT_RESET"))
        self.now_us = end_us

    def die(self, how: BaseException) -> NoReturn:
        """End the firmware; what its handlers still do has no effect."""
        self.dead = self.flash.dead = True
        self.died = how
        raise how

    def ticks_ms(self) -> int:
        """The port's millisecond counter: wraps."""
        return ((self.stamp() - self.boot_us) // 1000 + self.ticks_ahead_ms) % TICKS

    def feed(self, timeout_ms: int) -> None:
        """Put the watchdog's bite off."""
        if self.watchdog_fed:
            self._watchdog_us = self.stamp() + timeout_ms * 1000
            self._look_ahead()

    # -- starting and ending ------------------------------------------------------------------------------------------

    def restart(self, cause: str, dark_us: int = 0) -> None:
        """Set the pins low; after a power cut clear the probes too."""
        self._watchdog_us = NEVER
        self.wiring.advance(self.now_us)
        if dark_us:
            self.wiring.power_up()
        else:
            self.wiring.lower_pins()
        self._heat = 0
        self.cause = cause
        self.heard.clear()
        self.dead = self.flash.dead = False
        self.died = None
        self._look_ahead()
        self.now_us += dark_us  # what was due meanwhile happens at the next time call
        self.boot_us = self.now_us
        self.wiring.advance(self.now_us)

    # -- outputs ------------------------------------------------------------------------------------------------------

    def drive(self, number: int, level: int) -> None:
        """Set an output pin."""
        if self.dead:
            return
        pins = self.shared.arrays["pins"]
        changed = pins[number] != level
        pins[number] = level
        if number == HEATER:
            self.heat(FULL if level else 0)
        elif changed and number == GUARD:
            self._edge(0)
        elif changed and number == BEAT:
            self._edge(BEAT_BIT)

    def heat(self, word: int) -> None:
        """Set the heater switch's level of 65535."""
        if word != self._heat and not self.dead:
            self._heat = word
            self.shared.arrays["pins"][HEATER] = 1 if word else 0
            self._edge(0)

    def _edge(self, beat: int) -> None:
        guard = GUARD_BIT if self.shared.arrays["pins"][GUARD] else 0
        self.shared.add_edge(self.now_us, self._heat << 8 | guard | beat)

    @property
    def heater_level(self) -> int:
        """The heater pin's word."""
        return self._heat

    @property
    def guard_level(self) -> int:
        """The guard pin."""
        return int(self.shared.arrays["pins"][GUARD])

    def convert(self, mask: int) -> None:
        """Readings of the probes in the mask, for now."""
        self.wiring.advance(self.now_us)
        self.wiring.convert(mask)
