"""Tonight's steps. Oracle: the project's own rules of a hold; windows from the profile table's sources."""

from bainboard import settings, stages
from bainboard.programme import Programme
from bainboard.stages import STAGES


def dark(**more):
    """The default chocolate, checked: 31-32 °C, target 31.5, ceiling 34.5."""
    values, why = settings.check_profile(more)
    assert why is None, why
    return values


def names(p):
    """The names of its events since the last look."""
    return [name for name, _ in p.take_events()]


def seen(p, *bowls_c):
    """The events of a bowl going through these temperatures."""
    events = []
    for n, bowl_c in enumerate(bowls_c):
        p.step(n * 1000, 33.0, bowl_c)
        events += names(p)
    return events


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


def test_an_announced_refill_is_remembered_for_ten_minutes():
    p = Programme(dark(), "work", 0, 0)
    p.act("announce", 1000)
    assert p.refill.due_ms == 301000
    p.step(601000, 33.0, 31.5)
    assert p.refill.due_ms == 301000
    assert p.prompt == "pour"
    p.step(601001, 33.0, 31.5)
    assert p.refill.due_ms is None
    assert p.prompt == ""
    assert names(p) == ["announced", "warm", "no_refill"]


def test_a_refill_is_refused_where_no_window_is_held():
    """In a melt the bowl takes what is put in, and 'pour' would be said of a bowl far too cold for it."""
    for stage in ("melt", "seed", "cool", "rest"):
        p = Programme(dark(), stage, 0, 0)
        done, why = p.act("announce", 1000)
        assert not done
        assert "held in its window" in why
        assert (p.refill.due_ms, names(p)) == (None, [])


def test_pressed_again_the_refill_is_not_coming_and_a_time_that_was_said_is_remembered():
    p = Programme(dark(), "work", 0, 0)
    p.step(0, 33.0, 31.5)
    for _ in range(2):
        assert p.act("announce", 1000) == (True, "")
        p.step(2000, 33.0, 31.5)
        assert p.aim_c > 31.5
        assert p.act("announce", 3000) == (True, "")
        p.step(4000, 33.0, 31.5)
        assert (p.aim_c, p.refill.due_ms, p.prompt) == (31.5, None, "")
    assert names(p) == ["warm"] + 2 * ["announced", "no_refill"]
    p.act("announce", 5000, in_ms=60000)
    p.act("announce", 6000, in_ms=120000)  # said anew, not taken back
    assert p.refill.due_ms == 126000


def test_it_says_pour_now_when_the_time_has_come_or_the_bowl_has_led_as_far_as_it_may():
    p, _ = announced(31.5, 31.7)
    assert p.prompt == ""
    p.step(2000, 33.0, 31.82)
    assert p.prompt == p.calls == "pour"
    p.step(3000, 33.0, 31.7)
    assert p.prompt == "pour"  # a reading's noise does not ask and unask
    p, _ = announced(31.5, 31.5, every_ms=299999)
    assert p.prompt == ""
    p.step(300000, 33.0, 31.5)
    assert p.prompt == "pour"


def test_yes_to_pour_now_says_that_it_is_in_and_a_warm_one_need_not_show():
    p, _ = announced(31.5, 31.9)
    assert p.prompt == "pour"
    assert p.act("confirm", 2000) == (True, "")
    p.step(3000, 33.0, 31.9)
    assert (p.prompt, p.aim_c, p.refill.due_ms) == ("", 31.5, None)
    assert names(p)[-2:] == ["confirmed", "refill"]  # so that every view follows


def test_the_bath_gives_way_to_a_refill_that_is_said_to_be_warm_and_calls_for_it():
    p = Programme(dark(), "work", 0, 0)
    assert p.act("announce", 0, in_ms=360000, leads=False) == (True, "")
    p.step(1000, 33.0, 31.5)
    assert (p.aim_c, p.prompt) == (31.5, "")  # it is too soon
    p.step(60000, 33.0, 31.5)
    assert abs(p.aim_c - 31.1) <= 1e-5  # down to the window's end, and no further
    assert p.prompt == ""
    p.step(61000, 33.0, 31.9)  # warm for another reason than the lead: not called for before its time
    assert p.refill.due_ms is None  # or it came early
    p.act("announce", 62000, in_ms=0, leads=False)
    p.step(62000, 33.0, 31.5)
    assert p.prompt == "pour"
    p.act("confirm", 63000)
    p.step(64000, 33.0, 31.5)
    assert (p.aim_c, p.prompt) == (31.5, "")
    p.act("announce", 65000)
    p.step(66000, 33.0, 31.5)
    assert p.aim_c > 31.5  # the next one is another


def test_a_warm_refill_has_come_when_the_bowl_rises_by_more_than_its_readings_do():
    p = Programme(dark(), "work", 0, 0)
    p.act("announce", 0, in_ms=60000, leads=False)
    for bowl_c, waits in ((31.5, True), (31.4, True), (31.6875, True), (31.75, False)):
        p.step(1000, 33.0, bowl_c)
        assert (p.refill.due_ms is not None) == waits
    assert p.aim_c == 31.5


def test_a_bowl_that_is_nudged_to_its_lower_end_gives_way_no_further():
    p = Programme(dark(), "work", 0, 0)
    for _ in range(4):
        p.act("thinner", 0)
    p.act("announce", 0, in_ms=0, leads=False)
    p.step(0, 33.0, 31.5)
    assert abs(p.aim_c - 31.1) <= 1e-5
    assert p.aim_c == p.target_c


def test_the_lead_never_aims_over_the_ceiling():
    p = Programme(dark(), "work", 0, 0, most_c=32.0)
    p.act("announce", 0)
    p.step(0, 31.0, 30.0)
    assert p.aim_c == 32.0


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


def announced(*bowls_c, every_ms=1000, in_ms=300000):
    """Aims of a bowl going through these temperatures after an announcement."""
    p = Programme(dark(), "work", 0, 0)
    assert p.act("announce", 0, in_ms=in_ms) == (True, "")
    aims = []
    for n, bowl_c in enumerate(bowls_c):
        p.step(n * every_ms, 33.0, bowl_c)
        aims.append(p.aim_c)
    return p, aims


def test_an_announced_refill_lets_the_aim_lead_up_to_the_window_s_end():
    p, aims = announced(31.5, 31.7, 31.8, 31.9, 31.95)
    for n, want in enumerate((32.2, 32.1, 32.0, 31.9, 31.85)):
        assert abs(aims[n] - want) < 1e-4
    assert p.target_c == 31.5  # what is reported and scored stays


def test_the_lead_ends_when_the_bowl_says_that_it_was_poured():
    p, aims = announced(31.5, 31.7, 31.6, 31.3, 31.2)
    assert aims[2] > 31.5
    assert aims[3:] == [31.5, 31.5]
    assert p.refill.due_ms is None
    assert names(p).count("refill") == 1


def test_a_refill_far_off_does_not_lead_yet_and_one_that_never_comes_is_given_up():
    _, aims = announced(31.5, 31.5, 31.5, every_ms=60000, in_ms=460000)
    assert aims == [31.5, 31.5, 31.5]
    p, aims = announced(*[31.6] * 12, every_ms=60000)
    assert aims[10] > 31.5  # five minutes late, to the second
    assert aims[11] == 31.5
    assert p.refill.due_ms is None


def test_without_an_announcement_the_aim_is_the_target_and_follows_it():
    p = Programme(dark(), "work", 0, 0)
    p.step(0, 33.0, 31.5)
    assert p.aim_c == 31.5
    p.act("thicker", 1000)
    p.step(1000, 33.0, 31.5)
    assert p.aim_c == p.target_c


# -- a whole evening ---------------------------------------------------------------------------------------------------


class Evening:
    """A programme and the second it is at."""

    def __init__(self, stage, **more):
        self.p = Programme(dark(**more), stage, 0, 0)
        self.s = 0
        self.fields = {}  # of the last event of each name

    def go(self, seconds, water_c=33.0, bowl_c=31.5):
        """So many passes; the events of them."""
        events = []
        for _ in range(seconds):
            self.s += 1
            self.p.step(self.s * 1000, water_c, bowl_c)
            events += self._take()
        return events

    def act(self, name):
        """An act and its events."""
        assert self.p.act(name, self.s * 1000) == (True, "")
        return self._take()

    def _take(self):
        events = self.p.take_events()
        self.fields.update(events)
        return [name for name, _ in events]


def test_a_melt_is_asked_about_when_it_is_near_and_unanswered_it_holds():
    e = Evening("melt")
    assert (e.p.target_c, e.p.ceiling_c, e.p.limit_c) == (48.0, 54.0, 55.0)
    assert e.p.aim_c == 48.0
    e.go(10, 40.0, 30.0)
    assert (e.p.prompt, e.p.aim_c) == ("", 50.0)  # the bath does not ease off before it is there
    e.act("confirm")  # somebody is here: no answer to what was not asked
    assert e.p.stage == "melt"
    e.go(2, 53.0, 47.5)
    assert (e.p.prompt, e.p.aim_c) == ("all_melted", 48.0)
    e.go(7200, 52.0, 47.9)
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
    e.go(5, 53.0, 47.0)
    assert e.p.prompt == "bowl_off"
    assert e.act("confirm") == ["confirmed", "bowl_off"]
    assert e.p.bowl_away
    e.go(600, 45.0, 40.0)
    assert e.p.prompt == "swap"
    assert e.act("confirm") == ["confirmed"]  # a yes makes no bath colder
    e.go(2, 45.0, 40.0)
    assert e.p.prompt == "swap"
    assert e.go(1, 34.4, 38.0) == ["bath_ready"]
    assert e.p.prompt == "seed_in"
    e.act("confirm")
    e.go(2, 33.0, 32.0)
    assert e.p.prompt == "bowl_on"
    assert e.act("confirm") == ["confirmed", "bowl_on", "stage"]
    assert (e.p.stage, e.p.bowl_away, e.p.bath_only) == ("settle", False, False)


def test_a_bowl_set_back_into_a_bath_over_its_ceiling_is_to_be_lifted_again():
    e = Evening("seed")
    e.go(2, 53.0, 47.0)
    e.act("bowl_off")
    e.go(2, 53.0, 47.0)
    e.act("bowl_on")
    e.go(2, 53.0, 47.0)
    assert e.p.prompt == "bowl_off"


def test_settling_waits_for_the_window_stirs_and_continues_to_the_test_by_itself():
    e = Evening("settle")
    e.go(200, 33.0, 32.3)
    assert e.p.prompt == ""  # a little over: patience
    e.go(1, 33.0, 32.6)
    assert e.p.prompt == "seed_more"
    e.go(5, 33.0, 32.4)
    assert e.p.prompt == "seed_more"  # until it is inside: a reading's noise does not ask and unask
    assert e.go(62, 33.0, 31.8) == ["warm"]
    assert e.p.prompt == "stir"
    e.act("confirm")
    assert (e.p.prompt, e.p.calls) == ("stirring", "")
    assert e.go(32, 33.0, 31.4) == ["stirred", "stage"]
    assert e.fields["stirred"][0][0] == "shift"
    assert (e.p.stage, e.p.prompt) == ("test", "test")


def test_a_reading_that_stirring_moves_by_more_than_half_a_kelvin_was_not_the_bowl_s():
    e = Evening("settle")
    e.go(70, 33.0, 31.1)
    e.act("confirm")
    e.go(31, 33.0, 31.7)
    assert e.p.prompt == "move_probe"
    e.go(600, 33.0, 31.7)
    assert (e.p.stage, e.p.prompt) == ("settle", "move_probe")
    e.act("confirm")
    assert e.p.prompt == "stir"
    e.act("confirm")
    e.go(32, 33.0, 31.7)
    assert e.p.stage == "test"


def tested(minutes, answer):
    """A temper test answered after this long: the evening and the reported verdict."""
    e = Evening("test")
    e.go(1)
    e.act("confirm")
    e.go(int(minutes * 60))
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
    e.go(1)
    e.act("confirm")
    e.go(100)
    assert (e.p.prompt, e.p.calls) == ("setting", "")
    e.go(201)
    assert (e.p.prompt, e.p.calls) == ("set_yet", "set_yet")
    e.go(300)
    assert e.p.prompt == "not_set"
    e.go(3600)
    assert (e.p.stage, e.p.target_c) == ("test", 31.5)


def test_a_test_in_the_middle_of_work_keeps_what_was_nudged():
    e = Evening("work")
    e.go(5)
    e.act("thicker")
    e.act("test")
    assert e.p.stage == "test"
    assert abs(e.p.target_c - 31.8) < 1e-5
    e.go(1)
    e.act("confirm")
    e.go(60)
    e.act("confirm")
    assert e.p.stage == "work"
    assert abs(e.p.target_c - 31.8) < 1e-5


def test_a_bowl_that_warms_with_nothing_heating_it_is_to_be_lifted_and_a_yes_is_heard_for_ten_minutes():
    e = Evening("work")
    e.go(5)
    e.p.duty_zero = True
    for n in range(120):
        e.go(1, 34.0, 32.2 + n * 0.002)
    assert e.p.prompt == "lift"
    e.act("confirm")
    e.go(60, 34.0, 32.5)
    assert e.p.prompt == ""
    e.go(600, 34.0, 32.6)
    assert e.p.prompt == "lift"
    e.p.duty_zero = False
    e.go(1, 34.0, 32.6)
    assert e.p.prompt == ""


def test_a_reading_that_flickers_about_what_is_asked_by_asks_once():
    e = Evening("work")
    e.go(5, 34.0, 32.2)
    e.p.duty_zero = True
    for n in range(120):
        e.go(1, 34.0, 32.2 + n * 0.001)
    asked, before = 0, e.p.prompt
    for n in range(120):  # the last step of 1/16 K to and fro
        e.go(1, 34.0, 32.3125 if n % 3 else 32.25)
        asked, before = asked + (e.p.prompt == "lift" != before), e.p.prompt
    assert asked <= 1
    assert e.p.prompt == "lift"


def test_rest_gives_no_heat_and_only_a_person_makes_it_warm_again():
    e = Evening("work")
    e.go(5)
    assert e.act("rest") == ["stage"]
    assert (e.p.heats, e.p.prompt) == (False, "spread")
    e.go(36000, 25.0, 24.0)
    assert (e.p.stage, e.p.heats) == ("rest", False)
    assert "stage" in e.act("thicker")
    assert (e.p.stage, e.p.target_c, e.p.ceiling_c, e.p.limit_c) == ("melted", 40.0, 45.0, 55.0)


def test_the_last_yes_ends_the_evening():
    e = Evening("rest")
    e.go(5)
    e.act("confirm")
    assert e.p.done
    assert e.p.finished


def test_another_bowl_waits_until_the_bath_is_under_its_ceiling():
    e = Evening("work")
    e.go(5)
    white, _ = settings.check_profile({
        "kind": "white", "low_c": 28.5, "target_c": 29.0, "high_c": 29.5, "ceiling_c": 32.5, "never_above_c": 50.0,
        "melt_c": 43.0})
    e.p.change(white, e.s * 1000)
    e.go(1, 33.0, 31.5)
    assert (e.p.stage, e.p.prompt, e.p.target_c) == ("change", "bowl_off", 29.0)
    e.act("bowl_off")
    e.go(2, 33.0, 31.5)
    assert e.p.prompt == "swap"
    assert "bath_ready" in e.go(2, 32.4, 31.5)
    assert e.p.prompt == "bowl_on"
    e.act("bowl_on")
    e.go(2, 31.0, 29.2)
    assert (e.p.stage, e.p.ceiling_c) == ("settle", 32.5)


def test_every_stage_ends_at_the_hold_s_own_time():
    for stage in stages.RUNNABLE:
        p = Programme(dark(), stage, 0, 60000)
        p.step(59000, 33.0, 31.5)
        assert not p.done
        p.step(60000, 33.0, 31.5)
        assert p.done
        assert not p.finished
