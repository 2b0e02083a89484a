"""A refill that is announced: when it is remembered, poured, led up to, and given up.

Oracle: the project's own rules of a hold.
"""

from fake_programme import dark, names

from bainboard.programme import Programme


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


def test_a_refill_chills_the_bowl_from_when_it_may_come_until_it_has_mixed_in():
    p, _ = announced(31.5, 31.5, in_ms=600000)
    assert not p.refill.chills(299999)
    assert p.refill.chills(300000)
    p.refill.pour(700000)
    assert p.refill.chills(1299999)
    assert not p.refill.chills(1300000)
    p, _ = announced(31.5, 31.5)
    p.act("announce", 2000)  # pressed again: it is not coming
    assert not p.refill.chills(2000)
