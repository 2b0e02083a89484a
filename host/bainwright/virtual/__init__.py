"""The virtual board: the untouched firmware on real MicroPython against a simulated warmer."""
