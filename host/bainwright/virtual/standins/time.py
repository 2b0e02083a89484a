"""time, on the virtual clock."""

import utime
from _clock import TICKS, boot_us, pass_until, stamp, wide

_HALF = TICKS // 2


def ticks_ms():
    """Milliseconds since the last hard reset, wrapping at 2**30 as on a board."""
    return (stamp() - boot_us) // 1000 % TICKS


def ticks_us():
    """Microseconds since the last hard reset, wrapping."""
    return (stamp() - boot_us) % TICKS


def ticks_cpu():
    """The same as ticks_us: the port leaves its unit open."""
    return ticks_us()


def ticks_diff(end, start):
    """end - start in the ring of ticks."""
    return (end - start + _HALF) % TICKS - _HALF


def ticks_add(ticks, delta):
    """Ticks moved by delta."""
    return (ticks + delta) % TICKS


def sleep_us(us):
    """Sleep microseconds."""
    if us > 0:
        pass_until(stamp() + us)


def sleep_ms(ms):
    """Sleep milliseconds."""
    sleep_us(int(ms) * 1000)


def sleep(s):
    """Sleep seconds."""
    sleep_us(int(s * 1000000))


def time_ns():
    """Nanoseconds of the clock of the day."""
    return (stamp() + wide("rtc_us")) * 1000


def time():
    """Seconds of the clock of the day."""
    return (stamp() + wide("rtc_us")) // 1000000


def gmtime(seconds=None):
    """(year, month, day, hour, minute, second, weekday, day of the year)."""
    return utime.gmtime(time() if seconds is None else seconds)[:8]


localtime = gmtime  # a board knows no zones


def mktime(fields):
    """Seconds of such a tuple."""
    return utime.mktime(fields)
