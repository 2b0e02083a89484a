"""Faults, numbered once. A number never changes its meaning: logs and latch records carry it."""

# Reactions: heat off until the cause is gone; off + guard open + retest; latched; warn and log; no start.
OFF, RETEST, LATCH, WARN, NO_START = "off", "retest", "latch", "warn", "no start"

NUMBER, NAME, REACTION, SEEN = range(4)

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

FAULTS = (
    (NONE, "none", WARN, "nothing wrong"),
    (WATER_PROBE, "water_probe", LATCH, "the water probe gives no valid reading"),
    (BOWL_PROBE, "bowl_probe", WARN, "the chocolate probe gives no valid reading; holding by the water"),
    (WATER_STUCK, "water_stuck", LATCH, "heat was given and the water probe did not rise"),
    (HEAT_AT_REST, "heat_at_rest", LATCH, "the water rose with the heater switched off"),
    (OVER_STAGE, "over_stage", OFF, "the water is over this step's limit"),
    (OVER_HARD_LIMIT, "over_hard_limit", LATCH, "the water passed the hard limit"),
    (LATE_LOOP, "late_loop", OFF, "the board's loop was late"),
    (RUN_TIMER, "run_timer", OFF, "nobody has been here for the run timer's hours"),
    (GUARD_WELDED, "guard_welded", NO_START, "heat came through an open guard relay"),
    (SWITCH_SHORTED, "switch_shorted", NO_START, "heat came through a heater switch that was off"),
    (NO_HEAT_AT_START, "no_heat_at_start", NO_START, "the start pulse did not warm the water"),
    (NO_LATCH_RECORD, "no_latch_record", LATCH, "first start, or the trip record was lost"),
    (HOT_BEFORE_START, "hot_before_start", NO_START, "the water is over the hard limit before heating"),
    (BAD_CLOCK, "bad_clock", OFF, "the board's clock jumped"),
    (CRASHED, "crashed", OFF, "the firmware met an error and stopped heating"),
    (BAD_SETTINGS, "bad_settings", OFF, "both copies of the settings are damaged; defaults, no heat"),
)


def row(number):
    """The row of a fault number; an unknown number reads as a crash."""
    return FAULTS[number] if 0 <= number < len(FAULTS) else FAULTS[CRASHED]
