"""time, on the virtual clock."""

import utime
from _clock import CALL_US, TICKS, page, pass_until, stamp
from utime import gmtime, localtime, mktime

_HALF = TICKS // 2


def ticks_ms():
    """Milliseconds since the last hard reset, wrapping at 2**30 as on a board."""
    return (stamp() - page.boot_us) // 1000 % TICKS


def ticks_us():
    """Microseconds since the last hard reset, wrapping."""
    return (stamp() - page.boot_us) % TICKS


def ticks_cpu():
    """The same as ticks_us: the port says nothing about its unit."""
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
    return (stamp() + page.rtc_us) * 1000


def time():
    """Seconds of the clock of the day."""
    return (stamp() + page.rtc_us) // 1000000
