"""Every setting and every profile figure, once: checking, the wire, the rig file, help and docs all read these tables.

A document is a flat dict {name: value}; what it leaves out takes the default. `check` looks at the whole document
before any of it takes effect and returns (values, None) or (None, reason).
"""

from bainboard import pins
from bainboard.wire import shown as shown  # the host knows it by this module

# Columns of a row; `low`/`high` bound a number, `low` lists the words of a choice, `high` is the longest text. What
# each is for and where its figure is from is in `help_text`, which a board never loads.
NAME, KIND, UNIT, DEFAULT, LOW, HIGH = range(6)

FLOAT, INT, CHOICE, TEXT, FLAG = "number", "whole number", "choice", "text", "yes/no"
HEX = "hex digits"  # a text's unit: it has all its digits, or none
OVER_STAGE_S = 60.0  # over the stage's limit for so long: a spike of the reading is shorter (chosen)

SETTINGS = (
    # -- the rig as built -------------------------------------------------------------------------------------------
    ("name", TEXT, "", "warmer", 1, 32),
    ("heater_w", FLOAT, "W", 150.0, 5.0, 2000.0),
    ("heater_lag_s", FLOAT, "s", 30.0, 1.0, 300.0),
    ("switch", CHOICE, "", "dc", ("zero_cross", "dc"), None),
    ("period_s", FLOAT, "s", 1.0, 1.0, 2.0),
    ("step_ms", INT, "ms", 20, 10, 20),
    ("water_l", FLOAT, "L", 2.0, 0.1, 20.0),
    ("bowl_kg", FLOAT, "kg", 0.6, 0.0, 10.0),
    ("chocolate_kg", FLOAT, "kg", 2.0, 0.05, 20.0),
    ("hard_limit_c", FLOAT, "°C", 60.0, 40.0, 75.0),
    ("guard", FLAG, "", True, None, None),
    ("panel", FLAG, "", False, None, None),
    ("display", FLAG, "", False, None, None),
    ("bowl_offset_c", FLOAT, "K", 1.5, 0.0, 8.0),
    ("board", CHOICE, "", pins.ANY, (pins.ANY,) + pins.KINDS, None),
    ("pins", TEXT, "", "", 0, 200),
    ("float", FLAG, "", False, None, None),
    # -- probes -----------------------------------------------------------------------------------------------------
    ("probe.water.kind", CHOICE, "", "onewire", ("onewire", "ntc", "platinum"), None),
    ("probe.water.rom", TEXT, HEX, "", 0, 16),
    ("probe.water.offset_c", FLOAT, "K", 0.0, -5.0, 5.0),
    ("probe.water.gain", FLOAT, "", 1.0, 0.95, 1.05),
    ("probe.water.r25_ohm", FLOAT, "ohm", 10000.0, 100.0, 1e6),
    ("probe.water.beta_k", FLOAT, "K", 3950.0, 2000.0, 6000.0),
    ("probe.water.series_ohm", FLOAT, "ohm", 10000.0, 100.0, 1e6),
    ("probe.water.r0_ohm", FLOAT, "ohm", 100.0, 50.0, 2000.0),
    ("probe.water.reference_ohm", FLOAT, "ohm", 430.0, 100.0, 10000.0),
    ("probe.water.wires", INT, "", 3, 2, 4),
    ("probe.bowl.kind", CHOICE, "", "none", ("none", "onewire", "ntc", "platinum"), None),
    ("probe.bowl.rom", TEXT, HEX, "", 0, 16),
    ("probe.bowl.offset_c", FLOAT, "K", 0.0, -5.0, 5.0),
    ("probe.bowl.gain", FLOAT, "", 1.0, 0.95, 1.05),
    ("probe.bowl.r25_ohm", FLOAT, "ohm", 10000.0, 100.0, 1e6),
    ("probe.bowl.beta_k", FLOAT, "K", 3950.0, 2000.0, 6000.0),
    ("probe.bowl.series_ohm", FLOAT, "ohm", 10000.0, 100.0, 1e6),
    ("probe.bowl.r0_ohm", FLOAT, "ohm", 100.0, 50.0, 2000.0),
    ("probe.bowl.reference_ohm", FLOAT, "ohm", 430.0, 100.0, 10000.0),
    ("probe.bowl.wires", INT, "", 3, 2, 4),
    # a second water probe, on the water probe's wire: a witness
    ("probe.water2.kind", CHOICE, "", "none", ("none", "onewire"), None),
    ("probe.water2.rom", TEXT, HEX, "", 0, 16),
    ("probe.water2.offset_c", FLOAT, "K", 0.0, -5.0, 5.0),
    ("probe.water2.gain", FLOAT, "", 1.0, 0.95, 1.05),
    # -- control: a zero asks the board to work it out from litres, kilograms and watts -------------------------------
    ("gains.water.kp", FLOAT, "duty/K", 0.0, 0.0, 20.0),
    ("gains.water.ti_s", FLOAT, "s", 0.0, 0.0, 36000.0),
    ("gains.water.td_s", FLOAT, "s", 0.0, 0.0, 600.0),
    ("gains.water.weight", FLOAT, "", 0.6, 0.0, 1.0),
    ("gains.bowl.kp", FLOAT, "K/K", 0.0, 0.0, 20.0),
    ("gains.bowl.ti_s", FLOAT, "s", 0.0, 0.0, 36000.0),
    ("gains.bowl.td_s", FLOAT, "s", 0.0, 0.0, 600.0),
    ("gains.bowl.weight", FLOAT, "", 1.0, 0.0, 1.0),
    ("gains.water_j_per_k", FLOAT, "J/K", 0.0, 0.0, 200000.0),
    ("gains.bowl_w_per_k", FLOAT, "W/K", 0.0, 0.0, 200.0),
    ("gains.bowl_tau_s", FLOAT, "s", 0.0, 0.0, 36000.0),
    ("gains.loss_w_per_k", FLOAT, "W/K", 0.0, 0.0, 60.0),
    ("gains.ceiling_margin_c", FLOAT, "K", 0.2, 0.0, 2.0),
    ("gains.slew_c_per_min", FLOAT, "K/min", 3.0, 0.1, 20.0),
    # -- supervision ------------------------------------------------------------------------------------------------
    ("trip.jump_c_per_s", FLOAT, "K/s", 5.0, 1.0, 20.0),
    ("trip.bad_samples", INT, "", 3, 2, 10),
    ("trip.over_stage_s", FLOAT, "s", OVER_STAGE_S, 5.0, 600.0),
    ("trip.idle_rise_k", FLOAT, "K", 1.0, 0.3, 5.0),
    ("trip.fall_k_per_min", FLOAT, "K/min", 2.0, 0.5, 10.0),
    ("trip.fall_k", FLOAT, "K", 1.0, 0.5, 5.0),
    ("trip.out_budget_k", FLOAT, "K", 3.0, 1.0, 6.0),
    ("trip.bowl_fall_k", FLOAT, "K", 4.0, 2.0, 15.0),
    ("trip.surge_k", FLOAT, "K", 2.0, 1.0, 5.0),
    ("trip.heap_floor", INT, "bytes", 8192, 1024, 65536),
    ("trip.run_h", FLOAT, "h", 14.0, 0.5, 48.0),
    ("trip.watchdog_ms", INT, "ms", 4000, 2000, 8000),
    # -- the log on the board's flash -------------------------------------------------------------------------------
    ("log.status_s", INT, "s", 10, 1, 60),
    ("log.sync_s", INT, "s", 60, 10, 600),
    ("log.share", FLOAT, "", 0.5, 0.05, 0.8),
    # -- the kitchen ------------------------------------------------------------------------------------------------
    ("resume", FLAG, "", False, None, None),
    ("room_c", FLOAT, "°C", 20.0, 5.0, 40.0),
    ("drill", CHOICE, "", "open", ("open", "passed", "overridden", "simulated"), None),
)

PROFILE = (
    ("name", TEXT, "", "dark", 1, 32),
    ("kind", CHOICE, "", "dark", ("dark", "milk", "white", "ruby", "caramelised_white", "melted"), None),
    ("low_c", FLOAT, "°C", 31.0, 15.0, 50.0),
    ("target_c", FLOAT, "°C", 31.5, 15.0, 50.0),
    ("high_c", FLOAT, "°C", 32.0, 15.0, 50.0),
    ("ceiling_c", FLOAT, "°C", 34.5, 15.0, 55.0),
    ("never_above_c", FLOAT, "°C", 55.0, 20.0, 60.0),
    ("melt_c", FLOAT, "°C", 48.0, 25.0, 60.0),
    ("keep_c", FLOAT, "°C", 40.0, 30.0, 50.0),
    ("set_min", FLOAT, "min", 5.0, 1.0, 60.0),
    ("fail_min", FLOAT, "min", 10.0, 2.0, 90.0),
    ("cool_c", FLOAT, "°C", 0.0, 0.0, 40.0),
)


def defaults(table: tuple) -> dict:
    """All defaults of a table as a dict."""
    return {row[NAME]: row[DEFAULT] for row in table}


def _fault(row: tuple, value) -> str:
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
    least = _least(row[NAME])
    return f"wanted 0 or at least {least:g} {row[UNIT]}" if 0.0 < abs(value) < least else None


# The least of a number that is not 0: a smaller one is none, and a single-precision float divides by it badly. Chosen:
# a hundredth of what the smallest warmer of these bounds has.
LEAST_OF_GAINS = (("kp", 1e-4), ("_s", 1.0), ("_j_per_k", 100.0), ("_w_per_k", 0.01))
LEAST = 1e-6


def _least(name: str) -> float:
    for ending, least in LEAST_OF_GAINS:
        if name.startswith("gains.") and name.endswith(ending):
            return least
    return LEAST


def _text_fault(row: tuple, value: str) -> str:
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


def check(table, doc: dict) -> tuple:
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
    why = _together(values) if table is SETTINGS else None
    return (None, why) if why else (values, None)


PASSES_S = 2.0  # heat that a pass may give after the one that sees too much of it
MOST_OVER_K = 12.0  # water over its stage's limit with a dead probe: the account's 9.5 K, and so much for a pass
MOST_SHORT_K = 10.0  # the same with a shorted switch, by longer patience than the default


def _together(values: dict) -> str:
    """What is wrong with figures that are each in their bounds, or None: together they must not void a check."""
    if values["float"] and not values["guard"]:
        return "float: got true, wanted false without a guard relay; the float opens that relay"
    small_j_per_k = values["water_l"] * 2090.0  # half of the water, no bowl: as heat_balance counts
    large_j_per_k = values["water_l"] * 4180.0 + values["bowl_kg"] * 900.0 + values["chocolate_kg"] * 1670.0
    over_k = 9.5 + values["heater_w"] * PASSES_S / small_j_per_k
    if not over_k <= MOST_OVER_K:
        return ("heater_w: {:g} W on {:g} L could take the water {:.0f} °C over its limit before a dead probe is seen, "
                "wanted at most {:g}; less heat or more water").format(
                    values["heater_w"], values["water_l"], over_k, MOST_OVER_K)
    test_k = large_j_per_k / small_j_per_k  # two pulses of half a kelvin of the largest load
    if not test_k <= MOST_OVER_K:
        return ("water_l: {:g} L under {:g} kg of chocolate could warm by {:.0f} °C in a self-test, wanted at most "
                "{:g}; more water or less chocolate").format(
                    values["water_l"], values["chocolate_kg"], test_k, MOST_OVER_K)
    # A switch that shorts beside a bowl warmer than its bath shows by the limit alone. The default is what it must be.
    over_s = values["trip.over_stage_s"]
    short_k = values["heater_w"] * (over_s + values["heater_lag_s"]) / small_j_per_k
    if not (over_s <= OVER_STAGE_S or short_k <= MOST_SHORT_K):
        return ("trip.over_stage_s: in {:g} s {:g} W on {:g} L could take the water {:.0f} °C over its limit past a "
                "shorted switch, wanted at most {:g}; give {:g} s or less").format(
                    over_s, values["heater_w"], values["water_l"], short_k, MOST_SHORT_K, OVER_STAGE_S)
    return _gains_fault(values, small_j_per_k)


# What was learnt of a bath goes with its litres, or that was another bath, or a probe half out of it: it shows a share
# of each change, and load and loss are learnt too large by as much. Chosen: the pot's metal; an open one loses half.
MOST_LOAD, MOST_LOSS_W_PER_K_AT_1L = 1.5, 8.0


def _gains_fault(values: dict, small_j_per_k: float) -> str:
    """What is wrong with gains beside the stated litres, or None: the supervisor's models use them."""
    most_j_per_k = MOST_LOAD * (2.0 * small_j_per_k + values["bowl_kg"] * 900.0)
    loss_w_per_k = MOST_LOSS_W_PER_K_AT_1L * values["water_l"] ** 0.667  # grows with the surface
    for name, low, high in (("gains.water_j_per_k", small_j_per_k, most_j_per_k),
                            ("gains.loss_w_per_k", 0.0, loss_w_per_k)):
        if values[name] and not low <= values[name] <= high:
            return ("{}: got {:g}, wanted {:.0f} to {:.0f} for {:g} L; were they tuned on another warmer, or with the "
                    "water probe half out of the water?").format(name, values[name], low, high, values["water_l"])
    return None


def check_profile(doc: dict) -> tuple:
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
    why = _melt_fault(values)
    return (None, why) if why else (values, None)


COOL_LEAST_C = 20.0  # chosen: a colder bowl has set


def _melt_fault(values: dict) -> str:
    """What is wrong with the figures of the other steps of an evening, or None."""
    never, melt, keep = values["never_above_c"], values["melt_c"], values["keep_c"]
    if values["kind"] != "melted" and not values["high_c"] < melt <= never:
        return "melt_c: got {:g}, wanted above high_c {:g} and at most never_above_c {:g}".format(
            melt, values["high_c"], never)
    if not keep <= never:
        return f"keep_c: got {keep:g}, wanted at most never_above_c {never:g}"
    if not values["set_min"] < values["fail_min"]:
        return "fail_min: got {:g}, wanted above set_min {:g}".format(values["fail_min"], values["set_min"])
    if values["cool_c"] and not COOL_LEAST_C <= values["cool_c"] < values["low_c"]:
        return "cool_c: got {:g}, wanted 0 or from {:g} to under low_c {:g}".format(
            values["cool_c"], COOL_LEAST_C, values["low_c"])
    return None
