"""Faults, numbered once. A number never changes its meaning: logs and latch records carry it."""

# Reactions: heat off until the cause is gone; off + guard open + retest; latched; warn and log; no start.
OFF, RETEST, LATCH, WARN, NO_START = "off", "retest", "latch", "warn", "no start"

# Is it safe to leave as it is, or must it be unplugged? Decides which alarm sounds, too.
SAFE, UNPLUG = "safe", "unplug"

NUMBER, NAME, REACTION, SEEN, HAZARD, FIRST = range(6)

NONE = 0
WATER_PROBE = 1
BOWL_PROBE = 2
WATER_STUCK = 3
HEAT_AT_REST = 4
OVER_STAGE = 5
OVER_HARD_LIMIT = 6
LATE_LOOP = 7
RUN_TIMER = 8
GUARD_WELDED = 9
SWITCH_SHORTED = 10
NO_HEAT_AT_START = 11
NO_LATCH_RECORD = 12
HOT_BEFORE_START = 13
BAD_CLOCK = 14
CRASHED = 15
BAD_SETTINGS = 16
HEAT_FROM_OUTSIDE = 17

# number, name, reaction, what was seen, safe or unplug, what to check first
FAULTS = (
    (NONE, "none", WARN, "nothing wrong", SAFE, ""),
    (WATER_PROBE, "water_probe", LATCH, "the water probe gives no valid reading", SAFE, "its plug and cable"),
    (BOWL_PROBE, "bowl_probe", WARN, "the chocolate probe gives no valid reading; holding by the water", SAFE,
     "its plug and cable"),
    (WATER_STUCK, "water_stuck", LATCH, "heat was given and taken away, and the water probe did not move", UNPLUG,
     "is the water probe in the water"),
    (HEAT_AT_REST, "heat_at_rest", LATCH, "the water rose with the heater switched off", UNPLUG, "the heater switch"),
    (OVER_STAGE, "over_stage", OFF, "the water is over this step's limit", SAFE, "the water's temperature"),
    (OVER_HARD_LIMIT, "over_hard_limit", LATCH, "the water passed the hard limit", UNPLUG, "is it still rising"),
    (LATE_LOOP, "late_loop", OFF, "the board's loop was late", SAFE, "nothing, if it stays rare"),
    (RUN_TIMER, "run_timer", OFF, "nobody has been here for the run timer's hours", SAFE, "the chocolate; confirm"),
    (GUARD_WELDED, "guard_welded", NO_START, "heat came through an open guard relay", UNPLUG, "the guard relay"),
    (SWITCH_SHORTED, "switch_shorted", NO_START, "heat came through a heater switch that was off", UNPLUG,
     "the heater switch"),
    (NO_HEAT_AT_START, "no_heat_at_start", NO_START, "the start pulse did not warm the water", SAFE,
     "heater plug, fuse, cut-out"),
    (NO_LATCH_RECORD, "no_latch_record", LATCH, "first start, or the trip record was lost", SAFE,
     "the cut-offs, then clear"),
    (HOT_BEFORE_START, "hot_before_start", NO_START, "the water is too near the hard limit to heat", SAFE,
     "cool the water"),
    (BAD_CLOCK, "bad_clock", OFF, "the board's clock jumped", SAFE, "nothing, if it stays rare"),
    (CRASHED, "crashed", OFF, "the firmware met an error and stopped heating", SAFE, "fetch the crash file"),
    (BAD_SETTINGS, "bad_settings", OFF, "both copies of the settings are damaged; defaults, no heat", SAFE,
     "send the settings again"),
    (HEAT_FROM_OUTSIDE, "heat_from_outside", WARN, "the water rises, and not by this heater", SAFE,
     "stove, sun, a warm bowl"),
)


def row(number):
    """The row of a fault number; an unknown number reads as a crash."""
    return FAULTS[number] if 0 <= number < len(FAULTS) else FAULTS[CRASHED]
