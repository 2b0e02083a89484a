"""Hands on a simulated warmer: each key does to the plant what its words say, by hand-worked balances."""

from __future__ import annotations

import pytest

from bainwright.core.errors import BainError
from bainwright.display.scene import Scene
from bainwright.evening.keyboard import KEYS_VIRTUAL
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.virtual_hands import HANDS, VirtualHands
from bainwright.files.rig import load_rig
from bainwright.files.score import Window
from bainwright.virtual.plant import Start, Warmer
from bainwright.virtual.scenario import parse_scenario
from bainwright.virtual.world import World


class Session:
    """Carries events to a world at once."""

    def __init__(self, rig="pot", **start):
        self.world = World(None, load_rig(rig), parse_scenario({"start": start}), 0)

    def act(self, event):
        self.world.check_event(event)
        self.world.apply_event(event)


class Course:
    """Writes down what is shown."""

    def __init__(self):
        self.shown = []
        self.scene = Scene("dark", "pot", Window(31.0, 31.5, 32.0, 34.5), True, None, 150.0)

    def show(self, text):
        self.shown.append(text)


def used(keys, **start):
    """The warmer after some keys, and what was shown."""
    session, course = Session(**start), Course()
    hands = VirtualHands(session)
    for key in keys:
        hands.use(key, course)
    return session.world.plant, course.shown


def test_water_goes_out_and_comes_in_at_its_own_temperature():
    """2.0 L at 50 °C: five times 0.2 L out leave 1.0 L at 50 °C; 0.2 L at 15 °C then cool it below 45 °C."""
    start = {"water_c": 50.0, "bowl_c": 31.0, "water_l": 2.0}
    out, _ = used("33333", **start)
    assert out.water_kg == pytest.approx(1.0, abs=0.02)
    assert out.water_c == pytest.approx(50.0)
    poured, _ = used("333332", **start)
    assert poured.water_kg == pytest.approx(1.2, abs=0.02)
    assert 43.0 < poured.water_c < 46.0  # 1.0 and 0.2 kg mix to 44.2 °C; the pot itself has heat too
    whole, shown = used("0", **start)  # 1.0 kg at 50 and at 15 °C mix to 32.5 °C; the pot adds its heat
    assert whole.water_kg == pytest.approx(2.0, abs=0.01)
    assert 32.5 < whole.water_c < 37.0
    assert shown == ["your hands: 1 L of the bath swapped for cold water"]
    swapped, _ = used("1", **start)
    assert swapped.water_kg == pytest.approx(2.0, abs=0.01)
    assert swapped.water_c < 48.0


def test_seed_and_refill_add_their_mass_and_the_bowl_comes_off_and_back():
    start = {"bowl_c": 33.0, "chocolate_kg": 1.5}
    plant, shown = used("4466", **start)
    assert plant.chocolate_kg == pytest.approx(1.8)
    assert shown[0] == "your hands: 50 g of seed stirred in"
    lifted, shown = used("7", **start)
    assert not lifted.bowl_in
    back, shown = used("77", **start)
    assert back.bowl_in
    assert shown[-1] == "your hands: the bowl is set back"


def test_dipping_ends_after_its_ten_minutes():
    """100 g within 600 s, and none after it."""
    session, course = Session(bowl_c=31.5, chocolate_kg=1.5), Course()
    session.world.arm(0)
    VirtualHands(session).use("5", course)
    for _ in range(1200):
        session.world.advance(0.0, 1_000_000)
    assert session.world.plant.chocolate_kg == pytest.approx(1.4, abs=1e-6)


def test_what_cannot_be_done_is_said_and_nothing_happens():
    """A plate has no water to take out."""
    session, course = Session("plate"), Course()
    VirtualHands(session).use("3", course)
    assert course.shown[0].startswith("not possible: ")
    with pytest.raises(BainError):
        session.act(HANDS["3"].events(False)[0])


def test_every_hand_has_its_key_on_the_screen():
    for key, hand in HANDS.items():
        assert f"{key} {hand.short}" in KEYS_VIRTUAL


def test_no_more_water_is_taken_out_than_there_is():
    plant = Warmer(load_rig("pot"), Start(water_l=0.3))
    taken_l = plant.take_out_l(1.0)
    assert taken_l < 0.3
    assert plant.water_kg > 0.0


def test_an_evening_from_the_melt_plays_the_whole_evening():
    setup = resolve(HoldRequest("dark", virtual="pot", from_stage="melt"))
    assert setup.simulated.scenario.source == "whole_evening"
    by_hand = resolve(HoldRequest("dark", virtual="pot", from_stage="melt", scenario="by_hand"))
    assert (by_hand.simulated.scenario.events, by_hand.simulated.scenario.start.solid_kg) == ((), 1.3)
    assert any("you answer the warmer with the keys" in note
               for note in resolve(HoldRequest("milk", virtual="pot", from_stage="melt")).assumed)


@pytest.mark.parametrize(("stage", "bowl_c", "water_c"), [
    ("seed", 45.0, 51.0), ("settle", 32.0, 33.2), ("test", 32.0, 33.2), ("rest", 32.0, 33.2),
])
def test_a_start_at_a_step_begins_with_what_the_step_before_leaves(stage, bowl_c, water_c):
    """Dark: a melt of 45 °C over a bath 6 °C warmer; then the top of its window."""
    start = resolve(HoldRequest("dark", virtual="pot", from_stage=stage)).simulated.scenario.start
    assert (start.bowl_c, start.water_c) == pytest.approx((bowl_c, water_c))
