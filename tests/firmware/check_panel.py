"""The panel: clumsy presses, taped buttons, rhythms. Times come from the project's safety rules or panel.py."""

from bainboard import panel
from bainboard.panel import Button, Buttons, Buzzer, lamps


def press(buttons, which, start_ms, for_ms, step_ms=10, more_ms=200):
    """The acts of one button held from `start_ms` for a time."""
    acts = []
    now_ms = start_ms - 100
    while now_ms < start_ms + for_ms + more_ms:
        down = start_ms <= now_ms < start_ms + for_ms
        acts += buttons.feed(now_ms, which == "yes" and down, which == "no" and down, which == "recessed" and down)
        now_ms += step_ms
    return acts


def test_each_press_is_its_act():
    for which, for_ms, act in (("yes", 200, "confirm"), ("yes", 1500, "announce"), ("no", 200, "thicker"),
                               ("no", 1500, "pause"), ("recessed", 3100, "clear")):
        for step_ms in (5, 10, 50):
            assert press(Buttons(), which, 1000, for_ms, step_ms) == [act], (which, for_ms, step_ms)


def test_a_recessed_button_held_too_short_clears_nothing():
    for for_ms in (100, 1500, 2900):
        assert press(Buttons(), "recessed", 1000, for_ms) == []


def test_a_button_held_since_power_came_does_nothing_until_released():
    buttons = Buttons()
    acts = []
    for now_ms in range(0, 20000, 10):
        acts += buttons.feed(now_ms, True, True, True)
    assert acts == []
    assert press(buttons, "recessed", 21000, 3100) == ["clear"]


def test_a_hold_clears_once_and_not_again_until_released():
    assert press(Buttons(), "recessed", 1000, 30000) == ["clear"]


def test_a_bounce_is_one_press():
    button, acts = Button(1200, "short", "long"), []
    levels = [(0, False), (100, True), (105, False), (112, True), (120, False), (124, True), (400, False), (406, True),
              (411, False)]
    for now_ms in range(600):
        level = [on for at, on in levels if at <= now_ms][-1]
        acts.append(button.feed(now_ms, level))
    assert [act for act in acts if act] == ["short"]


def test_a_spike_is_no_press():
    button = Button(1200, "short", "long")
    acts = [button.feed(now_ms, 100 <= now_ms < 120) for now_ms in range(0, 1000, 5)]
    assert acts == [None] * len(acts)


def test_lamps_show_where_the_bowl_is():
    assert lamps("hold", "below", None, 0) == (1, 0, 0)
    assert lamps("hold", "inside", None, 0) == (0, 1, 0)
    assert lamps("hold", "above", None, 0) == (0, 0, 1)
    assert lamps("hold", None, None, 0) == lamps("idle", "inside", None, 0) == (0, 0, 0)
    assert lamps("pause", "inside", None, 0) == (1, 0, 1)
    assert [lamps("check", None, None, n * 500) for n in range(3)] == [(1, 0, 0), (0, 1, 0), (0, 0, 1)]


def test_an_alarm_takes_the_lamps_whatever_the_state():
    for state in ("hold", "trip", "pause", "idle"):
        quick = [lamps(state, "inside", panel.UNPLUG, n * 100)[0] for n in range(40)]
        slow = [lamps(state, "inside", panel.MORNING, n * 100)[0] for n in range(40)]
        assert sum(quick) == 20
        assert sum(slow) == 2


def loudness(buzzer, from_ms, to_ms):
    """How much of a span it sounds."""
    return sum([buzzer.level(now_ms) for now_ms in range(from_ms, to_ms, 10)]) * 10


def test_come_now_sounds_until_answered():
    buzzer = Buzzer()
    buzzer.want(panel.UNPLUG, 0)
    assert loudness(buzzer, 3600000, 3601000) == 450  # three knocks of 150 ms a second
    buzzer.stop(panel.UNPLUG)
    assert loudness(buzzer, 3601000, 3610000) == 0


def test_see_it_in_the_morning_sounds_for_a_minute():
    buzzer = Buzzer()
    buzzer.want(panel.MORNING, 0)
    assert loudness(buzzer, 0, 60000) > 10000
    assert loudness(buzzer, 60000, 120000) == 0
    buzzer.want(panel.MORNING, 120000)  # still the same cause
    assert loudness(buzzer, 120000, 180000) == 0


def test_silence_lasts_five_minutes_and_clears_nothing():
    buzzer = Buzzer()
    buzzer.want(panel.UNPLUG, 0)
    buzzer.silence(1000)
    assert loudness(buzzer, 1000, 301000) == 0
    assert loudness(buzzer, 301000, 302000) > 0


def test_the_most_urgent_sound_is_the_one_heard():
    both, one = Buzzer(), Buzzer()
    for buzzer in (both, one):
        buzzer.want(panel.UNPLUG, 0)
    both.want(panel.ASK, 0)
    both.want(panel.WARM, 0)
    assert [both.level(t) for t in range(0, 3000, 10)] == [one.level(t) for t in range(0, 3000, 10)]


def test_each_sound_has_a_rhythm_of_its_own_and_pauses():
    rhythms = [rhythm for rhythm, _ in panel.SOUNDS.values()]
    for n, rhythm in enumerate(rhythms):
        assert len(rhythm) % 2 == 0
        assert all(span_ms > 0 for span_ms in rhythm)
        assert rhythm not in rhythms[:n]


def test_both_at_once_are_neither_of_the_two():
    buttons = panel.Buttons()
    for at_ms in range(0, 300, 20):
        assert buttons.feed(at_ms, False, False, False) == []
    acts = []
    for at_ms in range(300, 400, 20):  # an elbow comes before the other
        acts += buttons.feed(at_ms, True, False, False)
    for at_ms in range(400, 2400, 20):
        acts += buttons.feed(at_ms, True, True, False)
    for at_ms in range(2400, 4500, 20):  # and goes before it
        acts += buttons.feed(at_ms, True, False, False)
    for at_ms in range(4500, 5000, 20):
        acts += buttons.feed(at_ms, False, False, False)
    assert acts == []
