"""A warmer with a plate has no water and no bath, whatever it asks and whatever is done."""

import pytest
from test_prompts import asks, line, tonight

from bainwright.display import scene_words
from bainwright.display.scene import Scene
from bainwright.files.score import Window

WATER = ("the water", "the bath", "its bath", "bath ", "bath:")


def on_a_plate(**changes):
    """A scene of a hold on a plate."""
    scene = Scene("dark", "the warmer 'plate'", Window(31.0, 32.0, 34.5, 38.5), True, 3600.0, 400.0, "plate")
    for name, value in changes.items():
        setattr(scene, name, value)
    return scene


def test_what_it_asks_names_no_water():
    """Each question and the advice with it, at each step, with a bowl and a plate that are cold, right and hot."""
    prompts = tonight(rig="plate")
    for water, bowl in ((None, None), (15000, 20000), (33000, 30000), (33000, 31500), (60000, 34000)):
        for stage in ("melt", "seed", "cool", "settle", "test", "work", "rest"):
            prompts.see(line(1, stage=stage, water=water, bowl=bowl))
            said = [text for name in ("denied", "announced", "thicker", "thinner") for text in prompts.advice(name)]
            for ask in sorted(asks()):
                said.append(prompts.ask(line(2, ask=ask, stage=stage, state="hold", water=water, bowl=bowl)))
            assert not [text for text in said if any(word in text.lower() for word in WATER)]


@pytest.mark.parametrize("bowl", [20000, 30000, 31500, 34000])
@pytest.mark.parametrize("state", ["hold", "pause", "trip", "off"])
def test_what_there_is_to_do_names_no_water(bowl, state):
    """At each step, also with a refill on its way or the bowl lifted."""
    for stage in ("melt", "seed", "cool", "settle", "test", "work", "rest", "melted", "change"):
        for changes in ({}, {"refill_coming": True}, {"bowl_away": True}):
            scene = on_a_plate(**changes)
            scene.see(1.0, line(1, stage=stage, state=state, bowl=bowl))
            assert not [word for word in WATER if word in scene_words.prompt(scene)], scene_words.prompt(scene)
