"""machine: pins, PWM, converter, SPI, I2C, watchdog, clock of the day and resets of the simulated board."""

import time

import _clock
import _shared
import uctypes
from _clock import pins, shared
from _converter import Converter
from _display import ADDRESS, DisplayController

HEATER, GUARD, HEARTBEAT, YES, NO, FLOAT = (
    pins[name] for name in ("heater", "guard", "heartbeat", "yes", "no", "float"))
RECESSED = 0 if _clock.platform == "esp32" else -1  # an ESP32's boot button; an RP2040's is no pin
ADC_WATER, ADC_BOWL = pins["adc_water"], pins["adc_bowl"]

PWRON_RESET = _shared.POWER_ON_CAUSE
WDT_RESET = _shared.WATCHDOG_CAUSE
CORE_TEMP_WORD = 14017  # 0.706 V at 27 degrees (RP2040 data sheet, 4.9.5) over 3.3 V

_levels = shared.pins
_heat = 65535 if _levels[HEATER] else 0  # switch level, 0 to 65535
_beat = 0
_handlers = []  # (pin, trigger, handler)
_converters = {pins["cs_" + name]: Converter(place) for place, name in enumerate(("water", "bowl"))
               if shared.kind[place] == 3}


def _record():
    _clock.edge(_heat << 8 | (_shared.GUARD_BIT if _levels[GUARD] else 0) | _beat)


def _set(number, level):
    """Drive an output; report heater, guard and heartbeat to the simulator."""
    global _heat, _beat
    changed = _levels[number] != level
    _levels[number] = level
    if number == HEATER:
        heat = 65535 if level else 0
        if heat != _heat:
            _heat = heat
            _record()
    elif changed and number == GUARD:
        _record()
    elif changed and number == HEARTBEAT:
        _beat = _shared.BEAT_BIT
        _record()
        _beat = 0
    elif changed and number in _converters:
        _converters[number].select(level)


def _pressed(number, state):
    return state & (1 if number == YES else 2 if number == NO else 4 if number == RECESSED else 0)


class Pin:
    """A pin. The two panel buttons pull theirs to ground."""

    IN, OUT, OPEN_DRAIN, ALT = 0, 1, 2, 3
    PULL_UP, PULL_DOWN = 1, 2
    IRQ_FALLING, IRQ_RISING = 4, 8

    def __init__(self, id, mode=-1, pull=-1, value=None, drive=0, alt=-1):
        if isinstance(id, Pin):
            id = id.number
        if isinstance(id, str):
            id = 25 if id == "LED" else int(id[2:])
        if not 0 <= id < 48:
            raise ValueError("invalid pin")
        self.number, self.mode, self.pull = id, mode, pull
        if mode != -1 or value is not None:
            self.init(mode, pull, value=value)

    def init(self, mode=-1, pull=-1, value=None, drive=0, alt=-1):
        """Set mode and level."""
        if mode != -1:
            self.mode = mode
        self.pull = pull
        if value is not None:
            _set(self.number, 1 if value else 0)

    def value(self, level=None):
        """Read the pin, or drive it."""
        if level is not None:
            _set(self.number, 1 if level else 0)
            return None
        if self.mode != Pin.IN:
            return _levels[self.number]
        if _pressed(self.number, _clock.buttons):
            return 0
        if self.number == FLOAT:
            return shared.float_wet
        return 1 if self.pull == Pin.PULL_UP else 0

    __call__ = value

    def on(self):
        """High."""
        _set(self.number, 1)

    def off(self):
        """Low."""
        _set(self.number, 0)

    high, low = on, off

    def toggle(self):
        """The other level."""
        _set(self.number, 1 - _levels[self.number])

    def irq(self, handler=None, trigger=12, hard=False):
        """Call the handler on a button's edges."""
        _handlers[:] = [entry for entry in _handlers if entry[0].number != self.number]
        if handler:
            _handlers.append((self, trigger, handler))


def _buttons_changed(before, after):
    for pin, trigger, handler in _handlers:
        was, is_ = _pressed(pin.number, before), _pressed(pin.number, after)
        if was != is_ and trigger & (Pin.IRQ_FALLING if is_ else Pin.IRQ_RISING):
            handler(pin)


_clock.on_buttons = _buttons_changed


class PWM:
    """Pulse width on a pin; on the heater's pin the mean level heats."""

    def __init__(self, dest, freq=0, duty_u16=None, duty_ns=None, invert=False):
        self._number = Pin(dest).number
        self._freq, self._duty = freq, 0
        self.init(freq, duty_u16, duty_ns)

    def init(self, freq=0, duty_u16=None, duty_ns=None, invert=False):
        """Set frequency and duty."""
        if freq:
            self._freq = freq
        if duty_u16 is not None:
            self.duty_u16(duty_u16)
        if duty_ns is not None:
            self.duty_ns(duty_ns)

    def duty_u16(self, duty=None):
        """Duty of 65535."""
        global _heat
        if duty is None:
            return self._duty
        if not 0 <= duty <= 65535:
            raise ValueError("duty_u16 must be 0 to 65535")
        self._duty = duty
        _levels[self._number] = 1 if duty else 0
        if self._number == HEATER and duty != _heat:
            _heat = duty
            _record()
        return None

    def duty_ns(self, ns=None):
        """Pulse width in ns."""
        if ns is None:
            return self._duty * 1000000000 // (65535 * (self._freq or 1))
        return self.duty_u16(min(65535, ns * self._freq * 65535 // 1000000000))

    def freq(self, hz=None):
        """Frequency in Hz."""
        if hz is None:
            return self._freq
        self._freq = hz
        return None

    def deinit(self):
        """Stop: the pin is low."""
        self.duty_u16(0)


class ADC:
    """Converter inputs: the two NTC probes and the chip's own temperature; all others read 0."""

    CORE_TEMP = 4
    CACHE_US = 10000  # readings within this time share one exchange
    _taken_us = -CACHE_US

    def __init__(self, channel):
        if isinstance(channel, int) and channel < 4:
            channel += 26
        self._number = 4 if channel == 4 else Pin(channel).number

    def read_u16(self):
        """The converter's word."""
        if self._number == ADC.CORE_TEMP:
            return CORE_TEMP_WORD
        place = 0 if self._number == ADC_WATER else 1 if self._number == ADC_BOWL else None
        if place is None or shared.kind[place] != 2:
            return 0
        _clock.charge(2)  # RP2040 data sheet, 4.9.2: 96 clocks of 48 MHz
        if _clock.now - ADC._taken_us >= ADC.CACHE_US or _clock.real:
            ADC._taken_us = _clock.stamp()
            _clock.ask(b"\x03")
            _clock.settle()
        return shared.reading[place]


class I2C:
    """I2C on the pins of one block; the display answers on the pins it is wired to."""

    def __init__(self, id, scl=None, sda=None, freq=400000, timeout=50000):
        scl, sda = Pin(scl).number, Pin(sda).number
        if scl % 2 != 1 or sda % 2 != 0 or scl // 2 % 2 != id or sda // 2 % 2 != id:
            raise ValueError("bad SCL or SDA pin")  # RP2040 data sheet, 1.4.3: which pins belong to which block
        self._bit_us = 1000000 / freq
        self._display = DisplayController() if (scl, sda) == (pins["scl"], pins["sda"]) else None

    def writeto(self, address, data, stop=True):
        """Address and bytes, nine bits each."""
        _clock.charge(int(9 * (1 + len(data)) * self._bit_us))
        if address != ADDRESS or self._display is None:
            raise OSError(5)
        self._display.write(data)
        return len(data) + 1


class SoftSPI:
    """SPI on any pins; the platinum probes' converters answer on the pins they are wired to."""

    MSB, LSB = 0, 1

    def __init__(self, baudrate=500000, polarity=0, phase=0, bits=8, firstbit=0, sck=None, mosi=None, miso=None):
        self._byte_us = max(1, 8000000 // baudrate)
        wired = [Pin(pin).number for pin in (sck, mosi, miso)] == [pins[name] for name in ("sck", "mosi", "miso")]
        self._there = list(_converters.values()) if wired and phase == 1 else []

    def write_readinto(self, out, into):
        """Bytes out and in at once."""
        _clock.charge(len(out) * self._byte_us)
        for i in range(len(out)):
            answers = [each.exchange(out[i]) for each in self._there if each.selected]
            into[i] = answers[0] if answers else 0

    def write(self, data):
        """Bytes out."""
        self.write_readinto(data, bytearray(len(data)))


class WDT:
    """The watchdog: cannot be stopped, at most 8388 ms."""

    MOST_MS = 8388  # rp2 port

    def __init__(self, id=0, timeout=5000):
        if not 1 <= timeout <= WDT.MOST_MS:
            raise ValueError("timeout exceeds " + str(WDT.MOST_MS))
        self._us = timeout * 1000
        self.feed()

    def feed(self):
        """Restart its time."""
        _clock.watch(_clock.stamp() + self._us)


class RTC:
    """The clock of the day; a bare board loses it with its power."""

    def datetime(self, fields=None):
        """(year, month, day, weekday, hour, minute, second, 0)."""
        if fields is not None:
            year, month, day, _, hour, minute, second = fields[:7]
            set_s = time.mktime((year, month, day, hour, minute, second, 0, 0))
            shared.rtc_us = set_s * 1000000 - _clock.stamp()
            return None
        year, month, day, hour, minute, second, weekday, _ = time.gmtime()
        return (year, month, day, weekday, hour, minute, second, 0)


def reset():
    """Hard reset; nothing after it runs."""
    _clock.stamp()
    _clock.halt(b"r")


def soft_reset():
    """Restart the interpreter."""
    _clock.halt(b"s")


def reset_cause():
    """Why the board started: rp2 reports its watchdog and machine.reset() alike."""
    return shared.reset_cause


def unique_id():
    """Eight bytes, always the same."""
    return b"\xe6bainwrt"


def freq(hz=None):
    """Clock of the processor."""
    return 125000000


def disable_irq():
    """Nothing interrupts here anyway."""
    return 0


def enable_irq(state):
    """Nothing interrupts here anyway."""


def idle():
    """Wait a little."""
    lightsleep(1)


def lightsleep(ms=None):
    """Sleep."""
    _clock.pass_until(_clock.FOREVER if ms is None else _clock.stamp() + ms * 1000, ms is None)


class _Memory:
    """mem32, for code that uses pointers."""

    def __getitem__(self, address):
        return uctypes.struct(address, {"word": 0 | uctypes.UINT32}).word

    def __setitem__(self, address, value):
        uctypes.struct(address, {"word": 0 | uctypes.UINT32}).word = value


mem32 = _Memory()
