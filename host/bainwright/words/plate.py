"""The words of a warmer with a bath, for one with a plate: it has no water to pour, to fill or to reach into."""

from __future__ import annotations

PLATE = "plate"
# Longer phrases first; what is left of "water" and "bath" then is the plate itself.
PHRASES = (
    ("out of the bath, slower in it", "off the plate, slower on it"),
    ("keep it in the warm bath", "leave it on the warm plate"),
    ("do not put a hand in the water before that", "do not touch the plate before that"),
    ("In the bath it cools", "On the plate it cools"),
    ("for a nick or water inside", "for a nick"),
    ("before you reach in: the water", "before you touch it: the plate"),
    ("Lift the bowl out onto", "Lift the bowl off onto"),
    ("hangs in the water. If it does", "is fixed to the plate. If it is"),
    ("hangs in the water, deep enough for a lifted bowl or a low level", "is fixed to the plate"),
    ("hangs in the water", "is fixed to the plate"),
    ("are in the same water", "are at the same plate"),
    ("Did hot water go in? A glass of cold water brings it down. If nobody touched it, watch it for some minutes.",
     "Nothing but time cools a plate: keep the bowl off it, and watch it for some minutes."),
    ("Lift the bowl out until the water", "Lift the bowl off until the plate"),
    ("Leave the bowl out until the water", "Leave the bowl off until the plate"),
    ("The water scalds.", "The plate burns."),
    ("the water scalds", "the plate burns"),
    ("Add cold water, then start again.", "Wait until it has cooled, then start again."),
    ("sun on the pot, or a bowl set in warmer than the water", "sun on it, or a bowl set on warmer than the plate"),
    ("than any bath does", "than any plate does"),
    ("Was something cold set in?", "Was something cold set on it?"),
    ("Unplug it if the water is low: a heater that runs dry burns. If you have just poured hot water, all is well.",
     "Unplug it if you do not know why. If you have just set something hot on it, all is well."),
    ("Look whether the water is up to its mark, the heater is the one whose watts were set, and no hot water went in.",
     "Look whether the heater is the one whose watts were set, and nothing hot was set on it."),
    ("second water probe", "second probe"),
    ("one cup of warm water", "one cup of warm liquid"),
    ("take some water out and put cold water in", "bowl off, and wait until it has cooled"),
    ("water up to its mark, probes in place?", "probes in place?"),
    ("the water cooled at once: that is the cold water you poured in", "the plate cooled at once"),
    ("the water cooled fast: fine if you poured cold water in; if not, is its probe still in the water?",
     "the plate cooled fast: is its probe still fixed to it?"),
    ("in the water", "on the plate"), ("in the bath", "on the plate"), ("in its bath", "on its plate"),
    ("water probe", "plate's probe"),
    ("water", "plate"), ("Water", "Plate"), ("bath", "plate"), ("Bath", "Plate"),
)  # fmt: skip


def for_bath(text: str, bath: str) -> str:
    """A text of ours about what is under the bowl; names of a person's own are no such text.

    Parameters
    ----------
    text : str
        As it is for a bath of water.
    bath : str
        What is under the bowl: ``water`` or ``plate``.
    """
    if bath != PLATE:
        return text
    for wet, dry in PHRASES:
        text = text.replace(wet, dry)
    return text
