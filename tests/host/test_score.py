"""The figures of a hold, against examples worked by hand and against what must hold for any record."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bainwright.files.score import (
    LONGEST_STEP_S,
    READINGS,
    TRUE,
    Trace,
    Window,
    score,
    step_lengths_s,
)
from bainwright.record.reader import HoldLog
from bainwright.report import steps
from bainwright.report.sentences import (
    DOUBTFUL,
    LOST,
    SPOILT,
    advice_words,
    evening_paragraph,
    melted_again,
    paragraph,
    percent,
    temper_left,
    trip_words,
)

DARK = Window(31.0, 31.5, 32.0, 34.5)


def trace(bowl_c, water_c=None, *, t_s=None, end_s=None, target_c=None, scored_from=TRUE):
    """A record a second from the bowl's temperatures."""
    bowl_c = np.array(bowl_c, dtype=float)
    n = len(bowl_c)
    t_s = np.arange(n, dtype=float) if t_s is None else np.array(t_s, dtype=float)
    water_c = np.full(n, 33.0) if water_c is None else np.array(water_c, dtype=float)
    target_c = np.full(n, np.nan) if target_c is None else np.array(target_c, dtype=float)
    return Trace(t_s, water_c, bowl_c, target_c, float(t_s[-1] + 1 if end_s is None else end_s), scored_from)


def test_six_minutes_worked_by_hand():
    """A minute each at 30, 31, 32, 33, 31 and 30 °C. It enters at 60 s: then 3 of 5 min inside; errors -0.5, 0.5, 1.5,
    -0.5, -1.5 °C; 1 °C over for a minute. Water peaks at 35 °C in the first minute, which belongs to the hold.
    """
    s = score(trace([c for c in (30, 31, 32, 33, 31, 30) for _ in range(60)], [35.0] * 60 + [33.5] * 300), DARK)
    assert (s.duration_s, s.warm_up_s, s.scored_from_s, s.scored_to_s) == (360, 60, 60, 360)
    assert s.in_window_fraction == pytest.approx(0.6, abs=1e-12)
    assert s.bowl_rms_error_c == pytest.approx(math.sqrt((3 * 0.25 + 2 * 2.25) / 5), abs=1e-12)
    assert (s.whole.bowl_low_c, s.whole.bowl_peak_c, s.whole.water_peak_c) == (30, 33, 35)
    assert s.whole.exposure_k_min == pytest.approx(1, abs=1e-12)
    assert (s.whole.below_s, s.whole.inside_s, s.whole.above_s, s.unknown_s) == (120, 180, 60, 0)
    assert s.whole.longest_outside_s == 60


def test_a_record_of_one_moment_was_in_its_window_or_was_not():
    """A hold that ends with its first reading lasts no time: all of it, or none of it, was inside."""
    for bowl_c, fraction in ((31.5, 1.0), (30.5, 0.0)):
        assert score(trace([bowl_c], end_s=0.0), DARK).in_window_fraction == fraction


def test_a_part_of_a_record_ends_before_its_moment():
    """Ten seconds of a record until 4 s: the rows at 0, 1, 2 and 3 s, and an end at 4 s."""
    part = trace(np.arange(10) + 30.0, target_c=10 * [31.5]).until(4.0)
    assert part.end_s == 4.0
    assert (part.t_s.tolist(), part.bowl_c.tolist()) == ([0.0, 1.0, 2.0, 3.0], [30.0, 31.0, 32.0, 33.0])
    assert (len(part.water_c), len(part.target_c)) == (4, 4)


def test_the_dipping_has_figures_of_its_own_where_it_is_not_the_whole_hold():
    """Two minutes of which the second counts: JSON has its peak beside the whole hold's."""
    whole = trace(60 * [40.0] + 60 * [31.5])
    assert "dipping" not in score(whole, DARK).as_dict()
    beside = score(whole, DARK, np.arange(120) >= 60).as_dict()
    assert (beside["bowl_peak_c"], beside["dipping"]["bowl_peak_c"]) == (40.0, 31.5)


def test_a_bowl_put_on_too_warm_is_counted_from_its_first_second():
    """38 °C for ten minutes, then 31.5 °C for fifty: 6 °C over for 10 min are 60 degree-minutes; scored from 600 s."""
    s = score(trace(600 * [38.0] + 3000 * [31.5]), DARK)
    assert (s.whole.bowl_peak_c, s.whole.above_s, s.warm_up_s) == (38.0, 600.0, 600.0)
    assert s.whole.exposure_k_min == pytest.approx(60.0, abs=1e-9)
    assert s.in_window_fraction == 1.0
    said = paragraph("dark", s, DARK, [])
    assert "after 10 min, which it took to cool down to it" in said
    assert "The warmest the chocolate got was 38.0 °C, 6.0 °C over the top of its window" in said
    assert "It spent 10 min above its window. Above it, that adds up to 60.0 degree-minutes." in said
    assert "Assume the seed is lost" in said


def test_a_bowl_that_stays_too_warm_never_reached_its_window_and_says_by_how_much():
    """45 °C for an hour: 13 °C over for 60 min are 780 degree-minutes."""
    s = score(trace(3600 * [45.0]), DARK)
    assert (s.in_window_fraction, s.warm_up_s, s.whole.bowl_peak_c, s.whole.above_s) == (0.0, None, 45.0, 3600.0)
    assert s.whole.exposure_k_min == pytest.approx(780.0, abs=1e-6)
    assert "never reached its window: at best it was 13.0 °C above it" in paragraph("dark", s, DARK, [])


def test_a_reading_that_only_touches_the_window_is_no_entry():
    """Five hours at 30.5 °C with one noisy second at 31.0 °C: never in; a minute there: in."""
    cold = 9000 * [30.5]
    assert score(trace([*cold, 31.0, *cold]), DARK).warm_up_s is None
    assert score(trace([*cold, *59 * [31.0], *cold]), DARK).warm_up_s is None
    assert score(trace([*cold, *60 * [31.0], *cold]), DARK).warm_up_s == 9000


def test_exposure_is_the_integral_of_what_is_over_the_window_in_kelvin_minutes():
    """Two kelvin over the window for half an hour are 60 K min (the definition: integral of max(0, T - T_high) dt)."""
    s = score(trace([31.5] + 1800 * [34.0] + 60 * [31.5]), DARK)
    assert s.whole.exposure_k_min == pytest.approx(60.0, abs=1e-9)


def test_samples_count_for_as_long_as_they_stand():
    """Rows every 4 s, then every second: 31.5 °C for 80 s and 30 °C for 20 s is 80 % in the window."""
    s = score(trace(20 * [31.5] + 20 * [30.0], t_s=[*range(0, 80, 4), *range(80, 100)], end_s=100), DARK)
    assert s.in_window_fraction == pytest.approx(0.8)


def test_a_gap_is_time_not_known_and_counts_for_neither_side():
    """100 s without a row: the last row before it counts for 5 s, 95 s are unknown."""
    s = score(trace([*60 * [31.5], 30.0], t_s=[*range(60), 159], end_s=164), DARK)
    assert s.in_window_fraction == pytest.approx((59 + LONGEST_STEP_S) / (59 + LONGEST_STEP_S + 5))
    assert s.unknown_s == pytest.approx(95)


def test_the_error_is_against_the_target_the_board_had_at_that_moment():
    """The person said it thickens and the target went up 0.3 K with the chocolate: no error."""
    s = score(trace([31.5, 31.5, 31.8, 31.8], target_c=[31.5, 31.5, 31.8, 31.8]), DARK)
    assert s.bowl_rms_error_c == pytest.approx(0.0, abs=1e-12)


def test_the_edges_of_the_window_belong_to_it():
    """31.0 and 32.0 °C are inside 31 to 32."""
    assert score(trace([31.0, 32.0]), DARK).in_window_fraction == 1.0


def test_never_in_the_window_is_fraction_zero_and_no_warm_up():
    """The chocolate stayed cold."""
    s = score(trace(10 * [25.0]), DARK)
    assert s.in_window_fraction == 0.0
    assert s.warm_up_s is None
    assert s.bowl_rms_error_c is None
    assert "never reached its window" in paragraph("dark", s, DARK, [])


def test_no_temperature_of_the_chocolate_is_none_and_said():
    """Without a probe in the chocolate nothing about it is claimed."""
    s = score(trace(10 * [np.nan]), DARK)
    assert (s.in_window_fraction, s.warm_up_s, s.whole.exposure_k_min) == (None, None, None)
    assert s.whole.water_peak_c == 33
    assert "not known" in paragraph("dark", s, DARK, [])


def test_left_for_good_is_the_last_ten_minutes_outside():
    """Inside, then cold for 10 min 1 s: for good. One second inside within the last ten minutes: not."""
    assert score(trace(100 * [31.5] + 601 * [30.0]), DARK).left_for_good
    assert not score(trace(100 * [31.5] + 599 * [30.0]), DARK).left_for_good
    assert not score(trace(700 * [30.0]), DARK).left_for_good  # never in: another verdict


def test_a_hold_in_its_window_to_the_end_has_not_left_it():
    """The ordinary case."""
    assert not score(trace(1000 * [31.5]), DARK).left_for_good


def test_it_says_what_was_scored():
    """True temperatures or readings, as requested."""
    assert score(trace([31.5], scored_from=READINGS), DARK).scored_from == READINGS


temps = st.lists(st.one_of(st.floats(20, 50), st.just(math.nan)), min_size=1, max_size=60)


@given(temps)
def test_times_below_in_above_and_unknown_add_up_to_the_hold(bowl_c):
    """And a share is 0 to 1, nothing is negative, nothing is NaN."""
    s = score(trace(bowl_c), DARK)
    for value in s.as_dict().values():
        assert not (isinstance(value, float) and math.isnan(value))
    assert s.in_window_fraction is None or 0 <= s.in_window_fraction <= 1
    assert s.whole.exposure_k_min is None or s.whole.exposure_k_min >= 0
    assert s.whole.below_s + s.whole.inside_s + s.whole.above_s + s.unknown_s == pytest.approx(s.duration_s)
    assert s.whole.longest_outside_s <= s.whole.below_s + s.whole.above_s


@given(st.lists(st.floats(31.0, 32.0), min_size=60, max_size=90), st.integers(1, 5))
def test_a_colder_start_only_delays_the_scored_span(bowl_c, cold_s):
    """Seconds before the entry change the warm-up, the time below and the lowest temperature, and no score."""
    plain, late = score(trace(bowl_c), DARK), score(trace(cold_s * [20.0] + bowl_c), DARK)
    assert late.warm_up_s == plain.warm_up_s + cold_s
    assert late.in_window_fraction == plain.in_window_fraction == 1.0
    assert late.bowl_rms_error_c == pytest.approx(plain.bowl_rms_error_c)
    assert (late.whole.below_s, late.whole.bowl_low_c) == (cold_s, 20.0)


@given(st.lists(st.floats(0.01, 20), min_size=1, max_size=30), st.floats(0, 20))
def test_steps_never_add_up_to_more_than_the_record(gaps_s, rest_s):
    """A sample counts until the next one or for the longest step."""
    t_s = np.cumsum(gaps_s)
    steps_s = step_lengths_s(t_s, float(t_s[-1]) + rest_s)
    assert (steps_s >= 0).all()
    assert (steps_s <= LONGEST_STEP_S).all()
    assert steps_s.sum() <= t_s[-1] - t_s[0] + rest_s + 1e-9


# -- in words -------------------------------------------------------------------------------------------------------


def test_the_paragraph_says_the_hold_in_plain_words():
    """Duration, share, warm-up, peaks against ceiling and window, trips."""
    s = score(trace(120 * [30.0] + 13079 * [31.4] + [31.6], 13200 * [34.1]), DARK)
    said = paragraph("dark", s, DARK, [])
    assert said.startswith("Held dark for 3 h 40 min: in its window 100 % of the time after 2 min of warm-up")
    assert "The warmest the water got was 34.1 °C, 0.4 °C under the ceiling." in said
    assert "31.6 °C, 0.4 °C under the top of its window; the coldest was 30.0 °C." in said
    assert "It spent 2 min below its window." in said
    assert said.endswith("No trips.")


def test_over_the_ceiling_the_seed_is_to_be_assumed_lost():
    """Above the window a test is asked for; at the ceiling the seed is assumed lost; melted stock has no temper."""
    warm, hot = score(trace(60 * [31.5] + [32.5]), DARK), score(trace(60 * [31.5] + [34.5]), DARK)
    assert "Test the temper before you dip again." in paragraph("dark", warm, DARK, [])
    assert "Assume the seed is lost until a temper test passes." in paragraph("dark", hot, DARK, [])
    assert paragraph("dark", hot, DARK, []).partition(". ")[0].endswith(", but the seed may be lost")
    melt = score(trace(60 * [31.5] + [45.0] + 60 * [31.5]), DARK)  # form VI melts at 36.3 °C (Wille & Lutton 1966)
    assert "over 36.3 °C no crystal is left. Seed it again." in paragraph("dark", melt, DARK, [])
    assert temper_left(hot.whole, DARK, 55.0, 55.0) == LOST
    assert temper_left(hot.whole, DARK, 55.2, 55.0) == SPOILT
    assert "over its limit of 55 °C, so it is not fit to temper" in advice_words(SPOILT, 55.0)
    cool = [score(trace([low_c, *60 * [31.5]]), DARK).whole for low_c in (29.0, 28.9)]  # under 29 °C: Greweling 2007
    assert [temper_left(each, DARK) for each in cool] == ["", DOUBTFUL]
    melted = Window(39.5, 40.0, 40.5, 45.0, tempered=False)
    assert "temper" not in paragraph("melted", score(trace(60 * [40.0] + [41.0]), melted), melted, [])


def test_percent_is_a_hundred_only_when_nothing_is_missing():
    """99.7 % must not read as 100 %."""
    assert percent(1.0) == "100 %"
    assert percent(0.997) == "99 %"
    assert percent(0.931) == "93 %"


def test_trips_are_counted_and_told():
    """Each with what was seen and when."""
    trip = {"t_s": 3600.0, "said": "the water probe gives no valid reading"}
    assert trip_words([trip]) == "1 trip: the water probe gives no valid reading (1 h in)."
    assert trip_words([trip, trip]).startswith("2 trips: ")


def test_a_bowl_that_only_touched_its_window_is_not_said_to_be_zero_below_it():
    said = paragraph("dark", score(trace(600 * [30.0] + [30.97] + 600 * [30.0]), DARK), DARK, [])
    assert "never stayed in its window for a minute" in said
    assert "0.0 °C below" not in said


def test_chocolate_that_is_only_left_to_set_has_no_window():
    """From the rest on it cools, as it should."""
    names, cooling = np.array(["rest"] * 600), trace([31.0 - 0.01 * n for n in range(600)])
    counts = steps.scored(names, cooling.t_s, DARK, math.inf)
    assert counts is not None
    assert not counts.any()
    said = evening_paragraph("dark", score(cooling, DARK, counts), steps.runs(names, cooling), DARK, "", [])
    assert said == "Held dark for 10 min: it was left to set. No trips."
    assert not steps.only_rests(np.array(["work", "rest"]))


def said_of(names, bowl_c):
    """The evening's paragraph of a record with a step a second."""
    evening, names = trace(bowl_c), np.array(names)
    counts = steps.scored(names, evening.t_s, DARK, math.inf)
    return evening_paragraph("dark", score(evening, DARK, counts), steps.runs(names, evening), DARK, "", [])


def test_an_evening_says_how_cold_its_seeded_chocolate_got_where_that_was_too_cold():
    """Below some 29 °C crystals form that do not last (common practice, no source)."""
    names = 600 * ["seed"] + 600 * ["settle"] + 600 * ["work"]
    said = said_of(names, 300 * [43.9] + 300 * [25.3] + 600 * [26.8] + 600 * [31.5])
    assert "chocolate up to 43.9 °C, down to 25.3 °C); " in said
    assert "settling 10 min (chocolate down to 26.8 °C); " in said
    as_it_should_be = said_of(names, 300 * [43.9] + 300 * [31.0] + 600 * [31.0] + 600 * [31.5])
    assert "down to" not in as_it_should_be


def test_an_evening_that_cools_and_warms_back_says_how_cold_it_got():
    said = said_of(600 * ["cool"] + 600 * ["work"], 300 * [42.7] + 300 * [27.4] + 600 * [31.5])
    assert "chocolate up to 42.7 °C, down to 27.4 °C); " in said


def test_an_evening_says_for_how_long_the_heat_was_held_back():
    """By hand, in whole quarters of an hour, as it is said live: 2 % of the heat from the 80th minute to the 121st."""
    n = 7300
    columns = {"t_s": np.arange(n) * 1.0, "state": np.array(["hold"] * n), "water_target_c": np.full(n, 50.0),
               "water_c": np.full(n, 40.0), "duty": np.where(np.arange(n) < 4800, 1.0, 0.02)}  # fmt: skip
    assert steps.held_back_s(HoldLog(columns)) == pytest.approx(1800.0, abs=1.0)
    assert steps.held_back_s(HoldLog({**columns, "water_c": np.full(n, 49.0)})) == 0.0
    assert steps.held_back_s(HoldLog({**columns, "water_c": np.full(n, np.nan)})) == 0.0


@pytest.mark.parametrize("step", ["melt", "seed", "cool"])
def test_a_melt_that_went_cold_before_it_came_to_a_temper_is_said_to_have_set(step):
    """Under 25 °C cocoa butter that was melted is firm (common practice, no source); what never melted did not set."""
    names = 600 * ["melt"] + 600 * [step]
    said = said_of(names, 600 * [42.0] + [42.0 - 0.0333 * n for n in range(600)])
    assert "At the end it was at 22.1 °C and has set: melt it all again." in said  # 42.0 - 0.0333 * 599
    assert "has set" not in said_of(names, 1200 * [22.0])
    assert "has set" not in said_of(names, 600 * [42.0] + 600 * [25.5])
    assert "has set" not in said_of(names, 900 * [22.0] + 300 * [42.0])


def test_a_share_of_the_dipping_says_from_when_on_it_counts():
    """By hand: 15 of 30 min of dipping below the window, and then all in it."""
    said = said_of(600 * ["settle"] + 1800 * ["work"], 1500 * [30.0] + 900 * [31.5])
    assert "while dipping, it was in its window 100 % of the time after the first 15 min of it" in said
    at_once = said_of(600 * ["settle"] + 1800 * ["work"], 600 * [30.0] + 1800 * [31.5])
    assert "of it" not in at_once.split(", typically")[0]


@pytest.mark.parametrize(("kept_c", "again"), [(39.8, True), (30.0, False)])
def test_a_temper_that_was_melted_afterwards_is_past(kept_c, again):
    """Form VI, the last crystal, melts at 36.3 °C (Wille and Lutton 1966)."""
    names = ["work"] * 600 + ["melted"] * 600
    evening = trace(600 * [24.8] + 600 * [kept_c])
    assert melted_again(steps.runs(np.array(names), evening)) is again
    assert not melted_again(steps.runs(np.array(names[::-1]), trace(600 * [40.0] + 600 * [31.0])))


def test_a_chocolate_that_was_chosen_and_never_came_into_the_bath_is_not_told():
    def event(name, stage="change"):
        return {"t_s": 1.0, "event": "changed", "name": name}, {"t_s": 1.0, "event": "stage", "stage": stage}
    back = {"t_s": 9.0, "event": "stage", "stage": "settle"}
    log = HoldLog({"t_s": np.zeros(1)}, events=[*event("black"), *event("dark"), back, *event("milk")])
    assert steps.next_bowls(log) == ["dark"]
