"""The steps of an evening: windows, nudges, ends and refusals.

Oracle: the project's own rules of a hold; windows from the sources of the table of profiles.
"""

from fake_programme import dark, names, seen

from bainboard import stages
from bainboard.programme import Programme
from bainboard.stages import STAGES


def test_work_takes_its_window_and_limits_from_the_chocolate():
    p = Programme(dark(), "work", 0, 0)
    assert (p.low_c, p.target_c, p.high_c, p.ceiling_c) == (31.0, 31.5, 32.0, 34.5)
    assert p.limit_c == 35.0  # the ceiling and the probe's own error
    assert p.stage == "work"
    assert p.prompt == ""
    assert not p.done


def test_melted_is_limited_by_what_chocolate_must_never_see():
    p = Programme(dark(low_c=39.0, target_c=40.0, high_c=41.0, ceiling_c=45.0, never_above_c=50.0), "melted", 0, 0)
    assert p.limit_c == 50.0
    assert p.ceiling_c == 45.0


def test_a_step_that_is_none_is_refused_by_name():
    why = ""
    try:
        Programme(dark(), "stir", 0, 0)
    except ValueError as error:
        why = str(error)
    assert "stir" in why
    assert "work" in why


def test_the_first_entry_is_warm_and_the_edges_follow_with_slack():
    p = Programme(dark(), "work", 0, 0)
    assert seen(p, 29.0, 30.9) == []
    assert p.place == "below"
    assert p.warm_ms is None
    assert seen(p, 31.0) == ["warm"]
    assert seen(p, 30.95, 30.91, 31.5, 32.05) == []  # within a tenth: still inside
    assert seen(p, 30.85) == ["below"]
    assert seen(p, 30.95) == []  # back inside takes the window itself
    assert seen(p, 31.0, 32.2, 31.9) == ["inside", "above", "inside"]


def test_a_bowl_that_starts_too_warm_comes_down_into_its_window():
    p = Programme(dark(), "work", 0, 0)
    assert seen(p, 34.0, 32.05, 32.0) == ["warm"]


def test_an_unread_or_lifted_bowl_moves_no_edge():
    p = Programme(dark(), "work", 0, 0)
    seen(p, 31.5)
    assert seen(p, None, None) == []
    p.act("bowl_off", 0)
    p.take_events()
    assert seen(p, 20.0) == []
    assert p.place == "inside"


def test_a_hold_ends_at_its_time_and_not_a_second_before():
    p = Programme(dark(), "work", 5000, 60000)
    p.step(64999, 33.0, 31.5)
    assert not p.done
    p.step(65000, 33.0, 31.5)
    assert p.done


def test_a_hold_without_a_time_continues_unanswered():
    p = Programme(dark(), "work", 0, 0)
    for hours in range(48):
        p.step(hours * 3600000, 33.0, 31.5)
    assert not p.done
    assert p.target_c == 31.5


def test_thicker_lifts_the_target_inside_the_window_and_then_refuses():
    p = Programme(dark(), "work", 0, 0)
    assert p.act("thicker", 0) == (True, "")
    assert abs(p.target_c - 31.8) < 1e-5
    assert p.act("thicker", 0) == (True, "")
    assert abs(p.target_c - 31.9) < 1e-5
    ok, why = p.act("thicker", 0)
    assert not ok
    assert "work" in why
    assert "thicker" in why
    assert "31.9" in why
    assert "temper again" in why
    assert abs(p.target_c - 31.9) < 1e-5
    assert names(p) == ["thicker", "thicker"]


def test_thinner_lowers_it_inside_the_window():
    p = Programme(dark(), "work", 0, 0)
    for _ in range(3):
        p.act("thinner", 0)
    assert abs(p.target_c - 31.1) < 1e-5
    assert not p.act("thinner", 0)[0]


def test_no_act_puts_the_target_over_the_window_in_any_order():
    p = Programme(dark(), "work", 0, 0)
    for n in range(200):
        p.act("thicker" if n * 7 % 5 < 3 else "thinner", n)
        assert 31.0 < p.target_c < 32.0 < p.ceiling_c < p.limit_c


def test_melted_stock_does_not_thicken():
    p = Programme(dark(low_c=39.0, target_c=40.0, high_c=41.0, ceiling_c=45.0, never_above_c=50.0), "melted", 0, 0)
    ok, why = p.act("thicker", 0)
    assert not ok
    assert "melted" in why
    assert p.target_c == 40.0


def test_the_bowl_goes_off_once_and_comes_back_once():
    p = Programme(dark(), "work", 0, 0)
    assert p.act("bowl_on", 0)[0] is False
    assert p.act("bowl_off", 0)[0]
    assert p.bowl_away
    assert p.act("bowl_off", 0)[0] is False
    assert p.act("bowl_on", 0)[0]
    assert not p.bowl_away
    assert names(p) == ["bowl_off", "bowl_on"]


def test_a_refusal_names_where_it_was_what_was_asked_and_why():
    p = Programme(dark(), "work", 0, 1000)
    assert "no such act" in p.act("hotter", 0)[1]
    p.step(1000, 33.0, 31.5)
    ok, why = p.act("confirm", 2000)
    assert not ok
    assert why == "work: confirm refused: the hold is over"


def test_two_events_of_one_name_between_two_looks_have_their_own_fields():
    p = Programme(dark(), "work", 0, 0)
    p.act("test", 0)
    p.act("rest", 0)
    assert p.take_events() == [("stage", [("stage", "test")]), ("stage", [("stage", "rest")])]


def test_a_confirmation_with_nothing_asked_still_counts():
    p = Programme(dark(), "work", 0, 0)
    assert p.act("confirm", 0) == (True, "")
    assert names(p) == ["confirmed"]
    assert p.stage == "work"


def test_no_stage_goes_by_itself_into_one_with_a_warmer_ceiling_and_every_next_one_exists():
    rows = {row[stages.NAME]: row for row in STAGES}
    for row in STAGES:
        following = row[stages.NEXT]
        if following is None:
            continue
        asked = row[stages.STEPS][-1][stages.YES] is not None and row[stages.STEPS][-1][stages.UNTIL] is None
        here, there = Programme(dark(), row[stages.NAME], 0, 0), Programme(dark(), following, 0, 0)
        assert asked or not there.ceiling_c > here.ceiling_c, row[stages.NAME]
        assert rows[following]
