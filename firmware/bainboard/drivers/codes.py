"""Codes for what can be wrong with a reading. Zero is a good one; the numbers are logged and never change meaning."""

OK = 0
NO_PRESENCE = 1
ALL_ZERO = 2
BAD_CRC = 3
POWER_ON = 4
OPEN = 5
SHORT = 6
JUMP = 7
RANGE = 8
STALE = 9
