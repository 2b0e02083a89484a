"""Runs on the board, heater unplugged: takes the heartbeat gate through its states while a person watches the lamp.

    mpremote mount firmware run hardware/check_gate.py
"""

import sys
import time

from machine import Pin

from bainboard import pins

EDGES = 8
LONG = 180  # s in which parts are pulled
WATCH_S = 5

# What is said, the guard pin, how many edges, and the level at which the heartbeat pin then stands.
STEPS = (
    ("guard high, no edges: the guard lamp must stay DARK", 1, 0, 0),
    ("guard high, edges: it must LIGHT", 1, EDGES, 1),
    ("edges stopped, pin high: DARK within 2 s", 1, 0, 1),
    ("guard high, edges: it must LIGHT again", 1, EDGES, 0),
    ("edges stopped, pin low: DARK within 2 s", 1, 0, 0),
    ("edges, guard low: it must stay DARK", 0, EDGES, 0),
    ("edges for three minutes: it must LIGHT. Pull, put back: it must light again", 1, LONG, 0),
)


def main():
    """Take the steps, one after the other; both pins end low. The heater's pin is held low throughout."""
    at = pins.for_platform(sys.platform)
    Pin(at["heater"], Pin.OUT, value=0)
    guard, heartbeat = Pin(at["guard"], Pin.OUT, value=0), Pin(at["heartbeat"], Pin.OUT, value=0)
    try:
        for said, guard_level, edges, stands in STEPS:
            print(said)
            guard.value(guard_level)
            for left in range(edges, 0, -1):
                time.sleep(1)
                heartbeat.value((left + 1 + stands) % 2)
            if not edges:
                time.sleep(WATCH_S)
    finally:
        guard.value(0)
        heartbeat.value(0)
    print("done")


main()
