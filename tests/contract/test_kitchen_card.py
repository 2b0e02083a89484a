"""The kitchen card shows lamps, buttons and sounds as the panel has them."""

import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from drawn import SVG

from bainboard import panel

ROOT = Path(__file__).parents[2]
HARDWARE = ROOT / "hardware"
sys.path.insert(0, str(HARDWARE))



def card_words() -> str:
    """All words of the card."""
    root = ET.parse(HARDWARE / "kitchen-card.svg").getroot()
    return " ".join("".join(text.itertext()) for text in root.iter(SVG + "text"))


@pytest.mark.parametrize("group", ["below", "inside", "above", "pause"])
def test_card_lights_the_lamps_the_panel_lights(group: str) -> None:
    root = ET.parse(HARDWARE / "kitchen-card.svg").getroot()
    circles = root.findall(f".//{SVG}g[@id='{group}']/{SVG}circle")
    lit = tuple(int(circle.get("fill") != "white") for circle in circles)
    assert lit == panel.lamps("pause" if group == "pause" else "hold", group, None, 0)


def test_card_gives_the_buttons_as_the_panel_has_them() -> None:
    buttons = panel.Buttons()
    made = {}
    for held_ms, name in ((200, "tap"), (2000, "hold")):
        for which in ("yes", "no"):
            acts = []
            for now_ms in range(0, 4000, 10):
                down = 500 <= now_ms < 500 + held_ms
                acts += buttons.feed(len(made) * 10000 + now_ms, down and which == "yes", down and which == "no", False)
            made[which, name] = acts
    assert made == {("yes", "tap"): ["confirm"], ("no", "tap"): ["thicker"], ("yes", "hold"): ["announce"],
                    ("no", "hold"): ["pause"]}
    words = card_words()
    for said in ("done, passed,", "it thickens", "a refill is coming", "water pause", "hold two seconds"):
        assert said in words


def test_card_gives_the_sounds_as_the_panel_plays_them() -> None:
    def beats(sound: str) -> list[int]:
        return list(panel.SOUNDS[sound][0][::2])

    words = card_words()
    assert len(beats(panel.UNPLUG)) == 3
    assert "three hard knocks" in words
    assert len(beats(panel.MORNING)) == 2
    assert panel.MORNING_MS == 60000
    assert "two long calls, for a minute" in words
    ask_ms = sum(panel.SOUNDS[panel.ASK][0])
    assert len(beats(panel.ASK)) == 2
    assert ask_ms == 20000
    assert "a double tap, three times a minute" in words
    warm = beats(panel.WARM)
    assert len(warm) == 3
    assert warm[2] > 3 * warm[1]
    assert "two taps and a held note" in words
    assert len(set(beats(panel.DONE))) == 1
    assert len(beats(panel.DONE)) == 3
    assert "three even notes" in words


def test_card_says_unplug_first_and_wipe_the_bowls_underside() -> None:
    words = card_words()
    assert "UNPLUG FIRST" in words
    assert "wipe its underside dry" in words
    assert panel.CLEAR_MS == 3000
    assert "three seconds: ends the hold, or clears a trip" in words
    assert panel.LOCK_MS == 3000
    assert "Both, three seconds: locked for the night" in words
