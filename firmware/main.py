"""The heater pin is made safe before anything else is loaded; then the warmer starts."""

import gc
import sys

from bainboard import pins  # imports nothing itself
from machine import Pin

Pin(pins.for_platform(sys.platform)["heater"], Pin.OUT, value=0)

# Lowest first, and swept after each: what compiling leaves behind would scatter the modules over the whole heap, and
# no free run would be left that is long enough for the next one's tables.
for layer in ("settings", "wire", "store", "transfer", "commands", "sensing", "board", "control.rules",
              "control.cascade", "evidence", "supervisor", "selftest", "programme", "panel", "warmer", "service", "app"):
    __import__("bainboard." + layer)
    gc.collect()

sys.modules["bainboard.app"].main()
