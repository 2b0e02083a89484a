"""What a review finds in the readings alone; the truth is the evening that was played (`played_nights`)."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import numpy as np
import pytest
from played_nights import Truth, changed_in_mid_night, play

from bainwright.files.rig import load_rig
from bainwright.happenings import announced, robust
from bainwright.happenings import kinds as found
from bainwright.happenings import words as happening_words
from bainwright.happenings.search import find
from bainwright.happenings.sense import at_once, lasting
from bainwright.happenings.stray import strays
from bainwright.record.reader import HoldLog

RIG = load_rig("pot")
EVENING = [Truth(3000.0, "refill", 0.3, 24.0), Truth(6000.0, "top_up", 0.2, 15.0), Truth(9000.0, "lift", 300.0),
           Truth(12000.0, "refill", 0.3, 40.0)]  # fmt: skip
PLANTS = ("built-in", "lumped")  # a bath in two layers blurs what was poured in; tests/bench/RESULTS.md has its figures
KINDS = [found.COLD_REFILL, found.TOP_UP, found.LIFTED, found.WARM_REFILL]


def happened(log: HoldLog) -> list[found.Happening]:
    return find(log, RIG.settings)[1]


@pytest.fixture(scope="module", params=PLANTS)
def evening(request: pytest.FixtureRequest) -> HoldLog:
    return play(RIG, dict(RIG.settings), EVENING, 4.0, plant=request.param)


def test_everything_that_happened_is_found_with_its_time_and_nothing_else(evening: HoldLog) -> None:
    """Within two minutes: the probe's lag and the wall's blur a begin by one."""
    seen = happened(evening)
    assert [each.kind for each in seen] == KINDS
    for each, truth in zip(seen, EVENING, strict=True):
        assert abs(each.at_s - truth.at_s) < 120.0


def test_a_fall_at_once_is_no_lift_though_a_slow_loss_fits_bath_and_bowl_better(evening: HoldLog) -> None:
    """The first refill as a search had found it on many a small warmer, and the lift as it was found."""
    balance, seen = find(evening, RIG.settings)
    slow = replace(seen[0], kind=found.LIFTED, at_s=2900.0, lasted_s=120.0)
    poured, lift = at_once(balance, [slow, seen[2]])
    assert (poured.kind, poured.lasted_s) == (found.COLD_REFILL, 0.0)
    assert poured.at_s == pytest.approx(3000.0, abs=30.0)
    assert lift == seen[2]


def test_a_lift_lasts_from_the_bend_of_the_bowl_s_reading_to_its_lowest() -> None:
    """Eight minutes over a bath in layers, which blurs the begin: by its template alone it was two minutes late."""
    (lift,) = happened(play(RIG, dict(RIG.settings), [Truth(6000.0, "lift", 480.0)], 2.5, plant="layered"))
    assert (lift.kind, lift.at_s) == (found.LIFTED, pytest.approx(6000.0, abs=60.0))
    assert lift.lasted_s == pytest.approx(480.0, abs=60.0)


def test_a_refill_is_said_in_grams_for_each_kilogram_in_the_bowl(evening: HoldLog) -> None:
    """0.3 kg at 40 °C into a full bowl of 2 kg and what the first refill of 0.3 kg added: 130 g a kilogram."""
    refill = happened(evening)[3]
    said = happening_words.sentence(refill, 33.1, lambda at_s: "22:10", known=True, bowl_c=31.5)
    grams, words = said.split("about ")[1].split(" g ")
    assert float(grams) == pytest.approx(1000.0 * 0.3 / 2.3, rel=0.25)
    assert words == "at 40 °C for each kg that it held."


def test_water_that_was_poured_in_is_said_in_litres(evening: HoldLog) -> None:
    """0.20 L at 15 °C were played, and the sentence says the temperature that it assumes."""
    top_up = happened(evening)[1]
    said = happening_words.sentence(top_up, 33.1, lambda at_s: "22:10")
    litres = float(said.split("about ")[1].split(" L")[0])
    assert litres == pytest.approx(0.20, rel=0.25)
    assert said.endswith("if it was at 15 °C.")


@pytest.mark.parametrize("plant", PLANTS)
def test_a_night_in_which_nothing_happens_shows_nothing(plant: str) -> None:
    """The room is 2 °C from what the warmer was told, as rooms are."""
    assert happened(play(RIG, dict(RIG.settings), [], 4.0, plant=plant, room_c=22.0)) == []


def test_a_board_s_own_rows_of_ten_seconds_show_the_same(evening: HoldLog) -> None:
    columns = {name: values[9::10] for name, values in evening.columns.items()}
    sparse = replace(evening, columns=columns, facts={**evening.facts, "row_s": 10.0})
    assert [each.kind for each in happened(sparse)] == KINDS


def test_a_gap_in_the_record_is_no_happening(evening: HoldLog) -> None:
    """Half an hour without rows; what happened before and after it is still found."""
    there = (evening["t_s"] < 6900.0) | (evening["t_s"] > 8400.0)
    log = replace(evening, columns={name: values[there] for name, values in evening.columns.items()})
    assert [each.kind for each in happened(log)] == KINDS


def test_without_a_bowl_probe_the_water_still_shows_what_was_poured_in(evening: HoldLog) -> None:
    blind = np.full(len(evening), np.nan)
    log = replace(evening, columns={**evening.columns, "bowl_c": blind})
    assert found.TOP_UP in [each.kind for each in happened(log)]


@pytest.mark.parametrize("rows", [1, 2, 30, 700])
def test_a_short_record_shows_nothing_and_fails_nothing(evening: HoldLog, rows: int) -> None:
    log = replace(evening, columns={name: values[:rows] for name, values in evening.columns.items()})
    assert happened(log) == []


def test_each_announcement_is_matched_with_what_was_found_of_it(evening: HoldLog) -> None:
    """Two refills and the lift were announced; a third announcement nobody kept, and a fourth was taken back."""
    log = replace(evening, events=[
        {"t_s": 2750.0, "event": "announced"}, {"t_s": 3030.0, "event": "refill"},
        {"t_s": 4500.0, "event": "announced"}, {"t_s": 4600.0, "event": "no_refill"},
        {"t_s": 9000.0, "event": "bowl_off"}, {"t_s": 9300.0, "event": "bowl_on"},
        {"t_s": 10000.0, "event": "announced"}, {"t_s": 11800.0, "event": "announced"},
    ])  # fmt: skip
    said = announced.announced(log.events, happened(log), 14400.0)
    assert [each.kind for each in said] == ["refill", "lift", "refill", "refill"]
    assert [each.found and each.found.kind for each in said] == [
        found.COLD_REFILL, found.LIFTED, None, found.WARM_REFILL]


def test_a_lift_that_was_announced_is_told_by_its_announcement(evening: HoldLog) -> None:
    """A short one, heated by nothing meanwhile, looks like a loss of bath and bowl; its length is what was pressed."""
    (lift,) = [each for each in happened(evening) if each.kind == found.LIFTED]
    events = [{"t_s": 9000.0, "event": "bowl_off"}, {"t_s": 9300.0, "event": "bowl_on"}]
    (one,) = announced.announced(events, [replace(lift, kind=found.COOLED)], 14400.0)
    assert one.found is not None
    assert happening_words.lifted(one.found, one.over_s - one.from_s, "22:30").startswith(
        "22:30: the bowl was off for 5 min, as announced, and fell by ")


def test_a_fall_is_said_by_the_readings_and_not_by_the_heat(evening: HoldLog) -> None:
    """The bath gives some of the heat back meanwhile; who reads 'fell by' takes one reading from another."""
    (lift,) = [each for each in happened(evening) if each.kind == found.LIFTED]
    t_s, bowl_c = evening["t_s"], evening["bowl_c"]
    near = (t_s > 8980.0) & (t_s < 9600.0)
    fell_c = bowl_c[(t_s > 8980.0) & (t_s < 9010.0)].mean() - bowl_c[near].min()
    assert lift.read_k == pytest.approx(-fell_c, abs=0.06)
    assert f"fell by {-lift.read_k:.1f} °C" in happening_words.sentence(lift, 33.1, lambda at_s: "22:30")


def test_a_bowl_that_was_not_set_back_is_seen_while_it_settles(evening: HoldLog) -> None:
    """No balance is made of that step; a fall under a bath 4 °C warmer says it. Reported as lifted, it is no news."""
    rows = evening["t_s"] < 2400.0
    columns = {name: values[rows] for name, values in evening.columns.items()}
    t_s = columns["t_s"]
    log = replace(evening, events=[], columns={
        **columns, "stage": np.array(["settle"] * len(t_s)), "state": np.array(["hold"] * len(t_s)),
        "bowl_c": 29.0 - 0.16 / 60.0 * t_s, "water_c": np.full(len(t_s), 31.6)})
    (stray,) = strays(log)
    assert stray.at_s < 600.0
    assert stray.to_c == pytest.approx(29.0 - 0.16 * 40.0, abs=0.1)
    assert "it was not in its bath" in happening_words.left(stray, lambda at_s: "22:30", "water")
    assert strays(replace(log, events=[{"event": "bowl_off", "t_s": 1.0}])) == []
    assert strays(evening) == []


def test_what_a_loss_may_have_been_leaves_room_for_cold_pieces(evening: HoldLog) -> None:
    (lift,) = [each for each in happened(evening) if each.kind == found.LIFTED]
    said = happening_words.sentence(lift, 33.1, lambda at_s: "22:30")
    assert "in a strong draught, did something cold go in, or is little left in it?" in said


def test_what_ends_a_hold_is_no_part_of_the_balance_before_it(evening: HoldLog) -> None:
    """A refill far too warm takes the bowl out of the hold within a minute; nothing happened until then."""
    over = evening["t_s"] >= 2400.0
    columns = {**evening.columns, "bowl_c": evening["bowl_c"] + np.where(evening["t_s"] >= 2370.0, 5.0, 0.0),
               "state": np.where(over, "idle", evening["state"])}
    log = replace(evening, columns={name: values[evening["t_s"] < 2700.0] for name, values in columns.items()})
    assert happened(log) == []


def test_one_happening_answers_one_announcement_only(evening: HoldLog) -> None:
    twice = [{"t_s": 2700.0, "event": "announced"}, {"t_s": 2990.0, "event": "refill"},
             {"t_s": 2995.0, "event": "announced"}, {"t_s": 3040.0, "event": "refill"}]
    said = announced.announced(twice, happened(evening), 14400.0)
    assert [each.found is not None for each in said] == [True, False]


@pytest.mark.parametrize("slip_c", [-0.5, 0.5])
def test_a_probe_that_slips_is_told_from_a_refill_by_what_remains_of_it(slip_c: float) -> None:
    """Half a degree at two and a half hours, on a quiet night; the size within a fifth."""
    log = changed_in_mid_night(RIG, 9000.0, 5.0, plant="built-in", seed=2, slip_c=slip_c)
    (slipped,) = happened(log)
    assert slipped.kind == found.PROBE_SLIPPED
    assert abs(slipped.at_s - 9000.0) < 60.0
    assert slipped.bowl_k == pytest.approx(slip_c, rel=0.2)
    said = happening_words.sentence(slipped, 42.0, lambda at_s: "00:30")
    assert ("warmer than shown" if slip_c < 0 else "colder than shown") in said


def test_a_bath_that_mixes_after_a_top_up_is_no_second_happening() -> None:
    """In two layers the probe's own falls by more and comes back; the litres are those that were poured, within 25 %.

    The water's specific heat is 4.18 kJ/kg per degree (handbook, from memory).
    """
    truths = [Truth(4000.0, "top_up", 0.3, 15.0), Truth(8000.0, "top_up", 0.15, 15.0)]
    seen = happened(play(RIG, dict(RIG.settings), truths, 4.0, plant="layered", warmer=3))
    assert [each.kind for each in seen] == [found.TOP_UP, found.TOP_UP]
    for each, truth in zip(seen, truths, strict=True):
        assert abs(each.at_s - truth.at_s) < 60.0
        assert -each.water_j / (4180.0 * (33.0 - 15.0)) == pytest.approx(truth.size, rel=0.25)


def test_a_bath_that_feeds_a_refill_has_lost_nothing() -> None:
    """A cold bowl takes more from the layer about it than the model says, for a quarter of an hour."""
    quick = msgspec.structs.replace(RIG.plant, bowl_probe_lag_s=5.0, water_probe_lag_s=5.0)
    truths = [Truth(4000.0, "refill", 0.4, 26.0), Truth(7500.0, "refill", 0.4, 26.0)]
    log = play(replace(RIG, plant=quick), dict(RIG.settings), truths, 3.0, seed=3, plant="layered", fill=0.8)
    assert [each.kind for each in happened(log)] == [found.COLD_REFILL, found.COLD_REFILL]


def loss(at_s: float, lasted_s: float, kind: str, bowl_k: float) -> found.Happening:
    return found.Happening(at_s, lasted_s, kind, 0.0, 5000.0 * bowl_k, 0.0, bowl_k, 20.0)


def test_a_long_loss_is_as_long_and_as_deep_as_the_reading_and_its_end_is_no_heat() -> None:
    """By hand: from 31.5 °C down by 4 °C in 25 minutes, low for 5 more, and back up in ten."""
    t_s = np.arange(7200.0)
    bowl_c = np.interp(t_s, [0.0, 1800.0, 3300.0, 3600.0, 4200.0], [31.5, 31.5, 27.5, 27.5, 31.5])
    seen = lasting(t_s, bowl_c, [loss(1800.0, 600.0, found.LIFTED, -1.7), loss(3650.0, 240.0, found.HEATED, 0.9),
                                 loss(6000.0, 240.0, found.HEATED, 0.9)])
    assert [each.kind for each in seen] == [found.LIFTED, found.HEATED]
    assert seen[1].at_s == 6000.0
    assert seen[0].lasted_s == pytest.approx(1800.0, abs=30.0)
    assert seen[0].bowl_k == pytest.approx(-4.0, abs=0.05)
    assert seen[0].bowl_j == pytest.approx(5000.0 * -4.0, rel=0.02)
    short = loss(1800.0, 600.0, found.LIFTED, -1.7)
    (kept,) = lasting(t_s, np.where(t_s < 2400.0, bowl_c, 30.5), [short])
    assert replace(kept, read_k=None) == short


def test_a_refill_that_only_the_reading_shows_is_told_by_the_reading() -> None:
    """0.8 kg at 45 °C into 1 kg: the bowl leaves the balance's range, and nobody may say that nothing shows."""
    t_s, none = np.arange(3600.0), announced.Announced(announced.REFILL, 1800.0, 2150.0, 2150.0, None)
    told = announced.moved(t_s, np.where(t_s < 2100.0, 31.5, 37.3), none)
    assert told.bowl_c == pytest.approx((31.5, 37.3))
    assert announced.moved(t_s, np.full(3600, 31.5), none).bowl_c is None
    lift = announced.Announced(announced.LIFT, 1200.0, 1200.0, 1500.0, None)  # it fell for as long as it was away
    fell = announced.moved(t_s, 31.3 - 0.0025 * np.clip(t_s - 1200.0, 0.0, 300.0), lift)
    assert fell.bowl_c == pytest.approx((31.3, 30.55), abs=0.02)
    assert announced.moved(t_s, np.full(3600, np.nan), none).bowl_c is None


def test_a_fit_is_least_squares_with_a_guess_and_is_not_pulled_by_outliers() -> None:
    """Oracles: NumPy's least squares on rows and guess together; and the factors that the rows were made with."""
    random = np.random.default_rng(1)
    true, parts = np.array([1.5, -0.5]), random.normal(size=(2, 400))
    rows, prior = true @ parts + 0.1 * random.normal(size=400), np.diag([4.0, 1.0])

    def fit(rounds: int) -> np.ndarray:
        return robust.fitted(rows, parts, prior, prior @ np.ones(2), noise=0.1, shared=1, rounds=rounds).factors

    both = np.vstack([parts.T / 0.1, np.sqrt(prior)]), np.concatenate([rows / 0.1, np.sqrt(prior) @ np.ones(2)])
    assert fit(1) == pytest.approx(np.linalg.lstsq(*both)[0], rel=1e-9)
    rows[:40] += 5.0 * parts[0, :40]
    assert abs(fit(1)[0] - true[0]) > 0.3
    assert fit(8) == pytest.approx(true, abs=0.03)
