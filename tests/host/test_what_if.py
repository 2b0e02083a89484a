"""A recorded hold played again with another choice; the truth is the same evening truly played so (`played_nights`)."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from played_nights import HOLD, Truth, play

from bainboard.control.rules import safe_gains
from bainwright import cli
from bainwright.core.errors import FileError, UseError
from bainwright.files.chocolate import load_profile
from bainwright.files.rig import load_rig
from bainwright.happenings.kinds import Happening
from bainwright.happenings.search import find
from bainwright.record.reader import HoldLog
from bainwright.tuning import gains
from bainwright.what_if import choice as what_if
from bainwright.what_if import outcome, recorded_evening
from bainwright.what_if import words as what_if_words
from bainwright.what_if.choice import Choice, Refused

RIG = load_rig("pot")
SETTINGS = dict(RIG.settings)
EVENING = [Truth(4500.0, "refill", 0.3, 24.0), Truth(8000.0, "refill", 0.3, 24.0), Truth(11000.0, "top_up", 0.2, 15.0)]
HOURS = 4.0


def played(settings: dict[str, Any] = SETTINGS, **changes: Any) -> HoldLog:
    """The evening on the warmer that ships, whose films, wall and latent heat the fitted model does not have."""
    log = play(RIG, settings, EVENING, HOURS, start_c=(25.0, 29.0), seed=3, **changes)
    log.facts["profile"] = load_profile("dark").document()
    return log


@pytest.fixture(scope="module")
def evening() -> tuple[HoldLog, list[Happening]]:
    log = played()
    return log, find(log, SETTINGS)[1]


@pytest.fixture(scope="module")
def record(evening: tuple[HoldLog, list[Happening]]) -> recorded_evening.Recorded:
    return recorded_evening.recorded(*evening)


def answered(record: recorded_evening.Recorded, choice: Choice) -> dict[str, what_if.Figure]:
    return {each.name: each for each in what_if.what_if(record, choice).figures}


def truly(log: HoldLog, target_c: float = 31.5) -> dict[str, float]:
    """The figures of an evening that was truly played so, from its readings by NumPy alone."""
    bowl_c = log["bowl_c"]
    inside = (bowl_c >= 31.0) & (bowl_c <= 32.0)
    first = int(np.argmax(inside))
    return {"error_c": float(np.sqrt(np.mean((bowl_c[first:] - target_c) ** 2))),
            "outside_min": float(np.count_nonzero(~inside[first:])) / 60.0}  # fmt: skip


def test_the_gains_it_had_change_nothing(record: recorded_evening.Recorded) -> None:
    now = safe_gains(SETTINGS)
    same = {"gains.water.kp": now.water_kp, "gains.water.ti_s": now.water_ti_s, "gains.water.td_s": now.water_td_s,
            "gains.bowl.kp": now.bowl_kp, "gains.bowl.ti_s": now.bowl_ti_s, "gains.bowl.td_s": now.bowl_td_s}
    for each in answered(record, Choice(gains=same)).values():
        assert each.would_be == pytest.approx(each.was, abs=1e-9)
        assert not each.sure


def test_weak_gains_would_have_been_as_much_worse_as_they_truly_are(record: recorded_evening.Recorded) -> None:
    weak = {"gains.bowl.kp": 0.6, "gains.bowl.ti_s": 4000.0}
    said, truth = answered(record, Choice(gains=weak)), truly(played({**SETTINGS, **weak}))
    for name, true in truth.items():
        assert said[name].low <= true <= said[name].high, name
    assert said["error_c"].sure
    assert said["error_c"].would_be > said["error_c"].was


def test_refills_announced_would_have_cost_as_little_as_they_truly_do(record: recorded_evening.Recorded) -> None:
    said, truth = answered(record, Choice(announce_s=300.0)), truly(played(announced=True))
    for name, true in truth.items():
        assert said[name].low <= true <= said[name].high, name
    assert said["error_c"].would_be < said["error_c"].was


def test_another_target_is_where_the_bowl_would_have_been(record: recorded_evening.Recorded) -> None:
    found = what_if.what_if(record, Choice(target_c=31.2))
    truth = played(hold={**HOLD, "target_c": 31.2})["bowl_c"]
    late = found.t_s > 3600.0
    true_c = truth[:: outcome.STEP_S][late]
    assert np.mean(found.would_be_c[late]) == pytest.approx(np.mean(true_c), abs=0.03)


def changed(log: HoldLog, events: list[dict[str, Any]] | None = None, **columns: Any) -> HoldLog:
    return replace(log, events=events or [], columns={**log.columns, **columns})


@pytest.mark.parametrize(("event", "words"), [
    ("trip", "tripped"), ("changed", "another chocolate"), ("boot", "restarted"), ("power_back", "restarted")])
def test_what_another_choice_may_have_changed_altogether_is_refused(
    event: str, words: str, evening: tuple[HoldLog, list[Happening]]
) -> None:
    log = changed(evening[0], [{"t_s": 5000.0, "event": event, "fault": 3}])
    with pytest.raises(FileError, match=words):
        recorded_evening.recorded(log, [])


def test_gains_that_were_chosen_for_another_warmer_are_named_as_such(record: recorded_evening.Recorded) -> None:
    """By the litres and watts that the file says it was made for."""
    own = {name: float(SETTINGS[name]) for name in gains.SAME}
    for heater_w, words in ((own["heater_w"], ""), (3.0 * own["heater_w"], "heater_w was 450 and is 150")):
        made = gains.Made(rig="big pot", date="2026-11-01", firmware="abc", **{**own, "heater_w": heater_w})
        choice = Choice(gains={"gains.bowl.kp": 2.0}, gains_file="big.toml", gains_notes=gains.Notes(made=made))
        said = what_if_words.section(what_if.what_if(record, choice)).lines
        assert [line for line in said if "another pot" in line and words in line] == [
            line for line in said if "big pot" in line]
        assert any("big pot" in line for line in said) == bool(words)


def test_a_record_that_shows_too_little_is_refused_with_the_reason(evening: tuple[HoldLog, list[Happening]]) -> None:
    log, happened = evening
    blind = changed(log, bowl_estimated=np.ones(len(log)))
    short = replace(log, columns={name: values[:3000] for name, values in log.columns.items()})
    holed = changed(log, water_c=np.where(np.arange(len(log)) % 4000 < 600, np.nan, log["water_c"]))
    tuned = changed(log, stage=np.full(len(log), "tune"))
    leap = changed(log, t_s=np.where(np.arange(len(log)) < 9000, log["t_s"], log["t_s"] + 9e6))
    for case, words in ((blind, "no probe was in the chocolate"), (short, "too short"), (holed, "readings are missing"),
                        (tuned, "no step that holds"), (leap, "one of its times is wrong")):  # fmt: skip
        refused = what_if.try_again(case, happened, Choice(target_c=31.3))
        assert isinstance(refused, Refused)
        assert words in refused.why
        assert what_if_words.section(refused).lines == [f"This record cannot say: {refused.why}."]


def test_heat_that_the_gains_did_not_decide_is_noticed(evening: tuple[HoldLog, list[Happening]]) -> None:
    """Somebody's own loop: the heat of this record comes and goes by the clock."""
    log, happened = evening
    with pytest.raises(FileError, match="something besides the gains decided the heat"):
        recorded_evening.recorded(changed(log, duty=np.where(log["t_s"] % 3000 < 1500, 0.0, 0.4)), happened)


def test_what_was_is_what_the_hold_s_own_report_counts(evening: tuple[HoldLog, list[Happening]]) -> None:
    """Also while the bowl stands beside the bath and the board decides nothing: half an hour, 4 K too warm."""
    log, happened = evening
    lifted = (log["t_s"] >= 9000.0) & (log["t_s"] < 10800.0)
    events = [{"t_s": 9000.0, "event": "bowl_off"}, {"t_s": 10800.0, "event": "bowl_on"}]
    warm = changed(log, events, state=np.where(lifted, "off", log["state"]),
                   bowl_c=np.where(lifted, log["bowl_c"] + 4.0, log["bowl_c"]))  # fmt: skip
    seen = recorded_evening.evening_of(warm, happened, SETTINGS, *recorded_evening.setup(warm)[1:])
    found = outcome.scored(seen, seen.water_c, seen.bowl_c, recorded_evening.setup(warm)[1])
    for name, value in truly(warm).items():
        assert found[name] == pytest.approx(value, rel=0.02), name  # the first minute in the window counts otherwise
    assert found["bowl_peak_c"] == np.max(warm["bowl_c"])


def test_nothing_can_be_announced_where_no_refill_was_found(record: recorded_evening.Recorded) -> None:
    with pytest.raises(FileError, match="show no refill plainly"):
        what_if.what_if(replace(record, refills=[]), Choice(announce_s=300.0))


@pytest.mark.parametrize("target_c", [30.9, 32.0, float("nan")])
def test_a_target_that_the_board_would_not_aim_at_is_refused(
    target_c: float, record: recorded_evening.Recorded
) -> None:
    with pytest.raises(UseError, match=r"31\.1 to 31\.9"):
        what_if.what_if(record, Choice(target_c=target_c))


@pytest.mark.parametrize(("typed", "words"), [
    (["--what-if"], "does not say what to try"), (["--target", "31.3"], "without --what-if"),
    (["--what-if", "--target", "warm"], "a temperature"), (["--what-if", "--announce", "0"], "over 0"),
    (["--what-if", "--gains", "none.toml"], "none.toml")])  # fmt: skip
def test_options_that_make_no_question_are_refused(
    typed: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["review", "last", *typed]) == 2
    assert words in capsys.readouterr().err


def test_an_answer_takes_less_memory_than_every_second_of_every_warmer(record: recorded_evening.Recorded) -> None:
    """Of two days that was over 700 MB. Between two kept moments the bowl's answer moves by less than its probe shows.

    Bound: one array of numbers for each warmer and second.
    """
    tracemalloc.start()
    found = what_if.what_if(record, Choice(target_c=31.2))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 8 * len(record.models) * len(record.evening.at_s)
    assert np.abs(np.diff(found.would_be_c - found.was_c)).max() < 1.0 / 16.0
