"""Where main.py hands over: loads the layers and runs the app."""

import gc
import sys

from bainboard import heap_reserve

# Lowest first, and swept after each: what loading leaves behind would scatter the modules over the whole heap, and
# no free run would be left that is long enough for the next one's tables.
LAYERS = ("settings", "wire", "store", "transfer", "flashlog", "commands", "sensing", "board", "control.rules",
          "control.cascade", "heat_balance", "plausibility", "supervisor", "selftest", "stages", "refill",
          "programme", "panel", "panel_logic", "powerup", "warmer", "saved_profiles", "documents", "standalone",
          "requests_hold", "requests_documents", "requests_log", "requests_board", "service", "app")

# While what lasts is made, memory is swept each time so much of it was taken: then what lasts lies together. Else it
# lies among what was thrown away, and a heap of which a sixth is free has no piece left that is long enough for a file.
SWEPT_BYTES = 1024


def run(version, keep):
    """Run this version; `keep`, where given, is to be called once it has proved itself."""
    heap_reserve.sweep(True)
    heap_reserve.take()  # now, while there is one long run
    for layer in LAYERS:
        __import__("bainboard." + layer)
        gc.collect()
    gc.threshold(SWEPT_BYTES)
    sys.modules["bainboard.app"].main(version, keep, lambda: gc.threshold(-1))
