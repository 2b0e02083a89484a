"""Short pages that a cook asks for, each with its mark: how well what it says is known."""

from __future__ import annotations

from dataclasses import dataclass

from bainwright.core.figures import MEMORY, PRACTICE, READ


@dataclass(frozen=True)
class Page:
    """One page: a title, a few sentences, and their mark."""

    title: str
    lines: tuple[str, ...]
    mark: str


PAGES = {
    "seed": Page(
        "Is this seed in temper?",
        (
            "Seed passes its crystals on, so it must be in temper itself: glossy, with a clean snap, the same colour "
            "all through. A grey film, streaks or a crumbly break means bloom: melt it with the rest instead.",
            "Use 15 to 25 % of the batch, chopped or as pieces, at room temperature. From 30 °C on seed is half melted "
            "and seeds badly. Seed from a refrigerator sweats when the room's dew point is above it: let it come to "
            "the room, wrapped.",
        ),
        PRACTICE,
    ),
    "thick": Page(
        "The bowl is thick although it is warm enough",
        (
            "It has too many crystals (over-seeded), or it has stood in its window for hours. Warm it by half a degree "
            "inside its window, or stir in a little warm untempered melt, and test the temper again.",
            "Thick and grainy at once is water: from 1.5 to 3 % of it chocolate seizes. Then no warmth helps. Discard "
            "it: bath water is not drinking water.",
        ),
        PRACTICE,
    ),
    "bloom": Page(
        "Grey film, streaks or spots: bloom",
        (
            "Fat bloom feels greasy and melts under a warm finger. The piece was not in temper, was dipped too warm, "
            "or was stored warm or in changing warmth. It is safe to eat. Melt it all and temper it again: it makes "
            "good chocolate, but no seed.",
            "Sugar bloom is dry and rough and stays under a warm finger: water got onto the piece, from a damp room or "
            "a refrigerator. Tempering does not take the coarse sugar away: use it for baking or for drinking.",
            "Streaks within an hour of dipping mean too little crystal, or a bowl above its window: test the temper.",
        ),
        PRACTICE,
    ),
    "setting": Page(
        "Setting and storing dipped pieces",
        (
            "Let dipped pieces set at 18 to 20 °C in moving air, under 60 % relative humidity, for 10 to 20 minutes. "
            "In a refrigerator they sweat when they come out, and the film dries to sugar bloom.",
            "Store them at 15 to 18 °C, under 60 % relative humidity, dark, and away from smells: cocoa butter takes "
            "them up.",
        ),
        PRACTICE,
    ),
    "moulds": Page(
        "Moulds and shells",
        (
            "Have moulds dry and at room temperature: a cold mould shocks the shell, a warm one keeps it soft. Polish "
            "them with cotton wool.",
            "Set moulds and shells at 12 to 16 °C for 15 to 30 minutes. Chocolate in temper shrinks as it sets and "
            "falls out by itself; what sticks was not in temper, or was not yet set.",
        ),
        PRACTICE,
    ),
    "compound": Page(
        "Compound coating",
        (
            "A coating with other fats in place of cocoa butter is not tempered. Melt and hold it as its bag says; it "
            "needs neither seed nor a temper test.",
            "Make a profile of its own with the bag's figures: bain profile new, kind melted. Never mix it into "
            "chocolate: the fats do not set together.",
        ),
        PRACTICE,
    ),
    "nuts": Page(
        "Nuts or fat added",
        (
            "Nut paste, butter or oil lowers the window by 1 to 2 °C: make a profile with the lower window (bain "
            "profile new) and trust a temper test more than the thermometer.",
            "It sets softer and later. Label it: a bowl that had nuts in it is never free of them again.",
        ),
        PRACTICE,
    ),
    "cleaning": Page(
        "Cleaning",
        (
            "Clean with dry heat and a scraper: warm the empty bowl, wipe it out with paper, let the rest set and chip "
            "it off. Never put chocolate into a wet bowl: a few grams of water thicken it.",
            "Wash moulds seldom, in warm water without scouring, and dry them at once.",
        ),
        PRACTICE,
    ),
    "surface": Page(
        "The surface sets in the bowl",
        (
            "A skin on top is normal in a cool room or a draught. Stir it in while it is thin. A hair dryer or a heat "
            "gun on low, moved all the time, melts it from above: a few seconds, then stir, and watch the thermometer.",
            "Cover the bowl between dips. Scrape the rim down before it hardens.",
        ),
        PRACTICE,
    ),
    "cooling": Page(
        "Cool and warm back",
        (
            "The other method needs no seed. Melt, cool while stirring until the first crystals form, warm back into "
            "the window: dark to 27-28 and back to 31-32 °C, milk to 26-27 and back to 30-31 °C, white to 25-26 and "
            "back to 28.5-29.5 °C. The chart on the bag wins.",
            "At the cold end stable and unstable crystals form together; warming back melts the unstable ones. Below "
            "the range the bowl sets; above the window the good crystals melt as well, and you begin again.",
            "bain plan PROFILE --method cool says how long each way takes.",
        ),
        PRACTICE,
    ),
    "butter": Page(
        "Cocoa butter seed",
        (
            "Cocoa butter crystallised in form V, creamy and not molten, seeds with 1 % of the mass. Stir it in at 33 "
            "to 34 °C for dark, a degree or two lower with milk fat.",
            "It brings no cold with it, so the melt has to cool to there by itself. bain plan PROFILE --method butter "
            "says how long that takes.",
        ),
        PRACTICE,
    ),
}
OTHER_MARKS = {"thick": f"water that seizes chocolate: {MEMORY}", "butter": f"form V, 33.8 °C: {READ}"}


def marks(topic: str) -> str:
    """How well a page is known, in words."""
    more = OTHER_MARKS.get(topic)
    return PAGES[topic].mark + (f"; {more}" if more else "")
