"""Effects on the board at an exact virtual time: a scenario's actions, and the user's commands."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bainboard import wire
from bainwright.core.errors import UseError
from bainwright.virtual.power_reset import PowerReset
from bainwright.virtual.scenario_effects import INJECTED_ID
from bainwright.virtual.shared_memory import SharedMemory
from bainwright.virtual.wiring import Wiring

BUTTONS = {"yes": 1, "no": 2, "recessed": 4}

Effect = Callable[[int], None]  # called with the virtual time, µs


class EventQueue:
    """Applies effects when they are due; the interpreter stops for them.

    Attributes
    ----------
    power_cuts : int
        How many there were.
    """

    def __init__(self, shared: SharedMemory, wiring: Wiring, power: PowerReset) -> None:
        self.shared, self.wiring, self.power = shared, wiring, power
        self.power_cuts = 0
        self._injected = 0
        self._pending: list[Effect] = []  # for the interpreter's next exchange
        self._timers: list[tuple[int, Effect]] = []
        self.look_ahead()

    @property
    def has_pending(self) -> bool:
        """Whether an effect waits for the next exchange."""
        return bool(self._pending)

    def add(self, effect: Effect) -> None:
        """Apply an effect at the interpreter's next exchange."""
        self._pending.append(effect)

    def exchange(self, at_us: int) -> None:
        """Bring the world to this time and apply what is due."""
        self.wiring.advance(at_us)
        actions, self.wiring.actions = self.wiring.actions, []
        for action in actions:
            self._act(action, at_us)
        due = [effect for due_us, effect in self._timers if due_us <= at_us]
        self._timers = [timer for timer in self._timers if timer[0] > at_us]
        pending, self._pending = self._pending, []
        self.shared.exchange_wanted = 0
        for effect in due + pending:
            effect(at_us)
        self.look_ahead()

    def look_ahead(self) -> None:
        """Set where the interpreter stops next."""
        self.shared.next_event_us = min([self.wiring.next_event_us, *(due_us for due_us, _ in self._timers)])

    # -- the effects --------------------------------------------------------------------------------------------------

    def _act(self, action: Any, at_us: int) -> None:
        """Carry out a scenario's action: a request, a power cut, or a part that breaks or is repaired."""
        if hasattr(action, "fields"):
            self._injected += 1
            line: bytes = wire.encode([("id", INJECTED_ID + self._injected), *action.fields.items()])
            self.shared.feed(line)
        elif hasattr(action, "for_s"):
            self.cut(at_us, round(action.for_s * 1e6))
        else:
            self.wiring.fault(action.name, action.on)

    def cut(self, at_us: int, for_us: int) -> None:
        """Cut the supply for a while."""
        self.power_cuts += 1
        self.power.power_cut(at_us, for_us)
        missed, self.wiring.actions = self.wiring.actions, []
        for action in missed:  # a request to a board without supply is lost; a part that broke stays broken
            if not hasattr(action, "fields") and not hasattr(action, "for_s"):
                self.wiring.fault(action.name, action.on)
        self.look_ahead()

    def scenario_effect(self, event: Any, after_us: int) -> Effect:
        """What a scenario's event does to the warmer, `after_us` later."""

        def do(_: int) -> None:
            self.wiring.world.apply_event(event)

        def put_off(at_us: int) -> None:
            self._timers.append((at_us + after_us, do))

        return put_off if after_us else do

    def press(self, button: str, for_ms: int) -> Effect:
        """Press a button and release it `for_ms` later."""
        if button not in BUTTONS:
            raise UseError("there is no such button", got=button, wanted="one of " + ", ".join(BUTTONS))
        bit = BUTTONS[button]

        def down(at_us: int) -> None:
            self.shared.buttons |= bit
            self._timers.append((at_us + 1000 * for_ms, up))

        def up(at_us: int) -> None:
            self.shared.buttons &= ~bit

        return down
