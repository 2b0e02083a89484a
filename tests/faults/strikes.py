"""What can fail of a board, its bus, clock, flash, link and button: a row each, with what to report and how soon.

What heat and water do when a part fails is `search`'s to find, on bodies of its own. Here the whole firmware runs:
resets, files, messages. Times are formulas of the rig's settings, written before anything was played.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from bainboard import faults
from bainwright.virtual import scenario as acts

from .phases import CHECKING, HOLDING, Setting
from .rigs import Warmer
from .world import Mishap

SOON_S = 2.0  # the conversion under way, and its pass
PASS_S = 3.0  # a conversion, the pass that reads it, and the pass it may just have missed
PROBE_LAG_S = 30.0  # the slowest probe supported

Values = dict[str, Any]  # numbers, but for a few flags and names


def one_pass(v: Values, s: Setting) -> float:
    """A pass."""
    return PASS_S


def soon(v: Values, s: Setting) -> float:
    """The next pass: sooner than `trip.bad_samples` of them."""
    return SOON_S


def latching(v: Values, s: Setting, mean_w: float) -> float:
    """`trip.bad_samples` passes."""
    return float(v["trip.bad_samples"]) + PASS_S


def over_stage(v: Values, s: Setting) -> float:
    """`trip.over_stage_s`, and the probe's lag."""
    return float(v["trip.over_stage_s"]) + 2 * PROBE_LAG_S + PASS_S


def alone(v: Values, s: Setting) -> float:
    """Half an hour before `trip.run_h` after the start."""
    return 3600.0 * float(v["trip.run_h"]) - 1800.0 + PASS_S


def left_alone(v: Values, s: Setting, mean_w: float) -> float:
    """Half an hour later."""
    return 1800.0 + PASS_S


def begun_nearly_hot(v: Values, s: Setting) -> float:
    """When the self-test begins."""
    return s.start_s - s.strike_s + PASS_S


def third_restart(v: Values, s: Setting) -> float:
    """The third abnormal restart's first pass; they come a minute apart."""
    return 120.0 + restarted(v, s)


def restarted(v: Values, s: Setting) -> float:
    """The watchdog, the boot and a pass; the interpreter's own start is free here."""
    return float(v["trip.watchdog_ms"] / 1000.0 + 2.0 + PASS_S)


Bound = Callable[[Values, Setting], float]
Then = Callable[[Values, Setting, float], float]  # watts given before the first sign
Mend = Callable[[Setting], list[Mishap]]


@dataclass(frozen=True)
class Strike:
    """One thing that goes wrong.

    Attributes
    ----------
    name : str
        As in a case's name.
    tells : tuple of str
        Names of the fault table of which one must be reported; empty: nothing has to be.
    within : callable or None
        Seconds from the strike to the first sign.
    stops : bool
        With the first sign heat is no longer allowed.
    ends, then : str, callable or None
        What the first sign must lead to (``latched``, or the name of a fault that is then reported) and in how many
        seconds; before a latch no heat is allowed in between. Or what the latch has become
        at the end: ``stays``, ``cleared``. Or ``off``: no heat is allowed while it is reported.
    phases : tuple of str
        In which it must be reported; in other phases it may come too, and only the invariants are checked.
    layer : str
        Where it is not reported: what must catch it.
    hot : bool
        It may drive the water over its limit by more than the 5 K that the firmware promises.
    kinds : tuple of str
        Probe kinds it is possible with; empty: any.
    fast_only : bool
        The virtual board has no hand for it.
    bath_only : bool
        It needs water.
    """

    name: str
    happens: Mend
    tells: tuple[str, ...] = ()
    within: Bound | None = None
    phases: tuple[str, ...] = ()
    layer: str = ""
    hot: bool = False
    kinds: tuple[str, ...] = ()
    fast_only: bool = False
    bath_only: bool = False
    watch_s: float = 120.0
    note: str = ""
    stops: bool = False
    ends: str = ""
    then: Then | None = None


def _fault(name: str) -> Mend:
    return lambda s: [Mishap(s.strike_s, "fault", name)]


def _world(name: str, value: float) -> Mend:
    return lambda s: [Mishap(s.strike_s, "world", name, value)]


def _desk(name: str, arg: float) -> Mend:
    return lambda s: [Mishap(s.strike_s, "desk", name, arg)]


def _cut(for_s: float) -> Mend:
    return lambda s: [Mishap(s.strike_s, "cut", "", for_s)]


def _hot_start(s: Setting) -> list[Mishap]:
    s.water_c = float(s.values["hard_limit_c"]) + s.rng.uniform(1.0, 15.0)
    return []


def _nearly_hot(s: Setting) -> list[Mishap]:
    s.water_c, s.bowl_c, s.strike_s = float(s.values["hard_limit_c"]) - 1.5, 50.0, 0.0
    s.start_s = 2.0
    return []


def _stutter(s: Setting) -> list[Mishap]:
    """Late enough that the next tick, kept to its own time, would follow at once."""
    s.strike_s = int(s.strike_s) + 0.5
    return [Mishap(s.strike_s, "desk", "hang", 1.4)]


def _late(s: Setting) -> list[Mishap]:
    """A pass over 3 s after the last, and under the watchdog's 4 s."""
    s.strike_s = int(s.strike_s) + 0.2
    return [Mishap(s.strike_s, "desk", "hang", 3.2)]


def _early(s: Setting) -> list[Mishap]:
    """Just after a pass, so that the next one follows within a tenth of a second or so."""
    s.strike_s = int(s.strike_s) + 0.06
    return [Mishap(s.strike_s, "desk", "early", 90.0)]


def _boil(c: float, share: float) -> Mend:
    def pour(s: Setting) -> list[Mishap]:
        s.events.append(acts.WaterSwap(at_s=s.strike_s, litres=share * float(s.values["water_l"]), temp_c=c))
        return []

    return pour


def _alone(s: Setting) -> list[Mishap]:
    s.rig_changes["trip.run_h"] = 0.75
    s.strike_s = s.start_s
    return []


def _files(**files: bytes | None) -> Mend:
    def change(s: Setting) -> list[Mishap]:
        s.play.setdefault("files", {}).update({f"/{name.replace('_', '.')}": data for name, data in files.items()})
        s.strike_s = 0.0
        return []

    return change


def _resets(count: int, apart_s: float) -> Mend:
    return lambda s: [Mishap(s.strike_s + n * apart_s, "desk", "reset") for n in range(count)]


def _no_watchdog(s: Setting) -> list[Mishap]:
    s.play["watchdog"] = False
    return [Mishap(s.strike_s, "desk", "hang", 900.0)]


def _pressed(after_s: float) -> list[tuple[float, float]]:
    """The recessed button, seen released and then held."""
    return [(after_s, 4.0), (after_s + 6.0, 0.0)]


def _press(s: Setting, after_s: float) -> list[Mishap]:
    return [Mishap(s.strike_s + at_s, "desk", "press", bits) for at_s, bits in _pressed(after_s)]


def _clear_early(s: Setting) -> list[Mishap]:
    return [*_fault("water_open")(s), *_press(s, 40.0)]


def _clear_late(s: Setting) -> list[Mishap]:
    return [*_fault("water_open")(s), Mishap(s.strike_s + 20.0, "fault", "water_open", 0.0), *_press(s, 40.0)]


def _clear_hot(s: Setting) -> list[Mishap]:
    return [*_boil(99.0, 0.8)(s), *_press(s, 150.0)]


WATER, ONE = ("WATER_PROBE",), ("onewire",)
CHECKED = (*CHECKING, *HOLDING)
STRIKES = (
    # -- probes, at their pins and bus ---------------------------------------------------------------------------------
    Strike("water_open", _fault("water_open"), WATER, soon, CHECKED, ends="latched", then=latching, stops=True),
    Strike("water_short", _fault("water_short"), WATER, soon, CHECKED, ends="latched", then=latching, stops=True),
    Strike("water_power_on", _fault("water_power_on"), WATER, soon, CHECKED,
           ends="latched", then=latching, stops=True, kinds=ONE),
    Strike("water_bad_crc", _fault("water_bad_crc"), WATER, soon, CHECKED,
           ends="latched", then=latching, stops=True, kinds=ONE),
    Strike("bus_low", _fault("bus_low"), WATER, soon, CHECKED, ends="latched", then=latching, stops=True, kinds=ONE),
    Strike("bus_dead", _fault("bus_dead"), WATER, soon, CHECKED, ends="latched", then=latching, stops=True, kinds=ONE),
    Strike("bowl_open", _fault("bowl_open"), ("BOWL_PROBE",), one_pass, CHECKED),
    Strike("bowl_short", _fault("bowl_short"), ("BOWL_PROBE", "WATER_PROBE"), one_pass, CHECKED,
           note="on a shared 1-wire bus it takes the water's probe with it"),
    Strike("bowl_power_on", _fault("bowl_power_on"), ("BOWL_PROBE",), one_pass, CHECKED, kinds=ONE),
    Strike("bowl_bad_crc", _fault("bowl_bad_crc"), ("BOWL_PROBE",), one_pass, CHECKED, kinds=ONE),
    # -- water and people ----------------------------------------------------------------------------------------------
    Strike("hot_start", _hot_start, ("HOT_BEFORE_START", "OVER_HARD_LIMIT"), one_pass, ("idle",), hot=True, stops=True,
           note="reported from the first pass"),
    Strike("nearly_hot", _nearly_hot, ("HOT_BEFORE_START",), begun_nearly_hot, ("idle",), hot=True, stops=True,
           note="within 3 K of the hard limit nothing is tested"),
    Strike("boiling", _boil(99.0, 0.8), ("OVER_HARD_LIMIT", "OVER_STAGE", "WATER_PROBE", "STRONG_HEATER"),
           over_stage, ("quiet",), hot=True, bath_only=True, note="the heat is the person's", stops=True),
    Strike("alone", _alone, ("RUN_TIMER",), alone, ("idle", "quiet"), watch_s=3000.0, ends="RUN_TIMER",
           then=left_alone),
    # -- clock, loop, memory -------------------------------------------------------------------------------------------
    Strike("slow_pass", _desk("hang", 1.5), fast_only=True),
    Strike("stutter", _stutter, fast_only=True, note="no fault: the loop counts again from a late pass"),
    Strike("late_pass", _late, ("LATE_LOOP",), lambda v, s: 3.2 + PASS_S, CHECKED, fast_only=True, stops=True),
    Strike("early_pass", _early, ("BAD_CLOCK",), one_pass, CHECKED, fast_only=True, stops=True),
    Strike("clock_ahead", _desk("jump", 60_000), ("LATE_LOOP", "BAD_CLOCK"), one_pass, CHECKED, fast_only=True),
    Strike("clock_back", _desk("jump", -60_000), ("LATE_LOOP", "BAD_CLOCK"), lambda v, s: 60.0 + PASS_S, (),
           fast_only=True, note="ticks that go back read as no time passing; the heartbeat's gate opens the guard"),
    Strike("hang", _desk("hang", 30.0), ("RESTARTED",), restarted, CHECKED, "watchdog, and the heartbeat's gate",
           fast_only=True, stops=True, ends="off"),
    Strike("hang_no_watchdog", _no_watchdog, (), None, (), "heartbeat gate: guard open within 2 s", fast_only=True,
           watch_s=1000.0),
    Strike("reboot_loop", _resets(4, 60.0), ("REBOOT_LOOP",), third_restart, HOLDING, fast_only=True,
           watch_s=400.0, ends="stays"),
    Strike("crash", _desk("crash", 0.0), ("CRASHED",), restarted, HOLDING, fast_only=True, stops=True),
    Strike("memory_out", _desk("memory_out", 0.0), ("MEMORY",), restarted, HOLDING,
           fast_only=True, stops=True),
    Strike("interrupt", _desk("interrupt", 0.0), (), None, (), fast_only=True),
    Strike("power_cut", _cut(8.0)),
    Strike("long_cut", _cut(1800.0)),
    # -- flash ---------------------------------------------------------------------------------------------------------
    Strike("latch_lost", _files(latch_a=None), ("NO_LATCH_RECORD",), one_pass, ("idle",), stops=True),
    Strike("latch_rotten", _files(latch_a=b"\xff" * 64), ("NO_LATCH_RECORD",), one_pass, ("idle",), stops=True),
    Strike("settings_rotten", _files(settings_a=b"\x00" * 64, settings_b=b"\xff" * 32), ("BAD_SETTINGS",),
           one_pass, ("idle",), stops=True, ends="off"),
    Strike("flash_full", _desk("flash_fails", 28.0), fast_only=True, watch_s=900.0),
    Strike("flash_worn", _desk("flash_fails", 5.0), fast_only=True, watch_s=900.0),
    # -- the recessed button -------------------------------------------------------------------------------------------
    Strike("clear_nothing", lambda s: _press(s, 2.0), (), None, ("idle",), fast_only=True),
    Strike("clear_early", _clear_early, WATER, soon, HOLDING, ends="stays", fast_only=True, stops=True),
    Strike("clear_late", _clear_late, WATER, soon, HOLDING, ends="cleared", fast_only=True),
    Strike("clear_hot", _clear_hot, ("OVER_HARD_LIMIT", "WATER_PROBE", "STRONG_HEATER"), over_stage, ("quiet",),
           ends="stays", hot=True, bath_only=True, fast_only=True, watch_s=300.0,
           note="where the rise itself is doubted first, nothing latches and there is nothing to clear"),
    # -- link ----------------------------------------------------------------------------------------------------------
    Strike("flood", _desk("flood", 20.0), fast_only=True),
    Strike("host_gone", _desk("host_gone", 1.0), fast_only=True, watch_s=900.0),
    Strike("rude", lambda s: [Mishap(s.strike_s + 1.3 * n, "desk", "say", n) for n in range(17)], fast_only=True),
)
# Faults that the search brings about (`test_search` shows each), and numbers that are reserved for old logs.
BY_SEARCH = (
    "water_stuck", "heat_at_rest", "over_stage", "guard_welded", "switch_shorted", "no_heat_at_start", "bowl_out",
    "swapped", "heater_lost", "strong_heater", "heat_from_outside", "probe_out", "unasked_heat", "disagree",
    "second_probe", "heat_capped")
BY_NAME = {strike.name: strike for strike in STRIKES}
NUMBERS = {name: value for name, value in vars(faults).items() if name.isupper() and isinstance(value, int)}


def possible(strike: Strike, warmer: Warmer) -> bool:
    """Whether this warmer has the parts that fail."""
    place = "bowl" if strike.name.startswith("bowl") else "water"
    kind = warmer.rig.settings[f"probe.{place}.kind"]
    return (not strike.kinds or kind in strike.kinds) and not (strike.bath_only and warmer.rig.plant.bath != "water")


def bits(tells: tuple[str, ...]) -> int:
    """Bits of the named faults that the firmware's table has."""
    return sum(1 << NUMBERS[name] for name in tells if name in NUMBERS)


def uncovered() -> list[str]:
    """Faults of the firmware's table that neither a strike nor the search brings about; both grow with the table."""
    reported = {NUMBERS.get(name) for strike in STRIKES for name in strike.tells}
    return [str(row[faults.NAME]) for row in faults.FAULTS
            if row[faults.NUMBER] not in reported | {faults.NONE} and str(row[faults.NAME]) not in BY_SEARCH]
