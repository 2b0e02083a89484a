"""The start of a board whose image has the firmware in it: the heater pin safe, then that firmware."""

import sys

import machine

HEATER = {"esp32": 25}.get(sys.platform, 15)  # as in pins.py; a test compares the two
machine.Pin(HEATER, machine.Pin.OUT, value=0)

from bainboard import start  # noqa: E402 - the pin comes first

start.run("frozen", None)
