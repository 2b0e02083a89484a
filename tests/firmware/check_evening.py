"""A whole evening of the programme, step by step: what it asks, and what each answer leads to.

Oracle: the project's own rules of a hold.
"""

from fake_programme import Evening, dark

from bainboard import settings, stages
from bainboard.programme import Programme


def test_a_melt_is_asked_about_when_it_is_near_and_unanswered_it_holds():
    e = Evening("melt")
    assert (e.p.target_c, e.p.ceiling_c, e.p.limit_c) == (48.0, 54.0, 55.0)
    assert e.p.aim_c == 48.0
    e.run(10, 40.0, 30.0)
    assert (e.p.prompt, e.p.aim_c) == ("", 50.0)  # the bath does not ease off before it is there
    e.act("confirm")  # somebody is here: no answer to what was not asked
    assert e.p.stage == "melt"
    e.run(2, 53.0, 47.5)
    assert (e.p.prompt, e.p.aim_c) == ("all_melted", 48.0)
    e.run(7200, 52.0, 47.9)
    assert (e.p.stage, e.p.prompt, e.p.target_c) == ("melt", "all_melted", 48.0)
    assert e.act("thicker") == ["denied"]
    assert e.p.stage == "melt"
    assert e.act("confirm") == ["confirmed", "stage"]
    assert e.fields["stage"] == [("stage", "seed")]
    assert e.p.ceiling_c == 34.5


def test_the_bath_over_a_melt_stays_under_the_chocolate_s_and_the_warmer_s_limit():
    assert Programme(dark(melt_c=48.0, never_above_c=50.0), "melt", 0, 0).ceiling_c == 49.0
    assert Programme(dark(), "melt", 0, 0, 44.0).ceiling_c == 44.0


def test_seeding_takes_the_bowl_off_waits_for_the_bath_and_asks_for_the_bowl_back():
    e = Evening("seed")
    assert e.p.bath_only
    e.run(5, 53.0, 47.0)
    assert e.p.prompt == "bowl_off"
    assert e.act("confirm") == ["confirmed", "bowl_off"]
    assert e.p.bowl_away
    e.run(600, 45.0, 40.0)
    assert e.p.prompt == "swap"
    assert e.act("confirm") == ["confirmed"]  # a yes makes no bath colder
    e.run(2, 45.0, 40.0)
    assert e.p.prompt == "swap"
    assert e.run(1, 34.4, 38.0) == ["bath_ready"]
    assert e.p.prompt == "seed_in"
    e.act("confirm")
    e.run(2, 33.0, 32.0)
    assert e.p.prompt == "bowl_on"
    assert e.act("confirm") == ["confirmed", "bowl_on", "stage"]
    assert (e.p.stage, e.p.bowl_away, e.p.bath_only) == ("settle", False, False)


def test_a_bowl_set_back_into_a_bath_over_its_ceiling_is_to_be_lifted_again():
    e = Evening("seed")
    e.run(2, 53.0, 47.0)
    e.act("bowl_off")
    e.run(2, 53.0, 47.0)
    e.act("bowl_on")
    e.run(2, 53.0, 47.0)
    assert e.p.prompt == "bowl_off"


def test_settling_waits_for_the_window_stirs_and_continues_to_the_test_by_itself():
    e = Evening("settle")
    e.run(200, 33.0, 32.3)
    assert e.p.prompt == ""  # a little over: patience
    e.run(1, 33.0, 32.6)
    assert e.p.prompt == "seed_more"
    e.run(5, 33.0, 32.4)
    assert e.p.prompt == "seed_more"  # until it is inside: a reading's noise does not ask and unask
    e.act("confirm")
    e.run(9 * 60, 33.0, 32.6)
    assert e.p.prompt == ""  # seed that was just given takes minutes
    e.run(70, 33.0, 32.6)
    assert e.p.prompt == "seed_more"
    assert e.run(62, 33.0, 31.8) == ["warm"]
    assert e.p.prompt == "stir"
    e.act("confirm")
    assert (e.p.prompt, e.p.calls) == ("stirring", "")
    assert e.run(32, 33.0, 31.4) == ["stirred", "stage"]
    assert e.fields["stirred"][0][0] == "shift"
    assert (e.p.stage, e.p.prompt) == ("test", "test")


def test_a_reading_that_stirring_moves_by_more_than_half_a_kelvin_was_not_the_bowl_s():
    e = Evening("settle")
    e.run(70, 33.0, 31.1)
    e.act("confirm")
    e.run(31, 33.0, 31.7)
    assert e.p.prompt == "move_probe"
    e.run(600, 33.0, 31.7)
    assert (e.p.stage, e.p.prompt) == ("settle", "move_probe")
    e.act("confirm")
    assert e.p.prompt == "stir"
    e.act("confirm")
    e.run(32, 33.0, 31.7)
    assert e.p.stage == "test"


def tested(minutes, answer):
    """A temper test answered after this long: the evening and the reported verdict."""
    e = Evening("test")
    e.run(1)
    e.act("confirm")
    e.run(int(minutes * 60))
    assert "tested" in e.act(answer)
    return e, e.fields["tested"][0][1]


def test_dark_that_sets_within_its_minutes_is_in_temper_and_work_begins():
    """5 minutes or less, and not in temper after 10 to 15: common practice, no source."""
    e, verdict = tested(4, "confirm")
    assert (verdict, e.p.stage) == ("good", "work")
    e, verdict = tested(8, "confirm")
    assert (verdict, e.p.stage) == ("slow", "work")


def test_a_yes_long_after_a_piece_should_have_set_judges_nothing_and_the_test_is_made_again():
    e, verdict = tested(11, "confirm")
    assert (verdict, e.p.stage, e.p.prompt) == ("late", "test", "test")


def test_a_no_asks_for_more_seed_and_settles_again():
    e, verdict = tested(7, "thicker")
    assert (verdict, e.p.stage, e.p.prompt) == ("failed", "test", "more_seed")
    e.act("confirm")
    assert e.p.stage == "settle"


def test_the_timer_of_a_test_calls_only_when_its_time_has_come():
    e = Evening("test")
    e.run(1)
    e.act("confirm")
    e.run(100)
    assert (e.p.prompt, e.p.calls) == ("setting", "")
    e.run(201)
    assert (e.p.prompt, e.p.calls) == ("set_yet", "set_yet")
    e.run(300)
    assert e.p.prompt == "not_set"
    e.run(3600)
    assert (e.p.stage, e.p.target_c) == ("test", 31.5)


def test_a_test_in_the_middle_of_work_keeps_what_was_nudged():
    e = Evening("work")
    e.run(5)
    e.act("thicker")
    e.act("test")
    assert e.p.stage == "test"
    assert abs(e.p.target_c - 31.8) < 1e-5
    e.run(1)
    e.act("confirm")
    e.run(60)
    e.act("confirm")
    assert e.p.stage == "work"
    assert abs(e.p.target_c - 31.8) < 1e-5


def test_a_bowl_that_warms_with_nothing_heating_it_is_to_be_lifted_and_a_yes_is_heard_for_ten_minutes():
    e = Evening("work")
    e.run(5)
    e.p.duty_zero = True
    for n in range(120):
        e.run(1, 34.0, 32.2 + n * 0.002)
    assert e.p.prompt == "lift"
    e.act("confirm")
    e.run(60, 34.0, 32.5)
    assert e.p.prompt == ""
    e.run(600, 34.0, 32.6)
    assert e.p.prompt == "lift"
    e.p.duty_zero = False
    e.run(1, 34.0, 32.6)
    assert e.p.prompt == ""


def test_a_reading_that_flickers_about_what_is_asked_by_asks_once():
    e = Evening("work")
    e.run(5, 34.0, 32.2)
    e.p.duty_zero = True
    for n in range(120):
        e.run(1, 34.0, 32.2 + n * 0.001)
    asked, before = 0, e.p.prompt
    for n in range(120):  # the last step of 1/16 K to and fro
        e.run(1, 34.0, 32.3125 if n % 3 else 32.25)
        asked, before = asked + (e.p.prompt == "lift" != before), e.p.prompt
    assert asked <= 1
    assert e.p.prompt == "lift"


def test_rest_gives_no_heat_and_only_a_person_makes_it_warm_again():
    e = Evening("work")
    e.run(5)
    assert e.act("rest") == ["stage"]
    assert (e.p.heats, e.p.prompt) == (False, "spread")
    e.run(36000, 25.0, 24.0)
    assert (e.p.stage, e.p.heats) == ("rest", False)
    assert "stage" in e.act("thicker")
    assert (e.p.stage, e.p.target_c, e.p.ceiling_c, e.p.limit_c) == ("melted", 40.0, 45.0, 55.0)


def test_the_last_yes_ends_the_evening():
    e = Evening("rest")
    e.run(5)
    e.act("confirm")
    assert e.p.done
    assert e.p.finished


def test_another_bowl_waits_until_the_bath_is_under_its_ceiling():
    e = Evening("work")
    e.run(5)
    white, _ = settings.check_profile({
        "kind": "white", "low_c": 28.5, "target_c": 29.0, "high_c": 29.5, "ceiling_c": 32.5, "never_above_c": 50.0,
        "melt_c": 43.0})
    e.p.change(white, e.s * 1000)
    e.run(1, 33.0, 31.5)
    assert (e.p.stage, e.p.prompt, e.p.target_c) == ("change", "bowl_off", 29.0)
    e.act("bowl_off")
    e.run(2, 33.0, 31.5)
    assert e.p.prompt == "swap"
    assert "bath_ready" in e.run(2, 32.4, 31.5)
    assert e.p.prompt == "bowl_on"
    e.act("bowl_on")
    e.run(2, 31.0, 29.2)
    assert (e.p.stage, e.p.ceiling_c) == ("settle", 32.5)


def test_every_stage_ends_at_the_hold_s_own_time():
    for stage in stages.RUNNABLE:
        p = Programme(dark(), stage, 0, 60000)
        p.step(59000, 33.0, 31.5)
        assert not p.done
        p.step(60000, 33.0, 31.5)
        assert p.done
        assert not p.finished
