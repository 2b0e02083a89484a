"""What the person who acts at a phone reads in reply: the advice too, which stands far down among the events."""

import pytest
from test_acts import Kitchen

from bainwright.evening.acts import BY_NAME
from bainwright.evening.limits import START_AGAIN
from bainwright.evening.prompts import EveningPrompts
from bainwright.files.chocolate import load_profile
from bainwright.files.rig import load_rig
from bainwright.live.live_hold import LiveHold
from bainwright.live.now import now_of
from bainwright.words import terms


@pytest.mark.parametrize(("name", "stage", "ask", "event"), [
    ("refill", "work", "", "announced"), ("thickens", "work", "", "thicker"), ("thins", "work", "", "thinner"),
    ("no", "melt", "all_melted", "denied"), ("no", "cool", "cool_down", "denied"),
])  # fmt: skip
def test_the_advice_that_comes_with_an_act_is_in_its_reply(name, stage, ask, event):
    """At a phone the events are out of sight, and a cook who reads only that the warmer has it pours at 28 °C."""
    kitchen = Kitchen()
    kitchen.course.prompts = EveningPrompts(load_profile("dark"), load_rig("pot"))
    kitchen.report(2, stage=stage, ask=ask, bowl=28300, state="hold")
    reply = kitchen.wish(name, ask)
    (advice,) = kitchen.course.prompts.event(event, {})
    assert reply.done
    assert "the warmer has it." in reply.words
    assert f"{terms.without_keys(advice)[1:]}." in reply.words
    assert reply.words.endswith(".")
    assert event != "announced" or "The bowl is too cold for a refill" in reply.words


def test_a_yes_that_moves_nothing_on_says_what_will():
    """The bath is swapped; a yes shows that somebody is here, and the bath is what the step waits for."""
    kitchen = Kitchen(ask="swap", stage="seed", water=35000)
    assert kitchen.wish("yes", seen="swap").done
    assert "by itself once the water is under 34.5 °C; it is at 35.0 °C" in kitchen.scene.events[-1][1]
    settling = Kitchen(ask="settling", stage="settle")
    assert settling.wish("yes", seen="settling").done
    assert "there is nothing to answer yet" in settling.scene.events[-1][1]
    stirred = Kitchen(ask="stir", stage="settle")
    assert stirred.wish("yes", seen="stir").done
    assert not stirred.scene.events
    assert kitchen.asked == ["confirm"]


def test_who_has_no_keyboard_reads_of_no_keys():
    """The terminal's sentences name them in brackets."""
    kitchen = Kitchen()
    kitchen.course.prompts = EveningPrompts(load_profile("dark"), load_rig("pot"))
    kitchen.report(2, stage="work")
    assert "dip again. Not in temper" in kitchen.wish("thins").words
    kitchen.scene.prompt = f"it has set: {START_AGAIN}"
    kitchen.scene.events.append((1.0, "above its window: test the temper before you dip again (t)"))
    now = now_of(kitchen.scene)
    assert now.prompt == "it has set: stop, and start again from melt"
    assert now.events[-1][1].endswith("dip again")


def test_who_acts_as_the_hold_ends_is_told_at_once_that_it_is_over():
    """Also while its program still draws the picture: what waits and what comes later."""
    hold = LiveHold()
    waits = hold.inbox.put(BY_NAME["bowl_off"], "")
    hold.put(Kitchen().scene, 0.0, 0.0, over=True)
    comes = hold.inbox.put(BY_NAME["bowl_off"], "")
    assert [reply.result(0) for reply in (waits, comes)] == [(False, "Not sent: the hold is over.")] * 2
