"""The panel's logic: presses by state, alarms that sound until answered, and only the recessed button clears."""

from bainboard import faults, panel
from bainboard.panel_logic import PanelLogic, alarm_of

YES, NO, RECESSED = (True, False, False), (False, True, False), (False, False, True)
FREE = (False, False, False)


def press(front, pressed, for_ms, state, start_ms=0):
    """Acts of one press, fed each 100 ms, released before and after."""
    acts = []
    for at_ms in range(start_ms, start_ms + 500, 100):
        acts += front.acts(at_ms, FREE, state)
    for at_ms in range(start_ms + 500, start_ms + 500 + for_ms, 100):
        acts += front.acts(at_ms, pressed, state)
    for at_ms in range(start_ms + 500 + for_ms, start_ms + 1000 + for_ms, 100):
        acts += front.acts(at_ms, FREE, state)
    return acts


def test_short_and_long_presses_are_the_four_acts_of_the_two_buttons():
    assert press(PanelLogic(), YES, 300, "hold") == ["confirm"]
    assert press(PanelLogic(), YES, 2000, "hold") == ["announce"]
    assert press(PanelLogic(), NO, 300, "hold") == ["thicker"]
    assert press(PanelLogic(), NO, 2000, "hold") == ["pause"]


def test_in_a_water_pause_yes_or_another_long_no_resumes():
    assert press(PanelLogic(), YES, 300, "pause") == ["resume"]
    assert press(PanelLogic(), NO, 2000, "pause") == ["resume"]


def test_a_board_at_rest_takes_yes_as_once_more_and_no_as_another_chocolate():
    assert press(PanelLogic(), YES, 300, "idle") == ["again"]
    assert press(PanelLogic(), NO, 300, "idle") == ["another"]


def test_a_short_no_in_a_water_pause_says_that_the_dipping_is_over():
    assert press(PanelLogic(), NO, 300, "pause") == ["rest"]


def test_a_long_yes_in_a_water_pause_says_that_another_chocolates_bowl_comes_next():
    assert press(PanelLogic(), YES, 2000, "pause") == ["next"]


def test_a_number_shows_on_the_lamps_of_a_board_at_rest_and_goes_again():
    front = PanelLogic()
    front.number(5, 0)
    front.show(1000, "idle", None, faults.NONE, "")
    assert front.lamps == (1, 0, 1)
    front.show(panel.NUMBER_MS, "idle", None, faults.NONE, "")
    assert front.lamps == (0, 0, 0)


def test_only_the_recessed_button_held_three_seconds_clears():
    assert press(PanelLogic(), RECESSED, 2500, "trip") == []
    assert press(PanelLogic(), RECESSED, 3500, "trip") == ["clear"]
    taped = PanelLogic()
    assert [act for at_ms in range(0, 9000, 100) for act in taped.acts(at_ms, RECESSED, "trip")] == []


def sounds(front, start_ms, ms, state, fault):
    """Does the buzzer sound at all within this time?"""
    heard = 0
    for at_ms in range(start_ms, start_ms + ms, 50):
        front.show(at_ms, state, None, fault, "")
        heard += front.buzzer
    return heard > 0


def test_an_unplug_alarm_sounds_until_it_is_answered_and_again_five_minutes_later():
    unplug = next(row[faults.NUMBER] for row in faults.FAULTS if row[faults.HAZARD] == faults.UNPLUG)
    front = PanelLogic()
    assert alarm_of(unplug) == panel.UNPLUG
    assert sounds(front, 0, 10000, "trip", unplug)
    assert press(front, YES, 300, "trip", 10000) == []  # heard; confirms nothing
    assert not sounds(front, 12000, 60000, "trip", unplug)
    assert sounds(front, 12000 + panel.SILENCE_MS, 2000, "trip", unplug)


def test_a_morning_alarm_sounds_a_minute_and_then_only_winks():
    front = PanelLogic()
    assert alarm_of(faults.WATER_PROBE) == panel.MORNING
    assert sounds(front, 0, 60000, "trip", faults.WATER_PROBE)
    assert not sounds(front, 61000, 60000, "trip", faults.WATER_PROBE)
    lit = set()
    for at_ms in range(121000, 129000, 50):
        front.show(at_ms, "trip", None, faults.WATER_PROBE, "")
        lit.add(front.lamps)
    assert lit == {(0, 0, 0), (1, 1, 1)}


def test_until_the_water_is_known_not_to_rise_the_lamps_wink_each_second():
    for sure, winks in ((False, 8), (True, 2)):
        front = PanelLogic()
        lit = 0
        for at_ms in range(120000, 128000, 200):
            front.show(at_ms, "trip", None, faults.WATER_PROBE, "", sure)
            lit += front.lamps == (1, 1, 1)
        assert lit == winks


def test_reaching_the_window_sounds_once():
    front = PanelLogic()
    front.show(0, "hold", "inside", faults.NONE, "")
    front.event("warm", 0)
    assert sounds(front, 0, 1500, "hold", faults.NONE)
    assert not sounds(front, 1500, 20000, "hold", faults.NONE)
    assert front.lamps == (0, 0, 0)  # no place given


BOTH = (True, True, False)


def locked_front(fault=faults.NONE):
    front = PanelLogic()
    front.lock(True, 0)
    front.show(0, "hold", "inside", fault, "")
    return front


def test_both_large_buttons_held_three_seconds_lock_and_are_nothing_else():
    assert press(PanelLogic(), BOTH, 3500, "hold") == ["lock"]
    assert press(PanelLogic(), BOTH, 2500, "hold") == []


def test_locked_buttons_do_nothing_but_unlock_and_the_recessed_one_still_works():
    for pressed, for_ms in ((YES, 300), (YES, 2000), (NO, 300), (NO, 2000)):
        assert press(locked_front(), pressed, for_ms, "hold") == []
    assert press(locked_front(), RECESSED, 3500, "hold") == ["clear"]
    assert press(locked_front(), BOTH, 3500, "hold") == ["lock"]
    front = locked_front()
    front.lock(False, 1000)
    assert press(front, YES, 300, "hold", 2000) == ["confirm"]


def test_either_locked_button_quiets_an_alarm():
    for pressed in (YES, NO):
        front = locked_front(faults.OVER_HARD_LIMIT)
        assert sounds(front, 0, 1000, "trip", faults.OVER_HARD_LIMIT)
        assert press(front, pressed, 300, "trip", 1000) == []
        assert not sounds(front, 3000, 1000, "trip", faults.OVER_HARD_LIMIT)


def test_while_locked_the_middle_lamp_winks_and_once_when_that_ends():
    front = locked_front()
    assert front.lamps == (0, 0, 0)  # inside: the lit one goes out for a moment
    front.show(1000, "hold", "inside", faults.NONE, "")
    assert front.lamps == (0, 1, 0)
    front.show(4100, "idle", None, faults.NONE, "")
    assert front.lamps == (0, 1, 0)
    front.lock(False, 5000)
    front.show(5100, "idle", None, faults.NONE, "")
    assert front.lamps == (0, 1, 0)
    front.show(9100, "idle", None, faults.NONE, "")
    assert front.lamps == (0, 0, 0)


def test_why_a_press_was_refused_is_shown_for_a_while_and_the_lamps_shake():
    front = PanelLogic()
    assert front.refusal(0) == ""
    front.refuse("melt: announce refused: a refill goes into a bowl that is held in its window", 1000)
    front.event("refused", 1000)
    assert front.refusal(1000 + panel.REFUSAL_MS - 1) == "a refill goes into a bowl that is held in its window"
    assert front.refusal(1000 + panel.REFUSAL_MS) == ""
    shaken, buzzed = [], 0
    for at_ms in range(1000, 1000 + 2 * panel.SHAKE_MS, 50):
        front.show(at_ms, "hold", "inside", faults.NONE, "")
        shaken.append(front.lamps)
        buzzed += front.buzzer
    assert len(set(shaken)) > 1
    assert shaken[-1] == panel.lamps("hold", "inside", None, 1000 + 2 * panel.SHAKE_MS)
    assert buzzed > 0
