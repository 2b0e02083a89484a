"""`bain tune` as a person runs it, on simulated warmers, and the choice and proof of gains behind it."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from heated import heated, settings_of

from bainboard import settings
from bainwright.cli import main
from bainwright.tuning import choose, fastsim, identify, margins, model, proof, references
from bainwright.tuning.dataset import record
from bainwright.tuning.gains import read_gains

POT = settings_of(heater_w=150.0, water_l=2.0, chocolate_kg=2.2, bowl_kg=0.6, heater_lag_s=30)
TRUTH = {
    "water_j_per_k": 9300.0, "bowl_j_per_k": 3900.0, "coupling_w_per_k": 4.2, "bath_loss_w_per_k": 0.9,
    "bowl_loss_w_per_k": 0.5, "heater_lag_s": 28.0, "water_lag_s": 8.0, "bowl_lag_s": 28.0, "dead_s": 2.5,
}


@pytest.fixture(scope="module")
def task() -> choose.Task:
    """What an hour's experiment on a pot leaves."""
    made = heated(POT, TRUTH)
    found, _ = identify.identify(record(made.time_s, made.power_w, made.water_c, made.bowl_c, 20.0, POT), POT)
    return choose.Task(found, POT)


@pytest.fixture(scope="module")
def chosen(task: choose.Task) -> choose.Chosen:
    """By a shorter search than a tune's: once from each start."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(choose, "SEARCHES", 3)
        return choose.choose(task, tries=60)


# -- choosing --------------------------------------------------------------------------------------------------------


def test_chosen_gains_keep_every_margin(task: choose.Task, chosen: choose.Chosen):
    """1.6 at the fit, 2.0 at every corner and fill, computed again from the cascade they make."""
    cascade = fastsim.cascade_of(choose.with_gains(POT, chosen.gains))
    for fill in choose.FILLS:
        assert margins.margins(cascade, task.findings.model.at_fill(fill)).worst <= choose.NOMINAL + 0.005
    for corner in choose.corners(task.findings):
        assert margins.margins(cascade, corner).worst <= choose.CORNER + 0.005
    assert chosen.movement <= choose.MOST_MOVEMENT + 1e-6


def test_chosen_gains_are_better_than_what_the_board_works_out(task: choose.Task, chosen: choose.Chosen):
    before = choose.judged(task, choose.safe(POT))
    assert chosen.cost_k < before.cost_k


def test_no_textbook_rule_at_equal_margins_does_better(task: choose.Task, chosen: choose.Chosen):
    """Same cascade, filter, anti-windup and ceiling; each rule as given, and slowed until it meets the same margins."""
    compared = references.compare(task)
    assert [each.name for each in compared] == list(references.RULES)
    for each in compared:
        assert each.nominal.worst > choose.NOMINAL or each.cost_k >= chosen.cost_k, each.name
        assert not each.equal_cost_k < chosen.cost_k, each.name


def test_a_warmer_that_no_gains_could_keep_warm_does_not_choose_them(task: choose.Task):
    """By the balance itself: its warmest water, or all its heat, falls short of the target."""
    model = task.findings.model
    assert choose.holds(task, model)
    assert not choose.holds(task, replace(model, bowl_loss_w_per_k=0.4 * model.coupling_w_per_k))  # held at 30.2 °C
    assert not choose.holds(task, replace(model, heater_w=1.1 * model.needed_w(31.5, 20.0)))
    assert all(choose.holds(task, each) for each, _ in choose.Search(task).evenings)


def test_what_is_fed_forward_is_the_model_s_own_balance(task: choose.Task):
    """Oracle: the heat that holds 31.5 °C by hand, from the fitted figures."""
    m = task.findings.model
    fed = choose.modelled(m, 31.5, 20.0)
    water_c = 31.5 + m.bowl_loss_w_per_k / m.coupling_w_per_k * 11.5
    by_hand_w = m.bath_loss_w_per_k * (water_c - 20.0) + m.bowl_loss_w_per_k * 11.5
    assert fed["gains.loss_w_per_k"] * (water_c - 20.0) == pytest.approx(by_hand_w)


# -- the proof -------------------------------------------------------------------------------------------------------


def test_gains_that_pass_are_better_nine_times_in_ten(task: choose.Task, chosen: choose.Chosen):
    """Gains of a short search against a sluggish bowl's: each warmer against itself, a normal error of 3 % on top."""
    own = choose.safe(POT)
    before = {**own, "gains.bowl_w_per_k": 0.0, "gains.bowl.kp": 0.4 * own["gains.bowl.kp"]}
    done = proof.prove(task, before, chosen, rigs=24)
    assert done.passed, [each.sentence for each in done.findings if not each.ok]
    errors = np.exp(0.03 * np.random.default_rng(1).standard_normal((400, 24)))
    assert np.percentile(errors * proof.cost_k(done.after) / proof.cost_k(done.before), 90) < 1.0
    assert done.rig_seconds == 2 * 24 * len(proof.COURSES) * choose.EVENING_S
    low_k, high_k = done.predicted_k
    assert 0.0 < low_k < float(np.median(done.after[proof.COURSES[0].name]["rms_k"])) < high_k


def test_bad_gains_are_refused_with_the_reason(task: choose.Task):
    """Ten times too lively on the water: the margins say so, and the evenings do."""
    lively = {**choose.safe(POT), "gains.water.kp": 7.0, "gains.water.ti_s": 60.0}
    done = proof.prove(task, choose.safe(POT), choose.judged(task, lively), rigs=8)
    assert not done.passed
    assert any("peaks at" in each.sentence and not each.ok for each in done.findings)


def test_gains_that_are_no_better_are_refused(task: choose.Task):
    """The present gains against themselves: nothing is won, so nothing is to be written."""
    done = proof.prove(task, choose.safe(POT), choose.judged(task, choose.safe(POT)), rigs=8)
    (said,) = [each.sentence for each in done.findings if "not surely better" in each.sentence]
    assert not done.passed
    assert "change by +0 % at the median" in said
    assert "nothing needs to be done" in said


def test_the_proof_s_warmers_fit_the_log(task: choose.Task):
    """Oracle: the log's truth: what no warmer in a dozen could have is in no sample, identified or not."""
    from bainwright.tuning.surrogate import draw

    couplings = np.array([each.coupling_w_per_k for each, _ in draw(task.findings, 200)])
    assert np.all((couplings > 0.7 * TRUTH["coupling_w_per_k"]) & (couplings < 1.4 * TRUTH["coupling_w_per_k"]))


@pytest.mark.parametrize("end", [choose.LOW, choose.HIGH])
def test_a_board_takes_the_ends_of_what_is_searched(end: choose.Floats):
    found = dict(zip(choose.SEARCHED, map(float, np.exp(end)), strict=True))
    values, why = settings.check(settings.SETTINGS, {**settings.defaults(settings.SETTINGS), **found})
    assert values is not None, why


def test_a_heater_too_weak_is_reported_with_what_it_would_take(task: choose.Task):
    weak = replace(task.findings, model=replace(task.findings.model, heater_w=12.0))
    found = proof.feasibility(replace(task, findings=weak))
    needed = task.findings.model.needed_w(31.5, 20.0)
    assert not found[0].ok
    assert f"{needed:.0f} W" in found[0].sentence
    assert "12 W" in found[0].sentence


def test_what_a_record_does_not_carry_gives_no_gains_for_the_chocolate(task: choose.Task):
    known = tuple(name for name in task.findings.identified if name != "coupling_w_per_k")
    (said,) = [each for each in proof.feasibility(replace(task, findings=replace(task.findings, identified=known)))
               if not each.ok]
    assert "does not show how the chocolate follows the water" in said.sentence
    assert "stir every minute or two" in said.sentence  # a bowl at rest looks like one that is cold
    lacking = replace(task, findings=replace(task.findings, identified=known))
    (said,) = [each for each in proof.feasibility(lacking, "the water is too warm") if not each.ok]
    assert "took its heat off during the experiment: the water is too warm" in said.sentence
    assert "for longer" not in said.sentence
    assert all(each.ok for each in proof.feasibility(task))


def test_a_ceiling_too_low_is_reported_with_how_much(task: choose.Task):
    (said,) = [each for each in proof.feasibility(replace(task, ceiling_c=31.8)) if not each.ok]
    short_k = task.findings.model.water_for_c(31.0, 20.0) - (31.8 - 0.2)
    assert f"{short_k:.1f} °C warmer" in said.sentence


def test_sampled_warmers_keep_to_what_is_known(task: choose.Task):
    """Oracle: the interval itself; 95 % of an identified figure's draws lie in it."""
    from bainwright.tuning.surrogate import draw

    stores = np.array([each.water_j_per_k for each, _ in draw(task.findings, 400)])
    low, high = task.findings.low.water_j_per_k, task.findings.high.water_j_per_k
    assert np.mean((stores >= low) & (stores <= high)) >= 0.9
    assert isinstance(task.findings.model, model.Model)


# -- the command -----------------------------------------------------------------------------------------------------


def bain(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(list(words))
    out = capsys.readouterr()
    return code, out.out, out.err


def test_tuning_a_virtual_pot_writes_gains_that_a_hold_takes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.chdir(tmp_path)
    # A shorter search than a tune's; the proof is whole.
    monkeypatch.setattr(choose, "SEARCHES", 2)
    monkeypatch.setattr(choose, "choose", partial(choose.choose, tries=60))
    gains = tmp_path / "pot-gains.toml"
    code, out, err = bain(capsys, "tune", "--virtual", "--seed", "3", "--out", str(gains), "--json")
    assert code == 0, err
    result: dict[str, Any] = json.loads(out)
    assert result["passed"]
    assert result["proof"]["warmers"] == 200
    assert read_gains(gains).notes.made.rig == "pot"
    page = (tmp_path / "pot-gains.html").read_text()
    assert "data:image/png;base64," in page
    assert "Ziegler-Nichols" in page
    code, out, err = bain(capsys, "hold", "dark", "--virtual", "--gains", str(gains), "--for", "20m", "--json")
    assert code == 0, err
    assert json.loads(out)["trips"] == []
    code, out, err = bain(capsys, "tune", "--undo", "--out", str(gains))
    assert (code, out) == (2, "")
    assert "no previous gains" in err


def test_a_saved_hold_can_be_tuned_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.chdir(tmp_path)
    # Small: the tune of the virtual pot proves at full size.
    monkeypatch.setattr(choose, "SEARCHES", 1)
    monkeypatch.setattr(choose, "choose", partial(choose.choose, tries=30))
    monkeypatch.setattr(proof, "prove", partial(proof.prove, rigs=24))
    code, _, err = bain(capsys, "hold", "dark", "--virtual", "mat", "--for", "75m", "--out", "log", "--json")
    assert code in (0, 1), err
    code, out, err = bain(capsys, "tune", "--from", "log", "--out", "g.toml", "--json")
    result = json.loads(out)
    assert "water_j_per_k" in set(result["model"]) - set(result["not_identified"])
    assert (tmp_path / "g.toml").exists() is result["passed"]
    assert (code == 0) is result["passed"], err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--from", "x", "--virtual"], "--from uses an existing log"),
        (["--port", "/dev/none", "--virtual"], "leave one of them out"),
        (["--virtual", "mat", "--rig", "x.toml"], "both name a warmer"),
        (["--from", "nowhere"], "there is no hold"),
        (["--virtual", "--chocolate", "drak"], "drak"),
        (["--virtual", "--out", "/dev/null/g.toml"], "the gains file /dev/null/g.toml cannot be written"),
    ],
)
def test_wrong_use_is_reported_in_words(words: list[str], said: str, capsys: pytest.CaptureFixture[str]):
    code, out, err = bain(capsys, "tune", *words)
    assert (code, out) == (2, "")
    assert said in err
