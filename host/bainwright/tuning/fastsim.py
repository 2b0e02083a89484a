"""Whole evenings on many warmers at once: the firmware's own control law against the built-in plant, compiled.

The law (`bainboard.control`) and the plant (`bainwright.virtual.plant`) are translated from their source by
`bainwright.tuning.compiled`. This module adds what lies between them on a real board: probes with lag, noise, steps and
the age of a reading, the switch's period, and the evening's events. A step is one second, as the board's tick is.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard import refill
from bainboard.control.cascade import Cascade
from bainboard.control.rules import safe_gains
from bainwright.files.rig import Rig
from bainwright.tuning import compiled
from bainwright.virtual import scenario as acts
from bainwright.virtual.plant import Start, Warmer
from bainwright.virtual.scenario import Scenario

ONEWIRE_STEP_C = 0.0625  # 12 bits of the digital probe
NTC_STEP_C = 0.02  # a 12-bit converter near 32 °C on 10 kohm over 10 kohm: 4096 steps over some 80 K, computed
LEAD_S = refill.LEAD_MS / 1000.0
QUIET_AFTER_S = 900  # for the quiet error, an event is over a quarter of an hour after it began (design)

# The scores of an evening, one number a rig.
METRICS = (
    "rms_k", "quiet_k", "inside", "warm_up_s", "bowl_peak_c", "water_peak_c", "wall_peak_c", "wall_over_s",
    "movement", "mean_duty", "energy_j", "exposure_k_min",
)
TRACE = ("water_c", "bowl_c", "wall_c", "duty", "water_target_c")  # columns of a trace
DIP, REFILL, TOP_UP, DRAUGHT, ROOM, BOWL, ANNOUNCE = range(7)  # kinds of an event's row: at_s, kind, a, b

KERNEL = '''
from math import exp as _exp, floor as _floor, sqrt as _sqrt
import numpy as np

DIP, REFILL, TOP_UP, DRAUGHT, ROOM, BOWL, ANNOUNCE = range(7)  # kinds of an event

@njit(cache=True)
def quantised(x, step):
    return _floor(x / step + 0.5) * step if step > 0.0 else x

@njit(cache=True)
def apply_event(w, kind, a, b):
    if kind == DIP:
        rate = w.dip_kg_per_s + a
        w.dip_kg_per_s = 0.0 if abs(rate) < 1e-12 else rate
        w._fresh_s = 0.0
    elif kind == REFILL:
        PLANT_refill(w, a, b)
    elif kind == TOP_UP:
        PLANT_top_up(w, a, b)
    elif kind == DRAUGHT:
        w.draught = a
        w._fresh_s = 0.0
    elif kind == ROOM:
        w.room_c = a
        w._fresh_s = 0.0
    elif kind == BOWL:
        w.bowl_in = a > 0.5
        w._fresh_s = 0.0

@njit(cache=True, nogil=True)
def run(cascades, warmers, kits, events, given_w, seconds, scores, trace, stride):
    for n in range(len(kits)):
        c, w, k = cascades[n], warmers[n], kits[n]
        np.random.seed(int(k.seed))
        keep_w = _exp(-1.0 / k.water_lag_s) if k.water_lag_s > 0.0 else 0.0
        keep_b = _exp(-1.0 / k.bowl_lag_s) if k.bowl_lag_s > 0.0 else 0.0
        element_w, element_b, comes = w.water_c, w.bowl_c, 0.0
        at, seen = 0, -1.0e9
        read_w = old_w = quantised(element_w + k.water_bias_c, k.water_step_c)
        read_b = old_b = quantised(element_b + k.bowl_bias_c, k.bowl_step_c)
        duty, share, period_at = 0.0, 0.0, 0
        warm, scored, quiet, inside, over = -1.0, 0.0, 0.0, 0.0, 0.0
        squares, quiet_squares, moved, total, energy, exposure = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        top_b = top_w = top_wall = -1.0e9
        given = given_w.shape[1]
        for t in range(1, seconds + 1):
            if t <= given:
                power = given_w[n, t - 1]
            else:
                on = share * k.period_s - (t - 1 - period_at)
                power = k.heater_w * min(1.0, max(0.0, on))
            PLANT_step(w, power, 1.0)
            energy += power
            element_w += (w.water_c - element_w) * (1.0 - keep_w)
            element_b += (w.bowl_c - element_b) * (1.0 - keep_b)
            while at < events.shape[1] and events[n, at, 0] <= t:
                if events[n, at, 1] == ANNOUNCE:
                    comes = -1.0 if events[n, at, 2] > 0.0 else 1.0
                else:
                    comes = 0.0 if events[n, at, 1] == REFILL else comes
                    apply_event(w, events[n, at, 1], events[n, at, 2], events[n, at, 3])
                    seen = t
                at += 1
            read_w = quantised(element_w + k.water_bias_c + k.noise_c * np.random.normal(), k.water_step_c)
            read_b = quantised(element_b + k.bowl_bias_c + k.noise_c * np.random.normal(), k.bowl_step_c)
            if t == given or (given == 0 and t == 1):
                Cascade_reset(c, old_w if k.water_aged else read_w,
                              (old_b if k.bowl_aged else read_b) if k.bowl_probe else nan)
            if t >= given:
                now_b = nan
                if k.bowl_probe:
                    now_b = old_b if k.bowl_aged else read_b
                before = duty
                aim = k.target_c
                if comes > 0.0 and k.bowl_probe:
                    aim = LED(k.target_c, k.high_c, k.ceiling_c, now_b)
                elif comes < 0.0 and k.bowl_probe:
                    aim = EASED(k.target_c, k.low_c)
                duty = Cascade_step(
                    c, old_w if k.water_aged else read_w, now_b, aim, k.ceiling_c, k.room_c, 1.0, False, True)
                Cascade_applied(c, duty)
                moved += abs(duty - before)
                total += duty
                # a period takes the duty it begins with; zero takes effect at once, and out of rest a period begins
                if duty <= 0.0:
                    share = 0.0
                elif before <= 0.0 or t - period_at >= k.period_s:
                    share, period_at = duty, t
            old_w, old_b = read_w, read_b
            bowl = w.bowl_c
            if warm < 0.0 and k.low_c <= bowl <= k.high_c:
                warm = t
            if warm >= 0.0:
                error = bowl - k.target_c
                scored += 1.0
                squares += error * error
                if k.low_c <= bowl <= k.high_c:
                    inside += 1.0
                if t - seen > k.quiet_after_s:
                    quiet += 1.0
                    quiet_squares += error * error
            if bowl > k.high_c:
                exposure += (bowl - k.high_c) / 60.0
            top_b, top_w, top_wall = max(top_b, bowl), max(top_w, w.water_c), max(top_wall, w.wall_c)
            if w.wall_c > k.ceiling_c:
                over += 1.0
            if stride > 0 and t % stride == 0 and t // stride <= trace.shape[1]:
                row = trace[n, t // stride - 1]
                row[0], row[1], row[2], row[3], row[4] = w.water_c, bowl, w.wall_c, duty, c.water_target_c
        s = scores[n]
        s[0] = _sqrt(squares / scored) if scored > 0.0 else nan
        s[1] = _sqrt(quiet_squares / quiet) if quiet > 0.0 else nan
        s[2] = inside / scored if scored > 0.0 else 0.0
        s[3] = warm if warm >= 0.0 else nan
        s[4], s[5], s[6], s[7] = top_b, top_w, top_wall, over
        s[8], s[9], s[10], s[11] = moved / seconds, total / seconds, energy, exposure
'''


@dataclass
class Kit:
    """What lies between law and plant, and the targets; one for each run."""

    heater_w: float
    period_s: float
    water_lag_s: float
    bowl_lag_s: float
    water_bias_c: float = 0.0
    bowl_bias_c: float = 0.0
    noise_c: float = 0.02
    water_step_c: float = ONEWIRE_STEP_C
    bowl_step_c: float = ONEWIRE_STEP_C
    water_aged: bool = True
    bowl_aged: bool = True
    bowl_probe: bool = True
    target_c: float = 31.5
    low_c: float = 31.0
    high_c: float = 32.0
    ceiling_c: float = 34.5
    room_c: float = 20.0
    seed: float = 1.0
    quiet_after_s: float = QUIET_AFTER_S


@dataclass
class Run:
    """One evening on one warmer: the law's settings, and the true warmer."""

    cascade: Cascade
    warmer: Any  # a `Warmer`, or what has its attributes
    kit: Kit
    events: list[tuple[float, float, float, float]] = field(default_factory=list)


@dataclass
class Outcome:
    """Scores of each run by name, and traces if they were asked for."""

    scores: NDArray[np.float64]
    trace: NDArray[np.float64]

    def __getitem__(self, name: str) -> NDArray[np.float64]:
        return self.scores[:, METRICS.index(name)]


def kit_of(rig: Rig, **changes: Any) -> Kit:
    """The probes and switch of a rig."""
    table, values = rig.plant, rig.settings
    steps = {"onewire": ONEWIRE_STEP_C, "ntc": NTC_STEP_C}
    kit = Kit(
        values["heater_w"], values["period_s"] if values["switch"] == "zero_cross" else 1.0,
        table.water_probe_lag_s, table.bowl_probe_lag_s, table.water_probe_bias_c or 0.0,
        table.bowl_probe_bias_c or 0.0, table.probe_noise_c,
        steps[values["probe.water.kind"]], steps.get(values["probe.bowl.kind"], ONEWIRE_STEP_C),
        values["probe.water.kind"] == "onewire", values["probe.bowl.kind"] == "onewire", rig.has_bowl_probe,
    )  # fmt: skip
    for name, value in changes.items():
        setattr(kit, name, value)
    return kit


def cascade_of(settings: dict[str, Any]) -> Cascade:
    """The firmware's controller as these settings make it."""
    return Cascade(safe_gains(settings), settings["bowl_offset_c"])


def events_of(scenario: Scenario | None) -> list[tuple[float, float, float, float]]:
    """A scenario's physical events and announcements as rows, in order; its other acts on the board are left out."""
    rows: list[tuple[float, float, float, float]] = []
    for event in scenario.events if scenario else ():
        if isinstance(event, acts.Dip):
            rate = event.mass_kg / event.for_s
            rows += [(event.at_s, DIP, rate, 0.0), (event.at_s + event.for_s, DIP, -rate, 0.0)]
        elif isinstance(event, acts.Refill):
            rows.append((event.at_s, REFILL, event.mass_kg, event.temp_c))
        elif isinstance(event, acts.Announce):
            warm = event.temp_c is not None and event.temp_c >= Kit.target_c
            rows.append((event.at_s + max(0.0, event.in_s - LEAD_S), ANNOUNCE, float(warm), 0.0))
        elif isinstance(event, acts.WaterTopUp):
            rows.append((event.at_s, TOP_UP, event.litres, event.temp_c))
        elif isinstance(event, acts.Draught):
            rows += [(event.at_s, DRAUGHT, event.factor, 0.0), (event.at_s + event.for_s, DRAUGHT, 1.0, 0.0)]
        elif isinstance(event, acts.Room):
            rows.append((event.at_s, ROOM, event.temp_c, 0.0))
        elif isinstance(event, acts.BowlOff | acts.BowlOn):
            rows.append((event.at_s, BOWL, float(isinstance(event, acts.BowlOn)), 0.0))
    return sorted(rows)


def run_of(rig: Rig, settings: dict[str, Any], scenario: Scenario | None = None, **kit: Any) -> Run:
    """A run of the built-in warmer: `rig` is the true warmer, `settings` are the board's."""
    start = scenario.start.start() if scenario and scenario.start else Start()
    warmer = Warmer(rig, start)
    return Run(cascade_of(settings), warmer, kit_of(rig, **{"room_c": start.room_c, **kit}), events_of(scenario))


def simulate(
    runs: Sequence[Run], seconds: int, *, stride: int = 0, given_w: NDArray[np.float64] | None = None,
    progress: Callable[[int], None] | None = None, batch: int = 16,
) -> Outcome:
    """Run evenings side by side.

    Parameters
    ----------
    runs : sequence of Run
        Not changed; each is copied.
    seconds : int
        How long each is.
    stride : int
        Seconds between rows of the trace; 0: no trace.
    given_w : array, shape (runs, any), optional
        Heater power of the first seconds, W, before the law takes over.
    progress : callable, optional
        Called now and then with the number of runs done.
    batch : int
        Runs a thread takes at a time.

    Returns
    -------
    Outcome
        ``scores`` of shape (runs, len(METRICS)); ``trace`` of shape (runs, seconds // stride, len(TRACE)).
    """
    module = machine(runs[0])
    count = len(runs)
    cascades = compiled.records([each.cascade for each in runs])
    warmers = compiled.records([each.warmer for each in runs])
    kits = compiled.records([each.kit for each in runs])
    events = np.full((count, max(1, max(len(each.events) for each in runs)), 4), np.inf)
    for at, each in enumerate(runs):
        if each.events:
            events[at, : len(each.events)] = each.events
    given = np.zeros((count, 0)) if given_w is None else np.ascontiguousarray(given_w, dtype=float)
    scores = np.zeros((count, len(METRICS)))
    trace = np.zeros((count, seconds // stride if stride else 0, len(TRACE)))

    def part(at: int) -> int:
        cut = slice(at, at + batch)
        module.run(cascades[cut], warmers[cut], kits[cut], events[cut], given[cut], seconds, scores[cut], trace[cut],
                   stride)
        return len(kits[cut])

    done = 0
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        for some in pool.map(part, range(0, count, batch)):
            done += some
            if progress is not None:
                progress(done)
    return Outcome(scores, trace)


_machines: dict[tuple[Any, ...], ModuleType] = {}


def machine(run: Run) -> ModuleType:
    """The compiled law and plant for records of this shape."""
    shape = (compiled.dtype_of(run.cascade), compiled.dtype_of(run.warmer))
    if shape not in _machines:
        unit = compiled.Unit(run.cascade, run.warmer)
        for name in ("reset", "step", "applied"):
            unit.method(Cascade, name)
        plant = type(run.warmer)
        for name in ("step", "refill", "top_up"):
            unit.method(plant, name)
        kernel = KERNEL.replace("PLANT", plant.__name__)
        for word, law in (("LED", refill.led_c), ("EASED", refill.eased_c)):
            kernel = kernel.replace(f"{word}(", f"{unit.outside(law, law.__name__, refill)}(")
        _machines[shape] = compiled.load(unit.text(), kernel)
    return _machines[shape]


def pooled(values: Iterable[float]) -> float:
    """Root mean square of errors."""
    array = np.asarray(list(values), dtype=float)
    return float(np.sqrt(np.nanmean(array**2)))
