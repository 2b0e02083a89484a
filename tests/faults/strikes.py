"""What can go wrong: one row each, with the faults that must be told, how soon, and what must catch it if none can be.

Times are formulas of the rig: P heater watts, C the largest load (J/K), L the losses that must be believed (W), lag the
heater's lag. They restate the promises of `supervisor.py` and `selftest.py` in terms of the rig, not of their code.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from bainboard import faults
from bainwright.virtual import scenario as acts

from .phases import BEFORE, CHECKING, HOLDING, Setting
from .rigs import Warmer
from .world import Mishap

SOON_S = 2.0  # the conversion under way, and its pass
PASS_S = 3.0  # a conversion, the pass that reads it, and the pass it may just have missed
PROBE_LAG_S = 30.0  # the slowest probe supported
BATH_J_PER_LK, BOWL_J_PER_KGK, CHOCOLATE_J_PER_KGK = 4180.0, 900.0, 1670.0
LOSS_AT_1L_W_PER_K, MOST_LOSS_W_PER_K = 2.0, 12.0
LOOK_S, PROMISE_K, CHECK_PROBE_S = 40.0, 0.5, 15.0

Values = dict[str, Any]  # numbers, but for a few flags and names


def load_j_per_k(v: Values) -> float:
    """Full water, bowl and chocolate."""
    water_l, bowl_kg, chocolate_kg = float(v["water_l"]), float(v["bowl_kg"]), float(v["chocolate_kg"])
    return water_l * BATH_J_PER_LK + bowl_kg * BOWL_J_PER_KGK + chocolate_kg * CHOCOLATE_J_PER_KGK


def believed_w(v: Values, over_room_k: float) -> float:
    """Losses that must be believed, W."""
    loss_w_per_k = LOSS_AT_1L_W_PER_K * math.pow(v["water_l"], 0.667)
    return min(MOST_LOSS_W_PER_K, loss_w_per_k) * max(0.0, over_room_k)


def one_pass(v: Values, s: Setting) -> float:
    """A pass."""
    return PASS_S


def soon(v: Values, s: Setting) -> float:
    """The next pass: sooner than `trip.bad_samples` of them."""
    return SOON_S


def latching(v: Values, s: Setting, mean_w: float) -> float:
    """`trip.bad_samples` passes."""
    return float(v["trip.bad_samples"]) + PASS_S


def both_looks(v: Values, s: Setting, mean_w: float) -> float:
    """5 lag + 180 s with the guard open, then lag + 60 s + 0.6 K x C / (P - L) with it closed."""
    spare_w = v["heater_w"] - believed_w(v, s.profile["ceiling_c"] - s.room_c)
    if spare_w < 0.1 * v["heater_w"]:
        return float("inf")
    return float(6.0 * v["heater_lag_s"] + 240.0 + 0.6 * load_j_per_k(v) / spare_w)


def outside_proved(v: Values, s: Setting, mean_w: float) -> float:
    """10 lag + 240 s + 0.6 K x C / P, and as much again for a heat that is only just told."""
    return float(10.0 * v["heater_lag_s"] + 300.0 + 1.2 * load_j_per_k(v) / v["heater_w"])


def listened(v: Values, s: Setting, mean_w: float) -> float:
    """3 lag + 60 s + 0.6 K x C / (0.7 d P), d P the heat that arrived: at least 0.8 of what was given before."""
    return float(3.0 * v["heater_lag_s"] + 60.0 + 0.6 * load_j_per_k(v) / max(1.0, 0.7 * 0.8 * mean_w))


def self_test(v: Values, s: Setting) -> float:
    """From the start's asking: looks, pulses of C/2P, waits of lag + 15 s; suspicion doubles them, doubt triples."""
    pulse, drain = PROMISE_K * load_j_per_k(v) / v["heater_w"], v["heater_lag_s"] + CHECK_PROBE_S
    quick, close, warm = LOOK_S + 2 * pulse + drain, 2 * (LOOK_S + pulse + 3 * drain), 3 * (pulse + 3 * drain)
    return float(s.start_s - s.strike_s + quick + close + warm + 10.0)


def both_closer(v: Values, s: Setting) -> float:
    """Two looks, two pulses of C/2P, and five waits of lag + 15 s."""
    return 2.0 * (LOOK_S + s.pulse_s) + 5.0 * s.drain_s + 15.0


def by_pulse(v: Values, s: Setting) -> float:
    """As the self-test, for a heater of up to a minute's lag: a slower one's pulse comes too late to lead."""
    return self_test(v, s) if float(v["heater_lag_s"]) <= 60.0 else float("inf")


def at_rest(v: Values, s: Setting) -> float:
    """2 x 1 K x C / (P - L) + 2 (lag + 30 s), from when the control first asks for nothing; none if P is under L."""
    spare_w = v["heater_w"] - believed_w(v, s.profile["ceiling_c"] - s.room_c)
    if spare_w < 0.1 * v["heater_w"]:
        return float("inf")
    return float(2.0 * v["trip.idle_rise_k"] * load_j_per_k(v) / spare_w + 2.0 * (v["heater_lag_s"] + PROBE_LAG_S))


def over_stage(v: Values, s: Setting) -> float:
    """`trip.over_stage_s`, and the probe's lag."""
    return float(v["trip.over_stage_s"]) + 2 * PROBE_LAG_S + PASS_S


def alone(v: Values, s: Setting) -> float:
    """Half an hour before `trip.run_h` after the start."""
    return 3600.0 * float(v["trip.run_h"]) - 1800.0 + PASS_S


def left_alone(v: Values, s: Setting, mean_w: float) -> float:
    """Half an hour later."""
    return 1800.0 + PASS_S


def begun_warm(v: Values, s: Setting) -> float:
    """When the hold begins."""
    return s.start_s - s.strike_s + s.check_s + PASS_S


def begun_nearly_hot(v: Values, s: Setting) -> float:
    """When the self-test begins."""
    return s.start_s - s.strike_s + PASS_S


def by_heat(v: Values, s: Setting) -> float:
    """From the heat really given: see `judge.promised_s`."""
    return -1.0


def listened_and_retested(v: Values, s: Setting, mean_w: float) -> float:
    """Listening, and where the reading had moved a little, the retest."""
    return listened(v, s, mean_w) + retested(v, s, mean_w)


def by_fall(v: Values, s: Setting) -> float:
    """Probe lag x ln(F / (F - D)) + 3 passes for a fall of F K to the room's air: see `judge.fallen_s`.

    D is 1.5 K and what a cold top-up may be: 0.3 x (water - 15 °C). Where F is not half a kelvin over D: when 1.5 K x
    C/2 of heat above L was given, and 2 (lag + 30 s).
    """
    return -2.0


def by_surge(v: Values, s: Setting) -> float:
    """When the water rose by `trip.surge_k` above 1.5 times what the heat asked for does to half of it; two lags."""
    return -6.0


def by_weakness(v: Values, s: Setting) -> float:
    """When heat was withheld to look, and the water did not fall by itself: see `judge.weak_s`."""
    return -7.0


def by_budget(v: Values, s: Setting, mean_w: float) -> float:
    """Heat for 3 K of half the water, above the losses: see `judge._budget_s`."""
    return -5.0


def by_bowl_fall(v: Values, s: Setting) -> float:
    """Bowl probe lag x ln(F / (F - D)) + 3 passes, D 4.2 K and 1 K a minute; under D + 0.5 K it is not promised."""
    return -3.0


def by_asking(v: Values, s: Setting) -> float:
    """From the heat asked for, above losses and what the bowl may take, and a fall: see `judge.failed_s`."""
    return -4.0


def retested(v: Values, s: Setting, mean_w: float) -> float:
    """40 s + C / 2P + 3 (lag + 15 s), up to three pulses and once more."""
    pulse_s = PROMISE_K * load_j_per_k(v) / float(v["heater_w"])
    return float(LOOK_S + 4.0 * (pulse_s + 3.0 * (v["heater_lag_s"] + CHECK_PROBE_S)) + 10.0)


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
        Names of the fault table of which one must be told; empty: nothing has to be.
    within : callable or None
        Seconds from the strike to the first sign.
    stops : bool
        With the first sign heat is no longer allowed.
    ends, then : str, callable or None
        What the first sign must lead to (``latched``, or the name of a fault that is then told) and in how many
        seconds; before a latch no heat is allowed in between. Or what the latch has become
        at the end: ``stays``, ``cleared``. Or ``off``: no heat is allowed while it is told. Or what
        its first retest must say: ``condemned``, ``passed``.
    phases : tuple of str
        In which it must be told; in other phases it may come too, and only the invariants are checked.
    layer : str
        Where it is not told: what must catch it.
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


def _warm_start(s: Setting) -> list[Mishap]:
    s.water_c = s.bowl_c = 42.0
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


def _dry_and_wild(s: Setting) -> list[Mishap]:
    """Nothing is left to slow the heat down."""
    s.events.append(acts.BowlOff(at_s=s.strike_s, reported=True))
    return [*_world("dry", 0.1)(s), *_world("watts_share", 10.0)(s)]


def _sticks_bare(s: Setting) -> list[Mishap]:
    """With no guard fitted the switch sticks in the self-test's pulse, and again when it is looked at close up."""
    s.rig_changes["guard"] = False
    s.strike_s = s.start_s + LOOK_S + 2.0
    free_s = s.strike_s + s.pulse_s + s.drain_s + 2.0
    again_s = free_s + s.drain_s + LOOK_S + 2.0
    return [Mishap(s.strike_s, "fault", "switch_shorted"), Mishap(free_s, "fault", "switch_shorted", 0.0),
            Mishap(again_s, "fault", "switch_shorted")]


def _boil(c: float, share: float) -> Mend:
    def pour(s: Setting) -> list[Mishap]:
        s.events.append(acts.WaterSwap(at_s=s.strike_s, litres=share * float(s.values["water_l"]), temp_c=c))
        return []

    return pour


KETTLES_S = 800.0


def _kettles(s: Setting) -> list[Mishap]:
    """Kettle water into a bath that is heated, and some minutes later cold water, again and again."""
    s.water_c, s.bowl_c, litres = 20.0, 20.0, float(s.values["water_l"])
    for number in range(4):
        at_s = s.strike_s + KETTLES_S * number
        s.events.append(acts.WaterSwap(at_s=at_s, litres=0.08 * litres, temp_c=90.0))
        s.events.append(acts.WaterSwap(at_s=at_s + 0.8 * KETTLES_S, litres=0.5 * litres, temp_c=12.0))
    return []


def _kettle_low(s: Setting) -> list[Mishap]:
    """A third of the water and no bowl in it, which the retest's pulse warms as fast as it may."""
    s.water_c, s.bowl_c = 20.0, 20.0
    s.events += [acts.BowlOff(at_s=s.strike_s - 30.0, reported=True),
                 acts.WaterSwap(at_s=s.strike_s, litres=0.04 * float(s.values["water_l"]), temp_c=90.0)]
    return [Mishap(s.strike_s - 30.0, "world", "dry", 0.3)]


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


def _outside(s: Setting) -> list[Mishap]:
    watts = 0.7 * min(float(s.values["heater_w"]), 250.0 * float(s.values["water_l"]))
    return [Mishap(s.strike_s, "world", "outside_w", watts)]


def _pressed(after_s: float) -> list[tuple[float, float]]:
    """The recessed button, seen released and then held."""
    return [(after_s, 4.0), (after_s + 6.0, 0.0)]


def _press(s: Setting, after_s: float) -> list[Mishap]:
    return [Mishap(s.strike_s + at_s, "desk", "press", bits) for at_s, bits in _pressed(after_s)]


def _both(s: Setting) -> list[Mishap]:
    """Watched for the whole time, latched or not: how hot does it get?"""
    s.play["ends_latched"] = False
    return [*_fault("switch_shorted")(s), *_fault("guard_welded")(s)]


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
    # -- probes, in the kitchen ----------------------------------------------------------------------------------------
    Strike("water_stuck", _fault("water_stuck"), ("WATER_STUCK", "NO_HEAT_AT_START", "HEATER_LOST", "SWAPPED"),
           by_heat, ("warm_up", *BEFORE), "manual-reset cut-out", watch_s=7200.0, hot=True, stops=True, ends="latched",
           then=listened_and_retested,
           note="under the believed losses it cannot be told from a well-held bath; in a start, where the bowl warms "
                "and the water does not, it may be named swapped"),
    Strike("bowl_stuck", _fault("bowl_stuck"), layer="the wall's ceiling holds; a hand thermometer", watch_s=3600.0),
    Strike("water_out", _world("water_out", 1.0), ("PROBE_OUT",), by_fall, ("quiet", "night"),
           "manual-reset cut-out, thermal fuse", hot=True, watch_s=7200.0, ends="latched", then=by_budget),
    Strike("bowl_out", _world("bowl_out", 1.0), ("BOWL_OUT",), by_bowl_fall, ("quiet", "night"),
           "the wall's ceiling holds; a look at the probe", watch_s=3600.0),
    Strike("swapped", _world("swapped", 1.0), ("SWAPPED",), by_pulse, ("idle",), "keyed plugs", hot=True,
           watch_s=3600.0, note="not promised of a heater that takes over a minute to give its heat"),
    Strike("drift_down", _world("drift_k_per_h", -3.0), (), None, (), "calibration; manual-reset cut-out", hot=True,
           watch_s=7200.0),
    Strike("drift_up", _world("drift_k_per_h", 3.0), (), None, (), "calibration; the bowl is only cold",
           watch_s=7200.0),
    # -- switch, guard, heater -----------------------------------------------------------------------------------------
    Strike("switch_shorted", _fault("switch_shorted"), ("HEAT_AT_REST", "SWITCH_SHORTED"), at_rest,
           (*BEFORE, *HOLDING), watch_s=4500.0, stops=True, ends="latched", then=both_looks),
    Strike("sticks_bare", _sticks_bare, ("SWITCH_SHORTED",), both_closer, ("look",), "do not build without the guard",
           hot=True, stops=True, note="no guard is fitted, and the switch sticks now and then; one that is shorted all "
           "the time makes an even rise there, which the self-test takes for the bath's own"),
    Strike("guard_welded", _fault("guard_welded"), ("GUARD_WELDED",), self_test, BEFORE,
           "the next self-test; till then cut-out and thermal fuse", watch_s=600.0,
           note="in a hold nothing asks the guard to open; beside a bowl of another temperature the test is masked"),
    Strike("both_shorted", _both,
           ("HEAT_AT_REST", "SWITCH_SHORTED", "GUARD_WELDED", "OVER_HARD_LIMIT", "OVER_STAGE", "HOT_BEFORE_START"),
           at_rest, (*BEFORE, *HOLDING), "the thermal fuse alone, after the manual-reset cut-out", hot=True,
           watch_s=7200.0, note="the firmware sees the heat and can cut neither; where opening the guard changes "
                                "nothing it may call it heat from outside, till the hard limit"),
    Strike("heater_open", _fault("heater_open"), ("NO_HEAT_AT_START", "HEATER_LOST", "WATER_STUCK", "SWAPPED"),
           by_asking,
           (*BEFORE, "guard_pulse", "switch_pulse", "wait", "warm_pulse", "warm_up", "quiet", "night"),
           "nothing: the bowl cools", watch_s=5400.0, stops=True, ends="latched", then=retested,
           note="in a start it may be named swapped; water that cools by itself in the look is taken for losses, and "
                "the heater told an hour later"),
    Strike("watts_low", _world("watts_share", 0.2), ("NO_HEAT_AT_START", "HEATER_LOST"), by_weakness, ("warm_up",),
           "nothing: the bowl cools", watch_s=3600.0, stops=True,
           note="told where the water rose a little; heat that only covers the losses is held for losses"),
    Strike("watts_high", _world("watts_share", 1.6), ("STRONG_HEATER",), None, (),
           "the supply's limit of 1.5 x; fuse; thermal fuse", watch_s=3600.0),
    Strike("dry", _world("dry", 0.1), ("STRONG_HEATER",), None, (), "a float in the guard chain; thermal fuse",
           hot=True, watch_s=3600.0, note="the bowl takes up what the water no longer does"),
    Strike("watts_wrong", _world("watts_share", 10.0), ("STRONG_HEATER",), by_surge, ("warm_up",),
           "the supply's limit of 1.5 x; fuse; thermal fuse", watch_s=3600.0, hot=True, stops=True,
           note="a heater of ten times the stated watts; in a full bath of its own size it only is quick"),
    Strike("watts_wild", _dry_and_wild, ("STRONG_HEATER",), by_surge, ("warm_up",),
           "the supply's limit of 1.5 x; fuse; thermal fuse", watch_s=3600.0, hot=True, bath_only=True,
           ends="condemned", note="a bath nearly dry, the bowl lifted, and ten times the stated watts"),
    # -- heat from elsewhere -------------------------------------------------------------------------------------------
    Strike("outside", _outside, ("HEAT_FROM_OUTSIDE", "HEAT_AT_REST", "OVER_STAGE"), at_rest, ("quiet",), hot=True,
           watch_s=4500.0, stops=True, ends="HEAT_FROM_OUTSIDE", then=outside_proved,
           note="nothing of the warmer's can stop a stove"),
    Strike("hot_start", _hot_start, ("HOT_BEFORE_START",), one_pass, ("idle",), hot=True, stops=True,
           note="told from the first pass"),
    Strike("nearly_hot", _nearly_hot, ("HOT_BEFORE_START",), begun_nearly_hot, ("idle",), hot=True, stops=True,
           note="within 3 K of the hard limit nothing is tested"),
    Strike("hot_water", _boil(80.0, 0.25), ("OVER_STAGE",), over_stage, ("quiet",), hot=True, bath_only=True,
           note="the heat is the person's", stops=True),
    Strike("kettles", _kettles, ("STRONG_HEATER",), None, ("warm_up",), hot=True, bath_only=True, watch_s=4 * KETTLES_S,
           note="four times hot water and cold again: the fourth doubt within an hour latches"),
    Strike("kettle_low", _kettle_low, ("STRONG_HEATER",), by_surge, ("warm_up",), hot=True, bath_only=True,
           ends="passed", watch_s=1500.0,
           note="kettle water into a third of the bath with the bowl lifted: the retest passes"),
    Strike("boiling", _boil(99.0, 0.8), ("OVER_HARD_LIMIT", "OVER_STAGE", "WATER_PROBE", "STRONG_HEATER"),
           over_stage, ("quiet",), hot=True, bath_only=True, note="the heat is the person's", stops=True),
    Strike("alone", _alone, ("RUN_TIMER",), alone, ("idle", "quiet"), watch_s=3000.0, ends="RUN_TIMER",
           then=left_alone),
    Strike("warm_start", _warm_start, ("OVER_STAGE",), begun_warm, ("idle",), hot=True, stops=True,
           note="came warmer than allowed"),
    # -- clock, loop, memory -------------------------------------------------------------------------------------------
    Strike("slow_pass", _desk("hang", 1.5), fast_only=True),
    Strike("stutter", _stutter, fast_only=True, note="no fault: the loop counts afresh from a late pass"),
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
    """Faults of the firmware's table that no strike tells: the campaign must grow with the table."""
    told = {NUMBERS.get(name) for strike in STRIKES for name in strike.tells}
    return [str(row[faults.NAME]) for row in faults.FAULTS if row[faults.NUMBER] not in told | {faults.NONE}]
