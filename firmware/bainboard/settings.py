"""Every setting and every profile figure, once: checking, the wire, the rig file, help and docs all read these tables.

A document is a flat dict {name: value}; what it leaves out takes the default. `check` looks at the whole document
before any of it takes effect and returns (values, None) or (None, reason).
"""

# Columns of a row; `low`/`high` bound a number, `low` lists the words of a choice, `high` is the longest text.
NAME, KIND, UNIT, DEFAULT, LOW, HIGH, HELP, SOURCE = range(8)

FLOAT, INT, CHOICE, TEXT, FLAG = "number", "whole number", "choice", "text", "yes/no"
HEX = "hex digits"  # a text's unit: it has all its digits, or none

SETTINGS = (
    # -- the rig as built -------------------------------------------------------------------------------------------
    ("name", TEXT, "", "warmer", 1, 32, "what this warmer is called", "chosen"),
    ("heater_w", FLOAT, "W", 150.0, 5.0, 2000.0, "heater power at nominal supply", "the heater's plate"),
    ("heater_lag_s", FLOAT, "s", 30.0, 1.0, 300.0, "time the heat needs to reach the water", "chosen: mats 20-60 s"),
    ("switch", CHOICE, "", "dc", ("zero_cross", "dc"), None, "zero_cross: SSR on mains; dc: MOSFET", ""),
    ("period_s", FLOAT, "s", 1.0, 1.0, 2.0, "period of the time-proportioned switch", "chosen: ripple under 1/16 K"),
    ("step_ms", INT, "ms", 20, 10, 20, "shortest on-time step; a zero-cross switch knows half cycles", "50 Hz: 10 ms"),
    ("water_l", FLOAT, "L", 2.0, 0.1, 20.0, "water in the bath (a plate: its water equivalent)", "measured"),
    ("bowl_kg", FLOAT, "kg", 0.6, 0.0, 10.0, "mass of the empty bowl", "weighed"),
    ("chocolate_kg", FLOAT, "kg", 2.0, 0.05, 20.0, "chocolate in the full bowl", "weighed"),
    ("hard_limit_c", FLOAT, "°C", 60.0, 40.0, 75.0, "water above this latches the heat off", "chosen: scald, cut-out"),
    ("guard", FLAG, "", True, None, None, "a guard relay is fitted in series with the switch", ""),
    ("panel", FLAG, "", False, None, None, "buttons, lamps and buzzer are fitted", ""),
    ("bowl_offset_c", FLOAT, "K", 1.5, 0.0, 8.0, "water minus chocolate when steady, by hand thermometer", "measured"),
    # -- probes -----------------------------------------------------------------------------------------------------
    ("probe.water.kind", CHOICE, "", "onewire", ("onewire", "ntc"), None, "the water probe", ""),
    ("probe.water.rom", TEXT, HEX, "", 0, 16, "1-wire id, 16 hex digits; empty takes the only probe on its bus", ""),
    ("probe.water.offset_c", FLOAT, "K", 0.0, -5.0, 5.0, "calibration: added after the gain", "calibration"),
    ("probe.water.gain", FLOAT, "", 1.0, 0.95, 1.05, "calibration: multiplies °C", "calibration"),
    ("probe.water.r25_ohm", FLOAT, "ohm", 10000.0, 100.0, 1e6, "NTC resistance at 25 °C", "the part's data sheet"),
    ("probe.water.beta_k", FLOAT, "K", 3950.0, 2000.0, 6000.0, "NTC beta", "the part's data sheet"),
    ("probe.water.series_ohm", FLOAT, "ohm", 10000.0, 100.0, 1e6, "resistor from supply to the NTC", "as built"),
    ("probe.bowl.kind", CHOICE, "", "none", ("none", "onewire", "ntc"), None, "the chocolate probe, if any", ""),
    ("probe.bowl.rom", TEXT, HEX, "", 0, 16, "1-wire id, 16 hex digits", ""),
    ("probe.bowl.offset_c", FLOAT, "K", 0.0, -5.0, 5.0, "calibration: added after the gain", "calibration"),
    ("probe.bowl.gain", FLOAT, "", 1.0, 0.95, 1.05, "calibration: multiplies °C", "calibration"),
    ("probe.bowl.r25_ohm", FLOAT, "ohm", 10000.0, 100.0, 1e6, "NTC resistance at 25 °C", "the part's data sheet"),
    ("probe.bowl.beta_k", FLOAT, "K", 3950.0, 2000.0, 6000.0, "NTC beta", "the part's data sheet"),
    ("probe.bowl.series_ohm", FLOAT, "ohm", 10000.0, 100.0, 1e6, "resistor from supply to the NTC", "as built"),
    # -- control: a zero asks the board to work it out from litres, kilograms and watts -------------------------------
    ("gains.water.kp", FLOAT, "duty/K", 0.0, 0.0, 20.0, "inner proportional gain", "tuned"),
    ("gains.water.ti_s", FLOAT, "s", 0.0, 0.0, 36000.0, "inner integral time", "tuned"),
    ("gains.water.td_s", FLOAT, "s", 0.0, 0.0, 600.0, "inner derivative time", "tuned"),
    ("gains.water.weight", FLOAT, "", 0.6, 0.0, 1.0, "inner setpoint weight", "chosen: no overshoot on a step"),
    ("gains.bowl.kp", FLOAT, "K/K", 0.0, 0.0, 20.0, "outer proportional gain", "tuned"),
    ("gains.bowl.ti_s", FLOAT, "s", 0.0, 0.0, 36000.0, "outer integral time", "tuned"),
    ("gains.bowl.td_s", FLOAT, "s", 0.0, 0.0, 600.0, "outer derivative time", "tuned"),
    ("gains.bowl.weight", FLOAT, "", 1.0, 0.0, 1.0, "outer setpoint weight", "chosen"),
    ("gains.loss_w_per_k", FLOAT, "W/K", 0.0, 0.0, 60.0, "loss of bath and bowl to the room, fed forward", "tuned"),
    ("gains.ceiling_margin_c", FLOAT, "K", 0.2, 0.0, 2.0, "water target under the ceiling by", "chosen: probe error"),
    ("gains.slew_c_per_min", FLOAT, "K/min", 3.0, 0.1, 20.0, "how fast the water target may move", "chosen"),
    # -- supervision ------------------------------------------------------------------------------------------------
    ("trip.jump_c_per_s", FLOAT, "K/s", 5.0, 1.0, 20.0, "a faster reading is a broken probe", "chosen: water cannot"),
    ("trip.bad_samples", INT, "", 3, 2, 10, "invalid water samples in a row that latch", "chosen: one glitch is none"),
    ("trip.over_stage_s", FLOAT, "s", 60.0, 5.0, 600.0, "over the stage's limit for this long: heat off", "chosen"),
    ("trip.no_response_expect_k", FLOAT, "K", 3.0, 1.0, 10.0, "rise that the energy given must promise", "chosen"),
    ("trip.no_response_seen_k", FLOAT, "K", 1.0, 0.2, 5.0, "a smaller rise than this is a stuck probe", "chosen"),
    ("trip.loss_bound_w_per_k", FLOAT, "W/K", 12.0, 1.0, 60.0, "bound of losses with no model", "chosen: open bath"),
    ("trip.idle_rise_k", FLOAT, "K", 1.0, 0.3, 5.0, "rise at duty 0 that opens the guard", "chosen: 16 probe steps"),
    ("trip.run_h", FLOAT, "h", 14.0, 0.5, 48.0, "hours with nobody there until the heat goes off", "chosen: a night"),
    ("trip.watchdog_ms", INT, "ms", 4000, 2000, 8000, "watchdog; the tightest port allows 8388 ms", "rp2 port"),
    # -- the kitchen ------------------------------------------------------------------------------------------------
    ("room_c", FLOAT, "°C", 20.0, 5.0, 40.0, "room temperature, for the losses fed forward", "measured"),
)

PROFILE = (
    ("name", TEXT, "", "dark", 1, 32, "what the chocolate is called", ""),
    ("kind", CHOICE, "", "dark", ("dark", "milk", "white", "ruby", "caramelised_white", "melted"), None, "kind", ""),
    ("low_c", FLOAT, "°C", 31.0, 15.0, 50.0, "low end of the window", "McGee; Coady"),
    ("target_c", FLOAT, "°C", 31.5, 15.0, 50.0, "what the chocolate is held at", "middle of the window"),
    ("high_c", FLOAT, "°C", 32.0, 15.0, 50.0, "high end of the window", "McGee; Coady"),
    ("ceiling_c", FLOAT, "°C", 34.5, 15.0, 55.0, "warmest the bowl's wall may be", "V melts at 33.8: Wille & Lutton"),
    ("never_above_c", FLOAT, "°C", 55.0, 20.0, 60.0, "never above, even melting", "common practice, no source"),
)


def defaults(table):
    """All defaults of a table as a dict."""
    return {row[NAME]: row[DEFAULT] for row in table}


def _fault(row, value):
    """What is wrong with one value, or None."""
    kind, low, high = row[KIND], row[LOW], row[HIGH]
    if kind == FLAG:
        return None if value is True or value is False else "wanted true or false"
    if kind == CHOICE:
        return None if value in low else "wanted one of " + ", ".join(low)
    if kind == TEXT:
        return _text_fault(row, value)
    if isinstance(value, bool) or not isinstance(value, (int, float) if kind == FLOAT else int):
        return "wanted a " + kind
    if not low <= value <= high:  # NaN fails too
        why = f"wanted {low:g} to {high:g} {row[UNIT]}"
        # A bowl's 28 to 50 °C are 82 to 122 °F: no figure of ours in °C lies there, so someone meant the other scale.
        return why + "; that looks like °F" if row[UNIT] == "°C" and 82 <= value <= 122 else why
    return None


def _text_fault(row, value):
    """A text's fault: a display shows plain letters only, and a quote or backslash would double in a line."""
    low, high = row[LOW], row[HIGH]
    if row[UNIT] == HEX:
        if isinstance(value, str) and len(value) in (low, high) and not value.strip("0123456789abcdefABCDEF"):
            return None
        return f"wanted {high} hex digits, or none"
    if not isinstance(value, str) or not low <= len(value) <= high:
        return f"wanted a text of {low} to {high} letters"
    if all(" " <= letter <= "~" and letter not in '"\\' for letter in value):
        return None
    return "wanted plain letters: printable ASCII, no quote, no backslash"


def shown(value):
    """A value as a reason shows it: short and plain, whatever came."""
    if value is None:
        return "nothing"
    if isinstance(value, int) and not -(10**15) < value < 10**15:
        return "a number far too large"  # CPython refuses to print the largest
    words = f"'{value}'" if isinstance(value, str) else str(value)
    words = words if len(words) <= 24 else words[:24] + "..."
    return "".join([letter if " " <= letter <= "~" else "?" for letter in words])


def check(table, doc):
    """Check a whole document: (values with defaults filled in, None) or (None, reason)."""
    if not isinstance(doc, dict):
        return None, "wanted names and values, got something else"
    values = defaults(table)
    for row in table:
        name = row[NAME]
        if name in doc:
            fault = _fault(row, doc[name])
            if fault:
                return None, f"{name}: got {shown(doc[name])}, {fault}"
            values[name] = float(doc[name]) if row[KIND] == FLOAT else doc[name]
    for name in doc:
        if name not in values:
            return None, f"{shown(name)}: no such name"
    return values, None


def check_profile(doc):
    """Check a profile: each figure alone, then against each other."""
    values, why = check(PROFILE, doc)
    if why:
        return None, why
    low, target, high = values["low_c"], values["target_c"], values["high_c"]
    if not low <= target <= high:
        return None, f"target_c: got {target:g}, wanted inside the window {low:g} to {high:g}"
    if not high < values["ceiling_c"] <= values["never_above_c"]:
        return None, "ceiling_c: got {:g}, wanted above high_c {:g} and at most never_above_c {:g}".format(
            values["ceiling_c"], high, values["never_above_c"])
    return values, None
