"""After a hold: score it, seal its log, draw it, and report it in JSON and in sentences."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from bainwright.core.atomic_write import alone
from bainwright.core.errors import BainError
from bainwright.core.os_errors import refusal
from bainwright.evening import endings, watch
from bainwright.evening.runner import Outcome, Runner, window_of
from bainwright.files.chocolate import window_at
from bainwright.files.score import (
    RAW,
    READINGS,
    SCORE_KEYS,
    TRUE,
    Score,
    Trace,
    Window,
    figures,
    score,
    step_lengths_s,
)
from bainwright.link.stopping import NOT_STOPPED
from bainwright.record import temper_tests
from bainwright.record.names import CSV
from bainwright.record.reader import HoldLog, read_log
from bainwright.record.writer import seal
from bainwright.report import morning, steps
from bainwright.report.sentences import (
    BUT,
    SET,
    SPOILT,
    evening_paragraph,
    learnt_words,
    melted_again,
    next_bowls_words,
    paragraph,
    temper_left,
)

ENDINGS = {
    endings.STOPPED: "It was stopped.",
    endings.TRIPPED: "It ended with a trip.",
    endings.NEVER_RAN: "The warmer answered that it started, and stayed at rest: look at its cable and start again.",
    endings.NOT_OFF: f"It was told to stop. {NOT_STOPPED}",
    endings.LEFT: "It was left: the warmer needs no PC.",
    endings.RESTARTED: "The board restarted in the middle of it, and its heat went off. It resumes by itself or by yes "
    "at the warmer; bain hold --join watches it then.",
    endings.OTHER: "It is over, and the warmer runs another hold now: somebody started it. bain hold --join watches "
    "it.",
    endings.LOST: "The connection to the board was lost; this covers the time until then.",
}
RESTARTED_VIRTUAL = (
    "The board restarted in the middle of it. A simulated hold ends there; a real one resumes by itself or by yes."
)
DECLINED = "The board restarted in the middle of it, and somebody at the warmer ended it then."
RESUMED = "The board restarted in the middle of it and still holds; bain hold --join watches it."
RESTARTED_LATCHED = "The board restarted after that; it stays off until somebody clears the trip."


@dataclass
class Report:
    """The report of a hold."""

    result: dict[str, Any]
    summary: str
    exit_code: int
    notes: list[str] = field(default_factory=list)
    drawn: bool = True

    def where(self) -> str:
        """What the score was computed from, and where the files are."""
        files = "Log and picture" if self.drawn else "The log, as far as it could be written"
        return f"Scored from the {self.result['scored_from'] or 'log'}. {files}: {self.result['folder']}"


def trace_of(log: HoldLog, truth: Any, end_s: float, *, raw: bool = False) -> Trace:
    """What is scored: the true temperatures where a virtual board recorded them, else the readings.

    Parameters
    ----------
    log : HoldLog
        The hold's log.
    truth : mapping or None
        Columns ``t_ms``, ``water_c``, ``bowl_c`` of the truth.
    end_s : float
        When the hold ended.
    raw : bool
        The plant gives noisy readings instead of true temperatures (`raw_probes`).

    Returns
    -------
    Trace
        An estimated bowl is no reading: it is NaN.
    """
    if truth is None or not len(truth["t_ms"]):
        bowl_c = np.where(log["bowl_estimated"] == 0, log["bowl_c"], np.nan)
        row_s = float(log.facts.get("row_s", 1.0))
        return Trace(log["t_s"], log["water_c"], bowl_c, log["target_c"], end_s, READINGS, row_s)
    t_s = np.asarray(truth["t_ms"], dtype=float) / 1000
    held = t_s <= end_s
    t_s = t_s[held]
    row = np.clip(
        np.searchsorted(log["t_s"], t_s, side="right") - 1, 0, len(log) - 1
    )  # the target counts until the next row
    return Trace(
        t_s,
        np.asarray(truth["water_c"], dtype=float)[held],
        np.asarray(truth["bowl_c"], dtype=float)[held],
        log["target_c"][row],
        end_s,
        RAW if raw else TRUE,
    )


@dataclass(frozen=True)
class Judged:
    """A hold's score and sentences."""

    score: Score
    words: str
    temper: str  # what became of it, as `sentences.temper_left` has it
    steps: list[steps.Step]  # empty where the hold had a single step
    unworked: bool = False  # an evening that ended before its work


def judge(
    log: HoldLog, trace: Trace, name: str, window: Window, trips: list[dict[str, Any]], bath: str = "water"
) -> Judged:
    """Score a hold and word it.

    Parameters
    ----------
    log : HoldLog
        Its record.
    trace : Trace
        Its temperatures.
    name : str
        The chocolate's name.
    window : Window
        The window of the work, or of melted stock.
    trips : list of dict
        As the course of the hold has them.
    bath : str
        What the bowl sits in or on: "water" or "plate".
    """
    runs, duration_s, until_s = steps.runs(steps.at_samples(log, trace.t_s), trace), trace.end_s, steps.changed_s(log)
    if until_s < trace.end_s:  # no figure of the next bowl is judged by the window of the first
        trace = trace.until(until_s)
    at = steps.at_samples(log, trace.t_s)
    counts = steps.scored(at, trace.t_s, window, until_s)
    s = replace(score(trace, window, counts), duration_s=duration_s)
    lengths_s = step_lengths_s(trace.t_s, trace.end_s, trace.row_s)
    in_temper = figures(trace, window, lengths_s, steps.in_temper(log, at, trace.t_s))
    never_above_c = (log.facts.get("profile") or {}).get("never_above_c")
    temper = temper_left(in_temper, window, s.whole.bowl_peak_c, never_above_c)
    first = replace(s, duration_s=min(duration_s, until_s))
    learnt = (log.facts.get("gains") or {}).get("gains.bowl_w_per_k")
    then = learnt_words(s.counted, window) if learnt and window.tempered and bath == "water" else ""
    then += next_bowls_words(steps.next_bowls(log), duration_s - until_s)
    if counts is None:
        return Judged(s, paragraph(name, first, window, trips, temper, never_above_c, bath) + then, temper, [])
    own = [step for step in runs if step.start_s < until_s]
    if temper != SPOILT and window.tempered and melted_again(own):
        then += " It had set on the way, and was melted again." if temper == SET else ""
        temper = ""
    words = evening_paragraph(name, first, own, window, temper, trips, never_above_c, bath, steps.held_back_s(log))
    return Judged(s, words + then, temper, runs, not counts.any() and not steps.only_rests(at))


def _night(log: HoldLog, runner: Runner, *, went_off: bool) -> str:
    """The sentence for the morning after melted stock; empty for any other hold."""
    profile, settings = runner.setup.profile, log.facts.get("rig") or {}
    if not (log["stage"] == "melted").any():
        return ""
    window = window_at(profile, "melted")
    room_c = runner.setup.room_c if runner.setup.room_c is not None else settings.get("room_c", 20.0)
    again_s = morning.remelt_s(log, profile.of or "milk", window, settings, room_c) if settings else None
    found = morning.sentence(log, window, profile.never_above_c, again_s, went_off=went_off)
    return f"{found[0].upper()}{found[1:]}." if found else ""


def _ending(ended: Outcome, *, virtual: bool) -> str:
    """How it ended, in a sentence; empty for a planned end."""
    course = ended.watch
    if ended.later is not None:
        then = "The board restarted then, and" if course.resumed else "It was over then:"
        return f"{then} the warmer went on with another hold, which is in {ended.later[1].watch.log.folder.name}."
    if course.ended == endings.RESTARTED and any(trip["latched"] for trip in course.trips):
        return RESTARTED_LATCHED
    if course.ended == endings.RESTARTED and (course.resumed or course.declined):
        return RESUMED if course.resumed else DECLINED
    if course.ended == endings.RESTARTED and virtual:
        return RESTARTED_VIRTUAL
    return ENDINGS.get(course.ended or "", "")


def report(runner: Runner, ended: Outcome, truth: Any, home: Path | None = None) -> Report:
    """Score a hold, seal its log and draw it.

    Parameters
    ----------
    runner : Runner
        What ran the hold.
    ended : Outcome
        The finished hold.
    truth : mapping or None
        The true temperatures of a virtual board.
    home : Path, optional
        The folder that the log will be moved to, where that is not the one it is in.

    Returns
    -------
    Report
        Where there is nothing to score, it says why.
    """
    course, setup = ended.watch, runner.setup
    path, home = course.log.path, home or course.log.folder
    facts = {
        "ended": course.ended,
        "duration_s": course.end_ms / 1000,
        "wall_s": round(ended.wall_s, 3),
        "lost_lines": course.losses.lost,
        "trips": course.trips,
        **ended.facts,
    }
    course.log.close(**facts)
    notes = [course.log.trouble] if course.log.trouble else []
    notes += [*course.log.news(), *filter(None, [course.log.refuge_words()])]
    if course.ended == endings.LEFT:
        notes.append(f"bain hold {setup.profile.path or setup.profile.name} --join watches it again; bain collect "
                     "fetches the rest of its log afterwards")
    ending = _ending(ended, virtual=runner.session.virtual)
    try:
        log = read_log(path)
    except BainError as failed:
        why = failed.words().replace(str(path), str(home / path.name))
        summary = " ".join(filter(None, (_plant_words(ended), f"Nothing was held. {why}.", ending)))
        return Report(_result(home, course, None, ended, summary), summary, _exit(course, None), notes, drawn=False)
    trace = trace_of(log, truth, course.end_ms / 1000, raw=bool(ended.facts.get("raw_probes")))
    judged = judge(log, trace, setup.profile.name, window_of(setup), course.trips, course.scene.bath)
    night = _night(log, runner, went_off=course.ended in (endings.RESTARTED, endings.TRIPPED))
    if (log["stage"] == "rest").any():
        notes.append(f"weigh what is left once it has set: bain stock {home} --left 640g records it and says "
                     "whether it may be tempered again")
    told = (judged.words, night) if window_of(setup).tempered else (night, judged.words)  # the first is the title
    summary = " ".join(filter(None, (_plant_words(ended), *told, ending)))
    notes += log.notes
    if course.log.trouble is None:
        stored = {**judged.score.as_dict(), "temper": judged.temper, "steps": _steps(judged), "summary": summary}
        refused = course.log.add_report(stored)
        notes += [refused] if refused else []
    drawn = course.log.trouble is None and _seal_and_draw(path.parent, log, truth, runner, summary, notes)
    exit_code = _exit(course, judged) or (0 if drawn else 1)
    return Report(_result(home, course, judged, ended, summary), summary, exit_code, notes, drawn)


def _plant_words(ended: Outcome) -> str:
    """Why a simulated warmer failed, before anything that the board could make of it: to it, the probes were silent."""
    dead = ended.facts.get("dead")
    return f"The simulated warmer itself failed, so its probes gave no more readings: {dead}." if dead else ""


def _steps(judged: Judged) -> list[dict[str, Any]]:
    """The steps of an evening, for JSON."""
    return [asdict(step) for step in judged.steps]


def _seal_and_draw(folder: Path, log: HoldLog, truth: Any, runner: Runner, summary: str, notes: list[str]) -> bool:
    """Seal the log and draw the picture; False, with a note, where the disk refused one of them."""
    from bainwright.display.captions import Caption
    from bainwright.display.picture import draw_hold

    scenario = runner.setup.simulated.scenario if runner.setup.simulated else None
    played = [Caption(at_s, text) for at_s, text in scenario.captions()] if scenario else []
    window, simulated, name = window_of(runner.setup), runner.session.simulated, runner.setup.profile.name
    works: dict[str, Callable[[], object]] = {
        "the temper tests are not stored": lambda: _store_tests(folder, log),
        "the log is not sealed": lambda: seal(folder),
        "there is no picture": lambda: draw_hold(
            folder, log, truth, window, summary, played, virtual=simulated, name=name
        ),
    }
    refused = [f"{what}: {why}" for what, work in works.items() if (why := refusal(work))]
    if refused:
        notes += [*refused, f"the log is whole; with that put right, bain show {folder} makes what is missing"]
    return not refused


def _store_tests(folder: Path, log: HoldLog) -> None:
    with alone(folder):  # somebody may enter one at this moment
        tests = temper_tests.read_tests(folder) or temper_tests.logged_tests(log.events, log.facts)
        if tests:
            temper_tests.save_tests(folder, tests)


def _exit(course: watch.Watch, judged: Judged | None) -> int:
    """Exit status: 0 held and recorded as it should be; 1 not; 3 the board was lost."""
    if course.ended == endings.LOST:
        return 3
    incomplete = course.log.refusal or course.log.full or judged is None
    badly = course.ended in (endings.TRIPPED, endings.RESTARTED, endings.NOT_OFF, endings.OTHER)
    if incomplete or course.trips or badly:
        return 1
    assert judged is not None
    never = judged.unworked or judged.score.in_window_fraction == 0.0
    if never and course.ended != endings.LEFT:  # a warmer left running may still get there
        return 1
    return 1 if judged.score.left_for_good or judged.temper in BUT else 0


def _result(
    folder: Path, course: watch.Watch, judged: Judged | None, ended: Outcome, summary: str
) -> dict[str, Any]:
    """The result for programs; the names up to `speed` are fixed."""
    wall_s = ended.facts.get("wall_s") or ended.wall_s
    simulated_s = ended.facts.get("simulated_s") or course.end_ms / 1000
    figures_of = judged.score.as_dict() if judged else dict.fromkeys(SCORE_KEYS)
    return {
        "log": str(folder / CSV),
        "folder": str(folder),
        **figures_of,
        "duration_s": course.end_ms / 1000,
        "trips": course.trips,
        "lost_lines": course.losses.lost,
        "speed": round(simulated_s / wall_s, 1) if wall_s else None,
        "steps": _steps(judged) if judged else [],
        "temper": judged.temper if judged else None,
        "summary": summary,
        "ended": course.ended,
        "virtual": course.scene.virtual,
    }
