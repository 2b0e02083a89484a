"""Faults, numbered once. A number never changes its meaning: logs and latch records carry it."""

# Reactions: heat off until the cause is gone; off + guard open + retest; latched; warn and log; no start.
OFF, RETEST, LATCH, WARN, NO_START = "off", "retest", "latch", "warn", "no start"

# Is it safe to leave plugged in, or must it be unplugged? Also decides which alarm sounds.
SAFE, UNPLUG = "safe", "unplug"

NUMBER, NAME, REACTION, HAZARD = range(4)  # what was seen and what to check first: in `notes`

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
PROBE_OUT = 18
BOWL_OUT = 19
SWAPPED = 20
HEATER_LOST = 21
STRONG_HEATER = 22
RESTARTED = 23
REBOOT_LOOP = 24
MEMORY = 25
UNASKED_HEAT = 26
DISAGREE = 27
SECOND_PROBE = 28
HEAT_CAPPED = 29

# What a board asks of the table below, as constants: with them it need not load it.
COUNT = 30
TO_UNPLUG = (1 << WATER_STUCK | 1 << HEAT_AT_REST | 1 << OVER_HARD_LIMIT | 1 << GUARD_WELDED | 1 << SWITCH_SHORTED
             | 1 << PROBE_OUT | 1 << STRONG_HEATER | 1 << UNASKED_HEAT)

# number, name, reaction, safe or unplug
FAULTS = (
    (NONE, "none", WARN, SAFE),
    (WATER_PROBE, "water_probe", LATCH, SAFE),
    (BOWL_PROBE, "bowl_probe", WARN, SAFE),
    (WATER_STUCK, "water_stuck", LATCH, UNPLUG),
    (HEAT_AT_REST, "heat_at_rest", LATCH, UNPLUG),
    (OVER_STAGE, "over_stage", OFF, SAFE),
    (OVER_HARD_LIMIT, "over_hard_limit", LATCH, UNPLUG),
    (LATE_LOOP, "late_loop", OFF, SAFE),
    (RUN_TIMER, "run_timer", OFF, SAFE),
    (GUARD_WELDED, "guard_welded", NO_START, UNPLUG),
    (SWITCH_SHORTED, "switch_shorted", NO_START, UNPLUG),
    (NO_HEAT_AT_START, "no_heat_at_start", NO_START, SAFE),
    (NO_LATCH_RECORD, "no_latch_record", LATCH, SAFE),
    (HOT_BEFORE_START, "hot_before_start", NO_START, SAFE),
    (BAD_CLOCK, "bad_clock", OFF, SAFE),
    (CRASHED, "crashed", OFF, SAFE),
    (BAD_SETTINGS, "bad_settings", OFF, SAFE),
    (HEAT_FROM_OUTSIDE, "heat_from_outside", WARN, SAFE),
    (PROBE_OUT, "probe_out", LATCH, UNPLUG),
    (BOWL_OUT, "bowl_out", WARN, SAFE),
    (SWAPPED, "swapped", NO_START, SAFE),
    (HEATER_LOST, "heater_lost", RETEST, SAFE),
    (STRONG_HEATER, "strong_heater", RETEST, UNPLUG),
    (RESTARTED, "restarted", OFF, SAFE),
    (REBOOT_LOOP, "reboot_loop", LATCH, SAFE),
    (MEMORY, "memory", OFF, SAFE),
    (UNASKED_HEAT, "unasked_heat", OFF, UNPLUG),
    (DISAGREE, "disagree", LATCH, SAFE),
    (SECOND_PROBE, "second_probe", WARN, SAFE),
    (HEAT_CAPPED, "heat_capped", WARN, SAFE),
)


def row(number: int) -> tuple:
    """The row of a fault number; an unknown number reads as a crash."""
    return FAULTS[number] if 0 <= number < len(FAULTS) else FAULTS[CRASHED]
