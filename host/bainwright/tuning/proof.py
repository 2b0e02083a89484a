"""Test new gains before a board gets them: the firmware's control law on hundreds of simulated warmers.

Each warmer fits the log, and plays the same evenings twice, with the present gains and with the new ones. The new ones
must do better, warmer by warmer. A finding is a sentence and a yes or no. One no is enough to refuse the gains.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from bainboard.control.cascade import MOST_OVER_K
from bainwright.tuning import fastsim
from bainwright.tuning.choose import (
    COLD_C,
    CORNER,
    EVENING_S,
    MOST_MOVEMENT,
    NOMINAL,
    QUIET_WORTH,
    WARM_UP_K_PER_H,
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

# How far true warmers differ from simulated ones beyond what a log leaves open: standard deviations of the logarithm
# of an evening's error, of a warm-up's time, and of what new gains change in the cost. Chosen on 34 warmers of other
# structures (tests/bench/RESULTS.md), seeds 21 to 26 of `tests/bench/prophecies.py`.
ERROR_SPREAD, WARM_UP_SPREAD, CHANGE_SPREAD = 0.1, 0.05, 0.03
WORSE = 1.03  # what one kind of evening may lose on nine warmers of ten; chosen, a probe's noise changes it by as much
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

    @property
    def predicted_k(self) -> tuple[float, float]:
        """Ends of the error that the new gains leave in the dipping evening, nine times in ten, K."""
        return nine_of_ten(self.after[COURSES[0].name]["rms_k"], ERROR_SPREAD)


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
        Finding(f"Sensitivity peaks at {chosen.nominal.worst:.2f} on the identified warmer (limit {NOMINAL:.2g}).",
                chosen.nominal.worst <= NOMINAL + 0.005),
        Finding(f"It peaks at {chosen.worst:.2f} in the worst case that the log allows, from a full bowl to a fifth "
                f"(limit {CORNER:.2g}).", chosen.worst <= CORNER + 0.005),
        Finding(f"The probes' noise moves the heater by {100 * chosen.movement:.0f} % (limit "
                f"{100 * MOST_MOVEMENT:.0f} %).", chosen.movement <= MOST_MOVEMENT + 0.001),
    ]


def course_findings(task: Task, before: Mapping[str, fastsim.Outcome], after: Mapping[str, fastsim.Outcome]
                    ) -> list[Finding]:
    """Findings from the evenings."""
    found = []
    over = sum(int((each["wall_over_s"] > 0.0).sum()) for each in after.values())
    found.append(Finding(
        f"The bowl's wall stayed below its limit of {task.ceiling_c:g} °C on every simulated warmer. The water may be "
        f"up to {MOST_OVER_K:.1f} °C over it while a cold bowl warms up." if not over else
        f"The bowl's wall was above its limit of {task.ceiling_c:g} °C in {over} simulated evenings.", not over))
    found.append(_paired_finding(before, after))
    for course in COURSES:
        if not course.calm:
            found.append(_error_finding(course.name, before[course.name], after[course.name]))
    was, quiet = (float(np.nanpercentile(each[COURSES[0].name]["quiet_k"], 95)) for each in (before, after))
    found.append(Finding(f"With nobody at the bowl, the chocolate stays within {quiet:.2f} °C of its target (root mean "
                         f"square) on 19 warmers of 20; before, {was:.2f} °C.", quiet <= max(SWING_K, WORSE * was)))
    found.append(_warm_up_finding(task, before, after))
    return found


def cost_k(outcomes: Mapping[str, fastsim.Outcome]) -> NDArray[np.float64]:
    """What gains are chosen by (`choose.Search.error_k`), for each warmer."""
    cold = next(each.name for each in COURSES if each.calm)
    errors = [outcomes[each.name]["rms_k"] for each in COURSES if not each.calm]
    quiet = np.nan_to_num(outcomes[COURSES[0].name]["quiet_k"])
    warm_h = np.nan_to_num(outcomes[cold]["warm_up_s"], nan=EVENING_S) / 3600.0
    return np.asarray(np.mean(np.nan_to_num(errors), axis=0) + QUIET_WORTH * quiet + WARM_UP_K_PER_H * warm_h)


def nine_of_ten(values: NDArray[np.float64], spread: float) -> tuple[float, float]:
    """Ends of the middle nine tenths of what true warmers do, from what simulated ones do."""
    low, high = np.nanpercentile(truly(values, spread), [5.0, 95.0])
    return float(low), float(high)


def truly(values: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
    """Each value with the simulation's own errors, of this standard deviation of the logarithm, equally likely."""
    errors = ndtri((np.arange(99) + 0.5) / 99.0)
    return np.outer(values, np.exp(spread * errors)).ravel()


def _paired_finding(before: Mapping[str, fastsim.Outcome], after: Mapping[str, fastsim.Outcome]) -> Finding:
    """Whether the new gains surely do better, each warmer compared with itself."""
    share = cost_k(after) / cost_k(before)
    middle, most = float(np.median(share)), float(np.percentile(truly(share, CHANGE_SPREAD), 90.0))
    change = f"Errors and warm-up change by {100.0 * (middle - 1.0):+.0f} % at the median of the simulated warmers"
    if most < 1.0:
        return Finding(f"The new gains surely do better than the present ones. {change}, and nine times in ten by "
                       f"{100.0 * (most - 1.0):+.1f} % or better.")
    if middle > 1.0 - 2.0 * CHANGE_SPREAD:
        return Finding(f"The new gains are not surely better than the present ones. {change}, and a true warmer "
                       "differs from those by a few per cent. So the present gains stay. They suit this warmer: "
                       "nothing needs to be done.", False)
    return Finding(f"The new gains are not surely better than the present ones. {change}, but one time in ten by "
                   f"{100.0 * (most - 1.0):+.0f} % or more. So the present gains stay. A longer log from cold, stirred "
                   "every minute or two, shows more of the warmer.", False)


def _error_finding(name: str, before: fastsim.Outcome, after: fastsim.Outcome) -> Finding:
    was, is_ = fastsim.pooled(before["rms_k"]), fastsim.pooled(after["rms_k"])
    most = float(np.nanpercentile(after["rms_k"] / before["rms_k"], 90.0))
    low, high = nine_of_ten(after["rms_k"], ERROR_SPREAD)
    words = "smaller" if is_ <= was else "larger"
    return Finding(
        f"In {name}, once its first half hour is over, the chocolate's error is {is_:.3f} °C ({low:.2f} to {high:.2f} "
        f"°C nine times in ten), {100 * abs(1 - is_ / was):.0f} % {words} than with the present gains ({was:.3f} °C). "
        f"On 9 simulated warmers of 10 it is at most {most:.2f} times as large as before.", most <= WORSE)


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
    low, high = (end_s / 60.0 for end_s in nine_of_ten(took, WARM_UP_SPREAD))
    was = float(np.median(np.nan_to_num(before[course]["warm_up_s"], nan=EVENING_S))) / 60.0
    stay = f"less than {peak:.1f} °C above its top" if peak >= 0.05 else "below its top"
    return Finding(f"From cold the bowl reaches the window in {minutes:.0f} min ({low:.0f} to {high:.0f} nine times in "
                   f"ten; before, {was:.0f} min). 19 warmers of 20 stay {stay}.", peak <= OVERSHOOT_K)


def feasibility(task: Task, tripped: str = "") -> list[Finding]:
    """Whether heater and water limit allow the hold at all, in the worst case that the log allows.

    Parameters
    ----------
    task : Task
        The findings and the chocolate.
    tripped : str
        What took the heat off during the experiment, in words; empty where nothing did.
    """
    model, low, high = task.findings.model, task.findings.low, task.findings.high
    needed = model.needed_w(task.target_c, task.room_c)
    lost = model.bath_loss_w_per_k + model.bowl_loss_w_per_k
    ends_w = (needed * (low.bath_loss_w_per_k + low.bowl_loss_w_per_k) / lost,
              needed * (high.bath_loss_w_per_k + high.bowl_loss_w_per_k) / lost)
    top_c = task.ceiling_c - task.settings["gains.ceiling_margin_c"]
    emptied = replace(low.at_fill(0.2), bowl_loss_w_per_k=high.bowl_loss_w_per_k)
    return [_heater_finding(task, needed, ends_w), *_carried_findings(task, tripped),
            *_ceiling_findings(task, top_c, model, emptied)]


def _carried_findings(task: Task, tripped: str) -> list[Finding]:
    """Whether the log shows how the bowl follows the water; without that there is nothing to choose gains by."""
    missing = [name for name in ("bowl_j_per_k", "coupling_w_per_k") if name in task.findings.unidentified]
    if not missing or task.settings["probe.bowl.kind"] == "none":
        return []
    if tripped:
        return [Finding(f"The warmer took its heat off during the experiment: {tripped}. So the log does not show how "
                        "the chocolate follows the water. Put that right before you run bain tune again.", False)]
    return [Finding("The log does not show how the chocolate follows the water: it ends before the bowl was warm, or "
                    "begins after, or nobody stirred. Run bain tune from cold, for longer (--for 2h), and stir every "
                    "minute or two. A heater too weak to warm the bowl in that time cannot be tuned.", False)]


def _ceiling_findings(task: Task, top_c: float, full: Model, emptied: Model) -> list[Finding]:
    """What the warmest allowed water can hold: a full bowl as identified, a nearly empty one in the worst case."""
    full_c, emptied_c = full.held_by(top_c, task.room_c), emptied.held_by(top_c, task.room_c)
    if full_c < task.low_c:
        short_k = full.water_for_c(task.low_c, task.room_c) - top_c
        return [Finding(
            f"By this log the water limit of {task.ceiling_c:g} °C makes this hold impossible: to hold {task.low_c:g} "
            f"°C in a room of {task.room_c:g} °C the water would have to be {short_k:.1f} °C warmer. A bowl that "
            "nobody stirs looks like that too: then run bain tune again and stir every minute or two. If you did "
            "stir, cover the bowl or choose a warmer room.", False)]
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
