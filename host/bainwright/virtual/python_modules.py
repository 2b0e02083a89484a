"""`machine`, `time`, `select` and `onewire` for the firmware under CPython. They act on the hardware in use.

Everything from `board.py` up is the unchanged firmware. One board a process: the modules are global, as on a board.
"""

from __future__ import annotations

import sys
import types
from typing import Any, ClassVar

from bainwright.virtual.python_flash import PowerLostError
from bainwright.virtual.python_hardware import FULL, PINS, TICKS, Desk, ResetError
from bainwright.virtual.wiring import ABSENT, ANSWERS_85, BUS_DEAD, BUS_LOW, SPOILT, crc8

RESET_US, BYTE_US = 1000, 560  # 1-wire: reset with presence pulse; eight slots of 70 us
CONVERSION_US = 750_000  # 12 bits, the part's data sheet
CONVERT, READ, SKIP, MATCH = 0x44, 0xBE, 0xCC, 0x55
POWER_ON = 85 * 16
RECEIVE_US = 10  # a byte from the host, chosen: USB full speed and an interpreter that takes bytes one by one

desk: Desk  # the hardware that the firmware runs on


def use(a_desk: Desk) -> None:
    """Choose the hardware that the firmware runs on."""
    global desk
    desk = a_desk


# -- the modules -------------------------------------------------------------------------------------------------------


class Pin:
    """A pin."""

    IN, OUT, OPEN_DRAIN, PULL_UP = 0, 1, 2, 1

    def __init__(self, number: int, mode: int = -1, pull: int = -1, value: int | None = None) -> None:
        self.number = number
        if value is not None:
            desk.drive(number, value)

    def value(self, level: int | None = None) -> int | None:
        """Read or drive."""
        if level is None:
            if self.number in (PINS["yes"], PINS["no"]):
                return 0 if desk.buttons & (1 if self.number == PINS["yes"] else 2) else 1
            if self.number == PINS["float"]:
                return desk.shared.float_wet
            return desk.shared.arrays["pins"][self.number]
        desk.drive(self.number, 1 if level else 0)
        return None


class Pwm:
    """Pulse width on the heater's pin."""

    def __init__(self, pin: Pin, freq: int = 0, duty_u16: int = 0) -> None:
        desk.heat(duty_u16)

    def duty_u16(self, word: int) -> None:
        """Set the duty."""
        if not 0 <= word <= FULL:
            raise ValueError("duty_u16 must be 0 to 65535")
        desk.heat(word)


class Adc:
    """A converter input with an NTC."""

    CACHE_US = 10_000
    _taken_us = -CACHE_US

    def __init__(self, pin: Pin) -> None:
        self._place = 0 if pin.number == PINS["adc_water"] else 1
        Adc._taken_us = -Adc.CACHE_US

    def read_u16(self) -> int:
        """The converter's word."""
        desk.charge(2)
        if desk.now_us - Adc._taken_us >= Adc.CACHE_US:
            Adc._taken_us = desk.stamp()
            desk.convert(3)
        return desk.shared.arrays["reading"][self._place]


class Wdt:
    """The watchdog."""

    def __init__(self, timeout: int) -> None:
        self._ms = timeout
        desk.feed(timeout)

    def feed(self) -> None:
        """Alive."""
        desk.feed(self._ms)


class Rtc:
    """The clock of the day, never set."""

    def datetime(self) -> tuple[int, ...]:
        """When the port's time begins."""
        return (2021, 1, 1, 4, 0, 0, desk.now_us // 1_000_000 % 60, 0)


class OneWire:
    """The bus with the digital probes on it, to the byte."""

    _pads: ClassVar[dict[tuple[int, int, int], bytes]] = {}

    def __init__(self, pin: Pin) -> None:
        shared = desk.shared
        self._roms = {place: (shared.get("rom", place) & (1 << 64) - 1).to_bytes(8, "little")
                      for place in range(2) if shared.get("kind", place) == 1}
        self._listening: list[int] = []
        self._phase = ""
        self._ready_us = [0, 0]
        self._due = [False, False]
        self._word = [POWER_ON, POWER_ON]

    def reset(self) -> bool:
        """Reset the bus; returns whether a probe answers."""
        desk.stamp()
        desk.charge(RESET_US)
        shared = desk.shared
        self._phase = "rom"
        status = shared.arrays["status"]
        self._listening = [place for place in self._roms if status[place] != ABSENT] if shared.bus == 0 else []
        return bool(self._listening) or shared.bus == BUS_LOW

    def writebyte(self, byte: int) -> None:
        """A command."""
        desk.charge(BYTE_US)
        if self._phase == "rom":
            self._phase = "function" if byte == SKIP else "match"
        elif byte == CONVERT:
            self._convert()
        elif byte == READ:
            self._phase = "read"

    def _convert(self) -> None:
        desk.stamp()
        mask = 0
        for place in self._listening:
            self._ready_us[place], self._due[place] = desk.now_us + CONVERSION_US, True
            mask |= 1 << place
        desk.convert(mask)

    def write(self, rom: bytes) -> None:
        """Address one probe by its id."""
        desk.charge(BYTE_US * len(rom))
        self._listening = [place for place in self._listening if self._roms[place] == rom]
        self._phase = "function"

    def readinto(self, pad: bytearray) -> None:
        """The scratchpad; probes that answer together pull the line low together."""
        desk.charge(BYTE_US * len(pad))
        if desk.shared.bus != 0:
            pad[:] = (b"\xff" if desk.shared.bus == BUS_DEAD else b"\x00") * len(pad)
            return
        pads = [self._pad(place) for place in self._listening]
        pad[:] = bytes(map(_and, *pads)) if len(pads) > 1 else pads[0] if pads else b"\xff" * len(pad)

    def _pad(self, place: int) -> bytes:
        arrays = desk.shared.arrays
        if self._due[place] and desk.now_us >= self._ready_us[place]:
            self._due[place] = False
            self._word[place] = arrays["reading"][place]
            arrays["fresh"][place] = 0
        status = arrays["status"][place]
        if status == ANSWERS_85 or arrays["fresh"][place]:
            return self._made(POWER_ON, 0x0C, status)
        word = self._word[place]
        return self._made(word, 0x10 - (word & 0x0F), status)

    def _made(self, word: int, count: int, status: int) -> bytes:
        key = word, count, status
        if key not in self._pads:
            body = bytes((word & 0xFF, word >> 8 & 0xFF, 0x4B, 0x46, 0x7F, 0xFF, count, 0x10))
            self._pads[key] = body + bytes((crc8(body) ^ (0x5A if status == SPOILT else 0),))
        return self._pads[key]


def _and(left: int, right: int) -> int:
    return left & right


class _Poll:
    """A poll on the input or the output, by the stream that is registered."""

    def __init__(self) -> None:
        self._input = self._output = False

    def register(self, stream: Any, mask: int) -> None:
        """Set the stream."""
        self._input, self._output = stream is _STDIN, stream is not _STDIN

    def ipoll(self, ms: int) -> tuple[Any, ...]:
        """Input: sleep until the host writes. Output: whether the host takes a packet. Neither: sleep."""
        return (self,) if self._ready(ms) else ()

    def _ready(self, ms: int) -> bool:
        now_us = desk.stamp()
        if self._output:
            return desk.host_reads
        if ms and not (self._input and desk.heard):
            desk.pass_until(now_us - (now_us - desk.boot_us) % 1000 + ms * 1000, until_heard=self._input)
        return self._input and bool(desk.heard)


class _Input:
    def read(self, count: int) -> bytes:
        got = bytes(desk.heard[:count])
        del desk.heard[:count]
        desk.charge(RECEIVE_US * len(got))
        return got


class _Output:
    def write(self, data: bytes) -> int:
        return 0 if desk.dead else desk.take(bytes(data))


_STDIN = types.SimpleNamespace(buffer=_Input())
_STDOUT = types.SimpleNamespace(buffer=_Output())


def _cause() -> str:
    return desk.cause


def _reset() -> None:
    if desk.dead:
        raise PowerLostError
    raise ResetError("HARD_RESET")


def install() -> Any:
    """Give the modules to the firmware's `board.py`, and return it."""
    machine: Any = types.ModuleType("machine")
    machine.Pin, machine.PWM, machine.ADC, machine.WDT, machine.RTC = Pin, Pwm, Adc, Wdt, Rtc
    machine.reset, machine.reset_cause = _reset, _cause
    machine.unique_id = lambda: b"\xe6campaig"
    for name in ("PWRON_RESET", "HARD_RESET", "WDT_RESET", "SOFT_RESET"):
        setattr(machine, name, name)
    onewire: Any = types.ModuleType("onewire")
    onewire.OneWire = OneWire
    micropython: Any = types.ModuleType("micropython")
    micropython.kbd_intr = lambda char: None  # nobody presses Ctrl-C here
    kept = {name: sys.modules.get(name) for name in ("machine", "onewire", "micropython")}
    sys.modules.update(machine=machine, onewire=onewire, micropython=micropython)
    from bainboard import board

    for name, module in kept.items():  # others in this process install their own
        if module is None:
            del sys.modules[name]
        else:
            sys.modules[name] = module
    fakes: dict[str, Any] = {
        "machine": machine, "onewire": onewire,
        "time": types.SimpleNamespace(ticks_ms=lambda: desk.ticks_ms(), ticks_diff=_ticks_diff),
        "select": types.SimpleNamespace(poll=_Poll, POLLIN=1, POLLOUT=4),
        "sys": types.SimpleNamespace(platform="rp2", stdin=_STDIN, stdout=_STDOUT),
        "rp2": types.SimpleNamespace(bootsel_button=lambda: desk.buttons & 4),
    }
    for name, fake in fakes.items():
        setattr(board, name, fake)
    return board


def _ticks_diff(later: int, earlier: int) -> int:
    return (later - earlier + TICKS // 2) % TICKS - TICKS // 2
