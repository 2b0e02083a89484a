"""Findings of a proof of gains, each against figures worked out by hand from made-up evenings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from heated import settings_of

from bainwright.tuning import choose, fastsim, proof
from bainwright.tuning.choose import Chosen, Task
from bainwright.tuning.margins import Margins
from bainwright.tuning.model import NAMES, Findings, Model

POT = settings_of(heater_w=150.0, water_l=2.0, chocolate_kg=2.2, bowl_kg=0.6)
MODEL = Model(heater_w=150.0, water_j_per_k=9300.0, bowl_j_per_k=3900.0, coupling_w_per_k=4.0, bath_loss_w_per_k=1.0,
              bowl_loss_w_per_k=0.5, heater_lag_s=28.0, water_lag_s=8.0, bowl_lag_s=28.0, dead_s=2.5)
FOUND = Findings(MODEL, MODEL, MODEL, np.array([MODEL.vector()]), NAMES, fit_k=0.01)
TASK = Task(FOUND, POT)
DIPPING, COLD, COLDER, LAST = (course.name for course in proof.COURSES)


def outcome(rigs: int = 20, **scores: Any) -> fastsim.Outcome:
    """Scores of some warmers; all else is an evening without trouble."""
    usual = {"rms_k": 0.2, "quiet_k": 0.1, "warm_up_s": 1800.0, "bowl_peak_c": 31.9, "wall_over_s": 0.0}
    found = np.zeros((rigs, len(fastsim.METRICS)))
    for name, values in {**usual, **scores}.items():
        found[:, fastsim.METRICS.index(name)] = values
    return fastsim.Outcome(found, np.zeros((rigs, 1, len(fastsim.TRACE))))


def evenings(**changed: dict[str, Any]) -> dict[str, fastsim.Outcome]:
    """An outcome of each course, by its name."""
    keys = {"dipping": DIPPING, "cold": COLD, "colder": COLDER, "last": LAST}
    found = {course.name: outcome() for course in proof.COURSES}
    return {**found, **{keys[key]: outcome(**scores) for key, scores in changed.items()}}


def finding(part: str, after: dict[str, fastsim.Outcome], before: dict[str, fastsim.Outcome] | None = None,
            task: Task = TASK) -> proof.Finding:
    (found,) = [each for each in proof.course_findings(task, before or evenings(), after) if part in each.sentence]
    return found


# -- the evenings ----------------------------------------------------------------------------------------------------


def test_the_courses_are_the_four_that_a_person_is_told_of():
    """From cold at 16 and 18 °C, a room 5 °C colder, a third of a bowl; only the warm-up is calm."""
    assert [(each.start_c, each.fill, each.colder_k, each.calm) for each in proof.COURSES] == [
        (None, 1.0, 0.0, False), ((16.0, 18.0), 1.0, 0.0, True), (None, 1.0, 5.0, False), (None, 0.35, 0.0, False)]


def test_a_course_plays_its_fill_its_room_and_its_acts(monkeypatch):
    seen: dict[str, Any] = {}
    monkeypatch.setattr(proof, "evening", lambda *args, **how: seen.update(how))
    for course in proof.COURSES:
        proof._run(TASK, course, MODEL, None, {})  # type: ignore[arg-type]
        assert seen["room_c"] == 20.0 - course.colder_k
        assert (seen["fill"], seen["start_c"]) == (course.fill, course.start_c)
        assert seen["acts"] is (None if course.calm else choose.dipping)


def test_the_cost_is_error_and_half_the_quiet_error_and_a_fifth_for_each_hour_of_warm_up():
    """By hand: (0.2 + 0.3 + 0.4) / 3 + 0.5 x 0.1 + 0.2 x 0.5 h; a warm-up that never ends counts its four hours."""
    course = evenings(dipping={"rms_k": 0.2}, colder={"rms_k": 0.3}, last={"rms_k": 0.4})
    assert proof.cost_k(course) == pytest.approx(0.3 + 0.05 + 0.1)
    assert proof.cost_k({**course, COLD: outcome(warm_up_s=np.nan)}) == pytest.approx(0.3 + 0.05 + 0.8)


def test_nine_of_ten_are_the_middle_nine_tenths_with_the_simulation_s_own_error():
    """Of one warmer alone they are exp(-1.645 x 0.1) and exp(1.645 x 0.1): a normal distribution's 5 and 95 % (any
    table)."""
    assert proof.nine_of_ten(np.arange(101.0), 0.0) == (5.0, 95.0)
    assert proof.nine_of_ten(np.ones(50), 0.1) == pytest.approx((0.848, 1.179), abs=0.006)


# -- better, warmer by warmer ----------------------------------------------------------------------------------------


def cost_times(share: Any) -> dict[str, fastsim.Outcome]:
    """Evenings whose cost is so many times that of the usual one, 0.35: the dipping's error makes the difference."""
    rms_k = 3.0 * (0.35 * np.asarray(share) - 0.15) - 0.4
    return evenings(dipping={"rms_k": rms_k})


@pytest.mark.parametrize(("share", "ok"), [
    (0.95, True), (0.97, False), (1.0, False),
    ([0.92] * 19 + [1.2], True), ([0.92] * 17 + [1.2] * 3, False), ([0.9] * 10 + [0.99] * 10, False),
])
def test_gains_pass_where_nine_tenths_win_with_an_error_of_three_per_cent(share, ok):
    """By hand: the ninth tenth of a normal error of 3 % is exp(1.28 x 0.03) = 1.039; 0.95 becomes 0.99, 0.97 1.008."""
    said = finding("The new gains", cost_times(share))
    assert said.ok is ok
    assert ("not surely better" in said.sentence) is not ok


def test_a_refusal_tells_gains_that_are_as_good_from_those_that_a_longer_log_may_show():
    """At the median 2 % less is as good; 10 % less, but 20 % more on a quarter of the warmers, is not known."""
    as_good = finding("The new gains", cost_times(0.98)).sentence
    assert "change by -2 % at the median" in as_good
    assert "nothing needs to be done" in as_good
    unsure = finding("The new gains", cost_times([0.9] * 15 + [1.2] * 5)).sentence
    assert "change by -10 % at the median of the simulated warmers, but one time in ten by +21 % or more" in unsure
    assert "A longer log from cold" in unsure
    sure = finding("The new gains", cost_times(0.9)).sentence
    assert "change by -10 % at the median" in sure
    assert "nine times in ten by -6.4 % or better" in sure


# -- the error of each kind ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("times", "ok"), [(0.9, True), (1.02, True), (1.04, False)])
def test_one_kind_of_evening_may_lose_three_per_cent(times, ok):
    said = finding(f"In {LAST}", evenings(last={"rms_k": 0.2 * times}))
    assert said.ok is ok
    assert f"is {0.2 * times:.3f} °C" in said.sentence
    change = f"{abs(100 * times - 100):.0f} % {'smaller' if times < 1 else 'larger'}"
    assert f"{change} than with the present" in said.sentence
    assert f"at most {times:.2f} times as large as before" in said.sentence


def test_an_error_is_pooled_as_root_mean_square_and_has_the_ends_of_nine_in_ten():
    """Of 0.1 and 0.7 in equal parts: sqrt((0.01 + 0.49) / 2) = 0.5; a tenth of error about each."""
    said = finding(f"In {DIPPING}", evenings(dipping={"rms_k": [0.1] * 10 + [0.7] * 10})).sentence
    assert "error is 0.500 °C (0.09 to 0.80 °C nine times in ten), 150 % larger" in said
    assert "(0.200 °C). On 9 simulated warmers of 10 it is at most 3.50 times" in said
    assert "once its first half hour is over" in said


def test_no_error_is_said_of_the_warm_up():
    assert not [each for each in proof.course_findings(TASK, evenings(), evenings()) if f"In {COLD}" in each.sentence]


# -- the wall, the quiet, the warm-up --------------------------------------------------------------------------------


def test_one_second_of_wall_over_its_limit_on_one_warmer_is_too_much():
    assert finding("stayed below its limit of 34.5 °C", evenings()).ok
    over = finding("was above its limit of 34.5 °C in 3 simulated evenings",
                   evenings(dipping={"wall_over_s": [0.0] * 18 + [1.0] * 2}, last={"wall_over_s": [1.0] + [0.0] * 19}))
    assert not over.ok


@pytest.mark.parametrize(("was_k", "is_k", "ok"), [(0.1, 0.19, True), (0.1, 0.21, False), (0.3, 0.305, True),
                                                   (0.3, 0.312, False)])
def test_a_quiet_error_may_not_look_like_swinging(was_k, is_k, ok):
    """0.2 °C, or 3 % over a larger one of before."""
    said = finding("With nobody at the bowl", evenings(dipping={"quiet_k": is_k}), evenings(dipping={"quiet_k": was_k}))
    assert said.ok is ok
    assert f"within {is_k:.2f} °C" in said.sentence
    assert f"before, {was_k:.2f} °C" in said.sentence


def test_the_quiet_error_is_that_of_nineteen_warmers_of_twenty():
    quiet_k = np.arange(1.0, 22.0) / 100.0
    after = {name: outcome(21, quiet_k=quiet_k) for name in (DIPPING, COLD, COLDER, LAST)}
    before = {name: outcome(21) for name in after}
    assert "within 0.20 °C" in finding("With nobody", after, before).sentence


@pytest.mark.parametrize(("peak_c", "ok", "words"), [
    (31.9, True, "below its top"), (32.2, True, "less than 0.2 °C above"), (32.36, False, "less than 0.4 °C above"),
])
def test_a_warm_up_may_pass_the_window_by_three_tenths(peak_c, ok, words):
    said = finding("From cold", evenings(cold={"bowl_peak_c": peak_c, "warm_up_s": 1200.0}))
    assert said.ok is ok
    assert words in said.sentence
    assert "in 20 min (18 to 22 nine times in ten; before, 30 min)" in said.sentence


def test_warmers_that_never_warm_up_are_counted_and_may_not_become_more():
    never = [np.nan] * 2 + [1800.0] * 18
    one = [np.nan] + [1800.0] * 19
    said = finding("From cold, 2 simulated warmers do not reach", evenings(cold={"warm_up_s": never}),
                   evenings(cold={"warm_up_s": one}))
    assert not said.ok
    as_before = evenings(cold={"warm_up_s": never})
    assert finding("From cold, 2 simulated", as_before, as_before).ok
    half = evenings(cold={"warm_up_s": [np.nan] * 11 + [1800.0] * 9})
    assert "before, 240 min" in finding("From cold", evenings(), half).sentence


# -- margins ---------------------------------------------------------------------------------------------------------


def chosen(nominal: float = 1.5, worst: float = 1.9, movement: float = 0.05) -> Chosen:
    return Chosen({}, Margins(nominal, 1.0, 1.0, 1.0), worst, movement, 0.3)


@pytest.mark.parametrize(("at", "allowed", "over"), [("nominal", 1.604, 1.606), ("worst", 2.004, 2.006),
                                                     ("movement", 0.1009, 0.1011)])
def test_each_margin_has_its_limit(at, allowed, over):
    """1.6 at the fit, 2.0 in the worst case, 10 % of noise: as chosen for the search."""
    index = ("nominal", "worst", "movement").index(at)
    for value, ok in ((allowed, True), (over, False)):
        found = proof.margin_findings(chosen(**{at: value}))
        assert [each.ok for each in found] == [n != index or ok for n in range(3)]
    said = [each.sentence for each in proof.margin_findings(chosen(1.53, 1.91, 0.05))]
    assert "1.53 on the identified warmer (limit 1.6)" in said[0]
    assert "1.91 in the worst case" in said[1]
    assert "(limit 2)" in said[1]
    assert "by 5 % (limit 10 %)" in said[2]


# -- the proof as a whole --------------------------------------------------------------------------------------------


def proved(*findings: proof.Finding, before: float = 0.4, after: float = 0.3) -> proof.Proof:
    return proof.Proof(list(findings), evenings(dipping={"rms_k": before}), evenings(dipping={"rms_k": after}), 1)


def test_one_finding_against_them_refuses_gains():
    assert proved(proof.Finding("a"), proof.Finding("b")).passed
    assert not proved(proof.Finding("a"), proof.Finding("b", ok=False)).passed
    assert proved().ratio() == pytest.approx(0.75)
    assert proved().predicted_k == pytest.approx((0.3 * 0.848, 0.3 * 1.179), abs=0.003)


def test_every_warmer_plays_each_evening_with_both_gains_and_its_progress_is_counted(monkeypatch):
    """3 warmers x 4 evenings x 2: 24, of four hours each."""
    monkeypatch.setattr(proof, "draw", lambda findings, rigs, seed: [(MODEL, None)] * rigs)
    monkeypatch.setattr(proof, "_run", lambda *how: how[-1]["gains.water.kp"])
    played, shown = [], []

    def simulate(runs, seconds, *, stride, progress):
        played.extend((kp, seconds) for kp in runs)
        progress(len(runs))
        return outcome(len(runs))

    monkeypatch.setattr(proof.fastsim, "simulate", simulate)
    new = replace(chosen(), gains={"gains.water.kp": 0.2})
    done = proof.prove(TASK, {"gains.water.kp": 0.1}, new, rigs=3, progress=lambda some, of: shown.append((some, of)))
    assert played == [(0.1, 14400)] * 12 + [(0.2, 14400)] * 12
    assert shown == [(3 * n, 24) for n in range(1, 9)]
    assert done.rig_seconds == 24 * 14400


# -- whether the hold is possible ------------------------------------------------------------------------------------


def possible(task: Task = TASK, **model: float) -> list[proof.Finding]:
    found = replace(FOUND, model=replace(MODEL, **model))
    return proof.feasibility(replace(task, findings=found))


def test_the_heater_needs_a_twentieth_in_reserve():
    """By hand: water 31.5 + 0.5/4 x 11.5 = 32.94 °C, so 1.0 x 12.94 + 0.5 x 11.5 = 18.7 W; 18.7 / 0.95 = 19.7 W."""
    assert "takes 19 W of the heater's 150 W" in possible()[0].sentence
    assert possible(heater_w=19.8)[0].ok
    assert not possible(heater_w=19.5)[0].ok
    assert "the heater has 19.5 W" in possible(heater_w=19.5)[0].sentence


def test_a_weak_heater_is_said_with_the_ends_of_what_the_log_allows():
    """The losses' ends scale the need: 18.7 W times 1.2/1.5 and 1.8/1.5."""
    low, high = replace(MODEL, bath_loss_w_per_k=0.8, bowl_loss_w_per_k=0.4), replace(
        MODEL, bath_loss_w_per_k=1.2, bowl_loss_w_per_k=0.6)
    found = replace(FOUND, model=replace(MODEL, heater_w=10.0), low=low, high=high)
    assert "about 19 W (15 to 22 W by this log)" in proof.feasibility(replace(TASK, findings=found))[0].sentence


def test_a_ceiling_that_a_full_bowl_cannot_live_with_forbids_the_hold():
    """Water at most 34.3 °C holds (4 x 34.3 + 0.5 x 20) / 4.5 = 32.7 °C; a coupling of 1.5 only 30.7 °C."""
    assert all(each.ok for each in possible())
    (said,) = [each for each in possible(coupling_w_per_k=1.5) if not each.ok]
    assert "31 °C in a room of 20 °C the water would have to be 0.4 °C warmer" in said.sentence
    assert "A bowl that nobody stirs looks like that too" in said.sentence


def test_a_bowl_nearly_empty_that_cools_is_a_word_and_no_refusal():
    """At a fifth the coupling is less; the loss is the highest that the log allows."""
    low, high = MODEL, replace(MODEL, bowl_loss_w_per_k=1.0)
    found = replace(FOUND, low=low, high=high)
    said = proof.feasibility(replace(TASK, findings=found))[-1]
    emptied = replace(low.at_fill(0.2), bowl_loss_w_per_k=1.0)
    coupling = emptied.coupling_w_per_k
    held_c = (coupling * 34.3 + 1.0 * 20.0) / (coupling + 1.0)
    assert said.ok
    assert held_c < 31.0
    assert f"may cool to {held_c:.1f} °C" in said.sentence


def test_a_warmer_without_a_bowl_probe_needs_nothing_of_the_chocolate_in_its_log():
    found = replace(FOUND, identified=("water_j_per_k",))
    unseen = Task(found, settings_of(heater_w=150.0, water_l=2.0, **{"probe.bowl.kind": "none"}))
    assert all(each.ok for each in proof.feasibility(unseen))
    assert not all(each.ok for each in proof.feasibility(replace(TASK, findings=found)))
