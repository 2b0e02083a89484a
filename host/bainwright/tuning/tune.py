"""Learn a warmer, choose gains for it, test them on simulated warmers, and save them."""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bainboard import faults
from bainboard import settings as board
from bainwright import __version__
from bainwright.archive.finding import folder_named
from bainwright.core import units
from bainwright.core.atomic_write import refuse_unwritable
from bainwright.core.errors import UseError
from bainwright.core.file_names import file_name
from bainwright.core.json_text import json_text
from bainwright.core.progress import progress
from bainwright.files.chocolate import Profile, load_profile
from bainwright.files.rig import Rig, load_rig
from bainwright.record.reader import read_log
from bainwright.tuning import choose, identify, proof, references, report
from bainwright.tuning.dataset import record_of
from bainwright.tuning.gains import (
    Made,
    MarginTable,
    Notes,
    firmware_hash,
    refuse_unwritable_gains,
    undo,
    write_gains,
)
from bainwright.tuning.model import NAMES, Findings
from bainwright.virtual.opening import refuse_two_warmers
from bainwright.words import terms

Say = Callable[..., None]


@dataclass(frozen=True)
class TuneAsked:
    """The options as typed; None is not given."""

    virtual: str | None = None
    port: str | None = None
    rig: str | None = None
    vessel: str | None = None
    plant: str | None = None
    from_log: str | None = None
    chocolate: str = "dark"
    for_: str | None = None
    room: str | None = None
    speed: str | None = None
    seed: int | None = None
    out: str | None = None
    undo: bool = False


Learn = Callable[[TuneAsked, Profile, Say], tuple[Path, Rig | None]]


@dataclass(frozen=True)
class Tuned:
    """The result of a tuning; without gains and proof where the log alone shows that there can be none."""

    task: choose.Task
    chosen: choose.Chosen | None
    proof: proof.Proof | None
    sentences: list[str]
    files: dict[str, str]
    why_not: list[str]


def tune(asked: TuneAsked, learn: Learn, *, as_json: bool, say: Say) -> int:
    """Tune as asked and report the result; the exit status.

    Parameters
    ----------
    asked : TuneAsked
        The options as typed.
    learn : callable
        Runs the experiment on the board; its log's folder, and the rig if one was named.
    """
    if asked.undo:
        path = _gains_path(asked, asked.rig or asked.virtual or "warmer")
        undo(path)
        say(f"{path}: the previous gains are restored.")
        return 0
    _refuse_combinations(asked)
    _refuse_unwritable(_gains_path(asked, "warmer"))
    profile = load_profile(asked.chocolate)
    source, rig = (_log_named(asked.from_log), None) if asked.from_log else learn(asked, profile, say)
    log = read_log(source)
    settings = _settings(asked, rig, log.facts)
    _refuse_unwritable(_gains_path(asked, str(settings["name"])))  # from here on its own name counts
    room_c = units.parse_room_c(asked.room) if asked.room else log.facts.get("room_c") or settings["room_c"]
    for note in log.notes:
        say(f"bain: {note}", err=True)
    with progress("identifying the warmer from the log"):
        findings, fitted = identify.identify(record_of(log, settings), settings)
    bath = rig is None or rig.plant.bath == "water"
    task = choose.Task(findings, settings, profile.target_c, profile.low_c, profile.high_c, profile.ceiling_c,
                       float(room_c), bath)
    trips = [terms.fault(event.get("fault", faults.CRASHED)) for event in log.events if event.get("event") == "trip"]
    tuned = _choose_and_prove(task, fitted, asked, settings, say, ", then ".join(dict.fromkeys(trips)))
    _show(tuned, as_json, say)
    return 1 if tuned.why_not else 0


def _refuse_unwritable(path: Path) -> None:
    refuse_unwritable_gains(path)
    refuse_unwritable(path.with_suffix(".html"), "the report", hint="name other files with --out")


def _log_named(named: str) -> Path:
    """A log given as a file anywhere, or the folder of a hold."""
    return Path(named) if os.path.isfile(named) else folder_named(named)


# -- the options ----------------------------------------------------------------------------------------------------


def _refuse_combinations(asked: TuneAsked) -> None:
    board_options = [name for name in ("virtual", "port", "plant", "speed", "seed", "for_") if getattr(asked, name)]
    if asked.from_log and board_options:
        raise UseError(f"--from uses an existing log, and --{board_options[0].rstrip('_')} would make a new one",
                       hint="leave one of them out")
    refuse_two_warmers(virtual=asked.virtual, plant=asked.plant, port=asked.port, rig=asked.rig)


def _settings(asked: TuneAsked, rig: Rig | None, facts: Mapping[str, Any]) -> dict[str, Any]:
    """The warmer's settings: from the rig file if one is given, else from the log."""
    if rig is not None:
        return dict(rig.settings)
    if asked.rig:
        named = load_rig(asked.rig)
        return dict((named.with_vessel(asked.vessel) if asked.vessel else named).settings)
    if not isinstance(facts.get("rig"), dict):
        raise UseError("the log does not name its warmer", hint="add --rig FILE")
    values, why = board.check(board.SETTINGS, facts["rig"])
    if values is None:
        raise UseError("the log's warmer has settings that this version does not know",
                       got=why, hint="add --rig FILE")
    return dict(values)


# -- gains -----------------------------------------------------------------------------------------------------------


def _choose_and_prove(task: choose.Task, fitted: identify.Fitted, asked: TuneAsked, settings: dict[str, Any],
                      say: Say, tripped: str) -> Tuned:
    possible = proof.feasibility(task, tripped)
    if any(not each.ok for each in possible):
        return _refuse_at_once(task, fitted, asked, settings, possible)
    before = _before(settings)
    with progress("choosing gains", choose.SEARCHES * choose.TRIES) as done:
        chosen = choose.choose(task, done)
    with progress("testing them on 200 warmers", 1.0) as done:
        proved = proof.prove(task, before, chosen, progress=lambda some, of: done(some / of))
    found = [*possible, *proved.findings]
    with progress("comparing with textbook rules"):
        compared = references.comparison_lines(references.compare(task), chosen)
    with progress("drawing the report"):
        picture = report.draw(task, fitted, before, chosen, proved)
    tuned = Tuned(task, chosen, proved, *_written(task, asked, settings, found, picture, compared))
    if not tuned.why_not:
        path = _gains_path(asked, str(settings["name"]))
        write_gains(path, chosen.gains, _notes(task, chosen, asked, settings))
        tuned.files["gains"] = str(path)
    return tuned


def _refuse_at_once(task: choose.Task, fitted: identify.Fitted, asked: TuneAsked, settings: dict[str, Any],
                    possible: list[proof.Finding]) -> Tuned:
    """Where the hold is impossible, or the log does not carry it, simulated evenings say nothing about gains."""
    with progress("drawing the report"):
        picture = report.draw_record(fitted)
    return Tuned(task, None, None, *_written(task, asked, settings, possible, picture, []))


def _written(task: choose.Task, asked: TuneAsked, settings: dict[str, Any], found: list[proof.Finding],
             picture: bytes, compared: list[str]) -> tuple[list[str], dict[str, str], list[str]]:
    """Write the report: what it says, its file, and why there are no gains."""
    sentences = [*report.fit_sentences(task.findings), *task.findings.notes, *(each.sentence for each in found)]
    path = _gains_path(asked, str(settings["name"])).with_suffix(".html")
    path.parent.mkdir(parents=True, exist_ok=True)
    report.write(path, report.page(f"Tuning {settings['name']}", sentences, report.figure_lines(task.findings),
                                   compared, picture))
    return sentences, {"report": str(path)}, [each.sentence for each in found if not each.ok]


def _before(settings: Mapping[str, Any]) -> dict[str, float]:
    """The warmer's present gains: those in its settings, and the board's own for the rest."""
    own = choose.safe(settings)
    own["gains.bowl_w_per_k"] = 0.0  # a value would mean to the board that the warmer was learnt
    return {name: float(settings[name]) or value for name, value in own.items()}


def _gains_path(asked: TuneAsked, name: str) -> Path:
    if asked.out:
        if Path(asked.out).suffix == ".html":
            raise UseError("--out", got=asked.out, wanted="a name for the gains, such as my_gains.toml",
                           hint="the report has its name with .html")  # fmt: skip
        return Path(asked.out)
    stem = file_name(Path(name).stem.replace("_", "-"))
    return Path(f"{stem}-gains.toml")


def _notes(task: choose.Task, chosen: choose.Chosen, asked: TuneAsked, settings: Mapping[str, Any]) -> Notes:
    findings = task.findings
    made = Made(
        rig=str(settings["name"]), date=datetime.date.today().isoformat(), firmware=firmware_hash(),
        vessel=asked.vessel or "", bainwright=__version__, source=asked.from_log or "experiment",
        **{name: float(settings[name]) for name in ("heater_w", "water_l", "bowl_kg", "chocolate_kg", "heater_lag_s")},
    )  # fmt: skip
    peaks = chosen.nominal
    table = MarginTable(peaks.heater_ms, peaks.heater_mt, peaks.bowl_ms, peaks.bowl_mt, chosen.worst, chosen.movement)
    return Notes(made, table, figures(findings), intervals(findings), list(findings.unidentified))


def figures(findings: Findings) -> dict[str, float]:
    """The model's figures by name."""
    return {name: float(getattr(findings.model, name)) for name in NAMES}


def intervals(findings: Findings) -> dict[str, list[float]]:
    """Low and high end of each figure."""
    return {name: [float(getattr(findings.low, name)), float(getattr(findings.high, name))] for name in NAMES}


# -- output ------------------------------------------------------------------------------------------------------------


def _show(tuned: Tuned, as_json: bool, say: Say) -> None:
    if as_json:
        say(json_text(_result(tuned)))
        return
    for line in tuned.sentences:
        say(line)
    for line in report.figure_lines(tuned.task.findings):
        say("  " + line)
    if tuned.why_not:
        say("The gains are refused; only the report was written. The reason: " + " ".join(tuned.why_not))
    else:
        say(f"Gains: {tuned.files['gains']} (use them with bain hold --gains; bain tune --undo restores the old ones)")
    say(f"Report: {tuned.files['report']}")


def _result(tuned: Tuned) -> dict[str, Any]:
    findings, chosen = tuned.task.findings, tuned.chosen
    return {
        "passed": not tuned.why_not,
        "refused_because": tuned.why_not,
        "gains": None if chosen is None else chosen.gains,
        "model": figures(findings),
        "intervals": intervals(findings),
        "not_identified": list(findings.unidentified),
        "fit_k": findings.fit_k,
        "validation_k": None if findings.validation_k != findings.validation_k else findings.validation_k,
        "margins": None if chosen is None else {
            **{n: getattr(chosen.nominal, n) for n in chosen.nominal.__dataclass_fields__},
            "worst_corner": chosen.worst, "movement": chosen.movement},
        "proof": None if tuned.proof is None else _proved(tuned.proof),
        "findings": tuned.sentences,
        "report": tuned.files["report"],
        "gains_file": tuned.files.get("gains"),  # None where they are refused
    }


def _proved(done: proof.Proof) -> dict[str, Any]:
    ratio = done.ratio()
    return {"warmers": len(ratio), "rig_seconds": done.rig_seconds,
            "error_ratio_median": float(sorted(ratio)[len(ratio) // 2]), "error_ratio_worst": float(max(ratio)),
            "predicted_error_c": list(done.predicted_k)}
