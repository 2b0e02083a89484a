"""What `bain tune` makes of its options, its log and a proof; fit, search and proof themselves are made up here."""

from __future__ import annotations

import contextlib
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from test_proof import FOUND, MODEL, chosen, evenings, outcome

from bainwright.core.errors import UseError
from bainwright.files.rig import load_rig
from bainwright.tuning import choose, proof, tune
from bainwright.tuning.gains import read_gains
from bainwright.tuning.tune import TuneAsked

pytestmark = pytest.mark.usefixtures("here")
GAINS = {**choose.safe(load_rig("pot").settings), "gains.water.kp": 0.123}


SHARES: list[float] = []
TOTALS: dict[str, float | None] = {}


@contextlib.contextmanager
def shown(what, total=None):
    TOTALS[what] = total
    yield SHARES.append


@pytest.fixture
def tuned(monkeypatch):
    """`bain tune` on a made-up log: its exit status, what it said, and the task that gains were chosen for."""

    def run(asked: TuneAsked, rig: Any = None, *, ok: bool = True, facts: Any = None, events: Any = (),
            **how: Any) -> tuple[int, list[str], Any]:
        tasks, said = [], []
        after = evenings(dipping={"rms_k": [0.1, 0.3, 0.2, 0.15] * 5})
        done = proof.Proof([proof.Finding("They do better.", ok)], evenings(), after, 4800)
        log = SimpleNamespace(facts={"rig": dict(load_rig("pot").settings)} if facts is None else facts,
                              notes=["a note"], events=events)
        monkeypatch.setattr(tune, "read_log", lambda source: log)
        monkeypatch.setattr(tune, "record_of", lambda log, settings: None)
        monkeypatch.setattr(tune.identify, "identify", lambda record, settings: (FOUND, None))
        monkeypatch.setattr(tune.choose, "choose", lambda task, progress: tasks.append(task) or replace(
            chosen(), gains=GAINS))
        monkeypatch.setattr(tune.proof, "prove", lambda task, before, some, progress: progress(48, 192) or done)
        monkeypatch.setattr(tune, "progress", shown)
        monkeypatch.setattr(tune.references, "compare", lambda task: [])
        monkeypatch.setattr(tune.report, "draw", lambda *parts: b"")
        monkeypatch.setattr(tune.report, "draw_record", lambda fitted: b"")
        status = tune.tune(asked, lambda *parts: (Path("log"), rig), as_json=how.get("as_json", False),
                           say=lambda text, err=False: said.append(text))
        return status, said, tasks[0] if tasks else None

    return run


def test_gains_are_named_after_the_warmer_and_written_only_when_they_passed(tuned):
    status, said, _ = tuned(TuneAsked(), load_rig("pot"))
    assert status == 0
    assert sorted(path.name for path in Path().iterdir()) == ["pot-gains.html", "pot-gains.toml"]
    assert read_gains(Path("pot-gains.toml")).values["gains.water.kp"] == pytest.approx(0.123)
    assert any(line.startswith("Gains: pot-gains.toml (use them with bain hold --gains") for line in said)
    Path("pot-gains.toml").unlink()
    status, said, _ = tuned(TuneAsked(), load_rig("pot"), ok=False)
    assert status == 1
    assert not Path("pot-gains.toml").exists()
    assert "The gains are refused; only the report was written. The reason: They do better." in said


def test_the_proof_s_progress_is_a_share_of_its_evenings(tuned):
    SHARES.clear()
    tuned(TuneAsked(), load_rig("pot"))
    assert SHARES == [0.25]
    assert TOTALS["testing them on 200 warmers"] == 1.0
    assert TOTALS["choosing gains"] == choose.SEARCHES * choose.TRIES


def test_a_report_goes_beside_the_gains_also_into_a_new_folder(tuned):
    tuned(TuneAsked(out="new/folder/mine.toml"), load_rig("pot"))
    assert Path("new/folder/mine.html").read_text().count("They do better.") == 1
    assert read_gains(Path("new/folder/mine.toml")).notes.made.rig == "pot"


@pytest.mark.parametrize(("name", "file"), [("my pot.toml", "my-pot-gains.toml"), ("Küche/2", "2-gains.toml")])
def test_the_name_of_a_warmer_becomes_the_name_of_a_file(name, file):
    assert tune._gains_path(TuneAsked(), name) == Path(file)


def test_undo_is_for_the_gains_of_the_warmer_that_is_named(monkeypatch):
    undone, said = [], []
    monkeypatch.setattr(tune, "undo", undone.append)
    named = TuneAsked(rig="mat", virtual="pot"), TuneAsked(virtual="plate"), TuneAsked(), TuneAsked(out="x.toml")
    for asked in named:
        assert tune.tune(replace(asked, undo=True), lambda *parts: (Path(), None), as_json=False, say=said.append) == 0
    assert [str(path) for path in undone] == ["mat-gains.toml", "plate-gains.toml", "warmer-gains.toml", "x.toml"]
    assert said[0] == "mat-gains.toml: the previous gains are restored."


def test_gains_are_no_web_page():
    with pytest.raises(UseError, match="a name for the gains"):
        tune._gains_path(TuneAsked(out="x.html"), "pot")


def test_a_learnt_rig_comes_before_a_file_and_a_file_before_the_log(tuned):
    """The heaters: pot 150 W, mat 60 W; the log's own is 90 W."""
    facts = {"rig": {**load_rig("pot").settings, "heater_w": 90.0}}
    heaters = [tuned(asked, rig, facts=facts)[2].settings["heater_w"] for asked, rig in (
        (TuneAsked(rig="mat"), load_rig("pot")), (TuneAsked(rig="mat"), None), (TuneAsked(), None))]
    assert heaters == [150.0, 60.0, 90.0]
    assert tuned(TuneAsked(), load_rig("plate"))[2].bath is False
    assert tuned(TuneAsked(), load_rig("pot"))[2].bath is True
    for wrong, words in (({}, "does not name its warmer"), ({"rig": {"heater_w": "x"}}, "does not know")):
        with pytest.raises(UseError, match=words):
            tuned(TuneAsked(), None, facts=wrong)


def test_the_room_is_the_one_typed_then_the_log_s_then_the_rig_s(tuned):
    facts = {"rig": dict(load_rig("pot").settings), "room_c": 24.0}
    rooms = [tuned(asked, load_rig("pot"), facts=each)[2].room_c for asked, each in (
        (TuneAsked(room="17"), facts), (TuneAsked(), facts), (TuneAsked(), {"room_c": None}))]
    assert rooms == [17.0, 24.0, load_rig("pot").settings["room_c"]]


def test_the_chocolate_s_window_and_ceiling_are_what_gains_are_chosen_for(tuned):
    """Milk: 30 to 31 °C, its wall at most 33.5 °C."""
    task = tuned(TuneAsked(chocolate="milk"), load_rig("pot"))[2]
    assert (task.low_c, task.target_c, task.high_c, task.ceiling_c) == (30.0, 30.5, 31.0, 33.5)


def test_a_log_is_not_learnt_from_and_made_at_once():
    for option in ("virtual", "port", "plant", "speed", "seed", "for_"):
        value = 3 if option == "seed" else "x"
        with pytest.raises(UseError, match=f"--from uses an existing log, and --{option.rstrip('_')} would make"):
            tune._refuse_combinations(TuneAsked(from_log="log", **{option: value}))
    tune._refuse_combinations(TuneAsked(from_log="log", room="20", rig="pot", out="x.toml"))


def test_present_gains_are_the_settings_own_and_the_board_s_for_the_rest():
    """0 in a setting means that the board works it out; a value of the bowl's would mean a learnt warmer."""
    settings = dict(load_rig("pot").settings)
    own = choose.safe(settings)
    assert tune._before(settings) == {**own, "gains.bowl_w_per_k": 0.0}
    assert tune._before({**settings, "gains.water.kp": 0.7})["gains.water.kp"] == 0.7


def test_json_has_the_proof_s_figures(tuned):
    """20 warmers, errors of 0.1, 0.15, 0.2, 0.3 over 0.2: the middle one is 1.0, the worst 1.5."""
    status, said, _ = tuned(TuneAsked(), load_rig("pot"), as_json=True)
    result = json.loads(said[-1])
    assert (status, result["passed"], result["refused_because"]) == (0, True, [])
    after_c = proof.nine_of_ten(np.array([0.1, 0.15, 0.2, 0.3] * 5), 0.1)
    assert result["proof"] == {"warmers": 20, "rig_seconds": 4800, "error_ratio_median": pytest.approx(1.0),
                               "error_ratio_worst": pytest.approx(1.5), "predicted_error_c": pytest.approx(after_c)}
    assert result["model"]["water_j_per_k"] == 9300.0
    assert result["intervals"]["bowl_j_per_k"] == [3900.0, 3900.0]
    assert result["margins"]["heater_ms"] == 1.5
    assert (result["margins"]["worst_corner"], result["margins"]["movement"]) == (1.9, 0.05)
    assert result["not_identified"] == []
    assert result["validation_k"] is None
    assert result["gains"]["gains.water.kp"] == 0.123
    assert (result["gains_file"], result["report"]) == ("pot-gains.toml", "pot-gains.html")
    refused = json.loads(tuned(TuneAsked(), load_rig("pot"), ok=False, as_json=True)[1][-1])
    assert (refused["gains"], refused["gains_file"]) == (result["gains"], None)


def test_where_the_hold_is_impossible_that_alone_is_the_reason(tuned, monkeypatch):
    """Nothing is chosen or proved for seven minutes, and no error is foretold of gains that are not written. The trip
    of the experiment is handed on in words, once.
    """
    seen = []
    monkeypatch.setattr(tune.proof, "feasibility", lambda task, tripped: seen.append(tripped) or [
        proof.Finding("The heater cannot hold it.", ok=False)])
    trips = [{"event": "trip", "fault": 3}, {"event": "below"}, {"event": "trip", "fault": 3}, {"event": "trip"}]
    status, said, chosen_for = tuned(TuneAsked(), load_rig("pot"), events=trips)
    assert (status, chosen_for) == (1, None)
    assert not [text for text in said if "They do better" in text]
    assert said[-2].endswith("The reason: The heater cannot hold it.")
    as_json = json.loads(tuned(TuneAsked(), load_rig("pot"), as_json=True)[1][-1])
    assert (as_json["gains"], as_json["margins"], as_json["proof"]) == (None, None, None)
    assert as_json["refused_because"] == ["The heater cannot hold it."]
    assert seen[0] == ", then ".join([tune.terms.fault(3), tune.terms.fault(tune.faults.CRASHED)])


def test_made_up_evenings_are_those_of_the_proof():
    """The warmers and figures that the tests above count on."""
    assert outcome(20)["rms_k"].shape == (20,)
    assert np.array_equal(FOUND.samples[0], MODEL.vector())
