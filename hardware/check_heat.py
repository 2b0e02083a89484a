"""Runs on the board, a person beside it: full heat for two minutes, to measure by; nothing watches the temperature.

    mpremote mount firmware run hardware/check_heat.py

The hand switch S1 ends it at once; Ctrl-C does not, because it ends only what runs on the PC.
"""

import sys
import time

from machine import Pin

from bainboard import pins

FULL_S = 120  # chosen: three lags of the slowest build; water rises by 2 degrees, a plate by 8


def main():
    """Beat, close the guard and heat; all three pins end low, whatever happens."""
    at = pins.for_platform(sys.platform)
    heater, guard = Pin(at["heater"], Pin.OUT, value=0), Pin(at["guard"], Pin.OUT, value=0)
    heartbeat = Pin(at["heartbeat"], Pin.OUT, value=0)
    try:
        guard.value(1)
        heater.value(1)
        for left in range(FULL_S, 0, -1):
            if left % 10 == 0:
                print("full heat for", left, "s: S1 ends it")
            heartbeat.value(left % 2)
            time.sleep(1)
    finally:
        heater.value(0)
        guard.value(0)
        heartbeat.value(0)
    print("heat off")


main()
