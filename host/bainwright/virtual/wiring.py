"""The wiring round the board: its pins' edges become heat, temperatures become readings, and faults come between."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any, Protocol, get_args

from bainboard.drivers.platinum import platinum_ohm
from bainwright.core.errors import UseError
from bainwright.virtual.scenario import FaultName
from bainwright.virtual.shared_memory import NEVER, SharedMemory
from bainwright.virtual.standins._shared import BEAT_BIT, GUARD_BIT

SECOND_US = 1_000_000
GATE_US = 2 * SECOND_US  # the guard's gate opens when the heartbeat has not moved for this long
FULL = 65535
PLACES = ("water", "bowl")
ABSENT, ANSWERS_85, SPOILT = 1, 2, 3  # shared.status
BUS_LOW, BUS_DEAD = 1, 2  # shared.bus
KELVIN = 273.15
ROOM_K = 298.15  # NTC resistances are quoted at 25 °C
RATIO_FULL = 0xFFFE  # the platinum probe's converter at its end
HAND_C, HAND_S = 33.0, 20.0  # a palm, and its time constant on a steel tube; chosen
CONVERTER_STEP = 16  # a 12-bit converter whose word is scaled to 16 bits

FAULTS = get_args(FaultName)  # a scenario may name each of them


class WorldLike(Protocol):
    """What the wiring needs of a world (see `bainwright.virtual.world.World`)."""

    dead: str | None
    raw_probes: bool

    def arm(self, now_us: int) -> None: ...
    def advance(self, power_w: float, dt_us: int) -> None: ...
    def probe_c(self, name: str) -> float | None: ...
    def next_event_us(self) -> int | None: ...
    def due(self, now_us: int) -> list[Any]: ...
    def truth_row(self, now_us: int) -> Iterable[float]: ...
    def check_event(self, event: Any) -> None: ...
    def apply_event(self, event: Any) -> None: ...


class Wiring:
    """Connects the board's pins with the world, and keeps the two at the same virtual time.

    Parameters
    ----------
    world : WorldLike
        The warmer.
    settings : dict
        The rig's settings by dotted name.
    shared : SharedMemory
        Source of edges, destination of readings.
    keep_row : callable or None
        Called with each truth row, once a second after `arm`.
    """

    def __init__(
        self, world: WorldLike, settings: dict[str, Any], shared: SharedMemory,
        keep_row: Callable[[Iterable[float]], None] | None,
    ) -> None:
        self.world, self.shared, self.keep_row = world, shared, keep_row
        self.settings = settings
        self.heater_w = float(settings["heater_w"])
        self.has_guard = bool(settings["guard"])
        self.now_us = 0
        self.armed_us: int | None = None
        self.faults: set[str] = set()
        self.actions: list[Any] = []  # due, not yet carried out
        self._next_row_us = NEVER
        self._next_event_us = NEVER
        self._level, self._guard, self._beat_us = 0, False, -GATE_US
        self._held: dict[str, float | None] = {}
        self._hands: dict[str, tuple[int, float, float, float]] = {}  # probes held: since µs, from °C, in °C, within s
        self._wire_probes()
        self._wire_display()
        self._wire_float()

    def _wire_float(self) -> None:
        self.shared.float_wet = int(self.settings["float"] and "water_low" not in self.faults)

    def _wire_display(self) -> None:
        self.shared.display_fitted = int(self.settings["display"] and "display_open" not in self.faults)

    def _wire_probes(self) -> None:
        for place, name in enumerate(PLACES):
            kind = ("none", "onewire", "ntc", "platinum").index(self.settings[f"probe.{name}.kind"])
            self.shared.put("kind", place, kind)
            self.shared.put("rom", place, rom_word(self.settings[f"probe.{name}.rom"], place))

    def power_up(self) -> None:
        """Reset what a power cut clears: pins, scratchpads, the heartbeat's charge."""
        for number in range(48):
            self.shared.put("pins", number, 0)
        for place in range(2):
            self.shared.put("fresh", place, 1)
        self.lower_pins()

    def lower_pins(self) -> None:
        """Hard reset: set every output low."""
        for number in range(48):
            self.shared.put("pins", number, 0)
        self._level, self._guard = 0, False
        self.shared.edge_tail = self.shared.edge_head

    # -- time ---------------------------------------------------------------------------------------------------------

    def arm(self, now_us: int) -> None:
        """Set time zero of scenario and plant."""
        self.now_us = self.armed_us = now_us
        self.world.arm(now_us)
        self._next_row_us = now_us + SECOND_US
        self._look_ahead()

    def advance(self, to_us: int) -> None:
        """Bring the world to this time, edge by edge."""
        shared = self.shared
        tail, head = shared.edge_tail, shared.edge_head
        while tail < head:
            at_us, word = shared.edge(tail)
            if at_us > to_us:
                break
            self._edge(at_us, word)
            tail += 1
        shared.edge_tail = tail
        self._pass(to_us)

    def _edge(self, at_us: int, word: int) -> None:
        level, guard = word >> 8, bool(word & GUARD_BIT)
        if level != self._level or guard != self._guard or at_us >= self._beat_us + GATE_US:
            self._pass(at_us)
            self._level, self._guard = level, guard
        if word & BEAT_BIT:
            self._beat_us = at_us

    def _pass(self, to_us: int) -> None:
        """Integrate with constant outputs, stopping at rows, events and the gate."""
        while self.now_us < to_us:
            stop_us = min(to_us, self._next_row_us, self._next_event_us)
            gate_us = self._beat_us + GATE_US
            if self.now_us < gate_us < stop_us:
                stop_us = gate_us
            self.world.advance(self.power_w(), stop_us - self.now_us)
            self.now_us = stop_us
            if stop_us == self._next_row_us:
                self._next_row_us += SECOND_US
                if self.keep_row is not None:
                    self.keep_row(self.world.truth_row(stop_us))
            if stop_us >= self._next_event_us:
                self.actions += self.world.due(stop_us)
                self._look_ahead()

    def _look_ahead(self) -> None:
        event_us = self.world.next_event_us()
        self._next_event_us = NEVER if event_us is None else event_us
        if self.armed_us is not None and self._next_event_us <= self.now_us:
            self.actions += self.world.due(self.now_us)
            event_us = self.world.next_event_us()
            self._next_event_us = NEVER if event_us is None else event_us

    @property
    def next_event_us(self) -> int:
        """When the interpreter must stop for the scenario, µs."""
        return self._next_event_us

    def power_w(self) -> float:
        """Electrical power now, W: switch and guard in series, the guard behind its heartbeat gate, with faults."""
        faults = self.faults
        if "heater_open" in faults:
            return 0.0
        closed = self._guard and self.now_us < self._beat_us + GATE_US
        closed = closed and not (self.settings["float"] and "water_low" in faults)  # it is in series with the coil
        if self.has_guard and not closed and "guard_welded" not in faults:
            return 0.0
        return self.heater_w if "switch_shorted" in faults else self.heater_w * self._level / FULL

    # -- readings -----------------------------------------------------------------------------------------------------

    def convert(self, mask: int) -> None:
        """Set the readings of the probes in the mask (1 water, 2 bowl) for this time."""
        for place, name in enumerate(PLACES):
            if mask & 1 << place:
                self._convert(place, name)

    def _convert(self, place: int, name: str) -> None:
        temp_c = self._held[name] if f"{name}_stuck" in self.faults else self.world.probe_c(name)
        self._held[name] = temp_c
        if temp_c is not None and name in self._hands:
            temp_c = self._held_c(name)
        kind = self.shared.get("kind", place)
        if kind == 1:
            self._wire_status(place, name, temp_c)
            if temp_c is not None:
                word = min(max(math.floor(temp_c * 16 + 0.5), -55 * 16), 125 * 16)  # the part's own range
                self.shared.put("reading", place, word)
        elif kind == 2:
            self.shared.put("reading", place, self._converter_word(name, temp_c))
        elif kind == 3:
            self.shared.put("reading", place, self._ratio_word(name, temp_c))

    def _converter_word(self, name: str, temp_c: float | None) -> int:
        """NTC to ground, series resistor to the supply, 12 bits."""
        if temp_c is None or f"{name}_open" in self.faults:
            return FULL
        if f"{name}_short" in self.faults:
            return 0
        s, at = self.settings, f"probe.{name}."
        ntc_ohm = s[at + "r25_ohm"] * math.exp(s[at + "beta_k"] * (1.0 / (temp_c + KELVIN) - 1.0 / ROOM_K))
        fraction = ntc_ohm / (ntc_ohm + s[at + "series_ohm"])
        return int(fraction * FULL / CONVERTER_STEP + 0.5) * CONVERTER_STEP

    def _ratio_word(self, name: str, temp_c: float | None) -> int:
        """A platinum element over its reference resistor: 15 bits; the word's lowest bit is the fault flag."""
        if temp_c is None or f"{name}_open" in self.faults:
            return RATIO_FULL
        if f"{name}_short" in self.faults:
            return 0
        s, at = self.settings, f"probe.{name}."
        ratio = platinum_ohm(temp_c, s[at + "r0_ohm"]) / s[at + "reference_ohm"]
        return min(int(ratio * 32768 + 0.5) << 1, RATIO_FULL)

    def hand(self, name: str, on: bool, around_c: float, within_s: float) -> None:
        """Close a hand round a probe, or hold it in a cup; or let go of it."""
        if not on:
            self._hands.pop(name, None)
            return
        from_c = self._held_c(name) if name in self._hands else self.world.probe_c(name)
        if from_c is not None:
            self._hands[name] = self.now_us, from_c, around_c, within_s

    def _held_c(self, name: str) -> float:
        """A held probe's element: it goes from where it was to what is around it."""
        since_us, from_c, around_c, within_s = self._hands[name]
        return around_c + (from_c - around_c) * math.exp(-(self.now_us - since_us) / SECOND_US / within_s)

    # -- faults -------------------------------------------------------------------------------------------------------

    @staticmethod
    def check_fault(name: str) -> None:
        """Refuse a fault that does not exist."""
        if name not in FAULTS:
            raise UseError("there is no such fault", got=name, wanted="one of " + ", ".join(FAULTS))

    def fault(self, name: str, on: bool) -> None:
        """Break a part, or repair it."""
        self.check_fault(name)
        if on:
            if name.endswith("_stuck"):
                probe = name.removesuffix("_stuck")
                self._held.setdefault(probe, self.world.probe_c(probe))
            self.faults.add(name)
        else:
            self.faults.discard(name)
        self._wire_faults()

    def _wire_faults(self) -> None:
        shorted = any(
            f"{name}_short" in self.faults and self.shared.get("kind", place) == 1 for place, name in enumerate(PLACES)
        )
        low, dead = "bus_low" in self.faults or shorted, "bus_dead" in self.faults
        self.shared.bus = BUS_LOW if low else BUS_DEAD if dead else 0
        self._wire_display()
        self._wire_float()
        for place, name in enumerate(PLACES):
            self._wire_status(place, name, 0.0 if self.world.dead is None else None)

    def _wire_status(self, place: int, name: str, temp_c: float | None) -> None:
        absent = temp_c is None or f"{name}_open" in self.faults
        status = ABSENT if absent else 0
        if not absent and f"{name}_power_on" in self.faults:
            status = ANSWERS_85
        elif not absent and f"{name}_bad_crc" in self.faults:
            status = SPOILT
        self.shared.put("status", place, status)


def rom_word(text: str, place: int) -> int:
    """A probe's 1-wire id as a signed word: the rig's sixteen hex digits, or a default (family 28h, valid check)."""
    body = bytes((0x28, 0xBA, 0x1E, place + 1, 0, 0, 0))
    rom = bytes.fromhex(text) if text else body + bytes((crc8(body),))
    return int.from_bytes(rom, "little", signed=True)


def crc8(data: bytes) -> int:
    """Check byte of 1-wire ids (x8 + x5 + x4 + 1, least significant bit first)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc
