"""The board itself: the only module that touches pins, clocks and streams (`display_task` has a display's bus)."""

import gc
import os
import select
import sys
import time

import machine
import micropython
import onewire

from bainboard import pins
from bainboard.flashlog import unix_s
from bainboard.sensing import Probe

try:
    from gc import mem_free
except ImportError:  # an interpreter whose heap grows
    mem_free = None

try:
    import rp2
except ImportError:  # an ESP32: its boot button is a plain pin
    rp2 = None

ESP32_BOOT_PIN = 0
SPI_HZ = 500000  # chosen: a tenth of the converter's maximum, for a metre of cable
PWM_HZ = 100  # chosen: far above any thermal lag, slow enough for a MOSFET driven straight from a pin
CTRL_C = 3
NAP_MS = 50
CHUNK = 64  # bytes a write: one USB packet, so a host that stops reading delays us by one packet at most

RESET_CAUSES = ("PWRON_RESET", "HARD_RESET", "WDT_RESET", "SOFT_RESET", "DEEPSLEEP_RESET")


def _ready(poller, wait_ms: int) -> bool:
    """Is a stream ready, or within so long? `ipoll` makes no list, and this is asked some thirty times a second."""
    for _ in poller.ipoll(wait_ms):
        return True
    return False


class Board:
    """Pins, clock, streams and watchdog of the board the firmware runs on."""

    def __init__(self) -> None:
        self.pins = pins.for_platform(sys.platform)
        self.heater = self._out("heater")
        self.guard = self._out("guard")
        self.heartbeat = self._out("heartbeat")
        self._pwm: machine.PWM | None = None
        self._panel: tuple | None = None
        self._lamps: tuple = ()  # as last set
        self._float: machine.Pin | None = None
        self._buzzer = 0
        self._down: tuple = (False, False, False)  # the buttons as last seen
        self._watchdog: machine.WDT | None = None
        self._onewire: onewire.OneWire | None = None
        self._spi: machine.SoftSPI | None = None
        self.found: list = []  # the probes found by the last search of the 1-wire bus
        self.leader = None  # the 1-wire probe that begins the others' conversions
        self._ticks = time.ticks_ms()
        self._now_ms = 0
        self._input = select.poll()
        self._input.register(sys.stdin, select.POLLIN)
        self._nothing = select.poll()  # waits for time alone, to a whole clock tick as the other does
        self._output = select.poll()
        self._output.register(sys.stdout, select.POLLOUT)

    def _out(self, name: str):
        return machine.Pin(self.pins[name], machine.Pin.OUT, value=0)

    # -- time -----------------------------------------------------------------------------------------------------

    def now_ms(self) -> int:
        """Milliseconds since this object was made; never wraps."""
        ticks = time.ticks_ms()
        self._now_ms += time.ticks_diff(ticks, self._ticks)
        self._ticks = ticks
        return self._now_ms

    def wall_s(self) -> int:
        """Seconds since 1970 by the board's own clock; 0 when it has not been set since power came."""
        year, month, day, _, hour, minute, second = machine.RTC().datetime()[:7]
        # An unset clock begins in 2000, 2015 or 2021, depending on the port; a later date means it was set.
        return unix_s(year, month, day, hour, minute, second) if year >= 2024 else 0

    def wait(self, until_ms: int) -> bool:
        """Sleep until then, or until the host has written something; True if it has."""
        return _ready(self._input, max(0, until_ms - self.now_ms()))

    def sleep(self, until_ms: int) -> None:
        """Sleep until then, whatever the host writes; for at most 50 ms, so that the host is answered in time."""
        _ready(self._nothing, max(0, min(NAP_MS, until_ms - self.now_ms())))

    # -- heat -----------------------------------------------------------------------------------------------------

    def use_pwm(self) -> None:
        """Drive the heater pin by PWM from now on (a DC switch)."""
        if self._pwm is None:
            self._pwm = machine.PWM(self.heater, freq=PWM_HZ, duty_u16=0)

    def switch(self, level: float) -> None:
        """Set the heater switch: a level 0 to 1, a fraction only under PWM."""
        if self._pwm is not None:
            self._pwm.duty_u16(int(level * 65535 + 0.5))
        else:
            self.heater.value(1 if level else 0)

    def beat(self) -> None:
        """One edge for the heartbeat gate, which then holds the guard closed for at most two seconds."""
        self.heartbeat.value(1 - self.heartbeat.value())

    def safe(self) -> None:
        """Heater off, guard open. Works after any error, so it creates no object; a Ctrl-C in it only restarts it."""
        while True:
            try:
                self.guard.value(0)
                if self._pwm is not None:
                    self._pwm.duty_u16(0)
                else:
                    self.heater.value(0)
                return
            except KeyboardInterrupt:
                pass

    # -- probes and panel -----------------------------------------------------------------------------------------

    @property
    def kind(self) -> str:
        """Which of `pins.KINDS` this board is."""
        return pins.kind_of(sys.platform, os.uname().machine)

    def misfit(self, values: dict) -> str | None:
        """Why settings do not fit this board, or None."""
        if values["board"] not in (pins.ANY, self.kind):
            return "board: these settings are for {}, this board is {}".format(values["board"], self.kind)
        return self._map(values)[1]

    def _map(self, values: dict) -> tuple:
        """The pin map that the settings ask for: (map, None), or (None, why it is impossible)."""
        if not values["pins"]:
            return pins.for_platform(sys.platform), None
        from bainboard import pin_check  # most rigs move none

        return pin_check.settle(self.kind, values)

    def use_pins(self, values: dict) -> None:
        """Use the pins that the settings name; heater, guard and heartbeat never move."""
        wanted, _ = self._map(values)  # settings that do not fit were refused, or treated as damaged
        if wanted != self.pins:
            for name in wanted:
                if wanted[name] != self.pins[name]:
                    machine.Pin(self.pins[name], machine.Pin.IN)
            self.pins = wanted
            self._onewire = self._spi = self._panel = None

    def probe(self, values: dict, place: str) -> Probe | None:
        """The probe the settings describe for `place`, or None if none is fitted; ask for the water's first."""
        from bainboard import fitting  # loaded for this, and dropped again: see heap_reserve

        return fitting.probe(self, values, place)

    def bus(self):
        """The 1-wire bus."""
        if self._onewire is None:
            self._onewire = onewire.OneWire(machine.Pin(self.pins["onewire"]))
        return self._onewire

    def adc(self, name: str):
        """The converter at the pin of that name."""
        return machine.ADC(machine.Pin(self.pins[name]))

    def chip_select(self, name: str):
        """Sets the pin of that name, which is high until then."""
        return machine.Pin(self.pins[name], machine.Pin.OUT, value=1).value

    def spi(self):
        """The bus of the platinum probes' converters."""
        if self._spi is None:
            lines = {name: machine.Pin(self.pins[name]) for name in ("sck", "mosi", "miso")}
            self._spi = machine.SoftSPI(baudrate=SPI_HZ, polarity=0, phase=1, **lines)
        return self._spi

    def use_float(self, fitted: bool) -> None:
        """Read the float from now on, or none. Its pin is high while it hangs in water and the 24 V side is on."""
        self._float = machine.Pin(self.pins["float"], machine.Pin.IN) if fitted else None

    def water_low(self) -> bool:
        """Does the float hang dry, or its circuit carry nothing? Never where none is fitted."""
        return self._float is not None and not self._float.value()

    def use_panel(self) -> None:
        """Set up the panel's pins: a button pulls its pin to ground, a high pin turns on its lamp or the buzzer."""
        if self._panel is None:
            buttons = [machine.Pin(self.pins[name], machine.Pin.IN, machine.Pin.PULL_UP) for name in ("yes", "no")]
            self._lamps = ()
            self._panel = buttons, [self._out(name) for name in ("lamp_below", "lamp_in", "lamp_above", "buzzer")]

    def pressed(self) -> tuple:
        """(yes, no, recessed): which buttons are down. The recessed one is on the board itself, so always present."""
        if rp2 is not None:
            recessed = bool(rp2.bootsel_button())
        else:
            recessed = machine.Pin(ESP32_BOOT_PIN, machine.Pin.IN, machine.Pin.PULL_UP).value() == 0
        yes = no = False
        if self._panel is not None:
            yes, no = self._panel[0][0].value() == 0, self._panel[0][1].value() == 0
        was_yes, was_no, was_recessed = self._down
        if yes != was_yes or no != was_no or recessed != was_recessed:
            self._down = yes, no, recessed
        return self._down

    def show(self, lamps: tuple, buzzer: int) -> None:
        """Set the panel's lamps and buzzer. Called ten times a second, so a level that has not changed is not set."""
        if lamps == self._lamps and buzzer == self._buzzer:
            return
        self._lamps, self._buzzer = lamps, buzzer
        for pin, level in zip(self._panel[1], lamps + (buzzer,)):  # noqa: B905 - MicroPython's zip has no strict
            pin.value(level)

    # -- the host -------------------------------------------------------------------------------------------------

    def interruptible(self, on: bool) -> None:
        """Let Ctrl-C stop the firmware at any point, or treat it as a byte like any other."""
        micropython.kbd_intr(CTRL_C if on else -1)

    def receive(self, most: int = 256) -> bytearray:
        """What the host has written, at most `most` bytes and up to a Ctrl-C; b"" when nothing waits."""
        got = bytearray()
        # One byte a read: the ports block until every requested byte has arrived.
        while len(got) < most and _ready(self._input, 0):
            byte = sys.stdin.buffer.read(1)
            if not byte:
                break
            got += byte
            if byte[0] == CTRL_C:  # what follows may be for the REPL
                break
        return got

    def send(self, data: bytes) -> int:
        """Write as much as the host takes without waiting; returns the number of bytes written."""
        sent, view = 0, memoryview(data)
        while sent < len(data) and _ready(self._output, 0):
            wrote = sys.stdout.buffer.write(view[sent : sent + CHUNK])
            if not wrote:
                break
            sent += wrote
        return sent

    # -- watchdog and resets --------------------------------------------------------------------------------------

    @property
    def watched(self) -> bool:
        """Has the watchdog been started? It cannot be stopped."""
        return self._watchdog is not None

    def start_watchdog(self, timeout_ms: int) -> None:
        """Start the watchdog, once."""
        if self._watchdog is None:
            self._watchdog = machine.WDT(timeout=timeout_ms)

    def feed(self) -> None:
        """Feed the watchdog, if it runs."""
        if self._watchdog is not None:
            self._watchdog.feed()

    def reset(self) -> None:
        """Restart the board."""
        machine.reset()

    def reset_cause(self) -> str:
        """The name of the last reset's cause, as far as the port knows it."""
        cause = machine.reset_cause()
        for name in RESET_CAUSES:
            if getattr(machine, name, None) == cause:
                return name
        return str(cause)

    def identity(self) -> tuple:
        """The names of the interpreter and the board, as they report them."""
        return os.uname().release, machine.unique_id()

    def short_of_heap(self, floor: int) -> int | None:
        """Free heap in bytes if it is still under the floor after a collection, else None."""
        if mem_free is None or mem_free() >= 2 * floor:  # no collection while there is enough: it takes tens of ms
            return None
        gc.collect()
        free = mem_free()
        return free if free < floor else None
