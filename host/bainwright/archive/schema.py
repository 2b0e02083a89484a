"""The two tables of an archive of many holds: a line a hold, and a line a row of its log. Units are in the names.

Each hold is a file in either table, under ``warmer=W/month=M``, where W is the warmer's name and board made fit for a
file's name, and M the month of the start in UTC. Whatever reads Parquet makes columns of these two. No column tells
whose record it was: the folder of a hold has a person's name in it, and stays at home.
"""

from __future__ import annotations

VERSION = 1  # of the tables; another one is refused, as its columns may mean something else
PARTITIONS = ("warmer", "month")
UNKNOWN_MONTH = "unknown"

TEXT, WHOLE, NUMBER, YES_NO, MOMENT = "VARCHAR", "BIGINT", "DOUBLE", "BOOLEAN", "TIMESTAMP"

HOLDS: dict[str, str] = {
    "hold_id": TEXT,
    "hold": TEXT,  # the short name it had where it was recorded
    "warmer_name": TEXT,
    "board": TEXT,
    "board_hold": WHOLE,  # the board's own number of it
    "started_utc": MOMENT,
    "duration_s": NUMBER,
    "chocolate": TEXT,
    "kind": TEXT,
    "firmware": TEXT,
    "virtual": YES_NO,
    "ended": TEXT,
    "verdict": TEXT,
    "temper": TEXT,
    "trips": WHOLE,
    "below_s": NUMBER,  # these to `water_peak_c` as the report has them: of the steps that were scored
    "inside_s": NUMBER,
    "above_s": NUMBER,
    "unknown_s": NUMBER,
    "exposure_k_min": NUMBER,
    "bowl_low_c": NUMBER,
    "bowl_peak_c": NUMBER,
    "water_peak_c": NUMBER,
    "heater_w": NUMBER,
    "room_c": NUMBER,
    "rows": WHOLE,
}
ROWS: dict[str, str] = {
    "hold_id": TEXT,
    "at_utc": MOMENT,
    "lasts_s": NUMBER,  # how long the row counts: until the next one, never across a gap
    "t_s": NUMBER,
    "state": TEXT,
    "stage": TEXT,
    "water_c": NUMBER,
    "bowl_c": NUMBER,
    "bowl_estimated": YES_NO,
    "target_c": NUMBER,
    "water_target_c": NUMBER,
    "duty": NUMBER,
    "on_ms": NUMBER,
    "fault": WHOLE,
    "warn": WHOLE,
    "ask": TEXT,
}
TABLES: dict[str, dict[str, str]] = {"holds": HOLDS, "rows": ROWS}
