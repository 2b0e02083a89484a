"""The drill as a table: what is done, what must happen, within what time, and what a result depends on.

The times are the supervisor's and the self-test's own: computed from their constants and plans.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from bainboard import faults, selftest
from bainboard.heat_balance import largest_load_j_per_k

Limit = Callable[[Mapping[str, float]], float]

WIRING, LOGIC = "wiring", "logic"  # what a result depends on
IDLE, RUNNING, HOLD, TRIP, ANY = "idle", "running", "hold", "trip", "any"  # what the warmer must be doing for an item
PASS_S = 1.0  # the board's loop: `TICK_MS` of bainboard.app, which only a board can import (a test compares them)


def one_pass_s(v: Mapping[str, float]) -> float:
    """The pass that sees it, after the last pass with a good reading."""
    return 2 * PASS_S


def two_passes_s(v: Mapping[str, float]) -> float:
    """The two passes that read it, after the last good pass."""
    return 3 * PASS_S


def bad_samples_s(v: Mapping[str, float]) -> float:
    """`trip.bad_samples` passes, after the last pass with a good reading."""
    return (v["trip.bad_samples"] + 1) * PASS_S


def whole_test_s(v: Mapping[str, float]) -> float:
    """The self-test's own upper bound, and a pass."""
    return float(selftest.SelfTest(dict(v), 0).left_s(0)) + PASS_S


def _until_s(v: Mapping[str, float], verdict: int) -> float:
    """From the start to a verdict of the close look: the steps of both plans, and a pass."""
    guard = bool(v["guard"])
    quick = selftest.QUICK if guard else selftest.QUICK_NO_GUARD
    close = selftest.CLOSE if guard else selftest.CLOSE_NO_GUARD
    last = [step[3] for step in close].index(verdict)
    length_s = {
        selftest.LOOK: max(selftest.LOOK_S, selftest.LOOK_LAGS * v["heater_lag_s"]),
        selftest.PULSE: selftest.PROMISE_K * largest_load_j_per_k(dict(v)) / v["heater_w"],
        selftest.DRAIN: v["heater_lag_s"] + selftest.PROBE_S,
    }
    steps = (*quick, *close[: last + 1])
    return float(sum(length_s[step[0]] + PASS_S for step in steps)) + PASS_S  # each step ends with the pass after it


def switch_verdict_s(v: Mapping[str, float]) -> float:
    """The quick look, and the close one up to the switch's verdict."""
    return _until_s(v, faults.SWITCH_SHORTED)


def guard_verdict_s(v: Mapping[str, float]) -> float:
    """The quick look, and the close one up to the guard's verdict."""
    return _until_s(v, faults.GUARD_WELDED)


@dataclass(frozen=True)
class Item:
    """One thing to test.

    Attributes
    ----------
    name, title : str
        For the file, and for the person.
    depends_on : str
        `WIRING` or `LOGIC`: when that changes, the result is void.
    when : str
        What the warmer must be doing.
    do, must, undo : str
        What the person does, what must then happen (with settings in braces), how to put it right again.
    fault : int
        The fault that the warmer must report, or none.
    limit : callable or None
        Settings to the longest time until then, s; None where no machine can time it.
    needs : str
        What the rig must have for it: ``guard``, ``bowl``, ``float`` or nothing.
    required : bool
        A rig that lacks what it needs cannot pass the drill.
    simulated : bool
        Can a virtual board do it?
    version : int
        Counts up when the test itself changes; a result of an earlier version is void.
    """

    name: str
    title: str
    depends_on: str
    when: str
    do: str
    must: str
    undo: str = ""
    fault: int = faults.NONE
    limit: Limit | None = None
    needs: str = ""
    required: bool = True
    simulated: bool = True
    version: int = 1

    def at(self, settings: Mapping[str, object]) -> Item:
        """The item with a warmer's own figures in its words."""
        return replace(self, must=self.must.format_map(settings))


# In this order: first what is only looked at, then cold starts, then one hold, then its trip and what must last.
ITEMS = (
    Item("fuse", "thermal fuse and fuses, inspected", WIRING, ANY,
         "With the plug out, look at each one-shot thermal fuse (crimped, on the heater and on the heater switch) and "
         "at the fuses in the box.",
         "Each has the rating of the parts list, none is bridged, and a meter shows a closed circuit. Never try one: "
         "that would use it up.", simulated=False, version=2),
    Item("cutout", "manual-reset cut-outs", WIRING, ANY,
         # At the plug, because a meter across a cut-out does not see a lead that bypasses it.
         "Supply and X1 unplugged, a meter on the heater's half of X1: warm each cut-out in turn over its marked "
         "temperature, with hot air. With relay K2 first X5, X6 and a float's plug out, too, and the meter from each "
         "one's heater half to the others'; then X5 and the supply in, S1 closed, X1 out, guard lamp dark, the meter "
         "across K2's contact.",
         "The meter shows a closed circuit before; then an open one, also when the cut-out is cold again, until you "
         "press its button. Between the plugs it shows an open circuit.",
         "Press their buttons; clip back on what you took off; plug X1, X5, X6 and the float back in.", simulated=False,
         version=4),
    Item("power", "the heater is the one that the settings state", WIRING, ANY,
         "With the plug out, measure each mat's ohms at its plug X1. Put X1 back, plug in, and measure the supply's "
         "volts.",
         "Volts x volts / ohms, all mats together, is {heater_w:g} W within a fifth. Else this is another build's rig "
         "file, or another supply or heater.", simulated=False, version=2),
    Item("switch_link", "a shorted switch prevents a start", LOGIC, IDLE,
         "Plug out. Put the test link across the heater switch. Plug in, bath filled with cold water.",
         "The self-test sees heat through the switch and refuses to start.",
         "Plug out, take the link off the switch, plug in.", faults.SWITCH_SHORTED, switch_verdict_s),
    Item("guard_link", "a welded guard relay prevents a start", LOGIC, IDLE,
         "Plug out. Put the test link across the guard relay's contacts. Plug in.",
         "The self-test sees heat through the open guard and refuses to start.",
         "Plug out, take the link off the guard relay, plug in.", faults.GUARD_WELDED, guard_verdict_s, needs="guard"),
    Item("self_test", "switch and guard cut the heat, the heater heats", WIRING, IDLE,
         "Nothing: both links are off and in your hand.",
         "The self-test passes: no heat with either open, heat with both closed.", limit=whole_test_s),
    # While it heats, so that the guard pin stays high and only the gate can open the relay. With the board in reset the
    # pin falls by itself, and a gate that always holds would pass.
    Item("gate", "heartbeat gate and guard relay", WIRING, HOLD,
         "The warmer heats, its guard lamp lit. Pull the heartbeat link (J1) and watch the lamp.",
         "Within 2 s the guard relay clicks open, its lamp goes dark, and it stays so.",
         "Put the heartbeat link back.", needs="guard", simulated=False, version=2),
    Item("bowl_probe", "chocolate probe pulled", WIRING, HOLD,
         "Pull the chocolate probe's plug.", "A warning; the warmer continues by its water probe.",
         "Put the plug back.", faults.BOWL_PROBE, one_pass_s, needs="bowl", required=False),
    Item("float", "low water takes the heat off", WIRING, HOLD,
         "Lift the float out of the water, and keep it out.",
         "The guard relay clicks open at once; within 10 s the warmer asks for water.",
         "Hang the float back into the water.", needs="float", required=False),
    Item("pause", "water pause takes the heat off", LOGIC, HOLD,
         "Nothing: the PC asks for the water pause.", "The heat is off and the guard relay clicks open.",
         limit=one_pass_s),
    Item("host_gone", "the PC is gone", LOGIC, HOLD,
         "Nothing: the PC falls silent for a while and then looks for the same hold.",
         "The warmer continued the same hold."),
    Item("hot_water", "over temperature", WIRING, HOLD,
         # Faster than `trip.jump_c_per_s` is a broken probe, slower than a minute a switch that heats by itself.
         "Move the water probe into hand-warm water, wait 5 minutes (no heat now), then into 10 °C over the limit.",
         "Over the hard limit it trips, and stays off.", "Put the probe back into the bath.",
         faults.OVER_HARD_LIMIT, two_passes_s),
    Item("latch_kept", "a trip survives a power cut", LOGIC, TRIP,
         "Cut its power for ten seconds (the PC's cable too, if that feeds it).",
         "It comes back tripped, with the same cause."),
    Item("button", "the recessed button clears a trip", WIRING, TRIP,
         "Hold the recessed button for 4 s.", "The trip is cleared."),
    Item("water_probe", "water probe pulled", WIRING, RUNNING,
         "Pull the water probe's plug.", "It trips, and stays off.", "Put the plug back.",
         faults.WATER_PROBE, bad_samples_s),
)  # fmt: skip
BY_NAME = {item.name: item for item in ITEMS}

# What an hour with a person cannot show; the fault campaign plays these on simulated warmers.
NOT_TESTED = (
    "a stuck or drifted water probe", "a probe out of its water", "a heater that lost its heat", "the run timer",
    "the watchdog itself (only the heartbeat gate behind it)", "the thermal fuses' own melting", "the other fuses",
)


def lacking(item: Item, settings: Mapping[str, object]) -> str:
    """Why this rig cannot do an item; empty when it can."""
    if item.needs == "guard" and not settings["guard"]:
        return "no guard relay is fitted"
    if item.needs == "bowl" and settings["probe.bowl.kind"] == "none":
        return "no chocolate probe is fitted"
    if item.needs == "float" and not settings["float"]:
        return "no float is fitted"
    return ""
