"""Where main.py hands over: loads the layers and runs the app."""

import gc
import sys

from bainboard import heap_reserve

# Lowest first, and swept after each: what loading leaves behind would scatter the modules over the whole heap, and
# no free run would be left that is long enough for the next one's tables.
LAYERS = ("wire", "store", "chunks", "log_folder", "flashlog", "answered", "sensing", "board",
          "control.cascade", "heat_balance", "rest", "plausibility", "lone_probe", "supervisor", "selftest", "stages",
          "refill", "programme", "panel", "panel_logic", "powerup", "warmer", "saved_profiles", "documents",
          "standalone", "requests_urgent", "service", "panel_task", "app")


def run(version: str, keep) -> None:
    """Run this version; `keep`, where given, is to be called once it has proved itself."""
    heap_reserve.take()  # now, while there is one long piece
    for layer in LAYERS:
        __import__("bainboard." + layer)
        gc.collect()
    heap_reserve.sweep_often()
    sys.modules["bainboard.app"].main(version, keep)
