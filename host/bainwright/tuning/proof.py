"""Test new gains before a board gets them: the firmware's control law on hundreds of simulated warmers.

Each warmer plays the same evenings twice, with the present gains and with the new ones. A finding is a sentence and a
yes or no. One no is enough to refuse the gains.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.tuning import fastsim
from bainwright.tuning.choose import (
    COLD_C,
    CORNER,
    EVENING_S,
    MOST_MOVEMENT,
    NOMINAL,
    Chosen,
    Task,
    dipping,
    evening,
    with_gains,
)
from bainwright.tuning.model import Model
from bainwright.tuning.surrogate import Kitchen, draw

RIGS = 200
STRIDE_S = 30  # rows of the traces the pictures are drawn from

# How much worse new gains may be, over all warmers and on the worst one. Chosen: a probe's noise changes an evening's
# error by as much.
POOLED, WORST = 1.02, 1.25
SWING_K = 0.2  # a larger quiet error would look like swinging; chosen
OVERSHOOT_K = 0.3  # above the window in a warm-up from cold, on nineteen warmers of twenty; chosen


@dataclass(frozen=True)
class Course:
    """A kind of evening that every simulated warmer plays."""

    name: str
    start_c: tuple[float, float] | None = None
    fill: float = 1.0
    colder_k: float = 0.0
    calm: bool = False


COURSES = (
    Course("an evening of dipping"),
    Course("a warm-up from cold", start_c=COLD_C, calm=True),
    Course("dipping in a room 5 °C colder", colder_k=5.0),
    Course("the last third of a bowl", fill=0.35),
)


@dataclass(frozen=True)
class Finding:
    """One sentence, and whether the gains passed."""

    sentence: str
    ok: bool = True


@dataclass(frozen=True)
class Proof:
    """The results on the simulated warmers.

    Attributes
    ----------
    findings : list of Finding
        In order of importance.
    before, after : dict of str to Outcome
        By the course's name; scores of `RIGS` warmers each.
    """

    findings: list[Finding]
    before: dict[str, fastsim.Outcome]
    after: dict[str, fastsim.Outcome]
    rig_seconds: int

    @property
    def passed(self) -> bool:
        """Whether the gains may be used."""
        return all(each.ok for each in self.findings)

    def ratio(self, name: str = "rms_k") -> NDArray[np.float64]:
        """New over previous error of each warmer, in the dipping evening."""
        course = COURSES[0].name
        return self.after[course][name] / self.before[course][name]


def prove(task: Task, before: Mapping[str, float], chosen: Chosen, *, rigs: int = RIGS, seed: int = 0,
          progress: Callable[[int, int], None] | None = None) -> Proof:
    """Compare new gains with the present ones.

    Parameters
    ----------
    task : Task
        The findings and the chocolate.
    before : mapping
        The present gains.
    chosen : Chosen
        The new gains.
    rigs : int
        Number of simulated warmers.
    progress : callable, optional
        Called with the runs done and the total.
    """
    warmers = draw(task.findings, rigs, seed)
    outcomes: list[dict[str, fastsim.Outcome]] = []
    total, done = 2 * rigs * len(COURSES), 0
    for gains in (before, chosen.gains):
        settings = with_gains(task.settings, gains)
        results = {}
        for course in COURSES:
            runs = [_run(task, course, model, kitchen, settings) for model, kitchen in warmers]

            def report(some: int, so_far: int = done) -> None:
                if progress is not None:
                    progress(so_far + some, total)

            results[course.name] = fastsim.simulate(runs, EVENING_S, stride=STRIDE_S, progress=report)
            done += rigs
        outcomes.append(results)
    found = [*margin_findings(chosen), *course_findings(task, *outcomes)]
    return Proof(found, outcomes[0], outcomes[1], total * EVENING_S)


def _run(task: Task, course: Course, model: Model, kitchen: Kitchen, settings: Mapping[str, Any]) -> fastsim.Run:
    return evening(task, model, kitchen, settings, start_c=course.start_c, fill=course.fill,
                   room_c=task.room_c - course.colder_k, acts=None if course.calm else dipping)


def margin_findings(chosen: Chosen) -> list[Finding]:
    """Findings from the sensitivity peaks."""
    return [
        Finding(f"Sensitivity peaks at {chosen.nominal.worst:.2f} on the identified warmer "
                f"(limit {NOMINAL:g}).", chosen.nominal.worst <= NOMINAL + 0.005),
        Finding(f"It peaks at {chosen.worst:.2f} in the worst case that the log allows, from a full bowl to a fifth "
                f"(limit {CORNER:g}).", chosen.worst <= CORNER + 0.005),
        Finding(f"The probes' noise moves the heater by {100 * chosen.movement:.0f} % (limit "
                f"{100 * MOST_MOVEMENT:.0f} %).", chosen.movement <= MOST_MOVEMENT + 0.001),
    ]


def course_findings(task: Task, before: Mapping[str, fastsim.Outcome], after: Mapping[str, fastsim.Outcome]
                    ) -> list[Finding]:
    """Findings from the evenings."""
    found = []
    over = sum(int((each["wall_over_s"] > 0.0).sum()) for each in after.values())
    found.append(Finding(
        f"The bowl's wall stayed below its limit of {task.ceiling_c:g} °C on every simulated warmer." if not over else
        f"The bowl's wall was above its limit of {task.ceiling_c:g} °C in {over} simulated evenings.", not over))
    for course in COURSES:
        if not course.calm:
            found.append(_error_finding(course.name, before[course.name], after[course.name]))
    was, quiet = (float(np.nanpercentile(each[COURSES[0].name]["quiet_k"], 95)) for each in (before, after))
    found.append(Finding(f"With nobody at the bowl, the chocolate stays within {quiet:.2f} °C of its target (root mean "
                         f"square) on 19 warmers of 20; before, {was:.2f} °C.", quiet <= max(SWING_K, POOLED * was)))
    found.append(_warm_up_finding(task, before, after))
    return found


def _error_finding(name: str, before: fastsim.Outcome, after: fastsim.Outcome) -> Finding:
    was, is_ = fastsim.pooled(before["rms_k"]), fastsim.pooled(after["rms_k"])
    worst = float(np.nanmax(after["rms_k"] / before["rms_k"]))
    words = "smaller" if is_ <= was else "larger"
    return Finding(
        f"In {name} the chocolate's error is {is_:.3f} °C, {100 * abs(1 - is_ / was):.0f} % {words} than with the "
        f"present gains ({was:.3f} °C). On the warmer that gains least it is {worst:.2f} times as large as before.",
        is_ <= POOLED * was and worst <= WORST)


def _warm_up_finding(task: Task, before: Mapping[str, fastsim.Outcome], after: Mapping[str, fastsim.Outcome]
                     ) -> Finding:
    course = next(each.name for each in COURSES if each.calm)
    took = after[course]["warm_up_s"]
    cold = int(np.isnan(took).sum())
    if cold:
        return Finding(f"From cold, {cold} simulated warmers do not reach the window within four hours.",
                       cold <= int(np.isnan(before[course]["warm_up_s"]).sum()))
    peak = float(np.nanpercentile(after[course]["bowl_peak_c"], 95)) - task.high_c
    minutes = float(np.median(took)) / 60.0
    was = float(np.median(np.nan_to_num(before[course]["warm_up_s"], nan=EVENING_S))) / 60.0
    stay = f"less than {peak:.1f} °C above its top" if peak >= 0.05 else "below its top"
    return Finding(f"From cold the bowl reaches the window in {minutes:.0f} min (before, {was:.0f} min). 19 warmers of "
                   f"20 stay {stay}.", peak <= OVERSHOOT_K)


def feasibility(task: Task) -> list[Finding]:
    """Whether heater and water limit allow the hold at all, in the worst case that the log allows."""
    model, low, high = task.findings.model, task.findings.low, task.findings.high
    needed = model.needed_w(task.target_c, task.room_c)
    lost = model.bath_loss_w_per_k + model.bowl_loss_w_per_k
    ends_w = (needed * (low.bath_loss_w_per_k + low.bowl_loss_w_per_k) / lost,
              needed * (high.bath_loss_w_per_k + high.bowl_loss_w_per_k) / lost)
    top_c = task.ceiling_c - task.settings["gains.ceiling_margin_c"]
    emptied = replace(low.at_fill(0.2), bowl_loss_w_per_k=high.bowl_loss_w_per_k)
    return [_heater_finding(task, needed, ends_w), *_carried_findings(task),
            *_ceiling_findings(task, top_c, model, emptied)]


def _carried_findings(task: Task) -> list[Finding]:
    """Whether the log shows how the bowl follows the water; without that there is nothing to choose gains by."""
    missing = [name for name in ("bowl_j_per_k", "coupling_w_per_k") if name in task.findings.unidentified]
    if not missing or task.settings["probe.bowl.kind"] == "none":
        return []
    return [Finding("The log does not show how the chocolate follows the water: it ends before the bowl was warm, or "
                    "begins after. Run bain tune from cold and for longer (--for 2h). A heater too weak to warm the "
                    "bowl in that time cannot be tuned.", False)]


def _ceiling_findings(task: Task, top_c: float, full: Model, emptied: Model) -> list[Finding]:
    """What the warmest allowed water can hold: a full bowl as identified, a nearly empty one in the worst case."""
    full_c, emptied_c = full.held_by(top_c, task.room_c), emptied.held_by(top_c, task.room_c)
    if full_c < task.low_c:
        short_k = full.water_for(task.low_c, task.room_c) - top_c
        return [Finding(
            f"The water limit of {task.ceiling_c:g} °C makes this hold impossible: to hold {task.low_c:g} °C in a "
            f"room of {task.room_c:g} °C the water would have to be {short_k:.1f} °C warmer.", False)]
    if emptied_c < task.low_c:
        return [Finding(
            f"With water at its limit of {task.ceiling_c:g} °C a nearly empty bowl may cool to {emptied_c:.1f} °C if "
            "left alone. Refill before it is a fifth full, stir, or cover it.")]
    return []


def _heater_finding(task: Task, needed_w: float, ends_w: tuple[float, float]) -> Finding:
    have_w = task.findings.model.heater_w
    if needed_w > 0.95 * have_w:
        return Finding(
            f"The heater cannot hold {task.target_c:g} °C in a room of {task.room_c:g} °C: that takes about "
            f"{needed_w:.0f} W ({ends_w[0]:.0f} to {ends_w[1]:.0f} W by this log) and the heater has {have_w:g} W. Use "
            "a stronger heater, or cover bath and pot.", False)
    return Finding(f"Holding {task.target_c:g} °C in a room of {task.room_c:g} °C takes {needed_w:.0f} W of the "
                   f"heater's {have_w:g} W.")
