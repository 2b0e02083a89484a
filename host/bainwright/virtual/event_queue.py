"""What happens to the board at an exact virtual instant: a scenario's actions, and what the user wishes for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bainboard import wire
from bainwright.core.errors import UseError
from bainwright.virtual.power_reset import PowerReset
from bainwright.virtual.shared_memory import SharedMemory
from bainwright.virtual.wiring import Wiring

BUTTONS = {"yes": 1, "no": 2, "recessed": 4}
INJECTED_ID = 1_000_000  # ids of requests a scenario makes start after this, out of the host's way

Effect = Callable[[int], None]  # called with the virtual instant, µs


class EventQueue:
    """Carries out what is due whenever the interpreter has stopped for it.

    Attributes
    ----------
    power_cuts : int
        How many there were.
    """

    def __init__(self, shared: SharedMemory, wiring: Wiring, power: PowerReset) -> None:
        self.shared, self.wiring, self.power = shared, wiring, power
        self.power_cuts = 0
        self._injected = 0
        self._next: list[Effect] = []  # for the interpreter's next exchange
        self._timers: list[tuple[int, Effect]] = []
        self.look_ahead()

    @property
    def wished(self) -> bool:
        """Does something wait for the next exchange?"""
        return bool(self._next)

    def soon(self, happening: Effect) -> None:
        """At the interpreter's next exchange."""
        self._next.append(happening)

    def exchange(self, at_us: int) -> None:
        """Bring the world to this instant and carry out what is due."""
        self.wiring.advance(at_us)
        actions, self.wiring.actions = self.wiring.actions, []
        for action in actions:
            self._act(action, at_us)
        due = [happening for due_us, happening in self._timers if due_us <= at_us]
        self._timers = [timer for timer in self._timers if timer[0] > at_us]
        wished, self._next = self._next, []
        self.shared.exchange_wanted = 0
        for happening in due + wished:
            happening(at_us)
        self.look_ahead()

    def look_ahead(self) -> None:
        """Tell the interpreter where to stop next."""
        self.shared.next_event_us = min([self.wiring.next_event_us, *(due_us for due_us, _ in self._timers)])

    # -- each of them -------------------------------------------------------------------------------------------------

    def _act(self, action: Any, at_us: int) -> None:
        """A scenario's action: a request someone makes, a power cut, or a part that breaks or is mended."""
        if hasattr(action, "fields"):
            self._injected += 1
            line: bytes = wire.encode([("id", INJECTED_ID + self._injected), *action.fields.items()])
            self.shared.feed(line)
        elif hasattr(action, "for_s"):
            self.cut(at_us, round(action.for_s * 1e6))
        else:
            self.wiring.fault(action.name, action.on)

    def cut(self, at_us: int, for_us: int) -> None:
        """No supply for a while."""
        self.power_cuts += 1
        self.power.power_cut(at_us, for_us)
        missed, self.wiring.actions = self.wiring.actions, []
        for action in missed:  # a request made to a dark board is lost; a part that breaks is broken
            if not hasattr(action, "fields") and not hasattr(action, "for_s"):
                self.wiring.fault(action.name, action.on)
        self.look_ahead()

    def matter(self, event: Any, after_us: int) -> Effect:
        """What a scenario's event does to the warmer, so much later."""

        def do(_: int) -> None:
            self.wiring.world.apply_event(event)

        def put_off(at_us: int) -> None:
            self._timers.append((at_us + after_us, do))

        return put_off if after_us else do

    def press(self, button: str, for_ms: int) -> Effect:
        """A button goes down, and up again later."""
        if button not in BUTTONS:
            raise UseError("no such button", got=button, wanted="one of " + ", ".join(BUTTONS))
        bit = BUTTONS[button]

        def down(at_us: int) -> None:
            self.shared.buttons |= bit
            self._timers.append((at_us + 1000 * for_ms, up))

        def up(at_us: int) -> None:
            self.shared.buttons &= ~bit

        return down
