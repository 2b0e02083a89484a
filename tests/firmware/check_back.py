"""One step back after a slip, and the evening that cools the bowl instead of seeding it.

Oracle: the project's own rules of a hold. The figures of cooling, 28 °C and back to 31-32 °C for dark: common practice,
no source.
"""

from fake_programme import Evening

from bainboard import panel, settings, stages
from bainboard.programme import BACK_MS


def test_a_yes_pressed_by_mistake_is_taken_back_with_everything_it_changed():
    e = Evening("melt")
    e.run(5, 53.0, 47.6)
    before = e.place()
    assert before[:2] == ("melt", "all_melted")
    e.act("confirm")
    e.run(20, 53.0, 47.0)
    assert e.p.stage == "seed"
    assert e.act("back") == ["taken_back", "stage"]
    assert e.fields["taken_back"] == [("undid", "confirm"), ("ask", "all_melted"), ("target", 48000)]
    assert e.fields["stage"] == [("stage", "melt")]
    assert e.place() == before


def test_every_act_is_undone_in_every_stage_it_may_be_made_in():
    undone = []
    for stage in stages.RUNNABLE:
        for name in ("confirm", "thicker", "thinner", "bowl_off", "test", "rest", "melted"):
            e = Evening(stage)
            e.run(3, 33.0, 31.5)
            before = e.place()
            ok, _ = e.p.act(name, e.s * 1000)
            e.p.take_events()
            if not ok or e.p.done or e.place() == before:
                continue
            e.run(3, 33.0, 31.5)
            e.act("back")
            assert e.place() == before, (stage, name)
            undone.append((stage, name))
    assert ("work", "rest") in undone
    assert ("work", "thicker") in undone
    assert ("seed", "bowl_off") in undone
    assert len(undone) > 30


def test_the_timer_of_a_test_piece_runs_on_when_the_answer_is_taken_back():
    e = Evening("test")
    e.run(1)
    e.act("confirm")
    e.run(120)
    assert e.act("thicker") == ["denied", "tested"]
    e.run(60)
    e.act("back")
    assert e.p.prompt == "setting"
    e.run(119)
    assert e.p.prompt == "setting"
    e.run(1)  # 120 + 60 + 120 s: five minutes since the blade was laid down
    assert e.p.prompt == "set_yet"


def test_one_step_and_no_more_and_not_after_five_minutes():
    e = Evening("work")
    e.run(1)
    assert "no answer of the last 5 minutes" in e.refused("back")
    e.act("thicker")
    e.act("thicker")
    e.act("back")
    assert abs(e.p.target_c - 31.8) < 1e-5
    assert "to take back" in e.refused("back")
    e.act("thinner")
    e.run(BACK_MS // 1000 + 1)
    assert "to take back" in e.refused("back")
    e.act("thinner")
    e.run(BACK_MS // 1000)
    e.act("back")


def test_a_yes_that_changed_nothing_leaves_the_answer_before_it_to_be_taken_back():
    e = Evening("work")
    e.run(1)
    e.act("thicker")
    e.run(1)
    e.act("confirm")
    e.act("back")
    assert e.p.target_c == 31.5


def test_what_is_taken_back_is_reported_so_that_every_view_follows():
    e = Evening("work")
    e.run(1)
    for name, event in (("bowl_off", "bowl_on"), ("rest", "stage")):
        e.act(name)
        assert e.act("back") == ["taken_back", event]
    e.act("announce")
    for _ in range(300):
        e.run(1)
    assert e.p.prompt == "pour"
    e.act("confirm")
    assert e.act("back") == ["taken_back", "announced"]
    e.run(1)
    assert e.p.prompt == "pour"


def test_another_chocolate_is_no_answer_to_take_back():
    e = Evening("work")
    e.run(1)
    e.act("thicker")
    e.p.change(settings.check_profile({"name": "milk"})[0], e.s * 1000)
    assert "to take back" in e.refused("back")


def test_both_buttons_pressed_short_are_one_step_back_and_held_they_lock():
    for for_ms, acts in ((200, ["back"]), (1100, ["back"]), (1400, []), (2900, []), (3200, ["lock"])):
        buttons, made = panel.Buttons(), []
        for now_ms in range(0, 5000, 20):
            both = 1000 <= now_ms < 1000 + for_ms
            made += buttons.feed(now_ms, both, both, False)
        assert made == acts, for_ms


# -- cooled and warmed back --------------------------------------------------------------------------------------------


def test_a_chocolate_with_a_temperature_to_cool_to_is_cooled_and_warmed_back():
    e = Evening("melt", cool_c=28.0)
    e.run(2, 53.0, 47.8)
    assert e.act("confirm") == ["confirmed", "stage"]
    assert (e.p.stage, e.p.bath_only, e.p.ceiling_c) == ("cool", True, 34.5)
    e.run(2, 53.0, 47.8)
    assert e.p.prompt == "bowl_off"
    e.act("confirm")
    e.run(2, 45.0, 47.0, 47.0)
    assert e.p.prompt == "swap"
    assert e.run(1, 33.0, 47.0, 46.0) == ["bath_ready"]
    e.run(300, 33.0, 33.0, 33.0)
    assert (e.p.prompt, e.p.calls) == ("cool_down", "")  # nobody is called while it cools
    e.run(1, 33.0, 33.0, 28.0)
    assert e.p.prompt == e.p.calls == "cooled"
    e.run(1, 33.0, 33.0, 28.09)
    assert e.p.prompt == "cooled"  # a reading's noise does not ask and unask
    e.run(1, 33.0, 33.0, 28.2)
    assert e.p.prompt == "cool_down"
    e.run(3600, 33.0, 33.0, 25.0)
    assert e.p.stage == "cool"  # a person says that it is cool: a probe in the air reads so too
    e.act("confirm")
    assert e.run(1, 33.0, 33.0, 27.5) == []  # the bath was ready all along: not reported twice
    assert e.p.prompt == "bowl_on"
    assert e.act("confirm") == ["confirmed", "bowl_on", "stage"]
    assert (e.p.stage, e.p.target_c) == ("settle", 31.5)


def test_without_a_probe_in_the_chocolate_cooling_waits_for_the_persons_yes():
    e = Evening("cool", cool_c=28.0)
    e.run(1)
    e.act("confirm")
    e.run(600)
    assert e.p.prompt == "cool_down"
    e.act("confirm")
    e.run(1)
    assert e.p.prompt == "bowl_on"


def test_not_in_temper_is_cooled_again_where_there_is_no_seed():
    for cool_c, stage, asked in ((28.0, "cool", "bowl_off"), (0.0, "test", "more_seed")):
        e = Evening("test", cool_c=cool_c)
        e.run(1)
        e.act("confirm")
        e.run(600)
        e.act("thicker")
        e.run(1)
        assert (e.p.stage, e.p.prompt) == (stage, asked)


def test_cooling_ends_below_the_window_and_above_where_chocolate_sets():
    for cool_c, good in ((0.0, True), (28.0, True), (20.0, True), (30.9, True), (31.0, False), (19.9, False)):
        values, why = settings.check_profile({"cool_c": cool_c})
        assert (values is not None) == good, cool_c
        if not good:
            assert why.startswith("cool_c: got")
